"""What it saves: the paper and the time that simulated printers need from an unknown negative to a print that
contents them.

The same 200 negatives are printed by four printers, who differ in what they have:

1. strips in plain seconds;
2. strips in stops;
3. strips in stops, and a paper record;
4. a light cell and a paper record.

**The right print.** Its light tone has a density of 0.10 and its shadow 90 % of the greatest (the negatives,
and where these two lie on them, are those of `metering`). The filters are 00 to 5 in halves. A print's error
in base is that of the light on the light tone, through the filter that the printer ended with; its error in
grade is that filter's number less the one, on a line between the filters, at which both tones are right.

**The eye.** It takes a density for another one, off by 0.02, and by 0.04 above 1.6 (1 sigma, common practice,
no source). Each look errs anew; one look at a strip errs alike on all of its patches. A printer is content
with what is off by less than twice that: less may be the eye's own error, and whoever goes after it makes
prints for ever. So nobody here sees a twelfth of a stop with certainty.

**A strip** is a quarter of a sheet, with 7 patches. The printer takes the place, half places too, where the
light tone looks right. If that is the first or the last patch, and it still looks wrong, the next strip goes
on from there. If the patches on its sides are more than 1/3 stop away, a second strip is laid around it, in
steps of 1/6 stop, or of the largest whole seconds (5, 2 or 1) that are no more than that. The first strip is
through filter 2 (ilfordphoto.com, "Exposure testing", read): 5 to 35 s in steps of 5 s, or 1/2 stop around
15 s, which suits the usual negative here (5 s and 15 s: NAVEDTRA 14209, a navy's course, read). All patches
show the same tones.

**Contrast.** Printers see light tone and shadow of what they look at, and know their paper so well that they
know which filter that calls for, as far as the eye goes: that favours who has no record. They change filter
if the shadow, once the light tone is right, would look wrong, and another filter is nearer. Two habits are
played. *On strips*: each patch shows shadow and light tone, and contrast is judged there first ("place one
test strip … to sample the highlights, midtones, and shadows … if the contrast is correct [make the print]. If
not, change filters and make another test strip": the same course). *On prints*: the strip lies in the
light tone, and a whole print shows the shadow first. The sources that were read know both, or neither.

**The budget** counts "every full print, the final one included", and so is about printers who make several:
those who judge contrast on prints. Of the others only the figure is told. With one strip and one print, which
are 1.25 sheets, they cannot keep it: plain-second strips would have to need 2.5. What it would take is played
by a fifth printer, with light cell and paper record and no strip before the first print.

**A filter is changed** without a record by the maker's factor between the two, which holds a middle tone and
not a light one, and then by a strip around that, in steps of 1/3 stop or the largest seconds that are no
more. With a record it is changed by what the record has for the light tone; no strip follows but one that was
due anyway.

**A print** is a whole sheet. If its light tone looks wrong the base is moved by what the printer sees (to
1/12 stop, or on the scale of plain seconds), if its contrast does the filter is changed, and on it goes.

**The record** is made for each of 20 printers, 10 negatives each, by `lampblack lab paper`'s own functions of
one strip for each filter: the box's paper strip, 11 patches, read with an error of 0.01 each, base and black
at four places. A strip that the laboratory refuses is made again with other times.

**The light cell** is the real screen of the real core (`metering.Evening`): a calibration strip through
filter 2 once for a printer, then light tone and shadow of each negative; the row *Filter* gives filter and
base. Beyond what `metering` has, lamp, colour of the lamp and batch of paper are off by 0.08 stop together,
and flare makes the light tone's reading alone wrong by 0.065 (1 sigma, estimates, no source). As the box asks
for, a strip of 1/6 stop around that comes before the print.

**Time.** To lay a sheet 30 s, to cover a patch 3 s, to change a filter 10 s, to fetch the cell and lay it
twice 20 s, to look 30 s (all assumed); light as given; the trays as far as the end of the fix, by the box's
own sequence `rc`.

Not in it: areas to dodge and burn, dry-down, a tone that is not even along a strip, light that is not as
planned, a printer who errs in anything but what is said, or learns from one negative for the next. Nobody
remembers a filter that they have left, so that some go back to it; `parts` also plays those who do. Records
and calibrations are made once for a paper: what they cost is a row of its own.
"""

import math
import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from statistics import fmean, median
from typing import Any

import numpy as np

from host_sim.optics.lamp_house import APERTURES, LUX
from host_sim.optics.negatives import OWN, Negative
from host_sim.optics.paper import Paper
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX
from tests.figures import metering
from tests.figures.comparison import Figure, of, spread_of
from tests.figures.measured_paper import filters_of, in_halves, record_from_strips
from tests.figures.metering import EYE_D, HAND_MM, LIGHT_TONE, SHADOW, SHEET_MM, span_of
from timing_core.light.bench import Bench
from timing_core.light.paper_record import ANCHORS, QUARTER, PaperRecord, grade_of
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import STOP, plain_step, scale
from timing_core.light.strip import Strip
from timing_core.light.tray_sequence import default_sequence

COUNT = 200
EACH = 10
"""Negatives of a printer."""
PAPERS = ("vc-2019", "vc-2020")
"""By turns, from printer to printer."""
BUDGET_PART = 1 / 2
BUDGET_STOPS = 1 / 12
BUDGET_GRADES = 1 / 4

# --- the eye

DEEP_D, DEEP_EYE_D = 1.6, 0.04

# --- paper

STRIP_SHEETS = 1 / 4
PATCHES = 7
COARSE, THIRD, SIXTH = 60, 40, 20
"""Steps of strips, in 1/120 stop: at first, round a maker's time, and round a place."""
FIRST_FILTER = "2"
FIRST_MS = 15_000
FIRST_SECONDS_MS = 5000
SECONDS_MS = (5000, 2000, 1000)
BASE_STEP = 10
"""By which a base is moved, in 1/120 stop."""
APERTURE = APERTURES[1]
PRINT_LUX = LUX / 2**0.5
_PIECES_MOST = 60
SAMPLES = 1000

# --- the light cell

CHANGED_STOPS = 0.08
FLARE_STOPS = 0.065
_AROUND_PX = round(HAND_MM / SHEET_MM * WIDTH_PX) + 15
"""Of the light tone: as far as the cell's window may lie."""

# --- time, in seconds

LAY_S, COVER_S, CHANGE_S, FETCH_S, LOOK_S = 30, 3, 10, 20, 30
TRAYS_S = sum(tray[1] + tray[6] for tray in default_sequence("rc").trays[:3])


@dataclass(frozen=True)
class Printer:
    """What they have, where they judge contrast first, and by how many times their eye's error a tone must
    look wrong before they are sure of it. With a cell, whether a strip comes before the first print; and
    whether they never go back to a filter that they have left."""

    name: str
    plain_seconds: bool = False
    has_record: bool = False
    has_cell: bool = False
    on_strips: bool = True
    sure: float = 2
    strip_first: bool = True
    remembers: bool = False


PRINTERS = (
    Printer("plain-second strips", plain_seconds=True),
    Printer("stop strips"),
    Printer("stop strips, paper record", has_record=True),
    Printer("light cell, paper record", has_record=True, has_cell=True),
)
AT_ONCE = replace(PRINTERS[-1], name="light cell, paper record, no strip", strip_first=False, on_strips=False)
HABITS = {True: "contrast judged on strips", False: "contrast judged on prints"}


@dataclass(frozen=True)
class Printed:
    """What a print took, and how far it is off; `base` is in stops, positive for too much light."""

    strips: int
    prints: int
    seconds: float
    base: float
    grade: float

    @property
    def sheets(self) -> float:
        return self.prints + STRIP_SHEETS * self.strips

    @property
    def is_right(self) -> bool:
        return abs(self.base) <= BUDGET_STOPS and abs(self.grade) <= BUDGET_GRADES


@dataclass(frozen=True)
class Start:
    """Filter, base and the time that metering took; or none of it."""

    filter: str = FIRST_FILTER
    base_ms: int = FIRST_MS
    seconds: float = 0.0


# --- filters and grades


def grade_number(filter: str) -> float:
    return float(grade_of(filter)) / QUARTER


@cache
def _spans(own: Paper) -> dict[str, float]:
    return {name: span_of(own, {name: 1.0}) for name in filters_of(own)}


@cache
def light_for(own: Paper, filter: str) -> float:
    """Lux seconds for the light tone."""
    return metering.light_for(own, filter)


def grade_for(own: Paper, span_stops: float) -> float:
    """The grade that spans so much, on a line between the filters."""
    spans, grades = zip(*sorted((span, grade_number(name)) for name, span in _spans(own).items()))
    return float(np.interp(span_stops, spans, grades))


# --- one negative


class Work:
    """A printer at one negative, which lets through the parts `light` and `shadow` of the light where its two
    tones are."""

    def __init__(
        self,
        own: Paper,
        record: PaperRecord,
        printer: Printer,
        tones: tuple[float, float],
        start: Start,
        chance: random.Random,
    ) -> None:
        self.own, self.printer, self.chance = own, printer, chance
        self.record = record if printer.has_record else None
        self.lux = [PRINT_LUX * part for part in tones]
        self.map = PrintingMap.new(start.base_ms, start.filter, 0)
        self.next_step = COARSE
        if printer.has_cell:
            self.next_step = SIXTH if printer.strip_first else 0
        self.left: set[str] = set()
        self.strips = self.prints = 0
        self.seconds = start.seconds
        self.first = not printer.has_cell

    @property
    def filter(self) -> str:
        return self.map.passes[0].filter

    @property
    def base_ms(self) -> int:
        return self.map.base_ms(0)

    def done(self) -> Printed:
        """Work until the print contents its printer."""
        while self.strips + self.prints < _PIECES_MOST:
            while self.next_step:
                self._give_strip()
            self._give_print()
            if not self._correct(self._seen(0, self.base_ms), self._seen(1, self.base_ms)):
                base = math.log2(self._lux_s(0, self.base_ms) / light_for(self.own, self.filter))
                span = math.log2(self.lux[1] / self.lux[0])
                grade = grade_number(self.filter) - grade_for(self.own, span)
                return Printed(self.strips, self.prints, self.seconds, base, grade)
        raise AssertionError(f"{self.printer.name}: never content")

    # --- looking

    def _lux_s(self, which: int, ms: int) -> float:
        return ms / 1000 * self.lux[which]

    def _density(self, which: int, ms: int) -> float:
        return self.own.density({self.filter: self._lux_s(which, ms)})

    def _seen(self, which: int, ms: int) -> float:
        density = self._density(which, ms)
        return density + self.chance.gauss(0, DEEP_EYE_D if density > DEEP_D else EYE_D)

    def _exposure(self, seen: float) -> float:
        """What left a tone that was seen."""
        return self.own.exposure(min(max(seen, 0.01), 0.97 * self.own.dmax), self.filter)

    # --- strips

    def _give_strip(self) -> None:
        strip = self._laid_out()
        stages = strip.compile(self.map, Bench())
        self.strips += 1
        self._take(sum(stage.light_ms for stage in stages) / 1000 + COVER_S * PATCHES)
        off = self.chance.gauss(0, EYE_D)
        places = range(strip.last_place + 1)
        seen = [self._density(0, strip.total_ms(self.map, place)) + off for place in places]
        place = min(places, key=lambda at: abs(seen[at] - LIGHT_TONE))
        if self._goes_on(strip, place, seen[place] - LIGHT_TONE):
            return
        ms = strip.total_ms(self.map, place)
        strip.choose(self.map, place)
        self.first = False
        self.next_step = 0 if self._is_close(strip, ms) else SIXTH
        if self.printer.on_strips:
            self._match_contrast(seen[place], self._seen(1, ms))

    def _laid_out(self) -> Strip:
        strip = Strip()
        strip.patches, strip.centred = PATCHES, False
        around = PATCHES // 2
        if not self.printer.plain_seconds:
            strip.step_stops120 = self.next_step
            strip.origin_ms = scale(self.base_ms, -around * self.next_step)
            return strip
        strip.step_stops120 = 0
        strip.step_ms = self._step_ms()
        whole_s = round((self.base_ms - around * strip.step_ms) / 1000)
        strip.origin_ms = strip.step_ms if self.first else max(strip.step_ms, 1000 * whole_s)
        return strip

    def _step_ms(self) -> int:
        """The largest step in seconds that is no more than is wanted in stops, or the smallest there is."""
        if self.next_step == COARSE:
            return FIRST_SECONDS_MS
        fits = [step for step in SECONDS_MS if _stops120(1 + step / self.base_ms) <= self.next_step]
        return fits[0] if fits else SECONDS_MS[-1]

    def _is_close(self, strip: Strip, ms: int) -> bool:
        """The patches beside a place leave no need for a closer strip, or there is none."""
        if strip.step_stops120:
            return strip.step_stops120 <= THIRD
        return _stops120(1 + strip.step_ms / ms) <= THIRD or strip.step_ms == SECONDS_MS[-1]

    def _goes_on(self, strip: Strip, place: int, off: float) -> bool:
        """Set what the next strip is around, where the tone is not on this one."""
        if abs(off) <= self.printer.sure * EYE_D or place != (0 if off > 0 else strip.last_place):
            return False
        edge_ms = strip.total_ms(self.map, place)
        around = PATCHES // 2
        is_darker = off > 0
        if strip.step_stops120:
            moved = around * strip.step_stops120
            self.map.set_base(0, scale(edge_ms, -moved if is_darker else moved))
        elif not is_darker:
            self.map.set_base(0, edge_ms + around * strip.step_ms)
        elif edge_ms > strip.step_ms:
            self.map.set_base(0, max(strip.step_ms, edge_ms - around * strip.step_ms))
        elif strip.step_ms > SECONDS_MS[-1]:
            self.map.set_base(0, edge_ms // 2)
            self.next_step = SIXTH
        else:
            return False  # there are no smaller seconds
        self.first = False
        return True

    # --- prints

    def _give_print(self) -> None:
        self.prints += 1
        self._take(self.base_ms / 1000)

    def _take(self, light_s: float) -> None:
        self.seconds += LAY_S + light_s + TRAYS_S + LOOK_S

    def _correct(self, light: float, shadow: float) -> bool:
        """Change what looks wrong on the print. False if nothing does."""
        is_off = abs(light - LIGHT_TONE) > self.printer.sure * EYE_D
        if is_off:
            seen_stops120 = _stops120(light_for(self.own, self.filter) / self._exposure(light))
            self._set_base(scale(self.base_ms, BASE_STEP * round(seen_stops120 / BASE_STEP)))
        return self._match_contrast(light, shadow) or is_off

    def _match_contrast(self, light: float, shadow: float) -> bool:
        """Change the filter if, once the light tone is right, the shadow would look wrong, and another is
        nearer. False if nothing changes."""
        ratio = self._exposure(shadow) / self._exposure(light)
        wanted = SHADOW * self.own.dmax
        with_light_right = self.own.density({self.filter: light_for(self.own, self.filter) * ratio})
        if abs(with_light_right - wanted) <= self.printer.sure * DEEP_EYE_D:
            return False
        nearest = self._nearest(math.log2(ratio))
        if nearest == self.filter or (self.printer.remembers and nearest in self.left):
            return False
        self.left.add(self.filter)
        self.seconds += CHANGE_S
        was, self.map.passes[0].filter = self.filter, nearest
        if self.record:
            self._set_base(scale(self.base_ms, self.record.change(was, nearest, ANCHORS[0])))
        else:
            speeds = (round(self.own.filters[name].iso_speed) for name in (was, nearest))
            self._set_base(scale(self.base_ms, 0, *speeds))
            self.next_step = THIRD
        return True

    def _nearest(self, span_stops: float) -> str:
        if self.record:
            return self.record.nearest(round(STOP * span_stops))
        spans = _spans(self.own)
        return min(spans, key=lambda name: abs(spans[name] - span_stops))

    def _set_base(self, ms: int) -> None:
        if self.printer.plain_seconds:
            below = plain_step(ms, -1)
            ms = min((below, plain_step(below, 1)), key=lambda each: abs(each - ms))
        self.map.set_base(0, ms)


def _stops120(ratio: float) -> float:
    return STOP * math.log2(ratio)


# --- printers with what they have measured


class Darkroom:
    """A printer's paper, its record as measured, and the negatives: where each lets through how much,
    and what the light cell says of it. `learning` is what record and calibration took, in sheets."""

    def __init__(self, number: int, count: int) -> None:
        chance = random.Random(f"darkroom {number}")
        self.own = in_halves(PAPERS[number % len(PAPERS)])
        plain, strips = record_from_strips(self.own, chance)
        self.record = PaperRecord.from_dict(plain)
        self.learning = STRIP_SHEETS * (strips + 1)
        first = metering.subject.__wrapped__(EACH * number)  # uncached: 200 films are more than memory is for
        evening = metering.Evening(self.own, FIRST_FILTER, first, chance, plain)
        evening.calibrate()
        evening.house.stop_down(APERTURE)
        self.tones: list[tuple[float, float]] = []
        self.starts: list[Start] = []
        for at in range(count):
            on = metering.subject.__wrapped__(EACH * number + at)
            self.tones.append((on.through(on.light), on.through(on.shadow)))
            self.starts.append(_metered(evening, on, chance))


def _metered(evening: metering.Evening, on: metering.Subject, chance: random.Random) -> Start:
    """What the light cell's screen makes of a negative, read as that is today."""
    film = on.film.transmittance * np.float32(2 ** chance.gauss(0, CHANGED_STOPS))
    x, y = round(on.light[0] * WIDTH_PX), round(on.light[1] * HEIGHT_PX)
    rows, columns = (slice(max(0, at - _AROUND_PX), at + _AROUND_PX) for at in (y, x))
    film[rows, columns] *= np.float32(2 ** chance.gauss(0, FLARE_STOPS))
    session = evening.session
    began_ms = session.now_ms
    evening.subject = replace(on, film=Negative(OWN, on.film.name, film))
    evening.forget()
    evening.meter()
    evening.take("Filter")
    map = session.box.work.map
    return Start(map.passes[0].filter, map.base_ms(0), FETCH_S + (session.now_ms - began_ms) / 1000)


@cache
def darkrooms(count: int = COUNT) -> list[Darkroom]:
    """Of as many printers as `count` negatives take."""
    return [Darkroom(number, min(EACH, count - EACH * number)) for number in range(-(-count // EACH))]


@cache
def printed(printer: Printer, count: int = COUNT) -> list[Printed]:
    """Every one of `count` negatives, printed."""
    found = []
    for number, room in enumerate(darkrooms(count)):
        for at, (tones, start) in enumerate(zip(room.tones, room.starts, strict=True)):
            chance = random.Random(f"{printer.name} {printer.on_strips} {number} {at}")
            start = start if printer.has_cell else Start()
            found.append(Work(room.own, room.record, printer, tones, start, chance).done())
    return found


# --- the tables


def learning_sheets(count: int = COUNT) -> list[float]:
    """What record and calibration of each printer took, once for a paper."""
    return [room.learning for room in darkrooms(count)]


def _row(what: str, values: Sequence[float], unit: str, **more: Any) -> Figure:
    spread = spread_of([abs(value) for value in values])
    return of(what, spread, unit, more_is_better=False, **more)


def _rows_of(printer: Printer, count: int, plain_sheets: float, is_budget: bool) -> list[Figure]:
    """The figures of a printer beside the paper of the one with plain-second strips."""
    found = printed(printer, count)
    rival: dict[str, Any] = {}
    if printer.name != PRINTERS[0].name:
        rival = {"rival": PRINTERS[0].name, "rival_value": plain_sheets}
    # A figure is to be under its bound, and half is still kept.
    half = math.nextafter(plain_sheets * BUDGET_PART, math.inf)
    errors = printer.has_cell and printer.strip_first
    return [
        _row(
            f"Print by {printer.name}, {HABITS[printer.on_strips]}",
            [one.sheets for one in found],
            "sheets",
            budget=half if is_budget else None,
            **rival,
        ),
        _row("  its time", [one.seconds / 60 for one in found], "min"),
        _row(
            "  its error in base",
            [one.base for one in found],
            "stop",
            budget=BUDGET_STOPS if errors else None,
        ),
        _row(
            "  its error in grade",
            [one.grade for one in found],
            "grade",
            budget=BUDGET_GRADES if errors else None,
        ),
    ]


def printers() -> list[Printer]:
    """All, in the order of the tables."""
    return [replace(printer, on_strips=on_strips) for on_strips in HABITS for printer in PRINTERS] + [AT_ONCE]


def figures(count: int = COUNT) -> list[Figure]:
    rows = []
    for printer in printers():
        plain = replace(PRINTERS[0], on_strips=printer.on_strips)
        plain_sheets = median(one.sheets for one in printed(plain, count))
        is_budget = printer.has_cell and printer.strip_first and not printer.on_strips
        rows += _rows_of(printer, count, plain_sheets, is_budget)
    rows.append(_row("Record and calibration, once for a paper", learning_sheets(count), "sheets"))
    return rows


COLUMNS = (
    "contrast judged: printer",
    "sheets",
    "mean",
    "strips",
    "prints",
    "minutes",
    "base",
    "grade",
    "right",
)


def table_rows(count: int = COUNT) -> list[list[object]]:
    """The figures a printer a row, as COLUMNS says: medians but for the means of sheets, strips and prints,
    and the part of the prints that are within both tolerances."""
    rows: list[list[object]] = []
    for printer in printers():
        found = printed(printer, count)
        rows.append(
            [
                f"{HABITS[printer.on_strips].removeprefix('contrast judged ')}: {printer.name}",
                f"{median(one.sheets for one in found):.2f}",
                f"{fmean(one.sheets for one in found):.2f}",
                f"{fmean(one.strips for one in found):.1f}",
                f"{fmean(one.prints for one in found):.1f}",
                f"{median(one.seconds for one in found) / 60:.0f}",
                f"{median(abs(one.base) for one in found):.3f}",
                f"{median(abs(one.grade) for one in found):.2f}",
                f"{100 * fmean(one.is_right for one in found):.0f} %",
            ]
        )
    return rows


def _of_cell_and_plain(on_strips: bool, **more: Any) -> tuple[list[Printed], list[Printed]]:
    plain, *_, cell = (replace(printer, on_strips=on_strips, **more) for printer in PRINTERS)
    return printed(cell), printed(plain)


def _paper(on_strips: bool) -> tuple[float, float]:
    """The median sheets of light cell and record, and of plain-second strips."""
    cell, plain = (median(one.sheets for one in each) for each in _of_cell_and_plain(on_strips))
    return cell, plain


def _sampled(on_strips: bool) -> Any:
    """The part of the paper in each of SAMPLES samples of as many negatives, drawn from these: how far it is
    the negatives' own chance."""
    cell, plain = (np.array([one.sheets for one in each]) for each in _of_cell_and_plain(on_strips))
    drawn = np.random.default_rng(1).integers(0, len(cell), (SAMPLES, len(cell)))
    return np.median(cell[drawn], axis=1) / np.median(plain[drawn], axis=1)


def _range_of(on_strips: bool) -> str:
    low, high = np.quantile(_sampled(on_strips), (0.05, 0.95))
    return f"{low:.2f} to {high:.2f}"


def verdicts() -> str:
    """How the budget fared, in words."""
    cell, plain = _paper(on_strips=False)
    kept = "kept" if cell <= plain * BUDGET_PART else "MISSED"
    found = [_of_cell_and_plain(on_strips)[0] for on_strips in HABITS]
    base, grade = (
        max(median(abs(getattr(one, what)) for one in each) for each in found) for what in ("base", "grade")
    )
    errors = "kept" if base < BUDGET_STOPS and grade < BUDGET_GRADES else "MISSED"
    return (
        f"contrast judged on prints, {cell:.2f} of {plain:.2f} sheets, which is {cell / plain:.2f}: {kept}. "
        f"Errors, at most {base:.3f} stop and {grade:.2f} grade: {errors}"
    )


def beside_the_budget() -> str:
    """What those need who judge contrast on strips, and why that is no half, in words."""
    cell, plain = _paper(on_strips=True)
    least = 1 + STRIP_SHEETS
    at_once = printed(AT_ONCE)
    middle = median(one.sheets for one in at_once)
    return (
        f"Contrast judged on strips, it is {cell:.2f} of {plain:.2f} sheets, which is {cell / plain:.2f}, "
        f"and no budget: one strip and one print are {least:.2f} sheets, which is half only where "
        f"plain-second strips need {least / BUDGET_PART:.2f}. Without the strip {_content_at_first(at_once)} "
        f"of first prints content, so that the median is {middle:.2f}"
    )


def _content_at_first(found: Sequence[Printed]) -> str:
    return f"{100 * fmean(one.prints == 1 for one in found):.0f} %"


def chances() -> str:
    """How far the parts are the chance of these negatives, in words."""
    first = _content_at_first(_of_cell_and_plain(False)[0])
    halves = 100 * float(np.mean(_sampled(False) <= BUDGET_PART))
    return (
        f"In nine of ten samples of as many negatives, drawn from these, the part is {_range_of(False)} with "
        f"contrast judged on prints, and {_range_of(True)} on strips. The first is at most half in "
        f"{halves:.0f} % of samples: with the cell {first} of first prints content, and where that is less "
        "than half of them the median has one more"
    )


def parts(middle: Callable[[Iterable[float]], float] = median, **more: Any) -> str:
    """The part of the paper that light cell and record take, with each habit, in words; `more` is what the
    printers are besides."""
    found = [_of_cell_and_plain(habit, **more) for habit in HABITS]
    both = [[middle([one.sheets for one in each]) for each in pair] for pair in found]
    return " and ".join(f"{cell / plain:.2f}" for cell, plain in both)
