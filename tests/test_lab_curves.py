"""Curves of strips: their points against the simulator's papers and a real one, and what is refused.

Exposure ranges and speeds are ISO 6846's: R is 100 times the logarithm of exposure between density 0.04 and
90 % of the greatest, P is 1000 over the light in lux s for 0.60, above base and fog.
"""

import ast
import math
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from host_sim.optics.paper import paper
from lampblack.errors import CommandError
from lampblack.lab.curves import MIDDLE, Points, curve_of, densities_of, resampled
from lampblack.lab.strips import Strip
from tests.real_paper import POLYMAX, real_curve

BASE = 0.06
INSTALLED = Path(sys.prefix) / "real-curves" / "spectral_film_lut" / "bw_print_film"


@pytest.mark.skipif(not INSTALLED.is_dir(), reason="get the curves with: make .venv/ready-for-tests")
def test_the_real_curves_are_those_that_were_published():
    source = (INSTALLED / "kodak_polymax_fine_art.py").read_text(encoding="utf-8")
    (curve,) = [
        ast.literal_eval(node.value)
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "curve"
    ]
    for name, points in POLYMAX.items():
        theirs = " ".join(f"{log:.4f}:{density:.4f}" for log, density in curve[int(name)].items())
        assert points.split() == theirs.split(), name


# --- strips of papers whose points are known


@cache
def real(name: str):
    """A real curve through every point that is published of it, and its points."""
    logs, densities = real_curve(name)
    strip = Strip(name, [(10**x, d) for x, d in zip(logs, densities)], [0.0], [(0, max(densities))])
    return curve_of(strip)


def strip_of(density_at, points: Points, top: float, step: float, patches: int, shift: float = 0.0) -> Strip:
    """A strip over the middle of a range, in log10 steps; `shift` moves it by so many steps."""
    middle = (points.toe + points.black) / 2
    logs = [middle + (at - (patches - 1) / 2 + shift) * step for at in range(patches)]
    return Strip("2", [(10**x, BASE + float(density_at(x))) for x in logs], [BASE], [(0, BASE + top)])


def sim_points(edition: str, name: str) -> Points:
    own = paper(edition)
    return Points(*(math.log10(own.exposure(density, name)) for density in densities_of(own.dmax)))


@pytest.mark.parametrize(
    ("step", "patches", "r_most", "p_most"),
    [(0.15, 21, 2.1, 0.02), (0.2007, 11, 4.4, 0.045)],
)
@pytest.mark.parametrize("edition", ["vc-2019", "vc-2020"])
def test_range_and_speed_of_the_published_sheets_are_found_again(edition, step, patches, r_most, p_most):
    """P1 (computed): with the steps of a tablet, and with those of the box."""
    own = paper(edition)
    checked = 0
    for name, published in own.filters.items():
        points = sim_points(edition, name)
        for shift in (-0.5, -0.25, 0, 0.25, 0.5):
            if (patches - 2) * step < points.black - points.toe:
                continue
            strip = strip_of(
                lambda x, n=name: own.density({n: 10**x}), points, own.dmax, step, patches, shift
            )
            found = curve_of(strip).points
            assert abs(found.iso_range - published.iso_range) < r_most, name
            assert abs(1000 / 10**found.middle / published.iso_speed - 1) < p_most, name
            checked += 1
    assert checked >= 35


@pytest.mark.parametrize("edition", ["vc-2019", "vc-2020"])
def test_a_base_from_the_lightest_steps_makes_the_range_too_low(edition):
    """P2 (computed: by 4 to 14): where a strip begins about the toe, its tone is taken for paper. So base is
    asked for, and with the true one such a strip is refused or right."""
    own = paper(edition)
    for name in own.filters:
        points = sim_points(edition, name)
        for start in (-0.1, -0.05, 0.05):
            logs = [points.toe + start + 0.15 * at for at in range(21)]
            readings = [(10**x, BASE + own.density({name: 10**x})) for x in logs]
            strip = Strip(name, readings, [BASE], [(0, BASE + own.dmax)])
            guessed = strip._replace(base=[density for _, density in readings[:2]])
            assert -15 < curve_of(guessed).points.iso_range - points.iso_range < -4
            if start < 0:
                assert abs(curve_of(strip).points.iso_range - points.iso_range) < 2.1
            else:
                with pytest.raises(CommandError, match="the white is not reached"):
                    curve_of(strip)
            with pytest.raises(CommandError, match=r"the base is missing\. Read a piece of unexposed paper"):
                curve_of(strip._replace(base=[]))


def noisy(name: str, sigma: float, step_sigma: float, rng: np.random.Generator) -> Strip:
    """A strip of 21 steps of 0.15 on a real curve, as it might be read."""
    curve = real(name)
    start = curve.points.toe - 0.15 * rng.uniform(3, 4)
    logs = start + 0.15 * np.arange(21)
    densities = curve.density(logs + rng.normal(0, step_sigma, 21)) + rng.normal(0, sigma, 21)
    return Strip(
        name,
        [(10**x, BASE + d) for x, d in zip(logs.tolist(), densities.tolist())],
        (BASE + rng.normal(0, sigma, 3)).tolist(),
        [(0.0, BASE + curve.top + rng.normal(0, sigma))],
        step_sigma,
    )


def test_real_curves_are_found_again_and_a_logistic_would_not_do():
    """P3 (computed: 38 against 3; the logistic is 32 too high on average). It is the rejected method, to show
    that this harness sees what is wrong."""
    rng = np.random.default_rng(5)
    off, off_logistic = [], []
    for name in POLYMAX:
        true = real(name).points
        for _ in range(12):
            strip = noisy(name, 0.01, 0.01, rng)
            off.append(curve_of(strip).points.iso_range - true.iso_range)
        logs = np.log10([light for light, _ in strip.readings])
        net = np.array([density for _, density in strip.readings]) - BASE

        def logistic(x, top, steep, middle):
            return top / (1 + np.exp(-steep * (x - middle)))

        (top, steep, _), _ = curve_fit(logistic, logs, net, p0=(2.2, 4, true.middle), maxfev=5000)

        def logit(part):
            return math.log(part / (1 - part))

        off_logistic.append(100 * (logit(0.9) - logit(0.04 / top)) / steep - true.iso_range)
    assert np.sqrt(np.mean(np.square(off))) < 4
    assert abs(np.mean(off)) < 2.5
    assert np.mean(off_logistic) > 20


def test_what_figures_may_be_off_by_is_what_they_are_off_by():
    """The spread of many strips against that told of each: within a third for the middle tone, within a half
    for the ends, which hang on few readings."""
    rng = np.random.default_rng(8)
    for name in ("0", "4"):
        found, told = [], []
        for at in range(60):
            strip = noisy(name, 0.01, 0.01, rng)
            found.append(curve_of(strip).points)
            if at < 2:
                told.append(np.nanstd(resampled(strip, 0.01, rng), axis=0))
        spread = np.std(np.array(found), axis=0)
        ratio = np.mean(told, axis=0) / spread
        assert 0.67 < ratio[2] < 1.5
        assert np.all((ratio > 0.5) & (ratio < 2))


def test_the_same_seed_gives_the_same_resampling():
    strip = noisy("2", 0.01, 0.01, np.random.default_rng(1))
    first, second = (resampled(strip, 0.01, np.random.default_rng(3)) for _ in range(2))
    assert np.array_equal(first, second, equal_nan=True)


# --- nothing is extrapolated


@given(
    st.sampled_from(sorted(POLYMAX)),
    st.floats(-0.5, 1.5),
    st.floats(0.05, 0.3),
    st.integers(2, 24),
    st.lists(st.floats(-0.03, 0.03), min_size=24, max_size=24),
)
def test_a_point_lies_within_the_strip_or_is_refused(name, start, step, patches, noise):
    curve = real(name)
    logs = [curve.points.toe + start + step * at for at in range(patches)]
    densities = [BASE + float(curve.density(x)) + off for x, off in zip(logs, noise)]
    strip = Strip(name, [(10**x, d) for x, d in zip(logs, densities)], [BASE], [(0, BASE + curve.top)])
    try:
        found = curve_of(strip)
    except CommandError as refusal:
        said = str(refusal)
        assert said.startswith(f"Filter {name}: ")
        assert said.endswith(".")
        assert "\n" not in said
        return
    assert logs[0] - 1e-9 <= found.points.toe <= found.points.light_tone <= found.points.middle
    assert found.points.middle <= found.points.black <= logs[-1] + 1e-9
    assert found.densities[0] <= 0.04
    assert found.densities[-1] >= 0.9 * found.top
    assert np.all(np.diff(found.densities) >= 0)
    assert np.all(np.diff(found.density(np.linspace(logs[0], logs[-1], 200))) >= -1e-12)


GOOD = strip_of(
    lambda x: paper("vc-2019").density({"2": 10**x}),
    sim_points("vc-2019", "2"),
    paper("vc-2019").dmax,
    0.15,
    13,
)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            lambda s: s._replace(readings=s.readings[:-4]),
            "the black is not reached: the last patch is 1.21 above the base, and 1.89, 90 % of black, is "
            "wanted. Expose longer, a stop or two.",
        ),
        (
            lambda s: s._replace(readings=s.readings[4:]),
            "the white is not reached: the first patch is 0.293 above the base, and 0.040 or less is wanted. "
            "Begin with less light, a stop or two.",
        ),
        (lambda s: s._replace(readings=s.readings[:3]), "3 patches make no curve. Read 4 or more of them."),
        (
            lambda s: s._replace(black=[], readings=s.readings[:-3]),
            "the black is missing, and the strip still rises at its end. Read a piece that got 8 times the "
            "last patch's light.",
        ),
        (
            lambda s: s._replace(base=[1.5]),
            "black is only 0.66 above the base, too little for a middle tone of 0.60. See that base and "
            "black are not mixed up, or give the black more light.",
        ),
        (
            lambda s: s._replace(black=[(0, 1.5)]),
            "the black piece (1.50) is lighter than the darkest patch (2.16). Give it more light, or read it "
            "again.",
        ),
        (
            lambda s: s._replace(
                readings=[(light, s.readings[-1 - at][1]) for at, (light, _) in enumerate(s.readings)]
            ),
            "patch 3 is lighter than patch 2 by 0.10. See whether they were read in order, from the lightest "
            "on.",
        ),
    ],
)
def test_what_is_missing_is_named(change, said):
    assert abs(curve_of(GOOD).points.iso_range - 110) < 2
    with pytest.raises(CommandError) as caught:
        curve_of(change(GOOD))
    assert str(caught.value) == f"Filter 2: {said}"


def test_repeated_readings_count_for_more_than_one():
    light, density = GOOD.readings[6]
    often = GOOD._replace(readings=[*GOOD.readings, *[(light, density + 0.02)] * 3])
    assert curve_of(often).density(math.log10(light)) == pytest.approx(density - BASE + 0.015)
    assert curve_of(GOOD).density(math.log10(light)) == pytest.approx(density - BASE)


def test_a_dip_within_noise_is_made_level():
    readings = list(GOOD.readings)
    light, density = readings[6]
    readings[7] = (readings[7][0], density - 0.04)
    curve = curve_of(GOOD._replace(readings=readings))
    assert curve.density(math.log10(light)) == pytest.approx(density - BASE - 0.02)


def test_a_strip_that_ends_in_black_needs_no_black_piece():
    bare = GOOD._replace(readings=[*GOOD.readings, (GOOD.readings[-1][0] * 1.4, GOOD.readings[-1][1] + 0.01)])
    assert curve_of(bare._replace(black=[])).points.middle == pytest.approx(
        curve_of(bare).points.middle, abs=1e-9
    )
    assert curve_of(GOOD).density(curve_of(GOOD).points.middle) == pytest.approx(MIDDLE)
