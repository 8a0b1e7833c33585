"""What the core is handed on a desk: the same kit on CPython and on desktop MicroPython."""

import binascii
import hashlib
import json

from timing_core.kit import Kit

try:
    from framebuf import FrameBuffer  # type: ignore[import-not-found]
except ImportError:
    from timing_core.raster import FrameBuffer


def desk_kit() -> Kit:
    return Kit(FrameBuffer, json.loads, binascii.crc32, hashlib.sha256)
