"""The circuit between the box and the lamp, as the box's read-backs tell of it: well, unless it is spoiled.

What must live here: how lamp sense, the cut-off and the second contact follow from pins and faults. It
tells a box only what its circuit would. Contacts move at once here. It runs on CPython and MicroPython
alike.
"""

from timing_core.ticks import later, since

PERIOD_MS = 2376
"""Of the counter's tick: it rises first after half of it."""
TICKS_TO_CUT_OFF = 512
QUICK = 100
"""So many times faster the counter runs with its test jumper."""


class Circuit:
    """`pin` and `arm` are what the box drives. Faults: `is_cut`, the lamp output stays dark; `is_shorted`, it
    is on whatever the pin does; `is_stuck`, neither BACK nor the cut-off can darken it; `back_is_cut`, BACK's
    contact cannot; `is_welded`, the second contact stays closed, or its feedback is open; `is_apart`, it
    stays open, or its feedback is at ground; `counts` False, the cut-off does not count; `is_quick`, its
    jumper is on; `latches` False, it goes on counting once its time is up; `is_sense_held`, lamp sense is
    held high by hand. `period_ms` is that of the cut-off's tick."""

    def __init__(self) -> None:
        self.pin = self.arm = False
        self.is_cut = self.is_shorted = self.is_stuck = self.back_is_cut = self.is_sense_held = False
        self.is_welded = self.is_apart = self.is_quick = False
        self.counts = self.latches = True
        self.period_ms = PERIOD_MS
        self._back_is_down = self._is_counting = self._is_out = False
        self._from_ms = self._ticks = 0

    @property
    def is_live(self) -> bool:
        """The lamp output has its voltage."""
        is_darkened = not self.is_stuck and (self._is_out or self._back_is_down)
        return self._has_node and not self.is_cut and not is_darkened

    @property
    def _has_node(self) -> bool:
        """There is voltage for the counter to count under."""
        return self.pin or self.is_shorted

    @property
    def is_closed(self) -> bool:
        """The second contact is."""
        return (self.arm and not self.is_apart) or self.is_welded

    @property
    def _period_ms(self) -> int:
        return self.period_ms // QUICK if self.is_quick else self.period_ms

    @property
    def cut_off_ms(self) -> int:
        """How long after a strike the cut-off darkens the lamp; -1 for never."""
        return self._period_ms * TICKS_TO_CUT_OFF if self.counts else -1

    def drop(self, watch, now_ms: int, by_back: bool) -> None:
        """The pin falls. BACK's own contact is a little before the program."""
        if by_back and not self.back_is_cut:
            self._back_is_down = True
            self.tell(watch, now_ms)
        self.pin = False
        self.tell(watch, now_ms)
        if self._back_is_down:
            self._back_is_down = False
            self.tell(watch, now_ms)

    def tell(self, watch, now_ms: int) -> None:
        """Have the box's inputs take what has changed."""
        if self._has_node and not self._is_counting:
            self._is_counting = True
            self._from_ms, self._ticks = now_ms, 0
        if self._is_counting and self.counts:
            self._count(watch, now_ms)
        if not self._has_node:
            self._is_counting = self._is_out = False
        sense = 1 if self.is_live or self.is_sense_held else 0
        if watch.sense != sense:
            watch.edges[0] += 1
            watch.sensed(sense, now_ms, self.pin)
        if watch.feedback != self.is_closed:
            watch.edges[1] += 1
            watch.felt(1 if self.is_closed else 0, now_ms)

    def _count(self, watch, now_ms: int) -> None:
        """Tell of every rise of the tick up to now. The counter stops once it has cut the lamp off."""
        counted_ms, period_ms = since(now_ms, self._from_ms), self._period_ms
        turns = counted_ms // self.cut_off_ms
        self._is_out = turns > 0 if self.latches else turns % 2 == 1
        at_ms = period_ms * self._ticks + period_ms // 2
        while at_ms <= counted_ms and (self._ticks < TICKS_TO_CUT_OFF or not self.latches):
            self._ticks += 1
            watch.edges[2] += 1
            watch.counted(later(self._from_ms, at_ms))
            at_ms += period_ms
