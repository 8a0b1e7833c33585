"""The watchdog: a box that hangs is reset, and a reset puts the lamp out."""

from machine import WDT, mem32
from micropython import const

from board.chip import WATCHDOG_CLEAR_AT

_TIMEOUT_MS = const(3000)
"""Longer than any write to flash, and no longer than a hand needs to reach the switch."""

# RP2040 data sheet, 4.7.6: bit 30 of CTRL, the first register, enables the watchdog.
_ENABLE = const(1 << 30)


class Dog:
    """Starts the watchdog. From then on, feed it at least every _TIMEOUT_MS."""

    def __init__(self) -> None:
        self._dog = WDT(timeout=_TIMEOUT_MS)

    def feed(self) -> None:
        self._dog.feed()

    def stop(self) -> None:
        """Stop it for good, since at the prompt nothing feeds it."""
        mem32[WATCHDOG_CLEAR_AT] = _ENABLE
