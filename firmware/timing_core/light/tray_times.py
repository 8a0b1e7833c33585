"""Times and capacities of the trays, in integers.

What must live here: what temperature, first sight and use make of a tray's figures. It may not know which
trays there are, what is in them, or what the time is. Temperatures are in half degrees Celsius: 40 is 20 °C.
"""

from timing_core.light.stops import scale
from timing_core.platform import const
from timing_core.refusal import Refusal

COLDEST_HALF_DEGREES = 32
WARMEST_HALF_DEGREES = 52
REFERENCE_HALF_DEGREES = 40
K_MIN, K_MAX = 8, 18
"""How much a degree changes a time, in 1/120 stop; 12 is a factor of two for 10 degrees. 0: not at all."""

SIGHT_MIN_MS = 3000
"""No image is seen sooner than this after the sheet went in."""
_LATE_NUM = const(3)
_LATE_DEN = const(2)
_WARN_PER_CENT = const(80)
TURNS_MAX = 3


def tray_ms(t_ref_ms: int, half_degrees: int, k: int, ref_half_degrees: int = REFERENCE_HALF_DEGREES) -> int:
    """The time at `half_degrees` of what takes `t_ref_ms` at `ref_half_degrees`, where each degree is `k`/120
    stop. Refusal outside of 16 to 26 degrees."""
    if not COLDEST_HALF_DEGREES <= half_degrees <= WARMEST_HALF_DEGREES:
        raise Refusal(
            "No time for %s" % degrees_text(half_degrees),
            "times are known from 16 to 26 °C alone",
            "Warm or cool the trays",
        )
    return scale(t_ref_ms, k * (ref_half_degrees - half_degrees) // 2)


def factor_ms(sight_ms: int, factor10: int) -> int:
    """The whole time in the developer, from when the image was first seen. Refusal if that is too soon."""
    if sight_ms < SIGHT_MIN_MS:
        raise Refusal("First sight is not taken", "no image is seen within 3 s", "Press when it is seen")
    return sight_ms * factor10 // 10


def is_late(sight_ms: int, fresh_ms: int) -> bool:
    """First sight comes later than 1.5 x that of the fresh tray (0: not known): the developer tires."""
    return fresh_ms > 0 and _LATE_DEN * sight_ms > _LATE_NUM * fresh_ms


# --- capacity


def area_cm2(wide_mm: int, high_mm: int) -> int:
    """The area of a sheet, to the nearest cm2."""
    return (wide_mm * high_mm + 50) // 100


def per_cent(used_cm2: int, limit_cm2: int) -> int:
    """How much of a bath is used, rounded down; 0 where no limit is set."""
    return 100 * used_cm2 // limit_cm2 if limit_cm2 else 0


def warned_at(before_cm2: int, used_cm2: int, limit_cm2: int) -> int:
    """80 or 100 if a sheet brings the use of a bath to so many per cent of its limit, else 0."""
    before, now = per_cent(before_cm2, limit_cm2), per_cent(used_cm2, limit_cm2)
    for limit in (100, _WARN_PER_CENT):
        if before < limit <= now:
            return limit
    return 0


def turned_over(turns: int) -> int:
    """Two baths: the first is thrown and the second takes its place. Returns how often that was done since
    both were fresh; after the third time both are mixed anew, which is 0."""
    return turns + 1 if turns < TURNS_MAX else 0


# --- in words


def degrees_text(half_degrees: int) -> str:
    return "%d.%d °C" % (half_degrees // 2, half_degrees % 2 * 5)
