"""The print that ideal hands make: each area as dense as its light makes it, and the rest as the rest."""

import numpy as np
import pytest

from host_sim.darkroom.ideal_print import ideal_greys, ideal_print
from host_sim.darkroom.planned_light import REST
from host_sim.optics.negatives import Negative
from host_sim.optics.paper import paper as paper_named
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX

CLEAR = np.full((HEIGHT_PX, WIDTH_PX), 0.25, np.float32)
SQUARE = [(0.1, 0.1), (0.4, 0.1), (0.4, 0.4), (0.1, 0.4)]
FILM = Negative("plain", "Clear film", CLEAR, {"sky": SQUARE, "sea": [(0.6, 0.6), (0.9, 0.6), (0.9, 0.9)]})


def test_each_area_has_the_density_of_its_light():
    """Held against the paper's own density for that light behind that film."""
    paper = paper_named("vc-2019")
    doses = {("sky", "00"): 20.0, ("sky", "5"): 8.0, (REST, "00"): 10.0, (REST, "5"): 12.0}
    density = ideal_print(doses, FILM, paper)
    for at, area in (((200, 250), "sky"), ((700, 100), REST), ((700, 800), REST)):
        light = {name: 0.25 * doses[area, name] for name in ("00", "5")}
        assert density[at] == pytest.approx(paper.density(light), abs=0.002)


def test_an_area_that_is_not_outlined_leaves_nothing():
    paper = paper_named("vc-2019")
    even = ideal_print({(REST, ""): 10.0}, FILM, paper)
    assert np.array_equal(ideal_print({(REST, ""): 10.0, ("boat", ""): 90.0}, FILM, paper), even)
    assert np.ptp(even) == 0


def test_more_light_is_a_darker_grey():
    paper = paper_named("vc-2019")
    greys = ideal_greys({("sky", "2"): 40.0, (REST, "2"): 2.0}, FILM, paper)
    assert greys.dtype == np.uint8
    assert greys[200, 250] < greys[700, 100]
