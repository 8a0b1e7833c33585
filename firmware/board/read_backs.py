"""What the circuit tells, and the second contact: lamp sense, the cut-off's tick, feedback and ARM.

What must live here: their pins, and the time of each edge. It may not know what follows. What tells of an
edge runs in a hard interrupt: it takes no memory. A pin that nothing is fitted to floats, and is left alone.

BACK's contact darkens the lamp by a wire of its own, and 0.14 ms later its pin tells so. When lamp sense
falls with that pin still up and the pulse not stopped, it was the wire that did it, and not the program.
"""

from time import ticks_ms

from machine import Pin

from board import pins
from board.inputs import Inputs
from board.pulse import Pulse


class ReadBacks:
    """Tells `watch` of every change, from now on. A fault in an interrupt is left in `inputs`."""

    def __init__(self, watch, inputs: Inputs, arm: Pin, pulse: Pulse) -> None:
        self._watch = watch
        self._arm = arm
        self._pulse = pulse
        self._back = Pin(pins.BACK)
        self._inputs = inputs
        self._sense: Pin | None = None
        self._feedback: Pin | None = None
        fitted = watch.fitted.in_force
        if fitted["read_backs"]:
            self._sense = self._listen(pins.LAMP_SENSE, Pin.IRQ_FALLING | Pin.IRQ_RISING)
            # It falls with the lamp, too.
            self._listen(pins.CUTOFF_TICK, Pin.IRQ_RISING)
        if fitted["second_contact"]:
            self._feedback = self._listen(pins.FEEDBACK, Pin.IRQ_FALLING | Pin.IRQ_RISING)
        for pin in (self._sense, self._feedback):
            if pin:
                self._edge(pin)

    def drive(self, level: int) -> None:
        """ARM: 1 closes the second contact."""
        self._arm.value(level)
        self._watch.driven(ticks_ms())

    def _listen(self, gpio: int, edges: int) -> Pin:
        pin = Pin(gpio, Pin.IN)
        pin.irq(self._edge, edges, hard=True)
        return pin

    def _edge(self, pin) -> None:
        try:
            watch = self._watch
            level = pin.value()
            if pin is self._sense:
                watch.edges[0] += 1
                if level != watch.sense:
                    watch.sensed(level, ticks_ms(), self._pulse.lit and self._back.value())
            elif pin is self._feedback:
                watch.edges[1] += 1
                if level != watch.feedback:
                    watch.felt(level, ticks_ms())
            else:
                watch.edges[2] += 1
                watch.counted(ticks_ms())
        except Exception as fault:
            self._inputs.fault = fault
