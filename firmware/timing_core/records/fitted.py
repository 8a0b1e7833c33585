"""What is fitted: a record of its own, since it is never guessed.

What must live here: which parts of the circuit are there, and whether that is known. It may not know what
they do. In force is what was found at the start: what the wire sets holds from the next start on, so that
nothing changes under a run.
"""

from timing_core.canonical import encode
from timing_core.light.bench import is_int
from timing_core.records.store import LOST
from timing_core.refusal import Refusal

DISPLAYS = ("ssd1306", "ssd1309", "sh1106", "st7567")
COLUMN_OFFSET_MAX = 4
"""Some displays have memory for 132 columns, of which 128 are seen."""

NOTHING_FITTED: dict = {
    "column_offset": 0,
    "display": "ssd1306",
    "read_backs": False,
    "second_contact": False,
}


def check_fitted(key: str, value: object) -> object:
    """`value` as it is kept for `key`. A Refusal says which values are allowed."""
    if key == "display":
        ok = value in DISPLAYS
    elif key == "column_offset":
        ok = is_int(value) and 0 <= value <= COLUMN_OFFSET_MAX  # type: ignore[operator]
    else:
        ok = key in NOTHING_FITTED and isinstance(value, bool)
    if not ok:
        todo = "Give true or false, an offset of 0 to %d, or one of %s"
        raise Refusal(
            "What is fitted is not changed",
            "%s has no such value" % key,
            todo % (COLUMN_OFFSET_MAX, ", ".join(DISPLAYS)),
        )
    return value


class Fitted:
    """`in_force` is what the box goes by, `kept` what it has at its next start. `doubt` says what is wrong
    with the record ("" for nothing) until a person has confirmed."""

    def __init__(self, store, platform) -> None:
        self._store = store
        self._json_loads = platform.json_loads
        self.in_force: dict = {}
        self.load()

    def load(self) -> None:
        """Read the record. Where it is damaged, what is whole of it is in force, or nothing is fitted."""
        self.kept = dict(NOTHING_FITTED)
        data, self.doubt = self._store.look("fitted")
        if data is not None:
            try:
                self.kept = self._with(self._json_loads(data.decode()))
            except (ValueError, TypeError, Refusal):
                self.doubt = LOST
        self.in_force = self.kept

    def _with(self, values: dict) -> dict:
        found = dict(self.kept)
        if not isinstance(values, dict):
            raise ValueError("it is no record")
        for key in sorted(values):
            found[key] = check_fitted(key, values[key])
        return found

    def set(self, values: dict) -> None:
        """Keep all of `values`, or none. A Refusal changes nothing."""
        found = self._with(values)
        self._store.put("fitted", encode(found))
        self.kept = found

    def confirm(self) -> None:
        """A person takes what is in force. A Refusal changes nothing."""
        self._store.put("fitted", encode(self.kept))
        self.doubt = ""
