"""Reading plain data: that it has the keys it must have, and that each value is in range.

What must live here: what is common to everything that comes as plain data. A large card has some hundred
values, so text is built only for a wrong one.
"""

from timing_core.light.bench import is_int, is_plain_text
from timing_core.refusal import Refusal

NAME_MAX = 24


class WrongForm(Exception):
    """What is wrong with plain data: `where` in it, "" for the whole of it, and `why`."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__()
        self.where = where
        self.why = why

    def inside(self, place: str, between: str = " ") -> "WrongForm":
        return WrongForm(place + between + self.where if self.where else place, self.why)

    def as_refusal(self, what: str, whole: str) -> Refusal:
        """The Refusal that says `what`; the plain data is called `whole` in it."""
        return Refusal(what, "%s: %s" % (self.where or whole, self.why), "Mend it and send it again")


def is_name(value: object) -> bool:
    """True for a name under which something is kept: 1 to NAME_MAX characters of a-z, 0-9 and "-"."""
    return (
        isinstance(value, str)
        and 1 <= len(value) <= NAME_MAX
        and all(ch in "abcdefghijklmnopqrstuvwxyz0123456789-" for ch in value)
    )


def value_in(plain, key: str):
    if key not in plain:
        raise WrongForm(key, "it is missing")
    return plain[key]


def only_keys(plain: object, needed: tuple, others: tuple = ()) -> None:
    """Check that `plain` has all keys of `needed` and none but these and `others`."""
    if not isinstance(plain, dict):
        raise WrongForm("", "it is not a table of keys and values")
    unknown = [str(key) for key in plain if key not in needed and key not in others]
    if unknown:
        raise WrongForm("", "it has no %s" % min(unknown)[:24])
    for key in needed:
        if key not in plain:
            raise WrongForm("", "%s is missing" % key)


def name_in(plain, key: str) -> str:
    value = value_in(plain, key)
    if not is_name(value):
        raise WrongForm(key, "it is 1 to %d characters of a-z, 0-9 and -" % NAME_MAX)
    return value


def text_in(plain, key: str, low: int, high: int) -> str:
    value = value_in(plain, key)
    if not is_plain_text(value, low, high):
        raise WrongForm(key, "it is plain text of %d to %d characters" % (low, high))
    return value


def number_in(plain, key: str, low: int, high: int) -> int:
    value = value_in(plain, key)
    if not is_int(value) or not low <= value <= high:
        raise WrongForm(key, "it is a whole number from %d to %d" % (low, high))
    return value


def flag_in(plain, key: str) -> bool:
    value = value_in(plain, key)
    if not isinstance(value, bool):
        raise WrongForm(key, "it is true or false")
    return value
