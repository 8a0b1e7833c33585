"""The lamp house: the one lamp over the easel, and the paper under it.

What must live here: which lamp, lens and paper there are, and the light that this paper sees through a
filter. Whoever reckons with light (the report, the darkroom on screen) asks here, so that there is one truth.
It may not know stages, plans, hands or sheets; of a session it knows the lamp's pin and the time.
"""

from __future__ import annotations

from typing import Protocol

from host_sim.box.session import Session, Watcher
from host_sim.optics import paper as papers
from host_sim.optics.feed import RELAYS, Relay
from host_sim.optics.filament import EYE, PAPER_BLUE, PAPER_GREEN
from host_sim.optics.lamps import LAMPS, AnyLamp, LampHouseLight, lag_ms
from host_sim.optics.paper import Paper

LUX = 4.0
"""Light on the easel with neither film nor filter, lens open: a normal negative prints in some 10 to 20 s."""
APERTURES = ("5.6", "6.7", "8", "9.5", "11", "13", "16", "19", "22", "27", "32")
"""Of the lens, half a stop apart, the widest first."""


class Reader(Protocol):
    """One who shares out the lamp's light."""

    @property
    def settled_us(self) -> int:
        """Up to where it has done so."""

    def settle(self) -> None:
        """Do so up to now."""


class LampHouse(Watcher):
    """Watches `session`. `lamp` and `paper` are names of LAMPS and PAPER_NAMES; ValueError for others."""

    light: LampHouseLight
    lag_ms: int
    """What the lamp's lag is for the paper without a filter, to 1 ms."""

    def __init__(self, session: Session, lamp: str = "tungsten", paper: str = "vc-2019") -> None:
        self._session = session
        self.readers: list[Reader] = []
        self.aperture = APERTURES[0]
        self.paper: Paper = papers.paper(paper)
        self.put_in_lamp(lamp)
        session.watchers.append(self)

    def put_in_paper(self, name: str) -> None:
        self.paper = papers.paper(name)
        self._measure_lag()

    @property
    def lux(self) -> float:
        """Full light on the easel, with neither film nor filter."""
        return LUX * self.lets_through

    @property
    def lets_through(self) -> float:
        """The part of the light that the lens, as it is stopped down, lets through."""
        return 2 ** (-APERTURES.index(self.aperture) / 2)

    def stop_down(self, aperture: str) -> None:
        """Set the lens to one of APERTURES. What was given before is settled."""
        for reader in self.readers:
            reader.settle()
        self.aperture = aperture

    def put_in_lamp(self, name: str) -> None:
        if name not in LAMPS:
            raise ValueError(f"there is no lamp {name}: use one of {', '.join(LAMPS)}")
        self.put_in(LAMPS[name], RELAYS["ideal" if name == "ideal" else "mechanical"])
        self.lamp_name = name

    def put_in(self, lamp: AnyLamp, relay: Relay, warmed_up: bool = True) -> None:
        """Any lamp behind any relay. It is dark, and what the one before gave is settled."""
        for reader in self.readers:
            reader.settle()
        self.lamp_name = ""
        self._parts = lamp, relay
        self.light = LampHouseLight(lamp, relay, LUX, start_us=self._now_us, warmed_up=warmed_up)
        self._measure_lag()

    def _measure_lag(self) -> None:
        self.lag_ms = round(lag_ms(*self._parts, seen=self._seen("")))

    @property
    def _now_us(self) -> int:
        return self._session.now_ms * 1000

    def lamp(self, now_ms: int, on: bool) -> None:
        self.light.pin(now_ms * 1000, on)

    def dose(self, from_us: int, to_us: int, filter: str) -> float:
        """Lux seconds without film for the paper behind `filter` ("" for none), as measured without the
        filter: what that takes away is in the paper's speed."""
        return self.light.dose(from_us, to_us, self._seen(filter)) * self.lets_through

    def seen_by_eye(self) -> float:
        """The light now, in parts of full light with the lens open."""
        return self.light.intensity(self._now_us, EYE) / LUX * self.lets_through

    def _seen(self, filter: str) -> float:
        # A filter of which there is no data counts as none; nobody gives a verdict on its light.
        green = self.paper.green("none" if self.paper.lacks(filter) else filter or "none")
        return PAPER_BLUE + green * (PAPER_GREEN - PAPER_BLUE)

    def forget(self) -> None:
        """Drop what all readers have settled."""
        self.light.forget_before(min((reader.settled_us for reader in self.readers), default=self._now_us))
