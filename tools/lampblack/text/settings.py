"""Bench settings as text: "150 ms", "8 %", "00, 0, 1", to and from what the core keeps.

What must live here: the units a person may use for each kind of setting. Which settings there are,
and their ranges, is the core's table (see `bench`).
"""

import re
from fractions import Fraction
from typing import Any

from lampblack.text.units import percent_exact, seconds_exact
from timing_core.light.bench import check, setting
from timing_core.refusal import Refusal

AUTO = "auto"
"""What a person writes for 0 where that has the box find the value itself."""
OFF = "off"
"""What a person writes for 0 s: such a time is not waited for."""

UNITS: dict[str, dict[str, int]] = {
    "ms": {"ms": 1, "s": 1000},
    "auto ms": {"ms": 1, "s": 1000},
    "time": {"ms": 1, "s": 1000},
    "s": {"s": 1, "min": 60},
    "pm": {"%": 10},
    "level": {},
}
"""For each kind that is a number: the units to write it in. A bare number is in the key's own unit."""

MEANINGS = {
    "lag_ms": "light lost at switch-on less light gained at switch-off",
    "least_ms": (
        "the shortest light this lamp gives reliably; auto: 250 ms or three times the lag, if that is longer"
    ),
    "settle_ms": "how long no key lights the lamp after light, a filter or a start",
    "viewing_limit_s": "the viewing light goes out by itself after this",
    "safelight": "steady, or off during every exposure too",
    "step": "what one detent of the dial changes",
    "lead_ms": "time before each dodge window, to bring the shade in",
    "start_delay_s": "time from EXPOSE to the light of a burn or a patch, for both hands to be free",
    "volume": "0 is silence",
    "brightness": "of the display",
    "power_up": "the last map, or a new print",
    "new_base_ms": "base of a new print",
    "new_filter": "filter of a new print; empty for none",
    "new_dry_down_pm": "the cut of light proposed when a new print turns dry-down on",
    "anchor": "the tone that keeps its light when a paper record changes filter or grade",
    "safelight_safe_s": "how long a sheet may lie under the safelight; the safelight test sets it",
    "filters": "the set in the drawer",
    "areas": "what a new mark can be called at the box",
    "lamp": "a note of what is in the lamp house",
}
"""What each setting means, in a few words. A board has no need of them."""


def parse_setting(key: str, text: str) -> Any:
    """`text` as the bench keeps it for `key`. A Refusal says what would be right."""
    kind = setting(key)[2]
    if kind in ("filters", "areas"):
        return list(check(key, [name.strip() for name in text.split(",")]))  # type: ignore[call-overload]
    if kind not in UNITS:
        return check(key, text)
    if kind == "auto ms" and text.strip() == AUTO:
        return 0
    if kind == "s" and text.strip() == OFF:
        return check(key, 0)
    number = re.fullmatch(r"([+-]?[0-9]{1,9}(?:\.[0-9]{1,6})?) ?(ms|s|min|%)?", text)
    units = UNITS[kind]
    if number and (number[2] or "") in ("", *units):
        value = Fraction(number[1]) * units.get(number[2], 1)
        if value.denominator == 1:
            return check(key, int(value))
    wanted = " or ".join(units) or "a bare number"
    if kind == "auto ms":
        wanted += f", or {AUTO}"
    raise Refusal(
        f"{setting(key)[1]} is not changed",
        f'"{text}" is not what it takes',
        f"Give a whole number, in {wanted}",
    )


def setting_text(key: str, value: Any) -> str:
    """`value` of `key` as parse_setting reads it back."""
    kind = setting(key)[2]
    if kind in ("filters", "areas"):
        return ", ".join(value)
    if kind == "time":
        return seconds_exact(value)
    if kind == "pm":
        return percent_exact(value)
    if kind == "auto ms":
        return f"{value} ms" if value else AUTO
    if kind == "s" and not value:
        return OFF
    return f"{value} {kind}" if kind in ("ms", "s") else str(value)
