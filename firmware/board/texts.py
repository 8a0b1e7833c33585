"""Texts on flash: what the box seldom says is read when it is said.

The PC puts the calls where the texts were (`lampblack.board.texts_on_flash`), and the file beside this
module.
"""

from micropython import const

FILE = "/board/texts"

_PLACE = const(11)
_LENGTH = const(3)


def text_at(at: int) -> str:
    """The text that begins `at >> 11` bytes into FILE and has `at >> 3 & 255` characters. `at & 7` values are
    put into it, also where the file is lost.
    """
    try:
        with open(FILE, "rb") as file:
            file.seek(at >> _PLACE)
            text = str(file.read(at >> _LENGTH & 255), "ascii")
            if len(text) == at >> _LENGTH & 255:
                return text
    except (OSError, ValueError):
        pass
    return "These words are lost: install the firmware again." + at % 8 * " %s"
