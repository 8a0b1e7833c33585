"""The best of each exercise: in memory, or in a file of the simulator's own, beside what the box keeps.

What must live here: keeping them. It may not know the box, nor what an exercise is.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

FILE = "practice.json"
"""In the folder of a kept box. The store takes it for none of its records: their names end in .0 or .1."""


class Scores:
    """`path` is the file; None: forgotten at the end. A file that is damaged is begun again."""

    def __init__(self, path: Path | None = None) -> None:
        self._path = path
        self._best: dict[str, int] = {}

    def best(self, exercise: str) -> int | None:
        """The least error so far, in millionths of a stop."""
        if self._path is not None:
            self._best = self._read(self._path)
        return self._best.get(exercise)

    @staticmethod
    def _read(path: Path) -> dict[str, int]:
        try:
            kept: Any = json.loads(path.read_bytes())
        except (OSError, ValueError):
            kept = None
        if not isinstance(kept, dict):
            return {}
        return {name: best for name, best in kept.items() if isinstance(best, int)}

    def keep(self, exercise: str, best: int) -> None:
        """OSError where the file cannot be written; it is then as it was."""
        self._best[exercise] = best
        if self._path is not None:
            new = self._path.with_suffix(".new")
            new.write_text(json.dumps(self._best, sort_keys=True) + "\n", encoding="utf-8")
            new.replace(self._path)
