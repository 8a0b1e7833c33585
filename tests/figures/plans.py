"""How long a run takes to plan: the largest card there can be, 4 passes with 64 marks.

The rivals are the same planner with other arithmetic under it: `mpmath` at 50 digits, which is what the
integers are proved against, and `math.exp2` in the 64-bit floats of a desktop. What 32-bit floats, which
a Pico has, would do to the milliseconds is shown with numpy's.
"""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

import mpmath  # type: ignore[import-untyped]
import numpy

from tests.figures.comparison import Figure, of, seconds
from tests.figures.prints import sixty_four_marks
from timing_core.light import plan as run
from timing_core.light import printing_map
from timing_core.light.bench import Bench
from timing_core.light.plan import Stage, compile_print
from timing_core.light.printing_map import MARK_FURTHEST
from timing_core.light.stops import BASE_MAX_MS, scale

Scale = Callable[[int, int, int, int], int]
Cut = Callable[[int, int], int]

DIGITS = 50


def exact_scale(ms: int, stops120: int, num: int = 1, den: int = 1) -> int:
    with mpmath.workdps(DIGITS):
        light = mpmath.mpf(ms) * mpmath.mpf(2) ** (mpmath.mpf(stops120) / 120) * num / den
        return int(mpmath.floor(light + mpmath.mpf("0.5")))


def exact_cut(ms: int, per_mille: int) -> int:
    with mpmath.workdps(DIGITS):
        return int(mpmath.floor(mpmath.mpf(ms) * (1000 - per_mille) / 1000 + mpmath.mpf("0.5")))


def float_scale(ms: int, stops120: int, num: int = 1, den: int = 1) -> int:
    return math.floor(ms * math.exp2(stops120 / 120) * num / den + 0.5)


def float_cut(ms: int, per_mille: int) -> int:
    return math.floor(ms * (1 - per_mille / 1000) + 0.5)


def small_scale(ms: int, stops120: int, num: int = 1, den: int = 1) -> int:
    f = numpy.float32
    return math.floor(f(ms) * numpy.exp2(f(stops120) / f(120)) * f(num) / f(den) + f(0.5))


def small_cut(ms: int, per_mille: int) -> int:
    f = numpy.float32
    return math.floor(f(ms) * (f(1) - f(per_mille) / f(1000)) + f(0.5))


@contextmanager
def arithmetic(own_scale: Scale, cut: Cut) -> Iterator[None]:
    """Have the planner count with these."""

    def mark_ms(base_ms: int, stops120: int) -> int:
        return own_scale(base_ms, stops120, 1, 1) - base_ms

    with (
        patch.object(printing_map, "scale", own_scale),
        patch.object(printing_map, "mark_ms", mark_ms),
        patch.object(run, "per_mille_less", cut),
    ):
        yield


def times_ms(stages: list[Stage]) -> list[int]:
    """Every time in a plan: shown and given light of each stage, and the edges of its windows."""
    found = []
    for stage in stages:
        found += [stage.shown_ms, stage.light_ms]
        for window in stage.windows:
            found += [window.open_ms, window.close_ms]
    return found


def worst_ms(ours: list[int], theirs: list[int]) -> int:
    """The largest difference between two plans, in ms."""
    return max(abs(a - b) for a, b in zip(ours, theirs, strict=True))


def worst_factor_ms(own_scale: Scale) -> int:
    """The largest error of one multiplication: every offset a mark can have, and every light a stage can."""
    worst = 0
    for base_ms in (100, 16_000, 137_531, 999_900):
        for stops120 in range(-MARK_FURTHEST, MARK_FURTHEST + 1):
            exact = exact_scale(base_ms, stops120)
            if exact <= BASE_MAX_MS:
                worst = max(worst, abs(own_scale(base_ms, stops120, 1, 1) - exact))
    return worst


def figures(repeats: int) -> list[Figure]:
    map = sixty_four_marks()
    bench = Bench()

    def plan() -> list[Stage]:
        return compile_print(map, bench)

    ours = times_ms(plan())
    stages = len(plan())
    taken = seconds(repeats, plan).each(lambda s: s * 1e6)
    found: list[Figure] = []
    for name, rival_scale, cut in (
        ("mpmath, 50 digits", exact_scale, exact_cut),
        ("64-bit floats", float_scale, float_cut),
    ):
        with arithmetic(rival_scale, cut):
            theirs = times_ms(plan())
            rival = seconds(repeats, plan).each(lambda s: s * 1e6)
        found.append(
            of(
                "  the same" if found else f"Plan of 4 passes, 64 marks: {stages} stages",
                taken,
                "us",
                rival=f"{name}, differs by {worst_ms(ours, theirs)} ms",
                rival_value=rival.median,
                more_is_better=False,
            )
        )
    found.append(
        Figure(
            "Worst rounding of 4 bases by 1,201 offsets",
            worst_factor_ms(scale),
            "ms",
            rival="32-bit floats, which a Pico has",
            rival_value=worst_factor_ms(small_scale),
            more_is_better=False,
        )
    )
    return found
