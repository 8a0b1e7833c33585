"""How the board is: what `lampblack doctor` asks for. docs/wire.md says what each entry means."""

import gc
import sys

from timing_core.box import Box

from . import pins
from .display import Display
from .survivor import Survivor


def told(box: Box, display: Display, survivor: Survivor) -> dict:
    """The board in plain data. Without `free_bytes` under light or in a run: a collection takes 20 ms, and
    a key must not wait for it."""
    health = {
        "board": getattr(sys.implementation, "_machine", sys.platform),
        "micropython": "%d.%d.%d" % tuple(sys.implementation.version[:3]),
        "restarts": survivor.restarts,
        "display": {"answers": display.answers(), "sda": pins.DISPLAY_SDA, "scl": pins.DISPLAY_SCL},
    }
    if not (box.lit or box.in_run):
        # Only after a collection does it say what there is to use.
        gc.collect()
        health["free_bytes"] = gc.mem_free()
    return health
