"""The bench: the settings of one darkroom, as one table.

What must live here: each setting's name, meaning, unit, range and default. The wire, the Bench screen, the
store and the PC tool all read this table; none of them has a list of settings of its own.
"""

from timing_core.canonical import PRINTABLE
from timing_core.light.stops import BASE_MAX_MS, STEPS
from timing_core.platform import const
from timing_core.refusal import Refusal

_NUMBERS = ("ms", "auto ms", "s", "level", "time", "pm")
"""Kinds whose value is a whole number."""

FILTER_MAX = 8
DRY_DOWN_MAX_PM = 500

AREA_MAX = 16

# key, label on the panel, kind, default, and low, high and step of a number, or the choices. Lists have
# commas. One text, since tuples would take twice the memory on the board. What they mean: lampblack's own
# table. All names of areas together may have 110 characters, so that the bench fits into a line of the wire.
TABLE = """
lag_ms|Lamp lag|ms|0|-500,2000,5
least_ms|Shortest light|auto ms|0|0,2000,10
settle_ms|Settling time|ms|700|0,2000,50
viewing_limit_s|Viewing limit|s|300|10,900,10
safelight|Safelight|choice|steady|steady,exposing
step|Dial step|choice|1/6|1,1/2,1/3,1/4,1/6,1/8,1/12,seconds
lead_ms|Lead-in|ms|2000|500,5000,100
start_delay_s|Start delay|s|0|0,10,1
volume|Volume|level|3|0,5,1
brightness|Brightness|level|2|1,5,1
power_up|Power-up|choice|as left|as left,new print
new_base_ms|New print base|time|10000|100,999900,100
new_filter|New print filter|filter|2|0,8,0
new_dry_down_pm|New print dry-down|pm|80|0,500,5
anchor|Anchor|choice|light tone|light tone,middle,black
safelight_safe_s|Safelight limit|s|0|0,3600,10
filters|Filters|filters|00,0,1,2,3,4,5|1,12,0
areas|Names of areas|areas|sky,face,foreground,corner,edge,horizon,water,clouds,hands,window,wall,tree,path,\
hair,shirt,shadow,left,right,top,bottom|1,20,110
lamp|Lamp|text||0,24,0
"""

_LISTS = ("filters", "areas")
_LEAST_AUTO_MS = const(250)

BENCH_FORM = 2
"""The form in which the settings are kept, under "form". Form 1 had no such entry."""
_FORM_1_LEAST_MS = const(100)
"""The default of `least_ms` in form 1."""


def is_int(value: object) -> bool:
    """True for an integer that is not a bool (JSON's true is not a number of milliseconds)."""
    return isinstance(value, int) and not isinstance(value, bool)


def is_plain_text(value: object, low: int, high: int) -> bool:
    """True for text of `low`..`high` characters up to U+FFFF, without controls and surrogates."""
    if not isinstance(value, str) or not low <= len(value) <= high:
        return False
    if not value.strip(PRINTABLE):
        return True  # nearly all text is, and this is quick
    for ch in value:
        code = ord(ch)
        if not (32 <= code < 127 or (160 <= code < 0xD800 or 0xE000 <= code < 0x10000)):
            return False
    return True


def setting_keys() -> list:
    return [line[: line.find("|")] for line in TABLE.strip().split("\n")]


def setting(key: str) -> tuple:
    """(key, label, kind, default, limits) of a setting. Limits are (low, high, step), or choices. A Refusal
    names the keys there are."""
    at = TABLE.find("\n%s|" % key)
    if at >= 0 and "|" not in key:
        _, label, kind, default, limits = TABLE[at : TABLE.find("\n", at + 1)].split("|")
        choices = tuple(limits.split(","))
        if kind == "choice":
            return key, label, kind, default, choices
        low_high_step = tuple([int(limit) for limit in choices])
        if kind in _NUMBERS:
            return key, label, kind, int(default), low_high_step
        return key, label, kind, tuple(default.split(",")) if key in _LISTS else default, low_high_step
    names = ", ".join(setting_keys())
    # On the wire a long key would push the names out of the line.
    raise Refusal("No bench setting %s" % key[:32], "the box has " + names, "Use one of these")


def longest_light_ms() -> int:
    """The longest light that the core may ask for, by its own limits: the longest stage with the longest
    lag, or the viewing light."""
    (_, lag_ms, _), (_, viewing_s, _) = setting("lag_ms")[4], setting("viewing_limit_s")[4]
    return max(BASE_MAX_MS + lag_ms, 1000 * viewing_s)


def check(key: str, value: object) -> object:
    """`value` as it is kept for `key`. A Refusal says which values are allowed."""
    _, label, kind, _, limits = setting(key)
    what = "%s is not changed" % label
    if kind in _NUMBERS:
        if is_int(value) and limits[0] <= value <= limits[1]:
            return value
        why = "it is out of range" if is_int(value) else "it takes a whole number"
        raise Refusal(what, why, "Give %d to %d" % (limits[0], limits[1]))
    if kind == "choice":
        if value in limits:
            return value
        raise Refusal(what, "it takes a word", "Give one of: %s" % ", ".join(limits))
    if kind == "filters" or kind == "areas":
        longest = FILTER_MAX if kind == "filters" else AREA_MAX
        if isinstance(value, (list, tuple)) and limits[0] <= len(value) <= limits[1]:
            names = tuple(value)
            if all(is_plain_text(name, 1, longest) for name in names) and len(set(names)) == len(names):
                if not limits[2] or len("".join(names)) <= limits[2]:
                    return names
        todo = "Give %d to %d names of up to %d characters" % (limits[0], limits[1], longest)
        if limits[2]:
            todo += ", %d in all" % limits[2]
        raise Refusal(what, "it takes names, each once", todo)
    if is_plain_text(value, limits[0], limits[1]):
        return value
    raise Refusal(what, "it takes plain text", "Give up to %d characters" % limits[1])


class Bench:
    """The settings in force. `get` and `set` go through the table; unknown keys are refused. They begin as
    `values`, which `to_dict` gave, or by default."""

    def __init__(self, values: dict | None = None) -> None:
        self._values: dict = {}
        if values is not None:
            self.take(values)
            return
        for key in setting_keys():
            self._keep(key, setting(key)[3])

    def get(self, key: str):
        value = self._values[key]
        return tuple(value.split("\n")) if key == "areas" else value

    def set(self, key: str, value: object) -> None:
        self._keep(key, check(key, value))

    def _keep(self, key: str, value) -> None:
        # Names of areas lie in one text, a line each: a tuple would take 300 bytes more.
        self._values[key] = "\n".join(value) if key == "areas" else value

    def kept(self) -> dict:
        """The settings in the form in which they are kept; `take_kept` reads it."""
        values = self.to_dict()
        values["form"] = BENCH_FORM
        return values

    def take_kept(self, values: dict) -> str:
        """Take settings that this version or an earlier one kept. One that is out of range is left as it was.

        Returns a line for the printer where a setting's meaning has changed, "" otherwise.
        """
        for key in values:
            if key != "form":
                try:
                    self.set(key, values[key])
                except Refusal:
                    continue
        if "form" in values or not is_int(values.get("least_ms")):
            return ""
        # In form 1 the shortest light was a strike of the lamp, lag included.
        was_ms = values["least_ms"]
        low_ms, high_ms, _ = setting("least_ms")[4]
        own_ms = max(low_ms, min(high_ms, was_ms - self._values["lag_ms"]))
        self.set("least_ms", 0 if was_ms == _FORM_1_LEAST_MS else own_ms)
        return "Shortest light no longer counts the lag: %d ms became %d ms." % (was_ms, self.least_light_ms)

    def set_all(self, values: dict) -> None:
        """All of `values` or none: a Refusal leaves every setting as it was."""
        checked = {}
        for key in sorted(values):
            checked[key] = check(key, values[key])
        for key, value in checked.items():
            self._keep(key, value)

    @property
    def least_light_ms(self) -> int:
        """The shortest light that is given, lag not counted, in ms: as set, or found from the lag."""
        return self._values["least_ms"] or max(_LEAST_AUTO_MS, 3 * self._values["lag_ms"])

    def to_dict(self) -> dict:
        values = dict(self._values)
        for key in _LISTS:
            values[key] = list(self.get(key))
        return values

    def take(self, values: dict) -> None:
        """Take settings that `to_dict` gave: they were checked when they were set."""
        for key, value in values.items():
            self._keep(key, tuple(value) if key in _LISTS else value)

    @property
    def step_stops120(self) -> int:
        """The dial's step in 1/120 stop; 0 means plain seconds."""
        for name, size in STEPS:
            if name == self._values["step"]:
                return size
        return 0
