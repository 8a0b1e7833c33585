"""`lampblack image`: one file of MicroPython and firmware, read back by others' readers.

Outside checks: the emulator's own UF2 loader (PyPI `rp2040py`) and littlefs itself (`littlefs-python`); the
numbers of "USB Flashing Format", github.com/microsoft/uf2, README.md and utils/uf2families.json, written
out here. That a Pico starts from it: tests/rig/test_install_on_pico.py.
"""

import struct
import types
from pathlib import Path

import pytest
from rp2040py.device.load_flash import load_uf2

from lampblack import cli
from lampblack.board.chips import RP2350, untried
from lampblack.board.firmware_files import MANIFEST, firmware_files, manifest
from lampblack.board.image import build_image
from lampblack.errors import CommandError
from tests.rig import measure
from tests.rig.image import FS_SIZE, FS_START, find_uf2, read_fs, release_of

FLASH = 0x10000000
FILES = {"boot.py": b"release the relays", "board/pulse.mpy": bytes(range(256)) * 40}
INFO = 0x100000D4
ENTRIES = 0x10000400
TEXTS = 0x10000600


def program(version="v1.22.2", name="MicroPython", fs=(FLASH + FS_START, FS_SIZE), pages=16) -> bytes:
    """Flash that tells of itself as the Pico's SDK makes a program do (pico/binary_info/structure.h)."""
    flash = bytearray(pages * 256)

    def put(address, data):
        flash[address - FLASH : address - FLASH + len(data)] = data

    put(INFO, struct.pack("<5I", 0x7188EBF2, ENTRIES, ENTRIES + 12, 0, 0xE71AA390))
    put(ENTRIES, struct.pack("<3I", ENTRIES + 32, ENTRIES + 64, ENTRIES + 96))
    put(ENTRIES + 32, struct.pack("<HHII", 6, 0x5052, 0x02031C86, TEXTS))
    # This text lies across the end of a page.
    put(ENTRIES + 64, struct.pack("<HHII", 6, 0x5052, 0x11A9BC3A, TEXTS + 0xFD))
    put(ENTRIES + 96, struct.pack("<HHIIIIH", 7, 0x504D, 0, *fs, 0, 3))
    put(TEXTS, name.encode() + b"\0")
    put(TEXTS + 0xFD, version.encode() + b"\0")
    return bytes(flash)


def uf2(flash: bytes, family=0xE48BFF56, flags=0x2000, size=256, at=FLASH) -> bytes:
    """`flash` as a UF2 file, by the page of its format."""
    pages = [flash[start : start + 256] for start in range(0, len(flash), 256)]
    return b"".join(
        struct.pack("<8I", 0x0A324655, 0x9E5D5157, flags, at + number * 256, size, number, len(pages), family)
        + page.ljust(476, b"\0")
        + struct.pack("<I", 0x0AB16F30)
        for number, page in enumerate(pages)
    )


GOOD = uf2(program())


def absolute() -> bytes:
    """The block that images for the RP2350 begin with: of a family and a numbering of its own."""
    block = bytearray(uf2(b"\xef" * 256, family=0xE48BFF57, at=0x10FFFF00))
    struct.pack_into("<II", block, 20, 0, 2)
    return bytes(block)


def flash_after(image: bytes, folder: Path) -> bytes:
    """Flash that was full of something else, after the emulator's loader has put the image there."""
    path = folder / "image.uf2"
    path.write_bytes(image)
    chip = types.SimpleNamespace(flash=bytearray(b"\xa5" * 0x200000))
    load_uf2(path, chip)
    return bytes(chip.flash)


@pytest.fixture(params=["made here", "MicroPython's own"])
def base(request) -> bytes:
    if request.param == "made here":
        return GOOD
    path, reason = find_uf2()
    if path is None:
        pytest.skip(reason)
    return path.read_bytes()


def test_other_readers_find_base_and_firmware_in_it(base, tmp_path):
    flash = flash_after(build_image(base, "base", FILES)[0], tmp_path)
    assert read_fs(flash[FS_START : FS_START + FS_SIZE]) == {**FILES, MANIFEST: manifest(FILES)}
    alone = flash_after(base, tmp_path)
    assert flash[:FS_START] == alone[:FS_START]
    # Nothing of what was there before is left for the file system to trip over.
    assert len(flash) == FS_START + FS_SIZE


def test_every_block_is_as_the_format_wants_it(base):
    made, told, _ = build_image(base, "base", FILES)
    assert len(made) % 512 == 0
    heads = [struct.unpack_from("<8I", made, at) for at in range(0, len(made), 512)]
    for number, head in enumerate(heads):
        assert head[:3] == (0x0A324655, 0x9E5D5157, 0x2000)
        assert (head[4], head[5], head[6], head[7]) == (256, number, len(heads), 0xE48BFF56)
        assert made[number * 512 + 508 : number * 512 + 512] == b"\x30\x6f\xb1\x0a"
    addresses = [head[3] for head in heads]
    assert len(set(addresses)) == len(addresses)
    assert addresses == sorted(addresses)
    assert addresses[-1] == FLASH + 0x200000 - 256
    assert (told.fs_at, told.fs_bytes) == (FLASH + FS_START, FS_SIZE)
    assert told.version.startswith("v1.")


def test_the_same_in_gives_the_same_out(base):
    assert build_image(base, "base", FILES) == build_image(base, "base", dict(reversed(FILES.items())))


def test_another_board_s_file_system_lies_where_its_own_micropython_says():
    """Pico W: 848 KB from 0x12C000 (MicroPython, ports/rp2/boards/RPI_PICO_W; from memory)."""
    at, size = 0x1012C000, 848 * 1024
    made, told, _ = build_image(uf2(program(fs=(at, size))), "base", FILES)
    assert (told.fs_at, told.fs_bytes) == (at, size)
    assert len(made) // 512 == 16 + size // 256


def test_what_is_not_for_flash_is_left_out():
    comment = bytearray(uf2(b"words" * 50)[:512])
    both = bytearray(GOOD + comment)
    for at in range(0, len(both), 512):
        struct.pack_into("<II", both, at + 20, at // 512, len(both) // 512)
    struct.pack_into("<I", both, len(both) - 512 + 8, 0x2001)
    assert build_image(bytes(both), "base", FILES)[0] == build_image(GOOD, "base", FILES)[0]


def changed(at: int, data: bytes) -> bytes:
    return GOOD[:at] + data + GOOD[at + len(data) :]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is no UF2 file"),
        (b"\x7fELF" * 500, "is no UF2 file"),
        (GOOD[:-1], "is cut off"),
        (GOOD[:-512], "lacks blocks: it has 15 of 16"),
        (GOOD[512:], "lacks blocks"),
        (changed(512 * 3 + 4, b"\0"), "is damaged in its block 3"),
        (changed(512 * 4 - 1, b"\0"), "is damaged in its block 3"),
        (changed(512 * 2 + 20, b"\7"), "lacks blocks"),
        (changed(512 * 2 + 12, b"\0\1"), "does not lie in flash"),
        (uf2(program(), size=255), "does not lie in flash"),
        (uf2(program(), at=0x20000000), "does not lie in flash"),
        (uf2(program(), at=0), "does not lie in flash"),
        (uf2(program(), family=0xE48BFF5A), "is for another chip"),
        (GOOD[:512] + uf2(program(), family=0xE48BFF59)[512:], "is for another chip"),
        (absolute(), "it is not MicroPython"),
        (uf2(program(), family=0x68ED2B88), "is for another chip"),
        (uf2(program(), flags=0), "is for another chip"),
        (uf2(bytes(4096)), "it is not MicroPython"),
        (uf2(program(name="CircuitPython")), "it is not MicroPython"),
        (uf2(program(version="v1.21.0")), "its MicroPython v1.21.0 is older than 1.22"),
        (uf2(program(version="")), "is older than 1.22"),
        (uf2(program(fs=(FLASH + 0x800, FS_SIZE))), "it has a file system already"),
        (uf2(program(fs=(FLASH + FS_START, 16384))), "The firmware does not fit"),
        (uf2(program(pages=5)), "it is not MicroPython"),
    ],
)
def test_a_base_that_will_not_do_is_one_line(data, says):
    with pytest.raises(CommandError, match=says) as caught:
        build_image(data, "base", FILES)
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith("base is not used: ") or "does not fit" in line
    assert line.endswith(".")


def test_an_image_for_a_pico_2_is_of_its_family_and_says_that_nobody_has_seen_it(tmp_path, capsys):
    """uf2families.json of github.com/microsoft/uf2: rp2350-arm-s is 0xe48bff59."""
    base, out = tmp_path / "base.uf2", tmp_path / "box.uf2"
    base.write_bytes(absolute() + uf2(program(), family=0xE48BFF59))
    assert cli.run(["image", "--base", str(base), "-o", str(out)]) == 0
    made = out.read_bytes()
    assert made[:512] == absolute()
    blocks = [struct.unpack_from("<8I", made, at) for at in range(512, len(made), 512)]
    assert {block[7] for block in blocks} == {0xE48BFF59}
    assert [block[5] for block in blocks] == list(range(len(blocks)))
    assert {block[6] for block in blocks} == {len(blocks)}
    said = capsys.readouterr()
    assert said.err == untried(RP2350) + "\n"
    # But for family and first block it is the image of a Pico.
    base.write_bytes(GOOD)
    assert cli.run(["image", "--base", str(base), "-o", str(out), "--force"]) == 0
    assert capsys.readouterr().err == ""
    pico = bytearray(out.read_bytes())
    for at in range(0, len(pico), 512):
        struct.pack_into("<I", pico, at + 28, 0xE48BFF59)
    assert bytes(pico) == made[512:]


def test_a_newer_micropython_will_do():
    for version in ("v1.23.0", "v1.28.0-preview.3.gabcdef", "v2.0.0"):
        assert build_image(uf2(program(version=version)), "base", FILES)[1].version == version


def test_the_page_of_measurements_names_the_release_that_ran(tmp_path):
    path = tmp_path / "base.uf2"
    for release in ("1.22.2", "1.26.1"):
        path.write_bytes(uf2(program(version=f"MicroPython v{release} on 2026-01-01")))
        assert f"on MicroPython {release} for" in measure.page([], release_of(path))
    path.write_bytes(uf2(program(version="CircuitPython 9.2.1")))
    with pytest.raises(AssertionError, match="no image of MicroPython"):
        release_of(path)


def test_the_command_writes_a_file_and_no_file_twice(tmp_path, capsys):
    base, out = tmp_path / "base.uf2", tmp_path / "box.uf2"
    base.write_bytes(GOOD)
    command = ["image", "--base", str(base), "-o", str(out)]
    assert cli.run(command) == 0
    said = capsys.readouterr()
    assert said.out.startswith(f"{out}: Lampblack ")
    assert (said.out.count("\n"), said.err) == (1, "")
    files = firmware_files()
    flash = flash_after(out.read_bytes(), tmp_path)
    assert read_fs(flash[FS_START : FS_START + FS_SIZE]) == {**files, MANIFEST: manifest(files)}
    made = out.read_bytes()
    assert cli.run(command) == 1
    assert "is there already" in capsys.readouterr().err
    out.write_bytes(b"")
    assert cli.run([*command, "--force"]) == 0
    assert out.read_bytes() == made
    assert cli.run(["image", "--base", str(tmp_path / "none.uf2"), "-o", str(out), "--force"]) == 1
    assert capsys.readouterr().err.endswith("No such file or directory. Check the name and its folder.\n")
    assert out.read_bytes() == made
