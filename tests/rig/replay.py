"""Gives a new box the inputs of a trace taken from a board and writes its own: `-m tests.rig.replay FILE`.

Runs on CPython and MicroPython, so that board, desk and simulator can be compared byte for byte. A
trace is a line of JSON for each thing that happened, in its order: {"in", "t", "value"} an input, with
the box's ms; {"line"} a line from the wire; these are given again. {"out", "t", "value"} an output;
{"reply"} to the line before; {"frame"} the CRC-32 of a picture drawn then; these have to come again.
First may come {"file", "text"}: what the box has kept from before; and {"identity"}: its name for itself.
"""

import gc
import json
import sys

if hasattr(gc, "threshold"):
    # MicroPython: collect early, or what is kept is strewn over all of a small heap.
    gc.threshold(4096)

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from timing_core.box import Box
from timing_core.canonical import encode
from timing_core.panel.drawing import Drawing
from timing_core.records.store import Store

PANEL_MS = 100


def replay(lines, write):
    """Calls `write` with each line of the new trace."""
    platform = desk_platform()
    disk = MemoryDisk()
    box = screen = None
    identity = ""

    def tell(entry: dict) -> None:
        write(encode(entry).decode())

    for line in lines:
        entry = json.loads(line)
        if "file" in entry:
            disk.write(entry["file"], entry["text"].encode())
            continue
        if "identity" in entry:
            identity = entry["identity"]
            continue
        if box is None:
            box = Box(Store(disk, platform.crc32), platform, PANEL_MS)
            box.identity = identity
            screen = Drawing(box, platform)
        if "in" in entry:
            tell(entry)
            out = box.handle(entry["in"], entry["t"], entry["value"])
            for index in range(out.count):
                tell({"out": out.kind[index], "t": entry["t"], "value": out.value[index]})
        elif "line" in entry:
            tell(entry)
            tell({"reply": str(box.link.take(entry["line"].encode()) or b"", "utf-8")})
        elif "frame" in entry:
            tell({"frame": "%08x" % platform.crc32(screen.draw())})


if __name__ == "__main__":
    with open(sys.argv[1]) as trace:  # noqa: PTH123 (MicroPython has no pathlib)
        replay(trace, print)
