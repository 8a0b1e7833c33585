"""The timeline: what lamp, safelight, sounds and stages did, with their ms, for a person to look at.

What must live here: keeping what happened and showing it. It watches a session and never touches it.
"""

from __future__ import annotations

from html import escape
from typing import Any

from host_sim.session import Session, Trace, Watcher
from timing_core.run import stage_name

Row = tuple[int, str, Any]
"""When in ms, what ("lamp", "safelight", "sound", "stage" or "reset"), and its value: 1 or 0, a sound's name,
a stage's name ("" for none)."""


class Timeline(Watcher):
    """Watches `session`. `rows` only grows, so whoever has seen N rows asks for `since(N)`."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.rows: list[Row] = []
        self._lines: list[str] = []
        self._trace = Trace(session, self._lines.append)
        self._stage = ""

    def since(self, count: int) -> list[Row]:
        """The rows after the first `count`."""
        return self.rows[count:]

    def trace(self) -> str:
        """Every input and output so far, one line of JSON each."""
        return "".join(line + "\n" for line in self._lines)

    def lamp(self, now_ms: int, on: bool) -> None:
        self.rows.append((now_ms, "lamp", int(on)))

    def input(self, now_ms: int, event: str, value: object) -> None:
        self._trace.input(now_ms, event, value)

    def output(self, now_ms: int, kind: str, value: object) -> None:
        self._trace.output(now_ms, kind, value)
        box = self.session.box
        stage = stage_name(box.stages[box.at]) if box.stages else ""
        if stage != self._stage:
            self._stage = stage
            self.rows.append((now_ms, "stage", stage))
        if kind in ("sound", "safelight"):
            self.rows.append((now_ms, kind, value))

    def reset(self, now_ms: int) -> None:
        self._trace.reset(now_ms)
        self._stage = ""
        self.rows += [(now_ms, "reset", 0), (now_ms, "stage", "")]

    def svg(self) -> str:
        """All of it as one picture."""
        texts = "".join(f"<text>{escape(str(row))}</text>" for row in self.rows)
        return f'<svg xmlns="http://www.w3.org/2000/svg">{texts}</svg>'
