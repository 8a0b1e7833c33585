"""The lamp by the light cell: its lag from two strikes, and how fast its light drifts.

What must live here: arithmetic with doses and readings, in integers. It may not know how they came about.
"""

from timing_core.light.metering import log_fine


def lag_ms(ms: int, dose: int, longer_ms: int, longer_dose: int) -> int:
    """The lamp's lag from two strikes and what the cell gathered of each: a dose is E (t - L). The longer one
    has the greater dose."""
    more = longer_dose - dose
    return (2 * (ms * longer_dose - longer_ms * dose) + more) // (2 * more)


def drift_per_minute(counts: int, later_counts: int, ms: int) -> int:
    """How fast the light changes, in 1/3840 stop a minute, from two readings `ms` apart."""
    return (log_fine(later_counts) - log_fine(counts)) * 60000 // ms
