"""What the circuit tells, and the second contact: lamp sense, the cut-off's tick, feedback and ARM.

What must live here: their pins, and the time of each edge. It may not know what follows. What tells of an
edge runs in a hard interrupt: it takes no memory. A pin that nothing is fitted to floats, and is left alone.
"""

from time import ticks_ms

from machine import Pin

from board import pins
from board.inputs import Inputs


class ReadBacks:
    """Tells `watch` of every change, from now on. A fault in an interrupt is left in `inputs`."""

    def __init__(self, watch, inputs: Inputs, arm: Pin) -> None:
        self._watch = watch
        self._arm = arm
        self._inputs = inputs
        self._sense: Pin | None = None
        self._feedback: Pin | None = None
        fitted = watch.fitted.in_force
        if fitted["read_backs"]:
            self._sense = self._listen(pins.LAMP_SENSE)
            self._listen(pins.CUTOFF_TICK)
        if fitted["second_contact"]:
            self._feedback = self._listen(pins.FEEDBACK)
        for pin in (self._sense, self._feedback):
            if pin:
                self._edge(pin)

    def drive(self, level: int) -> None:
        """ARM: 1 closes the second contact."""
        self._arm.value(level)
        self._watch.driven(ticks_ms())

    def _listen(self, gpio: int) -> Pin:
        pin = Pin(gpio, Pin.IN)
        pin.irq(self._edge, Pin.IRQ_FALLING | Pin.IRQ_RISING, hard=True)
        return pin

    def _edge(self, pin) -> None:
        try:
            watch = self._watch
            level = pin.value()
            if pin is self._sense:
                if level != watch.sense:
                    watch.sensed(level, ticks_ms())
            elif pin is self._feedback:
                if level != watch.feedback:
                    watch.felt(level, ticks_ms())
            else:
                watch.counted()
        except Exception as fault:
            self._inputs.fault = fault
