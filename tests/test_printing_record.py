"""The printing record: all that a card says is on its pages, nothing on anything else, and black on white.

Outside checks: pypdf and poppler's pdftoppm open the PDF, Pillow the PNG, Python's XML parser the SVG, and
Matplotlib measures the text itself.
"""

import io
import os
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from lampblack.cards import areas_file, card_file, trays_file
from lampblack.record import lettering, print_picture, record_command
from lampblack.record.contents import Contents, contents_of
from lampblack.record.page_drawing import _SETTINGS, DPI, _figure, drawn
from lampblack.record.page_layout import (
    PAPER_SIZES_MM,
    Block,
    Line,
    Page,
    Picture,
    Rect,
    Words,
    laid_out,
    ticks,
)
from tests.box_model import a_card, a_pass
from tests.laboratory import WITHOUT
from tests.scans import lying
from tests.test_cli import SPLIT, lampblack, one_line, server  # noqa: F401
from timing_core.light.bench import Bench
from timing_core.light.printing_map import AREA_MAX, FACTS, MARKS_MAX, PASSES_MAX
from timing_core.light.stops import stops_text

TRAYS = SPLIT.parent.parent / "trays" / "fibre.toml"
GREYS = np.tile(np.linspace(0, 255, 60).astype(np.uint8), (48, 1))
KINDS = ("pdf", "svg", "png")
every_size = pytest.mark.parametrize("paper", PAPER_SIZES_MM)

# Wide, narrow, tall, accented, beyond the letters, and what another program would take for a command.
LETTERS = "WMil.\u00c5\u00e9\u011f\u0416\u4e2d$^_&<>\\{}%\"'#= 01"


def text(low: int, high: int) -> st.SearchStrategy[str]:
    return st.text(LETTERS, min_size=low, max_size=high).map(lambda drawn: drawn.strip() or "W" * low)


@st.composite
def records(draw) -> tuple[dict, dict]:
    """A card, and areas for some of its marks and for none."""
    names, dodge = draw(st.lists(text(1, AREA_MAX), min_size=3, max_size=3)), draw(st.integers(-20, -3))
    offsets = [dodge, draw(st.integers(3, 600)), draw(st.sampled_from([0, 17, 120]))]
    sizes = draw(st.lists(st.sampled_from([0, 1, 4, MARKS_MAX]), min_size=1, max_size=PASSES_MAX))
    passes = []
    for count, size in enumerate(sizes):
        marks: list[tuple] = [(names[at % 3], offsets[at % 3]) for at in range(size)]
        marks[1::6] = [(*mark, "MMMMMMMM") for mark in marks[1::6]]
        filter = draw(st.sampled_from(["00", "5", "", f"WWWWWWW{count}"]))
        passes.append(a_pass(*marks, base_ms=draw(st.sampled_from([30_000, 31_234])), filter=filter))
    facts = {key: draw(text(1, high)) for key, high in FACTS if draw(st.booleans())}
    card = {**a_card(), "title": draw(text(0, 40)), "facts": facts, "passes": passes}
    card["dry_down"], card["dry_down_pm"] = draw(st.booleans()), 85
    if draw(st.booleans()):
        card["carried"] = {"size": 97, "aperture": -1200, "paper": 1200}
    corner = st.lists(st.integers(0, 10_000), min_size=2, max_size=2)
    corners = draw(st.lists(corner, min_size=6, max_size=6))
    outlines = [
        {"pass": count, "area": area, "corners": corners[at % 3 : 3 + at % 4]}
        for at, (count, area) in enumerate(areas_file.marks_of(card))
    ]
    outlines.append({"pass": 4, "area": "long gone", "corners": [[0, 0], [1, 1], [2, 2]]})
    return card, {"outlines": outlines}


def a_bench() -> Bench:
    """Under which every dodge fits that `records` draws."""
    bench = Bench()
    bench.set("lead_ms", 500)
    return bench


def contents(card: dict, areas: dict | None = None, **more) -> Contents:
    return contents_of(card, a_bench(), areas, **more)


def texts(pages: list[Page]) -> list[str]:
    return [item.text for page in pages for item in page.items if isinstance(item, Words)]


def lines_of(page: Page) -> dict[float, str]:
    """The texts of a page by the line they stand on, from left to right."""
    found: dict[float, list[Words]] = {}
    for item in page.items:
        if isinstance(item, Words):
            found.setdefault(round(item.base, 3), []).append(item)
    return {base: " | ".join(own.text for own in sorted(row)) for base, row in found.items()}


# --- the layout


def faults_of(page: Page) -> Iterator[str]:
    """What stands where it must not."""
    margins = Rect(10, 10, page.wide - 20, page.high - 20)
    words = sorted(
        ((item.rect, item) for item in page.items if isinstance(item, Words)), key=lambda own: own[0].top
    )
    pictures = [item.rect for item in page.items if isinstance(item, Picture)]
    for item in page.items:
        corners = [Rect(x, y, 0, 0) for x, y in item.points] if isinstance(item, Line) else [item.rect]
        if not all(margins.holds(corner) for corner in corners):
            yield f"{item} leaves the page"
        if isinstance(item, Block):
            for rect, own in words:
                if rect.meets(item.rect) and not (item.rect.holds(rect) and not item.black):
                    yield f"{own} stands on {item}"
        if isinstance(item, Line) and not item.on_picture and len(item.points) == 2:
            (left, top), (right, bottom) = item.points
            for rect, own in words:
                if rect.meets(Rect(left, top, right - left + 1e-9, bottom - top + 1e-9)):
                    yield f"{own} is struck through"
    for at, (rect, own) in enumerate(words):
        for other_rect, other in words[at + 1 :]:
            if other_rect.top >= rect.bottom:
                break
            if rect.meets(other_rect):
                yield f"{own} stands on {other}"
        for picture in pictures:
            if rect.meets(picture) and not picture.holds(rect):
                yield f"{own} stands half on the picture"


@given(records(), st.sampled_from(list(PAPER_SIZES_MM)), st.sampled_from([None, (5, 4), (1, 6), (40, 1)]))
@settings(max_examples=15)
def test_nothing_overlaps_or_leaves_the_page(record, paper, picture):
    card, areas = record
    sequence = trays_file.SEQUENCES.load(TRAYS)
    made = contents(card, areas, trays=sequence, edition=(7, 25), date="27 November 2026, at night")
    for page in laid_out(made, paper, picture):
        assert (page.wide, page.high) == PAPER_SIZES_MM[paper]
        assert list(faults_of(page)) == []


@given(records(), st.sampled_from(list(PAPER_SIZES_MM)))
@settings(max_examples=15)
def test_every_mark_is_there_with_its_stops_and_time(record, paper):
    card, areas = record
    pages = laid_out(contents(card, areas), paper, (5, 4))
    rows = [line for page in pages for line in lines_of(page).values()]
    bench_rows = contents(card, areas).rows
    for own in card["passes"]:
        for mark in own["marks"]:
            name, stops = lettering.drawable(mark["area"]), stops_text(mark["stops120"])
            assert any(f" {name}" in f" {row}" and f"| {stops}" in row for row in rows), mark
    assert sum(bool(row.stops) for row in bench_rows) == sum(len(own["marks"]) for own in card["passes"])


@given(records())
@settings(max_examples=10)
def test_every_fact_is_there(record):
    card, _ = record
    all_of_it = "".join(texts(laid_out(contents(card), "a4", None))).replace(" ", "")
    for said in card["facts"].values():
        assert lettering.drawable(said).replace(" ", "") in all_of_it


def test_an_overlap_and_a_text_off_the_page_are_found():
    page = Page(210, 297, [Words(20, 50, "one", 9), Words(21, 51, "two", 9), Words(190, 90, "W" * 20, 9)])
    page.items.append(Block(Rect(20, 48, 3, 3), black=True))
    found = " ".join(faults_of(page))
    assert "stands on Words(left=21" in found
    assert "leaves the page" in found
    assert "stands on Block" in found


@pytest.mark.parametrize("bold", [False, True])
def test_texts_are_as_wide_as_matplotlib_draws_them(bold):
    """Nowhere wider, and hardly narrower."""
    page = Page(210, 297, [Words(20, 40 + 8 * at, own, 9, bold) for at, own in enumerate(SAMPLES)])
    with matplotlib.rc_context(_SETTINGS):
        figure = _figure(page, None)
        figure.set_dpi(DPI)
        figure.canvas.draw()
        boxes = [shown.get_window_extent() for shown in figure.texts]
    for item, box in zip(page.items, boxes, strict=True):
        left, right = (x / figure.dpi * 25.4 for x in (box.x0, box.x1))
        top, bottom = (297 - y / figure.dpi * 25.4 for y in (box.y1, box.y0))
        assert item.rect.left - 0.3 <= left
        assert right <= item.rect.right + 0.3
        assert item.rect.top - 0.3 <= top <= bottom <= item.rect.bottom + 0.3
        assert right - left >= 0.8 * item.rect.wide


SAMPLES = ["W" * 16, "dodge posts", "AVAVAV To fi", "-1 119/120", "\u00c5\u00e9\u0416\u25a1$x^2$", "0.00"]


def test_what_is_never_printed_and_what_has_no_letter_is_replaced():
    assert lettering.drawable("sky\u202e\n\u4e2d$") == "sky  \u25a1$"


def test_a_text_that_is_too_long_is_made_smaller_and_then_shorter():
    wide = lettering.width_mm("W" * 10, 8)
    assert lettering.fitted("W" * 10, wide, 8, 5) == ("W" * 10, 8)
    assert lettering.fitted("W" * 10, 0.8 * wide, 8, 5) == ("W" * 10, pytest.approx(6.4))
    cut, size_pt = lettering.fitted("W" * 10, 0.3 * wide, 8, 5)
    assert size_pt == 5
    assert cut.endswith("\u2026")
    assert lettering.width_mm(cut, 5) <= 0.3 * wide
    assert lettering.wrapped("one  two three", lettering.width_mm("one two", 8), 8) == ["one two", "three"]
    assert "".join(lettering.wrapped("W" * 50, wide, 8)) == "W" * 50


@pytest.mark.parametrize(
    ("longest_ms", "wide_mm", "last_ms"),
    [(8556, 60, 8000), (3000, 40, 3000), (100, 40, 100), (999_900, 40, 500_000)],
)
def test_marks_of_the_scale_are_round_and_have_room(longest_ms, wide_mm, last_ms):
    found = ticks(longest_ms, wide_mm)
    assert found[0] == 0
    assert found[-1] == last_ms
    assert found[1] / longest_ms * wide_mm >= 12


def test_what_a_record_says_of_a_split_grade_print():
    """To the letter, of the card whose plan is known."""
    card = card_file.load(SPLIT)
    card["carried"] = {"size": 104, "aperture": -120}
    card["measures"] = {"negative_mm10": 360, "print_mm10": 3556, "aperture": 42}
    outline = {"pass": 2, "area": "window", "corners": [[0, 0], [5000, 0], [5000, 5000]]}
    gone = {**outline, "area": "shelf"}
    made = contents_of(
        card, Bench(), {"outlines": [outline, gone]}, trays_file.SEQUENCES.load(TRAYS), (7, 25), "May 2026"
    )
    (page,) = laid_out(made, "a4", (5, 4))
    said = "\n".join(lines_of(page).values())
    for line in (
        "Workroom, north window | Print 7 of 25   May 2026",
        "Fit filter 00",
        "Base, pass 1 | 00 | 7.40 | 6.81",
        "dodge stool | 00 | -1/2 | 2.17 | 1.99 | 2.00 to 3.99",
        "1 | burn window, pass 2 | 00 | +2/3 | 5.46 | 5.03",
        "355.6 mm on the print,",
        "aperture\N{NO-BREAK SPACE}-1,",
        "together\N{NO-BREAK SPACE}-0.13\N{NO-BREAK SPACE}stop",
        "1 window",
        "pass 2: +2/3 through 00  5.46 s",
        "developer | 2:00 min | 20 \N{DEGREE SIGN}C | exactly | last 10 s",
        "Not outlined: stool in pass 1, floor in pass 2, ceiling in pass 2.",
        "Drawn and kept, though the card has no such mark: shelf in pass 2.",
        "flash the top edge if the window stays blank",
    ):
        assert line in said, line


def test_bars_are_as_long_as_the_light():
    """The dodge of a twentieth of the base, and the burn of all of it, on one scale."""
    card = a_card(("sky", 120), ("posts", -120), base_ms=20_000)
    # A stop less is half the light.
    (page,) = laid_out(contents(card), "a4", None)
    base, dodge, burn = [item for item in page.items if isinstance(item, Block)]
    assert base.rect.wide == burn.rect.wide == pytest.approx(2 * dodge.rect.wide)
    assert dodge.black
    assert not base.black
    assert dodge.rect.left - base.rect.left == pytest.approx(0.5 / 20 * base.rect.wide, rel=0.01)


def test_alike_outlines_of_an_area_are_one_with_all_its_marks():
    card = {**a_card(("sky", 60)), "passes": [a_pass(("sky", 60)), a_pass(("sky", -20), ("sky", 30))]}
    corners = [[0, 0], [9000, 0], [9000, 9000]]
    outlines = [{"pass": count, "area": "sky", "corners": corners} for count in (1, 2)]
    (shape,) = contents(card, {"outlines": outlines}).shapes
    assert [line.split("  ")[0] for line in shape.label] == [
        "1 sky",
        "pass 1: +1/2",
        "pass 2: -1/6",
        "pass 2: +1/4",
    ]
    assert not shape.dodged
    outlines[1]["corners"] = [*corners, [0, 9000]]
    shapes = contents(card, {"outlines": outlines}).shapes
    assert [shape.number for shape in shapes] == ["1", "2"]


def test_a_picture_full_of_areas_has_their_numbers_alone():
    marks = [("W" * 14 + f"{at:02}", 60) for at in range(MARKS_MAX)]
    card = a_card(*marks)
    corners = [[1000, 1000], [9000, 1000], [9000, 9000]]
    outlines = [{"pass": 1, "area": area, "corners": corners} for area, _ in marks]
    (page,) = laid_out(contents(card, {"outlines": outlines}), "a4", (5, 4))
    (picture,) = [item for item in page.items if isinstance(item, Picture)]
    labels = [item.text for item in page.items if isinstance(item, Words) and picture.rect.holds(item.rect)]
    assert sorted(labels, key=int) == [str(at + 1) for at in range(MARKS_MAX)]


def test_two_passes_are_told_with_their_grade_where_the_paper_is_known(tmp_path, lampblack):  # noqa: F811
    """As `lampblack plan` tells it."""
    path = tmp_path / "pair.toml"
    card = (
        'name = "pair"\nrecord = "vc-2019"\n[[pass]]\nfilter = "00"\nbase = "16 s"\n[[pass]]\nfilter = "5"\n'
    )
    path.write_text(card + 'base = "9 s"\n')
    assert lampblack("record", path, "-o", tmp_path / "pair.svg").code == 0
    planned = re.search(r"By vc-2019: (about grade .*)\.", lampblack("plan", path).out)
    assert planned
    said = (tmp_path / "pair.svg").read_text()
    assert f"<!-- {planned[1].replace('grade ', '')} -->" in said
    path.write_text(card.replace("vc-2019", "elsewhere") + 'base = "9 s"\n')
    assert lampblack("record", path, "-o", tmp_path / "pair.svg", "--force").code == 0
    said = (tmp_path / "pair.svg").read_text()
    assert "<!-- elsewhere -->" in said
    assert "about" not in said


def test_no_label_lies_on_a_small_area():
    """A face or a hand would be gone under its label, and what is in the picture there too."""
    corners = {
        "face": [[3000, 3000], [4000, 3000], [4000, 4200], [3000, 4200]],
        "hand": [[3200, 3500], [3800, 3500], [3800, 4100], [3200, 4100]],
        "corner": [[9700, 9700], [10000, 9700], [10000, 10000], [9700, 10000]],
        "sky": [[0, 0], [10000, 0], [10000, 3000], [0, 3000]],
    }
    card = a_card(*((area, 30) for area in corners))
    outlines = [{"pass": 1, "area": area, "corners": own} for area, own in corners.items()]
    (page,) = laid_out(contents(card, {"outlines": outlines}), "a4", (3, 2))
    (picture,) = [item.rect for item in page.items if isinstance(item, Picture)]
    labels = [item.rect for item in page.items if isinstance(item, Block) and picture.holds(item.rect)]
    drawn_areas = [
        Rect(
            picture.left + own[0][0] / 10000 * picture.wide,
            picture.top + own[0][1] / 10000 * picture.high,
            (own[2][0] - own[0][0]) / 10000 * picture.wide,
            (own[2][1] - own[0][1]) / 10000 * picture.high,
        )
        for own in corners.values()
    ]
    assert len(labels) == len(corners)
    assert not [label for label in labels for area in drawn_areas[:3] if label.meets(area)]
    assert any(drawn_areas[3].holds(label) for label in labels), "there is room in a sky"


# --- the files


def long_card() -> dict:
    """Of two pages."""
    marks = [("W" * 14 + f"{at:02}", 60 if at % 2 else -20) for at in range(MARKS_MAX)]
    passes = [a_pass(*marks, base_ms=200_000, filter=filter) for filter in ("00", "5", "1")]
    return {**a_card(), "title": "$x^2$ & <b>", "passes": passes}


def short() -> Contents:
    corners = [[500, 500], [9000, 1000], [5000, 9000]]
    card = a_card(("sky", 60), ("posts", -20), title="$x^2$ & <b>")
    return contents(card, {"outlines": [{"pass": 1, "area": "sky", "corners": corners}]})


def as_files(made: Contents, kind: str, paper: str = "a4") -> list[bytes]:
    return drawn(laid_out(made, paper, (60, 48)), kind, GREYS, "The title")


@pytest.fixture(scope="module")
def pdfs() -> dict[str, bytes]:
    """A record by its paper: of two pages on A4, of one on letter."""
    (long,), (letter,) = as_files(contents(long_card()), "pdf"), as_files(short(), "pdf", "letter")
    return {"a4": long, "letter": letter}


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    """A short record by its kind."""
    found = {}
    for kind in KINDS:
        (found[kind],) = as_files(short(), kind)
    return found


@every_size
def test_the_pdf_has_its_pages_texts_and_letters(pdfs, paper):
    pypdf = pytest.importorskip("pypdf", reason="pypdf is of the extra `test`")
    reader = pypdf.PdfReader(io.BytesIO(pdfs[paper]))
    assert len(reader.pages) == (2 if paper == "a4" else 1)
    assert reader.metadata.title == "The title"
    assert reader.metadata.creation_date is None
    said = ""
    for page in reader.pages:
        size = [float(page.mediabox.width) * 25.4 / 72, float(page.mediabox.height) * 25.4 / 72]
        assert size == pytest.approx(PAPER_SIZES_MM[paper], abs=0.01)
        said += page.extract_text()
        for font in page["/Resources"]["/Font"].values():
            inner = (
                font.get_object()["/DescendantFonts"][0].get_object()
                if "/DescendantFonts" in font.get_object()
                else font.get_object()
            )
            assert "/FontFile2" in inner["/FontDescriptor"]
    assert "$x^2$ & <b>" in said
    names = (
        [mark["area"] for mark in long_card()["passes"][0]["marks"]] if paper == "a4" else ["sky", "posts"]
    )
    for name in names:
        assert name in said
    assert said.count("-1/6") == (24 if paper == "a4" else 1)


@every_size
def test_the_pdf_is_drawn_by_another_program(pdfs, paper, tmp_path):
    if not shutil.which("pdftoppm"):
        pytest.skip("pdftoppm is not here: on Debian apt-get install poppler-utils")
    path = tmp_path / "record.pdf"
    path.write_bytes(pdfs[paper])
    done = subprocess.run(
        ["pdftoppm", "-r", "50", "-gray", str(path), str(tmp_path / "page")], capture_output=True, check=True
    )
    assert done.stderr == b""
    pages = sorted(tmp_path.glob("page*.pgm"))
    assert pages
    for page in pages:
        with Image.open(page) as shown:
            size = [pixels / 50 * 25.4 for pixels in shown.size]
            greys = np.asarray(shown)
        assert size == pytest.approx(PAPER_SIZES_MM[paper], abs=0.6)
        margin = int(10 / 25.4 * 50)
        assert greys[margin:-margin, margin:-margin].min() < 100
        greys = greys.copy()
        greys[margin:-margin, margin:-margin] = 255
        assert greys.min() == 255


def test_the_pdf_has_no_colour_but_black_and_white(files):
    pypdf = pytest.importorskip("pypdf", reason="pypdf is of the extra `test`")
    (page,) = pypdf.PdfReader(io.BytesIO(files["pdf"])).pages
    shades = re.findall(
        rb"((?:-?[0-9.]+ )+)(?:g|G|rg|RG|k|K|sc|SC|scn|SCN)\s", page.get_contents().get_data()
    )
    assert {tuple(set(map(float, shade.split()))) for shade in shades} == {(0.0,), (1.0,)}
    (image,) = page["/Resources"]["/XObject"].values()
    # So small a picture has its shades in a table.
    shades = bytes(image["/ColorSpace"][3])
    assert shades[0::3] == shades[1::3] == shades[2::3]


def test_the_svg_has_no_colour_but_black_and_white(files):
    drawing = files["svg"].decode()
    ET.fromstring(drawing)
    colours = {"#000000", "#ffffff", "none"}
    assert set(re.findall(r"(?:fill|stroke|color)[:=] *\"?([a-z#0-9]+)", drawing)) <= colours
    assert set(re.findall(r"#[0-9a-fA-F]{6}\b", drawing)) <= colours
    assert "<text" not in drawing, "letters are outlines, alike on every computer"
    for said in ("$x^2$ &amp; &lt;b&gt;", "burn sky", "+1/2", "dodge posts", "-1/6"):
        assert f"<!-- {said} -->" in drawing


def test_the_png_is_black_and_white_but_for_the_picture(files):
    (page,) = laid_out(short(), "a4", (60, 48))
    with Image.open(io.BytesIO(files["png"])) as shown:
        assert shown.mode == "L"
        for pixels, mm in zip(shown.size, PAPER_SIZES_MM["a4"], strict=True):
            assert abs(pixels - mm / 25.4 * DPI) <= 1
        assert shown.info["dpi"] == pytest.approx((DPI, DPI), abs=0.01)
        greys = np.asarray(shown).copy()
    (picture,) = [item.rect for item in page.items if isinstance(item, Picture)]
    top, bottom, left, right = (
        round(mm / 25.4 * DPI) for mm in (picture.top, picture.bottom, picture.left, picture.right)
    )
    assert len(np.unique(greys[top:bottom, left:right])) > 20
    greys[top:bottom, left:right] = 255
    assert set(np.unique(greys)) == {0, 255}


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_record_is_the_same_bytes(files, kind):
    """Whatever a person has set for figures of their own."""
    with matplotlib.rc_context({"lines.color": "red", "font.size": 30, "savefig.dpi": 7}):
        assert as_files(short(), kind) == [files[kind]]


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_it_is_the_same_bytes_from_another_process(kind, tmp_path):
    made = []
    for seed in ("1", "2"):
        out = tmp_path / f"{seed}.{kind}"
        command = [sys.executable, "-m", "lampblack", "record", str(SPLIT), "-o", str(out)]
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)}
        subprocess.run(command, check=True, capture_output=True, env=environment)
        made.append(out.read_bytes())
    assert made[0] == made[1]


# --- the picture


def saved(path: Path, image: Image.Image, **more) -> Path:
    image.save(path, **more)
    return path


def test_scans_of_8_and_16_bit_are_the_same_picture(tmp_path):
    deep = Image.fromarray(GREYS.astype(np.uint16) * 257)
    plain = print_picture.greys_of(saved(tmp_path / "plain.png", Image.fromarray(GREYS)))
    assert np.array_equal(plain, GREYS)
    for name in ("deep.png", "deep.tif"):
        found = print_picture.greys_of(saved(tmp_path / name, deep))
        assert np.abs(found.astype(int) - GREYS).max() <= 1
    coloured = Image.fromarray(GREYS).convert("RGB")
    found = print_picture.greys_of(saved(tmp_path / "coloured.tif", coloured))
    assert np.array_equal(found, GREYS)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("name", "more"), [("a.png", {}), ("a.tif", {}), ("a.tif", {"compression": "tiff_lzw"})]
)
def test_a_picture_taken_on_its_side_is_turned_up(tmp_path, orientation, name, more):
    stored, exif = lying(Image.fromarray(GREYS), orientation)
    found = print_picture.greys_of(saved(tmp_path / name, stored, exif=exif, **more))
    assert np.array_equal(found, GREYS)


def test_a_large_picture_is_made_as_small_as_a_page_shows(tmp_path, monkeypatch):
    path = saved(tmp_path / "large.png", Image.new("L", (3000, 1500), 90))
    assert print_picture.greys_of(path).shape == (600, 1200)
    monkeypatch.setattr(print_picture, "LARGEST_PX", 1_000_000)
    with pytest.raises(print_picture.CommandError, match="it has over 1 million pixels"):
        print_picture.greys_of(path)


# --- the command


def test_the_record_lies_beside_its_card(lampblack, tmp_path):  # noqa: F811
    card = tmp_path / "workroom.toml"
    shutil.copy(SPLIT, card)
    told = lampblack("record", card, "--edition", "7/25", "--date", "today", "--trays", TRAYS)
    assert (told.code, told.err) == (0, "")
    assert told.out == f"{tmp_path / 'workroom.pdf'} is written.\n"
    told = lampblack("record", card)
    assert one_line(told, 1).startswith(f"{tmp_path / 'workroom.pdf'} is there already.")


def test_pages_of_a_svg_are_files_of_their_own(lampblack, tmp_path):  # noqa: F811
    card = tmp_path / "long.toml"
    card.write_text(card_file.dump(long_card()), encoding="utf-8")
    told = lampblack("record", card, "-o", tmp_path / "out.svg")
    assert told.out.split("\n") == [f"{tmp_path / name} is written." for name in ("out.svg", "out-2.svg")] + [
        ""
    ]
    first = (tmp_path / "out.svg").read_bytes()
    (tmp_path / "out.svg").unlink()
    told = lampblack("record", card, "-o", tmp_path / "out.svg")
    assert one_line(told, 1).startswith(f"{tmp_path / 'out-2.svg'} is there already.")
    assert not (tmp_path / "out.svg").exists()
    assert lampblack("record", card, "-o", tmp_path / "out.svg", "--force").code == 0
    assert (tmp_path / "out.svg").read_bytes() == first


def test_areas_beside_the_card_are_on_the_picture(lampblack, tmp_path):  # noqa: F811
    card = tmp_path / "workroom.toml"
    shutil.copy(SPLIT, card)
    picture = saved(tmp_path / "scan.tif", Image.fromarray(GREYS))
    plain = tmp_path / "plain.svg"
    assert lampblack("record", card, "--print", picture, "-o", plain).code == 0
    areas = {"outlines": [{"pass": 2, "area": "window", "corners": [[0, 0], [9000, 0], [9000, 9000]]}]}
    (tmp_path / "workroom.areas.toml").write_text(areas_file.dump(areas))
    outlined = tmp_path / "outlined.svg"
    assert lampblack("record", card, "--print", picture, "-o", outlined).code == 0
    assert "<!-- 1 window -->" not in plain.read_text()
    assert "<!-- 1 window -->" in outlined.read_text()
    (tmp_path / "workroom.areas.toml").write_text("outline = 3")
    told = lampblack("record", card, "-o", outlined, "--force")
    assert one_line(told, 1).startswith(
        f"{tmp_path / 'workroom.areas.toml'}:1: outline: there can be several."
    )


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--edition", "26/25"], 2, '"26/25" is no print of an edition'),
        (["--edition", "7"], 2, '"7" is no print of an edition'),
        (["--date", "x" * 41], 2, "it has over 40 characters"),
        (["-o", "record.doc"], 2, '"record.doc" ends in none of .pdf, .svg, .png. Write record.pdf.'),
        (["--paper-size", "a3"], 2, "a3"),
        (["--print", "nowhere.png"], 1, "nowhere.png: No such file or directory"),
        (["--trays", "nowhere.toml"], 1, "nowhere.toml: No such file or directory"),
    ],
)
def test_what_is_wrong_is_one_line_and_nothing_is_written(
    lampblack, tmp_path, monkeypatch, arguments, code, said  # noqa: F811
):  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert said in one_line(lampblack("record", SPLIT, *["-o", "record.pdf", *arguments]), code)
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_picture_is_refused(lampblack, tmp_path):  # noqa: F811
    told = lampblack("record", SPLIT, "--print", SPLIT, "-o", tmp_path / "record.pdf")
    assert one_line(told, 1) == (
        f"{SPLIT} is not used: it is no picture that can be read. Give a whole PNG, TIFF or JPEG file."
    )


def test_dodges_that_do_not_fit_are_said_as_by_plan(lampblack, server, tmp_path):  # noqa: F811
    """A box's lead-in counts, if the box is asked for it."""
    out = tmp_path / "record.svg"
    assert lampblack("record", SPLIT, "-o", out).code == 0
    assert lampblack("bench", "set", "lead_ms=4 s", "--port", server.port).code == 0
    assert lampblack("record", SPLIT, "-o", out, "--force", "--port", server.port).code == 0
    assert "<!-- 4.00 to 5.99 -->" in out.read_text()
    assert lampblack("bench", "set", "lead_ms=5 s", "--port", server.port).code == 0
    told = lampblack("record", SPLIT, "-o", out, "--force", "--port", server.port)
    assert one_line(told, 1).startswith(f"{SPLIT}: Dodges do not fit in pass 1: ")


def test_without_the_extra_one_line_says_what_to_install(lampblack, tmp_path, monkeypatch):  # noqa: F811
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    lettering.font_file.cache_clear()
    lettering._font.cache_clear()
    lettering._advance.cache_clear()
    lettering._known.cache_clear()
    told = lampblack("record", SPLIT, "-o", tmp_path / "record.pdf")
    assert one_line(told, 1) == WITHOUT.format("matplotlib")


def test_other_commands_load_no_drawing():
    loaded = "{'matplotlib', 'lampblack.record.page_drawing'} & set(sys.modules)"
    source = f"import sys, lampblack.cli; sys.exit(len({loaded}))"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    assert subprocess.run([sys.executable, "-c", source], env=environment, check=False).returncode == 0
    assert tuple(f".{kind}" for kind in KINDS) == record_command.ENDINGS
