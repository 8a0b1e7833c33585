"""Wires the box together and runs it. Whatever goes wrong, the lamp is put out and the box restarts."""

import micropython

# First of all: a stray Ctrl-C must not stop the box, not even on its way up.
micropython.kbd_intr(-1)

import machine  # noqa: E402

from board import crash  # noqa: E402
from board.dog import Dog  # noqa: E402
from board.pins import LAMP, SAFELIGHT  # noqa: E402
from board.pulse import Pulse  # noqa: E402
from board.survivor import Survivor  # noqa: E402

LAMP_CEILING_MS = 1001900
"""The longest light there is: a stage of 999.9 s and the longest lag."""

CRASHES_MAX = 3
"""After so many crashes in a row the box stays at the prompt, dark, for `lampblack doctor`."""


def main() -> None:
    pulse = Pulse(LAMP, 0, LAMP_CEILING_MS)
    safelight = machine.Pin(SAFELIGHT, machine.Pin.OUT, value=0)
    survivor = Survivor()
    if survivor.crashes >= CRASHES_MAX:
        survivor.settled()
        print("The box crashed %d times in a row and stays dark. See /crash.log" % CRASHES_MAX)
        return
    survivor.begun()
    dog = Dog()
    try:
        from board.box_of_parts import build

        build(pulse, safelight, survivor, dog).run()
    except BaseException as fault:
        pulse.stop()
        try:
            crash.note(fault)
        finally:
            machine.reset()
    finally:
        pulse.stop()
    survivor.left()
    dog.stop()


main()
