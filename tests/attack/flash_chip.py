"""A flash chip whose power can be cut at any program or erase, with the real littlefs on it.

What must live here: what a cut does to a chip, and the file calls that a board makes, as `board.flash` makes
them. It may not know what is kept.

Flash is erased to ones by the block, and programming turns ones into zeros. A cut may leave a page as it was,
done in part or with some of its bits, and a block erased in part; after it nothing reaches the chip.
"""

from __future__ import annotations

import random
from functools import cache
from types import CodeType
from typing import Any

from littlefs import LittleFS, LittleFSError, UserContext, lfs

from tests.box_model import PowerCut
from tests.kept_flash import BLOCK, PAGE
from tests.micropython import ROOT

DISK_VERSIONS = (0x00020000, 0x00020001)
"""What older and newer MicroPythons make."""
READ_BYTES, CACHE_BYTES, LOOKAHEAD_BYTES = 32, 1024, 32
"""MicroPython, extmod/vfs_lfsx.c: the defaults of VfsLfs2, and four pages for a cache."""
IO_ERROR = -5
CUTS = ("lost", "torn", "bits", "done")


class Chip(UserContext):
    """`fuse` is how many programs and erases are still done (None: all); the next is cut in the way `cut`.
    `is_dead` from then on."""

    def __init__(self, blocks: int, chance: random.Random) -> None:
        super().__init__(buffer=bytearray(b"\xff") * (blocks * BLOCK))
        self.blocks = blocks
        self.chance = chance
        self.fuse: int | None = None
        self.cut = "lost"
        self.operations = 0
        self.is_dead = False

    def read(self, cfg: Any, block: int, off: int, size: int) -> bytearray:
        start = block * BLOCK + off
        return self.buffer[start : start + size]

    def prog(self, cfg: Any, block: int, off: int, data: bytes) -> int:
        return self._do(block * BLOCK + off, data, is_erase=False)

    def erase(self, cfg: Any, block: int) -> int:
        return self._do(block * BLOCK, b"\xff" * BLOCK, is_erase=True)

    def _do(self, start: int, data: bytes, is_erase: bool) -> int:
        if self.is_dead:
            return IO_ERROR
        if self.fuse is not None:
            self.fuse -= 1
            if self.fuse < 0:
                self.is_dead = True
                data = self._cut_off(start, bytes(data))
                self.buffer[start : start + len(data)] = data
                return IO_ERROR
        self.operations += 1
        end = start + len(data)
        if not is_erase:
            # After a cut littlefs may take a page to be erased that is not; it finds out by reading it back.
            was = int.from_bytes(self.buffer[start:end])
            data = (int.from_bytes(data) & was).to_bytes(len(data))
        self.buffer[start:end] = data
        return 0

    def _cut_off(self, start: int, data: bytes) -> bytes:
        """What stands there after an operation that was to leave `data` was cut."""
        was = bytes(self.buffer[start : start + len(data)])
        match self.cut:
            case "done":
                return data
            case "torn":
                at = self.chance.randrange(len(data) + 1)
                return data[:at] + was[at:]
            case "bits":
                # Each bit is as it was or as it is to be.
                mask = self.chance.randbytes(len(data))
                return bytes(a & m | b & ~m & 0xFF for a, b, m in zip(data, was, mask))
        return was


def littlefs_on(chip: Chip, version: int, is_new: bool = False) -> LittleFS:
    """Mounted. AssertionError if it cannot be, which it can after any cut."""
    fs = LittleFS(
        context=chip,
        mount=False,
        block_size=BLOCK,
        block_count=chip.blocks,
        read_size=READ_BYTES,
        prog_size=PAGE,
        cache_size=CACHE_BYTES,
        lookahead_size=LOOKAHEAD_BYTES,
        block_cycles=100,
        disk_version=version,
    )
    if is_new:
        fs.format()
    try:
        fs.mount()
    except LittleFSError as fault:
        raise AssertionError(f"the file system cannot be mounted: {fault}") from None
    return fs


class Files:
    """What `board.flash` calls, as MicroPython has it: OSError where littlefs refuses, and nothing at all
    once the power is cut."""

    def __init__(self, chip: Chip, fs: LittleFS) -> None:
        self.chip, self.fs = chip, fs

    def _call(self, act: Any, *args: object) -> Any:
        try:
            done = act(*args)
        except (LittleFSError, OSError) as fault:
            if self.chip.is_dead:
                raise PowerCut from None
            raise OSError(str(fault)) from None
        if self.chip.is_dead:
            raise PowerCut
        return done

    def listdir(self, path: str) -> list[str]:
        return self._call(self.fs.listdir, path)

    def mkdir(self, path: str) -> None:
        self._call(self.fs.mkdir, path)

    def remove(self, path: str) -> None:
        self._call(self.fs.remove, path)

    def open(self, path: str, mode: str) -> OpenFile:
        return OpenFile(self, self._call(lfs.file_open, self.fs.fs, path, mode))


class OpenFile:
    """As MicroPython's: a write goes to littlefs at once, and counts once the file is closed."""

    def __init__(self, files: Files, handle: lfs.LFSFile) -> None:
        self._files, self._handle = files, handle

    def __enter__(self) -> OpenFile:
        return self

    def __exit__(self, *_: object) -> None:
        self._call(lfs.file_close)

    def read(self) -> bytes:
        return self._call(lfs.file_read, self._call(lfs.file_size))

    def write(self, data: bytes) -> None:
        self._call(lfs.file_write, data)

    def _call(self, act: Any, *args: object) -> Any:
        return self._files._call(act, self._files.fs.fs, self._handle, *args)


@cache
def board_code() -> CodeType:
    path = ROOT / "firmware" / "board" / "flash.py"
    return compile(path.read_text(encoding="utf-8"), str(path), "exec")


def flash_disk(files: Files) -> Any:
    """The board's own FlashDisk over these files, with the lamp dark."""
    inside: dict[str, Any] = {"__name__": "board.flash"}
    exec(board_code(), inside)
    inside.update(os=files, open=files.open)
    return inside["FlashDisk"](lambda: False, lambda: None, lambda on: None)
