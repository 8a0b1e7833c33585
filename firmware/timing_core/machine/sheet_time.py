"""How long the sheet in the easel has lain under the safelight.

What must live here: counting that, from the beginning of a run to its end, and when it is told. What the
limit is comes from the safelight's test.
"""

from timing_core.platform import const
from timing_core.ticks import later, since

_TOLD_AT_PM = const(800)
TOLD = "The sheet's time is nearly over: the safelight had 4/5 of it. Develop it soon, or cover it."


class SheetTime:
    """`is_in` while there is a sheet, `on` while the safelight is, which went out at `off_ms`. Who puts it
    out sets these: a press that lights the lamp has no room for another call."""

    def __init__(self) -> None:
        self.is_in = self.on = False
        self._used_ms = self._from_ms = self.off_ms = 0
        self._told = False

    def begin(self, now_ms: int) -> None:
        """A sheet that has had none of it is in the easel from now on."""
        self.is_in = True
        self._used_ms = 0
        self._from_ms = self.off_ms = now_ms
        self._told = False

    def end(self) -> None:
        self.is_in = False

    def turn_on(self, now_ms: int) -> None:
        """The safelight goes on."""
        self._used_ms = self.used_ms(now_ms)
        self._from_ms = now_ms
        self.on = True

    def used_ms(self, now_ms: int) -> int:
        return self._used_ms + since(now_ms if self.on else self.off_ms, self._from_ms)

    def _left_ms(self, now_ms: int, limit_s: int) -> int:
        return limit_s * _TOLD_AT_PM - self.used_ms(now_ms)

    def due_ms(self, now_ms: int, limit_s: int, due):
        """When it is to be told, or `due` if that is sooner (None: not at all); a limit of 0 is none."""
        if not limit_s or not self.is_in or not self.on or self._told:
            return due
        own = later(now_ms, max(0, self._left_ms(now_ms, limit_s)))
        return own if due is None or since(due, own) > 0 else due

    def tells(self, now_ms: int, limit_s: int) -> bool:
        """True once for each sheet, when its time is nearly over."""
        if not limit_s or not self.is_in or self._told or self._left_ms(now_ms, limit_s) > 0:
            return False
        self._told = True
        return True
