"""The box's sense of time: seconds since power-up, and the date if a PC has told it.

What must live here: counting seconds over a tick count that wraps, and writing a date. `count` must be
called at least once a day. It may not know what the time is wanted for.
"""

from timing_core.ticks import later, since

DAY_S = 86400


class Clock:
    """`up_s` is the time since `start` in seconds, 0 before it; `text` is the date and time (UTC), or None if
    nobody has told it."""

    def __init__(self) -> None:
        self.up_s = 0
        self._counted_ms: int | None = None
        self._day = -1
        self._second = 0

    def start(self, now_ms: int) -> None:
        self._counted_ms = now_ms

    def count(self, now_ms: int) -> None:
        """Add the seconds that have passed since the last call. Does nothing before `start`, whatever tick
        count the box begins with."""
        if self._counted_ms is None:
            return
        passed_s = since(now_ms, self._counted_ms) // 1000
        if passed_s > 0:
            self.up_s += passed_s
            self._counted_ms = later(self._counted_ms, passed_s * 1000)
            self._second += passed_s

    def tell(self, day: int, second: int) -> None:
        """Set the time: `second` (0..86,399) of `day`, counted in UTC from 1970-01-01."""
        self._day, self._second = day, second

    def text(self):
        """The time now, in ISO 8601 ("2026-11-26T18:30:05Z"); None if nobody has told it."""
        if self._day < 0:
            return None
        days, second = divmod(self._second, DAY_S)
        year, month, day = _date(self._day + days)
        minute, second = divmod(second, 60)
        hour, minute = divmod(minute, 60)
        return "%04d-%02d-%02dT%02d:%02d:%02dZ" % (year, month, day, hour, minute, second)


def _date(days: int) -> tuple:
    """Year, month and day of the Gregorian calendar, `days` after 1970-01-01."""
    # Years are counted from March, so that a leap day comes last. From 0000-03-01 it is 719468 days.
    days += 719468
    era, days = divmod(days, 146097)
    year = (days - days // 1460 + days // 36524 - days // 146096) // 365
    days -= 365 * year + year // 4 - year // 100
    month = (5 * days + 2) // 153
    day = days - (153 * month + 2) // 5 + 1
    month = month + 3 if month < 10 else month - 9
    return year + 400 * era + (1 if month <= 2 else 0), month, day
