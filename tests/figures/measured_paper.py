"""A paper with filters in halves, and the record that a printer makes of it.

What must live here: what stands in for paper, densitometer and the printer at them. Exposures are the box's
own, curves and record the laboratory's.
"""

import random
from functools import cache

from host_sim.optics.lamp_house import LUX
from host_sim.optics.paper import Filter, Paper, paper
from lampblack.errors import CommandError
from lampblack.lab.paper import READER_SIGMA, record_of
from lampblack.lab.strips import Strip
from timing_core.light.bench import Bench
from timing_core.light.guided import PAPER, compile_test, proposed
from timing_core.light.paper_record import QUARTER, grade_text
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import scale
from timing_core.refusal import Refusal

BASE_D = 0.05
"""Of the paper itself: usual, no source."""
READ_AT = 4
"""Places of the white end and of the black one."""
STRIP_LUX = LUX / 2**1.5
"""On the easel: the lens stopped down, so that a strip of the softest filter begins white."""
_RANGES = (60, 110, 160, 180)
"""Up to which R each choice of the box's paper strip goes."""
_HALF_STOP = 60
_STRIPS_MOST = 12


@cache
def in_halves(name: str) -> Paper:
    """A published paper with the filters between, up to 4 1/2: R half way, speed that of the softer one (as a
    filter set's maker says of 3 1/2 and 4 1/2)."""
    own = paper(name)
    between = []
    for grade in range(5):
        soft, hard = own.filters[str(grade)], own.filters[str(grade + 1)]
        half = grade_text(QUARTER * grade + QUARTER // 2)
        between.append(Filter(half, (soft.iso_range + hard.iso_range) / 2, soft.iso_speed))
    return Paper(name, (*own.filters.values(), *between), own.dmax, own.dry_down_percent)


def filters_of(own: Paper) -> list[str]:
    return [name for name in own.filters if name != "none"]


def record_from_strips(own: Paper, chance: random.Random) -> tuple[dict, int]:
    """The record that the laboratory makes of a strip for each filter, and how many strips that took."""
    wedges = [_Wedge(own, name, chance) for name in filters_of(own)]
    for wedge in wedges:
        wedge.give_until_taken()
    while True:
        try:
            made = record_of([wedge.strip for wedge in wedges], own.name, "measured")
            return made.record, sum(wedge.count for wedge in wedges)
        except CommandError as refusal:
            [refused] = [wedge for wedge in wedges if str(refusal).startswith(f"{wedge.strip.called}:")]
            refused.give_again(refusal)


class _Wedge:
    """The paper strip through one filter, as it was given and read last; `count` is how often it was."""

    def __init__(self, own: Paper, filter: str, chance: random.Random) -> None:
        self._own, self._filter, self._chance = own, filter, chance
        self._range = next(at for at, most in enumerate(_RANGES) if own.filters[filter].iso_range <= most)
        self._moved = 0
        self.count = 0
        self._give()

    def _give(self) -> None:
        self.count += 1
        assert self.count <= _STRIPS_MOST, f"no strip of filter {self._filter} is taken"
        self.strip = _read(self._own, self._filter, self._lights_ms(), self._chance)

    def give_until_taken(self) -> None:
        while True:
            try:
                record_of([self.strip], self._own.name)
                return
            except CommandError as refusal:
                self.give_again(refusal)

    def give_again(self, refusal: CommandError) -> None:
        """As the laboratory asks: with more light, with less, or, where both ends are barely there, in wider
        steps."""
        if "black is not reached" in str(refusal):
            self._moved += _HALF_STOP
        elif "white is not reached" in str(refusal) or self._range == len(_RANGES) - 1:
            self._moved -= _HALF_STOP
        else:
            self._range, self._moved = self._range + 1, 0
        self._give()

    def _lights_ms(self) -> list[int]:
        """The light of the patches and of the black end; in wider steps where the box cannot give these."""
        settings = {"range": self._range, "filter": self._filter}
        test = proposed(PAPER, settings, PrintingMap.new(1000, "", 0), Bench())
        test["first_ms"] = scale(test["first_ms"], self._moved)
        try:
            stages = compile_test(test, Bench())
        except Refusal:
            self._range, self._moved = self._range + 1, 0
            return self._lights_ms()
        lights, given_ms = [], 0
        for stage in stages:
            if stage.light_ms:
                given_ms += stage.light_ms
                lights.append(given_ms)
        return lights


def _read(own: Paper, filter: str, lights_ms: list[int], chance: random.Random) -> Strip:
    """The strip, read with a densitometer."""

    def reading(ms: int) -> tuple[float, float]:
        density = own.density({filter: ms / 1000 * STRIP_LUX}) if ms else 0.0
        return ms / 1000, BASE_D + density + chance.gauss(0, READER_SIGMA)

    *patches, black = lights_ms
    return Strip(
        filter,
        [reading(ms) for ms in patches],
        [reading(0)[1] for _ in range(READ_AT)],
        [reading(black) for _ in range(READ_AT)],
    )
