"""The print that ideal hands make: the light of every area laid on the film by the area's outline.

What must live here: putting light that is known by areas on every point of a sheet. It may not know the box
or how the light came to be given.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from host_sim.darkroom.pictures import Greys, greys_of_print
from host_sim.darkroom.planned_light import REST
from host_sim.optics.negatives import Negative
from host_sim.optics.paper import Paper
from host_sim.optics.pixels import Pixels
from host_sim.optics.sheet import densities


def ideal_print(doses: Mapping[tuple[str, str], float], negative: Negative, paper: Paper) -> Pixels:
    """Density above base and fog at every point, wet. `doses` are lux seconds for each (area, filter), the
    rest of the sheet's among them; an area without an outline on the negative leaves nothing."""
    masks = negative.areas
    light: dict[str, Pixels] = {}
    for filter in dict.fromkeys(filter for _, filter in doses):
        rest = np.float32(doses.get((REST, filter), 0.0))
        found = np.full(negative.transmittance.shape, rest, np.float32)
        for area, mask in masks.items():
            if any(own == area for own, _ in doses):
                found += mask * (np.float32(doses.get((area, filter), 0.0)) - rest)
        light[filter or "none"] = negative.transmittance * np.maximum(found, 0)
    return densities(paper, light)


def ideal_greys(doses: Mapping[tuple[str, str], float], negative: Negative, paper: Paper) -> Greys:
    """The same as it looks on a display, in greys of 8 bit."""
    return greys_of_print(ideal_print(doses, negative, paper))
