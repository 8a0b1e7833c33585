"""The timeline: what lamp, safelight, sounds, stages and trays did, with their ms, for a person to look at.

What must live here: keeping what happened and showing it. It watches a session and never touches it.
"""

from __future__ import annotations

from collections import deque
from html import escape
from typing import Any

from host_sim.box.frame_pictures import GROUND, INK
from host_sim.box.session import Session, Trace, Watcher
from host_sim.box.view import BoxView
from timing_core.canonical import encode
from timing_core.light.plan import stage_name

Row = tuple[int, str, Any]
"""When in ms, what ("lamp", "safelight", "sound", "stage", "sheet 1" and so on, or "reset"), and its value: 1
or 0, the name of a sound, a stage or a tray ("" for none). Each kind comes in the order of time; a sheet that
moves under light is told of a little late."""

_ROWS = ("stage", "lamp", "safelight", "sound")
"""The rows of the picture, above one for each sheet in the trays; their names are shown beside them."""
_ROW = 30
_BAR, _TICK = 20, 8
_TOP, _LEFT = 8, 90
_PX_PER_S = 12
_WIDTH_MIN, _WIDTH_MAX = 900, 16_000
_PX_PER_LETTER = 7.5
STEPS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600)
"""How far apart the marks of time may be."""
_MARKS_MAX = 30
LINES_MAX = 100_000
"""Of the trace: some 20 MB. An evening has fewer, unless a tool asks without end."""
SMALL_SOUNDS = ("tick", "pip")
"""Drawn small, the smallest first: they mark time, and ask for nothing."""


class Timeline(Watcher):
    """Watches `session`. `rows` only grows, so whoever has seen N rows asks for `since(N)`."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._box = BoxView(session)
        self.rows: list[Row] = []
        self._lines: deque[str] = deque(maxlen=LINES_MAX)
        self._written = 0
        self._trace = Trace(session, self._write)
        self._late: list[tuple[int, str, object]] = []
        self._stage = ""
        self._trays: dict[str, tuple[int, str]] = {}
        self._sheets = [f"sheet {place}" for place in self._box.places]
        if self._box.safelight:
            self.rows.append((session.now_ms, "safelight", 1))

    def since(self, count: int) -> list[Row]:
        """The rows after the first `count`."""
        return self.rows[count:]

    def trace(self) -> str:
        """Every input and output so far, one line of JSON each. Of more than LINES_MAX the last, under a line
        that says how many were left out."""
        self._write_late()
        left_out = self._written - len(self._lines)
        head = [encode({"left_out": left_out}).decode()] if left_out else []
        return "".join(line + "\n" for line in [*head, *self._lines])

    def _write(self, line: str) -> None:
        self._lines.append(line)
        self._written += 1

    def lamp(self, now_ms: int, on: bool) -> None:
        self._note_stage(now_ms)
        self.rows.append((now_ms, "lamp", int(on)))

    def input(self, now_ms: int, event: str, value: object) -> None:
        self._write_late()
        self._trace.input(now_ms, event, value)
        self._note_trays()

    def output(self, now_ms: int, kind: str, value: object) -> None:
        # A picture takes longer to draw than all else, and a page shall be told first: the trace has until
        # the next input, as the picture stays the same until then.
        self._late.append((now_ms, kind, value))
        self._note_stage(now_ms)
        self._note_trays()
        if kind in ("sound", "safelight"):
            self.rows.append((now_ms, kind, value))

    def _write_late(self) -> None:
        for output in self._late:
            self._trace.output(*output)
        self._late.clear()

    def _note_stage(self, now_ms: int) -> None:
        stage = self._box.stage
        name = stage_name(stage) if stage else ""
        if name != self._stage:
            self._stage = name
            self.rows.append((now_ms, "stage", name))

    def _note_trays(self) -> None:
        found = {f"sheet {sheet.place}": (sheet.began_ms, sheet.tray) for sheet in self._box.sheets()}
        for name in self._sheets:
            began_ms, tray = found.get(name, (self.session.now_ms, ""))
            before = self._trays.get(name, (0, ""))
            if (began_ms, tray) != before and (tray or before[1]):
                self.rows.append((began_ms, name, tray))
        self._trays = found

    def reset(self, now_ms: int) -> None:
        self._write_late()
        self._trace.reset(now_ms)
        self._stage = ""
        self._trays = {}
        self.rows += [(now_ms, "reset", 0), *((now_ms, kind, "") for kind in ("stage", *self._sheets))]

    def svg(self) -> str:
        """All of it so far as one picture: a row for stages, lamp, safelight, sounds and each sheet."""
        end_ms = max(self.session.now_ms, 1)
        step_s = next((s for s in STEPS_S if end_ms / 1000 / s <= _MARKS_MAX), STEPS_S[-1])
        per_ms = max(_WIDTH_MIN, min(_WIDTH_MAX, end_ms * _PX_PER_S / 1000)) / end_ms
        width = end_ms * per_ms

        rows = {name: _TOP + 4 + _ROW * at for at, name in enumerate([*_ROWS, *self._sheets])}
        bottom = _TOP + 2 + _ROW * len(rows)

        def x(ms: int) -> str:
            return f"{_LEFT + ms * per_ms:.1f}"

        drawn: list[str] = []

        def text(at: str, y: float, words: str, anchor: str = "start") -> None:
            drawn.append(f'<text x="{at}" y="{y:g}" text-anchor="{anchor}">{escape(words)}</text>')

        def bar(row: str, from_ms: int, to_ms: int, words: str = "") -> None:
            y, kind = rows[row], row.partition(" ")[0]
            long = (to_ms - from_ms) * per_ms
            drawn.append(
                f'<rect x="{x(from_ms)}" y="{y}" width="{max(long, 0.5):.1f}" height="{_BAR}" class="{kind}">'
                f"<title>{escape(words or row)}, {_seconds(from_ms)} to {_seconds(to_ms)}</title></rect>"
            )
            if words and long > _PX_PER_LETTER * len(words):
                text(f"{_LEFT + from_ms * per_ms + 3:.1f}", y + _BAR - 5, words)

        for row, y in rows.items():
            text(f"{_LEFT - 8}", y + _BAR - 5, row, "end")
        for row in ("stage", "lamp", "safelight", *self._sheets):
            for from_ms, to_ms, value in self._spans(row):
                bar(row, from_ms, to_ms, value if isinstance(value, str) else "")
        for at_ms, kind, value in self.rows:
            if kind == "sound":
                tall = _TICK if value in SMALL_SOUNDS else _BAR
                drawn.append(
                    f'<path d="M{x(at_ms)} {rows["sound"] + _BAR}v-{tall}"><title>{value}, '
                    f"{_seconds(at_ms)}</title></path>"
                )
            elif kind == "reset":
                drawn.append(
                    f'<path d="M{x(at_ms)} {_TOP}V{bottom}" stroke-dasharray="4 4"><title>plug pulled, '
                    f"{_seconds(at_ms)}</title></path>"
                )
        for mark_ms in range(0, end_ms + 1, step_s * 1000):
            drawn.append(f'<path d="M{x(mark_ms)} {bottom}v6"/>')
            text(x(mark_ms), bottom + 20, f"{mark_ms // 1000}", "middle")
        text(f"{_LEFT + width + 14:.1f}", bottom + 20, "s")
        drawn.append(f'<path d="M{_LEFT} {bottom}h{width:.1f}"/>')
        wide, tall = round(_LEFT + width + 40), bottom + 32
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{tall}" '
            f'viewBox="0 0 {wide} {tall}">'
            f"<title>Timeline, {_seconds(end_ms)}</title>"
            f"<style>text{{font:13px sans-serif;fill:{INK}}}path{{stroke:{INK};fill:none}}"
            f".lamp{{fill:{INK}}}.safelight{{fill:#801008}}.stage,.sheet{{fill:#300400;stroke:{INK}}}</style>"
            f'<rect width="{wide}" height="{tall}" fill="{GROUND}"/>' + "".join(drawn) + "</svg>\n"
        )

    def _spans(self, kind: str) -> list[tuple[int, int, Any]]:
        """From when to when something was on, up to now."""
        found = []
        since_ms, now = 0, None
        for at_ms, what, value in [*self.rows, (self.session.now_ms, kind, None)]:
            if what == kind:
                if now:
                    found.append((since_ms, at_ms, now))
                since_ms, now = at_ms, value
        return found


def _seconds(ms: int) -> str:
    return f"{ms / 1000:.3f} s"
