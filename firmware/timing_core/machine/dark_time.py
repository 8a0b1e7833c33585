"""Dark time in mid-run that the box counts: between two strikes of one stage, and while paper waits.

What must live here: how much of it is left. It gives no light and knows no run.
"""

from timing_core.platform import const
from timing_core.ticks import later, since

BETWEEN_MS = 3000
"""From the end of a strike to the next of the same stage: a filament is nearly cold again (by calculation, a
restart after 2 s costs 6 ms less light than a cold one, after 4 s 3 ms)."""

_SECOND_MS = const(1000)


class DarkTime:
    def __init__(self) -> None:
        self._whole_ms = self._begun_ms = 0

    def begin(self, now_ms: int, whole_ms: int) -> None:
        self._whole_ms = whole_ms
        self._begun_ms = now_ms

    def left_ms(self, now_ms: int) -> int:
        return max(0, self._whole_ms - since(now_ms, self._begun_ms))

    def due_ms(self, now_ms: int) -> int:
        """When the next of its seconds is over, counted from its end."""
        left_ms = self.left_ms(now_ms)
        return later(now_ms, (left_ms - 1) % _SECOND_MS + 1 if left_ms else 0)
