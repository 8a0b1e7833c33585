"""A strip as it was read, whatever it was read with.

What must live here: the form of it, which needs no library.
"""

from collections.abc import Sequence
from typing import NamedTuple


class Strip(NamedTuple):
    """One strip as it was read. `readings` has (light, density), `base` the densities of unexposed paper and
    `black` (light, density) of pieces that got far more light than any patch; light 0 where not known.
    `step_sigma` is how far the logarithm of a light may be off (1 sigma)."""

    filter: str
    readings: Sequence[tuple[float, float]]
    base: Sequence[float] = ()
    black: Sequence[tuple[float, float]] = ()
    step_sigma: float = 0.0

    @property
    def called(self) -> str:
        return f"Filter {self.filter}" if self.filter else "No filter"
