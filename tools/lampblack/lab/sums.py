"""What a guided test works out on the box, for those who give the light by other means.

What must live here: the plain data of each answer. The arithmetic is the core's where it has it; here is what
wants real numbers, which a box has not.
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from lampblack.errors import CommandError
from timing_core.light import guided, tray_times
from timing_core.light.bench import Bench, setting
from timing_core.light.plan import COVER
from timing_core.light.stops import offset_between, per_mille_less

SHORTEST_PART = 0.02
"""A light may be this part off what its time and the lag say: 0.029 stop."""
LENGTHS = 3


class Lag(NamedTuple):
    """What doses say of a lamp: its lag, how far a line through them misses, and the shortest strike whose
    light is right to SHORTEST_PART (None: there are too few to tell)."""

    lag_ms: float
    spread_ms: float
    shortest_ms: int | None


def lag_of(doses: Sequence[tuple[int, float]]) -> Lag:
    """The lag from strikes (ms of the lamp, dose in any unit): a dose is E (t - L). The longest
    LENGTHS make a line, and shorter ones join while they are on it. CommandError if there is no line."""
    times = sorted({ms for ms, _ in doses})
    if len(times) < 2:
        raise CommandError(
            "One length of strike says nothing of a lag. Give two or more, like 0.5 s and 4 s."
        )
    if any(dose <= 0 or ms <= 0 for ms, dose in doses):
        raise CommandError("A strike or a dose of 0 says nothing. Subtract the dark, and measure again.")
    used = times[-LENGTHS:]
    lag_ms, light = _line([own for own in doses if own[0] in used])
    for ms in reversed(times[:-LENGTHS]):
        if any(_is_off(own, lag_ms, light) for own in doses if own[0] == ms):
            break
        used.append(ms)
        lag_ms, light = _line([own for own in doses if own[0] in used])
    low_ms, high_ms, _ = setting("lag_ms")[4]
    is_off = any(_is_off(own, lag_ms, light) for own in doses if own[0] in used)
    if is_off or not low_ms <= lag_ms <= high_ms:
        raise CommandError(
            "These strikes agree on no lag: their doses lie on no line, or on one that no lamp has. See "
            "which reading belongs to which strike, or warm the lamp and measure again."
        )
    off_ms = [dose / light - (ms - lag_ms) for ms, dose in doses if ms in used]
    spread_ms = math.sqrt(sum(off * off for off in off_ms) / max(1, len(off_ms) - 2))
    return Lag(round(lag_ms, 3), round(spread_ms, 3), min(used) if len(times) >= LENGTHS else None)


def _is_off(strike: tuple[int, float], lag_ms: float, light: float) -> bool:
    ms, dose = strike
    return abs(dose / light - (ms - lag_ms)) > SHORTEST_PART * (ms - lag_ms)


def _line(doses: Sequence[tuple[int, float]]) -> tuple[float, float]:
    """The lag by a straight line, and the light in doses a ms. It weighs a dose by its inverse,
    since noise grows with light."""
    weights = [1 / dose for _, dose in doses]
    whole = sum(weights)
    mean_ms = sum(weight * ms for weight, (ms, _) in zip(weights, doses, strict=True)) / whole
    mean = len(doses) / whole
    over = sum(weight * (ms - mean_ms) ** 2 for weight, (ms, _) in zip(weights, doses, strict=True))
    both = sum(
        weight * (ms - mean_ms) * (dose - mean) for weight, (ms, dose) in zip(weights, doses, strict=True)
    )
    light = both / over
    if light <= 0:
        raise CommandError("A longer strike has not the greater dose. See which reading belongs to which.")
    return mean_ms - mean / light, light


def lag_ladder() -> list[dict[str, Any]]:
    """The pulse strip for lamp lag: the left half's strikes, then the right half's patches with the lag that
    each stands for. Times are the lamp's, in ms: nothing is allowed for a lag."""
    bench = Bench()
    test = {"test": guided.LAG, "strip": 0, "lag_ms": 0, "filter": ""}
    stages = [stage for stage in guided.compile_test(test, bench) if stage.light_ms]
    rows = []
    for stage in stages:
        at = 2 * int(stage.area) - 2 if stage.kind == COVER else None
        rows.append(
            {
                "area": stage.area,
                "strikes": stage.light_ms // stage.pulse_ms if stage.pulse_ms else 1,
                "lamp_ms": stage.pulse_ms or stage.light_ms,
                "stands_for": "" if at is None else guided.answer_text(test, at).partition(", ")[2],
            }
        )
    return rows


def dry_down_ladder(base_ms: int) -> list[dict[str, int]]:
    """The pieces of a dry-down test: by how many per mille each one's light is cut, in 1/120 stop too, and
    its light in ms."""
    return [
        {
            "piece": piece + 1,
            "cut_pm": cut_pm,
            "stops120": offset_between(1000, 1000 - cut_pm),
            "light_ms": per_mille_less(base_ms, cut_pm),
        }
        for piece, cut_pm in enumerate(range(0, 201, 40))
    ]


def safe_s(first_s: int, last_s: int) -> int:
    """How long a safelight is safe, in s, from the first time with a change and the last without one (0: it
    is not safe). CommandError if they are the wrong way round."""
    if not 0 <= last_s < first_s:
        raise CommandError(
            f"The last time without a change ({last_s} s) is not before the first with one ({first_s} s). "
            "See which is which."
        )
    return guided.safe_s(first_s, last_s)


def tray_times_of(
    ms: int, k: int, ref_half_degrees: int = tray_times.REFERENCE_HALF_DEGREES
) -> list[dict[str, int]]:
    """A tray's time, `ms` at `ref_half_degrees`, at each whole degree for which times are known."""
    return [
        {"half_degrees": half, "ms": tray_times.tray_ms(ms, half, k, ref_half_degrees)}
        for half in range(tray_times.COLDEST_HALF_DEGREES, tray_times.WARMEST_HALF_DEGREES + 1, 2)
    ]
