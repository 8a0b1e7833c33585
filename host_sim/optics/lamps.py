"""The lamps there are, and the light of one on the easel: a pin moves a relay, the relay feeds a lamp, the
lamp lights the easel.

What must live here: the lux seconds that come of it. It may not know the timing core, cards, stops, filters
or paper. Lag in particular is nowhere a number: it comes out of delays, rise and fall, and `lag_ms` measures
it as a person would.

Light is in lux on the easel without a filter, when the lamp is lit at its rating. How strong that is for an
eye or a paper is their own affair; what they are told is which part of it there is. ``seen`` says who looks
(see `filament`). No other lamp's light asks it.

Limits: the ripple of alternating mains is averaged out.

Times are integer microseconds on one clock that never wraps.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import Protocol

from host_sim.optics.feed import Follower, Relay
from host_sim.optics.filament import PAPER, Filament, tungsten
from host_sim.optics.glowing import Glow, Lamp

AnyLamp = Lamp | Filament

LAMPS: dict[str, AnyLamp] = {
    "tungsten": tungsten(150),
    # A fluorescent grid without a heater. The loss is 12 % at 10 C off (bekolite.com, read); it meets its
    # design point when warm. Dead time of 100 ms or more and a phosphor's tail: common practice, no
    # source; so are the minutes of warm-up and the degrees it rises.
    "cold light": Lamp(
        (Glow(0.85, 3_000, 1_000), Glow(0.15, 15_000, 15_000)),
        strike_dead_us=120_000,
        loss_per_c2=0.12 / 10**2,
        design_c=35,
        ambient_c=20,
        warm_rise_c=15,
        heat_us=180e6,
        cool_us=240e6,
    ),
    # A bare LED on a current regulator; no source.
    "led": Lamp((Glow(1.0, 5, 5),)),
    "ideal": Lamp((Glow(1.0, 0, 0),)),
}


class _Piece(Protocol):
    """The light from one change of the lamp to the next, in fractions of the rated light and us. `s` counts
    from its start."""

    start_us: int

    def light_at(self, s: float, seen: float) -> float: ...

    def dose(self, s0: float, s1: float, seen: float) -> float: ...

    def then(self, s: float, lit: bool) -> _Piece:
        """What follows when the lamp's feed begins or ends at `s`."""


class LampHouseLight:
    """A lamp, fed through a relay, over an easel: `lux` of light there when lit at its rating.

    Give the pin's edges in time order to `pin`, and ask for the light of any time. Asking settles that
    time: an edge before the latest time asked about is refused, since the answer had no such edge in it.
    `warmed_up`: the lamp has been lit for long just before, instead of standing at the room's temperature.
    """

    def __init__(
        self, lamp: AnyLamp, relay: Relay, lux: float, *, start_us: int = 0, warmed_up: bool = False
    ) -> None:
        if not 0 <= lux < math.inf:
            raise ValueError(f"lux is {lux}: give the light on the easel, 0 or more")
        self._lamp = lamp
        self._lux = lux
        self._relay = relay
        self._contact = Follower(relay.closes_us, relay.opens_us)
        self._light = Follower(lambda t: t + lamp.strike_dead_us, lambda t: t + lamp.fall_dead_us)
        self._pieces: list[_Piece] = [lamp.at_rest(start_us, warmed_up)]
        self._starts = [start_us]
        self._pin = False
        self._known_us = start_us
        self._dark_us = start_us

    def pin(self, t_us: int, on: bool) -> None:
        """The lamp pin takes the level `on` at `t_us`. A repeated level changes nothing."""
        if t_us < self._known_us:
            raise ValueError(
                f"a pin edge at {t_us} us is before {self._known_us} us, which is settled: give edges in "
                "time order, and ask for light only up to a time that none will precede"
            )
        self._advance(t_us)
        if on == self._pin:
            return
        self._pin = on
        self._contact.drive(t_us, on)
        if not on:
            self._dark_us = self._relay.opens_us(t_us) + self._lamp.fall_dead_us

    def dose(self, t0_us: int, t1_us: int, seen: float = PAPER) -> float:
        """Lux seconds on the easel from `t0_us` to `t1_us` for whoever sees so, to 1e-11 of the steady light
        (a filament's: to 1e-6 of what its rise gives). ValueError when `t1_us` is before `t0_us`, or `t0_us`
        before the start or forgotten."""
        if t1_us < t0_us:
            raise ValueError(f"light from {t0_us} to {t1_us} us: the end is before the start")
        index = self._index(t0_us)
        self._advance(t1_us)
        pieces = self._pieces
        total = 0.0
        start_us = t0_us
        while start_us < t1_us:
            piece = pieces[index]
            index += 1
            end_us = min(t1_us, self._starts[index]) if index < len(pieces) else t1_us
            if end_us > start_us:
                total += piece.dose(start_us - piece.start_us, end_us - piece.start_us, seen)
                start_us = end_us
        return total * self._lux * 1e-6

    def intensity(self, t_us: int, seen: float = PAPER) -> float:
        """Lux on the easel at `t_us`. ValueError when that is forgotten."""
        self._index(t_us)
        self._advance(t_us)
        piece = self._pieces[self._index(t_us)]
        return max(0.0, piece.light_at(t_us - piece.start_us, seen)) * self._lux

    @property
    def settle_us(self) -> int | None:
        """From when on the light is under 1e-12 of the rated light if no edge follows; None while the pin is
        high."""
        return None if self._pin else self._dark_us + self._lamp.tail_us

    def forget_before(self, t_us: int) -> None:
        """Drop what is only needed for light before `t_us`, which may not be asked for again."""
        self._advance(t_us)
        gone = max(0, bisect_right(self._starts, t_us) - 1)
        del self._pieces[:gone]
        del self._starts[:gone]

    def _index(self, t_us: int) -> int:
        index = bisect_right(self._starts, t_us) - 1
        if index < 0:
            raise ValueError(
                f"the light at {t_us} us is before {self._starts[0]} us, where this lamp house begins"
            )
        return index

    def _advance(self, t_us: int) -> None:
        """Let relay and lamp do, in order of time, all that is due by `t_us`."""
        contact, light = self._contact, self._light
        while True:
            # What was due at an instant comes before what is new at it: light, contact, pin.
            contact_us, light_us = contact.due_us, light.due_us
            if light_us is not None and light_us <= t_us and (contact_us is None or light_us <= contact_us):
                light.flip()
                last = self._pieces[-1]
                self._pieces.append(last.then(light_us - last.start_us, light.on))
                self._starts.append(light_us)
            elif contact_us is not None and contact_us <= t_us:
                contact.flip()
                light.drive(contact_us, contact.on)
            else:
                break
        if t_us > self._known_us:
            self._known_us = t_us


def lag_ms(lamp: AnyLamp, relay: Relay, strike_ms: int = 10_000, seen: float = PAPER) -> float:
    """Lamp lag as a person would measure it: strike a warm lamp once for `strike_ms`, and see for how many ms
    of its steady light the dose falls short of the strike. Negative where the tail gives more than the
    start loses. The strike must outlast the rise and the supply's dip. Behind a zero-cross relay the
    figure is that of a strike that starts on a crossing; others differ by up to half a cycle either way."""
    end_us = strike_ms * 1000
    house = LampHouseLight(lamp, relay, lux=1.0, warmed_up=True)
    house.pin(0, True)
    steady = house.intensity(end_us, seen)
    if not steady:
        raise ValueError(f"a strike of {strike_ms} ms ends before the lamp lights: give a longer one")
    house.pin(end_us, False)
    settle_us = house.settle_us
    assert settle_us is not None  # the pin has just fallen
    return strike_ms - house.dose(0, settle_us, seen) * 1000 / steady
