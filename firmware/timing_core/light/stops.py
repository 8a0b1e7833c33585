"""Stops and milliseconds: the only place where light is multiplied.

Offsets are integers in 1/120 stop, durations are integer milliseconds. 2**(n/120) comes from an integer
table, so a desktop with 64-bit floats and a board with 32-bit floats agree to the millisecond. No float may
appear in this file. Rounding is to the nearest millisecond, halves up.
"""

from timing_core.light.stop_table import FRACTION_BITS, RATIO_BYTES, RATIOS

STOP = 120
"""One stop, in the unit of every offset (`_stops120`)."""

FURTHEST = 10 * STOP
"""Offsets are defined from -FURTHEST to +FURTHEST."""

BASE_MIN_MS = 100
BASE_MAX_MS = 999900
BASES = "0.1 to 999.9 s"

PLAIN_SIZES = ((10000, 100), (60000, 500), (1 << 29, 1000))
"""Plain seconds: the size of a step (ms) below each time (ms). Tenths, then halves, then whole seconds."""

STEPS = (
    ("1", 120),
    ("1/2", 60),
    ("1/3", 40),
    ("1/4", 30),
    ("1/6", 20),
    ("1/8", 15),
    ("1/12", 10),
    ("seconds", 0),
)
"""The dial's steps: their names for the printer, and their size in 1/120 stop (0: plain seconds)."""


def _ratio(k: int) -> int:
    return int.from_bytes(RATIOS[k * RATIO_BYTES : (k + 1) * RATIO_BYTES], "big")


def _small(n: int) -> int:
    """`n` as a small integer. On MicroPython the result of arithmetic with large integers stays a large
    one, and every further step with it takes memory."""
    return int(str(n))


def scale(ms: int, stops120: int, num: int = 1, den: int = 1) -> int:
    """`ms * 2**(stops120/120) * num / den`, rounded once to the nearest ms (halves up).

    `stops120` lies within +-FURTHEST; `den` is positive.
    """
    if not -FURTHEST <= stops120 <= FURTHEST:
        raise ValueError("offset of %d/120 stop is outside +-10 stops" % stops120)
    whole, k = divmod(stops120, STOP)
    half_bits = FRACTION_BITS - whole - 1
    den <<= half_bits
    return _small((ms * num * _ratio(k) + den) // (den << 1))


def offset_between(from_ms: int, to_ms: int) -> int:
    """The offset in 1/120 stop, within +-FURTHEST, that brings `from_ms` nearest to `to_ms` (both > 0)."""
    if from_ms == to_ms:
        return 0  # often asked, and what follows takes memory
    # to/from lies between 2**((2n-1)/240) and 2**((2n+1)/240). The squares of both ends are in the table.
    low, high = -FURTHEST, FURTHEST
    while low < high:
        middle = (low + high + 1) // 2
        whole, k = divmod(2 * middle - 1, STOP)
        left = to_ms * to_ms << FRACTION_BITS
        right = from_ms * from_ms * _ratio(k)
        if whole >= 0:
            right <<= whole
        else:
            left <<= -whole
        if left >= right:
            low = middle
        else:
            high = middle - 1
    return low


def mark_ms(base_ms: int, stops120: int) -> int:
    """Light a mark adds (burn, positive) or takes away (dodge, negative), in ms at this base."""
    return scale(base_ms, stops120) - base_ms


def per_mille_less(ms: int, per_mille: int) -> int:
    """`ms` cut by `per_mille` (0..1000), to the nearest ms, as dry-down cuts it.

    In two steps, so that no intermediate result is a large integer.
    """
    left = 1000 - per_mille
    return ms // 1000 * left + (ms % 1000 * left + 500) // 1000


def plain_step(ms: int, steps: int) -> int:
    """`ms` moved by `steps` on the scale of plain seconds (PLAIN_SIZES).

    A time that is not on the scale moves to the next place on it. The result is not limited.
    """
    for _ in range(steps):
        size = _plain_size(ms)
        ms = (ms // size + 1) * size
    for _ in range(-steps):
        size = _plain_size(ms - 1)  # going down, a step has the size that is used below
        ms = (-(-ms // size) - 1) * size
    return ms


def _plain_size(ms: int) -> int:
    for below_ms, size_ms in PLAIN_SIZES:
        if ms < below_ms:
            return size_ms
    return PLAIN_SIZES[-1][1]


def stops_text(stops120: int) -> str:
    """An offset as printers write it: "+1/3", "-1 1/2", "+2", "0"."""
    if stops120 == 0:
        return "0"
    whole, rest = divmod(abs(stops120), STOP)
    text = "-" if stops120 < 0 else "+"
    if whole:
        text += str(whole)
    if rest:
        a, b = rest, STOP
        while b:
            a, b = b, a % b
        text += "%s%d/%d" % (" " if whole else "", rest // a, STOP // a)
    return text


def cut_text(per_mille: int) -> str:
    """A cut of light by `per_mille` (0..500) in stops and per cent: "-0.12  8.0 %"."""
    offset = offset_between(1000, 1000 - per_mille)
    hundredths = (-offset * 100 + STOP // 2) // STOP
    return "-%d.%02d  %s" % (hundredths // 100, hundredths % 100, per_cent_text(per_mille))


def per_cent_text(per_mille: int) -> str:
    return "%d.%d %%" % (per_mille // 10, per_mille % 10)


def seconds_text(ms: int) -> str:
    """A time in tenths of a second: "16.0 s". Halves round up."""
    tenths = (ms + 50) // 100
    return "%d.%d s" % (tenths // 10, tenths % 10)


def seconds_down(ms: int) -> str:
    """`seconds_text`, rounded down."""
    return seconds_text(ms // 100 * 100)


def seconds_up(ms: int) -> str:
    """`seconds_text`, rounded up."""
    return seconds_down(ms + 99)


def clock_text(ms: int) -> str:
    """Minutes and seconds of a time, rounded up: "1:09"."""
    seconds = (ms + 999) // 1000
    return "%d:%02d" % (seconds // 60, seconds % 60)


def no_base_text(ms: int) -> str:
    """`seconds_text` of a time that is out of range for a base, rounded so that it reads as out of range
    too."""
    return seconds_down(ms) if ms < BASE_MIN_MS else seconds_up(ms)
