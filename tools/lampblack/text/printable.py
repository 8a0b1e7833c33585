"""Text from outside (a box, a card, a port, a file's name) made fit to be printed.

What must live here: which characters are never printed, since a terminal or a spreadsheet would act on them.
"""

import json
import re
from typing import Any

_CONTROLS = (
    r"\u0000-\u001f\u007f-\u009f"  # C0, DEL and C1: a terminal takes them for commands
    r"\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # they turn round what is read (Unicode's Bidi_Control)
    r"\u2028\u2029"  # they end a line
    r"\ud800-\udfff"  # halves of characters
)
_UNPRINTABLE = re.compile(f"[{_CONTROLS}]")
_UNESCAPED = re.compile(f"[{_CONTROLS}]".replace(r"\u0000-\u001f", r"\u0000-\u0009\u000b-\u001f"))

_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What begins a formula in a spreadsheet. OWASP, "CSV Injection"."""


def printable(text: object) -> str:
    """`text` on one line, with a space for every character that is never printed."""
    return _UNPRINTABLE.sub(" ", str(text))


def escaped(text: str) -> str:
    """JSON or TOML with what is never printed as escapes, which both write alike; the ends of lines stay."""
    return _UNESCAPED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def json_text(value: Any) -> str:
    """Plain data as JSON to print."""
    return escaped(json.dumps(value, indent=2, ensure_ascii=False))


def csv_cell(value: Any) -> Any:
    """A cell of a spreadsheet that is no formula: text that would be one gets an apostrophe before it."""
    if not isinstance(value, str):
        return value
    return ("'" if value.startswith(_FORMULA) else "") + printable(value)
