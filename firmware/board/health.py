"""The health of the board, as `lampblack doctor` asks for it. docs/wire.md says what each entry means."""

import gc
import sys

from board import pins
from board.display import Display
from board.scratch import Survivor
from timing_core.box import Box


def health_of(box: Box, display: Display, survivor: Survivor) -> dict:
    """The health of the board in plain data. `free_bytes` is left out under light and in a run, since it
    needs a collection of 30 ms, for which a key must not wait."""
    health = {
        "board": getattr(sys.implementation, "_machine", sys.platform),
        "micropython": "%d.%d.%d" % tuple(sys.implementation.version[:3]),
        "restarts": survivor.restarts,
        "display": {"answers": display.answers(), "sda": pins.DISPLAY_SDA, "scl": pins.DISPLAY_SCL},
    }
    if not (box.lit or box.in_run):
        # Only after a collection does the figure say how much can be used.
        gc.collect()
        health["free_bytes"] = gc.mem_free()
    return health
