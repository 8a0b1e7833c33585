"""Areas of a print as files: faults by their lines, the published schema, and that they stay on the PC."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lampblack.cards import areas_file
from lampblack.cards.areas_file import (
    CORNERS_MAX,
    OUTLINES_MAX,
    PARTS,
    SIZE_MAX,
    check,
    dump,
    load,
    read,
    schema_text,
)
from lampblack.cards.toml_file import FileError
from tests.box_model import a_card
from tests.test_cli import lampblack, server  # noqa: F401
from timing_core.light.bench import is_plain_text
from timing_core.light.printing_map import AREA_MAX

SCHEMA = json.loads((Path(areas_file.__file__).parent / "areas.schema.json").read_text(encoding="utf-8"))
SCHEMA_CHECK = jsonschema.Draft202012Validator(SCHEMA)

places = st.integers(0, PARTS)
outlines = st.fixed_dictionaries(
    {
        "pass": st.integers(1, 4),
        "area": st.text(min_size=1, max_size=AREA_MAX).filter(lambda text: is_plain_text(text, 1, AREA_MAX)),
        "corners": st.lists(st.lists(places, min_size=2, max_size=2), min_size=3, max_size=8),
    }
)
SKY = '[[outline]]\npass = 1\narea = "sky"\ncorners = [[0, 0], [1, 0], [0.5, 0.25]]\n'


@given(st.lists(outlines, max_size=5))
@settings(max_examples=25)
def test_areas_that_are_written_read_as_they_were(drawn):
    text = dump({"outlines": drawn})
    assert read(text) == {"outlines": drawn}
    SCHEMA_CHECK.validate(tomllib.loads(text))


def test_the_most_that_a_file_may_have_is_taken(tmp_path):
    most = {"pass": 4, "area": "\u4e2d" * AREA_MAX, "corners": [[1234, 9876]] * CORNERS_MAX}
    path = tmp_path / "most.areas.toml"
    text = dump({"outlines": [most]})
    assert len(text.encode()) * OUTLINES_MAX <= SIZE_MAX
    few = {"outlines": [{**most, "corners": most["corners"][:3]}] * OUTLINES_MAX}
    path.write_text(dump(few) + "#" * (SIZE_MAX - len(dump(few).encode())), encoding="utf-8")
    assert load(path) == few
    with path.open("a") as file:
        file.write("#")
    with pytest.raises(
        FileError, match=rf"the file is over {SIZE_MAX} bytes\. Give it one file of areas only\.$"
    ):
        load(path)


def test_the_schema_is_that_of_the_table():
    published = (Path(areas_file.__file__).parent / "areas.schema.json").read_text(encoding="utf-8")
    assert published == schema_text(), "write it anew with schema_text()"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    SCHEMA_CHECK.validate(tomllib.loads(SKY))


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        ("pass = 1\n", "", "1: pass is missing from [[outline]]. Write pass = 1."),
        ("pass = 1", "pass = 5", '2: pass: "5" is out of range. Write 1 to 4.'),
        ('"sky"', '""', '3: area: "" has 0 characters. Write 1 to 16 characters.'),
        ("[0, 0], ", "", "4: corners: it has 3 to 100 pairs. Write corners = [[0.25, 0.25], ...]."),
        ("[0, 0]", "[0]", "4: corners: a pair has two values. Write corners = [[0.25, 0.25], ...]."),
        ("[0, 0]", "0", "4: corners: a pair has two values. Write corners = [[0.25, 0.25], ...]."),
        ("[0, 0]", "[0, 1.1]", '4: corners: "1.1" is out of range. Write 0 to 1.'),
        ("[0, 0]", "[nan, 0]", '4: corners: "NaN" is out of range. Write 0 to 1.'),
        ("0.25", "0.25001", '4: corners: "0.25001" is too fine. Write whole steps of 0.0001.'),
        ("0.25", '"a"', '4: corners: "a" is no plain number. Write corners = 0.25.'),
        ("corners = [", "corner = [", '4: "corner" is no key of [[outline]]. Did you mean "corners"?'),
        ("[[outline]]", "[[area]]", '1: "area" is no key of the file. It belongs to [[outline]].'),
        ("[0, 0]", "[[0], 0]", '4: corners: "[0]" is more than one value. Write corners = 0.25.'),
    ],
)  # fmt: skip
def test_a_fault_is_one_line_with_its_place(was, now, said):
    assert was in SKY
    with pytest.raises(FileError) as raised:
        read(SKY.replace(was, now, 1), "sky.areas.toml")
    assert f"sky.areas.toml:{said}" in raised.value.lines


def test_what_is_drawn_without_a_mark_is_said_in_one_line():
    card = a_card(("sky", 60))

    def drawn(*places: tuple[int, str]) -> dict:
        return {"outlines": [{"pass": count, "area": area, "corners": []} for count, area in places]}

    assert check(drawn((1, "sky")), card) == ""
    assert check(drawn((1, "sky"), (2, "sky"), (2, "sky")), card) == (
        "Drawn and kept, though the card has no such mark: sky in pass 2."
    )
    assert check(drawn((1, "tree"), (1, "old\u2028wall")), card).count("\n") == 0


# --- they stay on this computer


def test_areas_are_not_pushed(lampblack, server, tmp_path):  # noqa: F811
    card, areas = tmp_path / "pier.toml", tmp_path / "pier.areas.toml"
    card.write_text('name = "pier"\n[[pass]]\nbase = "9 s"\n')
    areas.write_text(SKY)
    told = lampblack("push", card, areas, "--port", server.port)
    assert (told.code, told.out) == (0, "pier is on the shelf.\n")
    assert told.err == f"{areas} stays here: areas are not pushed.\n"
    assert server.session.box.shelf.names() == ["pier"]
    told = lampblack("push", areas, "--port", server.port)
    assert told.code == 1
    assert told.err == f"{areas} is not pushed: areas stay on this computer. Give the card.\n"
    assert areas.read_text() == SKY


def test_a_pull_writes_over_no_areas(lampblack, server, tmp_path):  # noqa: F811
    card, areas = tmp_path / "pier.toml", tmp_path / "pier.areas.toml"
    card.write_text('name = "pier"\n[[pass]]\nbase = "9 s"\n')
    areas.write_text(SKY)
    lampblack("push", card, "--port", server.port)
    told = lampblack("pull", "pier", "--port", server.port, "-o", card, "--force")
    assert told.code == 0
    assert areas.read_text() == SKY
    told = lampblack("pull", "pier", "--port", server.port, "-o", areas, "--force")
    assert told.code == 1
    assert told.err == f"{areas} is not written: that is where the areas of a card are. Give another name.\n"
    assert areas.read_text() == SKY
