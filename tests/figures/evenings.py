"""What an eye makes of the lag test on simulated lamps.

A test is given on a box under each lamp, and read 200 times by an eye that errs by a density of 0.02 (1
sigma) at a gradient of 5, as the hardest filter has: first the rough strip, then the fine one around what
that gave. The reader takes the place, half places too, where the halves look alike. The figure is the rms
error against the lamp's own lag in a strike of 0.5 s, as the blue-sensitive emulsion sees it.

The rival is what a printer without the test does: 8 s in one go beside 8 s with seven holds in them, through
filter 2 (a gradient of 1.5), and the lag set to what makes the two alike. It is read by the same eye.
"""

import math
import random

from host_sim.box.session import Session, Watcher
from host_sim.optics.feed import RELAYS
from host_sim.optics.filament import PAPER_BLUE
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.lamps import LAMPS, AnyLamp, LampHouseLight, lag_ms
from tests.box_model import keys, new_session, set_row, to_screen, wait
from tests.figures.comparison import Figure
from timing_core.light import guided

READINGS = 200
BUDGET_MS = 7
EYE_D = 0.02
HARD, SOFT = 5, 1.5
"""Gradients, in density for each factor of ten of light."""
RELAY = RELAYS["mechanical"]
LAMP_NAMES = ("tungsten", "cold light", "led")
_AFTER_US = 2_900_000
"""Of a strike's tail: the next comes 3 s later."""


class Strikes(Watcher):
    """The lamp's strikes by stage, each from when to when, in ms."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.by_stage: dict[int, list[tuple[int, int]]] = {}
        self._from = (0, 0)
        session.watchers.append(self)

    def lamp(self, now_ms: int, on: bool) -> None:
        if on:
            self._from = self._session.box.run.at, now_ms
        else:
            self.by_stage.setdefault(self._from[0], []).append((self._from[1], now_ms))


def a_test(strip: int, around_ms: int) -> dict:
    return {"test": guided.LAG, "strip": strip, "filter": "5", "lag_ms": around_ms}


def halves(lamp: AnyLamp, strip: int = 0, around_ms: int = 0) -> tuple[list[float], float]:
    """The test given under `lamp`: for each patch by how much the right half has more light than the left, as
    a natural logarithm, and what a strike of the left half lacks, in ms."""
    session = new_session()
    house = LampHouse(session)
    house.put_in(lamp, RELAY)
    session.box.asked.set_bench({"lag_ms": around_ms})
    to_screen(session, "tests")
    session.input("press")
    set_row(session, "Strip", strip)
    strikes = Strikes(session)
    keys(session, "expose")
    while session.box.state == "ready":
        keys(session, "expose")
        while session.box.state != "ready" and session.box.in_run:
            session.advance(session.next_ms())
        wait(session, 3000)

    def light(given: list[tuple[int, int]]) -> float:
        return sum(house.light.dose(1000 * on, 1000 * off + _AFTER_US, PAPER_BLUE) for on, off in given)

    left_given, *patches = strikes.by_stage.values()
    left, right, apart = light(left_given), 0.0, []
    for given in patches:
        right += light(given)
        apart.append(math.log(right / left))
    return apart, (8000 - 1000 * left / house.lux) / len(left_given)


def read(apart: list[float], error: float) -> int:
    """The place where the halves look alike to an eye that errs by so much, or the end that is nearest."""
    places = range(2 * len(apart) - 1)
    between = [(apart[place // 2] + apart[(place + 1) // 2]) / 2 + error for place in places]
    return min(places, key=lambda place: abs(between[place]))


def by_holds_ms(lamp: AnyLamp, error: float) -> float:
    """The lag that makes 8 s in one go and 8 s with seven holds alike, to the same eye."""

    def given(strikes: int) -> float:
        house = LampHouseLight(lamp, RELAY, 1.0)
        each_us = 8_000_000 // strikes
        for number in range(strikes):
            for at_us, on in ((0, True), (each_us, False)):
                house.pin(number * (each_us + 3_000_000) + at_us, on)
        return house.dose(0, strikes * (each_us + 3_000_000), PAPER_BLUE)

    # (8 - 8 L) / (8 - L) is the ratio that is seen
    ratio = math.exp(math.log(given(8) / given(1)) + error)
    return 1000 * 8 * (1 - ratio) / (8 - ratio)


def readings(name: str, count: int = READINGS, seed: int = 5) -> tuple[float, float]:
    """The rms error of the test, and of the printer without it, in ms."""
    lamp = LAMPS[name]
    own_ms = lag_ms(lamp, RELAY, 500, PAPER_BLUE)
    chance = random.Random(seed)
    rough, fine = halves(lamp)[0], {}
    test, by_holds = 0.0, 0.0
    unheld = {}
    for _ in range(count):
        eye = chance.gauss(0, EYE_D * math.log(10) / HARD)
        around_ms = guided._lag_at(a_test(0, 0), read(rough, eye))
        if around_ms not in fine:
            fine[around_ms] = halves(lamp, 2, around_ms)[0]
        eye = chance.gauss(0, EYE_D * math.log(10) / HARD)
        found_ms = guided._lag_at(a_test(2, around_ms), read(fine[around_ms], eye))
        test += (found_ms - own_ms) ** 2
        eye = round(chance.gauss(0, EYE_D * math.log(10) / SOFT), 3)
        if eye not in unheld:
            unheld[eye] = by_holds_ms(lamp, eye)
        by_holds += (unheld[eye] - own_ms) ** 2
    return math.sqrt(test / count), math.sqrt(by_holds / count)


def figures(count: int = READINGS) -> list[Figure]:
    found = []
    for name in LAMP_NAMES:
        test_ms, holds_ms = readings(name, count)
        found.append(
            Figure(
                f"Lag test read by eye, {name}",
                test_ms,
                "ms rms",
                rival="8 s held seven times",
                rival_value=holds_ms,
                more_is_better=False,
                budget=BUDGET_MS,
            )
        )
    return found
