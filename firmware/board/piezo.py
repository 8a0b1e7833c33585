"""The piezo: plays the box's sounds tone by tone, without blocking."""

from time import ticks_add, ticks_diff, ticks_ms

from machine import PWM
from micropython import const

from timing_core.panel.sounds import SOUNDS

# The wider the pulse the louder the tone, up to half of the period.
_WIDTHS = const((0, 300, 1200, 4000, 12000, 32768))


class Piezo:
    """`pwm` is on the piezo's pin. A new sound cuts off the one before.

    An input may begin a sound while the loop is between two bytecodes of `step`. It then only says so, and
    `step` begins the new sound where it has set the old one's tone.
    """

    def __init__(self, pwm: PWM) -> None:
        self._pwm = pwm
        self._width = 0
        self._tones: tuple = ()
        self._next = 0
        self._ends_ms = 0
        self._sounding = False
        self._begun = 0
        self._stepping = False
        pwm.duty_u16(0)

    def volume(self, volume: int) -> None:
        """0, silence, to 5."""
        self._width = _WIDTHS[volume]

    def play(self, name: str) -> None:
        self._tones = SOUNDS[name]
        self._begin()
        self._begun = self._begun + 1 & 0xFFFF
        if not self._stepping:
            self.step()

    def step(self) -> int:
        """Go on to the next tone if one has ended. Returns the ms until this is wanted again, -1 for
        never."""
        self._stepping = True
        while True:
            begun = self._begun
            wait_ms = self._step()
            if begun == self._begun:
                break
            self._begin()
        self._stepping = False
        return wait_ms

    def _begin(self) -> None:
        self._next = 0
        self._ends_ms = ticks_ms()
        self._sounding = True

    def _step(self) -> int:
        if not self._sounding:
            return -1
        left_ms = ticks_diff(self._ends_ms, ticks_ms())
        if left_ms > 0:
            return left_ms
        tones = self._tones  # before the place in it: a new sound's place, 0, is in every sound
        at = self._next
        if at == len(tones):
            self._pwm.duty_u16(0)
            self._sounding = False
            return -1
        hertz, ms = tones[at]
        self._next = at + 1
        if hertz:
            self._pwm.freq(hertz)
        self._pwm.duty_u16(self._width if hertz else 0)
        self._ends_ms = ticks_add(ticks_ms(), ms)
        return ms
