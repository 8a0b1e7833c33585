"""Lamps that are not filaments: a tube, an LED. They follow their feed through first-order lags, in closed
form.

What must live here: how such light rises and falls. It may not know relays, or who looks: this light is the
same for all. Between two changes everything is a sum of exponentials,

* T, the lamp's temperature, is a first-order state, and its steady light is ``1 - q * (T - design) ** 2``,
  three exponentials;
* each glow follows that light through a first-order lag, which has the usual closed form, and its integral
  needs no more: from ``tau * L' = target - L`` the dose is the target's integral less ``tau`` times the
  change of ``L``.

Limits: the dead time of a strike is the same for a hot and a cold tube.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from host_sim.optics.checks import refuse_negative

_RESONANCE = 1e-5  # below this 1 - rate * tau, its closed form loses more digits than its limit does
_TAIL_TAUS = 28  # a first-order tail is under 1e-12 of its light after this many time constants


@dataclass(frozen=True)
class Glow:
    """One part of a lamp's light: its `share` of the whole and its first-order time constants."""

    share: float
    rise_us: float
    fall_us: float

    def __post_init__(self) -> None:
        refuse_negative(self, "share", "rise_us", "fall_us")


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
        refuse_negative(self, "strike_dead_us", "fall_dead_us", "loss_per_c2")
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
