"""How near to the print a start by the light cell is, on simulated papers and negatives.

Evenings are played on the real core, for each paper and each of 20 negatives. With the carrier empty and the
lens stopped down the open easel is read and a cover strip of 11 patches given through one filter; an eye
chooses the place on it, half places too, that is nearest to the light tone it has in mind. Then, with the
negative in, a hand lays the cell on its light tone and on its shadow, and the screen's own rows give base,
filter and split pair. A paper with filters has its record on the box. Of a graded paper the screen gives the
base, and the stops between the spots, from which a printer knows the grade.

Errors are against what the paper truly wants where the hand meant to lay the cell: the light that leaves the
tone which the eye had in mind, and the grade at which light tone and shadow are D 0.10 and 90 % of the
greatest density, in numbers of filters or of grades. A filter's error has in it that all are whole numbers.

In it: the sensor's noise and its dark's drift; what half places leave; a window of 5 mm, laid up to 3.5 mm
off each way (assumed) on a picture with structure. The eye means D 0.10 and errs by a density of 0.02: that
is in the row against D 0.10, and is most of it on a soft graded paper, whose light tones change little with
light. Not in it, since the simulation has none: flare; lamp and mains that change after the strip; a lamp
whose colour changes; another batch of paper or developer; what is uncertain in the record.

The rival is the start that a printer without a cell makes: the last negative's light and grade, which were
right for that.
"""

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import fmean

import numpy as np

from host_sim.darkroom.ideal_hands import IdealHands
from host_sim.darkroom.room import Room
from host_sim.optics import negatives
from host_sim.optics.lamp_house import APERTURES, LUX, LampHouse
from host_sim.optics.light_sensor import LightSensor
from host_sim.optics.negatives import OWN, Negative
from host_sim.optics.paper import GRADE_RANGES, PAPER_NAMES, Paper, paper
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX
from lampblack.sim.published_papers import exposure
from lampblack.wire.push import requests_for
from tests.box_model import a_card, keys, load, new_session, set_row, to_row, to_screen, until_dark, wait
from tests.figures.comparison import Figure
from tests.portable.papers import PUBLISHED
from timing_core.canonical import encode

COUNT = 20
EVENINGS = 4
"""With each negative, through another filter each."""
BUDGET_STOPS = 1 / 6
BUDGET_GRADES = 0.5
EYE_D = 0.02
HAND_MM = 3.5
"""At most, each way; assumed. It is 2 mm, 1 sigma."""
LIGHT_TONE = 0.10
SHADOW = 0.90
"""Of the greatest density."""

SHEET_MM = 240.0
_WINDOW_PX = 10
"""Half of the cell's."""
_STRIP_APERTURE = "22"
STRIP_LUX = LUX / 16
"""Of the lens stopped down by four stops, for the strip."""
_PATCHES, _STEP = 11, 1 / 3
_READ_MS = 8000
"""The lamp, what is passed over, the cell's range changed, and four conversions."""
_SPANS = 0.55, 1.40
"""In density, from shadow to light tone: the ranges of soft and hard negatives that papers are made for."""
_SHADOWS = 0.3, 0.5
"""In density, of where a shadow has detail."""
_FOG = 0.2
RECORDS = {record["name"]: record for record in PUBLISHED}


# --- negatives


@dataclass(frozen=True)
class Subject:
    """A negative, and where on it (in parts of the sheet) its light tone and its shadow lie."""

    film: Negative
    light: tuple[float, float]
    shadow: tuple[float, float]

    def through(self, place: tuple[float, float]) -> float:
        """The part of the light that a window there gets."""
        return window(self.film.transmittance, place)

    @property
    def span_stops(self) -> float:
        return math.log2(self.through(self.shadow) / self.through(self.light))


def window(film: np.ndarray, place: tuple[float, float]) -> float:
    """What the cell's window sees there, on average."""
    x, y = round(place[0] * WIDTH_PX), round(place[1] * HEIGHT_PX)
    rows, columns = slice(y - _WINDOW_PX, y + _WINDOW_PX), slice(x - _WINDOW_PX, x + _WINDOW_PX)
    return float(film[rows, columns].mean())


def _unevenness(density: np.ndarray, place: tuple[float, float]) -> float:
    """How much the tone changes around a place as far as a hand may err."""
    away = HAND_MM / SHEET_MM
    around = [
        window(density, (place[0] + x * away, place[1] + y * away)) for x in (-1, 0, 1) for y in (-1, 0, 1)
    ]
    return max(around) - min(around)


@cache
def subject(number: int) -> Subject:
    """One of the scenes, exposed and developed as chance has it. Its light tone is one of its densest places,
    its shadow one of its thinnest, and both are where a tone is even, as a printer looks for."""
    chance = random.Random(1000 + number)
    scenes = sorted(negatives.SCENES)
    density = -np.log10(negatives.negative(scenes[number % len(scenes)]).transmittance)
    places = [(x / 40, y / 32) for x in range(3, 38) for y in range(3, 30)]
    places.sort(key=lambda place: window(density, place))
    few = len(places) // 20
    shadow, light = (
        chance.choice(sorted(tones, key=lambda place: _unevenness(density, place))[: few // 4])
        for tones in (places[:few], places[-few:])
    )
    thin = window(density, shadow)
    contrast = chance.uniform(*_SPANS) / (window(density, light) - thin)
    denser = chance.uniform(*_SHADOWS) + contrast * (density - thin)
    film = (10 ** -np.maximum(denser, _FOG)).astype(np.float32)
    return Subject(Negative(OWN, f"negative {number}", film), light, shadow)


# --- papers


def filters_of(own: Paper) -> list[str]:
    """Those that a strip is given through, as the box calls them: "" for none."""
    return [""] if own.is_graded else [name for name in own.filters if name != "none"]


def light_for(own: Paper, filter: str, density: float = LIGHT_TONE) -> float:
    """Lux seconds through a filter."""
    return own.exposure(density, filter or "none")


def span_of(own: Paper, doses: dict[str, float]) -> float:
    """From light tone to shadow in stops, of light divided so."""
    return math.log2(exposure(own, doses, SHADOW * own.dmax) / exposure(own, doses, LIGHT_TONE))


@cache
def _grades_of(own: Paper) -> list[tuple[float, float]]:
    """(span in stops, grade), the shortest span first: its filters' numbers; of graded papers, the grades."""
    if own.is_graded:
        papers = [(paper(f"grade {grade}"), "none", grade) for grade in GRADE_RANGES]
    else:
        papers = [(own, name, -1 if name == "00" else int(name)) for name in filters_of(own)]
    return sorted((span_of(one, {name: 1.0}), float(grade)) for one, name, grade in papers)


def grade_for(own: Paper, span_stops: float) -> float:
    """The grade with this span, the last one's beyond it."""
    spans, grades = zip(*_grades_of(own), strict=True)
    return float(np.interp(span_stops, spans, grades))


# --- an evening


@dataclass(frozen=True)
class Start:
    """What metering gave. Errors of bases in stops, positive for too much light; of grades in grades. `seen`
    is that of the base against D 0.10, `patch` and `position` are as `Evening` has them."""

    base: float
    seen: float
    grade: float
    patch: float
    position: float
    filter_base: float = 0.0
    pair_base: float = 0.0
    pair_grade: float = 0.0


class Evening:
    """A box with a light cell beside `subject`, on `own` paper; the strip is through `filter`. `tone` is the
    one in mind, `patch_stops` how much more light than that the chosen place had, `position_stops` how much
    more there was where the cell lay on the light tone than where it was meant to lie. `record` is that of
    the paper, the published one where none is given."""

    def __init__(
        self,
        own: Paper,
        filter: str,
        subject: Subject,
        chance: random.Random,
        record: dict | None = None,
    ) -> None:
        self.own, self.filter, self.subject, self.chance = own, filter, subject, chance
        self.tone = LIGHT_TONE + chance.gauss(0, EYE_D)
        self.patch_stops = self.position_stops = 0.0
        self.session = session = new_session(panel_ms=0)
        self.house = LampHouse(session, paper=own.name)
        self.room = Room(session, self.house, requests_for, "plain")
        self.room.cell._sensor = LightSensor(chance.randrange(1 << 30))
        self.hands = IdealHands(session, self.house)
        session.watchers.append(self.hands)
        session.box.asked.set_bench({"lag_ms": self.house.lag_ms})
        record = record or RECORDS.get(own.name)
        if record:
            session.box.papers.keep_text(own.name, encode(record))
        first_ms = round(1000 * self._first_lux_s() / STRIP_LUX)
        card = a_card(base_ms=first_ms, filter=filter)
        load(session, {**card, "record": own.name} if record else card)

    def _first_lux_s(self) -> float:
        """Of the strip: so that the light tone is on it, wherever chance has it."""
        return light_for(self.own, self.filter) / 2 ** (_STEP * self.chance.uniform(2, 4))

    # --- what a printer does

    def calibrate(self) -> None:
        """Read the open easel, give the strip, keep it, and say which place is the light tone."""
        session, box = self.session, self.session.box
        self.house.stop_down(_STRIP_APERTURE)
        self._read((0.5, 0.5))
        self._dark()
        self._press("Open easel")
        to_screen(session, "strip")
        set_row(session, "Patches", _PATCHES - 5)
        set_row(session, "Times", 2)  # the first patch has what the base has
        self.room.do({"do": "shade", "shape": "none"})
        keys(session, "expose")
        assert box.state == "ready", box.message
        while box.state == "ready":
            keys(session, "expose")
            until_dark(session)
            wait(session, 2000)
        keys(session, "press")
        place = self._look()
        self._lay((0.5, 0.5))
        to_screen(session, "light_cell")
        wait(session, _READ_MS)
        self._press("Keep a strip")
        set_row(session, "First spot as", place - (_PATCHES - 1))  # it is at the middle patch
        if self.filter:
            self._press(f"Filter {self.filter} is in")
        self.house.stop_down(APERTURES[0])

    def _look(self) -> int:
        """The place on the strip that is nearest to the tone in mind."""
        [(sheet, patches)] = self.hands.report()
        lux_s = [light.given_ms / 1000 * sheet.lux for light in patches]
        halves = [math.sqrt(lux_s[at // 2] * lux_s[(at + 1) // 2]) for at in range(2 * len(lux_s) - 1)]
        tones = [self.own.density({self.filter or "none": light}) for light in halves]
        place = min(range(len(tones)), key=lambda at: abs(tones[at] - self.tone))
        self.patch_stops = math.log2(halves[place] / light_for(self.own, self.filter, self.tone))
        return place

    def forget(self) -> None:
        """Forget the spots of the negative before, which has just been metered."""
        if self.session.box.panel.work.spots[0]:
            self._press("Light")

    def meter(self) -> float:
        """Take both spots. Returns the stops from the one to the other, as the screen shows them."""
        self.room.set_own_negative(self.subject.film)
        on = self.subject
        lain = self._laid(on.light)
        self.position_stops = math.log2(on.through(lain) / on.through(on.light))
        self._read(lain)
        keys(self.session, "press")
        self._read(self._laid(on.shadow))
        told = self.session.box.panel.screen.cell.twelfths() / 12
        keys(self.session, "press")
        self._dark()
        return float(told)

    def take(self, row: str) -> list[tuple[str, float]]:
        """Take what a row proposes; filter and lux seconds of each pass where the light tone is meant."""
        self._press(row, 2)
        lux = LUX * self.subject.through(self.subject.light)
        map = self.session.box.work.map
        return [
            (own.filter or "none", map.base_ms(index) / 1000 * lux) for index, own in enumerate(map.passes)
        ]

    # --- how

    def _press(self, label: str, times: int = 1) -> None:
        to_row(self.session, label)
        keys(self.session, *["press"] * times)

    def _laid(self, place: tuple[float, float]) -> tuple[float, float]:
        x, y = (self.chance.uniform(-HAND_MM, HAND_MM) / SHEET_MM for _ in "xy")
        return place[0] + x, place[1] + y * WIDTH_PX / HEIGHT_PX

    def _lay(self, place: tuple[float, float]) -> None:
        self.room.do({"do": "shade", "shape": "cell", "x": place[0], "y": place[1]})

    def _read(self, place: tuple[float, float]) -> None:
        """Hold the cell there under the lamp until the screen says that it has read."""
        session = self.session
        self._lay(place)
        if session.box.panel.screen.key != "light_cell":
            to_screen(session, "light_cell")
        if not session.lamp.lit:
            wait(session, _READ_MS)
            keys(session, "lamp")
            if not session.lamp.lit:  # the box asks whether paper lies there
                wait(session, 1000)
                keys(session, "lamp")
        wait(session, _READ_MS)
        assert session.box.panel.screen.cell.good, "the light cell has not read"

    def _dark(self) -> None:
        keys(self.session, "lamp")
        wait(self.session, _READ_MS)


@cache
def evening(name: str, number: int, count: int = COUNT) -> Start:
    """An evening on paper `name`, with one of `count` negatives, played through."""
    own, on = paper(name), subject(number % count)
    filters = filters_of(own)
    filter = filters[number % len(filters)]
    played = Evening(own, filter, on, random.Random(number))
    played.calibrate()
    told_stops = played.meter()
    [(_, lux_s)] = played.take("Base")
    base = math.log2(lux_s / light_for(own, filter, played.tone))
    seen = math.log2(lux_s / light_for(own, filter))
    rest = played.patch_stops, played.position_stops
    fits = grade_for(own, on.span_stops)
    if own.is_graded:
        return Start(base, seen, grade_for(own, told_stops) - fits, *rest)
    [(chosen, lux_s)] = played.take("Filter")
    grade = grade_for(own, span_of(own, {chosen: 1.0})) - fits
    filter_base = math.log2(lux_s / light_for(own, chosen, played.tone))
    pair = dict(played.take("Split grade"))
    pair_base = -math.log2(exposure(own, pair, played.tone))
    return Start(base, seen, grade, *rest, filter_base, pair_base, grade_for(own, span_of(own, pair)) - fits)


# --- without a cell


def from_the_last(name: str, number: int, count: int) -> tuple[float, float]:
    """The errors of base and grade of a start that is the last negative's print."""
    own, on, last = paper(name), subject(number), subject((number - 1) % count)
    base = math.log2(on.through(on.light) / last.through(last.light))
    return base, grade_for(own, last.span_stops) - grade_for(own, on.span_stops)


# --- the table


def rms(errors: Iterable[float]) -> float:
    return math.sqrt(fmean(error * error for error in errors))


def _row(what: str, errors: list[float], rivals: list[float], unit: str, budget: float | None) -> Figure:
    sizes = [abs(error) for error in errors]
    return Figure(
        what,
        rms(errors),
        f"{unit} rms",
        min(sizes),
        max(sizes),
        rival="as the last negative",
        rival_value=rms(rivals),
        more_is_better=False,
        budget=budget,
    )


def figures(count: int = COUNT, names: Sequence[str] = PAPER_NAMES) -> list[Figure]:
    rows, every = [], []
    for name in names:
        starts = [evening(name, number, count) for number in range(EVENINGS * count)]
        bases, grades = map(list, zip(*(from_the_last(name, number, count) for number in range(count))))
        of_base = bases, "stop", BUDGET_STOPS
        of_grade = grades, "grade", BUDGET_GRADES
        rows += [
            _row(f"Metering on {name}: base", [start.base for start in starts], *of_base),
            _row("  the same against D 0.10", [start.seen for start in starts], bases, "stop", None),
        ]
        if paper(name).is_graded:
            rows.append(_row("  grade between two spots", [start.grade for start in starts], *of_grade))
        else:
            rows += [
                _row("  filter between two spots: base", [start.filter_base for start in starts], *of_base),
                _row("  its grade", [start.grade for start in starts], *of_grade),
                _row("  split pair between two spots: base", [start.pair_base for start in starts], *of_base),
                _row("  its grade", [start.pair_grade for start in starts], *of_grade),
            ]
        every += starts
    for what, errors in (
        ("half places", [start.patch for start in every]),
        ("where the cell lies", [start.position for start in every]),
        ("sensor and sums", [start.base - start.patch + start.position for start in every]),
    ):
        rows.append(Figure(f"  of all bases, {what}", rms(errors), "stop rms", more_is_better=False))
    return rows
