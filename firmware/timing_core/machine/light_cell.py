"""The light cell: what it read, in the dark and under the lamp, and whether that can be gone by.

What must live here: which range the sensor is asked to read in, the dark reading, the average, and why a
reading is not good. It may not know how a sensor is reached: its conversions come as numbers, one after
another, and the output "cell" says what is wanted of it. It is loaded with the Light cell screen.

A conversion is counts in the range that is asked for, or OVER where the sensor has more than 90 % of what it
can count, or GONE where it does not answer. Readings are the sum of AVERAGED conversions, as the range for
faint light would count them.

Law: while the lamp is lit nothing here allocates, and no number leaves 30 bits.
"""

from timing_core.light.metering import twelfths_between
from timing_core.platform import const

REST = 0
"""Not wanted: the sensor may sleep."""
FAINT = 1
"""A range for up to some lux."""
BRIGHT = 2
"""A range for light that is too much for the other."""
RATIO_HUNDREDTHS = 2307
"""How many times more a conversion counts in FAINT than in BRIGHT, by the data sheet: 9876 to 428."""

OVER = -1
GONE = -2

AVERAGED = 4
_PASSED_OVER = const(2)
"""Conversions that are not counted after the lamp is lit or put out: the first began before that, and in the
second a lamp may still rise or fall."""
_MOVED_SHIFT = const(4)
"""A conversion that is more than 1/16 from the average (1/12 stop), and more than noise is, begins it anew:
the cell was moved."""
_NOISE = const(12)
_BACK = const(400)
"""Below so many counts of BRIGHT, FAINT is asked for again: its counts of all light, infrared included, are
then well under its end."""
LEAST = 400
"""The least reading to go by: of 100 counts a conversion, noise and what is left of the dark are 1/12 stop
(estimated from the data sheet)."""
_DARK_TIMES = const(10)

# What is so now
LOOKING, ABSENT, DARKENS, READY, GLARE, WAITS, MOVES, GOOD, TOO_FAINT, TOO_BRIGHT, NO_DARK, FILTERED = range(
    12
)


class LightCell:
    """`now` is one of the states above. `light` is the reading under the lamp, as far as it is known; `good`
    is the same where it can be gone by, and stays when the lamp goes out. Both are 0 where there is none.
    `dark` is the dark reading, -1 where there is none.
    `spots` has the readings that were taken: the first spot and the second, and 0 for none."""

    def __init__(self, io, spots: list) -> None:
        self._io = io
        self.spots = spots
        self.now = LOOKING
        self.range = FAINT
        self.light = self.good = 0
        self.dark = -1
        self._lit = False
        self._skip = _PASSED_OVER
        self._last = [0] * AVERAGED
        self._count = self._total = self._at = 0
        self._is_over = False

    def take(self, counts: int, lit: bool, filtered: bool) -> None:
        """One conversion has come. `lit`: the viewing light is on; `filtered`: a filter is in, as far as the
        box knows."""
        if lit != self._lit:
            self._lit = lit
            self._anew(_PASSED_OVER)
            self._is_over = False
            if lit:
                self.light = self.good = 0
        if counts == GONE:
            self._anew(_PASSED_OVER)
            self.dark = -1
            self.light = self.good = 0
            self._ask(FAINT)
            self.now = ABSENT
            return
        if self._skip:
            self._skip -= 1
        elif counts == OVER:
            self._anew(0)
            self._is_over = True
            if lit and self.range == FAINT:
                self._ask(BRIGHT)
        else:
            self._is_over = False
            if self.range == FAINT:
                self._count_in(counts)
            elif lit and counts >= _BACK:
                self._count_in(counts * RATIO_HUNDREDTHS // 100)
            else:
                self._ask(FAINT)
        self._judge(filtered)

    def _ask(self, range: int) -> None:
        if range != self.range:
            self.range = range
            self._anew(1)
            self._is_over = False
            self._io.put("cell", range)

    def _anew(self, skip: int) -> None:
        self._skip = skip
        self._count = self._total = self._at = 0

    def _count_in(self, counts: int) -> None:
        count = self._count
        if count:
            off = counts * count - self._total
            if off < 0:
                off = -off
            if off > (self._total >> _MOVED_SHIFT) + _NOISE * count:
                count = self._total = self._at = 0
        if count == AVERAGED:
            self._total -= self._last[self._at]
        else:
            count += 1
        self._last[self._at] = counts
        self._total += counts
        self._at = (self._at + 1) % AVERAGED
        self._count = count

    def _judge(self, filtered: bool) -> None:
        """Find out what is so, and what of the reading can be gone by."""
        is_whole = self._count == AVERAGED
        if not self._lit:
            if is_whole:
                self.dark = self._total
            self.now = GLARE if self._is_over else READY if self.dark >= 0 else DARKENS
            if self._is_over:
                self.dark = -1
            return
        self.light = self.good = 0
        if filtered:
            self.now = FILTERED
        elif self.dark < 0:
            self.now = NO_DARK
        elif self._is_over:
            self.now = TOO_BRIGHT
        elif not self._count:
            self.now = WAITS
        else:
            light = self._total * AVERAGED // self._count - self.dark
            if light > 0:
                self.light = light
            if light + self.dark < self.dark * _DARK_TIMES:
                self.now = GLARE
            elif light < LEAST:
                self.now = TOO_FAINT
            elif is_whole:
                self.now = GOOD
                self.good = light
            else:
                self.now = MOVES

    # --- spots

    def takes(self) -> int:
        """Which spot a press would take now: 1 for the first, 2 for the second, 0 for none."""
        if not (self._lit and self.good):
            return 0
        return 2 if self.spots[0] else 1

    def take_spot(self) -> None:
        self.spots[self.takes() - 1] = self.good

    def twelfths(self) -> int:
        """The light relative to the first spot, in 1/12 stop; 0 where there is none."""
        if not (self.light and self.spots[0]):
            return 0
        return twelfths_between(self.spots[0], self.light)
