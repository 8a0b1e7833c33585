"""What the core is handed on a desk: the same on CPython and on desktop MicroPython."""

import binascii
import hashlib
import json

from timing_core.platform import Platform
from timing_core.wire.framing import WINDOW_BITS

try:
    from framebuf import FrameBuffer  # type: ignore[import-not-found]
except ImportError:
    from host_sim.box.raster import FrameBuffer

try:
    import gc
    from io import BytesIO

    from deflate import RAW, DeflateIO  # type: ignore[import-not-found]

    def collect() -> None:
        gc.collect()

    def json_load(stream):
        return json.load(stream)

    def unpacked(text: str) -> object:
        return DeflateIO(BytesIO(binascii.a2b_base64(text)), RAW, WINDOW_BITS)

except ImportError:
    import zlib

    def collect() -> None:
        """A large heap needs no tidying."""

    class Unpacked:
        """A stream of deflated data, read as MicroPython reads it."""

        def __init__(self, packed: bytes) -> None:
            self._inflate = zlib.decompressobj(-WINDOW_BITS)
            self._rest = packed

        def read(self, size: int = -1) -> bytes:
            text = bytearray()
            while len(text) != size and not self._inflate.eof:
                # One byte at a time: only so does zlib hold the sender to the window.
                byte = self._inflate.decompress(self._rest, 1)
                self._rest = self._inflate.unconsumed_tail
                if not (byte or self._rest or self._inflate.eof):
                    raise EOFError
                text += byte
            return bytes(text)

    def unpacked(text: str) -> object:
        return Unpacked(binascii.a2b_base64(text))

    def json_load(stream):
        return json.loads(str(stream.read(), "utf-8"))


def desk_platform() -> Platform:
    return Platform(FrameBuffer, json.loads, binascii.crc32, hashlib.sha256, unpacked, json_load)
