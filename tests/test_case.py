"""The case: its holes are where the board has what goes through them, and what is kept is what is made.

What needs build123d is skipped without it: solids, clashes, ways of light. The rest reads what is kept.
"""

import filecmp
import re
import shutil
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from hardware.case import template
from hardware.case.outlines import read_outlines
from hardware.case.sizes import Sizes, read_sizes
from hardware.checks import gerbers
from hardware.circuit import HERE, read_circuit

MADE = HERE / "made" / "case"
SVG = "{http://www.w3.org/2000/svg}"
PRINTED = ("panel", "tray", "cap-back", "cap-lamp", "cap-expose", "clip")
PICTURES = ("front.svg", "rear.svg", "inside.svg", "apart.svg", "cut.svg")
SOLIDS = sorted([f"{name}.{kind}" for name in PRINTED for kind in ("step", "stl")])
MOST_BYTES = 2_000_000
"""Of all that is kept: everybody fetches it."""
NEAR_MM = 0.02

with_solids = pytest.mark.skipif(
    find_spec("build123d") is None, reason="needs build123d, about 1 GB: pip install -e '.[case]'"
)


@pytest.fixture(scope="module")
def sizes() -> Sizes:
    return read_sizes()


def other_sizes(**changed: dict[str, object]) -> Sizes:
    """With parts of the board that are not as they are: ref -> what is changed."""
    circuit = read_circuit()
    outlines = read_outlines(circuit)
    for ref, change in changed.items():
        outlines[ref] = replace(outlines[ref], **change)
    return Sizes(circuit, outlines)


# --- the drilling template, against the files that the board is made from


def template_shapes() -> dict[str, list[tuple[float, float, float, float]]]:
    """Class -> middle, width and height of each shape of that class."""
    found: dict[str, list[tuple[float, float, float, float]]] = {}
    for item in ET.parse(MADE / "drilling.svg").getroot().iter():
        get = item.attrib.get
        if item.tag == f"{SVG}circle":
            size = 2 * float(get("r"))
            shape = (float(get("cx")), float(get("cy")), size, size)
        elif item.tag == f"{SVG}rect":
            x, y, wide, high = (float(get(name)) for name in ("x", "y", "width", "height"))
            shape = (x + wide / 2, y + high / 2, wide, high)
        else:
            continue
        found.setdefault(get("class"), []).append(shape)
    return found


def middle_on_copper(files: gerbers.Files, ref: str, *pads: str) -> tuple[float, float]:
    """Of all pads of a part that have one of these names, from the board's upper left corner, y down."""
    flashes = [item for item in gerbers.parsed(files["F_Cu.gbr"]).objects if isinstance(item.attrs, dict)]
    places = {
        (float(item.x), -float(item.y))
        for item in flashes
        if item.attrs.get(".P", ("",))[0] == ref and item.attrs[".P"][1] in pads
    }
    return tuple(np.mean(sorted(places), axis=0))


def test_the_templates_holes_are_where_the_maker_drills_the_board():
    files = gerbers.read_files()
    shapes = template_shapes()
    drilled = sorted(hole.start for hole in gerbers.holes(files) if not hole.plated)
    wanted = sorted((x, y) for x, y, *_ in shapes["board"])
    # Of the four, the upper left one is where the board's own place is read from.
    (x0, y0), (bx, by) = min(wanted, key=sum), min(drilled, key=sum)
    for (x, y), hole in zip(wanted, drilled, strict=True):
        assert (x - x0 + bx, y - y0 + by) == pytest.approx(hole, abs=NEAR_MM)

    keys = [middle_on_copper(files, ref, "1", "2") for ref in ("SW1", "SW2", "SW3")]
    for (x, y, *_), key in zip(shapes["key"], keys, strict=True):
        assert (x - x0 + bx, y - y0 + by) == pytest.approx(key, abs=NEAR_MM)
    ((x, y, *_),) = shapes["dial"]
    assert (x - x0 + bx, y - y0 + by) == pytest.approx(middle_on_copper(files, "SW4", "MP"), abs=NEAR_MM)


def test_the_template_has_every_hole_of_the_case(sizes):
    shapes = template_shapes()
    ((_, _, wide, high),) = shapes["window"]
    assert [wide, high] == list(sizes.window)
    assert [shape[2] for shape in shapes["entry"]] == [
        entry.hole[0] if len(entry.hole) == 1 else entry.hole[1] for entry in sizes.entries
    ]
    assert len(shapes["screw"]) == 2 * sum(entry.screws > 0 for entry in sizes.entries)
    # Within the walls that they are in, and clear of each other.
    panel, rear, right = shapes["edge"]
    for wall, kinds in ((panel, ("window", "key", "dial", "board")), (right, ("screw",))):
        for x, y, wide, high in (shape for kind in kinds for shape in shapes[kind]):
            assert abs(x - wall[0]) + wide / 2 < wall[2] / 2
            assert abs(y - wall[1]) + high / 2 < wall[3] / 2
    for x, y, wide, _ in shapes["entry"][:-1]:
        assert abs(x - rear[0]) + wide / 2 < rear[2] / 2
        assert abs(y - rear[1]) + wide / 2 < rear[3] / 2


def test_the_template_prints_at_its_true_size():
    page = ET.parse(MADE / "drilling.svg").getroot()
    assert (page.get("width"), page.get("height"), page.get("viewBox")) == ("210mm", "297mm", "0 0 210 297")
    ruler = next(item for item in page.iter() if item.get("id") == "ruler")
    assert re.fullmatch(r"M[\d.]+ [\d.]+h100", ruler.get("d"))


def test_the_template_that_is_kept_is_the_one_that_is_made(sizes):
    assert (MADE / "drilling.svg").read_text("utf-8") == template.drawn(sizes), "Run `make guides`."


def test_the_template_follows_the_board():
    moved = template.drawn(other_sizes(SW2={"middle": (41.27, 73.62)}))
    assert moved != template.drawn(read_sizes())


def test_the_pdf_that_is_kept_is_made_from_the_template():
    if not shutil.which("rsvg-convert"):
        pytest.skip("needs rsvg-convert: apt-get install librsvg2-bin")
    kept, made = (MADE / "drilling.pdf").read_bytes(), template.pdf(MADE / "drilling.svg")
    producers = [re.findall(rb"/Producer \(([^)]*)", pdf) for pdf in (kept, made)]
    if producers[0] != producers[1]:
        pytest.skip(f"the kept one is from {producers[0]}, this is {producers[1]}")
    assert made == kept, "Run `make guides`."


# --- what is kept


def triangles(name: str) -> np.ndarray:
    """Of an STL: n x 3 corners x 3."""
    data = (MADE / f"{name}.stl").read_bytes()
    count = int.from_bytes(data[80:84], "little")
    row = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    assert len(data) == 84 + count * row.itemsize
    return np.frombuffer(data[84:], row)["corners"].astype(float)


@pytest.mark.parametrize("name", PRINTED)
def test_what_is_printed_is_closed_and_lies_on_the_bed(name):
    corners = triangles(name)
    _, numbers = np.unique(np.round(corners.reshape(-1, 3), 4), axis=0, return_inverse=True)
    edges = Counter()
    for triangle in numbers.reshape(-1, 3):
        edges.update((triangle[n], triangle[(n + 1) % 3]) for n in range(3))
    assert all(edges[b, a] == count for (a, b), count in edges.items())
    volume = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    assert volume > 1000
    assert corners[..., 2].min() == pytest.approx(0, abs=1e-3)
    # What touches the bed is more than an edge: all that lies there, seen from below.
    flat = corners[(corners[..., 2] < 1e-3).all(axis=1)]
    area = np.abs(np.cross(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0])[:, 2]).sum() / 2
    assert area > 100


def test_all_files_are_there_and_are_small():
    names = sorted(file.name for file in MADE.iterdir())
    assert names == sorted([*SOLIDS, *PICTURES, "drilling.svg", "drilling.pdf"])
    assert sum(file.stat().st_size for file in MADE.iterdir()) < MOST_BYTES


@pytest.mark.parametrize("name", PRINTED)
def test_no_file_says_when_it_was_made(name):
    head = (MADE / f"{name}.step").read_text("utf-8")[:400]
    assert re.findall(r"'(\d{4}-\d\d-\d\dT[^']*)'", head) == ["2000-01-01T00:00:00"]


def test_the_pages_name_every_picture_and_every_print():
    build, front_page = ((HERE / name).read_text("utf-8") for name in ("build.md", "README.md"))
    for name in PICTURES:
        assert f"(made/case/{name})" in build
        assert f"(made/case/{name})" in front_page
    for name in PRINTED:
        assert f"(made/case/{name}.stl)" in build
    for page in (build, front_page):
        assert re.search(r"No(?: case has been|body has) printed", page)


# --- what is bought, and the steps


def test_the_case_is_put_together_in_the_steps_of_the_source():
    circuit = read_circuit()
    page = (HERE / "build.md").read_text("utf-8")
    steps = re.findall(r"^(\d+)\. \*\*([^*]+)\.\*\*", page[page.index("### Putting it together") :], re.M)
    assert steps == [(str(number), title) for number, title in circuit.case_steps.items()]
    assert {thing.step for thing in circuit.bought} - {0} <= set(circuit.case_steps)


def test_as_much_is_bought_as_is_fitted(sizes):
    count = {thing.name: thing.count for thing in sizes.circuit.bought}
    seats = len(sizes.pillars) + len(sizes.board_holes) + len(sizes.clip_posts)
    assert count["insert"] == count["screw"] == seats
    fits = Counter(entry.fits for entry in sizes.entries)
    assert fits == {"gland": count["gland"], "jack": count["jack"], "socket": count["usb"]}
    assert count["sockets"] == 2


def test_numbers_that_cannot_be_made_are_refused(sizes):
    assert sizes.faults() == []
    assert "BACK: its key is so tall" in other_sizes(SW1={"height_mm": 10.0}).faults()[0]
    assert "6 mm" in other_sizes(SW4={"height_mm": 20.0}).faults()[0]
    assert "16.0 mm tall" in other_sizes(C22={"height_mm": 16.0}).faults()[0]


# --- solids


@pytest.fixture(scope="module")
def found(sizes):
    from hardware.checks import clashes

    return clashes.printed_bodies(sizes) + clashes.bodies(sizes)


@with_solids
def test_nothing_is_in_the_place_of_anything_else(found):
    from hardware.checks import clashes

    assert len(found) > 150
    assert clashes.invalid(found) == []
    assert clashes.clashes(found) == {}


@with_solids
@pytest.mark.parametrize(
    ("changed", "one", "other"),
    [
        ({"F1": {"height_mm": 16.0}}, "panel", "F1"),
        ({"U2": {"height_mm": 11.0, "keeps": (50.0, 55.0, 72.0, 68.0)}}, "cap-expose", "U2"),
        ({"U1": {"height_mm": 21.0}}, "tray", "U1"),
        ({"U1": {"height_mm": 18.0}}, "tray", "USB plug"),
        ({"SW4": {"body": (84.0, 68.0, 99.0, 84.0)}}, "panel", "SW4"),
        ({"SW1": {"middle": (13.0, 75.0)}}, "panel", "cap-back"),
    ],
    ids=[
        "a tall fuse",
        "a large counter",
        "a tall Pico",
        "its plug",
        "a dial at a post",
        "a key moved to one",
    ],
)
def test_a_clash_is_found(changed, one, other):
    from hardware.checks import clashes

    moved = other_sizes(**changed)
    some = [b for b in clashes.printed_bodies(moved) + clashes.bodies(moved) if b.name in (one, other)]
    assert (one, other) in clashes.clashes(some)


@with_solids
def test_what_lies_wholly_in_a_wall_is_found(found, sizes):
    from hardware.case.solids import rod
    from hardware.checks import clashes

    tray = next(body for body in found if body.name == "tray")
    for z, count in ((-sizes.inside - 1.5, 1), (-sizes.inside + 1.5, 0)):
        pebble = clashes.Body("pebble", rod((0, 0), 1.0, z - 0.5, z + 0.5), "pebble")
        assert len(clashes.clashes([tray, pebble])) == count


@with_solids
def test_a_cap_that_is_not_whole_is_found(found):
    from hardware.checks import clashes

    cap = next(body for body in found if body.name == "cap-lamp")
    apart = cap.solid + cap.solid.translate((0, 0, 100))
    assert clashes.invalid([replace(cap, solid=apart)]) == ["cap-lamp"]


@with_solids
def test_what_is_kept_is_what_is_made(tmp_path: Path, sizes):
    from hardware.case.__main__ import make

    make(sizes, tmp_path)
    names = sorted(file.name for file in tmp_path.iterdir())
    assert names == sorted([*SOLIDS, *PICTURES])
    assert filecmp.cmpfiles(tmp_path, MADE, names, shallow=False) == (names, [], []), "Run `make case`."


@with_solids
def test_no_straight_line_leads_inside(sizes):
    from hardware.checks import light_traps

    met = light_traps.opaque(sizes)
    leaks = {seam.name: light_traps.through(seam, sizes, met) for seam in light_traps.seams(sizes)}
    assert leaks == dict.fromkeys(["BACK", "LAMP", "EXPOSE", "dial", "panel and tray"], 0)


@with_solids
def test_a_seam_without_its_trap_is_found(sizes, monkeypatch):
    from hardware.case import sizes as numbers
    from hardware.case import solids
    from hardware.checks import light_traps

    seams = {seam.name: seam for seam in light_traps.seams(sizes)}
    panel, back, *others = light_traps.opaque(sizes)
    without_knob = [solid for solid in others if solid.bounding_box().max.Z < 10]
    assert len(without_knob) < len(others)
    monkeypatch.setattr(numbers, "FLANGE", -1.5)
    monkeypatch.setattr(numbers, "LIP_DEEP", 0.05)
    bare, narrow = solids.panel(sizes), solids.cap(sizes.caps[0])
    assert light_traps.through(seams["panel and tray"], sizes, [bare, back, *others]) > 100
    assert light_traps.through(seams["BACK"], sizes, [panel, narrow, *others]) > 100
    assert light_traps.through(seams["dial"], sizes, [panel, back, *without_knob]) > 50
