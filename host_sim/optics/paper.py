"""Paper and filters: the density that lux seconds leave, through one filter or several on one sheet.

What lives here: published ranges and speeds, the curve they pin down, dry-down. What it may not know: the
timing core, cards, stops, the lamp, and how the light was timed.

The model. A sheet carries `_COATINGS` emulsions of one contrast whose sensitivity to blue is the same and
to green falls evenly, in log, over a span. A filter passes some blue and some green. Each emulsion adds up
what it gets, whatever the order and the filters, and the densities of the emulsions add up:

    density = dmax / n * sum over i of E_i ** k / (1 + E_i ** k)
    E_i = sum over filters of lux seconds * scale * ((1 - green) + green * sensitivity_i)

So blue alone makes all emulsions answer together (hard), green alone makes them answer one after another
(soft), and split grade, pre-flash and a burn through another filter need no rule of their own. Nothing is
fitted by eye: the hardest filter is taken as pure blue and fixes k, the softest as pure green and fixes the
span, every other filter's balance follows from its ISO range, and each filter's scale from its ISO speed.
A paper with a single range is a graded one.

ISO 6846's points, as densities above base and fog: T at 0.04, S at 90 % of the maximum, speed at 0.60.
The range R is 100 * (log10 H_S - log10 H_T), the speed P is 1000 / H_0.60. (Sources differ on whether
base and fog count in the 90 %; that moves S by under 0.006.)

How good it is: given only R and P of a real paper's seven filters, no point of their curves is missed by more
than 0.15 in density (0.2 with the hardest filter); a lone logistic curve for each filter misses by up to 0.44
(tests/test_paper.py).

Limits: one maximum for all filters, one kind of lamp, no reciprocity failure, and toe and shoulder of an
emulsion mirror each other, which a real one's do not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

_COATINGS = 8  # few enough to be quick, enough that green alone leaves no steps
_TOE = 0.04
_SHOULDER = 0.90  # of the maximum
_SPEED_POINT = 0.60


@dataclass(frozen=True)
class Filter:
    """What a maker publishes for a filter: `iso_range` is R, 100 times a log10 exposure range; `iso_speed`
    is P, for light measured on the easel without the filter, so it holds the filter's own loss."""

    name: str
    iso_range: float
    iso_speed: float

    def __post_init__(self) -> None:
        if not self.iso_range > 0 or not self.iso_speed > 0:
            raise ValueError(f"filter {self.name}: range and speed must be more than 0")


class Paper:
    """A paper with its filters. `dmax` is its maximum density above base and fog, `hill` the exponent k,
    `dry_down_percent` by how much its light is to be cut for what is seen wet to be there once dry."""

    def __init__(
        self, name: str, filters: tuple[Filter, ...], dmax: float, dry_down_percent: float = 0.0
    ) -> None:
        if not filters:
            raise ValueError(f"paper {name} has no filter: give one, even for a graded paper")
        if not dmax * _SHOULDER > _SPEED_POINT:
            raise ValueError(f"paper {name}: a maximum density of {dmax} holds no speed point at 0.60")
        self.name = name
        self.filters = {f.name: f for f in filters}
        self.dmax = dmax
        self.dry_down_percent = dry_down_percent
        ranges = [f.iso_range for f in filters]
        hard, soft = self._hard, self._soft = min(ranges), max(ranges)
        self.hill = 100 * (_logit(_SHOULDER) - _logit(_TOE / dmax)) / hard / math.log(10)

        # Green alone spreads the answers over the span and each emulsion adds its own range, so the softest
        # curve is longer than half the span, which brackets it.
        span = 0.0
        if soft > hard:
            span = _rising_root(lambda s: self._range(_response(s, 1.0)) - soft, 0.0, soft / 50)
        self._responses: dict[str, list[float]] = {}
        for f in filters:
            green = self._green(span, f.iso_range) if f.iso_range > hard else 0.0
            unit = _response(span, green)
            scale = f.iso_speed / 1000 * 10 ** self._log_exposure(unit, _SPEED_POINT)
            self._responses[f.name] = [scale * response for response in unit]

    def density(self, doses: Mapping[str, float]) -> float:
        """Density above base and fog of a place that got `doses`: for each filter's name, the lux seconds
        given through it, measured on the easel without it. ValueError for a filter the paper does not list
        or a negative dose."""
        exposures = [0.0] * _COATINGS
        for name, lux_s in doses.items():
            if not 0 <= lux_s < math.inf:
                raise ValueError(f"a dose of {lux_s} lux seconds is no light: give 0 or more")
            for i, response in enumerate(self.response(name)):
                exposures[i] += lux_s * response
        return self._density(exposures)

    def exposure(self, density: float, filter_name: str) -> float:
        """Lux seconds, measured without the filter, that leave `density` above base and fog through it.
        ValueError outside 0 < density < dmax."""
        if not 0 < density < self.dmax:
            raise ValueError(f"no exposure leaves a density of {density}: ask between 0 and {self.dmax}")
        return 10 ** self._log_exposure(self.response(filter_name), density)

    def filter_factor(self, filter_name: str, relative_to: str) -> float:
        """By how much to multiply the exposure to keep a density of 0.60 when going over to `filter_name`
        from `relative_to`."""
        return self.exposure(_SPEED_POINT, filter_name) / self.exposure(_SPEED_POINT, relative_to)

    @property
    def is_graded(self) -> bool:
        """True for a paper of one contrast, which takes no filter."""
        return list(self.filters) == ["none"]

    @property
    def softest(self) -> str:
        """The filter that leaves green light alone; a graded paper's only one."""
        return max(self.filters.values(), key=lambda f: f.iso_range).name

    @property
    def takes(self) -> list[str]:
        """The filters that can be put in for it; "" for none at all."""
        return ["", *(name for name in self.filters if name != "none")]

    def lacks(self, filter_name: str) -> bool:
        """True for a filter of which there is no data; no filter at all is "" here."""
        return (filter_name or "none") not in self.filters

    def green(self, filter_name: str) -> float:
        """How much of the light that darkens the paper is green, 0 to 1; the rest is blue. None of it through
        the hardest filter, all through the softest, in between in proportion to the ISO range. So without a
        filter it is about half, as a real paper's sensitivity has it. A graded paper sees blue alone."""
        if self.is_graded:
            return 0.0
        self.response(filter_name)  # refuses what the paper does not list
        return (self.filters[filter_name].iso_range - self._hard) / (self._soft - self._hard)

    def dried_density(self, doses: Mapping[str, float], dry_down_percent: float) -> float:
        """Density after drying: that of a wet print which got more light, by so much that cutting the light
        by `dry_down_percent` (0 to under 100) would have made up for it."""
        if not 0 <= dry_down_percent < 100:
            raise ValueError(f"dry-down of {dry_down_percent} %: give 0 to less than 100")
        more = 1 / (1 - dry_down_percent / 100)
        return self.density({name: lux_s * more for name, lux_s in doses.items()})

    def response(self, filter_name: str) -> list[float]:
        """The emulsions' exposures from one lux second through a filter. ValueError for one that the paper
        does not list."""
        try:
            return self._responses[filter_name]
        except KeyError:
            known = ", ".join(self._responses)
            raise ValueError(f"paper {self.name} has no filter {filter_name}: use one of {known}") from None

    def _density(self, exposures: list[float]) -> float:
        answers = [e**self.hill for e in exposures]
        return self.dmax / _COATINGS * sum(a / (1 + a) for a in answers)

    def _log_exposure(self, response: list[float], density: float) -> float:
        """log10 of the dose that leaves `density`. In logits a curve is nearly straight, which the root
        finder likes; the quickest and the slowest emulsion alone bracket it."""
        alone = _logit(density / self.dmax) / self.hill / math.log(10)

        def excess(log_dose: float) -> float:
            dose = 10**log_dose
            return _logit(self._density([dose * r for r in response]) / self.dmax) - _logit(
                density / self.dmax
            )

        return _rising_root(excess, alone - math.log10(max(response)), alone - math.log10(min(response)))

    def _range(self, response: list[float]) -> float:
        shoulder = self._log_exposure(response, _SHOULDER * self.dmax)
        return 100 * (shoulder - self._log_exposure(response, _TOE))

    def _green(self, span: float, iso_range: float) -> float:
        return _rising_root(lambda green: self._range(_response(span, green)) - iso_range, 0.0, 1.0)


def _response(span: float, green: float) -> list[float]:
    """The emulsions' answers to light of which the part `green` is green, the rest blue."""
    return [1 - green + green * 10 ** (-span * i / (_COATINGS - 1)) for i in range(_COATINGS)]


def _logit(part: float) -> float:
    return math.log(part / (1 - part))


def _rising_root(f: Callable[[float], float], low: float, high: float) -> float:
    """Where `f`, rising from `low` to `high`, is 0: false position, Illinois variant. An end that is the root
    but for rounding is returned as it is."""
    f_low, f_high = f(low), f(high)
    if f_low >= 0:
        return low
    if f_high <= 0:
        return high
    guess = low
    side = 0
    while True:
        last, guess = guess, (low * f_high - high * f_low) / (f_high - f_low)
        if not low < guess < high or abs(guess - last) < 1e-14:
            return last
        f_guess = f(guess)
        if f_guess > 0:
            high, f_high = guess, f_guess
            f_low = f_low / 2 if side > 0 else f_low  # the same end twice: make the other one give way
            side = 1
        elif f_guess < 0:
            low, f_low = guess, f_guess
            f_high = f_high / 2 if side < 0 else f_high
            side = -1
        else:
            return guess


RC_DRY_DOWN_PERCENT, FIBRE_DRY_DOWN_PERCENT = 4.0, 10.0
"""Made up for the simulator: printers' figures go from near 0 for resin-coated paper to 16 for fibre."""

# log10 exposure ranges of the grades, ANSI PH2.2-1966 (memory; its ends agree with the Focal Encyclopedia of
# Photography, p. 679, read).
GRADE_RANGES = {
    0: (1.40, 1.70),
    1: (1.15, 1.40),
    2: (0.95, 1.15),
    3: (0.80, 0.95),
    4: (0.65, 0.80),
    5: (0.50, 0.65),
}


def graded_paper(grade: int, iso_speed: float = 250) -> Paper:
    """A graded paper from the middle of its grade's range; it takes no filter, so its one is "none". The
    speed and the maximum density are usual ones, no source."""
    if grade not in GRADE_RANGES:
        raise ValueError(f"there is no grade {grade}: give 0 to 5")
    short, long = GRADE_RANGES[grade]
    filters = (Filter("none", 50 * (short + long), iso_speed),)
    return Paper(f"grade {grade}", filters, 2.1, FIBRE_DRY_DOWN_PERCENT)


def _vc(name: str, iso: dict[str, tuple[float, float]]) -> Paper:
    # 2.1 above base and fog: a glossy coated paper's usual maximum, no source.
    return Paper(name, tuple(Filter(f, r, p) for f, (r, p) in iso.items()), 2.1, RC_DRY_DOWN_PERCENT)


_VC: dict[str, dict[str, tuple[float, float]]] = {
    # ILFORD MULTIGRADE IV RC technical information, 2019 (second-hand; "none" from memory).
    "vc-2019": {
        "none": (110, 500),
        "00": (180, 200),
        "0": (160, 200),
        "1": (130, 200),
        "2": (110, 200),
        "3": (90, 200),
        "4": (60, 100),
        "5": (40, 100),
    },
    # ILFORD MULTIGRADE RC technical information, October 2020 (second-hand).
    "vc-2020": {
        "none": (90, 500),
        "00": (160, 240),
        "0": (130, 240),
        "1": (110, 240),
        "2": (90, 240),
        "3": (70, 240),
        "4": (60, 220),
        "5": (50, 220),
    },
}

PAPER_NAMES = (*_VC, *(f"grade {grade}" for grade in GRADE_RANGES))


@cache
def paper(name: str) -> Paper:
    """The paper of that name, one of `PAPER_NAMES`; ValueError for any other."""
    if name not in PAPER_NAMES:
        raise ValueError(f"there is no paper {name}: use one of {', '.join(PAPER_NAMES)}")
    return _vc(name, _VC[name]) if name in _VC else graded_paper(int(name.split()[1]))
