"""Rows and the screens that show them.

What must live here: what every screen of rows can do, and how a bench setting is shown and turned on any of
them. A row is data; what it shows, and what the dial does to it, is told by its screen, by the row's key. A
press on a row either does something at once, or opens its value to be turned and taken. An open value is a
proposal: turning works it out from `panel.opened_map` and `panel.opened_strip`, which are as they were
before, so that turning past a value and back costs nothing, and only taking it counts. A row with two values
opens with the other one proposed. Rows give no light.
"""

from timing_core.light.bench import setting
from timing_core.light.plan import filter_text
from timing_core.light.stops import (
    BASE_MAX_MS,
    BASE_MIN_MS,
    per_cent_text,
    plain_step,
    scale,
    seconds_text,
)

# What a press does, and how the row behaves
TURNS = 1
"""A press opens the value for turning."""
ACTS = 2
"""A press does something at once, described by `deed`."""
CHOOSES = 4
"""A press goes back to choosing a patch."""
GOES_ON = 8
"""A press goes on with the run that is kept."""
ENDS = 16
"""A press ends the run that is kept."""
PACES = 32
"""Faster turning takes bigger steps."""
TWO_VALUED = 64
"""When opened it proposes its other value."""
NAMES = 128
"""The value is a name, and is cut where the label leaves no room for it."""
KEEPS = 256
"""What the press does is no change that can be undone."""
LEADS_ON = 512
"""Taking the value opens another: that of the row on which the cursor is then."""

TALL = 1024
"""The row is for hands: its letters are 16 pixels tall."""

_PACED = ("ms", "auto ms", "s", "time", "pm")
SETTING = "setting"


class Row:
    """A line of a screen: `key` says which, with `index` (of a pass) and `number` (of a mark, or None) where
    there are several, or `name` (of a card, a setting, a screen)."""

    def __init__(
        self, key: str, label: str, does: int = 0, deed: str = "", index: int = 0, number=None
    ) -> None:
        self.key = key
        self.label = label
        self.does = does
        self.deed = deed
        self.index = index
        self.number = number
        self.name = ""

    def same(self, other: "Row") -> bool:
        """True if the two stand for the same thing."""
        return (self.key, self.index, self.number, self.name) == (
            other.key,
            other.index,
            other.number,
            other.name,
        )


def named(key: str, name: str, label: str, does: int, deed: str = "") -> Row:
    row = Row(key, label, does, deed)
    row.name = name
    return row


def setting_row(key: str) -> Row:
    """The row of a bench setting. Text and the set of filters can be set only from the PC."""
    _, label, kind, _, limits = setting(key)
    does = TURNS
    if kind in ("text", "filters", "areas"):
        does = NAMES
    elif kind in _PACED:
        does = TURNS | PACES
    elif kind == "choice" and len(limits) == 2:
        does = TURNS | TWO_VALUED
    return named(SETTING, key, label, does)


class Screen:
    """A screen of rows. `panel` is what a `panel.Panel` offers: `work`, `shelf`, `undo`, `run`, `io` and
    `cursor`."""

    key = ""
    heading = ""
    begins = ""
    """What EXPOSE begins here: "print", "strip" or nothing."""
    over = ""
    """The screen to which BACK leads, by its key; "" for the list of screens."""
    module = ""
    """What is let go of when the screen is left (see `panel.screens`)."""
    meters = 0
    """While it is open the light cell reads in this range, and the safelight is out; 0 for neither. It has,
    besides what others have, `reading(panel, counts, light)`, with 0 in the dark, 1 under the viewing light
    and 2 in a stage's, `takes_spot(panel)`, `take_spot(panel)`, `draw_lit(hands)`, and `cell_told(panel)` for
    the acceptance test."""

    def opened(self) -> "Screen":
        return self

    def rows(self, panel) -> list:
        """The rows; never empty."""
        return []

    def about(self, panel) -> str:
        """The words at the right of the title."""
        return ""

    def aim(self, panel):
        """The pass and mark (None for the base) that the row under the cursor is about; None for no pass."""
        return None

    def cannot_begin(self, panel):
        """Why EXPOSE begins nothing here, but for what the plan itself tells: a Refusal, or None."""
        return None

    def enter(self, panel) -> None:
        """The screen is opened from the list of screens."""

    def leave(self) -> None:
        """The list of screens is shown again."""

    def home(self, panel) -> int:
        """The row on which the cursor stands when the screen is shown."""
        return 0

    def said(self, panel, row: Row) -> str:
        """What messages call this row."""
        return row.label.strip()

    def value(self, panel, row: Row) -> str:
        return setting_value(panel.work.bench, row.name) if row.key == SETTING else ""

    def open(self, panel, row: Row) -> None:
        panel.cursor.pick = 0
        if row.does & TWO_VALUED:
            before = self.value(panel, row)
            self.turn(panel, row, 1)
            if self.value(panel, row) == before:
                self.turn(panel, row, -1)

    def turn(self, panel, row: Row, steps: int) -> None:
        if row.key == SETTING:
            turn_setting(panel.work.bench, row.name, steps)

    def take(self, panel, row: Row) -> None:
        """The open value is taken. A Refusal leaves it open."""

    def act(self, panel, row: Row) -> None:
        """A press on a row that does something at once. A Refusal changes nothing."""


def back_leads_to(panel) -> str:
    return panel.cursor.screen.over or "screens"


def takes_first(panel) -> bool:
    """A press under the viewing light takes the first spot of the light cell; below, the second."""
    return panel.cursor.screen.meters and panel.cursor.screen.takes_spot(panel) == 1


def takes_second(panel) -> bool:
    return panel.cursor.screen.meters and panel.cursor.screen.takes_spot(panel) == 2


def take_spot(panel) -> None:
    panel.cursor.screen.take_spot(panel)


def within(value: int, low: int, high: int) -> int:
    return max(low, min(high, value))


def following(choices, now, steps: int):
    """The choice `steps` away from `now`, stopping at the ends; an unknown one starts at the first."""
    at = choices.index(now) if now in choices else 0
    return choices[within(at + steps, 0, len(choices) - 1)]


def following_filter(bench, now: str, steps: int) -> str:
    return following(("",) + bench.get("filters"), now, steps)


def step_ms(bench, ms: int, steps: int) -> int:
    """`ms` moved on the bench's dial step, within the range of a base."""
    size = bench.step_stops120
    moved = scale(ms, within(size * steps, -600, 600)) if size else plain_step(ms, steps)
    return within(moved, BASE_MIN_MS, BASE_MAX_MS)


def setting_value(bench, key: str) -> str:
    kind, value = setting(key)[2], bench.get(key)
    if kind == "auto ms" and not value:
        return "auto, %d ms" % bench.least_light_ms
    if kind == "ms" or kind == "auto ms":
        return "%d ms" % value
    if kind == "s":
        return "%d s" % value if value else "off"
    if kind == "time":
        return seconds_text(value)
    if kind == "pm":
        return per_cent_text(value)
    if kind == "filter":
        return filter_text(value)
    if kind == "areas":
        return str(len(value))
    if kind == "filters":
        return " ".join(value)
    return str(value) or "not set"


def turn_setting(bench, key: str, steps: int) -> None:
    _, _, kind, _, limits = setting(key)
    value = bench.get(key)
    if kind == "choice":
        value = following(limits, value, steps)
    elif kind == "filter":
        value = following_filter(bench, value, steps)
    elif kind == "time":
        value = step_ms(bench, value, steps)
    else:
        low, high, size = limits
        value = within(value + size * steps, low, high)
    bench.set(key, value)
