"""A tungsten filament, and the supply it hangs on.

What must live here: its temperature and the light that this gives for whoever looks. It may not know relays
or paper.

It has the temperature that its heat balance gives, ``C dT/dt = V ** 2 / R - sigma * T ** 4`` with R going as
T ** 1.2, and the light of Wien's law at the wavelength that is looked at. So its lag depends on who looks: a
filament is red while it rises and falls, and blue light comes last and goes first. Falling, it has closed
forms; rising under a supply that dips it is stepped (see `_Rise`), to 1e-6 of the full light.

``seen`` says who looks: the power of the supply's volts with which the light goes for them.

Limits: it loses heat by radiation alone, so a hot one stays hot longer than a real one.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache

from host_sim.optics.checks import refuse_negative

EYE = 3.4
"""Light goes with this power of the volts, for the eye and for a lux meter (Fink & Beaty, read)."""
PAPER = 4.2
"""The same for a variable-contrast paper without a filter. This and the next two: computed from the spectral
sensitivity of a real one (PyPI spectral-film-lut, `kodak_polymax_fine_art`) under a filament of 2850 K."""
PAPER_GREEN = 3.8
"""For its green-sensitive emulsion alone: what a soft filter leaves."""
PAPER_BLUE = 4.6
"""For its sensitivity to blue alone: what a hard filter leaves, and all that a graded paper has."""

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
        refuse_negative(self, "strike_dead_us", "fall_dead_us", "droop")
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
strike, and how long at most. So the light is within 1e-6 of the equation's (tests/test_lamps.py)."""
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
