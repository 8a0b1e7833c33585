"""What outlives a reset: registers of the watchdog, which lose nothing but to a loss of power.

Noted while light is on, since flash may not be written then: how much of the stage was given. After
a reset the box is told, and can say what is known of the sheet on the easel.
RP2040 data sheet, 4.7.6: SCRATCH0 to 3 are free; the boot ROM uses 4 to 7.
"""

from machine import mem32

_SCRATCH0 = 0x4005800C
_MARK = 0x1A3B1AC4


class Survivor:
    """Three registers: a mark, ms of light given in the stage under way, crashes in a row."""

    def __init__(self) -> None:
        self._given_ms = 0
        self._crashes = 0
        if mem32[_SCRATCH0] == _MARK:
            self._given_ms = mem32[_SCRATCH0 + 4] & 0xFFFFFF
            self._crashes = mem32[_SCRATCH0 + 8] & 0xFF
        mem32[_SCRATCH0 + 4] = 0

    def given_ms(self) -> int:
        """Light that the stage under way had been given before the reset, as far as known; 0 for unknown."""
        return self._given_ms

    def note(self, box) -> None:
        """Note how far the stage under way has come."""
        given_ms = box.light_so_far_ms() if box.stages else 0
        mem32[_SCRATCH0 + 4] = given_ms
        mem32[_SCRATCH0] = _MARK

    @property
    def crashes(self) -> int:
        """Crashes in a row before this start."""
        return self._crashes

    def crashed(self) -> None:
        self._set_crashes(self._crashes + 1)

    def settled(self) -> None:
        """The box has run well for a while: what comes is a new row of crashes."""
        if self._crashes:
            self._set_crashes(0)

    def _set_crashes(self, count: int) -> None:
        self._crashes = count
        mem32[_SCRATCH0 + 8] = count
        mem32[_SCRATCH0] = _MARK
