"""The commands that make a board a box, on an emulated Pico: the image starts, and an install arrives.

Faults of cable and flash: tests/test_install.py. Other readers of the image: tests/test_image.py.
"""

from __future__ import annotations

import pytest
from rp2040py.device.load_flash import load_uf2

from lampblack.board import install
from lampblack.board.doctor import examine
from lampblack.board.firmware_files import MANIFEST, firmware_files, manifest, sources_on_board
from lampblack.board.image import build_image
from lampblack.wire.box_client import BoxClient
from tests.micropython import ROOT
from tests.rig.cabled import Cable
from tests.rig.display import Display
from tests.rig.pico import MS, Pico, S
from timing_core import VERSION

FIRMWARE = ROOT / "firmware"
RELAYS = (2, 5, 22)
INPUTS = (6, 7, 8, 9, 10, 11, 12)


def with_panel(pico: Pico) -> Display:
    for pin in INPUTS:
        pico.set_level(pin, 1)
    return Display(pico)


def start_until_panel(pico: Pico) -> int:
    """Apply power; returns the ms until the panel was drawn."""
    panel = with_panel(pico)
    pico.start()
    pico.run_until(lambda: panel.lit and panel.bytes > 1100 and any(panel.frame()), 3 * S)
    return pico.now_ns // MS


@pytest.mark.long
def test_a_pico_starts_from_the_image_and_all_is_well(uf2, tmp_path, monkeypatch):
    files = firmware_files()
    path = tmp_path / "lampblack.uf2"
    path.write_bytes(build_image(uf2.read_bytes(), "base", files)[0])
    pico = Pico(path, {}, RELAYS)
    # What the rig put into flash behind the image is what the image has there itself.
    load_uf2(path, pico.mcu)
    print(f"from power to panel {start_until_panel(pico)} ms")
    cable = Cable(pico, monkeypatch)
    with BoxClient("the box", clock=cable.clock) as box:
        assert box.about["version"] == VERSION
        assert box.state()["lit"] is False
        assert box.crashes() == []
    found, crash = examine("the box", cable.clock)
    assert [finding for finding in found if not finding.ok] == []
    assert [finding.about for finding in found] == [
        "port",
        "box",
        "version",
        "light",
        "memory",
        "board",
        "display",
    ]
    assert crash == []
    assert pico.edges_of(RELAYS[0]) == []
    assert {name: content for name, content in pico.files().items() if not name.startswith("keep/")} == {
        **files,
        MANIFEST: manifest(files),
    }


@pytest.mark.long
def test_a_running_box_is_brought_up_to_date(uf2, monkeypatch):
    files = firmware_files()
    before = {
        **files,
        MANIFEST: b"{}",
        "boot.py": files["boot.py"] + b"# an older one\n",
        # MicroPython takes a source before its bytecode.
        "board/pins.py": sources_on_board()["board.pins"].encode(),
        "board/gone.py": b"1 / 0",
        "keep/mine": b"kept",
        "crash.log": b"Traceback\nValueError: long ago\n",
    }
    del before["board/pins.mpy"]
    pico = Pico(uf2, before, RELAYS)
    start_until_panel(pico)
    cable = Cable(pico, monkeypatch)
    told = []
    said = install.install_at(
        "the box", files, lambda *now: told.append(now), clock=cable.clock, sleep=cable.sleep
    )
    print(f"{said} {pico.now_ns / S:.1f} s of the chip's time")
    assert said.startswith(
        f"Lampblack {VERSION} is on the board (Raspberry Pi Pico with RP2040, MicroPython "
    )
    assert said.endswith(f": 2 of {len(files)} files written.")
    left = pico.files()
    assert left.pop("keep/mine") == b"kept"
    assert {name: data for name, data in left.items() if not name.startswith("keep/")} == {
        **files,
        MANIFEST: manifest(files),
    }
    assert pico.edges_of(RELAYS[0]) == []


@pytest.mark.long
def test_plain_micropython_with_a_program_of_its_own_becomes_a_box(uf2, monkeypatch):
    files = firmware_files()
    pico = Pico(uf2, {"main.py": b"import time\nwhile True:\n    time.sleep(1)\n", "mine.txt": b"mine"})
    panel = with_panel(pico)
    pico.start()
    pico.run_for(500 * MS)
    cable = Cable(pico, monkeypatch)
    began_ns = pico.now_ns
    said = install.install_at("the box", files, clock=cable.clock, sleep=cable.sleep)
    print(f"{said} {(pico.now_ns - began_ns) / S:.1f} s of the chip's time")
    assert said.endswith(f": {len(files)} of {len(files)} files written.")
    pico.run_until(lambda: panel.lit and any(panel.frame()), S)
    left = {name: data for name, data in pico.files().items() if not name.startswith("keep/")}
    assert left == {**files, MANIFEST: manifest(files), "mine.txt": b"mine"}
