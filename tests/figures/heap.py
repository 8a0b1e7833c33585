"""What the core keeps on the heap, in bytes: printed as JSON. Run under MicroPython, in a fresh process.

Takes one argument, a file with the print at work as the store keeps it. The disk is memory here and flash
on a board, so what is on it is not counted. Neither is what the box is handed from outside, its platform.
"""

# ruff: noqa: E402, PTH123 - what an import costs is the question, and there is no pathlib here

import gc
import json
import sys

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform

platform = desk_platform()
disk = MemoryDisk()
with open(sys.argv[1], "rb") as file:
    work = file.read()


def used():
    """Bytes in use once all garbage is gone, but for the disk's."""
    gc.collect()
    on_disk = sum([len(data) for data in disk.files.values()])
    return gc.mem_alloc() - on_disk  # type: ignore[attr-defined]


outside = used()

from timing_core.box import Box
from timing_core.panel.drawing import Drawing
from timing_core.records.store import Store

found = {"imported": used() - outside}

store = Store(disk, platform.crc32)
box = Box(store, platform, 100)
screen = Drawing(box, platform)
box.handle("power_up", 0)
screen.draw()
found["powered_up"] = used() - outside

store.put("work", work)
del box, screen
gc.collect()
box = Box(store, platform, 100)
screen = Drawing(box, platform)
box.handle("power_up", 0)
at_ms = 0
while box.state != "exposing":
    at_ms += 1000
    box.handle("expose", at_ms)
screen.draw()
box.handle("tick", at_ms + 1000)
screen.draw()
found["exposing"] = used() - outside
print(json.dumps(found))
