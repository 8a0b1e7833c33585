"""What the hardware's pages say is what the source says, and the proofs beside them hold."""

import re
import shutil
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from hardware.checks import light, ohms, power
from hardware.checks.faults import faults_of, read_table
from hardware.checks.simulation import Fault
from hardware.circuit import HERE
from hardware.guide import made_pages

with_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="needs ngspice: apt-get install ngspice"
)


def test_the_made_pieces_are_what_is_made():
    for page, text in made_pages().items():
        assert page.read_text("utf-8") == text, f"{page.name} is not what is made: run `make guides`"


def test_the_parts_list_has_every_part_once(circuit):
    text = (HERE / "parts.md").read_text("utf-8")
    on_board = text[text.index("<!-- made: lists -->") :]
    for part in circuit.parts.values():
        mentions = len(re.findall(rf"\b{part.ref}\b", re.sub(r"^- .*$", "", on_board, flags=re.M)))
        assert mentions == (part.kind != "test-point"), part.ref


def test_every_page_says_that_no_prototype_was_measured():
    for page in sorted(HERE.glob("*.md")):
        assert "**No prototype has been built or measured yet" in page.read_text("utf-8"), page.name


def test_the_build_has_every_step_of_the_source_in_its_order(circuit):
    text = (HERE / "build.md").read_text("utf-8")
    assert re.findall(r"^### (\d+)\. (.+)$", text, re.M) == [
        (str(number), title) for number, title in circuit.steps.items()
    ]
    for ref in set(re.findall(r"\b(?:R|C|D|Q|JP|RN|J|F|TP)\d+\b", text)):
        assert ref in circuit.parts, ref


def sections(page: str) -> dict[str, str]:
    """Heading -> what stands under it, down to the next of any level."""
    pieces = re.split(r"^#+ (.+)$", (HERE / page).read_text("utf-8"), flags=re.M)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def test_every_fitted_part_is_in_the_picture_of_one_step_of_the_build(circuit):
    """A picture stands under the step that it is of, and nowhere else."""
    shown = Counter()
    for heading, text in sections("build.md").items():
        for name in re.findall(r"\]\((made/steps/[^)]+)\)", text):
            parts = re.findall(r'data-new="(\w+)"', (HERE / name).read_text("utf-8"))
            assert not parts or heading.startswith(f"{circuit.parts[parts[0]].step}. "), name
            shown.update(parts)
    assert shown == {part.ref: 1 for part in circuit.parts.values() if part.fitted}


def test_every_picture_of_a_step_is_shown_on_a_page():
    pages = "".join((HERE / page).read_text("utf-8") for page in ("build.md", "acceptance.md"))
    for file in sorted((HERE / "made" / "steps").iterdir()):
        assert f"(made/steps/{file.name})" in pages, file.name


def test_every_step_that_finds_a_fault_is_in_the_acceptance_test():
    steps = set(re.findall(r"^\| (\d+) \|", (HERE / "acceptance.md").read_text("utf-8"), re.M))
    assert steps == {str(number) for number in range(1, 17)}
    named = {word for row in read_table() for word in re.findall(r"acceptance step (\d+)", row[4])}
    assert named <= steps


@with_ngspice
def test_a_good_board_reads_as_the_first_step_says(circuit):
    assert ohms.out_of_limits(circuit) == []


@with_ngspice
def test_the_first_step_finds_every_fault_that_is_left_to_it(circuit):
    faults = {str(fault): fault for fault in faults_of(circuit)}
    left = [
        faults[row[0]]
        for row in read_table()
        if row[4].startswith("acceptance step 1") and row[4][17:18] in ("", ";")
    ]
    assert len(left) > 30
    for fault in left:
        assert ohms.out_of_limits(circuit, fault), fault


@with_ngspice
@pytest.mark.parametrize(
    ("fault", "found"),
    [
        (Fault("D1", "open", ("1",)), 2),
        (Fault("D1", "joined", ("1", "2")), 2),
        (Fault("SW1", "open", ("1",)), 1),
        (Fault("SW1", "open", ("2",)), 1),
    ],
)
def test_the_readings_without_power_prove_backs_own_contact(circuit, fault, found):
    permit = [reading for reading in ohms.READINGS if reading.red == "PERMIT"]
    assert [reading for reading in ohms.out_of_limits(circuit, fault) if reading in permit][-found:] == (
        permit[-found:]
    )


@with_ngspice
def test_the_readings_find_a_silicon_diode_and_a_turned_one_in_place_of_d1(circuit):
    permit = [reading for reading in ohms.READINGS if reading.red == "PERMIT"]
    right = circuit.parts["D1"]
    turned = {"1": right.pads["2"], "2": right.pads["1"]}
    for wrong in (replace(right, kind="switching-diode"), replace(right, pads=turned)):
        changed = replace(circuit, parts=circuit.parts | {"D1": wrong})
        assert [reading for reading in ohms.out_of_limits(changed) if reading in permit] == permit


def test_the_supply_is_enough(circuit):
    assert power.worst_ma(circuit) < power.USB_MA
    # All outputs at once stay under what the fuse holds, with a tenth to spare.
    assert power.INPUT_MA * len(power.OUTPUTS) < 0.9 * 160


def test_light_is_weighed_as_the_paper_sees_it():
    """A paper that sees nothing beyond 600 nm, and a filter that lets nothing through below."""
    paper = np.where(light.NM < 600, 1.0, 1e-12)
    filters = {name: np.where(light.NM < 600, 3.0, 0.0) for name in ("25", "29")}
    data = light.Data(filters, paper, 600)
    white, red = light.LIGHTS["white OLED"], light.LIGHTS["deep red LED, 660 nm"]
    assert light.safe_min(red, data, None) > 1e3 * light.safe_min(white, data, None)
    # A density of 3 everywhere that matters: a thousand times the time.
    assert light.safe_min(white, data, "25") == pytest.approx(
        1000 * light.safe_min(white, data, None), rel=0.01
    )


def test_the_table_of_displays_is_what_the_measured_curves_give():
    try:
        data = light.read_data()
    except light.NoData as missing:
        pytest.skip(str(missing))
    page = (HERE / "README.md").read_text("utf-8")
    for line in light.table(data):
        assert line in page
