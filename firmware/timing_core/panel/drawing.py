"""The pictures on the panel: 128 x 64 pixels, one bit each, drawn by core code alone.

What must live here: layout. What a control will do comes from the transition table (`box.says`), and what a
screen of rows shows comes from its rows; this file decides nothing. `draw` returns the frame that is sent
to the display: 1,024 bytes, eight rows of 128 columns, the lowest bit on top.

Law: drawing while the lamp is lit allocates nothing. The words shown then are encoded beforehand, while the
stage is ready.
"""

from timing_core.light.plan import FIT, filter_text, stage_hint, stage_name
from timing_core.light.stops import stops_text
from timing_core.machine.transitions import LIT
from timing_core.panel.letters import LARGE, MEDIUM, Pen, clip, in_letters, width
from timing_core.panel.rows import NAMES
from timing_core.platform import Platform, const

WIDTH = 128
HEIGHT = 64
_LINE = const(8)
MONO_VLSB = 0

_RUNNING = ("ready", "held")
_LEFT_COLUMN = const(0)
_RIGHT_COLUMN = const(62)
_LIT_COLUMN = const(72)
_BAR_X = const(2)
_BAR_WIDTH = const(124)


class Drawing:
    """Draws a box. One frame, reused."""

    def __init__(self, box, platform: Platform) -> None:
        self.buffer = bytearray(WIDTH * HEIGHT // 8)
        self.fb = platform.FrameBuffer(self.buffer, WIDTH, HEIGHT, MONO_VLSB)
        self.pen = Pen(platform.FrameBuffer)
        # Words of lit screens, by what the table says
        self._lit_words = {}
        for state in LIT:
            for says in box.machine.promises(state):
                self._lit_words[says] = in_letters(says)
        self._viewing_title = in_letters("Viewing light")
        self._expose = in_letters("EXPOSE ")
        self._back = in_letters("BACK ")
        self._lamp = in_letters("LAMP ")
        self._wait = in_letters("Wait")
        self.show(box)

    def show(self, box) -> None:
        """Draw this box from now on."""
        self.box = box
        self._words: tuple = (None, b"", b"", (), ())

    def draw(self) -> bytearray:
        """Draw the box as it is now and return the frame."""
        box = self.box
        self.fb.fill(0)
        if box.state in LIT:
            if box.lamp.strike.viewing:
                self._viewing()
            else:
                self._exposing()
        elif box.state in _RUNNING:
            self._running()
        elif box.state == "choose":
            self._choosing()
        elif box.state == "notice":
            self._head("A run was cut off", "")
            self._message(box.message or box.findings.known)
            self._foot()
        elif box.state == "ask":
            self._head("Another run?", "")
            self._message(box.message or box.exposing.kept_text())
            self._foot()
        elif box.state == "counting":
            title = box.acceptance.counting.draw(self.buffer, self.fb, self.pen)
            if title:
                self._head(title, "")
                self._foot()
        elif box.state == "away" or box.state == "off":
            self._head("Lampblack", "")
            self._message("Handed over to the prompt. Restart to use the box." if box.state == "away" else "")
        else:
            self._rows()
        return self.buffer

    # --- pieces

    def _head(self, left: str, right: str) -> None:
        right_bytes = clip(in_letters(right), WIDTH - 6 - min(width(in_letters(left)), WIDTH // 2))
        room = WIDTH - width(right_bytes) - 4
        self.fb.fill_rect(0, 0, WIDTH, _LINE, 1)
        self.pen.text(self.fb, clip(in_letters(left), room), 1, 0, 0)
        self.pen.text(self.fb, right_bytes, WIDTH - 1 - width(right_bytes), 0, 0)

    def _foot(self) -> None:
        """Three lines: what each control will do now."""
        says = self.box.machine.says("expose")
        if says:
            self.fb.fill_rect(0, 40, WIDTH, _LINE, 1)
            self.pen.text(self.fb, clip(in_letters("EXPOSE " + says), WIDTH - 2), 1, 40, 0)
        self._hint("BACK ", "back", _LEFT_COLUMN, 48, _RIGHT_COLUMN - 2)
        self._hint("LAMP ", "lamp", _LEFT_COLUMN, 56, _RIGHT_COLUMN - 2)
        self._hint("turn ", "dial", _RIGHT_COLUMN, 48, WIDTH - _RIGHT_COLUMN)
        self._hint("press ", "press", _RIGHT_COLUMN, 56, WIDTH - _RIGHT_COLUMN)

    def _hint(self, name: str, control: str, x: int, y: int, room: int) -> None:
        says = self.box.machine.says(control)
        if says:
            self.pen.text(self.fb, clip(in_letters(name + says), room), x, y)

    def _message(self, text: str) -> None:
        """Words between head and foot: four lines, or five where EXPOSE has no line of its own. A word
        longer than a line, which only a name can be, is cut."""
        y = _LINE
        line = ""
        for word in text.split(" "):
            longer = line + " " + word if line else word
            if width(in_letters(longer)) > WIDTH and line:
                self.pen.text(self.fb, clip(in_letters(line), WIDTH), 0, y)
                y += _LINE
                longer = word
            line = longer
        self.pen.text(self.fb, clip(in_letters(line), WIDTH), 0, y)

    # --- dark screens

    def _rows(self) -> None:
        box = self.box
        panel = box.panel
        self._head(panel.screen.heading, panel.screen.about(panel))
        if box.message:
            self._message(box.message)
        else:
            rows = panel.rows()
            top = max(0, min(box.panel.cursor.at - 1, len(rows) - 4))
            for line in range(min(4, len(rows) - top)):
                self._row(rows[top + line], top + line == box.panel.cursor.at, _LINE * (line + 1))
            # A small mark in the margin tells of rows above or below that are not shown.
            if top > 0 and box.panel.cursor.at != top:
                self._more(_LINE + 1, 1)
            if top + 4 < len(rows) and box.panel.cursor.at != top + 3:
                self._more(5 * _LINE - 4, -1)
        self._foot()

    def _row(self, row, here: bool, y: int) -> None:
        label = in_letters(row.label)
        value = in_letters(self.box.panel.value(row))
        if row.does & NAMES:
            value = clip(value, WIDTH - 12 - width(label))
        x = WIDTH - 1 - width(value)
        editing = here and self.box.state == "edit"
        if editing:
            self.fb.fill_rect(x - 2, y, WIDTH - x + 2, _LINE, 1)
        if here:
            self.pen.text(self.fb, in_letters("▸"), 0, y)
        self.pen.text(self.fb, clip(label, x - 10), 7, y)
        self.pen.text(self.fb, value, x, y, 0 if editing else 1)

    def _more(self, y: int, grows: int) -> None:
        for line in range(3):
            wide = 2 * line + 1 if grows > 0 else 5 - 2 * line
            self.fb.hline(3 - wide // 2, y + line, wide, 1)

    def _running(self) -> None:
        box = self.box
        stage = box.run.stage
        self.prepare()
        word = "held" if box.state == "held" else self._count_of(box)
        if box.run.is_again and box.state == "ready" and stage.kind != FIT:
            word = filter_text(stage.filter)  # it may have been changed in the meantime
        self._head(stage_name(stage), word)
        if box.message:
            self._message(box.message)
        elif stage.kind == FIT:
            self.pen.text(self.fb, in_letters(stage_hint(stage)), 1, 14)
        else:
            self.pen.text(self.fb, clip(in_letters(stage_hint(stage)), WIDTH), 1, 8)
            MEDIUM.draw(self.fb, (box.exposing.left_shown_ms() + 50) // 100, WIDTH - 2, 17)
            self._bar(stage, 34)
        self._foot()

    def _choosing(self) -> None:
        box = self.box
        strip = box.work.strip
        self._head("Choose a patch", "%s strip" % strip.kind)
        if box.message:
            self._message(box.message)
        else:
            each = _BAR_WIDTH // strip.patches
            for patch in range(strip.patches):
                if box.panel.cursor.place == 2 * patch:
                    self.fb.fill_rect(_BAR_X + patch * each, 10, each - 1, 7, 1)
                else:
                    self.fb.rect(_BAR_X + patch * each, 10, each - 1, 7, 1)
            if box.panel.cursor.place % 2:
                self.fb.fill_rect(_BAR_X + (box.panel.cursor.place + 1) // 2 * each - 2, 9, 3, 9, 1)
            MEDIUM.draw(self.fb, (strip.total_ms(box.work.map, box.panel.cursor.place) + 50) // 100, 80, 20)
            if strip.step_stops120:
                shift = in_letters(stops_text(strip.shift(box.panel.cursor.place)))
                self.pen.text(self.fb, shift, WIDTH - 1 - width(shift), 24)
        self._foot()

    @staticmethod
    def _count_of(box) -> str:
        """Which of the run's lights this is, as "2 of 7"; "" for a filter."""
        lights = [index for index in range(len(box.run.stages)) if box.run.stages[index].kind != FIT]
        return "%d of %d" % (lights.index(box.run.at) + 1, len(lights)) if box.run.at in lights else ""

    # --- lit screens: no allocation from here on, once `prepare` has run

    def prepare(self) -> None:
        """Encode the words that the stage's lit screen will show. Outside of a run this does nothing.

        On a board EXPOSE may cut in anywhere, and light the stage, so they are put in place all at once.
        """
        box = self.box
        stage = box.run.stage if box.run.stages else None
        if stage is None or self._words[0] is stage:
            return
        count = in_letters(self._count_of(box))
        title = clip(in_letters(stage_name(stage)), WIDTH - 6 - width(count))
        now = [clip(in_letters("Shade " + window.area), WIDTH) for window in stage.windows]
        coming = [clip(in_letters("Next: " + window.area), WIDTH) for window in stage.windows]
        self._words = (stage, count, title, now, coming)

    def _exposing(self) -> None:
        box = self.box
        fb = self.fb
        pen = self.pen
        self.prepare()
        stage, count, title, areas_now, areas_next = self._words
        fb.fill_rect(0, 0, WIDTH, _LINE, 1)
        pen.text(fb, title, 1, 0, 0)
        pen.text(fb, count, WIDTH - 1 - width(count), 0, 0)
        LARGE.draw(fb, (box.exposing.left_shown_ms() + 99) // 100, 126, 9)
        self._bar(stage, 42)
        so_far_ms = box.exposing.light_so_far_ms()
        for index in range(len(stage.windows)):
            window = stage.windows[index]
            if so_far_ms < window.close_ms:
                words = areas_now if so_far_ms >= window.open_ms else areas_next
                pen.text(fb, words[index], 0, 48)
                break
        if box.state == "stopping":
            pen.text(fb, self._wait, 0, 56)
        else:
            x = pen.text(fb, self._expose, 0, 56)
            pen.text(fb, self._lit_words[box.machine.says("expose")], x, 56)
            x = pen.text(fb, self._back, _LIT_COLUMN, 56)
            pen.text(fb, self._lit_words[box.machine.says("back")], x, 56)

    def _bar(self, stage, y: int) -> None:
        """How much of the stage's light is given, with its dodge windows as gaps in the rail."""
        fb = self.fb
        whole_ms = max(1, stage.light_ms)
        given = self.box.exposing.light_so_far_ms() * _BAR_WIDTH // whole_ms
        fb.rect(_BAR_X - 1, y, _BAR_WIDTH + 2, 5, 1)
        fb.fill_rect(_BAR_X, y + 1, given, 3, 1)
        for index in range(len(stage.windows)):
            window = stage.windows[index]
            x = _BAR_X + window.open_ms * _BAR_WIDTH // whole_ms
            end = _BAR_X + window.close_ms * _BAR_WIDTH // whole_ms
            fb.fill_rect(x, y, max(2, end - x), 5, 0)
            fb.hline(x, y + 2, max(2, end - x), 1)
            if _BAR_X + given > x:
                fb.fill_rect(x, y + 1, min(_BAR_X + given, end) - x, 3, 1)

    def _viewing(self) -> None:
        box = self.box
        fb = self.fb
        fb.fill_rect(0, 0, WIDTH, _LINE, 1)
        self.pen.text(fb, self._viewing_title, 1, 0, 0)
        left_ms = box.lamp.strike.left_ms(box.io.now_ms)
        if box.state == "arming":
            left_ms = box.bench.get("viewing_limit_s") * 1000
        LARGE.draw(fb, (left_ms + 999) // 1000, 126, 14, 1, False)
        if box.state != "stopping":
            x = self.pen.text(fb, self._lamp, 0, 56)
            self.pen.text(fb, self._lit_words[box.machine.says("lamp")], x, 56)
            x = self.pen.text(fb, self._back, _LIT_COLUMN, 56)
            self.pen.text(fb, self._lit_words[box.machine.says("back")], x, 56)
