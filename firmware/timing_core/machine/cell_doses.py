"""What the light cell gathers of each strike of its two tests: the lamp's lag, and how its light drifts.

What must live here: which conversions belong to which strike, what the dark has in them, and whether all of a
strike was seen. It may not know how a sensor is reached, nor what the strikes are for: conversions come as
numbers, each with the light that was on at its end. It is loaded with the Tests screen.

A dose is the sum of all conversions from the one in which its strike began to the last in which it may still
fade, less what so many have in the dark.

Law: while the lamp is lit nothing here allocates, and no number leaves 30 bits.
"""

from timing_core.light.lamp_metering import (
    DRIFT_MS,
    LONG_STRIKE_MS,
    REPEATS,
    STRIKE_MS,
    drift_per_minute,
    lag_ms,
)
from timing_core.platform import const
from timing_core.refusal import Refusal

DOSES = 3
"""The range of the sensor for faint light, with short conversions, of which none is passed over."""
CONVERSION_MS = 202
"""One of them, by the data sheet 200 ms nominal: at the end of a stage the board's loop may be busy for more
than half of that."""
MISSED = -3
"""Given before a conversion if one may have been lost before it."""
_OVER = const(-1)
_GONE = const(-2)

# The light that is on
DARK, VIEWED, STRUCK = range(3)

# What is so now
NO_CELL, OTHER_LIGHT, WAITS_DARK, READS_DARK, TOO_MUCH, TOO_LITTLE, READS_WELL = range(7)

NO_SLOT = -1
"""For a strike that there should not have been: the rest of one that was held."""
_STRIKES_MOST = 2 * REPEATS + 1
"""The long ones of the lag, the short ones, and one at the end that is not gone by."""
_TAIL = const(3)
"""So many conversions after a strike belong to it: a lamp has faded by then."""
_DARK_LEAST = const(5)
_DARK_MOST = const(200)
"""The dark is taken from about so many conversions, since it changes with the sensor's warmth."""
_LEAST = const(800)
"""The least conversion of a steady light: noise and what is left of the dark are then 1 ms of lag (estimated
from the data sheet)."""
_SPREAD_MOST_MS = const(20)

BIN_MS = 10000
_BINS = const(12)
_IN_BIN = const(49)
STEADY = 16
"""The drift below which a lamp is steady: 1/240 stop a minute, in 1/3840 stop."""
NEVER_S = 0


_NO_ANSWER = "the light cell did not answer"


class CellDoses:
    """`now` is one of the states above. What was gathered belongs to the run with the number `begun`. `found`
    is the lag once it is known, and how far its repeats lie apart, in ms."""

    def __init__(self) -> None:
        self.now = WAITS_DARK
        self.begun = 0
        self._doses = [0] * _STRIKES_MOST
        self._counts = [0] * _STRIKES_MOST
        self._bins = [0] * _BINS
        self._dark = self._dark_count = 0
        self._slot = self._tail = self._skip = 0
        self._is_blind = False
        self.clear(0)

    def clear(self, begun: int, is_late: bool = False) -> None:
        """Another run begins, or is gone on with (`is_late`) of which nothing is known. What is known of the
        dark stays."""
        self.begun = begun
        for slot in range(_STRIKES_MOST):
            self._doses[slot] = self._counts[slot] = 0
        for at in range(_BINS):
            self._bins[at] = 0
        self.found: list = [None, None]
        self._slot = -2
        self._tail = 0
        self.fault = "the test was cut off" if is_late else ""

    def take(self, counts: int, light: int, slot: int) -> None:
        """One conversion has come. `light`: which is on; `slot`: the number of the strike under way or given
        last, from 0."""
        if counts == _GONE or counts == MISSED:  # noqa: SIM109  a tuple would take memory
            if (self._tail or light == STRUCK) and self._slot != _STRIKES_MOST - 1:
                self._spoil("a reading was missed" if counts == MISSED else _NO_ANSWER)
            if counts == _GONE:
                self._is_blind = True
                self._dark = self._dark_count = 0
                self.now = NO_CELL
        elif light == STRUCK:
            if slot != self._slot:
                self._slot = slot
                if slot == NO_SLOT:
                    self._spoil("a strike was not given in one")
                elif self._tail:
                    self._spoil("a strike came too soon after another. Wait for 1 s between them")
                elif self._is_blind:
                    self._spoil(_NO_ANSWER)
            self._tail = _TAIL
            self._gather(counts)
        elif self._tail:
            self._tail -= 1
            if light:
                self._spoil("LAMP was pressed in it")
            self._gather(counts)
        elif light:
            self._skip = _TAIL
            self._judge(counts)
        elif self._skip:
            self._skip -= 1
        else:
            self._take_dark(counts)

    def _spoil(self, fault: str) -> None:
        """What was gathered cannot be gone by: what went wrong first is told."""
        self.fault = self.fault or fault

    def _gather(self, counts: int) -> None:
        if counts < 0:
            self._spoil("there was too much light. Close the lens")
            self.now = TOO_MUCH
            return
        slot = self._slot
        if slot != NO_SLOT:
            at = self._counts[slot]
            self._doses[slot] += counts
            self._counts[slot] = at + 1
            # The first is not whole.
            if not slot and 0 < at <= _BINS * _IN_BIN:
                self._bins[(at - 1) // _IN_BIN] += counts

    def _judge(self, counts: int) -> None:
        """The viewing light tells beforehand whether the cell can read this lamp."""
        if counts < 0:
            self.now = TOO_MUCH
        elif self._dark_count >= _DARK_LEAST:
            is_enough = counts - self._dark // self._dark_count >= _LEAST
            self.now = READS_WELL if is_enough else TOO_LITTLE

    def _take_dark(self, counts: int) -> None:
        self._is_blind = False
        if counts < 0:
            self.now = OTHER_LIGHT
            return
        if self._dark_count >= _DARK_MOST:
            self._dark //= 2
            self._dark_count //= 2
        self._dark += counts
        self._dark_count += 1
        if self.now <= WAITS_DARK:
            self.now = READS_DARK if self._dark_count >= _DARK_LEAST else WAITS_DARK

    # --- what follows from it: in the dark

    def _dose(self, slot: int) -> int:
        return self._doses[slot] - self._counts[slot] * self._dark // self._dark_count

    def _check(self, what: str, strikes: int, least_ms: int) -> None:
        """A Refusal if what was gathered cannot be gone by: of so many strikes, the last of `least_ms`."""
        fault = self.fault
        if not fault and not (self._dark_count and self._counts[strikes - 1]):
            fault = "the test was cut off"
        if not fault and self._dose(strikes - 1) < _LEAST * (least_ms // CONVERSION_MS):
            fault = "there was too little light. Open the lens"
        if fault:
            why, _, todo = fault.partition(". ")
            raise Refusal(what, why, (todo + ", and g" if todo else "G") + "ive the test again")

    def lag(self) -> list:
        """The lamp's lag, and how far its repeats lie apart, in ms. Refusal if it is not known."""
        self._check("No lag", 2 * REPEATS, STRIKE_MS)
        found = []
        for at in range(REPEATS):
            longer, dose = self._dose(at), self._dose(REPEATS + at)
            if longer <= dose:
                raise Refusal(
                    "No lag", "the strikes differ too little", "Keep the cell still, and give the test again"
                )
            found.append(lag_ms(STRIKE_MS, dose, LONG_STRIKE_MS, longer))
        found.sort()
        spread_ms = found[-1] - found[0]
        if spread_ms > _SPREAD_MOST_MS:
            raise Refusal(
                "No lag",
                "three readings differ by %d ms" % spread_ms,
                "Warm the lamp, keep the cell still, and give the test again",
            )
        self.found = [max(0, found[REPEATS // 2]), spread_ms]
        return self.found

    def drift(self) -> list:
        """From which second on the lamp is steady (NEVER_S: it was not), and how its light changed at last,
        in 1/3840 stop a minute. Refusal if it is not known."""
        self._check("No drift", 1, DRIFT_MS)
        dark = _IN_BIN * self._dark // self._dark_count
        light = [each - dark for each in self._bins]
        # The last bin may not be whole.
        rates = [drift_per_minute(light[at], light[at + 2], 2 * BIN_MS) for at in range(_BINS - 3)]
        steady_s, seconds = NEVER_S, BIN_MS // 1000
        for at in range(len(rates)):
            if abs(rates[at]) > STEADY:
                steady_s = NEVER_S
            elif not steady_s:
                steady_s = (at + 1) * seconds
        return [steady_s, rates[-1]]
