"""Strips on a scan: patches are found and their densities read in pictures whose densities are known,
whatever a glass does to them; and what cannot be read is refused by name."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from host_sim.optics.paper import paper
from lampblack.cards.paper_file import PAPERS
from lampblack.errors import CommandError
from lampblack.lab.places import Place, Row, csv_of, find_places, picture_of, places_of_csv
from lampblack.lab.scan import SCAN_SIGMA, Reading, Transfer, densities_of, light_of, strips_of, tablet_of
from tests.scans import lying, save, scan_of
from tests.test_cli import lampblack, one_line  # noqa: F401
from timing_core.light.stops import scale

TABLET = [round(0.05 + 0.15 * at, 2) for at in range(15)]
BASE = 0.07
BLACK = 2.08
SMALL = (400, 56)


def pieces_of(name: str, first_ms: int, step: int, patches: int = 11) -> list[float]:
    """A cover strip on the simulator's paper as the box gives it at 4 lux: white, patches, black."""
    own = paper("vc-2019")
    net = [own.density({name: 4 * scale(first_ms, at * step) / 1000}) for at in range(patches)]
    top = (BLACK - BASE) / own.dmax
    return [BASE, *(BASE + top * density for density in net), BLACK]


SOFT, HARD = pieces_of("00", 150, 90), pieces_of("5", 1000, 40)
ROWS = [Row("tablet", len(TABLET)), Row("00", 13), Row("5", 13)]


def light_from(pixels: np.ndarray) -> np.ndarray:
    return pixels / np.float32(65535)


def read(pixels: np.ndarray) -> list[list[float]]:
    light = light_from(pixels)
    return [
        [own.base, *own.patches, own.black] for own in densities_of(light, find_places(light, ROWS), TABLET)
    ]


def worst(found: list[list[float]], known: list[list[float]]) -> float:
    return max(
        abs(one - other)
        for row, own in zip(found, known, strict=True)
        for one, other in zip(row, own, strict=True)
    )


@settings(max_examples=12)
@given(
    skews=st.tuples(*[st.floats(-3.5, 3.5)] * 3),
    noise=st.floats(0, 0.012),
    dust=st.floats(0, 0.02),
    uneven=st.floats(0, 0.15),
    gamma=st.sampled_from([1.0, 1.8, 2.2]),
    white=st.floats(0.65, 0.95),
    turned=st.tuples(*[st.booleans()] * 3),
    sideways=st.booleans(),
    seed=st.integers(0, 1000),
)
def test_the_densities_of_any_good_scan_are_found(
    skews, noise, dust, uneven, gamma, white, turned, sideways, seed
):
    pixels = scan_of(
        [TABLET, SOFT, HARD],
        skews=skews,
        noise=noise,
        dust=dust,
        uneven=uneven,
        gamma=gamma,
        white=white,
        turned=turned,
        sideways=sideways,
        size=SMALL,
        seed=seed,
    )
    assert worst(read(pixels), [SOFT, HARD]) < SCAN_SIGMA


@settings(max_examples=12)
@given(
    card=st.floats(-2.2, 0).map(lambda log: 10**log),
    skew=st.floats(-7, 7),
    noise=st.floats(0, 0.025),
    dust=st.floats(0, 0.1),
    stray=st.floats(0, 0.03),
    white=st.floats(0.4, 1.1),
    seed=st.integers(0, 1000),
)
def test_a_scan_is_read_right_or_refused(card, skew, noise, dust, stray, white, seed):
    """Nothing that a glass does makes a wrong density: of 250 such scans none was (0.03 allowed)."""
    pixels = scan_of(
        [TABLET, SOFT, HARD],
        card=card,
        skews=(skew, 0, -skew),
        noise=noise,
        dust=dust,
        stray=stray,
        white=white,
        size=SMALL,
        seed=seed,
    )
    try:
        light = light_from(pixels)
        found = densities_of(light, find_places(light, ROWS), TABLET)
    except CommandError:
        return
    for row, known in zip(found, (SOFT, HARD), strict=True):
        for density, own in zip((row.base, *row.patches, row.black), known, strict=True):
            assert density is None or abs(density - own) < 0.03


@pytest.mark.parametrize(("card", "what"), [(0.7, "as light as paper"), (0.01, "as dark as black")])
def test_a_card_on_which_an_end_is_hidden_is_refused(card, what):
    with pytest.raises(CommandError, match=f"What the strips lie on is {what}"):
        read(scan_of([TABLET, SOFT, HARD], card=card, size=SMALL))


def test_a_tablet_s_file_that_is_not_of_this_tablet_is_refused():
    light = light_from(scan_of([TABLET, SOFT, HARD], size=SMALL))
    for off, said in ((0.2, "read alike"), (-0.11, "lie too far apart")):
        wrong = [*TABLET[:5], *(density + off for density in TABLET[5:])]
        with pytest.raises(CommandError, match=f"Steps 5 and 6 of the tablet {said}"):
            densities_of(light, find_places(light, ROWS), wrong)


def test_stray_light_that_the_tablet_has_too_is_no_error():
    assert worst(read(scan_of([TABLET, SOFT, HARD], stray=0.004, size=SMALL)), [SOFT, HARD]) < SCAN_SIGMA


def test_without_the_tablet_s_curve_a_gamma_would_be_an_error():
    """The harness sees what is wrong: densities straight from pixels."""
    pixels = scan_of([TABLET, SOFT, HARD], gamma=2.2, white=1.0, size=SMALL)
    light = light_from(pixels)
    (place,) = [own for own in find_places(light, ROWS) if own[:2] == ("00", 6)]
    left, top, right, bottom = place.box()
    straight = -np.log10(np.median(light[top:bottom, left:right]))
    assert abs(straight - SOFT[6]) > 10 * SCAN_SIGMA


# --- what is refused


@pytest.mark.parametrize(
    ("how", "said"),
    [
        (
            {"skews": (0, 8, 0), "size": (400, 90)},
            "The row 00 lies 8 degrees askew. Lay it straight, or give",
        ),
        ({"noise": 0.06}, " is not even: its pixels differ by "),
        ({"white": 1.2}, "Patch 0 of the row tablet is clipped in the light. Scan with less exposure"),
        (
            {"stray": 0.15},
            "of the tablet read alike: the scan is clipped in the black, or they are not where",
        ),
        ({"dust": 0.4}, ""),
    ],
)
def test_a_scan_that_cannot_be_read_is_refused_by_name(how, said):
    pixels = scan_of([TABLET, SOFT, HARD], **{"size": SMALL, **how})
    with pytest.raises(CommandError) as caught:
        read(pixels)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_black_that_is_clipped_is_refused():
    pixels = scan_of([TABLET, SOFT, HARD], size=SMALL).astype(int)
    clipped = np.clip(pixels - 900, 0, 65535).astype(np.uint16)
    with pytest.raises(CommandError, match="is clipped in the black"):
        read(clipped)


def test_another_number_of_rows_is_refused():
    pixels = scan_of([TABLET, SOFT], size=SMALL)
    with pytest.raises(CommandError, match="3 rows are named and 2 are found on the scan"):
        read(pixels)


def test_a_patch_over_an_edge_is_refused():
    light = light_from(scan_of([TABLET, SOFT, HARD], size=SMALL))
    places = find_places(light, ROWS)
    at = next(count for count, own in enumerate(places) if own[:2] == ("00", 6))
    own = places[at]
    places[at] = own._replace(y=own.y + 0.6 * own.height)
    with pytest.raises(CommandError, match=r"Patch 6 of the row 00 (holds something else|is not even)"):
        densities_of(light, places, TABLET)


def test_what_lies_beyond_the_tablet_is_not_read():
    short = TABLET[:10]
    light = light_from(scan_of([short, SOFT], size=SMALL))
    rows = [Row("tablet", len(short)), Row("00", 13)]
    (found,) = densities_of(light, find_places(light, rows), short)
    known = [own is not None for own in (found.base, *found.patches, found.black)]
    assert known == [own < short[-1] + 0.02 for own in SOFT]
    lights = [[float(at + 1) for at in range(11)]]
    with pytest.raises(CommandError, match="The black of the row 00 lies beyond the tablet's densities"):
        strips_of([found], lights, False, False)
    with pytest.raises(CommandError, match="Patch 9 of the row 00 lies beyond the tablet's densities"):
        strips_of([found], lights, False, True)


def test_a_density_at_the_tablet_s_end_is_that_of_the_end():
    densities = [0.05, 0.5, 1.0, 1.5, 2.0]
    transfer = Transfer([Reading(0.9 * 10**-d, 0.001, 1000) for d in densities], densities)
    assert transfer.density(Reading(0.9 * 10**-0.04, 0.001, 1000)) == 0.05
    assert transfer.density(Reading(0.9 * 10**-0.01, 0.001, 1000)) is None
    assert transfer.density(Reading(0.9 * 10**-2.1, 0.001, 1000)) is None
    assert transfer.density(Reading(0.9 * 10**-1.2, 0.001, 1000)) == pytest.approx(1.2, abs=0.002)


def of_bytes(folder: Path, name: str, image: Image.Image) -> Path:
    path = folder / name
    image.save(path)
    return path


def test_only_a_grey_picture_of_16_bits_is_read(tmp_path):
    pixels = scan_of([TABLET, SOFT, HARD], size=SMALL)
    eight = (pixels >> 8).astype(np.uint8)
    for image, name, said in (
        (Image.fromarray(eight), "a.png", "a.png has not 16 bits: with 8 there are too few steps in black"),
        (Image.fromarray(eight).convert("RGB"), "b.tif", "b.tif is in colour."),
        (Image.fromarray(eight.astype(np.uint16) * 257), "c.tif", "tones only: 8 bits in a file for 16"),
        (Image.new("L", (9, 9)), "d.png", "has not 16 bits"),
    ):
        with pytest.raises(CommandError) as caught:
            light_of(of_bytes(tmp_path, name, image))
        assert said in str(caught.value)
        assert str(caught.value).endswith(
            "Scan in grey with 16 bits and all corrections off, as TIFF or PNG."
        )
    for name in ("e.tif", "e.png"):
        assert np.array_equal(light_of(save(pixels, tmp_path / name)), light_from(pixels))
    other_way_round = of_bytes(tmp_path, "f.tif", Image.fromarray(pixels.astype(">u2")))
    assert other_way_round.read_bytes().startswith(b"MM")
    assert np.array_equal(light_of(other_way_round), light_from(pixels))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("name", "more"), [("a.png", {}), ("a.tif", {}), ("a.tif", {"compression": "tiff_lzw"})]
)
def test_a_scan_lies_as_other_programs_show_it(tmp_path, orientation, name, more):
    pixels = scan_of([SOFT], size=(90, 30))
    stored, exif = lying(Image.fromarray(pixels), orientation)
    stored.save(tmp_path / name, exif=exif, **more)
    assert np.array_equal(light_of(tmp_path / name), light_from(pixels))


def test_a_scan_that_says_white_is_0_is_turned_over(tmp_path):
    pixels = scan_of([TABLET, SOFT, HARD], size=SMALL)
    path = tmp_path / "negative.tif"
    Image.fromarray(65535 - pixels).save(path, tiffinfo={262: 0})
    with Image.open(path) as image:
        assert image.tag_v2[262] == 0
    assert np.allclose(light_of(path), light_from(pixels), atol=1e-4)


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    """A path, and the bytes of small pictures in both forms."""
    path = tmp_path_factory.mktemp("scan") / "a"
    forms = []
    for form in ("TIFF", "PNG"):
        Image.fromarray(scan_of([[0.1, 1.0]], size=(40, 10))).save(path, form)
        forms.append(path.read_bytes())
    return path, forms


@given(st.integers(0, 1), st.binary(max_size=60), st.floats(0, 1), st.booleans())
@settings(max_examples=60)
def test_any_file_is_a_picture_or_refused_in_one_line(picture, form, data, at, is_cut):
    path, forms = picture
    whole = forms[form]
    start = round(at**3 * len(whole))  # most of the form is at its beginning
    path.write_bytes(whole[:start] + data + (b"" if is_cut else whole[start + len(data) :]))
    said = ""
    try:
        light_of(path)
    except CommandError as refusal:
        said = str(refusal)
    assert "\n" not in said
    assert said == "" or said.startswith(str(path))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0.05 0.2\n0.5", " has 3 densities. Write 5 or more, one a line."),
        ("0.05 0.2 0.5 0.4 0.9", ": step 4 is not denser than step 3. Write the lightest first."),
        ("0.05 x", ': "x" is no density. Write a number, like 1.25.'),
    ],
)
def test_a_tablet_s_file_is_told_what_is_wrong_with_it(tmp_path, text, said):
    path = tmp_path / "tablet.txt"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CommandError) as caught:
        tablet_of(path)
    assert str(caught.value) == f"{path}{said}"
    path.write_text("0.05, 0.2\n0.5\n0.8 1.1\n", encoding="utf-8")
    assert tablet_of(path) == [0.05, 0.2, 0.5, 0.8, 1.1]


# --- places that a person corrects


def test_places_are_read_as_they_were_written(tmp_path):
    light = light_from(scan_of([TABLET, SOFT, HARD], size=SMALL, skews=(1, -2, 0)))
    places = find_places(light, ROWS)
    path = tmp_path / "a.csv"
    path.write_text(csv_of(places), encoding="utf-8")
    assert places_of_csv(path, ROWS, light.shape) == places
    png = picture_of(light, places)
    assert png.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: ["x,y", *rows[1:]], ":1: these are no places on a scan. Its heading is row,patch,x,y,"),
        (lambda rows: rows[:-1], ": patch 12 of the row 5 is missing. Add its line."),
        (lambda rows: [*rows, "5,13,1,1,9,9"], ":43: there is no patch 13 in a row 5. Take the line away."),
        (
            lambda rows: [*rows[:-1], "5,12,1,1,9,9"],
            ":42: this lies outside of the scan, or is under 4 pixels",
        ),
        (lambda rows: [*rows[:-1], "5,12,1,1"], ":42: there are 4 cells. Write row,patch,x,y,width,height."),
        (lambda rows: [*rows[:-1], "5,12,a,1,1,1"], ':42: "a" is no x. Write a number, like 1.25.'),
    ],
)
def test_places_that_are_wrong_are_told_with_their_line(tmp_path, change, said):
    rows = csv_of([Place(row.name, at, 50.0, 50.0, 20.0, 20.0) for row in ROWS for at in range(row.pieces)])
    path = tmp_path / "a.csv"
    path.write_text("\n".join(change(rows.splitlines())), encoding="utf-8")
    with pytest.raises(CommandError) as caught:
        places_of_csv(path, ROWS, (100, 100))
    assert str(caught.value).startswith(f"{path}{said}")


# --- the command


def test_a_record_is_made_from_a_scan(lampblack, tmp_path):  # noqa: F811
    scan = save(scan_of([TABLET, SOFT, HARD], size=SMALL, skews=(1, -2, 0.5)), tmp_path / "strips.tif")
    tablet = tmp_path / "tablet.txt"
    tablet.write_text("\n".join(map(str, TABLET)), encoding="utf-8")
    rows = [word for row in ROWS for word in ("--row", row.name)]
    arguments = ["lab", "paper", "rc", "--scan", scan, "--tablet", tablet, *rows]
    arguments += ["--first", "0.15 s", "--step", "3/4", "--first", "1 s", "--step", "1/3"]
    done = lampblack(*arguments, "-o", tmp_path / "rc.toml")
    assert done.code == 0, done.err
    places = tmp_path / "strips.patches.csv"
    assert f"Where patches were found is in {places}: correct it, and give it as --places." in done.out
    assert "00: 0.07 0.07 0.08" in done.out
    soft, hard = PAPERS.load(tmp_path / "rc.toml")["filters"]
    assert soft[1] / 10 == pytest.approx(180, abs=6)
    assert hard[1] / 10 == pytest.approx(40, abs=3)
    with Image.open(tmp_path / "strips.patches.png") as shown:
        assert shown.size == (shown.width, shown.height)
    # Nothing that was corrected is lost.
    assert "is there already. Give it as --places" in one_line(lampblack(*arguments), 1)
    again = lampblack(*arguments, "--places", places)
    assert again.out.split("\n", 1)[1] == done.out.split("\n", 2)[2].replace(
        f"The record is written to {tmp_path / 'rc.toml'}.\n", ""
    )
    bad = scan_of([TABLET, SOFT, HARD], size=SMALL, white=1.2)
    save(bad, scan)
    refused = lampblack(*arguments, "--force")
    assert (refused.code, refused.err.count("\n")) == (1, 1)
    assert "is clipped in the light" in refused.err
