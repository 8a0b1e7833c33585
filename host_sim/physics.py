"""The darkroom bench: a pin moves a relay, the relay feeds a lamp, the lamp lights the easel.

What lives here: when contacts close, how light rises and falls, and the lux seconds that result.
What it may not know: the timing core, cards, stops, filters or paper. Lag in particular is nowhere a
number in this file: it comes out of delays, rise and fall, and `lag_ms` measures it as a person would.

The light is exact, not stepped. Between two changes of the lamp everything is a sum of exponentials:

* the lamp's steady light is ``(V ** p) * (1 - q * (T - design) ** 2)``;
* a dip ``V = supply * (1 - droop * exp(-s / recovery))`` raised to p is its binomial series. Past the first
  few each term is at most half of the one before, for the dip is held to half the supply; it is cut where
  a term is under 1e-13 of the light, so what is left out is under 1e-12;
* T, the lamp's temperature, is a first-order state, so its square is three exponentials;
* each glow follows that light through a first-order lag, which has the usual closed form, and its integral
  needs no more: from ``tau * L' = target - L`` the dose is the target's integral less ``tau`` times the
  change of ``L``.

Limits: the ripple of alternating mains is averaged out; a filament's true rise is steeper in the middle
than first order; the dead time of a strike is the same for a hot and a cold tube.

Times are integer microseconds on one clock that never wraps; light is lux on the easel without a filter.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

_SERIES_END = 1e-13  # relative size at which the binomial series of the dip is cut
_RESONANCE = 1e-5  # below this 1 - rate * tau, its closed form loses more digits than its limit does
_TAIL_TAUS = 28  # a first-order tail is under 1e-12 of its light after this many time constants


def _refuse_negative(owner: object, *names: str) -> None:
    for name in names:
        if getattr(owner, name) < 0:
            raise ValueError(f"{name} is {getattr(owner, name)}: it cannot be negative; give 0 or more")


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
        _refuse_negative(self, "operate_us", "release_us", "mains_hz")

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


@dataclass(frozen=True)
class Glow:
    """One part of a lamp's light: its `share` of the whole and its first-order time constants."""

    share: float
    rise_us: float
    fall_us: float

    def __post_init__(self) -> None:
        _refuse_negative(self, "share", "rise_us", "fall_us")


@dataclass(frozen=True)
class Lamp:
    """A lamp and the supply it hangs on.

    `glows`: parts of the light, shares adding to 1. `strike_dead_us`, `fall_dead_us`: from the contact to
    the first light, and from its opening to the start of the fall; a feed that ends inside the strike's
    dead time gives no light.
    `supply`: volts as a fraction of the rated; light goes with its power `voltage_exponent`. Each strike
    dips the supply by the fraction `droop` (0 to 0.5), which recovers with `droop_recovery_us`.
    `loss_per_c2`: light lost per square degree that the lamp is off `design_c`. It stands at `ambient_c`
    when cold, rises by `warm_rise_c` with `heat_us` while lit and falls back with `cool_us` while dark:
    warm-up drift, cooling between strikes and a cold room are this one thing.
    """

    glows: tuple[Glow, ...]
    strike_dead_us: int = 0
    fall_dead_us: int = 0
    supply: float = 1.0
    voltage_exponent: float = 0.0
    droop: float = 0.0
    droop_recovery_us: float = 1.0
    loss_per_c2: float = 0.0
    design_c: float = 0.0
    ambient_c: float = 0.0
    warm_rise_c: float = 0.0
    heat_us: float = 1.0
    cool_us: float = 1.0

    def __post_init__(self) -> None:
        _refuse_negative(self, "strike_dead_us", "fall_dead_us", "supply", "droop", "loss_per_c2")
        if abs(sum(glow.share for glow in self.glows) - 1) > 1e-9:
            raise ValueError("the glows do not share the whole light: give shares that add to 1")
        if self.droop > 0.5:
            raise ValueError(f"droop is {self.droop}: the model ends at 0.5 of the supply; give less")
        for name in ("droop_recovery_us", "heat_us", "cool_us"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{name} is {getattr(self, name)}: a time constant; give more than 0")
        worst_c = max(abs(self._off_design_c(0.0)), abs(self._off_design_c(self.warm_rise_c)))
        if self.loss_per_c2 * worst_c**2 >= 1:
            raise ValueError(f"the lamp is {worst_c:g} C off its design point and dark: bring it nearer")

    def _off_design_c(self, warmth_c: float) -> float:
        return self.ambient_c + warmth_c - self.design_c

    def steady(self, warmth_c: float) -> list[tuple[float, float]]:
        """The light a strike tends to, as fractions of the rated light and their rates of decay per us,
        when it starts `warmth_c` above the room. The light at `s` us is the sum of a * exp(-rate * s)."""
        end = self._off_design_c(self.warm_rise_c)
        gap = warmth_c - self.warm_rise_c
        rate = 1 / self.heat_us
        loss = self.loss_per_c2
        heat = [(1 - loss * end * end, 0.0), (-2 * loss * end * gap, rate), (-loss * gap * gap, 2 * rate)]
        heat = [(a, r) for a, r in heat if a]

        volts = []
        a = self.supply**self.voltage_exponent
        least = _SERIES_END * a
        k = 0
        while abs(a) > least or k <= self.voltage_exponent:
            volts.append((a, k / self.droop_recovery_us))
            a *= (self.voltage_exponent - k) / (k + 1) * -self.droop
            k += 1
            if not a:
                break
        return [(a * b, r + q) for a, r in volts for b, q in heat]


def tungsten(watts: float) -> Lamp:
    """A mains filament lamp of `watts` (40 to 500) at the end of a house's wiring.

    A filament's heat goes with its volume and its loss with its surface, so its times go with its
    diameter, and at one voltage that is the 2/3 power of its current, hence of its watts. The 100 W row
    of the IES Lighting Handbook (0.13 s to 90 %, 0.06 s to 10 %; memory) fixes the scale. The exponent 3.4
    is Fink & Beaty's (read). The dip of 2 % over 0.3 s is common practice, no source.
    """
    if not 40 <= watts <= 500:
        raise ValueError(f"{watts} W is outside the handbook's filaments: give 40 to 500")
    scale = (watts / 100) ** (2 / 3) / math.log(10)
    glow = Glow(1.0, rise_us=130_000 * scale, fall_us=60_000 * scale)
    return Lamp((glow,), voltage_exponent=3.4, droop=0.02, droop_recovery_us=300_000)


LAMPS = {
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

RELAYS = {
    # Inside the 15 ms and 5 ms at most of the Omron G5PA-1 data sheet (read); what is typical has no source.
    "mechanical": Relay(operate_us=10_000, release_us=3_000),
    "zero-cross 50 Hz": Relay(mains_hz=50),
    "zero-cross 60 Hz": Relay(mains_hz=60),
    "ideal": Relay(),
}


class _Follower:
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


class _Piece:
    """The light from one change of the lamp to the next, in fractions of the rated light and us."""

    __slots__ = ("end_warmth_c", "glows", "levels", "start_us", "steady", "warmth_c", "warmth_us")

    def __init__(self, lamp: Lamp, start_us: int, lit: bool, levels: list[float], warmth_c: float) -> None:
        self.start_us = start_us
        self.levels = levels
        self.warmth_c = warmth_c
        self.end_warmth_c = lamp.warm_rise_c if lit else 0.0
        self.warmth_us = lamp.heat_us if lit else lamp.cool_us
        self.steady = lamp.steady(warmth_c) if lit else []
        self.glows = [(glow.share, glow.rise_us if lit else glow.fall_us) for glow in lamp.glows]

    def levels_at(self, s: float) -> list[float]:
        exp = math.exp
        steady = [(a, rate, exp(-rate * s)) for a, rate in self.steady]
        found = []
        for start, (_, tau) in zip(self.levels, self.glows, strict=True):
            if not tau:
                found.append(sum(a * decay for a, _, decay in steady))
                continue
            own = exp(-s / tau)
            level = start * own
            for a, rate, decay in steady:
                apart = 1 - rate * tau
                if abs(apart) > _RESONANCE:
                    level += a * (decay - own) / apart
                else:
                    level += a * s / tau * exp(-s * (rate + 1 / tau) / 2)
            found.append(level)
        return found

    def warmth_at(self, s: float) -> float:
        return self.end_warmth_c + (self.warmth_c - self.end_warmth_c) * math.exp(-s / self.warmth_us)

    def light_at(self, s: float) -> float:
        return sum(share * level for (share, _), level in zip(self.glows, self.levels_at(s), strict=True))

    def dose(self, s0: float, s1: float) -> float:
        long = s1 - s0
        total = 0.0
        for a, rate in self.steady:
            total += a * (math.exp(-rate * s0) * -math.expm1(-rate * long) / rate if rate else long)
        for (share, tau), before, after in zip(
            self.glows, self.levels_at(s0), self.levels_at(s1), strict=True
        ):
            total -= share * tau * (after - before)
        return max(0.0, total)  # rounding may leave -1e-17 of a window in which nothing shone


class LampBench:
    """A lamp, fed through a relay, over an easel: `lux` of light there when lit at its rating.

    Give the pin's edges in time order to `pin`, and ask for the light of any time. Asking settles that
    time: an edge before the latest time asked about is refused, since the answer had no such edge in it.
    `warmed_up`: the lamp has been lit for long just before, instead of standing at the room's temperature.
    """

    def __init__(
        self, lamp: Lamp, relay: Relay, lux: float, *, start_us: int = 0, warmed_up: bool = False
    ) -> None:
        if not 0 <= lux < math.inf:
            raise ValueError(f"lux is {lux}: give the light on the easel, 0 or more")
        self._lamp = lamp
        self._lux = lux
        self._relay = relay
        self._contact = _Follower(relay.closes_us, relay.opens_us)
        self._light = _Follower(lambda t: t + lamp.strike_dead_us, lambda t: t + lamp.fall_dead_us)
        warmth_c = lamp.warm_rise_c if warmed_up else 0.0
        self._pieces = [_Piece(lamp, start_us, False, [0.0] * len(lamp.glows), warmth_c)]
        self._starts = [start_us]
        self._pin = False
        self._known_us = start_us
        self._dark_us = start_us
        self._tail_us = math.ceil(_TAIL_TAUS * max(glow.fall_us for glow in lamp.glows))

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

    def dose(self, t0_us: int, t1_us: int) -> float:
        """Lux seconds of unfiltered light on the easel from `t0_us` to `t1_us`, exact to 1e-11 of the
        steady light. ValueError when `t1_us` is before `t0_us`, or `t0_us` before the start or forgotten."""
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
                total += piece.dose(start_us - piece.start_us, end_us - piece.start_us)
                start_us = end_us
        return total * self._lux * 1e-6

    def intensity(self, t_us: int) -> float:
        """Lux of unfiltered light on the easel at `t_us`. ValueError when that is forgotten."""
        self._index(t_us)
        self._advance(t_us)
        piece = self._pieces[self._index(t_us)]
        return max(0.0, piece.light_at(t_us - piece.start_us)) * self._lux

    @property
    def settle_us(self) -> int | None:
        """From when on the light is under 1e-12 of the rated light if no edge follows; None while the pin is
        high."""
        return None if self._pin else self._dark_us + self._tail_us

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
                f"the light at {t_us} us is before {self._starts[0]} us, where this bench begins"
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
                s = light_us - last.start_us
                self._pieces.append(
                    _Piece(self._lamp, light_us, light.on, last.levels_at(s), last.warmth_at(s))
                )
                self._starts.append(light_us)
            elif contact_us is not None and contact_us <= t_us:
                contact.flip()
                light.drive(contact_us, contact.on)
            else:
                break
        if t_us > self._known_us:
            self._known_us = t_us


def lag_ms(lamp: Lamp, relay: Relay, strike_ms: int = 10_000) -> float:
    """Lamp lag as a person would measure it: strike a warm lamp once for `strike_ms`, and see for how many ms
    of its steady light the dose falls short of the strike. Negative where the tail gives more than the
    start loses. The strike must outlast the rise and the supply's dip. Behind a zero-cross relay the
    figure is that of a strike that starts on a crossing; others differ by up to half a cycle either way."""
    end_us = strike_ms * 1000
    bench = LampBench(lamp, relay, lux=1.0, warmed_up=True)
    bench.pin(0, True)
    steady = bench.intensity(end_us)
    if not steady:
        raise ValueError(f"a strike of {strike_ms} ms ends before the lamp lights: give a longer one")
    bench.pin(end_us, False)
    settle_us = bench.settle_us
    assert settle_us is not None  # the pin has just fallen
    return strike_ms - bench.dose(0, settle_us) * 1000 / steady
