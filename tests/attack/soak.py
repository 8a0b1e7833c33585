"""A day in a busy darkroom, with faults at random: memory, store and the longest event are flat.

What must live here: what flat means. The day itself is in `tests.portable.soak`, since MicroPython plays it
too, in a heap that does not grow: `python -m tests.attack.soak --seed 1` shows both.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter
from pathlib import Path

from tests import micropython
from tests.portable.soak import ROOM, soak

HOURS = 24
WARM = 4
"""By then the ledger is full, as it stays."""
HEAP = "600k"
"""What a box takes on a desk, with a disk that is in memory too."""

Hours = list[tuple[int, ...]]


def day(seed: int, hours: int = HOURS) -> Hours:
    told: Hours = []
    soak(seed, hours, told.append)
    return told


def day_on_micropython(seed: int, hours: int = HOURS) -> Hours:
    with tempfile.TemporaryDirectory() as folder:
        compiled = micropython.compile_all(Path(folder))
        done = micropython.run(["-m", "tests.portable.soak", str(seed), str(hours)], compiled, HEAP)
    assert done.returncode == 0, done.stdout + done.stderr
    return [tuple(map(int, line.split())) for line in done.stdout.splitlines()]


def check(told: Hours, grows: bool) -> None:
    """`grows`: the memory that is told is used, and not free."""
    assert len(told) > 2 * WARM
    middle = (len(told) + WARM) // 2
    early, late = told[WARM:middle], told[middle:]
    # What is kept may be more or less, and lies in memory too: up to two bytes for each.
    slack = 0 if grows else 2 * ROOM // 10
    before, after = ([hour[2] for hour in part] for part in (early, late))
    if grows:
        assert max(after) <= 1.03 * max(before), f"objects grow from {max(before)} to {max(after)}"
    else:
        assert min(after) >= min(before) - slack, f"free memory falls from {min(before)} to {min(after)}"
    assert max(hour[3] for hour in told) <= ROOM, "more is kept than there is room"


def play(chance: random.Random, count: Counter[str]) -> None:
    told = day(chance.randrange(1, 1 << 30), HOURS // 2)
    check(told, grows=True)
    count["hours"] += len(told)
    count["events"] += sum(hour[1] for hour in told)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.attack.soak", description="A day, twice.")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hours", type=int, default=HOURS)
    given = parser.parse_args()
    heads = "hour, events, objects or bytes free, bytes kept, files kept, longest event in us"
    for name, play_day, grows in (("CPython", day, True), ("MicroPython", day_on_micropython, False)):
        told = play_day(given.seed, given.hours)
        print(f"{name}: {heads}", *(" ".join(map(str, hour)) for hour in told), sep="\n")
        check(told, grows)


if __name__ == "__main__":
    main()
