"""What the run of a guided test does that a print's does not: strikes that follow one another by themselves,
and time to wait between lights.

What must live here: when the next strike of PULSES comes, what becomes of a hold meanwhile, and what a WAIT
counts. It lights nothing: that is `exposing`'s.
"""

from timing_core.light.plan import WAIT
from timing_core.machine.dark_time import BETWEEN_MS, DarkTime
from timing_core.machine.exposing import Exposing
from timing_core.platform import const

_PIPS = const(3)


class GuidedRun:
    """`dark` counts the dark time under way."""

    def __init__(self, exposing: Exposing) -> None:
        self.exposing = exposing
        self.run = exposing.run
        self.io = exposing.io
        self.dark = DarkTime()

    # --- strikes that follow one another

    def is_pulsing(self) -> int:
        """The strike under way is one of several that are short enough to be given whole."""
        run = self.run
        return run.stages[run.at].pulse_ms

    def hold_after(self) -> None:
        """The strike under way runs out, and none follows."""
        self.run.holds = True

    def holds_after(self) -> bool:
        return self.run.holds

    def more_follow(self) -> bool:
        """The strike was given whole, and another of the same stage is to follow."""
        run = self.run
        return run.stages[run.at].pulse_ms > 0 and run.given_ms == run.goal_ms and not run.holds

    def was_held(self) -> bool:
        return self.run.holds and self.run.given_ms == self.run.goal_ms

    def begin_between(self) -> None:
        """Dark again: what is given so far is noted, for a power cut."""
        self.dark.begin(self.io.now_ms, BETWEEN_MS)
        self.exposing.write_journal(aloud=False)

    def is_between(self) -> int:
        return self.dark.left_ms(self.io.now_ms)

    def due_ms(self) -> int:
        return self.dark.due_ms(self.io.now_ms)

    # --- waiting

    def is_wait(self) -> bool:
        run = self.run
        return run.stages[run.at].kind == WAIT

    def is_unbegun(self) -> bool:
        """No wait is paused here, of which a turn would lose what it has lasted."""
        return not self.run.given_ms

    def begin_wait(self) -> None:
        """Count what is left of the wait, with the safelight as the test wants it."""
        run, stage = self.run, self.run.stage
        self.exposing.lamp.keep_dark(not stage.safelight)
        self.dark.begin(self.io.now_ms, stage.light_ms - run.given_ms)

    def count_wait(self) -> None:
        """A second of it is over: the last three are heard."""
        run = self.run
        left_ms = self.dark.left_ms(self.io.now_ms)
        run.given_ms = run.stage.light_ms - left_ms
        if left_ms <= 1000 * _PIPS and left_ms % 1000 == 0:
            self.io.put("sound", "pip")
        self.io.picture()

    def pause_wait(self) -> None:
        self.exposing.lamp.keep_dark(True)
        run = self.run
        run.given_ms = run.stage.light_ms - self.dark.left_ms(self.io.now_ms)

    def wait_follows(self) -> bool:
        """Another wait of the same sheet comes by itself."""
        after = self.run.stages[self.run.at + 1]
        return after.kind == WAIT and not after.fresh

    def next_wait(self) -> None:
        """The hands cover the next part while it counts."""
        self._leave_wait()
        self.io.put("sound", "fit")
        self.begin_wait()
        self.io.picture()

    def end_wait(self) -> None:
        self._leave_wait()
        self.exposing.lamp.keep_dark(True)
        self.io.put("sound", "end")
        self.io.picture()

    def _leave_wait(self) -> None:
        self.exposing.go_to(self.run.at + 1)

    # --- the end

    def end_test(self) -> None:
        self.exposing.note_stage()
        self.io.put("sound", "end")
        self.exposing.close()

    def test_is_whole(self) -> bool:
        return self.exposing.is_done("test")
