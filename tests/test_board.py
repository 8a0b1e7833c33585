"""The board that is made: its copper joins what the circuit joins, and what is kept is what is made."""

import filecmp
import shutil
import subprocess
from math import hypot
from pathlib import Path

import pytest

from hardware.checks import gerbers
from hardware.circuit import HERE
from tests.micropython import ROOT

KICAD_PYTHON = "/usr/bin/python3"
"""Debian's, which its KiCad came with."""
MADE = HERE / "made" / "board"

CUT_MM = 0.3


@pytest.fixture(scope="module")
def files() -> gerbers.Files:
    return gerbers.read_files()


def kicad() -> str:
    """Which KiCad there is; nothing without one."""
    if not shutil.which(KICAD_PYTHON):
        return ""
    asked = subprocess.run(
        [KICAD_PYTHON, "-c", "import pcbnew; print(pcbnew.GetBuildVersion())"], capture_output=True, text=True
    )
    return asked.stdout.strip() if asked.returncode == 0 else ""


def drawn_over(
    files: gerbers.Files, side: str, dark: bool, *ends_mm: tuple[float, float], width_mm: float = CUT_MM
):
    """The files with one more line in the copper of a side, or with one taken out of it."""
    places = [f"X{round(x * 1e6)}Y{round(-y * 1e6)}" for x, y in ends_mm]
    line = f"%ADD99C,{width_mm:.6f}*%\nD99*\n%LP{'D' if dark else 'C'}*%\n"
    line += f"{places[0]}D02*\n{places[-1]}D01*\n"
    name = f"{side}.gbr"
    assert files[name].count("M02*") == 1
    return files | {name: files[name].replace("M02*", line + "M02*")}


def pads_of(files: gerbers.Files, ref: str) -> dict[str, tuple[float, float]]:
    flashes = [item for item in gerbers.parsed(files["F_Cu.gbr"]).objects if isinstance(item.attrs, dict)]
    named = [item for item in flashes if item.attrs.get(".P", ("",))[0] == ref]
    return {item.attrs[".P"][1]: (float(item.x), -float(item.y)) for item in named}


def longest_track(files: gerbers.Files, net: str):
    """Side, ends and width of a net's longest track."""
    tracks = [
        (hypot(item.x2 - item.x1, item.y2 - item.y1), side, item)
        for side in gerbers.SIDES
        for item in gerbers.parsed(files[f"{side}.gbr"]).objects
        if type(item).__name__ == "Line" and item.attrs.get(".N") == (net,)
    ]
    _, side, item = max(tracks, key=lambda track: track[0])
    return side, (item.x1, -item.y1), (item.x2, -item.y2), item.aperture.diameter


def test_the_makers_files_join_what_the_circuit_joins(files, circuit):
    assert gerbers.faults(files, circuit) == []


@pytest.mark.parametrize("net", ["LAMP", "PERMIT", "V5S"])
def test_a_track_that_is_cut_is_found(files, circuit, net):
    side, (x1, y1), (x2, y2), width = longest_track(files, net)
    reach = (width / 2 + CUT_MM) / hypot(x2 - x1, y2 - y1)
    x, y, dx, dy = (x1 + x2) / 2, (y1 + y2) / 2, (x2 - x1) * reach, (y2 - y1) * reach
    cut = drawn_over(files, side, False, (x - dy, y + dx), (x + dy, y - dx))
    assert f"{net} is in 2 pieces" in gerbers.faults(cut, circuit)


@pytest.mark.parametrize(
    ("one", "other", "nets"), [("9", "10", {"EXPOSE", "PEDAL"}), ("24", "25", {"CELL_SDA", "CELL_SCL"})]
)
def test_a_bridge_between_two_pins_is_found(files, circuit, one, other, nets):
    pins = pads_of(files, "U1")
    for side in gerbers.SIDES:
        bridged = drawn_over(files, side, True, pins[one], pins[other])
        joined = [line for line in gerbers.faults(bridged, circuit) if line.endswith(" are joined")]
        # What lies between the pins is joined too.
        assert nets <= {net for line in joined for net in line.removesuffix(" are joined").split(" and ")}


def test_a_bridge_to_a_pin_of_nobody_is_found(files, circuit):
    """The pin beside the lamp's is kept free, and must stay it."""
    pins = pads_of(files, "U1")
    bridged = drawn_over(files, "B_Cu", True, pins["4"], pins["5"])
    assert "pad 5 of U1, which is nobody's, is joined to LAMP" in gerbers.faults(bridged, circuit)


def test_copper_too_near_the_lamps_pin_is_found(files, circuit):
    x, y = pads_of(files, "U1")["4"]
    near = drawn_over(files, "F_Cu", True, (x + 1.27, y), width_mm=0.2)
    assert gerbers.faults(near, circuit) == ["F_Cu: something is closer than 0.5 mm to LAMP"]


def test_a_hole_that_is_missing_or_too_large_is_found(files, circuit):
    pins = pads_of(files, "U1")
    x, y = pins["9"]
    line = f"X{x:g}Y{-y:g}\n"
    assert files["PTH.drl"].count(line) == 1
    missing = files | {"PTH.drl": files["PTH.drl"].replace(line, "")}
    assert "pad 9 of U1 is not one piece of copper with a plated hole" in gerbers.faults(missing, circuit)
    large = files | {"PTH.drl": files["PTH.drl"].replace("C1.000\n", "C1.800\n")}
    assert "pad 2 of U1 is not one piece of copper with a plated hole" in gerbers.faults(large, circuit)


def test_a_part_that_is_not_on_the_board_is_found(files, circuit):
    names = [f"{side}.gbr" for side in gerbers.SIDES]
    lost = files | {name: files[name].replace("%TO.P,R19,1*%", "%TO.P,R99,1*%") for name in names}
    lines = gerbers.faults(lost, circuit)
    assert "R19 has no pad 1 on the board" in lines
    assert "R99 is on the board, and in no list" in lines


def test_tracks_are_as_wide_as_they_must_be(files, circuit):
    found = set()
    for net in circuit.nets:
        for side in gerbers.SIDES:
            for item in gerbers.parsed(files[f"{side}.gbr"]).objects:
                if type(item).__name__ == "Line" and item.attrs.get(".N") == (net,):
                    wide = net in circuit.board["wide"]
                    assert item.aperture.diameter == (0.8 if wide else 0.3), net
                    found.add(net)
    assert found == set(circuit.nets)


def test_the_outline_and_the_mounting_holes_are_those_of_the_parts_file(files, circuit):
    width, height = circuit.board["size"]
    assert width <= 100
    assert height <= 86
    assert gerbers.outline_mm(files) == pytest.approx((0, 0, width, height))
    bare = {hole.start: hole.diameter_mm for hole in gerbers.holes(files) if not hole.plated}
    assert bare == {tuple(map(float, hole)): 3.2 for hole in circuit.board["holes"]}


def test_a_contact_has_a_word_for_each_pad(circuit):
    for part in circuit.parts.values():
        if part.kind.startswith("terminal") and part.fitted:
            assert len(part.contacts) == len(part.pads), part.ref
        assert len(part.contacts) in (0, len(part.pads)), part.ref


def test_what_is_kept_is_what_is_made_and_breaks_no_rule(tmp_path: Path):
    version = kicad()
    if not version.startswith("6."):
        pytest.skip("needs KiCad 6 with its footprints: apt-get install kicad kicad-footprints (Debian 12)")
    made = subprocess.run(
        [KICAD_PYTHON, "-m", "hardware.board", str(tmp_path)], cwd=ROOT, capture_output=True, text=True
    )
    assert made.returncode == 0, made.stdout + made.stderr
    assert "rules broken: 0\n" in made.stdout
    assert "connections missing: 0\n" in made.stdout
    names = sorted(file.name for file in MADE.iterdir())
    assert sorted(file.name for file in tmp_path.iterdir()) == names
    assert filecmp.cmpfiles(tmp_path, MADE, names, shallow=False) == (names, [], []), "Run `make board`."
