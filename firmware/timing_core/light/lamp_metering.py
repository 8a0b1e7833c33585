"""The lamp by the light cell: its lag from two strikes, and how fast its light drifts.

What must live here: which strikes tell it, and the arithmetic with their doses and readings, in integers. It
may not know how they came about.
"""

from timing_core.platform import const

REPEATS = 3
STRIKE_MS = 500
LONG_STRIKE_MS = 4000
"""The lag is found from so many strikes of each length."""
DRIFT_MS = 120000
"""The drift is found in so much light."""

UNITS = 3840
"""Drift is told in 1/3840 stop a minute: 16 of them are 1/240 stop."""
_PER_DOUBLING = const(5540)
"""UNITS / ln 2: what a change of the light by its own size would be, were it a small one."""


def lag_ms(ms: int, dose: int, longer_ms: int, longer_dose: int) -> int:
    """The lamp's lag from two strikes and what the cell gathered of each: a dose is E (t - L). The longer one
    has the greater dose."""
    more = longer_dose - dose
    return (2 * (ms * longer_dose - longer_ms * dose) + more) // (2 * more)


def drift_per_minute(counts: int, later_counts: int, ms: int) -> int:
    """How fast the light changes, in 1/3840 stop a minute, from two readings `ms` apart. Half their mean
    stands for the light between them: 1 % off where it changes by half a stop, as ln(1 + x) has
    it."""
    twice = counts + later_counts
    return (later_counts - counts) * 2 * _PER_DOUBLING * 60000 // (twice * ms)
