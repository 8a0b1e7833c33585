"""A card carried over: to another size, aperture, filter or paper, with the paper's reciprocity.

What must live here: the order of the steps, how sure each is, and the strip that makes up for that. What a
step does to a map is the core's, as on the box. It may not know files, nor what is printed.
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from lampblack.errors import CommandError
from lampblack.lab.burns import grade_of_passes
from timing_core.light.carrying import (
    aperture_text,
    burn_stops120,
    length_text,
    nearest_filter,
    to_aperture,
    to_paper,
    to_size,
)
from timing_core.light.paper_record import PaperRecord
from timing_core.light.plan import filter_text
from timing_core.light.printing_map import SHEET, Mark, PrintingMap
from timing_core.light.stops import STEPS, STOP, offset_between, scale, seconds_text, stops_text

LIGHTS = ("diffuser", "condenser")

# One sigma, in stops. Computed: 0.03 for lengths that are read to 1 mm and a cell that repeats to 2 %. Common
# practice, no source: 0.1 for a diaphragm that is set by its marks. 0.15: a batch of paper from the next, and
# published speeds, which come in steps of 26 %. 0.05: a filter's offset from strips in thirds of a stop.
SIZE_ERROR = 0.03
CELL_ERROR = 0.03
APERTURE_ERROR = 0.1
FILTER_ERROR = 0.05
PAPER_ERROR = 0.15
RECIPROCITY_ERROR = 0.02
"""For each stop of time beyond LEVEL_MS, where the exponent was measured to 0.02."""
UNTREATED_ERROR = 0.08
"""The same where it was not: papers lose 0.1 to 0.3 stop at 60 s. Common practice, no source."""

LEVEL_MS = 10_000
"""Up to here time and light count alike: papers are made for 8 to 10 s (a maker's engineer, photrio.com,
thread 82414)."""
EXPONENT_MIN, EXPONENT_MAX = 500, 1000
STRIP_PATCHES = 5


class Wanted(NamedTuple):
    """What the card is to be carried over to; None and empty for what stays.

    `print_mm10`: the length of the measured detail on the new print, in 0.1 mm. `light`: one of LIGHTS, the
    enlarger's. `cell_stops120`: what the light cell read at the new size, from the old, in 1/120 stop.
    `aperture` in sixths of a stop from f/1. `filters`: the new names by the old. `record` is the paper record
    at work and `paper` that of the new paper; `anchor` is the tone that stays. `exponent`: how time counts
    beyond LEVEL_MS, in 1/1000.
    """

    print_mm10: int | None = None
    light: str = ""
    cell_stops120: int | None = None
    aperture: int | None = None
    filters: Mapping[str, str] = {}
    record: PaperRecord | None = None
    paper: PaperRecord | None = None
    anchor: str = "light tone"
    exponent: int | None = None


class Step(NamedTuple):
    """One factor: `stops120` by which the base of pass `pass_index` moves, all of them where that is None,
    and `error_stops`, one sigma."""

    what: str
    was: str
    becomes: str
    stops120: int
    error_stops: float
    source: str
    pass_index: int | None = None


class Carried(NamedTuple):
    """The new map, the steps to it, and what is left to the printer, one line each."""

    map: PrintingMap
    steps: list[Step]
    remarks: list[str]

    def steps_of(self, index: int) -> list[Step]:
        return [step for step in self.steps if step.pass_index in (None, index)]

    @property
    def strip_pass(self) -> int:
        """The pass whose strip is made first: one that has moved by itself, where one has."""
        return next((step.pass_index for step in self.steps if step.pass_index is not None), 0)

    def total(self, index: int) -> tuple[int, float]:
        """By how many 1/120 stop pass `index` moves in all, and one sigma of that in stops."""
        own = self.steps_of(index)
        return sum(step.stops120 for step in own), math.hypot(*(step.error_stops for step in own))


def carried(map: PrintingMap, wanted: Wanted) -> Carried:
    """`map` carried over to what is `wanted`; it stays as it is itself. CommandError where a rule is not
    valid or something is missing, Refusal from the core where light or base would be out of range."""
    made = Carried(map.copy(), [], [])
    before = [map.base_ms(index) for index in range(len(map.passes))]
    if wanted.print_mm10 is not None or wanted.cell_stops120 is not None:
        _size(made, wanted)
    if wanted.aperture is not None:
        _aperture(made, wanted.aperture)
    if wanted.filters:
        _filters(made, wanted)
    if wanted.paper is not None:
        _paper(made, wanted, wanted.paper)
    _reciprocity(made, before, wanted.exponent)
    made.remarks.extend(_besides(map, made.map))
    return made


def _besides(before: PrintingMap, after: PrintingMap) -> list[str]:
    """What has moved, or is no longer true, beside the bases."""
    lines = []
    if before.flash and after.flash and before.flash.light_ms() != after.flash.light_ms():
        was, now = seconds_text(before.flash.light_ms()), seconds_text(after.flash.light_ms())
        lines.append(f"The flash goes with it: {was} becomes {now}.")
    gone = before.measures.keys() - after.measures.keys()
    if gone.intersection(SHEET):
        lines.append("The new sheet is not known: write sheet_mm on the card.")
    if "spot" in gone:
        lines.append("What the light cell read at the first spot is left out: it was under other light.")
    return lines


def _size(made: Carried, wanted: Wanted) -> None:
    map, measures = made.map, made.map.measures
    if wanted.print_mm10 is not None:
        for key, card_key in (("print_mm10", "print_mm"), ("negative_mm10", "negative_mm")):
            if key not in measures:
                raise CommandError(
                    f"Not carried to another size: the card has no {card_key}. Measure the same detail on "
                    "negative and print, and write negative_mm and print_mm on the card."
                )
    was, becomes = measures.get("print_mm10"), wanted.print_mm10
    lengths = ["" if was is None else length_text(was), "" if becomes is None else length_text(becomes)]
    if wanted.cell_stops120 is not None:
        offset = -wanted.cell_stops120
        map.carry("size", offset)
        if becomes is not None:
            measures["print_mm10"] = becomes
        elif was is not None:
            # The old length would carry the next print from a size that this one has not.
            del measures["print_mm10"]
            made.remarks.append(
                "How long the detail is now is not known: measure it, and write print_mm on the card."
            )
        if becomes != was:
            for side in SHEET:
                measures.pop(side, 0)
        made.steps.append(
            Step("size", lengths[0], lengths[1], offset, CELL_ERROR, "the light cell at both sizes")
        )
    elif wanted.light == "diffuser" and becomes is not None:
        offset = to_size(map, becomes)
        source = f"{length_text(measures['negative_mm10'])} of negative, (m + 1)\N{SUPERSCRIPT TWO}"
        made.steps.append(Step("size", lengths[0], lengths[1], offset, SIZE_ERROR, source))
    elif wanted.light == "condenser":
        raise CommandError(
            "Not carried to another size: a condenser images the lamp into the lens, and the rule of lengths "
            "is up to half a stop off. Read the light cell at both sizes and give --cell, or make a strip."
        )
    else:
        raise CommandError(
            "Not carried to another size: the rule of lengths is true under a diffuser alone. Say what the "
            "enlarger's light is: diffuser or condenser."
        )
    if "paper" in map.facts and wanted.paper is None:
        made.remarks.append(
            f"The paper on the card is still {map.facts['paper']}: see that its size is right."
        )
    if "height" in map.facts:
        made.remarks.append(f"The height on the card is still {map.facts['height']}: write the new one.")


def _aperture(made: Carried, sixths: int) -> None:
    measures, facts = made.map.measures, made.map.facts
    if "aperture" not in measures:
        raise CommandError(
            "Not carried to another aperture: the card has no f_thirds. Write it on the card: f/8 is "
            "f_thirds = 18, f/11 is 21."
        )
    was, becomes = aperture_text(measures["aperture"]), aperture_text(sixths)
    offset = to_aperture(made.map, sixths)
    made.steps.append(Step("aperture", was, becomes, offset, APERTURE_ERROR, "the lens's marks"))
    if facts.get("aperture") == was:
        facts["aperture"] = becomes
    elif "aperture" in facts:
        made.remarks.append(f"The aperture on the card is still {facts['aperture']}: write {becomes}.")


def _filters(made: Carried, wanted: Wanted) -> None:
    map, record = made.map, wanted.record
    if record is None:
        raise CommandError(
            "Not carried to another filter: no paper record is at work. Give --record, that of the card's "
            "paper."
        )
    for old in wanted.filters:
        if old not in map.filters():
            raise CommandError(
                f"Not carried to another filter: the card does not use {filter_text(old)}. It uses "
                f"{', '.join(filter_text(name) for name in map.filters())}."
            )
    for name in (*wanted.filters, *wanted.filters.values()):
        if record.offset(name, wanted.anchor) is None:
            raise CommandError(
                f"Not carried to another filter: {record.name} has not measured {filter_text(name)}. Make a "
                "strip through it for the record."
            )
    source = f"{record.name}, {wanted.anchor}"
    for index, own in enumerate(map.passes):
        burns = [(mark, map.mark_ms(index, mark)) for mark in own.marks if mark.filter]
        new = wanted.filters.get(own.filter, own.filter)
        if new != own.filter:
            offset = record.change(own.filter, new, wanted.anchor)
            map.set_base_alone(index, map.base_ms(index), offset)
            what = "filter" if len(map.passes) == 1 else f"filter, pass {index + 1}"
            made.steps.append(Step(what, own.filter, new, offset, FILTER_ERROR, source, index))
            own.filter = new
        for mark, light_ms in burns:
            # Its light goes by its own filter, while the base, from which its stops count, went by another.
            to = wanted.filters.get(mark.filter, mark.filter)
            light_ms = scale(light_ms, record.change(mark.filter, to, wanted.anchor))
            mark.stops120 = burn_stops120(mark.area, map.base_ms(index), light_ms)
            mark.filter = to
    flash = map.flash
    if flash and flash.filter in wanted.filters:
        to = wanted.filters[flash.filter]
        map.flash = flash.moved(record.change(flash.filter, to, wanted.anchor))
        map.flash.filter = to
        made.remarks.append("The flash moved with its filter: find it again on a strip.")


def _paper(made: Carried, wanted: Wanted, paper: PaperRecord) -> None:
    map, record = made.map, wanted.record
    if record is None:
        raise CommandError(
            "Not carried to another paper: no paper record is at work. Give --record, that of the card's "
            "paper."
        )
    before = map.copy()
    offsets = to_paper(map, record, paper, wanted.anchor)
    alike = len(set(offsets)) == 1
    for index, own in enumerate(map.passes[: 1 if alike else None]):
        what, at = ("paper", None) if alike else (f"paper, pass {index + 1}", index)
        source = f"both records, {filter_text(own.filter)}, {wanted.anchor}"
        made.steps.append(Step(what, record.name, paper.name, offsets[index], PAPER_ERROR, source, at))
    made.remarks.extend(_contrast(before, map, record, paper))
    for mark, moved in zip(_marks(before), _marks(map), strict=True):
        if mark.stops120 != moved.stops120:
            was, now = stops_text(mark.stops120), stops_text(moved.stops120)
            made.remarks.append(
                f"The burn of {mark.area} goes by {filter_text(mark.filter)}: {was} becomes {now}."
            )
        elif mark.filter and None in [own.offset(mark.filter, wanted.anchor) for own in (record, paper)]:
            made.remarks.append(
                f"The burn of {mark.area} goes with its pass: one record has not {filter_text(mark.filter)}."
            )
    if "paper" in map.facts:
        made.remarks.append(f"The paper on the card is still {map.facts['paper']}: write the new one.")


def _marks(map: PrintingMap) -> list[Mark]:
    return [mark for own in map.passes for mark in own.marks]


def _contrast(before: PrintingMap, after: PrintingMap, record: PaperRecord, paper: PaperRecord) -> list[str]:
    """What becomes of the contrast: that of a pair together, else that of each filter."""
    was, now = grade_of_passes(record, before), grade_of_passes(paper, after)
    if was and now:
        return [f"Contrast of the two passes: R {was['r10'] / 10:.0f} becomes R {now['r10'] / 10:.0f}."]
    lines = []
    for filter in dict.fromkeys(own.filter for own in before.passes):
        ranges = [own[1] for each in (record, paper) for own in each.filters if own[0] == filter]
        line = (
            f"Contrast through {filter_text(filter)}: R {ranges[0] / 10:.0f} becomes R {ranges[1] / 10:.0f}"
        )
        nearest = nearest_filter(record, paper, filter)
        if nearest != filter:
            line += f"; nearest on {paper.name} is {filter_text(nearest)}"
        lines.append(line + ".")
    return lines


# --- reciprocity


def effect_ms(ms: int, exponent: int) -> int:
    """The time that would do under light strong enough to need no more than LEVEL_MS, for `ms` under weak
    light: beyond LEVEL_MS time counts with this exponent, in 1/1000."""
    if ms <= LEVEL_MS:
        return ms
    return scale(ms, -_rounded(offset_between(LEVEL_MS, ms) * (1000 - exponent), 1000))


def time_ms(effect: int, exponent: int) -> int:
    """The time that has this effect: what `effect_ms` undoes, to 1/120 stop."""
    if effect <= LEVEL_MS:
        return effect
    return scale(effect, _rounded(offset_between(LEVEL_MS, effect) * (1000 - exponent), exponent))


def _reciprocity(made: Carried, before: Sequence[int], exponent: int | None) -> None:
    """Give each base the time that its light wants once it is longer. Marks keep their stops: under the same
    light, what is burned has lost as much as the base."""
    map = made.map
    for index, was_ms in enumerate(before):
        now_ms = map.base_ms(index)
        beyond = abs(_beyond_stops(now_ms) - _beyond_stops(was_ms))
        what = "reciprocity" if len(before) == 1 else f"reciprocity, pass {index + 1}"
        if not beyond:
            continue
        if exponent is None:
            source = "not measured: a strip tells"
            made.steps.append(Step(what, "", "", 0, UNTREATED_ERROR * beyond, source, index))
            continue
        moved, _ = made.total(index)
        wanted_ms = time_ms(scale(effect_ms(was_ms, exponent), moved), exponent)
        offset = offset_between(now_ms, wanted_ms)
        map.set_base_alone(index, wanted_ms)
        source = f"time counts with exponent {exponent / 1000:g} from {LEVEL_MS // 1000} s on"
        made.steps.append(Step(what, "", "", offset, RECIPROCITY_ERROR * beyond, source, index))
    if exponent is not None and any(step.pass_index is not None for step in made.steps):
        made.remarks.append("Longer times may change contrast too: look for it on the strip.")


def _beyond_stops(ms: int) -> float:
    return max(0.0, math.log2(ms / LEVEL_MS))


def _rounded(number: int, by: int) -> int:
    return (2 * number + by) // (2 * by)


# --- the strip to make first


def strip_step(error_stops: float) -> tuple[str, int]:
    """Name and size, in 1/120 stop, of the step of a strip of STRIP_PATCHES that reaches two sigma either
    way: the smallest of the dial's that does."""
    usual = sorted((size, name) for name, size in STEPS if size)
    for size, name in usual:
        if size >= error_stops * STOP - 1e-9:
            return name, size
    return usual[-1][1], usual[-1][0]
