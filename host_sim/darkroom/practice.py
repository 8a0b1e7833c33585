"""Practice: which exercise is set up, whether a print counts for it, and how good the best one was.

What must live here: the rules of practising. It may not know the box, the room or how light is given.
"""

from __future__ import annotations

from collections.abc import Callable

from host_sim.darkroom.exercises import EXERCISES, Exercise
from host_sim.darkroom.scores import Scores
from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap


class Practice:
    """`name` is the exercise that is set up, "" for none; `counts` is true where the print under way is of
    it."""

    def __init__(self, scores: Scores) -> None:
        self._scores = scores
        self.name = ""
        self.counts = False

    def set_up(self, name: str) -> Exercise:
        self.name = name
        return EXERCISES[name]

    def begin(self, map: PrintingMap, negative: str) -> None:
        """A print begins on a fresh sheet. It counts where it is of the exercise's own card on its own
        negative."""
        exercise = EXERCISES.get(self.name)
        self.counts = bool(exercise and map.text() == encode(exercise.card) and negative == exercise.negative)

    def best_stops(self, worst_stops: float | None, tell: Callable[[str], None]) -> float | None:
        """The best print of the exercise so far, in stops; None where this one does not count. `tell` is
        told where it is not kept."""
        if not self.counts or worst_stops is None:
            return None
        try:
            return self.keep_best(worst_stops)
        except OSError as fault:
            tell(f"Your best is not kept: {fault.strerror or fault}. Look at the folder of --keep.")
            return worst_stops

    def keep_best(self, worst_stops: float) -> float:
        """The least of the largest errors of all prints of the exercise, this one too, in stops. OSError
        where it cannot be kept."""
        mine = round(worst_stops * 1e6)
        best = self._scores.best(self.name)
        if best is None or mine < best:
            self._scores.keep(self.name, mine)
            best = mine
        return best / 1e6
