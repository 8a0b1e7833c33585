"""Keys, pedal and dial: edges on pins become inputs for the box, in order, with none lost and none doubled.

Everything here up to `next` runs in hard interrupts. So it may take no memory, and nothing is shared but
the ring, which only interrupts fill and only `next` empties.

A key acts at once, on its first falling edge. Contacts bounce for up to 20 ms, when they close and when they
open, so a falling edge counts only if the line was high for _QUIET_MS before it. A write to flash masks
interrupts for tens of ms: an edge is seen only after the write, and its true time is unknown. So the line
counts as high only up to the beginning of the write. A key pressed twice within the 0.1 s of a write counts
once, which is better than a single press that counts twice.

The dial is decoded from the order of its contacts' states, which bounce cannot imitate, since a bouncing
contact only steps back and forth between two neighbouring states. A detent counts when the dial comes to
rest.
"""

from time import ticks_diff, ticks_ms

from machine import Pin
from micropython import const, schedule

_QUIET_MS = const(25)
_RING_BYTES = const(64)
CLOCKWISE = 1
COUNTER = 2
FIRST_KEY = 3

# Quarter steps by (state before, state now), each as two bits A and B: 1 is forward, 3 is back.
_STEPS = const(b"\x00\x03\x01\x00\x01\x00\x00\x03\x03\x00\x00\x01\x00\x01\x03\x00")
_REST = const(3)


def _nobody(_) -> None:
    """Who is woken until the loop says whom."""


class Inputs:
    """The ring. `wake(_)` is called soon after an input has come in, outside the interrupt."""

    def __init__(self) -> None:
        self._ring = bytearray(_RING_BYTES)
        self._in = 0
        self._out = 0
        self.wake = _nobody
        self._called = False
        self._names = ["", "dial", "dial"]
        self._parts: list = []
        self._held: _Key
        self.lost = 0
        self.masked_ms = -1
        """Since when a write to flash has been masking interrupts; -1 for not now."""
        self.fault: BaseException | None = None
        """What went wrong in an interrupt: MicroPython would print it and leave the pin dead."""

    def mask(self, on: bool) -> None:
        """A write to flash begins (True) or is over (False)."""
        self.masked_ms = ticks_ms() if on else -1

    def put(self, code: int) -> None:
        """In an interrupt: add an input. If the ring is full, the input is dropped and counted as lost."""
        after = (self._in + 1) % _RING_BYTES
        if after == self._out:
            self.lost += 1
            return
        self._ring[self._in] = code
        self._in = after
        if not self._called:
            self._called = True
            try:
                schedule(self.wake, 0)
            except RuntimeError:
                # Too much is scheduled already. The loop looks by itself before long.
                self._called = False

    def next(self) -> int:
        """The code of the input that waits. No other call of this may cut into it."""
        self._called = False
        code = self._ring[self._out]
        self._out = (self._out + 1) % _RING_BYTES
        return code

    def waiting(self) -> str:
        """The box's event for the next input, which is left where it is; "" for none."""
        return "" if self._in == self._out else self._names[self._ring[self._out]]

    def hold(self) -> str:
        """ "back_down" or "back_up", if BACK has been held down or let go since this was asked last, else "".
        It is let go when its contact has come to rest."""
        key = self._held
        was_down = key.is_held
        if key.down == was_down:
            return ""  # asked before every key: quick where there is nothing new
        key.is_held = key.down or (was_down and ticks_diff(ticks_ms(), key.rose_ms) < _QUIET_MS)
        return "" if key.is_held == was_down else "back_down" if key.is_held else "back_up"

    def contacts(self) -> dict:
        """How many edges the contact of each key has given, the bounces among them."""
        return {name: key.edges for name, key in zip(self._names[FIRST_KEY:], self._parts)}

    def add_key(self, name: str, gpio: int, at_once=None) -> None:
        """`at_once()`, if given, is called in the interrupt itself."""
        key = _Key(self, len(self._names), gpio, at_once)
        self._parts.append(key)
        if name == "back":
            self._held = key
        self._names.append(name)

    def add_dial(self, gpio_a: int, gpio_b: int) -> None:
        self._parts.append(_Dial(self, gpio_a, gpio_b))


class _Key:
    def __init__(self, inputs: Inputs, code: int, gpio: int, at_once) -> None:
        self._inputs = inputs
        self._code = code
        self._at_once = at_once
        self.edges = 0
        self.rose_ms = ticks_ms() - _QUIET_MS
        pin = Pin(gpio, Pin.IN, Pin.PULL_UP)
        self.down = not pin.value()
        self.is_held = False
        self._irq = pin.irq(self._edge, Pin.IRQ_FALLING | Pin.IRQ_RISING, hard=True)

    def _edge(self, pin) -> None:
        try:
            now_ms = ticks_ms()
            flags = self._irq.flags()  # type: ignore[attr-defined]  # irq() returns an object that has it
            down = not pin.value()
            if not self.down and flags & Pin.IRQ_FALLING:
                masked_ms = self._inputs.masked_ms
                known_ms = now_ms if masked_ms < 0 else masked_ms
                if ticks_diff(known_ms, self.rose_ms) >= _QUIET_MS:
                    if self._at_once:
                        self._at_once()
                    self._inputs.put(self._code)
            # Unless this was a single clean fall, the line has been high just now.
            if self.down or flags & Pin.IRQ_RISING or not down:
                self.rose_ms = now_ms
            self.down = down
            self.edges = self.edges + 1 & 0xFFFFFF
        except Exception as fault:
            self._inputs.fault = fault


class _Dial:
    def __init__(self, inputs: Inputs, gpio_a: int, gpio_b: int) -> None:
        self._inputs = inputs
        self._a = Pin(gpio_a, Pin.IN, Pin.PULL_UP)
        self._b = Pin(gpio_b, Pin.IN, Pin.PULL_UP)
        self._state = self._a.value() << 1 | self._b.value()
        self._quarters = 0
        for pin in (self._a, self._b):
            pin.irq(self._edge, Pin.IRQ_FALLING | Pin.IRQ_RISING, hard=True)

    def _edge(self, _pin) -> None:
        try:
            self._decode()
        except Exception as fault:
            self._inputs.fault = fault

    def _decode(self) -> None:
        state = self._a.value() << 1 | self._b.value()
        step = _STEPS[self._state << 2 | state]
        self._state = state
        if step == 1:
            self._quarters += 1
        elif step == 3:
            self._quarters -= 1
        if state == _REST:
            # Two quarters are enough, since one in the middle may have been too quick to be seen.
            if self._quarters >= 2:
                self._inputs.put(CLOCKWISE)
            elif self._quarters <= -2:
                self._inputs.put(COUNTER)
            self._quarters = 0
