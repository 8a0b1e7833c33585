"""A paper's curve from one strip: density over the logarithm of light, and the points that a record is made
of.

What must live here: the curve of readings, its points, and how far they may be off. It may not know where
readings come from. Nothing is extrapolated: a point that the strip does not reach is refused by name.

The method. Readings are made to rise (isotonic regression), and a monotone cubic runs through them (Fritsch
and Carlson, SciPy's PCHIP). On seven real curves with a reader's noise of 0.01 this finds R to 3; straight
lines find it to 5, and one logistic fitted to all is off by 38: a real toe is longer than its tail
(computed).

Densities of readings are as read; those of a curve are above the paper's base. Light is in seconds, or in
lux seconds where the easel's light is known.
"""

import math
from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

from lampblack.errors import CommandError
from lampblack.lab.strips import Strip

TOE, LIGHT_TONE, MIDDLE, BLACK_PART = 0.04, 0.10, 0.60, 0.90
"""ISO 6846: R goes from 0.04 above base and fog to 90 % of the greatest density, and speed is at 0.60. The
light tone is the density a printer holds."""

POINTS_LEAST = 4
FALL_MOST = 0.10
"""A patch that is lighter than the one before it by more than this was read in the wrong place."""
LIGHTER_MOST = 0.06
"""A black piece that is lighter than a patch by more than this got too little light."""
BLACK_AGREES = 0.03
"""Steps that lie no further apart than this at a strip's end are its black."""
SAMPLES = 200
REFUSED_MOST = 0.1

PointsT = tuple[float, float, float, float]


class Curve:
    """A curve that rises: `logs` and `densities` are its knots, `top` is the greatest density."""

    def __init__(self, logs: Any, densities: Any, top: float) -> None:
        self.logs = np.asarray(logs, dtype=float)
        self.densities = np.asarray(densities, dtype=float)
        self.top = top

    @cached_property
    def _cubic(self) -> PchipInterpolator:
        return PchipInterpolator(self.logs, self.densities)

    def density(self, log_h: Any) -> Any:
        """The density for the logarithms of light within the strip; its ends beyond."""
        return self._cubic(np.clip(log_h, self.logs[0], self.logs[-1]))

    def slope(self, log_h: Any) -> Any:
        """The gradient for the logarithms of light within the strip."""
        return self._cubic(log_h, 1)

    def log_h(self, density: float) -> float:
        """The logarithm of the light that leaves `density`, which lies within the strip."""
        return _log_at(self.logs, self.densities, self._cubic.c, density)

    @cached_property
    def points(self) -> "Points":
        return Points(*(self.log_h(density) for density in densities_of(self.top)))


def _log_at(logs: Any, densities: Any, cubics: Any, density: float) -> float:
    """Where the cubics between knots pass `density`, by bisection."""
    at = int(np.searchsorted(densities, density))
    if at == 0:
        return float(logs[0])
    a, b, c, d = cubics[:, at - 1].tolist()
    low, high = 0.0, float(logs[at] - logs[at - 1])
    for _ in range(48):
        x = (low + high) / 2
        if ((a * x + b) * x + c) * x + d < density:
            low = x
        else:
            high = x
    return float(logs[at - 1]) + high


def densities_of(top: float) -> PointsT:
    """The densities of Points, for a greatest density."""
    return TOE, LIGHT_TONE, MIDDLE, BLACK_PART * top


class Points(NamedTuple):
    """The logarithms of the light that leaves the toe, a light tone, a middle tone and 90 % of black."""

    toe: float
    light_tone: float
    middle: float
    black: float

    @property
    def iso_range(self) -> float:
        return 100 * (self.black - self.toe)


def curve_of(strip: Strip) -> Curve:
    """The curve of a strip. CommandError, with what to do, for one that does not hold all of its points or
    whose readings are in no order."""
    base, black = _base_of(strip), _black_of(strip)
    _check_order(strip, black)
    lights, gross, counts = _means(strip)
    if len(lights) < POINTS_LEAST:
        raise CommandError(
            f"{strip.called}: {len(lights)} patches make no curve. Read {POINTS_LEAST} or more of them."
        )
    top = black - base
    if BLACK_PART * top <= MIDDLE:
        raise CommandError(
            f"{strip.called}: black is only {top:.2f} above the base, too little for a middle tone of "
            f"{MIDDLE:.2f}. See that base and black are not mixed up, or give the black more light."
        )
    curve = Curve(np.log10(lights), _rising(gross - base, counts), top)
    _check_ends(strip, curve)
    return curve


def _means(strip: Strip) -> tuple[list[float], Any, list[int]]:
    """The lights of a strip, the mean density as read of each, and of how many readings."""
    lights = sorted({light for light, _ in strip.readings})
    of_light = [[density for own, density in strip.readings if own == light] for light in lights]
    return lights, np.array([sum(own) / len(own) for own in of_light]), [len(own) for own in of_light]


def _rising(net: Any, counts: Sequence[int]) -> Any:
    """The densities that rise and are nearest to those above the base."""
    return isotonic_regression(np.clip(net, 0, None), weights=counts).x


def _base_of(strip: Strip) -> float:
    if not strip.base:
        raise CommandError(
            f"{strip.called}: the base is missing. Read a piece of unexposed paper, developed with the "
            "strip: its lightest patches are no base, and make R too low."
        )
    return sum(strip.base) / len(strip.base)


def _black_of(strip: Strip) -> float:
    """The greatest density as read: that of the black piece, or of a strip that rises no more at its end."""
    if strip.black:
        return sum(density for _, density in strip.black) / len(strip.black)
    last = [density for _, density in sorted(strip.readings)[-2:]]
    if len(last) == 2 and abs(last[1] - last[0]) <= BLACK_AGREES:
        return sum(last) / 2
    raise CommandError(
        f"{strip.called}: the black is missing, and the strip still rises at its end. Read a piece that got "
        "8 times the last patch's light."
    )


def _check_order(strip: Strip, black: float) -> None:
    densities = [density for _, density in sorted(strip.readings)]
    for at, (before, own) in enumerate(pairwise(densities), 1):
        if before - own > FALL_MOST:
            raise CommandError(
                f"{strip.called}: patch {at + 1} is lighter than patch {at} by {before - own:.2f}. See "
                "whether they were read in order, from the lightest on."
            )
    if strip.black and max(densities, default=0.0) - black > LIGHTER_MOST:
        raise CommandError(
            f"{strip.called}: the black piece ({black:.2f}) is lighter than the darkest patch "
            f"({max(densities):.2f}). Give it more light, or read it again."
        )


def _check_ends(strip: Strip, curve: Curve) -> None:
    first, last, wanted = curve.densities[0], curve.densities[-1], BLACK_PART * curve.top
    if first > TOE:
        raise CommandError(
            f"{strip.called}: the white is not reached: the first patch is {first:.3f} above the base, and "
            f"{TOE:.3f} or less is wanted. Begin with less light, a stop or two."
        )
    if last < wanted:
        raise CommandError(
            f"{strip.called}: the black is not reached: the last patch is {last:.2f} above the base, and "
            f"{wanted:.2f}, 90 % of black, is wanted. Expose longer, a stop or two."
        )


def resampled(strip: Strip, density_sigma: float, rng: np.random.Generator) -> np.ndarray:
    """SAMPLES rows of Points of what the strip might have been: every density off by a reader's
    `density_sigma`, every logarithm of light by the strip's `step_sigma`, which is density by the gradient. A
    row of NaN where a sample does not hold its points. CommandError if that is more than REFUSED_MOST of
    them."""
    curve = curve_of(strip)
    _, gross, counts = _means(strip)
    sigmas = np.hypot(density_sigma, strip.step_sigma * curve.slope(curve.logs)) / np.sqrt(counts)
    bases = _base_of(strip) + rng.normal(0, density_sigma / len(strip.base) ** 0.5, SAMPLES)
    blacks = _black_of(strip) + rng.normal(0, density_sigma / max(1, len(strip.black)) ** 0.5, SAMPLES)
    shaken = gross + rng.normal(0, 1, (SAMPLES, len(gross))) * sigmas
    rising = np.array([_rising(own - base, counts) for own, base in zip(shaken, bases, strict=True)])
    cubics = PchipInterpolator(curve.logs, rising, axis=1).c
    rows = np.full((SAMPLES, len(Points._fields)), math.nan)
    for at, (own, top) in enumerate(zip(rising, blacks - bases, strict=True)):
        if own[0] <= TOE and own[-1] >= BLACK_PART * top > MIDDLE:
            rows[at] = [_log_at(curve.logs, own, cubics[:, :, at], density) for density in densities_of(top)]
    if np.isnan(rows[:, 0]).mean() > REFUSED_MOST:
        raise CommandError(
            f"{strip.called}: white or black is barely reached: with readings that may be off by "
            f"{density_sigma:g} it is not for certain. Begin with less light, and expose longer."
        )
    return rows
