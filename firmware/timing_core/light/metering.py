"""Metering: what readings of the light cell say of a print, all of it in ratios.

What must live here: arithmetic with readings, in integers. It may not know how light is read, nor where a
calibration is kept. Readings are counts in one unit, less the dark's, and above 0.

A time comes from a calibration strip: its patches had known light through the filter to be used, with the
carrier empty, and the reading was noted then. Where the image is as bright as that, a patch's tone wants the
patch's light; where it is half as bright, twice that.
"""

from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, BASES, no_base_text, offset_between, scale
from timing_core.refusal import Refusal

FINE = 32
"""Steps of `log_fine` in 1/120 stop."""
_STOP_FINE = 120 * FINE


def log_fine(counts: int) -> int:
    """The logarithm of a reading, 1 to 2**29, to base 2 in 1/3840 stop, to within 3. Takes no memory, and no
    number on the way leaves 30 bits: this is for the screen under light."""
    whole = 14
    while counts >= 1 << 15:
        counts >>= 1
        whole += 1
    while counts < 1 << 14:
        counts <<= 1
        whole -= 1
    fraction = 0
    for _ in range(12):
        counts = counts * counts >> 14
        fraction <<= 1
        if counts >= 1 << 15:
            counts >>= 1
            fraction += 1
    return whole * _STOP_FINE + (fraction * _STOP_FINE >> 12)


def twelfths_between(counts: int, other: int) -> int:
    """From one reading to the other in 1/12 stop, for the screen under light."""
    twelfth = 10 * FINE
    return (log_fine(other) - log_fine(counts) + twelfth // 2) // twelfth


def base_from(patch_ms: int, open_counts: int, counts: int) -> int:
    """The base in ms that makes the patch's tone where the reading is `counts`. Refusal if it is out of
    range."""
    ms = scale(patch_ms, 0, open_counts, counts)
    if not BASE_MIN_MS <= ms <= BASE_MAX_MS:
        raise Refusal("No base from this", "it would be " + no_base_text(ms), "Bases go from " + BASES)
    return ms


def logs_of(totals: list) -> list:
    """The light of a strip's patches as `place_of` takes it."""
    return [log_fine(ms) for ms in totals]


def place_ms(totals: list, place: int) -> int:
    """The light of a place on a strip, in ms: a place counts half patches (see `strip`)."""
    low, high = totals[place // 2], totals[(place + 1) // 2]
    return scale(low, offset_between(low, high) // 2)


def place_of(logs: list, log: int) -> int:
    """The place on a strip whose light is nearest, in stops, to that with this logarithm; -1 where that is
    less than the first patch has, by more than a quarter of a step, and one past the last for more than the
    last one has. Takes no memory."""
    first, last = logs[0], logs[-1]
    if 4 * (first - log) > logs[1] - first:
        return -1
    if 4 * (log - last) > last - logs[-2]:
        return 2 * len(logs) - 1
    at = 0
    while at < len(logs) - 2 and log > logs[at + 1]:
        at += 1
    step = max(1, logs[at + 1] - logs[at])
    return max(0, min(2 * len(logs) - 2, 2 * at + (4 * (log - logs[at]) + step) // (2 * step)))
