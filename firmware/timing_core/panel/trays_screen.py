"""The Trays screen: the sheets on their way, each with its clock, and what the trays are set to.

A press on a place without a sheet starts one there; on a sheet it moves that on, or tells that the image is
seen. Each sheet keeps its place, so that the row under the cursor is never suddenly another's.
"""

from timing_core.light.printing_map import SHEET
from timing_core.light.stops import clock_text
from timing_core.light.tray_sequence import EXACT, FACTOR
from timing_core.light.tray_times import degrees_text, turned_over
from timing_core.machine.tray_setup import PAPERS, SETTINGS, TraySetup
from timing_core.machine.trays import LOST_SHEETS
from timing_core.panel.rows import ACTS, KEEPS, NAMES, PACES, TALL, TURNS, TWO_VALUED, Row, Screen, within

_LABELS = (
    ("half_degrees", "Temperature", TURNS),
    ("sequence", "Sequence", TURNS | NAMES),
    ("kind", "Developer", TURNS),
    ("factor10", "  factor", TURNS | PACES),
    ("mixed_s", "  mixed", TURNS | TWO_VALUED),
    ("paper", "Sheets of", TURNS),
    ("baths", "Fixing baths", TURNS | TWO_VALUED),
    ("limit_cm2", "  good for", TURNS | PACES),
    ("used_cm2", "  used", TURNS | TWO_VALUED),
)
_DONE = ("mixed_s", "used_cm2")
"""Rows that are set back: what is open is 1 to do so, and 0 not to."""


def _sheets(number: int) -> str:
    return "1 sheet" if number == 1 else "%d sheets" % number


class TraysScreen(Screen):
    """What is open is a proposal in `panel.cursor.pick`, as a number."""

    key = "trays"
    heading = "Trays"

    def __init__(self) -> None:
        self._setup: TraySetup

    def home(self, panel) -> int:
        kept, measures = panel.kept, panel.work.map.measures
        sheet_mm = (measures[SHEET[0]], measures[SHEET[1]]) if SHEET[0] in measures else ()
        self._setup = TraySetup(kept.store, kept.json_loads, panel.trays, panel.sequences, sheet_mm)
        for at in range(len(panel.trays.sheets)):
            if not panel.trays.sheets[at].trays:
                return at
        return 0

    def enter(self, panel) -> None:
        if panel.trays.lost:
            panel.trays.lost = False
            panel.io.say(LOST_SHEETS)

    def rows(self, panel) -> list:
        self._setup.refresh()
        found: list = []
        for at in range(len(panel.trays.sheets)):
            sheet = panel.trays.sheets[at]
            label = sheet.tray if sheet.trays else "Sheet %d" % (at + 1)
            if sheet.is_due_out(panel.io.now_ms):
                label = "take it out"
            elif self._tells_over_by(sheet, panel.io.now_ms):
                label = "over"
            found.append(Row("sheet", label, ACTS | KEEPS | TALL, self._deed(sheet), at))
        for key, label, does in _LABELS:
            if key == "paper" and self._setup.sheet_mm:
                does = 0  # the card says it
            if key != "factor10" or self._setup.values["kind"] == FACTOR:
                found.append(Row(key, label, does))
        return found

    def _deed(self, sheet) -> str:
        if not sheet.trays:
            return "start it"
        if not sheet.lasts_ms:
            return "it is seen"
        return "take out" if sheet.at + 1 == len(sheet.trays) else "move on"

    def said(self, panel, row: Row) -> str:
        return {"limit_cm2": "Fix good for", "used_cm2": "Fix used", "mixed_s": "Developer mixed"}.get(
            row.key, row.label.strip()
        )

    def value(self, panel, row: Row) -> str:
        if row.key == "sheet":
            sheet = panel.trays.sheets[row.index]
            return self._clock(sheet, panel.io.now_ms)
        is_open = panel.has_open(row)
        return self._words_of(row.key, panel.cursor.pick if is_open else self._now(row.key), is_open)

    def _clock(self, sheet, now_ms: int) -> str:
        if sheet.is_due_out(now_ms):
            return ""
        if not sheet.trays:
            lasts_ms = self._setup.way[0][1]
            return clock_text(lasts_ms) if lasts_ms else ""
        if sheet.is_over and not self._tells_over_by(sheet, now_ms):
            return "over"
        return sheet.clock_text(now_ms)

    def _tells_over_by(self, sheet, now_ms: int) -> bool:
        """That it is over stands in turn beside its tray and beside how much: there is no room for all."""
        return sheet.is_over and sheet.over_s(now_ms) % 2 == 1

    def _now(self, key: str) -> int:
        """What a row's number is; of what is counted in sheets, sheets of the present size."""
        if key in _DONE:
            return 0
        if key == "sequence":
            return self._setup.sequences().index(self._setup.sequence())
        number = self._setup.values[key]
        return number // self._setup.sheet_cm2() if key == "limit_cm2" else number

    def _words_of(self, key: str, number: int, is_open: bool) -> str:
        setup = self._setup
        if key == "half_degrees":
            return degrees_text(number)
        if key == "sequence":
            return setup.sequences()[number]
        if key == "kind":
            if number == FACTOR:
                return "by first sight"
            return "exact time" if number == EXACT else "least time"
        if key == "factor10":
            return "\u00d7 %d.%d" % (number // 10, number % 10)
        if key == "paper":
            return "%d \u00d7 %d mm" % setup.sheet_mm if setup.sheet_mm else PAPERS[number][0]
        if key == "baths":
            return "two" if number else "one"
        if key == "limit_cm2":
            return _sheets(number) if number else "not set"
        if key == "mixed_s":
            mixed_s = setup.mixed_s()
            if number:
                return "now"
            return "not set" if mixed_s < 0 else "%d h ago or more" % (mixed_s // 3600)
        if number:
            if not setup.values["baths"]:
                return "fresh now"
            return "2 is 1 now" if turned_over(setup.values["turns"]) else "both fresh now"
        used = _sheets(setup.values["used_cm2"] // setup.sheet_cm2())
        return "%s, %d %%" % (used, setup.used_per_cent()) if setup.values["limit_cm2"] else used

    def open(self, panel, row: Row) -> None:
        now = self._now(row.key)
        panel.cursor.pick = 1 - now if row.does & TWO_VALUED else now

    def turn(self, panel, row: Row, steps: int) -> None:
        low, high = 0, 999
        if row.does & TWO_VALUED:
            high = 1
        elif row.key == "sequence":
            high = len(self._setup.sequences()) - 1
        elif row.key != "limit_cm2":
            for key, _, least, most in SETTINGS:
                if key == row.key:
                    low, high = least, most
        panel.cursor.pick = within(panel.cursor.pick + steps, low, high)

    def take(self, panel, row: Row) -> None:
        key, number, setup = row.key, panel.cursor.pick, self._setup
        before = setup.all_values()
        if key == "limit_cm2":
            setup.keep(limit_cm2=number * setup.sheet_cm2())
        elif key == "sequence":
            setup.choose(setup.sequences()[number])
        elif key not in _DONE:
            setup.keep(**{key: number})
        elif number:
            if key == "mixed_s":
                setup.mix()
            else:
                setup.renew()
        panel.kept.trays_were = setup.leads_back(before)

    def bring_back(self, were: dict) -> dict:
        return self._setup.bring_back(were)

    def act(self, panel, row: Row) -> None:
        trays, setup = panel.trays, self._setup
        sheet, told = trays.sheets[row.index], ""
        if not sheet.trays:
            trays.start(row.index, setup.way)
            told = setup.count_sheet()
        elif sheet.lasts_ms:
            trays.move(row.index)
        else:
            sight_ms = sheet.in_ms(panel.io.now_ms)
            sheet.see(setup.whole_ms(sight_ms), panel.io.now_ms)
            told = setup.saw(sight_ms)
        if told:
            panel.io.say(told)
