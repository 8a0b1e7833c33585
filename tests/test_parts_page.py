"""The parts page lists every part that is bought, where the board has it, and is made the same each time."""

import json
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path
from subprocess import run

import pytest

from hardware import parts_page
from hardware.layout import read_layout
from hardware.parts_page import DATA, PAGE, PageError
from tests.micropython import ROOT

TOOL = ROOT / ".venv" / "parts-page" / "bin" / "generate_interactive_bom"


@pytest.fixture(scope="module")
def data() -> dict:
    return json.loads(DATA.search(PAGE.read_text("utf-8"))[1])


def test_every_part_that_is_bought_is_in_one_row_with_its_step_and_value(data, circuit):
    rows = data["bom"]["both"]
    refs = Counter(ref for row in rows for ref, _ in row)
    fitted = [part for part in circuit.parts.values() if part.fitted and part.kind != "test-point"]
    assert refs == {part.ref: 1 for part in fitted}
    for row in rows:
        for ref, number in row:
            part = circuit.parts[ref]
            assert data["bom"]["fields"][str(number)] == [part.step, part.value, part.what]
    steps = [circuit.parts[row[0][0]].step for row in rows]
    assert steps == sorted(steps)


def test_every_part_is_shown_where_the_board_has_it(data, circuit):
    layout = read_layout()
    shown = {footprint["ref"]: footprint for footprint in data["footprints"]}
    for ref, part in circuit.parts.items():
        places = {tuple(round(number, 2) for number in pad["pos"]) for pad in shown[ref]["pads"]}
        assert places == {tuple(round(number, 2) for number in pad.at) for pad in layout.footprints[ref].pads}
        assert shown[ref]["layer"] == ("B" if part.side == "back" else "F")


def test_the_page_has_no_date_and_fetches_nothing(data):
    assert data["metadata"]["date"] == ""
    text = PAGE.read_text("utf-8")
    assert "MIT License" in text
    assert 'src="http' not in text
    assert "<link" not in text


def test_a_tool_that_makes_nothing_is_said(circuit, tmp_path: Path):
    tool = tmp_path / "tool"
    tool.write_text(f"#!{sys.executable}\nimport sys\nsys.exit('no board to be seen')\n", "utf-8")
    tool.chmod(0o755)
    with pytest.raises(PageError, match="no board to be seen"):
        parts_page.made(circuit, tool)


def test_what_is_kept_is_what_is_made(circuit, tmp_path: Path):
    if not TOOL.exists():
        pytest.skip("needs KiCad 6 and its parts page: apt-get install kicad, then make parts-page")
    made = tmp_path / "page.html"
    python = TOOL.with_name("python")
    run([python, "-m", "hardware.parts_page", made], cwd=ROOT, check=True, capture_output=True)
    assert made.read_bytes() == PAGE.read_bytes(), "Run `make parts-page`."


def test_a_part_that_is_not_fitted_is_not_listed(circuit):
    changed = replace(circuit, parts=circuit.parts | {"D1": replace(circuit.parts["D1"], fitted=False)})
    assert set(parts_page.listed(circuit)) - set(parts_page.listed(changed)) == {"D1"}
