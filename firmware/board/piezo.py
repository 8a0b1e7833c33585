"""The piezo: plays the box's sounds tone by tone, without blocking."""

from time import ticks_add, ticks_diff, ticks_ms

from machine import PWM
from micropython import const

from timing_core.panel.sounds import SOUNDS

# The wider the pulse the louder the tone, up to half of the period.
_WIDTHS = const((0, 300, 1200, 4000, 12000, 32768))


class Piezo:
    """`pwm` is on the piezo's pin. A new sound cuts off the one before."""

    def __init__(self, pwm: PWM) -> None:
        self._pwm = pwm
        self._width = 0
        self._tones: tuple = ()
        self._next = 0
        self._ends_ms = 0
        self._sounding = False
        pwm.duty_u16(0)

    def volume(self, volume: int) -> None:
        """0, silence, to 5."""
        self._width = _WIDTHS[volume]

    def play(self, name: str) -> None:
        self._tones = SOUNDS[name]
        self._next = 0
        self._ends_ms = ticks_ms()
        self._sounding = True
        self.step()

    def step(self) -> int:
        """Go on to the next tone if one has ended. Returns the ms until this is wanted again, -1 for
        never."""
        if not self._sounding:
            return -1
        left_ms = ticks_diff(self._ends_ms, ticks_ms())
        if left_ms > 0:
            return left_ms
        if self._next == len(self._tones):
            self._pwm.duty_u16(0)
            self._sounding = False
            return -1
        hertz, ms = self._tones[self._next]
        self._next += 1
        if hertz:
            self._pwm.freq(hertz)
        self._pwm.duty_u16(self._width if hertz else 0)
        self._ends_ms = ticks_add(ticks_ms(), ms)
        return ms
