"""The strike under way: what is due between the press that lights the lamp and the lamp's report.

What must live here: times within one strike. It may not know runs, screens, or what the light is for. While
the lamp is lit nothing here allocates, and no number leaves 30 bits.
"""

from timing_core.light.plan import CUE_LENGTH_MS
from timing_core.platform import const
from timing_core.ticks import later, since

_OVERDUE_MS = const(250)
"""A lamp that has not reported its end this long after it was due is put out again. If it does not report
that either, it is taken to be out."""

PIP_LENGTH_MS = 50
"""Room for a pip: no tick cuts it off. `panel.sounds` makes it a little shorter."""

_NEVER_MS = const(1 << 29)
_TICK_MS = const(1000)


class Strike:
    """One strike of the lamp. `is_lit` from `begin` to `end`; `stopping` from `put_out` to `end`.

    `axis_ms` is what of the lamp's time gives no light yet (the lag), less the light that the stage has had
    before: lamp time less `axis_ms` is the stage's light so far. `panel_ms` is how often a lit screen wants a
    new picture; 0 means no panel.
    """

    def __init__(self, panel_ms: int) -> None:
        self._panel_ms = panel_ms
        self.is_lit = False
        self.stopping = False
        self.viewing = False
        self.lamp_ms = 0
        self._axis_ms = 0
        self._struck_ms = 0
        self._stopped_ms = 0
        self._picture_ms = 0
        self._picture_step_ms = 0

    def begin(self, now_ms: int, lamp_ms: int, axis_ms: int, viewing: bool) -> None:
        self.is_lit = True
        self.stopping = False
        self.viewing = viewing
        self.lamp_ms = lamp_ms
        self._axis_ms = axis_ms
        self._struck_ms = now_ms
        self._picture_step_ms = max(self._panel_ms, _TICK_MS) if viewing else self._panel_ms
        self._picture_ms = self._picture_step_ms

    def put_out(self, now_ms: int) -> None:
        self.stopping = True
        self._stopped_ms = now_ms

    def end(self) -> None:
        self.is_lit = self.stopping = False

    def light_ms(self, now_ms: int) -> int:
        """Light that the stage has had by now, that of earlier strikes included."""
        return since(self._stopped_ms if self.stopping else now_ms, self._struck_ms) - self._axis_ms

    def lit_ms(self) -> int:
        """How long the lamp was lit when it was put out."""
        return since(self._stopped_ms, self._struck_ms)

    def left_ms(self, now_ms: int) -> int:
        """Lamp time that is left."""
        return max(0, self.lamp_ms - since(now_ms, self._struck_ms))

    def overdue(self, now_ms: int) -> bool:
        if self.stopping:
            return since(now_ms, self._stopped_ms) >= _OVERDUE_MS
        return since(now_ms, self._struck_ms) >= self.lamp_ms + _OVERDUE_MS

    def due_ms(self, sound_ms: int) -> int:
        """When a tick is wanted; `sound_ms` is the stage's light at which a sound is due."""
        if self.stopping:
            return later(self._stopped_ms, _OVERDUE_MS)
        due = self.lamp_ms + _OVERDUE_MS
        if not self.viewing and sound_ms + self._axis_ms < due:
            due = sound_ms + self._axis_ms
        if self._panel_ms and self._picture_ms < due:
            due = self._picture_ms
        # With a negative lag a cue may be due before the strike
        return later(self._struck_ms, due if due > 0 else 0)

    def picture_is_due(self, now_ms: int) -> bool:
        """True once for each time that a new picture is due."""
        if not self._panel_ms:
            return False
        lit_ms = since(now_ms, self._struck_ms)
        if lit_ms < self._picture_ms:
            return False
        self._picture_ms = lit_ms - lit_ms % self._picture_step_ms + self._picture_step_ms
        return True


class Cues:
    """The sounds of one stage under light: its cues, and a tick each full second. `next_ms` is the stage's
    light at which the next cue is due, and `due_ms` that at which the next sound is."""

    def __init__(self) -> None:
        self._cues: list = []
        self._end_ms = 0
        self._at = 0
        self._tick_ms = self.due_ms = _TICK_MS
        self.next_ms = _NEVER_MS
        self._begun = False

    def clear(self) -> None:
        """Another stage comes."""
        self._begun = False

    def begin(self, cues: list, end_ms: int, given_ms: int) -> None:
        """Begin a stage, or go on with it: what it has sounded is not sounded again."""
        if self._begun:
            return
        self._begun = True
        self._cues, self._end_ms = cues, end_ms
        self._at = 0
        while self._at < len(cues) and cues[self._at][0] <= given_ms:
            self._at += 1
        self._tick_ms = (given_ms // _TICK_MS + 1) * _TICK_MS
        self._look_ahead()

    def _look_ahead(self) -> None:
        self.next_ms = self._cues[self._at][0] if self._at < len(self._cues) else _NEVER_MS
        self.due_ms = self.next_ms if self.next_ms < self._tick_ms else self._tick_ms

    def take(self) -> str:
        """The sound that is due next. A cue takes the place of the tick that would cut it off."""
        cue_ms = self.next_ms
        sound = "tick"
        clear_ms = self._tick_ms + 1
        if cue_ms <= self._tick_ms:
            sound = self._cues[self._at][1]
            self._at += 1
            clear_ms = cue_ms + (PIP_LENGTH_MS if sound == "pip" else CUE_LENGTH_MS)
        if self._tick_ms < clear_ms:
            self._tick_ms += _TICK_MS
        if self._tick_ms >= self._end_ms:
            self._tick_ms = _NEVER_MS
        self._look_ahead()
        return sound
