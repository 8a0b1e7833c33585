"""`lampblack image`: MicroPython and the firmware as one file to drag onto a new board.

What must live here: the UF2 file, what MicroPython's own file says of itself, and the file system that
goes behind it. Sources:
- UF2: "USB Flashing Format", github.com/microsoft/uf2, README.md (and RP2040 data sheet, 2.8.4.2: 256
  bytes to a block, whole pages);
- what a program says of itself: Raspberry Pi Pico SDK, pico/binary_info/defs.h and structure.h;
- the file system: MicroPython, ports/rp2/rp2_flash.c (where it lies) and modules/_boot.py (`progsize=256`).

Every block of the file system is in the image, empty ones too. On a board that was used before, a half
of a directory's pair left from the old file system could otherwise be taken for the newer one.
"""

import re
import struct
import sys
from pathlib import Path
from typing import Annotated, NamedTuple

import typer
from littlefs import LittleFS, LittleFSError, UserContext

from lampblack.board.board_prompt import OLDEST
from lampblack.board.chips import ABSOLUTE_FAMILY, CHIPS, RP2040, Chip, untried
from lampblack.board.firmware_files import MANIFEST, firmware_files, manifest
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.text.printable import printable
from timing_core import VERSION

UF2_BLOCK = 512
UF2_FIRST, UF2_SECOND, UF2_LAST = 0x0A324655, 0x9E5D5157, 0x0AB16F30
NOT_FLASH, FAMILY_GIVEN = 0x0001, 0x2000
PAGE = 256

FLASH, FLASH_END = 0x10000000, 0x11000000
INFO_FIRST, INFO_LAST = 0x7188EBF2, 0xE71AA390
ID_AND_STRING, BLOCK_DEVICE = 6, 7
PROGRAM_NAME, PROGRAM_VERSION = 0x02031C86, 0x11A9BC3A

FS_BLOCK = 4096
DISK_VERSION = 0x00020000
"""littlefs 2.0, which every MicroPython reads: releases up to 1.21 hang on 2.1. Newer ones make it 2.1."""


class Program(NamedTuple):
    """What a MicroPython image says of itself. Its file system lies at `fs_at`, `fs_bytes` long."""

    name: str
    version: str
    fs_at: int
    fs_bytes: int


class Base(NamedTuple):
    """MicroPython's own file: its blocks, and those before them that are numbered on their own."""

    chip: Chip
    before: bytes
    blocks: list[bytearray]


def image(
    base: Annotated[Path, typer.Option(metavar="FILE", help="MicroPython's own UF2 file for the Pico.")],
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="The file to write.")] = Path(
        "lampblack.uf2"
    ),
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Make one file of MicroPython and the firmware, to drag onto a new board.

    On a board that was in use its cards, settings and ledger go: use lampblack install there.
    """
    made, program, chip = build_image(base.read_bytes(), str(base), firmware_files())
    write_file(out, made, force)
    said = (
        f"{out}: Lampblack {VERSION} on MicroPython {program.version.removeprefix('v')}, "
        f"{len(made) / 1e6:.1f} MB. Hold BOOTSEL while you plug the board in, and drag it onto the drive "
        "that appears."
    )
    print(printable(said))
    if not chip.tried:
        print(untried(chip), file=sys.stderr)


def build_image(base: bytes, name: str, files: dict[str, bytes]) -> tuple[bytes, Program, Chip]:
    """`base` with a file system that holds `files` and their manifest. CommandError, which calls the base
    `name`, if it is not MicroPython for a board that the firmware is for.
    """
    chip, before, blocks = _base(base, name)
    program = _program(_memory(blocks), name, chip)
    system = file_system({**files, MANIFEST: manifest(files)}, program.fs_bytes)
    for at in range(0, len(system), PAGE):
        blocks.append(_block(program.fs_at + at, system[at : at + PAGE], chip))
    for number, block in enumerate(blocks):
        struct.pack_into("<II", block, 20, number, len(blocks))
    return before + b"".join(blocks), program, chip


def file_system(files: dict[str, bytes], size: int) -> bytes:
    """A littlefs of `size` bytes with `files`, as MicroPython makes it. CommandError if they do not fit."""
    context = UserContext(buffsize=size)
    fs = LittleFS(
        context=context,
        block_size=FS_BLOCK,
        block_count=size // FS_BLOCK,
        prog_size=PAGE,
        disk_version=DISK_VERSION,
    )
    try:
        for path, content in sorted(files.items()):
            folder = path.rpartition("/")[0]
            if folder:
                fs.makedirs(folder, exist_ok=True)
            with fs.open(path, "wb") as file:
                file.write(content)
        fs.unmount()
    except LittleFSError as fault:
        raise CommandError(
            f"The firmware does not fit: MicroPython leaves {size // 1024} KB for files ({fault}). Take the "
            "Pico's own .uf2."
        ) from None
    return bytes(context.buffer)


# --- UF2


def _block(address: int, page: bytes, chip: Chip) -> bytearray:
    """A block that puts `page` at `address`; its number is still to be filled in."""
    head = struct.pack("<8I", UF2_FIRST, UF2_SECOND, FAMILY_GIVEN, address, PAGE, 0, 0, chip.family)
    return bytearray(head + page.ljust(UF2_BLOCK - 36, b"\xff") + struct.pack("<I", UF2_LAST))


def _base(data: bytes, name: str) -> Base:
    """A UF2 file, of its blocks those that go into flash. CommandError if it is not whole, or for no chip of
    ours."""

    def bad(why: str) -> CommandError:
        return CommandError(
            f"{name} is not used: it {why}. Take the Pico's .uf2 from micropython.org/download/RPI_PICO."
        )

    if len(data) < UF2_BLOCK or data[:4] != struct.pack("<I", UF2_FIRST):
        raise bad("is no UF2 file")
    if len(data) % UF2_BLOCK:
        raise bad("is cut off")
    blocks = []
    pages: set[int] = set()
    before = b""
    while data[28:32] == struct.pack("<I", ABSOLUTE_FAMILY):
        before, data = before + data[:UF2_BLOCK], data[UF2_BLOCK:]
    found = struct.unpack_from("<I", data, 28)[0] if data else 0
    chip = next((chip for chip in CHIPS if chip.family == found), RP2040)
    count = len(data) // UF2_BLOCK
    for number in range(count):
        block = bytearray(data[number * UF2_BLOCK : (number + 1) * UF2_BLOCK])
        first, second, flags, address, size, own_number, of, family = struct.unpack_from("<8I", block)
        if (first, second) != (UF2_FIRST, UF2_SECOND) or block[-4:] != struct.pack("<I", UF2_LAST):
            raise bad(f"is damaged in its block {number}")
        if not flags & FAMILY_GIVEN or family != chip.family:
            raise bad(f"is for another chip (family {family:#010x})")
        if (own_number, of) != (number, count):
            raise bad(f"lacks blocks: it has {count} of {of}")
        if flags & NOT_FLASH:
            continue
        if size != PAGE or address % PAGE or address in pages or not FLASH <= address < FLASH_END:
            raise bad(f"is damaged: its block {number} does not lie in flash")
        pages.add(address)
        blocks.append(block)
    return Base(chip, before, blocks)


def _memory(blocks: list[bytearray]) -> dict[int, bytes]:
    """Pages of flash by address."""
    return {struct.unpack_from("<I", block, 12)[0]: bytes(block[32 : 32 + PAGE]) for block in blocks}


# --- what a program says of itself


def _program(memory: dict[int, bytes], name: str, chip: Chip) -> Program:
    """What the image says of itself; CommandError if that is no MicroPython that the firmware runs on."""
    strings, systems = _info(memory, chip.info_within)
    if strings.get(PROGRAM_NAME) != "MicroPython" or len(systems) != 1:
        raise CommandError(
            f"{name} is not used: it is not MicroPython. Take the Pico's .uf2 from "
            "micropython.org/download/RPI_PICO."
        )
    program = Program("MicroPython", strings.get(PROGRAM_VERSION, ""), *systems[0])
    number = re.match(r"v?(\d+)\.(\d+)", program.version)
    if number is None or (int(number[1]), int(number[2])) < OLDEST:
        raise CommandError(
            f"{name} is not used: its MicroPython {program.version} is older than {OLDEST[0]}.{OLDEST[1]}. "
            "Take a newer one."
        )
    if max(memory) >= program.fs_at:
        raise CommandError(
            f"{name} is not used: it has a file system already. Take MicroPython's own file as it is."
        )
    return program


def _info(memory: dict[int, bytes], within: int) -> tuple[dict[int, str], list[tuple[int, int]]]:
    """The strings by their ids, and (address, bytes) of the block devices. Empty where nothing is told."""
    strings: dict[int, str] = {}
    systems: list[tuple[int, int]] = []
    try:
        for at in range(FLASH, FLASH + within, 4):
            first, start, end, _, last = struct.unpack("<5I", _read(memory, at, 20))
            if (first, last) == (INFO_FIRST, INFO_LAST):
                break
        else:
            return {}, []
        for place in range(start, end, 4):
            (entry,) = struct.unpack("<I", _read(memory, place, 4))
            (kind,) = struct.unpack("<H", _read(memory, entry, 2))
            if kind == ID_AND_STRING:
                id, text = struct.unpack("<II", _read(memory, entry + 4, 8))
                strings[id] = _text(memory, text)
            elif kind == BLOCK_DEVICE:
                systems.append(struct.unpack("<II", _read(memory, entry + 8, 8)))
    except KeyError:
        # It points to where nothing is.
        return {}, []
    return strings, systems


def _read(memory: dict[int, bytes], at: int, count: int) -> bytes:
    page = at - at % PAGE
    found = memory[page][at - page :][:count]
    return found if len(found) == count else found + _read(memory, page + PAGE, count - len(found))


def _text(memory: dict[int, bytes], at: int) -> str:
    found = b""
    while not found.endswith(b"\0"):
        found += _read(memory, at + len(found), 1)
    return found[:-1].decode("utf-8", "replace")
