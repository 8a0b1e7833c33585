"""Tray sequences: the trays that a sheet goes through, from the box itself or from a PC.

What must live here: the one form of a sequence, its limits, and the two that every box has. It may not know
how warm the trays are, nor which sheets are in them.
"""

from timing_core.canonical import encode
from timing_core.light.bench import is_int, is_plain_text
from timing_core.light.plain_form import WrongForm, name_in, only_keys, text_in, value_in
from timing_core.light.tray_times import (
    COLDEST_HALF_DEGREES,
    K_MAX,
    K_MIN,
    REFERENCE_HALF_DEGREES,
    WARMEST_HALF_DEGREES,
)

TRAYS_MAX = 6
TRAY_MAX = 10
"""Characters of a tray's name: so many can be read at a metre beside its clock."""
TITLE_MAX = 40
SECONDS_MAX = 3600
TICK_MIN_S = 5
TICK_MAX_S = 600
DRAIN_MAX_S = 60

LEAST, EXACT, FACTOR = 0, 1, 2
KINDS = ("least", "exact", "factor")
"""What the time of a tray is: the least that will do, after which the sheet stays until it is moved; the
time to keep, after which it goes on; or, of the first tray, a factor of the first sight, which is kept."""

# A sequence a line: its name, then each tray as name, seconds at 20 °C, k (see `tray_ms`, 0: not at all), its
# kind, seconds between agitations and seconds to drain. Sources: docs/trays.md.
_DEFAULTS = """
rc|developer,60,12,0,0,10|stop bath,10,0,1,0,5|fix,60,12,1,0,10|wash,120,12,0,0,0
fibre|developer,120,12,1,0,10|stop bath,30,0,1,0,10|fix,60,12,1,30,10|wash,300,12,0,0,0\
|wash aid,600,12,1,60,10|wash,300,12,0,0,0
"""
DEFAULT_NAMES = ("rc", "fibre")
"""One from the PC of the same name takes the place of such a sequence."""


class TraySequence:
    """`trays` has a list for each: name, seconds, the half degrees that these are for, by how many 1/120 stop
    a degree changes them (0: not at all), one of KINDS, seconds between agitations (0: none) and to drain."""

    def __init__(self, plain: dict) -> None:
        self.name = plain["name"]
        self.title = plain["title"]
        self.trays = plain["trays"]

    @staticmethod
    def from_dict(plain: object) -> "TraySequence":
        """The sequence that `to_dict` wrote. Anything missing, unknown or out of range is a Refusal."""
        try:
            return TraySequence(_checked(plain))
        except WrongForm as wrong:
            raise wrong.as_refusal("The tray sequence is not taken", "the tray sequence") from None

    def to_dict(self) -> dict:
        """The sequence as JSON-ready data."""
        return {"name": self.name, "title": self.title, "trays": self.trays}

    def text(self) -> bytes:
        """The canonical text of `to_dict`, as it is kept and sent."""
        return encode(self.to_dict())


def default_sequence(name: str) -> TraySequence:
    """One of DEFAULT_NAMES."""
    line = _DEFAULTS.strip().split("\n")[DEFAULT_NAMES.index(name)]
    trays = []
    for tray in line.split("|")[1:]:
        own, *numbers = tray.split(",")
        seconds, k, kind, tick_s, drain_s = [int(number) for number in numbers]
        trays.append([own, seconds, REFERENCE_HALF_DEGREES, k, KINDS[kind], tick_s, drain_s])
    return TraySequence({"name": name, "title": "", "trays": trays})


# --- reading the plain form


def _checked(plain) -> dict:
    only_keys(plain, ("name", "title", "trays"))
    name_in(plain, "name")
    text_in(plain, "title", 0, TITLE_MAX)
    trays = value_in(plain, "trays")
    if not isinstance(trays, list) or not 1 <= len(trays) <= TRAYS_MAX:
        raise WrongForm("trays", "a sequence has 1 to %d of them" % TRAYS_MAX)
    for at in range(len(trays)):
        _check_tray(trays[at], "tray %d" % (at + 1), at == 0)
    return plain


def _check_tray(tray, where: str, is_first: bool) -> None:
    if not isinstance(tray, list) or len(tray) != 7:
        raise WrongForm(where, "it is a name, five numbers and a kind")
    name, seconds, half_degrees, k, kind, tick_s, drain_s = tray
    if not is_plain_text(name, 1, TRAY_MAX):
        raise WrongForm(where, "its name has 1 to %d characters" % TRAY_MAX)
    if not _within(seconds, 1, SECONDS_MAX):
        raise WrongForm(where, "its time is 1 to %d s" % SECONDS_MAX)
    if not _within(half_degrees, COLDEST_HALF_DEGREES, WARMEST_HALF_DEGREES):
        raise WrongForm(where, "its temperature is 16 to 26 degrees")
    if not _none_or_within(k, K_MIN, K_MAX):
        raise WrongForm(where, "a degree changes it by %d/120 to %d/120 stop, or 0" % (K_MIN, K_MAX))
    if kind not in (KINDS if is_first else KINDS[:FACTOR]):
        raise WrongForm(where, "its kind is least or exact; of the first tray also factor")
    if not _none_or_within(tick_s, TICK_MIN_S, TICK_MAX_S):
        raise WrongForm(where, "it is agitated each %d to %d s, or 0" % (TICK_MIN_S, TICK_MAX_S))
    if not _within(drain_s, 0, DRAIN_MAX_S) or drain_s >= seconds:
        raise WrongForm(where, "it drains up to %d s, and less than its time" % DRAIN_MAX_S)


def _within(value: object, low: int, high: int) -> bool:
    return is_int(value) and low <= value <= high  # type: ignore[operator]


def _none_or_within(value: object, low: int, high: int) -> bool:
    return _within(value, 0, 0) or _within(value, low, high)
