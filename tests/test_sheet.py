"""A sheet per pixel: shadows, the light that gathers under them, and the print that it leaves.

Shadows are held against plain geometry of one point at a time; gathered light against a loop over every pixel
and every ms; the print against `Paper.density`, which is held against published figures in test_paper.
"""

import math
from itertools import pairwise

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from host_sim.optics import negatives
from host_sim.optics.feed import RELAYS
from host_sim.optics.lamps import LAMPS, LampHouseLight
from host_sim.optics.paper import PAPER_NAMES, paper
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, band
from host_sim.optics.shades import CONTACT, PENUMBRA, WIRE_SHADE, WIRE_WIDTH, Cast, Shade, both, cast_of
from host_sim.optics.sheet import Beam, Layer, Sheet, densities
from tests.test_paper import SHEETS

SMALL = (24, 30)
"""Rows and columns of a sheet that a plain loop can walk."""


def soft(t: float) -> float:
    t = min(1.0, max(0.0, t + 0.5))
    return t * t * (3 - 2 * t)


def open_at(shade: Shade, row: int, column: int, shape: tuple[int, int]) -> float:
    """The part of the light that reaches the middle of a pixel, from the shade's description alone."""
    height, width = shape
    dx = column + 0.5 - shade.x * width
    dy = row + 0.5 - shade.y * height
    cos, sin = math.cos(math.radians(shade.angle)), math.sin(math.radians(shade.angle))
    covered = soft((shade.size * width / 2 - math.hypot(dx, dy)) / (PENUMBRA * width))
    if shade.shape == "disc":
        off = abs(dx * sin - dy * cos) / (WIRE_WIDTH * width / 2)
        ahead = (dx if abs(cos) >= abs(sin) else dy) * (cos if abs(cos) >= abs(sin) else sin)
        wire = WIRE_SHADE * max(0.0, 1 - off * off) if ahead >= 0 else 0.0
        return (1 - covered) * (1 - wire)
    if shade.shape == "hole":
        return covered
    if shade.shape in ("edge", "cover"):
        edge = CONTACT if shade.shape == "cover" else PENUMBRA
        return 1 - soft((dx * cos + dy * sin) / (edge * width))
    return 1.0


def picture(cast: Cast, shape: tuple[int, int]) -> np.ndarray:
    layer = Layer(shape)
    layer.gather(1.0, cast)
    return np.broadcast_to(layer.light(), shape)


shades = st.builds(
    Shade,
    st.sampled_from(("none", "disc", "hole", "edge", "cover")),
    st.floats(-0.5, 1.5),
    st.floats(-0.5, 1.5),
    st.floats(0.02, 1),
    st.one_of(st.sampled_from((0.0, 45.0, 90.0, 135.0, 180.0, 270.0, 359.0)), st.floats(0, 360)),
)


# --- shadows


@settings(max_examples=200, deadline=None)
@given(shades, st.sampled_from((SMALL, (200, 160), (7, 300))))
def test_a_shadow_is_what_plain_geometry_says(shade, shape):
    found = picture(cast_of(shade, shape[1], shape[0]), shape)
    rng = np.random.default_rng(0)
    for row, column in zip(rng.integers(0, shape[0], 150), rng.integers(0, shape[1], 150)):
        assert found[row, column] == pytest.approx(open_at(shade, row, column, shape), abs=2e-4)


@settings(max_examples=200, deadline=None)
@given(shades, shades, st.sampled_from((SMALL, (200, 160), (7, 300))))
def test_two_shades_let_through_what_both_let_through(one, other, shape):
    casts = [cast_of(shade, shape[1], shape[0]) for shade in (one, other)]
    found = picture(both(*casts), shape)
    expected = picture(casts[0], shape) * picture(casts[1], shape)
    # Not `approx`, which compares pixel by pixel.
    assert np.allclose(found, expected, rtol=0, atol=1e-5)
    assert np.allclose(picture(both(*reversed(casts)), shape), found, rtol=0, atol=1e-5)


@given(shades)
@settings(max_examples=60, deadline=None)
def test_a_shadow_on_the_whole_sheet_is_that_of_a_small_one(shade):
    # The same shade over a sheet of other pixels: places and sizes are in parts of the sheet.
    large = picture(cast_of(shade), (HEIGHT_PX, WIDTH_PX))
    for row in range(5, HEIGHT_PX, 97):
        for column in range(3, WIDTH_PX, 83):
            expected = open_at(shade, row, column, (HEIGHT_PX, WIDTH_PX))
            assert large[row, column] == pytest.approx(expected, abs=2e-4)


def test_a_disc_with_its_middle_on_the_sheet_is_dark_in_the_middle_and_open_far_off():
    found = picture(cast_of(Shade("disc", 0.5, 0.5, 0.2, 90)), (HEIGHT_PX, WIDTH_PX))
    assert found[400, 500] == 0
    assert found[100, 500] == 1
    assert found[700, 500] == pytest.approx(1 - WIRE_SHADE, abs=0.01), "the wire leaves it downwards"


@pytest.mark.parametrize("shape", ["edge", "cover"])
@pytest.mark.parametrize(
    ("angle", "dark", "lit"),
    [
        (0, (400, 900), (400, 100)),
        (180, (400, 100), (400, 900)),
        (90, (700, 500), (100, 500)),
        (270, (100, 500), (700, 500)),
    ],
)
def test_a_straight_edge_darkens_the_side_its_angle_points_to(shape, angle, dark, lit):
    found = picture(cast_of(Shade(shape, 0.5, 0.5, angle=angle)), (HEIGHT_PX, WIDTH_PX))
    assert found[dark] == 0
    assert found[lit] == 1


def test_a_hole_off_the_sheet_leaves_it_dark():
    layer = Layer((HEIGHT_PX, WIDTH_PX))
    layer.gather(5.0, cast_of(Shade("hole", 1.5, 0.5, 0.2)))
    assert np.max(layer.light()) == 0


@given(shades)
def test_the_cost_of_a_shadow_goes_with_its_own_area(shade):
    """Pixels touched: never more than the shadow covers, and some room around its edges and its wire."""
    cast = cast_of(shade)
    touched = sum((b[0].stop - b[0].start) * (b[1].stop - b[1].start) for b, _ in cast.parts)
    if shade.shape in ("disc", "hole"):
        across = (shade.size + PENUMBRA) * WIDTH_PX + 2
        wire = 1000 * 150 if shade.shape == "disc" else 0
        assert touched <= across**2 + wire
    else:
        assert touched <= HEIGHT_PX * WIDTH_PX


# --- gathered light

moves = st.lists(st.tuples(st.integers(1, 90), shades, st.sampled_from(("00", "5"))), min_size=1, max_size=6)


@settings(max_examples=40, deadline=None)
@given(moves, st.integers(0, 200), st.sampled_from(("tungsten", "led", "ideal")))
def test_light_under_moving_tools_is_that_of_a_loop_over_every_pixel_and_ms(moves, dark_ms, lamp):
    """The reference adds up the lamp's intensity at fine steps of time, point by point; the sheet settles
    whole spans by the lamp house's closed form. Edges fall on whole steps."""
    relay = RELAYS["ideal"]
    ends_ms = sum(ms for ms, _, _ in moves)
    house, meter = (LampHouseLight(LAMPS[lamp], relay, 4.0, warmed_up=True) for _ in range(2))
    on_ms = min(dark_ms, ends_ms)
    meter.pin(on_ms * 1000, True)
    sheet = Sheet(1, paper("vc-2019"), SMALL)
    house.pin(on_ms * 1000, True)

    watched = [(0, 0), (5, 21), (12, 15), (23, 29), (18, 4)]
    expected = {(filter, place): 0.0 for filter in ("00", "5") for place in watched}
    steps = 10
    now_ms = 0
    for ms, shade, filter in moves:
        whole = house.dose(now_ms * 1000, (now_ms + ms) * 1000)
        sheet.gather(Beam("plain", filter), whole, cast_of(shade, SMALL[1], SMALL[0]))
        for step in range(ms * steps):
            # The middle of each step, as a person would who reads a meter often.
            at_us = now_ms * 1000 + (2 * step + 1) * 1000 // (2 * steps)
            lux = meter.intensity(at_us)
            for place in watched:
                expected[filter, place] += lux * open_at(shade, *place, SMALL) / 1000 / steps
        now_ms += ms
    found = sheet.open_light()
    for (filter, place), lux_s in expected.items():
        # A step of 0.1 ms misses up to its half of the few us in which an LED rises.
        got = found[filter][place] if filter in found else 0.0
        assert got == pytest.approx(lux_s, abs=4.0 * 60e-6 + 2e-4 * lux_s)


def test_light_without_shadows_is_one_exact_number():
    layer = Layer(SMALL)
    for _ in range(1000):
        layer.gather(0.1, cast_of(Shade()))
    assert layer.light() == pytest.approx(100, rel=1e-12)
    assert layer.mean(np.s_[:, 3:9], None) == pytest.approx(100, rel=1e-12)


def test_ten_thousand_moves_lose_nothing_to_rounding():
    layer = Layer(SMALL)
    cast = cast_of(Shade("disc", 0.5, 0.5, 0.5), SMALL[1], SMALL[0])
    aside = cast_of(Shade("disc", 5.0, 5.0, 0.1), SMALL[1], SMALL[0])
    for turn in range(10_000):
        layer.gather(0.001, aside if turn % 2 else cast)
    light = layer.light()
    assert light[12, 15] == pytest.approx(5.0, rel=1e-4)
    assert light[0, 0] == pytest.approx(10.0, rel=1e-6)


def test_a_patch_gets_its_own_beam_and_no_other():
    sheet = Sheet(1, paper("vc-2019"))
    for patch in (1, 2, 3):
        sheet.gather(Beam("plain", "2", patch, 3), float(patch), cast_of(Shade()))
    light = sheet.open_light()["2"]
    for patch in (1, 2, 3):
        columns = band(patch, 3, WIDTH_PX)
        assert np.all(light[:, columns] == patch)
        assert sheet.mean_light(np.s_[:, columns])["2"] == pytest.approx(patch, rel=1e-12)
    assert sheet.mean_light(np.s_[:, :])["2"] == pytest.approx(light.mean(dtype=np.float64), rel=1e-6)


@given(st.integers(1, 11))
def test_bands_share_the_sheet_out_whole(patches):
    bands = [band(patch, patches, WIDTH_PX) for patch in range(1, patches + 1)]
    assert bands[0].start == 0
    assert bands[-1].stop == WIDTH_PX
    assert all(a.stop == b.start for a, b in pairwise(bands))
    assert max(b.stop - b.start for b in bands) - min(b.stop - b.start for b in bands) <= 1


# --- the print


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(PAPER_NAMES), st.data())
def test_an_array_of_doses_gives_the_densities_of_one_at_a_time(name, data):
    a_paper = paper(name)
    filters = data.draw(
        st.lists(st.sampled_from(sorted(a_paper.filters)), min_size=1, max_size=3, unique=True)
    )
    dose = st.one_of(st.just(0.0), st.floats(1e-5, 1e4))
    rows = data.draw(st.lists(st.tuples(*(dose for _ in filters)), min_size=1, max_size=12))
    doses = {name: np.array([row[i] for row in rows], np.float32) for i, name in enumerate(filters)}
    found = densities(a_paper, doses)
    for row, density in zip(rows, found):
        assert density == pytest.approx(a_paper.density(dict(zip(filters, row))), abs=0.001)


@pytest.mark.parametrize("edition", SHEETS)
@pytest.mark.parametrize("name", ["none", "00", "0", "1", "2", "3", "4", "5"])
def test_a_step_wedge_parts_as_many_steps_as_the_published_range_holds(edition, name):
    """A paper's ISO range is 100 times the log exposure between T and S (ISO 6846:1992, memory; the ranges
    are the makers', see test_paper). A wedge whose steps are 0.15 apart, printed so that its first step is
    just at S, must show a step between the two points for every 15 of the range and no more."""
    vc = paper(edition)
    iso_range, _ = SHEETS[edition][name]
    film = negatives.negative("step-wedge").transmittance
    sheet = Sheet(1, vc)
    at_s = vc.exposure(0.90 * vc.dmax, name)
    sheet.gather(Beam("step-wedge", "" if name == "none" else name), at_s, cast_of(Shade()))
    density = sheet.develop(lambda beam: film)
    middles = [(step * 2 + 1) * WIDTH_PX // 42 for step in range(21)]
    steps = [float(density[400, middle]) for middle in middles]
    assert steps == sorted(steps, reverse=True)
    within = [d for d in steps if 0.04 - 1e-3 <= d <= 0.90 * vc.dmax + 1e-3]
    assert len(within) == int(iso_range / 15 + 1e-6) + 1
    # All of them are parted: no two neighbours between the points have the same tone.
    assert all(a - b > 0.005 for a, b in pairwise(within))


def test_two_passes_add_up_on_the_sheet_as_on_paper():
    vc = paper("vc-2019")
    sheet = Sheet(1, vc)
    sheet.gather(Beam("plain", "00"), 3.0, cast_of(Shade()))
    sheet.gather(Beam("plain", "5"), 6.0, cast_of(Shade()))
    density = sheet.develop(lambda beam: np.float32(0.5))
    assert density[0, 0] == pytest.approx(vc.density({"00": 1.5, "5": 3.0}), abs=0.001)


@pytest.mark.parametrize("percent", [0, 8, 20])
def test_a_dried_print_is_as_the_paper_says(percent):
    vc = paper("vc-2020")
    sheet = Sheet(1, vc)
    sheet.gather(Beam("plain", "2"), 6.0, cast_of(Shade()))
    density = sheet.develop(lambda beam: np.float32(0.5), percent)
    assert density[7, 7] == pytest.approx(vc.dried_density({"2": 3.0}, percent), abs=0.001)


def test_paper_that_saw_no_light_is_white():
    density = Sheet(1, paper("vc-2019")).develop(lambda beam: np.float32(1))
    assert density.shape == (HEIGHT_PX, WIDTH_PX)
    assert density.max() == 0
