"""Wires the box together and runs it. Whatever goes wrong, the lamp is put out and the box restarts."""

import machine

from board import crash
from board.dog import Dog
from board.pins import LAMP, SAFELIGHT
from board.pulse import Pulse
from board.survivor import Survivor

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
    dog = Dog()
    try:
        from board.box_of_parts import build

        build(pulse, safelight, survivor, dog).run()
    except BaseException as fault:
        pulse.stop()
        crash.note(fault)
        survivor.crashed()
        machine.reset()
    finally:
        pulse.stop()
    dog.stop()


main()
