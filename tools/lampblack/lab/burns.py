"""What a burn through another filter does to light, middle and dark tones, by a paper record.

What must live here: the sum of lights through several filters on one place of a sheet. A record has no curve
but four points of one for each share of its pair, and a filter is as good as the share that has its range. On
the simulator's papers an effect of a stop or less is right to 0.1 stop in a light tone, 0.3 in a middle and
0.2 in a dark one; usually to 0.02, 0.05 and 0.05 (computed).

Tones are the core's ANCHORS. Effects are in stops of the light that was there: as much as a burn through the
same filters as the base would have to be.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from lampblack.lab.grades import offset_at, split_of
from timing_core.light.paper_record import ANCHORS, SHARE, PaperRecord, interp17, share_at
from timing_core.light.plan import BURN, Stage
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import STOP

Light = tuple[str, int]
"""A filter, and ms through it."""


class Effect(NamedTuple):
    """What a burn does to each of ANCHORS, in stops. `stops120` is as the card has it."""

    area: str
    filter: str
    stops120: int
    tones: tuple[float, float, float]


def effect_of(record: PaperRecord, base: Sequence[Light], burn: Light) -> tuple[float, float, float] | None:
    """What `burn` does to the tones that `base` made, in stops; None where the record has no pair, lacks
    one of the filters, or has tones in no order."""
    if not record.pair or any(record.offset(filter, ANCHORS[1]) is None for filter, _ in (*base, burn)):
        return None
    before, share = _mixed(record, base)
    after, new_share = _mixed(record, [*base, burn])
    more = STOP * math.log2(after / before)
    was, now = _points(record, share), _points(record, new_share)
    if not all(low < high for points in (was, now) for low, high in pairwise(points)):
        return None
    light_tone, middle, black = ((_carried(was[at] + more, now, was) - was[at]) / STOP for at in (1, 2, 3))
    return light_tone, middle, black


def _mixed(record: PaperRecord, lights: Sequence[Light]) -> tuple[float, int]:
    """The sum of light at a middle tone, and the hard filter's share of it."""
    effects = [
        (2 ** (-record.offset(filter, ANCHORS[1]) / STOP) * ms, _share_of(record, filter))
        for filter, ms in lights
    ]
    whole = sum(effect for effect, _ in effects)
    return whole, round(sum(effect * share for effect, share in effects) / whole)


def _share_of(record: PaperRecord, filter: str) -> int:
    """The share of the pair whose range a filter has."""
    if filter in record.pair:
        return SHARE * record.pair.index(filter)
    (r10,) = (own[1] for own in record.filters if own[0] == filter)
    return share_at(record.r10, r10)


def _points(record: PaperRecord, share: int) -> tuple[float, float, float, float]:
    """The light for the first tone (density 0.04) and for each of ANCHORS, in 1/120 stop from that which by
    the sum rule makes a middle tone."""
    light_tone, middle, black = (float(offset_at(record, share, anchor)) for anchor in ANCHORS)
    return black - STOP * interp17(record.r10, share) / 1000 / math.log10(2), light_tone, middle, black


def _carried(light: float, points: Sequence[float], to: Sequence[float]) -> float:
    """The light that makes on one curve the tone that `light` makes on the other: on a monotone cubic between
    their points (Fritsch and Carlson), and as far from the last beyond. Straight lines miss twice as much."""
    if light <= points[0]:
        return to[0] + light - points[0]
    if light >= points[-1]:
        return to[-1] + light - points[-1]
    wide = [high - low for low, high in pairwise(points)]
    rise = [(high - low) / own for (low, high), own in zip(pairwise(to), wide, strict=True)]
    slopes = [rise[0], *(2 / (1 / low + 1 / high) for low, high in pairwise(rise)), rise[-1]]
    at = max(count for count, own in enumerate(points[:-1]) if own <= light)
    x = (light - points[at]) / wide[at]
    bend = slopes[at] + slopes[at + 1] - 2 * rise[at]
    steep = 3 * rise[at] - 2 * slopes[at] - slopes[at + 1]
    return to[at] + wide[at] * x * (slopes[at] + x * (steep + x * bend))


def effects_of(record: PaperRecord, map: PrintingMap, stages: Sequence[Stage]) -> list[Effect]:
    """What each burn of a compiled run does that goes through another filter than the base of its pass. The
    base is all passes together, without their dodges."""
    base = [(own.filter, map.base_ms(at)) for at, own in enumerate(map.passes)]
    found = []
    for stage in stages:
        if stage.kind == BURN and stage.filter != map.passes[stage.pass_index].filter:
            # Of the light that is shown, as bases are: dry-down cuts both alike.
            tones = effect_of(record, base, (stage.filter, stage.shown_ms))
            if tones is not None:
                found.append(Effect(stage.area, stage.filter, stage.stops120, tones))
    return found


def grade_of_passes(record: PaperRecord, map: PrintingMap) -> dict[str, Any] | None:
    """The grade that a map's two passes make, in quarters, and its R in tenths; None if they are not the
    pair, or the record has no grades."""
    soft_first = record.soft_first([own.filter for own in map.passes])
    if soft_first is None or record.grades() is None:
        return None
    first_ms, second_ms = map.base_ms(0), map.base_ms(1)
    split = split_of(record, *((first_ms, second_ms) if soft_first else (second_ms, first_ms)))
    return {"quarters": split.quarters, "r10": split.r10}
