"""The lamp and its relay: a pin moves a relay, the relay feeds a lamp, the lamp lights the easel.

What lives here: when contacts close, how light rises and falls, and the lux seconds that result.
What it may not know: the timing core, cards, stops, filters or paper. Lag in particular is nowhere a
number in this file: it comes out of delays, rise and fall, and `lag_ms` measures it as a person would.

Two kinds of lamp. A `Lamp` (tube, LED) follows its feed through first-order lags, in closed form: between
two changes everything is a sum of exponentials,

* T, the lamp's temperature, is a first-order state, and its steady light is ``1 - q * (T - design) ** 2``,
  three exponentials;
* each glow follows that light through a first-order lag, which has the usual closed form, and its integral
  needs no more: from ``tau * L' = target - L`` the dose is the target's integral less ``tau`` times the
  change of ``L``.

A `Filament` has the temperature that its heat balance gives, ``C dT/dt = V ** 2 / R - sigma * T ** 4`` with
R going as T ** 1.2, and the light of Wien's law at the wavelength that is looked at. So its lag depends on
who looks: a filament is red while it rises and falls, and blue light comes last and goes first. Falling, it
has closed forms; rising under a supply that dips it is stepped (see `_Rise`), to 1e-6 of the full light.

Light is in lux on the easel without a filter, when the lamp is lit at its rating. How strong that is for an
eye or a paper is their own affair; what they are told is which part of it there is. ``seen`` says who looks:
the power of the supply's volts with which a filament's light goes for them. No other lamp's light asks it.

Limits: the ripple of alternating mains is averaged out; a filament loses heat by radiation alone, so a hot
one stays hot longer than a real one; the dead time of a strike is the same for a hot and a cold tube.

Times are integer microseconds on one clock that never wraps.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

EYE = 3.4
"""Light goes with this power of the volts, for the eye and for a lux meter (Fink & Beaty, read)."""
PAPER = 4.2
"""The same for a variable-contrast paper without a filter. This and the next two: computed from the spectral
sensitivity of a real one (PyPI spectral-film-lut, `kodak_polymax_fine_art`) under a filament of 2850 K."""
PAPER_GREEN = 3.8
"""For its green-sensitive emulsion alone: what a soft filter leaves."""
PAPER_BLUE = 4.6
"""For its sensitivity to blue alone: what a hard filter leaves, and all that a graded paper has."""

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
    """A lamp that is not a filament.

    `glows`: parts of the light, shares adding to 1. `strike_dead_us`, `fall_dead_us`: from the contact to
    the first light, and from its opening to the start of the fall; a feed that ends inside the strike's
    dead time gives no light.
    `loss_per_c2`: light lost per square degree that the lamp is off `design_c`. It stands at `ambient_c`
    when cold, rises by `warm_rise_c` with `heat_us` while lit and falls back with `cool_us` while dark:
    warm-up drift, cooling between strikes and a cold room are this one thing.
    """

    glows: tuple[Glow, ...]
    strike_dead_us: int = 0
    fall_dead_us: int = 0
    loss_per_c2: float = 0.0
    design_c: float = 0.0
    ambient_c: float = 0.0
    warm_rise_c: float = 0.0
    heat_us: float = 1.0
    cool_us: float = 1.0

    def __post_init__(self) -> None:
        _refuse_negative(self, "strike_dead_us", "fall_dead_us", "loss_per_c2")
        if abs(sum(glow.share for glow in self.glows) - 1) > 1e-9:
            raise ValueError("the glows do not share the whole light: give shares that add to 1")
        for name in ("heat_us", "cool_us"):
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
        return [(a, r) for a, r in heat if a]

    @property
    def tail_us(self) -> int:
        """How long the fall takes to a light of 1e-12."""
        return math.ceil(_TAIL_TAUS * max(glow.fall_us for glow in self.glows))

    def at_rest(self, start_us: int, warmed_up: bool) -> _Glowing:
        """Dark, and as warm as the room, or as after hours of light."""
        warmth_c = self.warm_rise_c if warmed_up else 0.0
        return _Glowing(self, start_us, False, [0.0] * len(self.glows), warmth_c)


_KELVIN = 2850
"""A filament at its rating: the temperature for which the exponents of the volts were computed."""
_ROOM = 293 / _KELVIN
"""Temperatures here are in parts of that."""
_RESISTANCE = 1.2
"""R goes with this power of the temperature; tungsten's handbook curve from 300 to 3000 K, from memory."""
_VOLTS_SQUARED = 4 + _RESISTANCE
"""The steady heat balance: V ** 2 goes with this power of the temperature, so T with V ** 0.385."""
_TO_90 = 0.88285
"""A cold filament's light is at 90 % for the eye after this part of its `heat_us`."""


@dataclass(frozen=True)
class Filament:
    """A tungsten lamp and the supply it hangs on.

    `heat_us`: what the filament holds of heat over what it takes at its rating, `C T / P`.
    `strike_dead_us`, `fall_dead_us`: as a `Lamp`'s; a supply that is late.
    `supply`: volts as a fraction of the rated (0.5 to 1.5). Each strike dips it by the fraction `droop`
    (0 to 0.5), which recovers with `droop_recovery_us`.
    """

    heat_us: float
    strike_dead_us: int = 0
    fall_dead_us: int = 0
    supply: float = 1.0
    droop: float = 0.0
    droop_recovery_us: float = 1.0

    def __post_init__(self) -> None:
        _refuse_negative(self, "strike_dead_us", "fall_dead_us", "droop")
        if not 0.5 <= self.supply <= 1.5:
            raise ValueError(f"supply is {self.supply} of the rated: give 0.5 to 1.5")
        if self.droop > 0.5:
            raise ValueError(f"droop is {self.droop}: the model ends at 0.5 of the supply; give less")
        for name in ("heat_us", "droop_recovery_us"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{name} is {getattr(self, name)}: a time constant; give more than 0")

    @property
    def tail_us(self) -> int:
        """How long the fall from the highest supply takes to a light of 1e-12 for whoever sees it longest."""
        u = 1 + 12 * math.log(10) / _wien(EYE)
        return math.ceil(self.heat_us * u**3 / 3)

    def at_rest(self, start_us: int, warmed_up: bool) -> _Cooling:
        """As cold as the room: a filament that was lit a minute ago is."""
        return _Cooling(self, start_us, 1 / _ROOM)


AnyLamp = Lamp | Filament


def _wien(seen: float) -> float:
    """The exponent of Wien's law: light goes as exp(-this * (u - 1)), where u is the rated temperature over
    the temperature. Near the rating that is this power of T, which is `seen` of the volts."""
    return seen * _VOLTS_SQUARED / 2


def tungsten(watts: float) -> Filament:
    """A mains filament lamp of `watts` (40 to 500) at the end of a house's wiring.

    A filament's heat goes with its volume and its loss with its surface, so its times go with its
    diameter, and at one voltage that is the 2/3 power of its current, hence of its watts. The 100 W row
    of the IES Lighting Handbook (0.13 s to 90 %; memory) fixes the scale. The dip of 2 % over 0.3 s is
    common practice, no source.
    """
    if not 40 <= watts <= 500:
        raise ValueError(f"{watts} W is outside the handbook's filaments: give 40 to 500")
    heat_us = 130_000 / _TO_90 * (watts / 100) ** (2 / 3)
    return Filament(heat_us, droop=0.02, droop_recovery_us=300_000)


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


class _Piece(Protocol):
    """The light from one change of the lamp to the next, in fractions of the rated light and us. `s` counts
    from its start."""

    start_us: int

    def light_at(self, s: float, seen: float) -> float: ...

    def dose(self, s0: float, s1: float, seen: float) -> float: ...

    def then(self, s: float, lit: bool) -> _Piece:
        """What follows when the lamp's feed begins or ends at `s`."""


class _Glowing:
    """A `Lamp`'s."""

    __slots__ = ("end_warmth_c", "glows", "lamp", "levels", "start_us", "steady", "warmth_c", "warmth_us")

    def __init__(self, lamp: Lamp, start_us: int, lit: bool, levels: list[float], warmth_c: float) -> None:
        self.lamp = lamp
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

    def light_at(self, s: float, seen: float) -> float:
        return sum(share * level for (share, _), level in zip(self.glows, self.levels_at(s), strict=True))

    def dose(self, s0: float, s1: float, seen: float) -> float:
        long = s1 - s0
        total = 0.0
        for a, rate in self.steady:
            total += a * (math.exp(-rate * s0) * -math.expm1(-rate * long) / rate if rate else long)
        for (share, tau), before, after in zip(
            self.glows, self.levels_at(s0), self.levels_at(s1), strict=True
        ):
            total -= share * tau * (after - before)
        return max(0.0, total)  # rounding may leave -1e-17 of a window in which nothing shone

    def then(self, s: float, lit: bool) -> _Glowing:
        warmth_c = self.end_warmth_c + (self.warmth_c - self.end_warmth_c) * math.exp(-s / self.warmth_us)
        return _Glowing(self.lamp, self.start_us + round(s), lit, self.levels_at(s), warmth_c)


class _Cooling:
    """A `Filament`'s, dark. Under ``dT/dt = -T ** 4`` the cube of u, one over the temperature, rises evenly,
    and the integral of Wien's light over u ** 2 du is elementary. It stops at the room's temperature."""

    __slots__ = ("lamp", "start_us", "u")

    def __init__(self, lamp: Filament, start_us: int, u: float) -> None:
        self.lamp = lamp
        self.start_us = start_us
        self.u = u

    def u_at(self, s: float) -> float:
        cold = 1 / _ROOM
        return min(cold, (self.u**3 + 3 * s / self.lamp.heat_us) ** (1 / 3)) if self.u < cold else cold

    def light_at(self, s: float, seen: float) -> float:
        return math.exp(-_wien(seen) * (self.u_at(s) - 1))

    def dose(self, s0: float, s1: float, seen: float) -> float:
        p = _wien(seen)

        def still_to_come(u: float) -> float:
            return math.exp(-p * (u - 1)) * (u * u + 2 * u / p + 2 / p**2) / p

        return self.lamp.heat_us * (still_to_come(self.u_at(s0)) - still_to_come(self.u_at(s1)))

    def then(self, s: float, lit: bool) -> _Lit | _Cooling:
        start_us = self.start_us + round(s)
        return _Lit(self.lamp, start_us, self.u_at(s)) if lit else _Cooling(self.lamp, start_us, self.u_at(s))


class _Lit:
    """A `Filament`'s, lit."""

    __slots__ = ("lamp", "rise", "start_us")

    def __init__(self, lamp: Filament, start_us: int, u: float) -> None:
        self.lamp = lamp
        self.start_us = start_us
        self.rise = _rise(lamp, u)

    def light_at(self, s: float, seen: float) -> float:
        return self.rise.light_at(s, seen)

    def dose(self, s0: float, s1: float, seen: float) -> float:
        return self.rise.dose_to(s1, seen) - self.rise.dose_to(s0, seen)

    def then(self, s: float, lit: bool) -> _Lit | _Cooling:
        start_us, u = self.start_us + round(s), 1 / self.rise.temperature_at(s)
        return _Lit(self.lamp, start_us, u) if lit else _Cooling(self.lamp, start_us, u)


_W = 1 + _RESISTANCE
_FIRST_STEP = 0.01
_STEP_GROWTH = 0.02
_LONGEST_STEP = 0.2
"""Steps in parts of `heat_us`: how long the first is, how much longer they get with the time since the
strike, and how long at most. So the light is within 1e-6 of the equation's (tests/test_physics.py)."""
_STEADY = 1e-9
"""Where dip and filament are nearer to their ends than this, nothing changes any more."""


class _Rise:
    """How a filament heats up after a strike, from one over its temperature: stepped as far as it is asked
    about.

    In w = T ** 2.2 the heat balance is ``w' = 2.2 * (V ** 2 - w ** 2.36)``, which has no steep place; the
    classical Runge-Kutta step of the fourth order follows it. Between steps temperature and light are cubics
    through both ends and their slopes, and the dose is the light's own integral, so that doses add up. Light
    is never below 0, for slopes are held to what keeps a cubic there.
    """

    def __init__(self, lamp: Filament, u: float) -> None:
        self._lamp = lamp
        self._fall = lamp.heat_us / lamp.droop_recovery_us
        self._w_end = lamp.supply ** (2 * _W / _VOLTS_SQUARED)
        w = u**-_W
        self._s = [0.0]  # from here on in parts of heat_us
        self._w = [w]
        self._slope = [self._slope_of(0.0, w)]
        self._steady = False
        self._tracks: dict[float, _Track] = {}

    def _slope_of(self, s: float, w: float) -> float:
        volts = self._lamp.supply * (1 - self._lamp.droop * math.exp(-self._fall * s))
        return _W * (volts * volts - w ** (_VOLTS_SQUARED / _W))

    def _reach(self, s: float) -> None:
        """Step on until `s` is passed, or all is steady."""
        slope_of = self._slope_of
        while not self._steady and self._s[-1] <= s:
            at, w, k1 = self._s[-1], self._w[-1], self._slope[-1]
            h = min(_LONGEST_STEP, _FIRST_STEP + _STEP_GROWTH * at)
            k2 = slope_of(at + h / 2, w + h / 2 * k1)
            k3 = slope_of(at + h / 2, w + h / 2 * k2)
            k4 = slope_of(at + h, w + h * k3)
            w += h * (k1 + 2 * k2 + 2 * k3 + k4) / 6
            self._s.append(at + h)
            self._w.append(w)
            self._slope.append(slope_of(at + h, w))
            dip = self._lamp.droop * math.exp(-self._fall * (at + h))
            self._steady = dip < _STEADY and abs(w - self._w_end) < _STEADY

    def _place(self, s: float) -> int:
        """The step that `s` lies in; the number of steps where it is past them all."""
        self._reach(s)
        return bisect_right(self._s, s) - 1

    def temperature_at(self, s_us: float) -> float:
        s = s_us / self._lamp.heat_us
        index = self._place(s)
        w = self._w[-1]
        if index + 1 < len(self._s):
            h = self._s[index + 1] - self._s[index]
            ends = self._w[index], self._slope[index] * h, self._w[index + 1], self._slope[index + 1] * h
            w = _cubic(*ends, (s - self._s[index]) / h)
        return w ** (1 / _W)

    def _track(self, seen: float) -> _Track:
        track = self._tracks.get(seen)
        if track is None:
            track = self._tracks[seen] = _Track(_wien(seen))
        track.follow(self._s, self._w, self._slope)
        return track

    def light_at(self, s_us: float, seen: float) -> float:
        s = s_us / self._lamp.heat_us
        index = self._place(s)
        track = self._track(seen)
        if index + 1 == len(self._s):
            return track.light[-1]
        h = self._s[index + 1] - self._s[index]
        return _cubic(*track.ends[index], (s - self._s[index]) / h)

    def dose_to(self, s_us: float, seen: float) -> float:
        """The light from the strike to `s_us`, in us of rated light."""
        s = s_us / self._lamp.heat_us
        index = self._place(s)
        track = self._track(seen)
        since = s - self._s[index]
        if index + 1 == len(self._s):
            return self._lamp.heat_us * (track.dose[-1] + track.light[-1] * since)
        h = self._s[index + 1] - self._s[index]
        return self._lamp.heat_us * (track.dose[index] + h * _under_cubic(*track.ends[index], since / h))


_rise = lru_cache(maxsize=256)(_Rise)
"""Strikes from the same temperature are one."""


class _Track:
    """A rise as one who looks sees it: at each step the light and the dose, and between two steps the ends of
    a cubic."""

    def __init__(self, wien: float) -> None:
        self._wien = wien
        self.light: list[float] = []
        self._slope: list[float] = []
        self.ends: list[tuple[float, float, float, float]] = []
        self.dose = [0.0]

    def follow(self, s: list[float], w: list[float], slope: list[float]) -> None:
        for index in range(len(self.light), len(s)):
            u = w[index] ** (-1 / _W)
            light = math.exp(-self._wien * (u - 1))
            self.light.append(light)
            self._slope.append(light * self._wien * u / (_W * w[index]) * slope[index])
            if index:
                h = s[index] - s[index - 1]
                before = self.light[index - 1]
                ends = (
                    before,
                    max(self._slope[index - 1] * h, -3 * before),
                    light,
                    min(self._slope[index] * h, 3 * light),
                )
                self.ends.append(ends)
                self.dose.append(self.dose[-1] + h * _under_cubic(*ends, 1.0))


def _cubic(a: float, da: float, b: float, db: float, t: float) -> float:
    """At `t`, 0 to 1, between values and slopes at both ends (Hermite)."""
    return a + t * (da + t * (3 * (b - a) - 2 * da - db + t * (2 * (a - b) + da + db)))


def _under_cubic(a: float, da: float, b: float, db: float, t: float) -> float:
    """Its integral from 0 to `t`."""
    return t * (a + t * (da / 2 + t * ((3 * (b - a) - 2 * da - db) / 3 + t * (2 * (a - b) + da + db) / 4)))


class LampBench:
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
        self._contact = _Follower(relay.closes_us, relay.opens_us)
        self._light = _Follower(lambda t: t + lamp.strike_dead_us, lambda t: t + lamp.fall_dead_us)
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
    bench = LampBench(lamp, relay, lux=1.0, warmed_up=True)
    bench.pin(0, True)
    steady = bench.intensity(end_us, seen)
    if not steady:
        raise ValueError(f"a strike of {strike_ms} ms ends before the lamp lights: give a longer one")
    bench.pin(end_us, False)
    settle_us = bench.settle_us
    assert settle_us is not None  # the pin has just fallen
    return strike_ms - bench.dose(0, settle_us, seen) * 1000 / steady
