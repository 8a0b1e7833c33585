"""Every figure, in one table: `python -m tests.figures.run [--json FILE]`.

Each figure stands beside its rival, measured in the same run on the same machine, and its budget where it
has one. The exit code is 1 if a budget was missed. What is compared, and what the rivals leave out, is said
at the top of each module.
"""

import argparse
import json
import os
import platform
import sys
from pathlib import Path

from rich.console import Console

from tests.figures import (
    doses,
    evenings,
    metering,
    on_micropython,
    page,
    plans,
    round_trips,
    savings,
    sessions,
    sheets,
)
from tests.figures.comparison import Figure, table

REPEATS = 21
QUESTIONS = 100
WIDTH = 240
"""Columns of the table where it goes to a file: it is not folded for a screen that is not there."""


def machine() -> str:
    return (
        f"{platform.system()} {platform.release()} {platform.machine()}, {os.cpu_count()} processors, "
        f"{platform.python_implementation()} {platform.python_version()}"
    )


def measure(repeats: int, questions: int) -> list[Figure]:
    """All figures: the median of `repeats`, of `questions` each where the wire is asked."""
    return [
        *sessions.figures(repeats),
        *plans.figures(repeats),
        *round_trips.figures(max(1, repeats // 3), questions),
        *doses.figures(),
        *evenings.figures(),
        *metering.figures(),
        *savings.figures(),
        *sheets.figures(max(1, repeats // 3)),
        *page.figures(repeats * 5, min(5.0, repeats / 2)),
        *on_micropython.figures(repeats),
    ]


def main(arguments: list[str], repeats: int = REPEATS, questions: int = QUESTIONS) -> int:
    parser = argparse.ArgumentParser(description="Measure figures with a budget, each beside its rival.")
    parser.add_argument("--json", metavar="FILE", type=Path, help="write the figures here too")
    into = parser.parse_args(arguments).json
    console = Console(width=None if sys.stdout.isatty() else WIDTH)
    with Console(stderr=True).status("Measuring"):
        found = measure(repeats, questions)
    console.print(table(found, machine()))
    if into:
        rows = [figure.plain() for figure in found]
        into.write_text(json.dumps({"machine": machine(), "figures": rows}, indent=2) + "\n")
    return int(any(figure.kept is False for figure in found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
