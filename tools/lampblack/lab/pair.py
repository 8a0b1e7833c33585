"""What two filters make together on one sheet, from a strip through each: the tables of split grade.

What must live here: the model of a variable-contrast paper and its fit to two curves. It may not know how the
curves were measured.

The model. Such a paper is several emulsions of one contrast and one speed in blue light, which differ in
their speed in green; their densities add up (a maker's "Contrast Control", quoted by grainmag.com, read). So
the hard filter's curve, divided by its black, is the curve of each emulsion, and the soft filter shifts the
emulsions against each other. Fitted on the softest and the hardest filter of a real paper, the five between
are met to 0.08 in density over their whole length (tests/test_lab_paper.py). A closed formula between the two
ranges is 6 to 10 of R off.
"""

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares

from lampblack.lab.curves import Curve, Points, densities_of
from timing_core.light.paper_record import NODES, R10_MAX, R10_MIN
from timing_core.light.stops import STOP

EMULSIONS = 4
_TAIL = 0.5
"""How far beyond a strip's ends, in log10, an emulsion is taken to be white and black. Only the pair's model
reads the curve there, where it is all but flat."""


class Pair:
    """A fitted pair. `worst` is the density by which the model misses the soft filter's curve most."""

    def __init__(self, soft: Curve, hard: Curve) -> None:
        self.top = (soft.top + hard.top) / 2
        self.soft, self.hard = soft.points, hard.points
        self._soft_middle, self._hard_middle = self.soft.middle, self.hard.middle
        logs = [hard.logs[0] - _TAIL, *hard.logs, hard.logs[-1] + _TAIL]
        self._emulsion = PchipInterpolator(logs, [0, *hard.densities / hard.top, 1])
        self._ends = logs[0], logs[-1]
        light = 10**soft.logs
        wanted = soft.densities / soft.top

        def missed(fitted: Any) -> Any:
            return self._part(light[:, None] * self._speeds(fitted)) - wanted

        at = self._hard_middle - self._soft_middle
        fits = [
            least_squares(missed, [at + k, b, *delays], bounds=([-9, 0, 0, 0, 0], [9, 1, 3, 3, 3]))
            for k in (0.2, 0.8)
            for b in (0.05, 0.3)
            for delays in ((0.3, 0.3, 0.3), (0.6, 0.6, 0.6))
        ]
        best = min(fits, key=lambda fit: fit.cost)
        self._soft_speeds = self._speeds(best.x)
        self.worst = float(np.abs(best.fun).max() * soft.top)

    @staticmethod
    def _speeds(fitted: Any) -> Any:
        """The speed of each emulsion through the soft filter, where through the hard one it is 1."""
        k, b, *delays = fitted
        return 10**k * (b + (1 - b) * 10 ** -np.cumsum([0, *delays]))

    def _part(self, light: Any) -> Any:
        logs = np.log10(np.maximum(light, 1e-12))
        return self._emulsion(np.clip(logs, *self._ends)).mean(axis=-1)

    def density(self, share: float, log_h: Any) -> Any:
        """The density where the hard filter has `share` (0 to 1) of the effect; a `log_h` of 0 is, by the sum
        rule, a middle tone."""
        soft = (1 - share) * 10**self._soft_middle * self._soft_speeds
        mixed = soft + share * 10**self._hard_middle
        return self.top * self._part(10 ** np.asarray(log_h)[..., None] * mixed)

    def points(self, share: float) -> Points:
        """Where the model has its points. At the two ends they are those that were measured, and what the
        model misses there fades with the square of the share: so R of the simulator's two papers is met to
        2 at all shares, and without that to 9 (computed)."""
        off_soft, off_hard = self._off
        return Points(*(self._points(share) + (1 - share) ** 2 * off_soft + share**2 * off_hard).tolist())

    @cached_property
    def _off(self) -> tuple[Any, Any]:
        soft, hard = (np.array(own) - own.middle for own in (self.soft, self.hard))
        return soft - self._points(0.0), hard - self._points(1.0)

    def _points(self, share: float) -> Any:
        found = []
        for wanted in densities_of(self.top):
            low, high = -5.0, 5.0
            for _ in range(40):
                middle = (low + high) / 2
                low, high = (middle, high) if self.density(share, middle) < wanted else (low, middle)
            found.append(high)
        return np.array(found)


class Tables(NamedTuple):
    """The tables of a record's pair, one value for each of NODES, as PaperRecord has them."""

    r10: list[int]
    qa: list[int]
    qs: list[int]


def tables_of(pair: Pair) -> Tables:
    points = [pair.points(node / NODES[-1]) for node in NODES]
    ranges = [min(max(round(10 * own.iso_range), R10_MIN), R10_MAX) for own in points]
    return Tables(
        _falling(ranges),
        [stops120(own.light_tone) for own in points],
        [stops120(own.black) for own in points],
    )


def _falling(ranges: Sequence[int]) -> list[int]:
    """A record's ranges fall from the soft filter to the hard one; a fit may bend by a tenth."""
    return np.minimum.accumulate(ranges).tolist()


def stops120(log: float) -> int:
    """A difference of logarithms in 1/120 stop."""
    return round(STOP * log / math.log10(2))
