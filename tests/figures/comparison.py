"""Figures with units, each compared with a rival in the same run.

What must live here: taking times, and how figures are shown. It may not know what is measured.
"""

import math
import os
import statistics
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from rich.table import Table
from rich.text import Text


class Spread(NamedTuple):
    """The median of several repeats, the least and the most."""

    median: float
    low: float
    high: float

    def each(self, change: Callable[[float], float]) -> "Spread":
        """The same spread in another unit; `change` may turn it round."""
        low, high = sorted((change(self.low), change(self.high)))
        return Spread(change(self.median), low, high)


def spread_of(repeats: list[float]) -> Spread:
    return Spread(statistics.median(repeats), min(repeats), max(repeats))


@dataclass
class Figure:
    """One row. `rival` names who did the same work in the same run; "" where there is none.

    `more_is_better` says which way the figure is good; `budget` is the bound on that side, in `unit`.
    """

    what: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    rival: str = ""
    rival_value: float | None = None
    more_is_better: bool = True
    budget: float | None = None

    @property
    def ratio(self) -> float | None:
        """How many times better than the rival; under 1 the rival is the better one."""
        if self.rival_value is None:
            return None
        better, worse = self.value, self.rival_value
        if not self.more_is_better:
            better, worse = abs(worse), abs(better)
        return better / worse if worse else math.inf

    @property
    def kept(self) -> bool | None:
        """True if the figure is inside its budget; None where it has none."""
        if self.budget is None:
            return None
        return self.value > self.budget if self.more_is_better else abs(self.value) < self.budget

    def plain(self) -> dict[str, Any]:
        """The row as JSON-ready data. A ratio without end (the rival has no fault at all) is left out."""
        ratio = self.ratio
        ratio = None if ratio is not None and math.isinf(ratio) else ratio
        return {**asdict(self), "ratio": ratio, "kept": self.kept}


def of(what: str, spread: Spread, unit: str, **more: Any) -> Figure:
    """A figure with the spread of its repeats."""
    return Figure(what, spread.median, unit, spread.low, spread.high, **more)


WALL = time.perf_counter
PROCESSOR = WALL if os.name == "nt" else time.process_time
"""Seconds this process was worked on: wall time, but for what else the machine does meanwhile. Windows counts
them in steps as long as a whole run, so there it is wall time altogether."""


def side_by_side(
    repeats: int,
    *runs: tuple[Callable[[], Any], Callable[[Any], object]],
    clock: Callable[[], float] = PROCESSOR,
) -> list[Spread]:
    """Seconds of each run, a pair of what prepares it and what is timed with what was prepared.

    They take turns, so that whatever else the machine does hits all alike. The first turn is not counted.
    """
    taken: list[list[float]] = [[] for _ in runs]
    for turn in range(repeats + 1):
        for times, (prepare, run) in zip(taken, runs, strict=True):
            ready = prepare()
            began = clock()
            run(ready)
            if turn:
                times.append(clock() - began)
    return [spread_of(times) for times in taken]


def seconds(repeats: int, run: Callable[[], object]) -> Spread:
    """Processor seconds of `run`."""
    return side_by_side(repeats, (lambda: None, lambda _: run()))[0]


def number(value: float) -> str:
    """A figure in four digits at most, or in whole numbers: 104,089; 12.35; 0.0003."""
    if value == 0 or abs(value) >= 1000:
        return f"{value:,.0f}"
    if abs(value) < 0.1:
        return f"{value:.4f}"
    return f"{value:.{max(0, 3 - math.floor(math.log10(abs(value))))}f}"


def table(figures: Iterable[Figure], machine: str) -> Table:
    """The figures as one table, the machine beneath it."""
    shown = Table(title="Figures", title_justify="left", caption_justify="left", box=None, pad_edge=False)
    shown.add_column("what")
    shown.add_column("figure", justify="right")
    shown.add_column("lowest .. highest", justify="right")
    shown.add_column("rival in the same run")
    shown.add_column("its figure", justify="right")
    shown.add_column("ratio", justify="right")
    shown.add_column("budget", justify="right")
    for row in figures:
        spread = "" if row.low is None or row.high is None else f"{number(row.low)} .. {number(row.high)}"
        ratio = row.ratio
        budget = Text()
        if row.budget is not None:
            budget.append(f"{'over' if row.more_is_better else 'under'} {number(row.budget)}: ")
            budget.append("kept" if row.kept else "MISSED", style="green" if row.kept else "bold red")
        shown.add_row(
            row.what,
            f"{number(row.value)} {row.unit}",
            spread,
            row.rival,
            "" if row.rival_value is None else f"{number(row.rival_value)} {row.unit}",
            "" if ratio is None or math.isinf(ratio) else f"{number(ratio)}x",
            budget,
        )
    shown.caption = (
        "Medians of repeats: in wall time over a port and beside MicroPython, in processor time elsewhere.\n"
        "Ratio: times better than the rival; under 1 the rival is better.\n" + machine
    )
    return shown
