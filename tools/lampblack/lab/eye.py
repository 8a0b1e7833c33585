"""A paper record by eye, without a reader: from the first patch with a tone and the last before black.

What must live here: what three patches of a strip say, and how far it may be off. Checked on seven real
curves with an eye that sees 0.02 in density beside white and 0.04 beside black (computed): R is right to 8
with steps of half a stop, half a grade either way. It gives no curve, and so no tables for two filters on one
sheet."""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from lampblack.errors import CommandError
from lampblack.lab.curves import Points
from lampblack.lab.grades import usual_reference
from lampblack.lab.pair import stops120
from lampblack.lab.paper import STOP_LOG, Made, Measured, named, wrong_order
from lampblack.lab.readings import filter_of
from timing_core.light.paper_record import PaperRecord
from timing_core.light.stops import STOP

GREY = 0.65
"""The density as read of a printed grey that stands for a middle tone: 0.60 above a usual base."""
_LIGHT_TONE_LOG, _LIGHT_TONE_SIGMA = 0.145, 0.022
"""From where the eye sees a first tone to density 0.10."""
_BLACK_LOG, _BLACK_SIGMA = 0.184, 0.050
"""From 90 % of black to where the eye sees no more."""
_RANGE_LOG = 0.24
_RANGE_SIGMA = 0.06
"""By how much the patches between span more than R, and what that may be off by."""


class Seen(NamedTuple):
    """What an eye saw on a strip whose patches, from 1 on, rise by `step_stops120`, the first with `first_s`
    of light. `grey` is the patch that matches GREY, halves between two; None where there was no such grey."""

    filter: str
    first_s: float
    step_stops120: int
    tone: int
    last: int
    grey: float | None


def seen_of_text(text: str, first_s: float, step_stops120: int) -> Seen:
    """What is typed as "FILTER: TONE LAST GREY", by the numbers of the patches; without GREY only R
    follows."""
    filter, colon, written = text.rpartition(":")
    numbers = written.split()
    if not colon or len(numbers) not in (2, 3) or not all(_is_place(one) for one in numbers):
        raise CommandError(
            f'"{text[:40]}" says no patches. Write FILTER: the first with a tone, the last before black, and '
            'the one that matches a grey, like "2: 3 9 5.5".'
        )
    tone, last = numbers[:2]
    if "." in tone + last or not 1 <= int(tone) < int(last):
        raise CommandError(
            f'"{text[:40]}": the first patch with a tone must come before the last before black. Count '
            "from the lightest, which is 1."
        )
    if int(tone) == 1:
        raise CommandError(
            f'"{text[:40]}": the white is not reached: the first patch has a tone. Expose another strip, '
            "with less light at first."
        )
    grey = float(numbers[2]) if len(numbers) == 3 else None
    if grey is not None and not int(tone) < grey < int(last) + 1:
        raise CommandError(f'"{text[:40]}": the grey must lie between the two others. Look again.')
    return Seen(filter_of(filter.strip(), "--eye"), first_s, step_stops120, int(tone), int(last), grey)


def _is_place(text: str) -> bool:
    whole, point, half = text.partition(".")
    return whole.isascii() and whole.isdigit() and len(whole) < 3 and (not point or half in ("0", "5"))


def range_of(seen: Seen) -> tuple[float, float]:
    """R, and what it may be off by."""
    step = _step(seen)
    iso_range = 100 * (step * (seen.last - seen.tone + 1) - _RANGE_LOG)
    if iso_range <= 0:
        raise CommandError(
            f"Filter {named(seen.filter)}: {seen.last - seen.tone + 1} patches say no range. Make steps "
            "smaller."
        )
    return iso_range, 100 * math.hypot(_RANGE_SIGMA, step / math.sqrt(6))


def record_by_eye(
    strips: Sequence[Seen],
    name: str,
    edition: str = "",
    reference: str | None = None,
    lux: float | None = None,
) -> Made:
    """The record of one paper, as `paper.record_of` makes it. Every strip needs its grey."""
    points = {own.filter: _points(own) for own in strips}
    if len(points) < len(strips):
        raise CommandError("A filter is there twice. Give each of them once.")
    if reference is None:
        reference = usual_reference({filter: own.iso_range for filter, own in points.items()})
    if reference not in points:
        raise CommandError(
            f"The reference filter {named(reference)} has no strip. Give --reference one that has."
        )
    middle = points[reference].middle
    filters = [_measured(own, points[own.filter], middle, own.filter == reference, lux) for own in strips]
    record: dict[str, Any] = {
        "name": name,
        "edition": edition,
        "filters": [[own.filter, round(10 * own.iso_range), *own.offsets] for own in filters],
    }
    if lux is not None:
        record["speed"] = round(1000 / lux / 10**middle)
    return Made(PaperRecord.from_dict(record).to_dict(), reference, filters, None, wrong_order(filters))


def _points(seen: Seen) -> Points:
    if seen.grey is None:
        raise CommandError(
            f"Filter {named(seen.filter)}: without a patch that matches a grey of {GREY:.2f} there is no "
            "record, only R. Give it as the third number."
        )
    step = _step(seen)
    first = math.log10(seen.first_s)
    light_tone = first + step * (seen.tone - 1.5) + _LIGHT_TONE_LOG
    black = first + step * (seen.last - 0.5) - _BLACK_LOG
    return Points(black - range_of(seen)[0] / 100, light_tone, first + step * (seen.grey - 1), black)


def _measured(seen: Seen, points: Points, middle: float, is_reference: bool, lux: float | None) -> Measured:
    iso_range, range_pm = range_of(seen)
    each = _step(seen) / math.sqrt(12)
    own_middle = 0.0 if is_reference else math.sqrt(2) * each
    sigmas = math.hypot(each, _LIGHT_TONE_SIGMA, each), own_middle, math.hypot(each, _BLACK_SIGMA, each)
    speed = 1000 / lux / 10**points.middle if lux else 100 * 10 ** (middle - points.middle)
    light_tone, at_middle, black = (stops120(log - middle) for log in points[1:])
    light_pm, middle_pm, black_pm = (math.ceil(sigma / STOP_LOG) for sigma in sigmas)
    return Measured(
        seen.filter,
        None,
        iso_range,
        range_pm,
        speed,
        100 * math.log(10) * (each if lux else own_middle),
        (light_tone, at_middle, black),
        (light_pm, middle_pm, black_pm),
    )


def _step(seen: Seen) -> float:
    return seen.step_stops120 / STOP * math.log10(2)
