"""The room's pictures, as PNG files of 8 bit grey: the negative, the last print, and how far its light is
off.

What must live here: what becomes which grey, and which picture is how new. It may not know how they came
about.
"""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from host_sim.darkroom.checks import RoomError
from host_sim.optics.pixels import Pixels

Greys = NDArray[np.uint8]
"""0 to 255 at each point."""

PICTURES = ("negative", "print", "errors")
BASE_DENSITY = 0.05
"""Of paper without an image; common practice, no source."""
DISPLAY_GAMMA = 2.2
AS_PLANNED = 128
PER_STOP = 127
"""In the error picture: the grey where the light is as planned, and how many greys a stop is."""


class Pictures:
    """Each has a number, larger than that of any before it; 0 while there is none."""

    def __init__(self) -> None:
        self._numbers = dict.fromkeys(PICTURES, 0)
        self._made: dict[str, bytes | Pixels] = {}
        self._counted = 0

    @property
    def numbers(self) -> dict[str, int]:
        return dict(self._numbers)

    def show_negative(self, transmittance: Pixels) -> None:
        """It takes time to be made, so it is made when it is asked for."""
        self._note("negative", transmittance)

    def show_print(self, density: Pixels) -> None:
        self._note("print", _as_png(greys_of_print(density)))

    def show_errors(self, stops: Pixels | None) -> None:
        """How far off every point is; None where there is no telling."""
        if stops is None:
            self._numbers["errors"] = 0
        else:
            self._note("errors", _png((AS_PLANNED + PER_STOP * np.clip(stops, -1, 1)) / 255))

    def _note(self, kind: str, made: bytes | Pixels) -> None:
        self._counted += 1
        self._numbers[kind] = self._counted
        self._made[kind] = made

    def picture(self, kind: str) -> bytes:
        """One of PICTURES. RoomError where there is none yet."""
        if not self._numbers.get(kind):
            raise RoomError(f"No picture {kind!r}: there is none yet. Develop a sheet first.")
        made = self._made[kind]
        if not isinstance(made, bytes):
            made = self._made[kind] = _png(_seen(made))
        return made


def _seen(light: Pixels) -> Pixels:
    """For a display, whose light goes with a power of what it is told."""
    return light ** np.float32(1 / DISPLAY_GAMMA)


def greys_of_print(density: Pixels) -> Greys:
    """How a print of these densities above base and fog looks on a display."""
    return _levels(_seen(10 ** -(density + np.float32(BASE_DENSITY))))


def _levels(grey: Pixels) -> Greys:
    """Of values 0..1."""
    return np.clip(grey * 255 + 0.5, 0, 255).astype(np.uint8)


def _png(grey: Pixels) -> bytes:
    """A picture of values 0..1."""
    return _as_png(_levels(grey))


def _as_png(greys: Greys) -> bytes:
    file = io.BytesIO()
    Image.fromarray(greys).save(file, "PNG", compress_level=1)
    return file.getvalue()
