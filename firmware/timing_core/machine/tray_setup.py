"""What the trays are set to, and what their baths have done: a record of its own.

What must live here: which sequence is chosen, the temperature and the other settings, and how much paper went
through. It may not know which sheets are on their way. It is loaded with the Trays screen, in the dark, and
written there alone.
"""

from timing_core.canonical import encode
from timing_core.light.bench import is_int
from timing_core.light.plain_form import is_name
from timing_core.light.tray_sequence import DEFAULT_NAMES, FACTOR, KINDS, LEAST, default_sequence
from timing_core.light.tray_times import (
    COLDEST_HALF_DEGREES,
    REFERENCE_HALF_DEGREES,
    WARMEST_HALF_DEGREES,
    area_cm2,
    factor_ms,
    is_late,
    per_cent,
    tray_ms,
    turned_over,
    warned_at,
)
from timing_core.refusal import Refusal

PAPERS = (
    ("13 \u00d7 18 cm", 130, 180),
    ("18 \u00d7 24 cm", 180, 240),
    ("20 \u00d7 25 cm", 203, 254),
    ("24 \u00d7 30 cm", 240, 300),
    ("30 \u00d7 40 cm", 300, 400),
    ("40 \u00d7 50 cm", 400, 500),
    ("50 \u00d7 60 cm", 500, 600),
)

_KEY = "trays"
_MOST = 1 << 29
# key, default, and the lowest and highest value
SETTINGS = (
    ("half_degrees", REFERENCE_HALF_DEGREES, COLDEST_HALF_DEGREES, WARMEST_HALF_DEGREES),
    ("kind", LEAST, LEAST, FACTOR),
    ("factor10", 60, 10, 300),
    ("paper", 2, 0, len(PAPERS) - 1),
    ("limit_cm2", 0, 0, _MOST),
    ("used_cm2", 0, 0, _MOST),
    ("baths", 0, 0, 1),
    ("turns", 0, 0, 3),
    ("fresh_ms", 0, 0, _MOST),
    ("mixed_s", -1, -1, _MOST),
)
"""`kind` (as an index of KINDS) and `factor10` are of the first tray, `limit_cm2` (0: not set) and `used_cm2`
of the fixing bath, or the first of them, where `baths` is 1 for two and `turns` counts how often they were
turned over. `fresh_ms` is the first sight in the fresh developer (0: none yet), `mixed_s` how long ago that
was mixed (-1: not told)."""


class TraySetup:
    """`values` has what SETTINGS names, and "sequence", a name. `way` has the trays as `machine.trays.Sheet`
    takes them, at the temperature that is set. `trays` is the box's `machine.trays.Trays`, for its sense of
    time; `shelf` has the sequences from a PC. `sheet_mm` has the sides of the sheet that the card names,
    or is () where it names none."""

    def __init__(self, store, json_loads, trays, shelf, sheet_mm: tuple = ()) -> None:
        self._store = store
        self._trays = trays
        self._shelf = shelf
        self.sheet_mm = sheet_mm
        self._changes = -1
        self.values: dict = {"sequence": DEFAULT_NAMES[0]}
        for key, value, _, _ in SETTINGS:
            self.values[key] = value
        data = store.get(_KEY)
        try:
            self._take(json_loads(str(data or b"{}", "utf-8")))
        except (ValueError, TypeError, AttributeError):
            pass  # it is whole, and of another form: the defaults are in force
        self.way: tuple = ()
        self.refresh()

    def _take(self, kept: dict) -> None:
        """What a record has that is in its range; the rest stays as it is."""
        for key, _, low, high in SETTINGS:
            if is_int(kept.get(key)) and low <= kept[key] <= high:
                self.values[key] = kept[key]
        if is_name(kept.get("sequence")):
            self.values["sequence"] = kept["sequence"]

    def mixed_s(self) -> int:
        """How long ago the developer was mixed, as far as the box was on; -1 if it was not told."""
        told_s = self.values["mixed_s"]
        return told_s if told_s < 0 else told_s + self._trays.clock.up_s - self._trays.counted_s

    def keep(self, **values) -> None:
        """Keep these values. A Refusal changes nothing."""
        kept = self.all_values()
        kept.update(values)
        self._store.put(_KEY, encode(kept))
        self._trays.counted_s = self._trays.clock.up_s
        self.values = kept
        self.way = self._way()

    def leads_back(self, before: dict) -> dict:
        """What `bring_back` wants, to get to `before` from here: values of `all_values`."""
        now = self.all_values()
        back = {key: before[key] for key in before if before[key] != now[key]}
        if "used_cm2" in back:
            back["used_cm2"] -= now["used_cm2"]
        return back

    def bring_back(self, back: dict) -> dict:
        """Undo a change. Returns what leads here again. Sheets that went through a bath since then still
        count. A Refusal changes nothing."""
        before = self.all_values()
        kept = dict(back)
        if "used_cm2" in kept:
            kept["used_cm2"] = max(0, before["used_cm2"] + kept["used_cm2"])
        self.keep(**kept)
        return self.leads_back(before)

    def all_values(self) -> dict:
        values = dict(self.values)
        values["mixed_s"] = self.mixed_s()
        return values

    def _tell_kept(self, **values) -> str:
        """Keep what has happened; a line if that cannot be. The sheet goes its way all the same."""
        try:
            self.keep(**values)
        except Refusal as refusal:
            return refusal.line
        return ""

    # --- the trays

    def refresh(self) -> None:
        """Take up what a PC has changed of the sequences."""
        if self._changes != self._shelf.changes:
            self._changes = self._shelf.changes
            self.way = self._way()

    def sequences(self) -> list:
        """The names of those in the box, its own first."""
        return list(DEFAULT_NAMES) + [name for name in self._shelf.names() if name not in DEFAULT_NAMES]

    def sequence(self) -> str:
        """The name of the chosen one; of the first where that was removed."""
        name = self.values["sequence"]
        return name if name in DEFAULT_NAMES or name in self._shelf.names() else DEFAULT_NAMES[0]

    def _trays_of(self, name: str) -> list:
        found = self._shelf.get(name)
        if found is None:
            found = default_sequence(name if name in DEFAULT_NAMES else DEFAULT_NAMES[0])
        return found.trays

    def choose(self, name: str) -> None:
        """Keep another sequence. The kind of its first tray is set with it."""
        kind = self._trays_of(name)[0][4]
        self.keep(sequence=name, kind=KINDS.index(kind))

    def _way(self) -> tuple:
        found: list = []
        for name, seconds, ref_half_degrees, k, kind, tick_s, drain_s in self._trays_of(self.sequence()):
            lasts_ms = tray_ms(1000 * seconds, self.values["half_degrees"], k, ref_half_degrees)
            kind = KINDS.index(kind) if found else self.values["kind"]
            if kind == FACTOR:
                lasts_ms = 0
            found.append((name, lasts_ms, 1000 * drain_s, 1000 * tick_s, kind == LEAST))
        return tuple(found)

    def whole_ms(self, sight_ms: int) -> int:
        """The time in the developer, from its first sight. Refusal if that is too soon."""
        return factor_ms(sight_ms, self.values["factor10"])

    def saw(self, sight_ms: int) -> str:
        """The image was first seen after so long. Keeps that of a fresh developer; a line for a tired one."""
        fresh_ms = self.values["fresh_ms"]
        if not fresh_ms:
            return self._tell_kept(fresh_ms=sight_ms)
        if is_late(sight_ms, fresh_ms):
            return "First sight after %d s, and %d s when fresh: the developer is tired." % (
                sight_ms // 1000,
                fresh_ms // 1000,
            )
        return ""

    # --- the baths

    def sheet_cm2(self) -> int:
        wide_mm, high_mm = self.sheet_mm or PAPERS[self.values["paper"]][1:]
        return area_cm2(wide_mm, high_mm)

    def used_per_cent(self) -> int:
        return per_cent(self.values["used_cm2"], self.values["limit_cm2"])

    def count_sheet(self) -> str:
        """One more sheet goes through. Returns a line where the fixing bath nears its limit, or is at it."""
        before_cm2 = self.values["used_cm2"]
        used_cm2 = min(before_cm2 + self.sheet_cm2(), _MOST)
        refused = self._tell_kept(used_cm2=used_cm2)
        if refused:
            return refused
        warned = warned_at(before_cm2, used_cm2, self.values["limit_cm2"])
        if not warned:
            return ""
        if warned < 100:
            return "The fix has done 80 % of its sheets."
        if not self.values["baths"]:
            return "With this sheet the fix is used up. Mix it fresh."
        if turned_over(self.values["turns"]):
            return "With this sheet bath 1 is used up. Throw it: bath 2 takes its place."
        return "With this sheet both baths are used up. Mix both fresh."

    def renew(self) -> None:
        """The fixing bath is fresh, or the second has become the first."""
        turns = turned_over(self.values["turns"]) if self.values["baths"] else 0
        self.keep(used_cm2=0, turns=turns)

    def mix(self) -> None:
        """The developer is fresh."""
        self.keep(mixed_s=0, fresh_ms=0)
