"""Paper records: what is measured of one paper and developer, and what follows from it.

What must live here: contrast and light of filters and of two filters on one sheet, in integers. It may not
know a map, nor where a record is kept. All of it is for the dark: some results on the way are large.

Ranges are `r10`: ISO range R in tenths, so that 1100 is R 110. Offsets are in 1/120 stop, and positive where
more light is wanted. Shares are in 1/4096, and say how much of the effect at a middle tone the pair's hard
filter has: 0 is the soft filter alone, SHARE the hard one. Densities are those above base and fog.
"""

from timing_core.canonical import encode
from timing_core.light.bench import FILTER_MAX, is_int, is_plain_text
from timing_core.light.plain_form import WrongForm, name_in, number_in, only_keys, text_in, value_in
from timing_core.light.stops import FURTHEST, scale

SHARE = 4096
NODES = (0, 1, 2, 4, 6, 8, 12, 16, 20, 24, 28, 32, 40, 48, 52, 56, 64)
"""The shares, in 1/64, for which the tables of a pair have a value: closer where contrast changes faster."""
_NODE = SHARE // 64

ANCHORS = ("light tone", "middle", "black")
"""The tones that may keep their light: density 0.10, 0.60, and 90 % of the greatest."""
QUARTER = 4
"""Quarters in a grade."""

FILTERS_MAX = 12
EDITION_MAX = 40
R10_MIN = 100
R10_MAX = 3000
OFFSET_FURTHEST = FURTHEST // 2
"""So that two offsets of a record are never further apart than an offset may be."""
SPEED_MAX = 9999

_UNIT = 1 << 16
_KEYS = ("name", "edition", "filters")
_TABLES = ("r10", "qa", "qs")


def range10(stops120: int) -> int:
    """The range in tenths of R of an exposure range in 1/120 stop: R is 100 times its logarithm."""
    return stops120 * 25086 // 10000


def share4096(soft_ms: int, soft_speed: int, hard_ms: int, hard_speed: int) -> int:
    """The share of the hard filter, 0..SHARE, for two lights through filters of these speeds (any unit)."""
    hard = hard_ms * hard_speed
    both = hard + soft_ms * soft_speed
    return (2 * hard * SHARE + both) // (2 * both)


def interp17(table, share: int) -> int:
    """The value of a table with one for each of NODES at `share`: on a straight line between two."""
    at = 1
    while NODES[at] * _NODE < share:
        at += 1
    low, high = NODES[at - 1] * _NODE, NODES[at] * _NODE
    return table[at - 1] + _rounded((table[at] - table[at - 1]) * (share - low), high - low)


def share_at(table, r10: int) -> int:
    """The share at which a table of falling ranges has `r10`; the nearest end where it has not."""
    if r10 >= table[0]:
        return 0
    for at in range(1, len(NODES)):
        if r10 >= table[at]:
            low, high = NODES[at - 1] * _NODE, NODES[at] * _NODE
            return low + _rounded((table[at - 1] - r10) * (high - low), table[at - 1] - table[at])
    return SHARE


def times_for(share: int, light: int, soft_speed: int, hard_speed: int, stops120: int = 0) -> tuple:
    """(soft, hard) in ms: how `light`, the sum of ms times speed, moved by `stops120`, is divided."""
    soft_ms = scale(light, stops120, SHARE - share, SHARE * soft_speed)
    return soft_ms, scale(light, stops120, share, SHARE * hard_speed)


def grade_of(filter: str):
    """The grade in quarters that a filter is called after, "00" being the one below 0; None for no grade."""
    if filter == "00":
        return -QUARTER
    whole, _, half = filter.partition(" ")
    if whole == "1/2" and not half:
        return QUARTER // 2
    if len(whole) == 1 and whole in "012345" and half in ("", "1/2"):
        return QUARTER * int(whole) + (QUARTER // 2 if half else 0)
    return None


def grade_quarters(r10: int, filters):
    """The grade of a range, in quarters: where it lies between the ranges of the filters that are called
    after a grade, or that of the last. `filters` has their names and ranges, [name, r10, ...]. None if fewer
    than two are."""
    grades = _grades(filters)
    if len(grades) < 2:
        return None
    if r10 >= grades[0][1]:
        return grades[0][0]
    for at in range(1, len(grades)):
        low, soft = grades[at - 1]
        high, hard = grades[at]
        if soft > hard and r10 >= hard:
            return low + _rounded((soft - r10) * (high - low), soft - hard)
    return grades[-1][0]


def range_of_grade(quarters: int, filters) -> int:
    """The range of a grade in quarters, on a straight line between those of the filters, of which two are
    called after a grade; the last one's beyond it."""
    grades = _grades(filters)
    for at in range(1, len(grades)):
        low, soft = grades[at - 1]
        high, hard = grades[at]
        if quarters <= high:
            return soft + _rounded((hard - soft) * (max(quarters, low) - low), high - low)
    return grades[-1][1]


def grade_text(quarters: int) -> str:
    """A grade as printers write it: "00", "1/2", "1 3/4"."""
    if quarters < 0:
        whole, rest = "00", quarters + QUARTER
    else:
        number, rest = divmod(quarters, QUARTER)
        whole = str(number) if number or not rest else ""
    part = ("", "1/4", "1/2", "3/4")[rest]
    return whole + " " + part if whole and part else whole or part


def _grades(filters) -> list:
    """(grade, range) of the filters that are called after a grade, the softest first."""
    return sorted([(grade_of(own[0]), own[1]) for own in filters if grade_of(own[0]) is not None])


def _rounded(number: int, by: int) -> int:
    return (2 * number + by) // (2 * by)


class PaperRecord:
    """One record. `filters` has a list [name, range, and the offsets of the three ANCHORS from the light that
    leaves a middle tone through the reference filter] for each; a name "" is no filter. `pair` has the names
    of the soft and the hard filter of split grade, or nothing; then `r10` has 17 ranges, `qa` and `qs` the
    offsets of light tone and black from a middle tone, at the shares of NODES. `speed` is the ISO speed P of
    the reference filter, 0 where no light was measured in lux.
    """

    def __init__(self, plain: dict) -> None:
        self.name = plain["name"]
        self.edition = plain["edition"]
        self.filters = plain["filters"]
        self.pair = plain.get("pair", [])
        self.r10 = plain.get("r10", [])
        self.qa = plain.get("qa", [])
        self.qs = plain.get("qs", [])
        self.speed = plain.get("speed", 0)

    @staticmethod
    def from_dict(plain: object) -> "PaperRecord":
        """The record that `to_dict` wrote. Anything missing, unknown or out of range is a Refusal."""
        try:
            return PaperRecord(_checked(plain))
        except WrongForm as wrong:
            raise wrong.as_refusal("The paper record is not taken", "the paper record") from None

    def to_dict(self) -> dict:
        """The record as JSON-ready data."""
        plain: dict = {"name": self.name, "edition": self.edition, "filters": self.filters}
        if self.pair:
            plain.update({"pair": self.pair, "r10": self.r10, "qa": self.qa, "qs": self.qs})
        if self.speed:
            plain["speed"] = self.speed
        return plain

    def text(self) -> bytes:
        """The canonical text of `to_dict`, as it is kept and sent."""
        return encode(self.to_dict())

    def offset(self, filter: str, anchor: str):
        """The offset of a filter that leaves the tone `anchor`, one of ANCHORS; None if the filter is not in
        the record."""
        for own in self.filters:
            if own[0] == filter:
                return own[2 + ANCHORS.index(anchor)]
        return None

    def change(self, filter: str, new_filter: str, anchor: str) -> int:
        """By how many 1/120 stop the light changes with the filter if `anchor` is to stay as it is; 0 if the
        record has not got both."""
        old, new = self.offset(filter, anchor), self.offset(new_filter, anchor)
        return 0 if old is None or new is None else new - old

    def span(self, filter: str):
        """The offset from the light that makes a light tone to that of black; None if the filter is not in
        the record."""
        light = self.offset(filter, ANCHORS[0])
        return None if light is None else self.offset(filter, ANCHORS[2]) - light

    def nearest(self, stops120: int) -> str:
        """The filter whose span is nearest to that of two readings."""
        names = [own[0] for own in self.filters if own[0]] or [""]
        return min([(abs(self.span(name) - stops120), name) for name in names])[1]

    def split_for(self, filter: str, light_ms: int, stops120: int) -> tuple:
        """(soft, hard) in ms of the pair, which span what two readings do, as far as it can, where `light_ms`
        through `filter` make a light tone."""
        spans = [black - light for light, black in zip(self.qa, self.qs)]
        share = share_at(spans, stops120)
        middle_ms = scale(light_ms, -self.offset(filter, ANCHORS[0]))
        return times_for(share, middle_ms * _UNIT, self._speed(0), self._speed(1), interp17(self.qa, share))

    def soft_first(self, filters: list):
        """True if two passes through `filters` are the pair, the soft one first; False if the hard one is;
        None if they are not the pair."""
        if len(filters) == 2 and self.pair:
            if filters == self.pair:
                return True
            if filters[::-1] == self.pair:
                return False
        return None

    def grade(self, soft_ms: int, hard_ms: int):
        """The grade of the pair in quarters, None if the record has no grades."""
        share = share4096(soft_ms, self._speed(0), hard_ms, self._speed(1))
        return grade_quarters(interp17(self.r10, share), self.filters)

    def regraded(self, soft_ms: int, hard_ms: int, quarters: int, anchor: str) -> tuple:
        """(soft, hard) in ms that make another grade, given in quarters, and leave `anchor` as it is."""
        soft, hard = self._speed(0), self._speed(1)
        was = share4096(soft_ms, soft, hard_ms, hard)
        share = share_at(self.r10, range_of_grade(quarters, self.filters))
        moved = self._offset_at(share, anchor) - self._offset_at(was, anchor)
        return times_for(share, soft_ms * soft + hard_ms * hard, soft, hard, moved)

    def grades(self):
        """The softest and the hardest grade of its filters, in quarters; None if fewer than two have one."""
        found = _grades(self.filters)
        return (found[0][0], found[-1][0]) if len(found) > 1 else None

    def grade_text(self, quarters: int) -> str:
        return grade_text(quarters)

    def _offset_at(self, share: int, anchor: str) -> int:
        """By the sum rule, a middle tone stays while the sum of light times speed does."""
        if anchor == ANCHORS[1]:
            return 0
        return interp17(self.qa if anchor == ANCHORS[0] else self.qs, share)

    def _speed(self, which: int) -> int:
        """The speed at a middle tone of the pair's soft (0) or hard (1) filter, in a unit of its own."""
        return scale(_UNIT, -(self.offset(self.pair[which], ANCHORS[1]) or 0))


# --- reading the plain form


def _checked(plain) -> dict:
    only_keys(plain, _KEYS, ("pair", "speed") + _TABLES)
    name_in(plain, "name")
    text_in(plain, "edition", 0, EDITION_MAX)
    names = _names_of(value_in(plain, "filters"))
    if "speed" in plain:
        number_in(plain, "speed", 1, SPEED_MAX)
    if "pair" in plain:
        pair = plain["pair"]
        if not isinstance(pair, list) or len(pair) != 2 or pair[0] == pair[1]:
            raise WrongForm("pair", "it is two names, of the soft and of the hard filter")
        for own in pair:
            if own not in names:
                raise WrongForm("pair", "both are filters of the record")
    for key in _TABLES:
        if ("pair" in plain) != (key in plain):
            raise WrongForm(key, "pair, r10, qa and qs come together")
        if key in plain:
            is_range = key == "r10"
            low = R10_MIN if is_range else -OFFSET_FURTHEST
            _check_table(plain[key], key, low, R10_MAX if is_range else OFFSET_FURTHEST)
    return plain


def _names_of(filters) -> list:
    if not isinstance(filters, list) or not 1 <= len(filters) <= FILTERS_MAX:
        raise WrongForm("filters", "a record has 1 to %d of them" % FILTERS_MAX)
    names: list = []
    for own in filters:
        where = "filter %d" % (len(names) + 1)
        if not isinstance(own, list) or len(own) != 2 + len(ANCHORS):
            raise WrongForm(where, "it is a name, a range and three offsets")
        if not is_plain_text(own[0], 0, FILTER_MAX) or own[0] in names:
            raise WrongForm(where, "its name has up to %d characters, and no other has it" % FILTER_MAX)
        if not _within(own[1], R10_MIN, R10_MAX):
            raise WrongForm(where, "its range is %d to %d" % (R10_MIN, R10_MAX))
        for offset in own[2:]:
            if not _within(offset, -OFFSET_FURTHEST, OFFSET_FURTHEST):
                raise WrongForm(where, "its offsets are up to %d/120 stop" % OFFSET_FURTHEST)
        names.append(own[0])
    return names


def _check_table(table, key: str, low: int, high: int) -> None:
    if not isinstance(table, list) or len(table) != len(NODES):
        raise WrongForm(key, "it has %d numbers" % len(NODES))
    for at in range(len(table)):
        if not _within(table[at], low, high):
            raise WrongForm(key, "its numbers are %d to %d" % (low, high))
        if key == "r10" and at and table[at] > table[at - 1]:
            raise WrongForm(key, "its ranges fall from the soft filter to the hard one")


def _within(value: object, low: int, high: int) -> bool:
    return is_int(value) and low <= value <= high  # type: ignore[operator]
