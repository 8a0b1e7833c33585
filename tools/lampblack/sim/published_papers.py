"""Paper records of the simulator's papers: computed from what a maker publishes of each filter, not measured.

What must live here: which figures of the simulated paper are those of a record. Run it with `python -m
lampblack.sim.published_papers` to write the folder `papers` again.
"""

import math
from pathlib import Path
from typing import Any

from host_sim.optics.paper import Paper, paper
from lampblack.cards import paper_file
from timing_core.light.paper_record import ANCHORS, NODES

PAPERS = Path(__file__).parents[1] / "papers"
PAIR = ("00", "5")
REFERENCE = "2"
EDITIONS = {
    "vc-2019": "computed, maker's sheet of 2019",
    "vc-2020": "computed, maker's sheet of 2020",
}


def record_of(name: str) -> dict[str, Any]:
    """The paper record of one of EDITIONS, as `PaperRecord.to_dict` has it."""
    own = paper(name)
    tones = tones_of(own)
    middle = tones[ANCHORS.index("middle")]
    reference = own.exposure(middle, REFERENCE)
    filters = []
    for key, published in own.filters.items():
        offsets = [_stops120(own.exposure(tone, key) / reference) for tone in tones]
        filters.append(["" if key == "none" else key, _tenths(published.iso_range), *offsets])
    soft, hard = PAIR
    units = [_light(own, soft, hard, node / 64) for node in NODES]
    light, _, black = ([_stops120(exposure(own, unit, tone)) for unit in units] for tone in tones)
    return {
        "name": name,
        "edition": EDITIONS[name],
        "filters": filters,
        "pair": list(PAIR),
        "r10": [_tenths(range_of(own, unit)) for unit in units],
        "qa": light,
        "qs": black,
        "speed": round(own.filters[REFERENCE].iso_speed),
    }


def tones_of(own: Paper) -> tuple[float, float, float]:
    """The densities of the core's ANCHORS, net."""
    return 0.10, 0.60, 0.90 * own.dmax


def _light(own: Paper, soft: str, hard: str, share: float) -> dict[str, float]:
    """The lux seconds through the two filters that by the sum rule leave a middle tone."""
    return {
        soft: 1000 * (1 - share) / own.filters[soft].iso_speed,
        hard: 1000 * share / own.filters[hard].iso_speed,
    }


def exposure(own: Paper, light: dict[str, float], density: float) -> float:
    """How many times `light`, in lux seconds for each filter, leaves `density`."""
    low, high = -6.0, 6.0
    for _ in range(60):
        middle = (low + high) / 2
        if own.density({key: lux_s * 10**middle for key, lux_s in light.items()}) < density:
            low = middle
        else:
            high = middle
    return 10**high


def range_of(own: Paper, light: dict[str, float]) -> float:
    """The ISO range of a sheet that gets `light`, through several filters in this proportion."""
    return 100 * math.log10(exposure(own, light, 0.90 * own.dmax) / exposure(own, light, 0.04))


def _stops120(ratio: float) -> int:
    return round(120 * math.log2(ratio))


def _tenths(number: float) -> int:
    return round(10 * number)


def text_of(name: str) -> str:
    """The file of one of EDITIONS."""
    return "#:schema ../cards/paper.schema.json\n\n" + paper_file.dump(record_of(name))


if __name__ == "__main__":
    for edition in EDITIONS:
        (PAPERS / f"{edition}.toml").write_text(text_of(edition), encoding="utf-8")
