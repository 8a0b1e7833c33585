"""Plays lines to a box that has something on its shelf: the same on CPython and on MicroPython.

Run as a program it reads a file with one step a line, and prints one answer a line, empty where there is
none. A step is "lit", "dark", "json " and JSON to be written again, or the bytes of a line in hex digits; an
answer is in hex digits.
"""

import binascii
import sys

from tests.portable.fakes import documented_box, platform
from timing_core.canonical import encode
from timing_core.wire.methods import Link


def answers(steps):
    """What is said to each step, in hex digits."""
    box = documented_box()
    link = Link(box, platform)
    for step in steps:
        said = None
        if step in ("lit", "dark"):
            box.lit = step == "lit"
        elif step.startswith("json "):
            said = encode(platform.json_loads(step[5:]))
        else:
            said = link.take(binascii.unhexlify(step))
        yield binascii.hexlify(said or b"").decode()


if __name__ == "__main__":
    with open(sys.argv[1]) as file:  # noqa: PTH123 - MicroPython has no pathlib
        for answer in answers(line[:-1] for line in file):
            print(answer)
