"""A paper record from strips: range and speed by filter, the light of three tones, the pair's tables.

What must live here: what becomes of several curves in one record, with what each figure may be off by. Curves
are made in `curves`, the pair's tables in `pair`; the record's form and limits are the core's.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from lampblack.cards import paper_file
from lampblack.errors import CommandError
from lampblack.lab.curves import Curve, curve_of, resampled
from lampblack.lab.grades import usual_reference
from lampblack.lab.pair import Pair, stops120, tables_of
from lampblack.lab.strips import Strip
from timing_core.light.paper_record import PaperRecord, grade_of
from timing_core.light.stops import STOP

READER_SIGMA = 0.01
"""How far a reading of a densitometer may be off (usual, no source)."""
LIGHT_LONGEST_S = 70.0
"""Above it paper answers long times with less than their light."""
PAIR_LEAST_R = 10.0
BETWEEN_LEAST = 3
PAIR_MISSES = 0.12
STOP_LOG = math.log10(2) / STOP


class Measured(NamedTuple):
    """One filter; `curve` is None where it was read by eye. Offsets of light tone, middle and black are in
    1/120 stop from the reference's middle tone. `speed` is ISO P where lux were known, else 100 for the
    reference. What may be off is 1 sigma: in R, in per cent of the speed, in 1/120 stop."""

    filter: str
    curve: Curve | None
    iso_range: float
    range_pm: float
    speed: float
    speed_pm_percent: float
    offsets: tuple[int, int, int]
    offsets_pm: tuple[int, int, int]


class Made(NamedTuple):
    """`record` is as PaperRecord.to_dict has it; `pair_worst` is the density by which the pair's model misses
    its soft strip, None without a pair; `warnings` are sentences."""

    record: dict[str, Any]
    reference: str
    filters: list[Measured]
    pair_worst: float | None
    warnings: list[str]


def record_of(
    strips: Sequence[Strip],
    name: str,
    edition: str = "",
    *,
    reference: str | None = None,
    pair: Sequence[str] | None = None,
    lux: float | None = None,
    sigma: float = READER_SIGMA,
    seed: int = 0,
) -> Made:
    """The record of one paper from a strip for each filter. `lux` is the light on the easel without a filter,
    `sigma` how far a density may be off as read; `seed` is for the resampling. `pair` is the soft and the
    hard filter; left out it is the softest and the hardest. CommandError or Refusal says what is missing."""
    names = [strip.filter for strip in strips]
    for own in names:
        if names.count(own) > 1:
            raise CommandError(f"Filter {named(own)} is there twice. Put its readings into one strip.")
    curves = {strip.filter: curve_of(strip) for strip in strips}
    if reference is None:
        reference = usual_reference({own: curve.points.iso_range for own, curve in curves.items()})
    _known(reference, names, "reference")
    rng = np.random.default_rng(seed)
    samples = {strip.filter: resampled(strip, sigma, rng) for strip in strips}
    filters = [_measured(own, curves, samples, reference, lux) for own in names]
    record: dict[str, Any] = {
        "name": name,
        "edition": edition,
        "filters": [[own.filter, round(10 * own.iso_range), *own.offsets] for own in filters],
    }
    if lux is not None:
        record["speed"] = round(1000 / lux / 10 ** curves[reference].points.middle)
    made_pair = _pair_of(curves, pair, names)
    if made_pair is not None:
        soft, hard, fitted = made_pair
        record["pair"] = [soft, hard]
        record.update(tables_of(fitted)._asdict())
    checked = PaperRecord.from_dict(record).to_dict()
    worst = made_pair[2].worst if made_pair else None
    return Made(checked, reference, filters, worst, _warnings(strips, filters, worst))


def _measured(
    filter: str,
    curves: dict[str, Curve],
    samples: dict[str, np.ndarray],
    reference: str,
    lux: float | None,
) -> Measured:
    points, middle = curves[filter].points, curves[reference].points.middle
    own, other = samples[filter], samples[reference][:, 2]
    # Of the reference's own middle tone nothing is off: it is what the others are counted from.
    from_middle = own[:, 1:] - other[:, None]
    speed = 1000 / lux / 10**points.middle if lux else 100 * 10 ** (middle - points.middle)
    speed_pm = own[:, 2] if lux else from_middle[:, 1]
    return Measured(
        filter,
        curves[filter],
        points.iso_range,
        math.hypot(float(np.nanstd(100 * (own[:, 3] - own[:, 0]))), _left_out(curves[filter])),
        speed,
        float(100 * math.log(10) * np.nanstd(speed_pm)),
        _three([stops120(log - middle) for log in points[1:]]),
        _three([math.ceil(float(np.nanstd(column)) / STOP_LOG) for column in from_middle.T]),
    )


def _left_out(curve: Curve) -> float:
    """What R may be off by for what lies between two patches: 1 with steps of 0.15, and with their square
    (half of the most that was found on the simulator's papers, computed)."""
    return float((np.median(np.diff(curve.logs)) / 0.15) ** 2)


def named(filter: str) -> str:
    return filter or "none"


def pm_text(pm: float) -> str:
    """What a figure may be off by, as it is told: in whole ones, and never less than it is."""
    return str(math.ceil(pm))


def _three(values: Sequence[int]) -> tuple[int, int, int]:
    light_tone, middle, black = values
    return light_tone, middle, black


def _known(filter: str, names: Sequence[str], what: str) -> str:
    if filter not in names:
        known = ", ".join(named(own) for own in names)
        raise CommandError(f"The {what} filter {named(filter)} has no strip. The strips are of {known}.")
    return filter


def _pair_of(
    curves: dict[str, Curve], pair: Sequence[str] | None, names: Sequence[str]
) -> tuple[str, str, Pair] | None:
    """The soft filter, the hard one and what they make together; None where no two are of use."""
    if pair is None:
        by_range = sorted((own for own in names if own), key=lambda own: curves[own].points.iso_range)
        if len(by_range) < 2:
            return None
        soft, hard = by_range[-1], by_range[0]
    else:
        soft, hard = (_known(own, names, what) for own, what in zip(pair, ("soft", "hard"), strict=True))
    between = curves[soft].points.iso_range - curves[hard].points.iso_range
    if between < PAIR_LEAST_R:
        if pair is None:
            return None
        raise CommandError(
            f"Filters {soft} and {hard} are no pair for split grade: their R differ by {between:.0f}. Name "
            "the softest first, then the hardest."
        )
    return soft, hard, Pair(curves[soft], curves[hard])


def _warnings(strips: Sequence[Strip], filters: Sequence[Measured], worst: float | None) -> list[str]:
    found = []
    for strip in strips:
        longest = max(light for light, _ in strip.readings)
        if longest > LIGHT_LONGEST_S and not strip.step_sigma:
            found.append(
                f"{strip.called}: {longest:.0f} s is long: paper answers such times with less than their "
                "light."
            )
    for own in filters:
        if own.curve is not None:
            toe, *_, black = own.curve.points
            between = int(np.count_nonzero((own.curve.logs > toe) & (own.curve.logs < black)))
            if between < BETWEEN_LEAST:
                found.append(
                    f"Filter {named(own.filter)}: {between} patches lie between white and black. Smaller "
                    "steps say more."
                )
    found.extend(wrong_order(filters))
    ordered = sorted(filters, key=lambda own: -own.iso_range)
    for own, other in pairwise(ordered):
        if own.iso_range - other.iso_range < math.hypot(own.range_pm, other.range_pm):
            found.append(
                f"The ranges of {named(own.filter)} and {named(other.filter)} overlap: they may be alike."
            )
    if worst is not None and worst > PAIR_MISSES:
        found.append(
            f"The pair's model misses the soft strip by {worst:.2f}: try grades between on a strip first."
        )
    return found


def wrong_order(filters: Sequence[Measured]) -> list[str]:
    """Sentences on filters that are called after grades, where the harder one has the greater range: their
    strips may have been taken for each other."""
    graded = sorted((grade, own) for own in filters if (grade := grade_of(own.filter)) is not None)
    return [
        f"Filter {own.filter} is softer than {before.filter} here. See which strip is which."
        for (_, before), (_, own) in pairwise(graded)
        if own.iso_range > before.iso_range
    ]


def text_of(made: Made) -> str:
    """The record as a file, with what each figure may be off by as comments."""
    lines = [f"# {named(own.filter)}: {told(made, own)}" for own in made.filters]
    return "\n".join([*lines, "", paper_file.dump(made.record)])


def told(made: Made, own: Measured) -> str:
    """A filter's range and speed with what they may be off by: "R 108 ± 4, P 212 ± 5 %"."""
    letter = "P" if "speed" in made.record else "relative speed"
    return (
        f"R {own.iso_range:.0f} ± {pm_text(own.range_pm)}, "
        f"{letter} {own.speed:.0f} ± {pm_text(own.speed_pm_percent)} %"
    )
