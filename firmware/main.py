"""Wires the box together and runs it. Whatever goes wrong, the lamp is put out and the box restarts."""

import micropython

# First of all: a stray Ctrl-C must not stop the box, not even on its way up.
micropython.kbd_intr(-1)

import gc  # noqa: E402
import sys  # noqa: E402

import machine  # noqa: E402

from board import crash  # noqa: E402
from board.pins import ARM, LAMP, SAFELIGHT  # noqa: E402
from board.pulse import Pulse  # noqa: E402
from board.scratch import Survivor  # noqa: E402
from board.watchdog import Dog  # noqa: E402

# The lamp's counter is assembled. MicroPython's start-up leaves the assembler loaded: it takes 2 KB.
sys.modules.pop("rp2", None)
globals().pop("rp2", None)

CRASHES_MAX = 3
"""After so many crashes in a row the box stays at the prompt, dark, for `lampblack doctor`."""


def main() -> None:
    machine.Pin(LAMP, machine.Pin.OUT, value=0)
    safelight = machine.Pin(SAFELIGHT, machine.Pin.OUT, value=0)
    arm = machine.Pin(ARM, machine.Pin.OUT, value=0)
    survivor = Survivor()
    if survivor.crashes >= CRASHES_MAX:
        survivor.settled()
        print("The box crashed %d times in a row and stays dark. See /crash.log" % CRASHES_MAX)
        return
    survivor.begun()
    dog = Dog()
    try:
        # Until here nothing of the core was needed: a fault in loading it is one like any other.
        # Memory is collected often meanwhile, or what is kept would be strewn over all of the rest.
        gc.threshold(100000)
        from board.assembly import build, longest_light_ms

        pulse = Pulse(LAMP, 0, longest_light_ms())
        try:
            runner = build(pulse, safelight, arm, survivor, dog)
            # How the box is built takes memory, and is not needed any more.
            del build, sys.modules["board.assembly"].build
            runner.run()
        finally:
            pulse.stop()
            arm.init(machine.Pin.OUT, value=0)
    except BaseException as fault:
        try:
            crash.note(fault)
        finally:
            machine.reset()
    survivor.left()
    dog.stop()


main()
