"""What a PC says to put a card on a box's shelf: docs/wire.md, as requests.

What must live here: packing a card. Over what the requests go, and what comes back, is the caller's.
"""

import base64
import hashlib
import zlib

from timing_core.canonical import encode
from timing_core.wire.framing import WINDOW_BITS, pieces_of


def requests_for(card: dict) -> list[tuple[str, dict]]:
    """The requests that put a card, as `PrintingMap.to_dict` has it, on the shelf; the commit comes last."""
    text = encode(card)
    digest = hashlib.sha256(text).hexdigest()
    deflater = zlib.compressobj(zlib.Z_BEST_COMPRESSION, zlib.DEFLATED, -WINDOW_BITS)
    packed = base64.b64encode(deflater.compress(text) + deflater.flush()).decode()
    pieces = pieces_of(packed)
    parts: list[tuple[str, dict]] = [
        ("card.part", {"digest": digest, "of": len(pieces), "part": part, "packed": piece})
        for part, piece in enumerate(pieces)
    ]
    return [*parts, ("card.commit", {"digest": digest})]
