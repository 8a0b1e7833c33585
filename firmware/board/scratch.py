"""What survives a reset: registers of the watchdog, which keep their values until power is lost or RUN is
pulled low.

During a run they have how much of the stage was given, since flash may not be written under light. After a
reset the box gets that figure, and can say what is known of the sheet in the easel. RP2040 data sheet,
4.7.6: SCRATCH0 to 3 are free; the boot ROM uses 4 to 7. On the RP2350 it is the same (from memory).
"""

from machine import mem32
from micropython import const

from board.chip import SCRATCH0_AT, SCRATCH1_AT, SCRATCH2_AT, SCRATCH3_AT

_MARK_AT = SCRATCH0_AT
_GIVEN_AT = SCRATCH1_AT
_STARTS_AT = SCRATCH2_AT
_RESTARTS_AT = SCRATCH3_AT
_MARK = const(0x1A3B1AC4)
_LATE_MS = const(5)
"""The lamp is lit up to this long after the box has asked for it, and no more light may be noted than there
was."""


class Survivor:
    """Four registers: a mark, ms of light given in the stage under way, starts that did not go well, and
    all starts."""

    def __init__(self) -> None:
        self._was_reset = mem32[_MARK_AT] == _MARK
        if not self._was_reset:
            mem32[_GIVEN_AT] = 0
            self.left()
            mem32[_MARK_AT] = _MARK

    def known_ms(self) -> int:
        """What to power the box up with: `given_ms`, or -1 if that is 0 and the board was reset, which is no
        loss of power."""
        return self.given_ms() or (-1 if self._was_reset else 0)

    def given_ms(self) -> int:
        """Light in ms that the stage under way is known to have been given before the reset; 0 for
        unknown."""
        return mem32[_GIVEN_AT] & 0xFFFFFF

    def note(self, box, over: bool = False) -> None:
        """Note how much light the stage under way or kept has had; `over`: the light under way has ended by
        itself, and the box is not told of it yet."""
        exposing = box.exposing
        given_ms = exposing.known_ms
        if over and exposing.lamp.gave_whole():
            given_ms = exposing.run.goal_ms
        elif box.lit:
            given_ms = max(0, given_ms - _LATE_MS)
        mem32[_GIVEN_AT] = given_ms

    def forget(self) -> None:
        """From here on nothing is known, until the next `note`."""
        mem32[_GIVEN_AT] = 0

    @property
    def crashes(self) -> int:
        """Starts in a row before this one that ended in a crash or a hang before `settled`."""
        return mem32[_STARTS_AT] & 0xFF

    @property
    def restarts(self) -> int:
        """Crashes and hangs since the plug was put in, or since the box was last `left`."""
        return max(0, mem32[_RESTARTS_AT] - 1)

    def begun(self) -> None:
        """Count a start. Until `settled` it counts as one that went wrong."""
        mem32[_STARTS_AT] = self.crashes + 1
        mem32[_RESTARTS_AT] = (mem32[_RESTARTS_AT] + 1) & 0xFFFF

    def settled(self) -> None:
        """The box has run well for a while. A later crash begins a new row of crashes."""
        mem32[_STARTS_AT] = 0

    def left(self) -> None:
        """The box was left in good order: the next start is no restart."""
        self.settled()
        mem32[_RESTARTS_AT] = 0
