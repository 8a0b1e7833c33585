"""The circuit between the box and the lamp, as the box's read-backs tell of it: well, unless it is spoiled.

What must live here: how lamp sense, the cut-off's count and the second contact follow from pins and faults.
It tells a box only what its circuit would. Contacts move at once here. It runs on CPython and MicroPython
alike.
"""

from timing_core.ticks import since

COUNT_MS = 1190
"""The counter's output changes first after half of its 2.38 s."""


class Circuit:
    """`pin` and `arm` are what the box drives. Faults: `is_cut`, the lamp output stays dark, as while BACK is
    down; `is_shorted`, it is on whatever the pin does; `is_welded`, the second contact stays closed;
    `is_apart`, it stays open; `counts` False, the cut-off does not count."""

    def __init__(self) -> None:
        self.pin = self.arm = False
        self.is_cut = self.is_shorted = self.is_welded = self.is_apart = False
        self.counts = True
        self._live_ms = 0

    @property
    def is_live(self) -> bool:
        """The lamp output has its voltage."""
        return (self.pin or self.is_shorted) and not self.is_cut

    @property
    def is_closed(self) -> bool:
        """The second contact is."""
        return (self.arm and not self.is_apart) or self.is_welded

    def tell(self, watch, now_ms: int) -> None:
        """Have the box's inputs take what has changed."""
        if watch.sense != self.is_live:
            if self.is_live:
                self._live_ms = now_ms
            elif self.counts and since(now_ms, self._live_ms) >= COUNT_MS:
                watch.counted()
            watch.sensed(1 if self.is_live else 0, now_ms)
        if watch.feedback != self.is_closed:
            watch.felt(1 if self.is_closed else 0, now_ms)
