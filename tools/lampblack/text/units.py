"""People's units: text like "11.3 s", "+1/3" and "8 %" to and from the core's integers.

What must live here: how a time, an offset and a percentage are written, each as the one pattern
that the loader, the JSON Schema and the command share. Nothing is rounded: a figure the core cannot
hold exactly is refused, with what could be written instead.
"""

import json
import re
from fractions import Fraction

from timing_core.light.stops import STEPS, STOP, stops_text

FIGURES_MAX = 4
"""Before the point, of a time and of a percentage."""
SECONDS_PATTERN = rf"[0-9]{{1,{FIGURES_MAX}}}(\.[0-9]{{1,3}})? ?s"
PERCENT_PATTERN = rf"[0-9]{{1,{FIGURES_MAX}}}(\.[0-9])? ?%"
STOPS_PATTERN = r"0|[+-]([0-9]{1,2}(\.[0-9]{1,6})?|([0-9]{1,2} )?[0-9]{1,3}/[0-9]{1,3})"

_NUMBER = re.compile(r"([0-9]{1,9})(?:[.,]([0-9]{1,9}))?")


class UnitError(ValueError):
    """A value that cannot be read. `str()` is one line: what is wrong, then what to write."""

    def __init__(self, text: str, why: str, todo: str) -> None:
        shown = text if len(text) <= 40 else text[:40] + "..."
        super().__init__(f"{json.dumps(shown, ensure_ascii=False)} {why}. {todo}.")


def parse_seconds(text: str) -> int:
    """ "9 s" or "9.255 s" in ms. Raises UnitError; the caller checks the range."""
    return _decimal(text, SECONDS_PATTERN, "s", 3, "time in seconds", "11.3 s")


def parse_percent(text: str) -> int:
    """ "8 %" or "8.5 %" in per mille. Raises UnitError; the caller checks the range."""
    return _decimal(text, PERCENT_PATTERN, "%", 1, "percentage", "8 %")


def parse_stops(text: str) -> int:
    """ "+1/3", "-1 1/2", "+0.5" or "0" in 1/120 stop. Raises UnitError; the caller checks the range."""
    if re.fullmatch(STOPS_PATTERN, text):
        return _stops120(text)
    if re.fullmatch(STOPS_PATTERN, "+" + text):
        raise UnitError(text, "has no sign", f'Write "+{text}" for a burn, "-{text}" for a dodge')
    raise UnitError(text, "is no offset in stops", 'Write it like "+1/3", "-1/2" or "+1 1/2"')


def parse_step(text: str) -> tuple[int, int]:
    """The step of a test strip: "1/4" (stops) or "2 s". Gives 1/120 stop and ms; one of the two is 0."""
    if re.fullmatch(STOPS_PATTERN, "+" + text):
        return _stops120("+" + text), 0
    if text.endswith("s"):
        return 0, parse_seconds(text)
    usual = ", ".join(name for name, size in STEPS if size)
    raise UnitError(text, "is no step", f'Write stops, like {usual}, or seconds, like "2 s"')


def seconds_exact(ms: int) -> str:
    """`ms` (0 or more) as parse_seconds reads it back: "9 s", "9.255 s"."""
    return _figure(ms, 3) + " s"


def percent_exact(per_mille: int) -> str:
    """`per_mille` (0 or more) as parse_percent reads it back: "8 %", "8.5 %"."""
    return _figure(per_mille, 1) + " %"


def _decimal(text: str, pattern: str, unit: str, places: int, kind: str, sample: str) -> int:
    """A decimal figure with its unit, in units of its last place."""
    if re.fullmatch(pattern, text):
        return int(Fraction(text.removesuffix(unit)) * 10**places)
    found = _NUMBER.match(text)
    rest = text[found.end() :].strip() if found else ""
    if found is None or rest not in ("", unit):
        raise UnitError(text, f"is no {kind}", f'Write it like "{sample}"')
    whole, part = found[1], found[2] or ""
    if len(whole) > FIGURES_MAX:
        raise UnitError(text, "is far out of range", f"No {kind} here is over {10**FIGURES_MAX - 1} {unit}")
    wanted = f'Write "{whole}{"." + part if part else ""} {unit}"'
    if len(part) > places:
        nearest = round(Fraction(f"{whole}.{part}") * 10**places)
        raise UnitError(
            text, f"is finer than {_figure(1, places)} {unit}", f'Write "{_figure(nearest, places)} {unit}"'
        )
    if not rest:
        raise UnitError(text, "has no unit", wanted)
    raise UnitError(text, f"is no {kind}", wanted)


def _figure(value: int, places: int) -> str:
    """`value` units of the last of `places` decimals, without idle zeros: _figure(9250, 3) is "9.25"."""
    whole, part = divmod(value, 10**places)
    return f"{whole}.{part:0{places}}".rstrip("0").removesuffix(".")


def _stops120(text: str) -> int:
    """An offset that fits STOPS_PATTERN, in 1/120 stop."""
    sign = -1 if text[0] == "-" else 1
    try:
        size = sum(Fraction(part) for part in text.lstrip("+-").split(" ")) * STOP
    except ZeroDivisionError:
        raise UnitError(text, "divides by 0", 'Write it like "+1/3"') from None
    if size.denominator != 1:
        below, above = (stops_text(sign * (int(size) + more)) for more in (0, 1))
        raise UnitError(text, "is no whole 1/120 stop", f'Write "{below}" or "{above}"')
    return sign * int(size)
