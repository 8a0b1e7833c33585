"""What feeds the lamp: a pin moves a relay, and the relay's contact feeds what hangs on it.

What must live here: when contacts close and open. It may not know lamps or light.

Times are integer microseconds on one clock that never wraps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from host_sim.optics.checks import refuse_negative


@dataclass(frozen=True)
class Relay:
    """What stands between the pin and the lamp.

    `operate_us`, `release_us`: from a pin edge to the contact. With `mains_hz` the contact then waits for
    the next zero crossing (one at `mains_phase_us`, two in each cycle): that is a zero-cross solid-state
    relay, which starts at zero voltage and conducts to zero current. The load is taken as resistive, so
    both zeros fall together. A pin pulse that is over before the contact has moved does not move it.
    """

    operate_us: int = 0
    release_us: int = 0
    mains_hz: int = 0
    mains_phase_us: int = 0

    def __post_init__(self) -> None:
        refuse_negative(self, "operate_us", "release_us", "mains_hz")

    def closes_us(self, t_us: int) -> int:
        """When the contact closes after the pin rose at `t_us`."""
        return self._at_zero(t_us + self.operate_us)

    def opens_us(self, t_us: int) -> int:
        """When the contact opens after the pin fell at `t_us`."""
        return self._at_zero(t_us + self.release_us)

    def _at_zero(self, t_us: int) -> int:
        if not self.mains_hz:
            return t_us
        halves_per_s = 2 * self.mains_hz
        half = -((self.mains_phase_us - t_us) * halves_per_s // 1_000_000)
        return self.mains_phase_us - (-half * 1_000_000 // halves_per_s)


RELAYS = {
    # Inside the 15 ms and 5 ms at most of the Omron G5PA-1 data sheet (read); what is typical has no source.
    "mechanical": Relay(operate_us=10_000, release_us=3_000),
    "zero-cross 50 Hz": Relay(mains_hz=50),
    "zero-cross 60 Hz": Relay(mains_hz=60),
    "ideal": Relay(),
}


class Follower:
    """Follows an input after a delay, and ignores a change taken back before it was followed."""

    __slots__ = ("due_us", "fall_due", "on", "rise_due")

    def __init__(self, rise_due: Callable[[int], int], fall_due: Callable[[int], int]) -> None:
        self.on = False
        self.due_us: int | None = None
        self.rise_due = rise_due
        self.fall_due = fall_due

    def drive(self, t_us: int, on: bool) -> None:
        if on == self.on:
            self.due_us = None
        elif self.due_us is None:
            self.due_us = self.rise_due(t_us) if on else self.fall_due(t_us)

    def flip(self) -> None:
        self.on = not self.on
        self.due_us = None
