"""The core under real MicroPython: how fast it draws and plans, and what it keeps on the heap.

MicroPython here is the desktop's, whose words are 64 bits: on a board, with 32, most objects take half.
"""

import json
import tempfile
from pathlib import Path

from tests.figures import speeds
from tests.figures.comparison import Figure, of, spread_of
from tests.figures.prints import sixty_four_marks
from tests.micropython import compile_all, run
from timing_core.canonical import encode

HEAP = "640k"
"""Room for what measures, beside what is measured."""

FRAMES_BUDGET = 1000 / speeds.PANEL_MS
"""Frames a second that a lit panel wants."""


def _run(folder: Path, program: str, argument: str) -> dict:
    done = run(["-m", f"tests.figures.{program}", argument], folder, HEAP)
    assert done.returncode == 0, done.stderr or done.stdout
    return json.loads(done.stdout)


def figures(repeats: int) -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = compile_all(Path(name))
        theirs = _run(folder, "speeds", str(repeats))
        # A text of this length cannot be handed over as an argument there.
        (folder / "work.json").write_bytes(encode(sixty_four_marks().to_dict()))
        kept = _run(folder, "heap", "work.json")
    ours = speeds.measure(repeats)
    rows = []
    for key, what in (("lit", "Frames drawn under light"), ("screen", "Frames drawn of the Print screen")):
        on_desk = spread_of(ours[key]).each(lambda us: 1e6 / us)
        small = spread_of(theirs[key]).each(lambda us: 1e6 / us)
        rows.append(of(f"{what}, CPython", on_desk, "/s", budget=FRAMES_BUDGET))
        rows.append(
            of(
                f"{what}, MicroPython",
                small,
                "/s",
                rival="CPython",
                rival_value=on_desk.median,
                budget=FRAMES_BUDGET,
            )
        )
    rows.append(
        of(
            "Plan of 4 passes, 64 marks, MicroPython",
            spread_of(theirs["plan"]),
            "us",
            rival="CPython",
            rival_value=spread_of(ours["plan"]).median,
            more_is_better=False,
        )
    )
    for key, what in (
        ("imported", "Heap of the core, MicroPython, 64 bits: imported"),
        ("powered_up", "  powered up, first screen drawn"),
        ("exposing", "  under light, 64 marks at work"),
    ):
        rows.append(Figure(what, kept[key] / 1024, "KB", more_is_better=False))
    return rows
