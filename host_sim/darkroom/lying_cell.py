"""The light cell on the easel: the light that falls where a hand has laid it.

What must live here: its light, gathered from conversion to conversion. It may not know what the box makes of
it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from host_sim.box.session import GONE, Session
from host_sim.darkroom.films import Films
from host_sim.darkroom.hands import Hands
from host_sim.optics.filament import EYE
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.light_sensor import LightSensor
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX

WINDOW = 0.02
"""Its window's side, in parts of the sheet's width: 5 mm of 24 cm."""
SAFELIGHT_LUX = 0.2
"""Of the safelight on the easel; assumed."""
_OUT_OF_THE_LIGHT = (-1.0, -1.0)


class LyingCell:
    """A reader of `house`. `place` is (x, y) in parts of the sheet; None while it is in no hand, and pulled
    out."""

    def __init__(
        self, session: Session, house: LampHouse, films: Films, hands: Hands, safelight: Callable[[], bool]
    ) -> None:
        self._session = session
        self._house = house
        self._films = films
        self._hands = hands
        self._safelight = safelight
        self._sensor = LightSensor()
        self.settled_us = session.now_ms * 1000
        self._lux_s = 0.0
        house.readers.append(self)
        session.read_cell = self._read

    @property
    def place(self) -> tuple[float, float] | None:
        for shade, lifted in self._hands.held.values():
            if shade.shape == "cell":
                return _OUT_OF_THE_LIGHT if lifted else (shade.x, shade.y)
        return None

    def begin(self) -> None:
        """A conversion begins."""
        self.settle()
        self._lux_s = 0.0

    def settle(self) -> None:
        """Let the light until now fall on it, as everything has stood."""
        from_us, now_us = self.settled_us, self._session.now_ms * 1000
        if now_us <= from_us:
            return
        self.settled_us = now_us
        place = self.place
        if place:
            open_lux_s = self._house.light.dose(from_us, now_us, EYE) * self._house.lets_through
            lux_s = open_lux_s * self._comes_through(*place)
            self._lux_s += lux_s + self._safelight() * SAFELIGHT_LUX * (now_us - from_us) / 1e6

    def _comes_through(self, x_part: float, y_part: float) -> float:
        """The part of the open light that falls there, through film and past what hands hold. Beyond the
        frame the easel is dark."""
        x, y = round(x_part * WIDTH_PX), round(y_part * HEIGHT_PX)
        if not (0 <= x < WIDTH_PX and 0 <= y < HEIGHT_PX):
            return 0.0
        half = round(WINDOW * WIDTH_PX / 2)
        film = self._films.negative.transmittance[max(0, y - half) : y + half, max(0, x - half) : x + half]
        dark, parts = self._hands.cast
        arrives = 0.0 if dark else 1.0
        for (rows, columns), change in parts:
            if rows.start <= y < rows.stop and columns.start <= x < columns.stop:
                shape = (rows.stop - rows.start, columns.stop - columns.start)
                arrives += float(np.broadcast_to(change, shape)[y - rows.start, x - columns.start])
        return max(0.0, arrives) * float(film.mean())

    def _read(self, range: int, from_ms: int, to_ms: int) -> int:
        self.settle()
        lux_s, self._lux_s = self._lux_s, 0.0
        return GONE if self.place is None else self._sensor.counts(lux_s, range, to_ms)
