"""The letters of a printing record: how wide a text is, and how it is made to fit.

What must live here: measuring, breaking and shortening of text, by the letters that the pages are drawn
with. Widths are sums of the letters' own, which is at least what is drawn: closing up pairs makes text
narrower, never wider. All is in mm, but for sizes of letters, which are in points.
"""

from functools import cache
from pathlib import Path
from typing import Any

from lampblack.extra import extra
from lampblack.text.printable import printable

PT_MM = 25.4 / 72
ASCENT, DESCENT = 0.93, 0.24
"""Of the letters, as parts of their size: what they reach above and below the line they stand on."""
LEADING = 1.25
"""From line to line, as a part of their size."""
LACKING = "\N{WHITE SQUARE}"
"""Stands for a character that the letters have not."""
CUT_OFF = "\N{HORIZONTAL ELLIPSIS}"
_EM = 1000


@cache
def font_file(bold: bool) -> Path:
    """The letters that come with Matplotlib. CommandError where that is not installed."""
    with extra():
        import matplotlib
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


@cache
def _font(bold: bool) -> Any:
    path = font_file(bold)
    from matplotlib.ft2font import FT2Font

    font = FT2Font(str(path))
    font.set_size(_EM, 72)
    return font


@cache
def _known() -> frozenset[int]:
    """The characters that the letters have, thin and bold."""
    return frozenset(_font(False).get_charmap()) & frozenset(_font(True).get_charmap())


@cache
def _advance(letter: str, bold: bool) -> float:
    """How far a letter moves on, as a part of its size."""
    from matplotlib.ft2font import LoadFlags

    glyph = _font(bold).load_char(ord(letter), flags=LoadFlags.NO_HINTING)
    return glyph.linearHoriAdvance / 65536 / _EM


def drawable(text: str) -> str:
    """`text` on one line, with LACKING for each character that the letters have not."""
    known = _known()
    return "".join(letter if ord(letter) in known else LACKING for letter in printable(text))


def width_mm(text: str, size_pt: float, bold: bool = False) -> float:
    return sum(_advance(letter, bold) for letter in text) * size_pt * PT_MM


def wrapped(text: str, room_mm: float, size_pt: float, bold: bool = False) -> list[str]:
    """The lines of `text`, broken between words, and within one only where it is longer than a line."""
    lines: list[str] = []
    line = ""
    for word in filter(None, text.split(" ")):
        longer = f"{line} {word}" if line else word
        if width_mm(longer, size_pt, bold) <= room_mm:
            line = longer
            continue
        if line:
            lines.append(line)
        while width_mm(word, size_pt, bold) > room_mm and len(word) > 1:
            fits = max(1, _most(word, room_mm, size_pt, bold))
            lines.append(word[:fits])
            word = word[fits:]
        line = word
    return [*lines, line] if line else lines


def fitted(
    text: str, room_mm: float, size_pt: float, least_pt: float, bold: bool = False
) -> tuple[str, float]:
    """`text` and the size at which it fits: smaller letters down to `least_pt`, then fewer of them."""
    wide = width_mm(text, size_pt, bold)
    if wide <= room_mm:
        return text, size_pt
    size_pt = max(least_pt, size_pt * room_mm / wide)
    if width_mm(text, size_pt, bold) > room_mm + 1e-9:
        text = text[: _most(text, room_mm - width_mm(CUT_OFF, size_pt, bold), size_pt, bold)] + CUT_OFF
    return text, size_pt


def _most(text: str, room_mm: float, size_pt: float, bold: bool) -> int:
    """How many letters of `text` fit."""
    wide = 0.0
    for count, letter in enumerate(text):
        wide += width_mm(letter, size_pt, bold)
        if wide > room_mm:
            return count
    return len(text)
