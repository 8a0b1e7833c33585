"""Grades of split-grade times, and times for a grade, from a paper record.

What must live here: which functions of the core answer which question of a printer without a box. All of it
is in integers, as on the box: ms, 1/120 stop, R in tenths.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from lampblack.errors import CommandError
from timing_core.light.paper_record import (
    ANCHORS,
    PaperRecord,
    grade_of,
    grade_quarters,
    interp17,
    range_of_grade,
    share4096,
    share_at,
    times_for,
)
from timing_core.light.stops import scale

UNIT = 1 << 16
USUAL_REFERENCE = "2"
HALF = 2
"""Quarters in half a grade."""


class Split(NamedTuple):
    """Two passes on one sheet. `share` is the hard filter's part of the effect in 1/4096, `quarters` the
    grade in quarters or None where the record has no grades."""

    soft_ms: int
    hard_ms: int
    share: int
    r10: int
    quarters: int | None


def split_of(record: PaperRecord, soft_ms: int, hard_ms: int) -> Split:
    """What two times through the record's pair make. CommandError if it has no pair, or both are 0."""
    soft, hard = _speeds(record)
    if soft_ms < 0 or hard_ms < 0 or not soft_ms + hard_ms:
        raise CommandError("No light makes no grade. Give the times of both passes.")
    share = share4096(soft_ms, soft, hard_ms, hard)
    r10 = interp17(record.r10, share)
    return Split(soft_ms, hard_ms, share, r10, grade_quarters(r10, record.filters))


def split_for(record: PaperRecord, r10: int, filter: str, light_ms: int, anchor: str) -> Split:
    """The two times that make the range `r10` and leave the tone `anchor`, one of ANCHORS, as `light_ms`
    through one filter do. CommandError if the record has no pair or no such filter."""
    soft, hard = _speeds(record)
    offset = record.offset(filter, anchor)
    if offset is None:
        known = ", ".join(own[0] or "none" for own in record.filters)
        raise CommandError(f"The record has no filter {filter or 'none'}. Give one of {known}.")
    if not record.r10[-1] <= r10 <= record.r10[0]:
        raise CommandError(
            f"The pair makes R {record.r10[0] / 10:g} to {record.r10[-1] / 10:g}, and no {r10 / 10:g}. "
            "Ask for one between."
        )
    share = share_at(record.r10, r10)
    middle_ms = scale(light_ms, -offset)
    moved = offset_at(record, share, anchor)
    soft_ms, hard_ms = times_for(share, middle_ms * UNIT, soft, hard, moved)
    return Split(soft_ms, hard_ms, share, r10, grade_quarters(r10, record.filters))


def offset_at(record: PaperRecord, share: int, anchor: str) -> int:
    """The light for a tone at a share, in 1/120 stop from that which by the sum rule makes a middle tone."""
    if anchor == ANCHORS[1]:
        return 0
    return interp17(record.qa if anchor == ANCHORS[0] else record.qs, share)


def r10_of_grade(record: PaperRecord, quarters: int) -> int:
    """The range of a grade in quarters. CommandError if the record's filters have no such grade."""
    ends = record.grades()
    if ends is None:
        raise CommandError(
            "The record has fewer than two filters that are called after a grade. Ask for an R."
        )
    if not ends[0] <= quarters <= ends[1]:
        low, high = (record.grade_text(end) for end in ends)
        raise CommandError(f"The record's grades go from {low} to {high}. Ask for one between.")
    return range_of_grade(quarters, record.filters)


def usual_reference(ranges: Mapping[str, float]) -> str:
    """The filter from which a record's stops are counted, of filters with their R: 2, or the middle one."""
    if USUAL_REFERENCE in ranges:
        return USUAL_REFERENCE
    by_range = sorted(ranges, key=lambda own: ranges[own])
    return by_range[len(by_range) // 2]


def reference_of(record: PaperRecord) -> str:
    """The filter from which a record's stops are counted: through it a middle tone is at 0."""
    at_0 = {own[0]: own[1] for own in record.filters if record.offset(own[0], ANCHORS[1]) == 0}
    return usual_reference(at_0 or {own[0]: own[1] for own in record.filters})


def half_grades(record: PaperRecord, filter: str, light_ms: int) -> list[dict[str, Any]]:
    """An exposure table: for each half grade its range, and the two times that leave a middle tone, and a
    light tone, as `light_ms` through one filter do."""
    ends = record.grades()
    if ends is None or not record.pair:
        return []
    rows = []
    for quarters in range(ends[0], ends[1] + 1, HALF):
        if quarters == grade_of("00") + HALF:
            continue  # between 00 and 0 nobody counts in halves
        r10 = range_of_grade(quarters, record.filters)
        r10 = min(max(r10, record.r10[-1]), record.r10[0])
        row: dict[str, Any] = {"quarters": quarters, "grade": record.grade_text(quarters), "r10": r10}
        for anchor in ANCHORS[:2]:
            split = split_for(record, r10, filter, light_ms, anchor)
            row[anchor] = [split.soft_ms, split.hard_ms]
        rows.append(row)
    return rows


def _speeds(record: PaperRecord) -> tuple[int, int]:
    """The speeds of the pair's filters at a middle tone, in a unit of their own."""
    if not record.pair:
        raise CommandError(
            f"The record {record.name} has no pair for split grade. Measure a soft and a hard strip."
        )
    soft, hard = (scale(UNIT, -record.offset(own, ANCHORS[1])) for own in record.pair)
    return soft, hard
