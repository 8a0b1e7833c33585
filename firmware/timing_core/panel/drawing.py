"""The pictures on the panel: 128 x 64 pixels, one bit each, drawn by core code alone.

What must live here: layout. What a control will do comes from the transition table (`box.says`), and what a
screen of rows shows comes from its rows; this file decides nothing. `draw` returns the frame that is sent
to the display: 1,024 bytes, eight rows of 128 columns, the lowest bit on top.

Rows and questions are for reading distance. While hands work (a stage is ready, held or lit, a patch is
chosen) what they need stands in letters of 16 pixels and figures of 32. Under light the display is to fog
nothing: there is no filled line, and of what is large every second row stays dark.

Law: drawing while the lamp is lit allocates nothing. The words shown then are encoded beforehand, while the
stage is ready.
"""

from timing_core.light.plan import BASE, BURN, COVER, FIT, FLASH, FRESH, WAIT, Stage, stage_name, stage_task
from timing_core.light.stops import STOP, stops_text
from timing_core.machine.exposing import kept_text
from timing_core.machine.transitions import LIT
from timing_core.panel.letters import LARGE, Pen, clip, enlarge, in_letters, width
from timing_core.panel.rows import NAMES, TALL
from timing_core.platform import Platform, const

WIDTH = 128
HEIGHT = 64
_LINE = const(8)
MONO_VLSB = 0

_RUNNING = ("ready", "held", "waiting")
_LEFT_COLUMN = const(0)
_RIGHT_COLUMN = const(62)
_LIT_COLUMN = const(72)
_HALF = const(64)  # the room for enlarged words, in pixels of the letters they are made of
_SECONDS_Y = const(16)
_SECONDS_END = const(48)
_RAIL_Y = const(5)
_SHADED_Y = const(2)  # both from where the seconds end
_BETWEEN = const(4)
_CLOCK_APART = const(6)  # between a tray's clock and the words beside it
_APART = const(2)  # between words of a column and the figures beside them
_WORD_APART = const(5)  # between an enlarged word and its figures
_MOST_S = const(999)  # a stage has 999.9 s at most
_FRAME = const(6)  # what the frame around the filter takes, both its sides together
_NO_WORDS: tuple = (None, b"", b"", (), ())
_PLUS = b" + "
_CONTROLS = (
    ("EXPOSE ", "expose"),
    ("BACK ", "back"),
    ("LAMP ", "lamp"),
    ("turn ", "dial"),
    ("press ", "press"),
)


def _moving(windows: list, at: int, opens: bool) -> list:
    """The areas whose shades go in, or come out, at one time with that of window `at`."""
    own = windows[at]
    if opens:
        return [window.area for window in windows if window.open_ms == own.open_ms]
    return [window.area for window in windows if window.close_ms == own.close_ms]


def _beside_each_other(areas: list, room: int) -> bytes:
    """One area or two in the room there is: each of two is cut where it takes more than its half."""
    first = in_letters(areas[0])
    if len(areas) == 1:
        return clip(first, room)
    second = in_letters(areas[1])
    room -= width(_PLUS) + 2
    first = clip(first, max(room // 2, room - width(second)))
    return first + _PLUS + clip(second, room - width(first))


def _height(row) -> int:
    return 2 * _LINE if row.does & TALL else _LINE


class Pieces:
    """What all screens are made of, and the frame that they are drawn on."""

    def __init__(self, box, platform: Platform) -> None:
        self.buffer = bytearray(WIDTH * HEIGHT // 8)
        self.fb = platform.FrameBuffer(self.buffer, WIDTH, HEIGHT, MONO_VLSB)
        self.pen = Pen(platform.FrameBuffer)
        self._rail = platform.FrameBuffer(bytearray(WIDTH), WIDTH, _LINE, MONO_VLSB)
        self.box = box

    def _head(self, left: str, right: str) -> None:
        right_bytes = clip(in_letters(right), WIDTH - 6 - min(width(in_letters(left)), WIDTH // 2))
        room = WIDTH - width(right_bytes) - 4
        self.fb.fill_rect(0, 0, WIDTH, _LINE, 1)
        self.pen.text(self.fb, clip(in_letters(left), room), 1, 0, 0)
        x = WIDTH - 1 - width(right_bytes)
        self.pen.text(self.fb, right_bytes, x, 0, 0)
        clock = self._tray_clock()
        x -= width(clock) + _CLOCK_APART
        if clock and x > width(clip(in_letters(left), room)) + _CLOCK_APART:
            self.pen.text(self.fb, clock, x, 0, 0)

    def _tray_clock(self) -> bytes:
        """The tray that ends next, and how long that is; nothing where there is none."""
        sheet = self.box.trays.nearest()
        if sheet is None or self.box.lit:
            return b""
        return in_letters("%s %s" % (sheet.tray, sheet.clock_text(self.box.io.now_ms)))

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
        self.pen.text(self.fb, clip(self._says(name, control), room), x, y)

    def _says(self, name: str, control: str) -> bytes:
        says = self.box.machine.says(control)
        return in_letters(name + says) if says else b""

    def _packed_foot(self, has_seconds: bool) -> int:
        """What each control will do now, in as few lines as it fits; returns where they begin. Where the
        seconds are large EXPOSE need not name them. No line is filled where light is about to come."""
        lines: list = []
        for name, control in _CONTROLS:
            hint = self._says(name, control)
            if control == "expose":
                fills = b"" if self.box.lit else hint
                if has_seconds:
                    named = in_letters("EXPOSE give " + self.box.exposing.left_text())
                    if hint == named:
                        hint = in_letters("EXPOSE give")
                    elif hint.startswith(named):  # and says when
                        hint = in_letters("EXPOSE") + hint[len(named) :]
            if not hint:
                continue
            for line in lines:
                if len(line) == 1 and width(line[0]) + _BETWEEN + width(hint) < WIDTH:
                    line.append(hint)
                    break
            else:
                lines.append([clip(hint, WIDTH - 2)])
        clock = self._tray_clock()
        if clock:
            for line in lines[1:]:
                if len(line) == 1 and width(line[0]) + 2 * _CLOCK_APART + width(clock) < WIDTH:
                    line.append(clock)
                    break
        top = y = HEIGHT - _LINE * len(lines)
        for line in lines:
            right = WIDTH - width(line[1]) if len(line) > 1 else WIDTH
            if fills:
                self.fb.fill_rect(0, y, right - (_BETWEEN - 1 if right < WIDTH else 0), _LINE, 1)
            self.pen.text(self.fb, line[0], 1, y, 0 if fills else 1)
            if len(line) > 1:
                self.pen.text(self.fb, line[1], right, y)
            fills = b""
            y += _LINE
        return min(top, _SECONDS_END)

    def _large_seconds(self, tenths: int, y: int, with_tenths: bool, up: int = 9) -> None:
        """From 100 s on without tenths, so that there is room beside them: what runs down is rounded up, and
        with `up` at 5 to the nearest second."""
        if with_tenths and tenths <= 999:
            LARGE.draw(self.fb, tenths, WIDTH, y)
        else:
            LARGE.draw(self.fb, min((tenths + up) // 10, _MOST_S), WIDTH, y, 1, False)

    def _dim(self) -> None:
        """Darken every second row of what is large: half the light, and as large as before."""
        for y in range(1, _SECONDS_END, 2):
            self.fb.hline(0, y, WIDTH, 0)

    def _message(self, text: str, y: int = _LINE) -> None:
        """Words between head and foot: four lines, or five where EXPOSE has no line of its own. A word
        longer than a line, which only a name can be, is cut."""
        line = ""
        for word in text.split(" "):
            longer = line + " " + word if line else word
            if width(in_letters(longer)) > WIDTH and line:
                self.pen.text(self.fb, clip(in_letters(line), WIDTH), 0, y)
                y += _LINE
                longer = word
            line = longer
        self.pen.text(self.fb, clip(in_letters(line), WIDTH), 0, y)


def _beside_seconds(run) -> tuple:
    """Two lines beside the seconds, above the filter."""
    stage, sheet = run.stage, run.sheet
    if stage.kind == BURN:
        return "cover", "the rest"
    if stage.kind == WAIT:
        return "safelight", "on" if stage.safelight else "out"
    if stage.kind == FLASH:
        return "Negative", "out"
    if stage.kind == FRESH or (stage.kind == COVER and sheet == "Same sheet"):
        of = len([each for each in run.stages if each.kind == stage.kind])
        return "patch %s of %d" % (stage.area, of), "filter"
    if sheet == "Same sheet":
        return "Same", "sheet"
    return sheet, "filter"


class Hands(Pieces):
    """The screens for hands at work, dark and lit."""

    def __init__(self, box, platform: Platform) -> None:
        super().__init__(box, platform)
        # Words of lit screens, by what the table says
        self.lit_words = {}
        for state in LIT:
            for says in box.machine.promises(state):
                self.lit_words[says] = in_letters(says)
        self._viewing_title = in_letters("Viewing light")
        self._in = in_letters("in")
        self._out = in_letters("out")
        # The seconds to a cue, by how many figures they have, and from 100 s of light on
        self._until = (bytearray(b"0s"), bytearray(b"00s"), bytearray(1), bytearray(2))
        self._expose = in_letters("EXPOSE ")
        self._back = in_letters("BACK ")
        self._lamp = in_letters("LAMP ")
        self._wait = in_letters("Wait")
        self.show(box)

    def show(self, box) -> None:
        """Draw this box from now on."""
        self.box = box
        self._words = _NO_WORDS
        self._cue_at = -1
        self._cue_opens = False

    # --- dark

    def _running(self) -> None:
        box = self.box
        stage = box.run.stage
        held = box.state == "held"
        self.prepare()
        has_seconds = not box.run.is_fit and not box.message
        top = self._packed_foot(has_seconds)
        if box.run.is_fit and not box.message:
            self._fit(stage)
            return
        areas: list = []
        if held:
            name = self._held_words(stage)
            if self._cue():
                areas = _moving(stage.windows, self._cue_at, self._cue_opens)
        elif box.message:
            name = stage_name(stage) if stage.kind == BASE else stage_task(stage)
        else:
            name = stage_task(stage)
            if box.run.kind == "strip" and stage.kind == BASE:
                name = "Pass %d first" % (stage.pass_index + 1)
            if stage.windows:
                areas = _moving(stage.windows, 0, True)
                first = " + ".join(areas)
                if width(in_letters("Shade " + first)) > _HALF:
                    name = name[len("Shade ") :]  # the whole name of the first area tells more
                if width(in_letters(first)) <= _HALF:
                    areas = []
        self._name("Held" if held else "", name, areas, top - _SECONDS_END + _SECONDS_Y)
        if box.message:
            self._message(box.message, top - 32)
            return
        y = top - 32
        self._seconds((box.exposing.left_shown_ms() + 50) // 100, y, self._cue() if held else 0)
        if not held or not self._cue():
            if stage.filter != box.run.filter_in:
                enlarge(self.buffer, WIDTH, in_letters("Fit" if stage.filter else "Out"), 0, y)
                return
            for line in _beside_seconds(box.run):
                self.pen.text(self.fb, in_letters(line), 0, y)
                y += _LINE

    def _name(self, state: str, name: str, areas: list, room: int) -> None:
        """What the stage is about, in `room` rows of pixels at the top: its `areas`, where there are any. On
        a lit ground it is held."""
        if room < 16:
            self._head(name, state)
            return
        words = in_letters(state + " " + name if state else name)
        room = _HALF
        if state:
            self.fb.fill_rect(0, 0, WIDTH, 16, 1)
            room -= 1
        if areas:
            words = in_letters(state + " ") if state else b""
            words += _beside_each_other(areas, room - width(words) - 1 if state else room)
        enlarge(self.buffer, WIDTH, clip(words, room), 2 if state else 0, 0)

    def _held_words(self, stage) -> str:
        if stage.kind == BURN:
            return stage.area
        if stage.kind == FLASH:
            return "flash"
        if stage.kind != BASE:
            return "patch %s" % stage.area if stage.kind in (COVER, FRESH) else stage.area
        self._cue()
        return stage.windows[self._cue_at].area if self._cue_at >= 0 else "pass %d" % (stage.pass_index + 1)

    def _fit(self, stage) -> None:
        """The filter to fit, as large as there is room, or where to move the negative; and which paper is
        wanted with it."""
        filter = stage.filter if stage.kind == FIT else ""
        words = in_letters("Fit filter" if filter else stage_name(stage))
        enlarge(self.buffer, WIDTH, words, 0, 8)
        x = 2 * width(words) + 2 * _BETWEEN
        name = in_letters(filter)
        times = 3 if 3 * width(name) <= WIDTH - x else 2
        enlarge(self.buffer, WIDTH, clip(name, (WIDTH - x) // times), x, 0 if times == 3 else 8, times)
        enlarge(self.buffer, WIDTH, in_letters(self.box.run.sheet), 0, 24)

    def _delaying(self) -> None:
        """The start delay: what hands have to do in it, and the seconds until the light comes by itself."""
        box = self.box
        self.prepare()
        self._name("", stage_task(box.run.stage), [], 16)
        enlarge(self.buffer, WIDTH, in_letters("Light in"), 0, _SECONDS_Y)
        left_ms = box.delay.left_ms(box.io.now_ms)
        LARGE.draw(self.fb, (left_ms + 999) // 1000, WIDTH, _SECONDS_Y, 1, False)
        self._filter_in(_SECONDS_Y)
        self._dim()
        self._packed_foot(False)

    def _choosing(self) -> None:
        box = self.box
        strip, map = box.work.strip, box.work.map
        place = box.panel.cursor.place
        top = self._packed_foot(False)
        y = top - 32
        patch = in_letters("Patch %s" % (str(place // 2 + 1) + ("½" if place % 2 else "")))
        if y < 16:
            self._head("Choose a patch", " ".join(self._sets(strip, map)))
        else:
            enlarge(self.buffer, WIDTH, patch, 0, 0)
        if box.message:
            self._message(box.message, y)
            return
        if y >= 16:
            for line in self._sets(strip, map):
                words = clip(in_letters(line), WIDTH - 2 * width(patch) - _BETWEEN)
                self.pen.text(self.fb, words, WIDTH - width(words), y - 16)
                y += _LINE
            y = top - 32
        tenths = (strip.total_ms(map, place) + 50) // 100
        self._large_seconds(tenths, y, True, 5)
        room = WIDTH - LARGE.width(999) - _APART
        stops120 = strip.offset(map, place)
        stops = in_letters(stops_text(stops120))
        # A fraction that leaves no room for its whole stops stands below them.
        for words in [stops] if width(stops) <= room else stops.split(b" "):
            self.pen.text(self.fb, words, 0, y)
            y += _LINE
        for line in self._set_to(strip, map, stops120):
            if y < top - _LINE:
                self.pen.text(self.fb, clip(in_letters(line), room), 0, y)
                y += _LINE
        each = room // strip.patches
        y = top - _LINE
        for index in range(strip.patches):
            if place == 2 * index:
                self.fb.fill_rect(index * each, y, each, 7, 1)
            else:
                self.fb.rect(index * each, y + 2, each, 3, 1)
        if place % 2:
            self.fb.fill_rect((place + 1) // 2 * each - 1, y, 2, 7, 1)

    def _sets(self, strip, map) -> tuple:
        """What taking a place of the strip sets, in two lines."""
        mark = strip.mark(map)
        if len(map.passes) == 1:
            return "sets", mark.area if mark else "base"
        own = "pass %d" % (strip.pass_index + 1)
        if mark is not None:
            return mark.area, own
        return (own, "alone") if map.tied else ("sets", own)

    def _set_to(self, strip, map, stops120: int) -> tuple:
        """Two lines that go with the stops: what they make of a mark or of the tie."""
        mark = strip.mark(map)
        stop = "stop" if 0 < abs(stops120) <= STOP else "stops"
        if mark is None:
            return stop, "new ratio" if stops120 and map.tied and len(map.passes) > 1 else ""
        if strip.filter(map) != map.passes[strip.pass_index].filter:
            return stop, "filter %s" % mark.filter
        return stop, "burn" if stops120 > 0 else "dodge" if stops120 else ""

    # --- lit: no allocation from here on, once `prepare` has run

    def prepare(self) -> None:
        """Encode the words that the stage's lit screen will show. Outside of a run this does nothing.

        On a board EXPOSE may cut in anywhere, and light the stage, so they are put in place all at once.
        """
        run = self.box.run
        # Quick where there is nothing to do: each press that gives light asks
        if run.stages and run.stages[run.at] is not self._words[0]:
            _prepare(self, run.stages[run.at])

    def _lay_rail(self, stage) -> None:
        """The whole of the stage's light as a line of dots, raised where an area is shaded."""
        rail = self._rail
        rail.fill(0)
        rail.hline(0, _RAIL_Y, WIDTH, 1)
        whole_ms = max(1, stage.light_ms)
        for window in stage.windows:
            x = window.open_ms * WIDTH // whole_ms
            wide = window.close_ms * WIDTH // whole_ms - x
            rail.hline(x, _RAIL_Y, wide, 0)
            rail.hline(x, _SHADED_Y, wide, 1)
        for x in range(1, WIDTH, 2):
            rail.vline(x, 0, _LINE, 0)

    def _exposing(self) -> None:
        box = self.box
        self.prepare()
        stage, title, _, going_in, coming_out = self._words
        cue_s = self._cue()
        areas = going_in if self._cue_opens else coming_out
        enlarge(self.buffer, WIDTH, areas[self._cue_at] if cue_s else title, 0, 0)
        self._seconds((box.exposing.left_shown_ms() + 99) // 100, _SECONDS_Y, cue_s)
        self._dim()
        # The rail of the light that is to come: what is given has gone from it
        fb = self.fb
        fb.blit(self._rail, 0, _SECONDS_END)
        given = box.exposing.light_so_far_ms() * WIDTH // max(1, stage.light_ms)
        fb.fill_rect(0, _SECONDS_END, given, _LINE, 0)
        if box.state == "stopping":
            self.pen.text(self.fb, self._wait, 0, 56)
        else:
            self._lit_foot(self._expose, "expose")

    def _cue(self) -> int:
        """Whole seconds of light, rounded up, to the next opening or closing of a window; 0 if none comes.
        `_cue_at` is which window then (-1 for none), and `_cue_opens` whether its shade goes in."""
        so_far_ms = self.box.exposing.light_so_far_ms()
        self._cue_at = -1
        next_ms = 0
        windows = self.box.run.stage.windows
        for index in range(len(windows)):
            window = windows[index]
            opens = so_far_ms < window.open_ms
            edge_ms = window.open_ms if opens else window.close_ms
            if so_far_ms < edge_ms and (self._cue_at < 0 or edge_ms < next_ms):
                next_ms = edge_ms
                self._cue_at = index
                self._cue_opens = opens
        return (next_ms - so_far_ms + 999) // 1000 if self._cue_at >= 0 else 0

    def _seconds(self, tenths: int, y: int, cue_s: int) -> None:
        """The seconds that are left, and beside them the seconds to the next cue, if there is one, and the
        filter that is in, in a frame. Until a cue they go without tenths, so that the two stand apart."""
        self._large_seconds(tenths, y, not cue_s, 5 if self.box.state == "ready" else 9)
        if cue_s:
            word = self._in if self._cue_opens else self._out
            enlarge(self.buffer, WIDTH, word, 0, y)
            figures = 1 if cue_s > 9 else 0
            number = self._until[figures if tenths <= 990 else figures + 2]
            number[figures] = 48 + cue_s % 10
            if figures:
                number[0] = 48 + cue_s // 10
            if cue_s < 100:
                enlarge(self.buffer, WIDTH, number, 2 * width(word) + _WORD_APART, y)
        self._filter_in(y)

    def _filter_in(self, y: int) -> None:
        filter = self._words[2]
        self.fb.rect(0, y + 15, 2 * width(filter) + _FRAME, 17, 1)
        enlarge(self.buffer, WIDTH, filter, _FRAME // 2, y + 16)

    def _lit_foot(self, name: bytes, control: str) -> None:
        x = self.pen.text(self.fb, name, 0, 56)
        self.pen.text(self.fb, self.lit_words[self.box.machine.says(control)], x, 56)
        x = self.pen.text(self.fb, self._back, _LIT_COLUMN, 56)
        self.pen.text(self.fb, self.lit_words[self.box.machine.says("back")], x, 56)

    def _viewing(self) -> None:
        box = self.box
        if box.panel.screen.meters:
            box.panel.screen.draw_lit(self)
        else:
            enlarge(self.buffer, WIDTH, self._viewing_title, 0, 0)
            left_ms = box.lamp.strike.left_ms(box.io.now_ms)
            if box.state == "arming":
                left_ms = box.bench.get("viewing_limit_s") * 1000
            LARGE.draw(self.fb, (left_ms + 999) // 1000, WIDTH, _SECONDS_Y, 1, False)
        self._dim()
        if box.state != "stopping":
            self._lit_foot(self._lamp, "lamp")


def _prepare(hands: Hands, stage: Stage) -> None:
    title = clip(in_letters(stage_name(stage)), _HALF)
    # The seconds only become fewer: what fits beside them now does so to the end, but for the tenths
    room = WIDTH - _BETWEEN - LARGE.width(min(stage.shown_ms // 100, 999)) - _FRAME
    filter = clip(in_letters(stage.filter or "no"), room // 2)
    going_in, coming_out = [], []
    for at in range(len(stage.windows)):
        going_in.append(_beside_each_other(_moving(stage.windows, at, True), _HALF))
        coming_out.append(_beside_each_other(_moving(stage.windows, at, False), _HALF))
    hands._lay_rail(stage)
    hands._words = (stage, title, filter, going_in, coming_out)


class Drawing(Hands):
    """Draws a box. One frame, reused."""

    def draw(self) -> bytearray:
        """Draw the box as it is now and return the frame."""
        box = self.box
        self.fb.fill(0)
        if box.state == "delaying":
            self._delaying()
        elif box.state in LIT:
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
            self._message(box.message or kept_text(box.exposing))
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
            panel = box.panel
            panel.drawn = (box.io.inputs, panel.screen.rows(panel))
            try:
                self._rows()
            finally:
                panel.drawn = None
        return self.buffer

    def _rows(self) -> None:
        box = self.box
        panel = box.panel
        if box.message:
            # It covers the rows, and the keys still act on the one under the cursor.
            row = panel.row()
            self._head("▸" + row.label.strip(), panel.value(row))
            self._message(box.message)
        elif panel.rows()[0].does & TALL:
            self._tall_rows(panel.rows(), panel.cursor.at)
        else:
            self._head(panel.screen.heading, panel.screen.about(panel))
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

    def _tall_rows(self, rows: list, at: int) -> None:
        """Rows without a head, some of them for hands at work. The row under the cursor, if it is one of
        those, has a lit ground."""
        room = 40 if self.box.machine.says("expose") else 48
        top = 0
        while sum([_height(row) for row in rows[top : at + 1]]) > room:
            top += 1
        y, shown = 0, top
        while shown < len(rows) and y + _height(rows[shown]) <= room:
            row = rows[shown]
            if row.does & TALL:
                value = in_letters(self.box.panel.value(row))
                x = WIDTH - 1 - 2 * width(value)
                if shown == at:
                    self.fb.fill_rect(0, y, WIDTH, 16, 1)
                enlarge(self.buffer, WIDTH, clip(in_letters(row.label), (x - _BETWEEN) // 2), 1, y)
                enlarge(self.buffer, WIDTH, value, x, y)
            else:
                self._row(row, shown == at, y)
            y += _height(row)
            shown += 1
        if shown < len(rows) and at < shown - 1 and not rows[shown - 1].does & TALL:
            self._more(y - 4, -1)

    def _more(self, y: int, grows: int) -> None:
        for line in range(3):
            wide = 2 * line + 1 if grows > 0 else 5 - 2 * line
            self.fb.hline(3 - wide // 2, y + line, wide, 1)
