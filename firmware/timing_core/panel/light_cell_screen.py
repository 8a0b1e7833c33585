"""The Light cell screen: what the cell reads, and the base, filter or split grade that follow from it.

Under LAMP it shows the light relative to the first spot, large, and the tone that falls there; a press takes
the spot. What is made of the spots is done in the dark, on rows.

Law: what is drawn under light takes no memory.
"""

from timing_core.light.bench import is_int
from timing_core.light.metering import (
    base_from,
    log_fine,
    logs_of,
    place_ms,
    place_of,
    twelfths_between,
)
from timing_core.light.plan import filter_text
from timing_core.light.stops import offset_between, scale, seconds_text, stops_text
from timing_core.machine.cell_strips import CellStrip, CellStrips
from timing_core.machine.light_cell import (
    ABSENT,
    DARKENS,
    FAINT,
    FILTERED,
    GLARE,
    NO_DARK,
    TOO_BRIGHT,
    TOO_FAINT,
    LightCell,
)
from timing_core.panel.letters import enlarge, width
from timing_core.panel.print_screen import record_at_work
from timing_core.panel.rows import ACTS, KEEPS, TALL, TURNS, TWO_VALUED, Row, Screen, following, within
from timing_core.refusal import Refusal

_WORDS = (
    b"wait",
    b"no cell",
    b"wait, dark",
    b"press LAMP",
    b"other light",
    b"wait",
    b"hold still",
    b"steady",
    b"too faint",
    b"too bright",
    b"dark first",
    b"filter is in",
)
"""What is so now, for hands: 16 pixels tall. In the order of the light cell's states."""

_BARS = (ABSENT, DARKENS, GLARE, TOO_FAINT, TOO_BRIGHT, NO_DARK, FILTERED)
_TELLS = (
    "no light cell answers. Plug it in; all else works without one",
    "the dark is read first. Leave the lamp out for 4 s",
    "other light is over a tenth of it. Put it out, cover the display",
    "there is too little light. Open the lens, or read a brighter spot",
    "there is too much light. Close the lens",
    "the dark was not read. Put the lamp out for 4 s, then light it again",
    "a filter is in. Take it out, and say so here",
    "no light was read. Press LAMP, and hold the cell still for 4 s",
)
"""Why nothing is read: in each of these states, and in any other."""

# In twelfths of a stop
_FRACTIONS = (
    b"",
    b"1/12",
    b"1/6",
    b"1/4",
    b"1/3",
    b"5/12",
    b"1/2",
    b"7/12",
    b"2/3",
    b"3/4",
    b"5/6",
    b"11/12",
)
_FIGURES = (b"0", b"1", b"2", b"3", b"4", b"5", b"6", b"7", b"8", b"9", b"10", b"11")
_WIDTH = 128


class LightCellScreen(Screen):
    key = "light_cell"
    heading = "Light cell"
    meters = FAINT

    def __init__(self) -> None:
        self.cell: LightCell
        self._strips: CellStrips
        self._logs: list = []
        self._place_log = self._now_log = self._told = 0

    def home(self, panel) -> int:
        self.cell = LightCell(panel.io, panel.work.spots)
        self._strips = CellStrips(panel.kept.store, panel.kept.json_loads)
        return 0

    # --- readings

    def reading(self, panel, counts: int, light: int) -> None:
        """The cell has read. `light`: under the viewing light, as there is no other here."""
        cell, lit = self.cell, light > 0
        told = cell.now
        cell.take(counts, lit, bool(panel.run.filter_in))
        if lit or told != cell.now:
            panel.io.picture()

    def takes_spot(self, panel) -> int:
        return 0 if panel.is_open else self.cell.takes()

    def take_spot(self, panel) -> None:
        self.cell.take_spot()
        panel.io.put("sound", "pip")

    def cell_told(self, panel) -> dict:
        cell = self.cell
        return {"now": str(_WORDS[cell.now], "utf-8"), "dark": max(0, cell.dark), "light": cell.good}

    # --- what is known of papers and filters

    def _strip(self, panel):
        """The calibration strip to go by for the print's first pass: its own filter's, or the newest of a
        filter that the paper record leads on from; None for none."""
        map = panel.opened_map
        own = self._strips.find(map.record, map.passes[0].filter)
        if own:
            return own
        record = record_at_work(panel)
        if record:
            for strip in self._strips.kept[::-1]:
                if strip.paper == map.record and record.span(strip.filter) is not None:
                    return strip
        return None

    def _base_ms(self, panel, filter: str) -> int:
        """The light that gives the first spot the tone that it shall have. A Refusal if that is no base, or
        if it is not known."""
        strip = self._strip(panel)
        if strip.filter == filter:
            moved = 0
        else:
            record = record_at_work(panel)
            if not record or record.span(filter) is None:
                raise Refusal(
                    "No base from this", "there is no strip of " + filter_text(filter), "Keep one for it"
                )
            moved = record.change(strip.filter, filter, "light tone")
        ms = scale(place_ms(strip.totals, strip.place), moved)
        return base_from(ms, strip.open_counts, panel.work.spots[0])

    def _spans(self, panel) -> int:
        """From the first spot to the second, in 1/120 stop; 0 where there are not two."""
        first, second = panel.work.spots[0], panel.work.spots[1]
        return abs(offset_between(first, second)) if first and second else 0

    # --- rows

    def rows(self, panel) -> list:
        if self.cell.now == ABSENT and not panel.is_open:
            return [Row("light", "No light cell answers", ACTS | KEEPS, "tell more")]
        # What is open may be another map, and moves no row
        spots, passes = panel.work.spots, panel.opened_map.passes
        is_known = self.cell.good and spots[0]
        label = "Light" if is_known else str(_WORDS[self.cell.now], "utf-8")
        found = [Row("light", label, ACTS | KEEPS | TALL, "forget" if spots[0] else "tell more")]
        filter = panel.run.filter_in
        if filter:
            found.append(Row("out", "Filter %s is in" % filter, ACTS | KEEPS, "it is out"))
        strip, record = self._strip(panel), record_at_work(panel)
        if strip:
            found.append(Row("place", "First spot as", TURNS))
            if spots[0] and len(passes) == 1:
                found.append(Row("base", "Base", TURNS))
            if self._spans(panel) and record and record.span(strip.filter) is not None:
                if len(passes) == 1:
                    found.append(Row("filter", "Filter", TURNS))
                if record.pair and (len(passes) == 1 or self._is_pair(panel, record)):
                    found.append(Row("pair", "Split grade", TURNS | TWO_VALUED))
        if _size_from(panel):
            found.append(Row("size", "To this size", TURNS | TWO_VALUED))
        found.append(Row("easel", "Open easel", ACTS | KEEPS, "note it"))
        found.append(Row("strip", "Keep a strip", ACTS | KEEPS, "keep it"))
        self._prepare(panel, strip)
        return found

    def _is_pair(self, panel, record) -> bool:
        return record.soft_first([own.filter for own in panel.opened_map.passes]) is not None

    def _prepare(self, panel, strip) -> None:
        """What the lit screen needs: the tones of the strip, that of the first spot, and as long as there is
        none that which the base gives."""
        self._logs = []
        if strip:
            base_ms = panel.work.map.base_ms(0)
            self._logs = logs_of(strip.totals)
            self._place_log = log_fine(place_ms(strip.totals, strip.place))
            self._now_log = log_fine(base_ms) - log_fine(strip.open_counts)

    def said(self, panel, row: Row) -> str:
        return "Size" if row.key == "size" else row.label.strip()

    def value(self, panel, row: Row) -> str:
        key, spots, cell = row.key, panel.work.spots, self.cell
        if key == "light":
            return stops_text(10 * twelfths_between(spots[0], cell.good)) if cell.good and spots[0] else ""
        is_open = panel.has_open(row)
        map = panel.work.map
        if key == "place":
            strip = self._strip(panel)
            return _patch_text(panel.cursor.pick if is_open else strip.place)
        if key == "base" or key == "filter":
            if is_open:
                own = map.passes[0]
                base_text = seconds_text(map.base_ms(0))
                if key == "filter":
                    return "%s  %s" % (own.filter or "none", base_text)
                return "%s  %s" % (_near_text(panel.base_before_ms(0), map.base_ms(0)), base_text)
            return self._proposal(panel, key)
        if is_open and not panel.cursor.pick:
            return "no"
        if key == "pair":
            if is_open:
                return "%s  %s" % (seconds_text(map.base_ms(0)), seconds_text(map.base_ms(1)))
            return "  ".join([own.filter for own in map.passes]) if len(map.passes) > 1 else "no"
        if key == "size":
            return _near_text(cell.good, _size_from(panel)) if cell.good else ""
        if key == "easel":
            return "noted" if spots[2] else ""
        if key == "strip":
            gave = panel.work.strip_gave
            return filter_text(gave[2]) if gave else ""
        return ""

    def _proposal(self, panel, key: str) -> str:
        """What a press on the row would propose; "" where that is nothing."""
        try:
            filter = panel.opened_map.passes[0].filter
            if key == "filter":
                filter = record_at_work(panel).nearest(self._spans(panel))
                return "%s  %s" % (filter or "none", seconds_text(self._base_ms(panel, filter)))
            return seconds_text(self._base_ms(panel, filter))
        except Refusal:
            return ""

    def open(self, panel, row: Row) -> None:
        key, cursor, map = row.key, panel.cursor, panel.work.map
        cursor.pick = 1
        if key == "place":
            cursor.pick = self._strip(panel).place
        elif key == "base":
            map.set_base(0, self._base_ms(panel, map.passes[0].filter))
        elif key == "filter":
            self._set_filter(panel, record_at_work(panel).nearest(self._spans(panel)))
        else:
            self._choose(panel, row, 1)

    def turn(self, panel, row: Row, steps: int) -> None:
        key, cursor, map = row.key, panel.cursor, panel.work.map
        if key == "place":
            cursor.pick = within(cursor.pick + steps, 0, 2 * len(self._strip(panel).totals) - 2)
        elif key == "base":
            map.step_base(0, panel.work.bench.step_stops120, steps)
        elif key == "filter":
            names = [own[0] for own in record_at_work(panel).filters]
            self._set_filter(panel, following(names, map.passes[0].filter, steps))
        else:
            self._choose(panel, row, within(cursor.pick + steps, 0, 1))

    def _set_filter(self, panel, filter: str) -> None:
        map = panel.opened_map.copy()
        base_ms = self._base_ms(panel, filter)
        map.passes[0].filter = filter
        map.set_base(0, base_ms)
        panel.work.map = map

    def _choose(self, panel, row: Row, pick: int) -> None:
        """Propose the split grade or the size, or nothing."""
        map = panel.opened_map.copy()
        if pick and row.key == "size":
            if not self.cell.good:
                raise self._refusal()
            map.carry("size", offset_between(self.cell.good, _size_from(panel)))
            map.measures["spot"] = self.cell.good
        elif pick:
            record = record_at_work(panel)
            soft, hard = record.pair
            light_ms = self._base_ms(panel, self._strip(panel).filter)
            if len(map.passes) == 1:
                map.split(soft, hard)
            times = record.split_for(self._strip(panel).filter, light_ms, self._spans(panel))
            is_soft_first = record.soft_first([own.filter for own in map.passes])
            map.set_bases(list(times) if is_soft_first else [times[1], times[0]])
        panel.work.map = map
        panel.cursor.pick = pick

    def take(self, panel, row: Row) -> None:
        key, pick = row.key, panel.cursor.pick
        if key == "place":
            self._strips.place(self._strip(panel), pick)
        elif key == "size":
            if pick:
                panel.work.spots[0], panel.work.spots[1] = self.cell.good, 0
                panel.io.say("Carried over by what was read. It is the first spot now.")
        elif key != "pair" or pick:
            panel.work.map.measures["spot"] = panel.work.spots[0]
            panel.io.say("It is a start, to about 1/6 stop: make a strip round it.")

    def act(self, panel, row: Row) -> None:
        key, spots = row.key, panel.work.spots
        if key == "out":
            panel.run.filter_in = ""
            panel.cursor.at = 0  # the row goes, and a second press is not to note the easel
        elif key == "light":
            if not spots[0] or self.cell.now == ABSENT:
                raise self._refusal()
            panel.work.forget_spots()
        elif key == "easel":
            if not self.cell.good:
                raise self._refusal()
            spots[2] = self.cell.good
            panel.io.say("Noted. Give a strip now, with the carrier empty and the filter in.")
        else:
            self._keep_strip(panel)
            panel.cursor_on(row)  # there may be more rows above it now

    def _keep_strip(self, panel) -> None:
        gave, what = panel.work.strip_gave, "No strip is kept"
        if not panel.work.spots[2]:
            raise Refusal(what, "the open easel was not read", "Read it before you give the strip")
        if not gave or gave[0] or gave[1]:
            raise Refusal(what, "it has to be one for a base", "Give one for pass 1")
        if not is_int(gave[-1]):  # it is the flash's filter
            raise Refusal(what, "the last strip had a flash", "Give one without")
        totals = gave[3:]
        filter, paper = gave[2], panel.work.map.record
        self._strips.keep(CellStrip(paper, filter, panel.work.spots[2], len(totals) - 1, totals))
        panel.io.say("Kept. Its patches are the tones for %s now." % filter_text(filter))

    def _refusal(self) -> Refusal:
        now = self.cell.now
        why, todo = _TELLS[_BARS.index(now) if now in _BARS else len(_BARS)].split(". ")
        return Refusal("Not read", why, todo)

    # --- under the lamp: takes no memory

    def draw_lit(self, hands) -> None:
        cell, buffer = self.cell, hands.buffer
        first, light = cell.spots[0], cell.light
        if first and light:
            _draw_stops(buffer, cell.twelfths())
        if cell.good and self._logs:
            log = self._place_log - log_fine(first) if first else self._now_log
            self._draw_tone(buffer, log + log_fine(light), 24)
        else:
            enlarge(buffer, _WIDTH, _WORDS[cell.now], 0, 24)
        spot = hands.box.machine.says("press")
        if spot:
            x = hands.pen.text(hands.fb, b"press ", 0, 48)
            hands.pen.text(hands.fb, hands.lit_words[spot], x, 48)

    def _draw_tone(self, buffer, log: int, y: int) -> None:
        logs = self._logs
        place = place_of(logs, log)
        if place < 0 or place > 2 * len(logs) - 2:
            # The first patch is the palest of the strip
            enlarge(buffer, _WIDTH, b"paler" if place < 0 else b"darker", 0, y)
            return
        enlarge(buffer, _WIDTH, b"patch ", 0, y)
        x = 2 * width(b"patch ") + 2
        figure = _FIGURES[place // 2 + 1]
        enlarge(buffer, _WIDTH, figure, x, y)
        if place % 2:
            enlarge(buffer, _WIDTH, b"\x17", x + 2 * width(figure) + 2, y)


def _size_from(panel) -> int:
    """The reading that the bases go with: the card's, or else the first spot; 0 for none."""
    return panel.opened_map.measures.get("spot") or panel.work.spots[0]


def _draw_stops(buffer, twelfths: int) -> None:
    """Three times as large as letters are: 24 pixels tall."""
    whole, x = abs(twelfths), 0
    fraction = whole % 12
    whole //= 12
    if twelfths:
        sign = b"+" if twelfths > 0 else b"-"
        enlarge(buffer, _WIDTH, sign, 0, 0, 3)
        x = 3 * width(sign) + 3
    if whole or not fraction:
        figure = _FIGURES[min(whole, len(_FIGURES) - 1)]
        enlarge(buffer, _WIDTH, figure, x, 0, 3)
        x += 3 * width(figure) + 9
    enlarge(buffer, _WIDTH, _FRACTIONS[fraction], x, 0, 3)


def _near_text(counts: int, other: int) -> str:
    """From the one to the other in stops, to the nearest 1/12."""
    return stops_text((offset_between(counts, other) + 5) // 10 * 10)


def _patch_text(place: int) -> str:
    return "patch %d%s" % (place // 2 + 1, "\u00bd" if place % 2 else "")
