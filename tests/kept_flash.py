"""The flash of a box as an earlier version left it, for a desktop box to be powered up on.

What must live here: where in a kept image the box's records lie. It may not know what a record means.
`kept/` holds the images, each with a JSON that says in plain words what is in it and the program that
tells how it was made.
"""

import gzip
import json
from pathlib import Path
from typing import Any

from littlefs import LittleFS, UserContext

from host_sim.box.memory_disk import MemoryDisk

KEPT = Path(__file__).with_name("kept")

# MicroPython, ports/rp2/boards/RPI_PICO (PICO_FLASH 2 MB, 1408 KB of it for files) and modules/_boot.py.
BLOCK = 4096
BLOCKS = 352
PAGE = 256

FOLDER = "/keep"
"""Under it a folder for each of several files, as `firmware/board/flash.py` spreads them."""


def disk_of(name: str) -> MemoryDisk:
    """The records in `kept/NAME.img.gz`, on a disk of their own."""
    context = UserContext(buffsize=BLOCKS * BLOCK)
    context.buffer[:] = gzip.decompress((KEPT / f"{name}.img.gz").read_bytes())
    # A library left to mount by itself would quietly format what it cannot read.
    fs = LittleFS(context=context, mount=False, block_size=BLOCK, block_count=BLOCKS, prog_size=PAGE)
    fs.mount()
    disk = MemoryDisk()
    for folder, _, files in fs.walk(FOLDER):
        for file in files:
            with fs.open(f"{folder}/{file}", "rb") as open_file:
                disk.write(file, open_file.read())
    return disk


def told_of(name: str) -> dict[str, Any]:
    """What `kept/NAME.json` says is in it."""
    return json.loads((KEPT / f"{name}.json").read_text(encoding="utf-8"))
