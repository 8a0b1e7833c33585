"""A paper with filters in halves, and the record that a printer makes of it.

What must live here: what stands in for paper, densitometer and the printer at them. Exposures are the box's
own, curves and record the laboratory's.
"""

import random

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
    strips, count = [], 0
    for name in filters_of(own):
        strip, tries = _taken_strip(own, name, chance)
        strips.append(strip)
        count += tries
    made = record_of(strips, own.name, "measured", seed=chance.randrange(1 << 30))
    return made.record, count


def _taken_strip(own: Paper, filter: str, chance: random.Random) -> tuple[Strip, int]:
    """A strip through `filter` that the laboratory takes: what it refuses is begun with less light, or given
    more, by half a stop."""
    choice = next(at for at, most in enumerate(_RANGES) if own.filters[filter].iso_range <= most)
    test = proposed(PAPER, {"range": choice, "filter": filter}, PrintingMap.new(1000, "", 0), Bench())
    for tries in range(1, _STRIPS_MOST):
        strip = _read(own, filter, _lights_ms(test), chance)
        try:
            record_of([strip], own.name)
            return strip, tries
        except CommandError as refusal:
            is_too_light = "black is not reached" in str(refusal)
            test["first_ms"] = scale(test["first_ms"], _HALF_STOP if is_too_light else -_HALF_STOP)
    raise AssertionError(f"no strip of filter {filter} is taken")


def _lights_ms(test: dict) -> list[int]:
    """The light of the patches and of the black end."""
    lights, given_ms = [], 0
    for stage in compile_test(test, Bench()):
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
