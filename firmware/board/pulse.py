"""The lamp as a one-shot that counts its own time: light is never given without its end.

What must live here: the lamp's pin and the state machine that drops it. It may not know what the
light is for, nor does anything else on the board drive this pin. Importing this touches no hardware.

How it works. A PIO state machine, which runs beside the CPU and does not share its time, is loaded with a
count and started. It raises the pin, counts down at 1 MHz, drops the pin, raises an interrupt and halts.
Once it is started no line of Python is needed: a collection, a flash write with interrupts masked, an
exception or a hang changes neither the length nor the end of the light.

Why it is safe:
- The count is in the machine before the machine runs, and nothing sent to it later has any effect: the
  program never fetches a count, so no stray word can light the lamp.
- `start` accepts no length above the ceiling, and none while the lamp is lit.
- Between pulses the pin is a plain output, low. The machine has the pin only for the time of a pulse.
- A reset of the chip releases every pin, and the relay's pull-down keeps the lamp dark. A soft reset
  (Ctrl-D) stops the machine in mid-count with the pin still high. `boot.py` then puts the pin low, and a
  board must never be without it.

Timing. `set` takes 1 us and the loop n + 1 us for a count of n, so a pulse of t us needs n = t - 2. The
state machine's clock is derived from the system clock when the Pulse is made: never change the system clock
after that.
"""

# The words of the PIO program exist only while it is assembled:
# ruff: noqa: F821
# mypy: disable-error-code="name-defined,call-overload"

import micropython
from machine import Pin
from micropython import const
from rp2 import PIO, StateMachine, asm_pio

_HZ = const(1000000)
_CEILING_MOST_MS = const(1073741)
"""Above this a count in us is no small integer any more, and lighting the lamp would allocate."""

_OVERHEAD_US = const(2)
_LEFT_OVERHEAD_US = const(1)
"""What is still to come, besides the count, when the count is read: the turn that ends the loop."""

# Instructions for the halted machine, encoded (RP2040 data sheet, 3.4). As text they would be assembled
# each time, and that allocates.
_PULL = const(0x80A0)
_MOV_X_OSR = const(0xA027)
_SET_PINS_0 = const(0xE000)
_MOV_ISR_X = const(0xA0C1)
_PUSH_NOBLOCK = const(0x8000)


@asm_pio(set_init=PIO.OUT_LOW)
def _one_shot():
    set(pins, 1)
    label("count")
    jmp(x_dec, "count")
    set(pins, 0)
    irq(rel(0))
    # Nobody raises flag 7: the machine stands here, idle, until the next start.
    label("stand")
    wait(1, irq, 7)
    jmp("stand")


# Nothing here holds the assembler any more: `main.py` lets go of it.
del asm_pio


def _unheard(ms: int) -> None:
    """Stands in for `on_end` until one is set."""


class Pulse:
    """A pin that can be raised only together with the time of its fall.

    `sm_id` is the state machine, 0 to 7 (0 to 3 are in the first PIO block). `ceiling_ms` is the longest
    pulse, 1 to 1,073,741; ValueError otherwise. Neither `start` nor `stop` allocates.

    Each pulse is reported once: by `on_end(ms)`, called outside of interrupts when the pulse has run its
    length, or by the value that `stop` returns. A call of `on_end` may be lost if the interpreter has too
    many such calls waiting. `lit` is always right, so look at it too: it is true from `start` until the pin
    has fallen. `owes` is true until the pulse has been reported. Both are set here alone, and are no
    properties: to set anything in a class that has one takes a board 0.02 ms.
    """

    def __init__(self, pin_number: int, sm_id: int, ceiling_ms: int) -> None:
        if not 1 <= ceiling_ms <= _CEILING_MOST_MS:
            raise ValueError("the ceiling of a pulse is 1 to %d ms" % _CEILING_MOST_MS)
        self.on_end = _unheard
        self.given_us = 0
        self._ceiling_ms = ceiling_ms
        self._alt = Pin.ALT_PIO0 if sm_id < 4 else Pin.ALT_PIO1
        self._whole_ms = 0
        self.lit = False
        self.owes = False
        self._report_it = self._report
        self._pin = Pin(pin_number, Pin.OUT, value=0)
        self._machine = StateMachine(sm_id, _one_shot, freq=_HZ, set_base=self._pin)
        self._machine.irq(self._finished, hard=True)
        # Making the machine has given it the pin.
        self._take_pin()

    def start(self, ms: int) -> None:
        """Raise the pin for `ms`, 1 to the ceiling.

        ValueError for any other length, RuntimeError while lit. The lamp is then left as it was.
        """
        if not 1 <= ms <= self._ceiling_ms:
            raise ValueError("a pulse is 1 to %d ms, not %d" % (self._ceiling_ms, ms))
        if self.lit:
            raise RuntimeError("the lamp is lit already")
        machine = self._machine
        machine.active(0)
        machine.restart()
        machine.put(ms * 1000 - _OVERHEAD_US)
        machine.exec(_PULL)
        machine.exec(_MOV_X_OSR)
        machine.exec(_SET_PINS_0)
        self._pin.init(Pin.ALT, alt=self._alt)
        self._whole_ms = ms
        # In this order: `stop` may come in between, and takes a pulse that is owed to be counting.
        self.lit = True
        self.owes = True
        machine.active(1)

    def stop(self) -> int:
        """Make the pin low at once. Returns the whole ms given by a pulse not yet reported, else 0.

        `given_us` has the same time in us. A pulse that ran out just before gives its full length.
        """
        self._take_pin()
        machine = self._machine
        machine.active(0)
        # These two lines follow each other directly, so that `_report` cannot come between and report it too.
        owed = self.owes
        self.owes = False
        if not owed:
            return 0
        self.given_us = self._whole_ms * 1000
        if self.lit:
            self.lit = False
            machine.exec(_MOV_ISR_X)
            machine.exec(_PUSH_NOBLOCK)
            # In units of 4 us even a count that ran out, and so wrapped around, is a small integer.
            left_4us = machine.get(None, 2)
            if left_4us <= self.given_us >> 2:
                self.given_us -= (left_4us << 2) + _LEFT_OVERHEAD_US
        return self.given_us // 1000

    def _take_pin(self) -> None:
        self._pin.init(Pin.OUT, value=0)

    def _finished(self, _machine) -> None:
        """In the interrupt: note the end, and schedule the report."""
        if self.lit:
            self._take_pin()
            self.lit = False
            self.given_us = self._whole_ms * 1000
            try:
                micropython.schedule(self._report_it, self._whole_ms)
            except RuntimeError:
                pass

    def _report(self, ms: int) -> None:
        if self.owes:
            self.owes = False
            self.on_end(ms)
