"""The light cell: a TSL2591 on a bus of its own, so that its cable can stop nothing else.

What must live here: its registers, and when it is asked. It may not know what a reading is for. Each `step`
is one transaction of at most 5 bytes, half a millisecond at 100 kHz. Before each both lines are looked at:
where one is held low no transaction is tried, since it would wait for its time-out.

To meter, each conversion is begun by itself, so that it has one range from its beginning to its end, and
what is read is never the conversion before. For doses the sensor converts on and on, and raises its interrupt
flag for each conversion, of which none may be passed over or read twice. Visible light is channel 0 less
channel 1, which sees infrared alone (TSL2591 data sheet, as its registers are). It is loaded when a screen is
opened for which the cell reads.
"""

from time import sleep_us, ticks_diff, ticks_ms

from machine import I2C, Pin
from micropython import const

from board import pins

# As `runner` has them: no conversion yet, after one transaction and after none
_ASKED = const(-4)
_NOTHING = const(-5)
# As the core's own `light_cell` and `cell_doses` have them
_OVER = const(-1)
_GONE = const(-2)
_MISSED = const(-3)
_DOSES = const(3)

_HERTZ = const(100000)
_TIMEOUT_US = const(2000)
_ADDRESS = const(0x29)
# Command bytes: a register, with the bits of a normal transaction
_ENABLE = const(0xA0)
_CONTROL = const(0xA1)
_ID = const(0xB2)
_STATUS = const(0xB3)
_CHANNEL_0 = const(0xB4)
_CHANNEL_1 = const(0xB6)
_CLEAR = const(0xE6)
"""A command by itself: it clears the interrupt flag."""

_IS_TSL2591 = const(0x50)
_VALID = const(1)
_INTERRUPT = const(0x10)
_ON = const(1)
_ON_AND_CONVERTS = const(3)
_AND_INTERRUPTS = const(0x13)
_MOST_COUNTS = const(58981)
"""90 % of the 65,535 that a conversion of 200 ms or more can count."""

_CONVERTS_MS = const(590)
_CONVERTS_SHORT_MS = const(185)
_SHORT_MOST_MS = const(216)
"""The longest that a conversion of 200 ms takes: 8 % more; assumed."""
_LOST_MS = const(380)
"""So long after the end of one the next is found, if none between them was lost."""
_LOOK_MS = const(10)
_CONTROLS = b"\x00\x35\x25\x31"
"""By range: the greatest gain or the next to it, and a conversion of 600 or of 200 ms."""
_LATE_MS = const(900)
"""A conversion that is not there after so long will not come: the cell lost its power, or is another."""
_RETRY_MS = const(500)
_CLOCKS = const(9)
"""So many free a sensor that was cut off in mid-byte and holds SDA low."""


class LightCell:
    """Reads from `ask` on until `rest`. Its range is what the core calls FAINT, BRIGHT or DOSES."""

    def __init__(self) -> None:
        self._scl = Pin(pins.CELL_SCL)
        self._sda = Pin(pins.CELL_SDA)
        self._one = bytearray(1)
        self._two = bytearray(2)
        self._range = 0
        self._at = self._channel_0 = 0
        self._began_ms = self._due_ms = self._ended_ms = ticks_ms()
        self._open()

    def _open(self) -> None:
        self._i2c = I2C(1, sda=self._sda, scl=self._scl, freq=_HERTZ, timeout=_TIMEOUT_US)

    def ask(self, range: int) -> None:
        """Read in this range, with a new conversion."""
        self._range = range
        if self._at > 1:
            self._at = 1

    def rest(self) -> None:
        """Put the sensor to sleep."""
        try:
            self._write(_ENABLE, 0)
        except OSError:
            pass  # then it is not there
        self._at = 0

    def step(self) -> int:
        """Do what is due: a conversion's counts, _OVER or _GONE if there is one, else _ASKED or _NOTHING."""
        now_ms = ticks_ms()
        if ticks_diff(now_ms, self._due_ms) < 0:
            return _NOTHING
        try:
            return self._next(now_ms)
        except OSError:
            return self._lost(now_ms)

    def _next(self, now_ms: int) -> int:
        at = self._at
        if not at:
            self._begin()
        elif at == 1:
            self._write(_CONTROL, _CONTROLS[self._range])
        elif at == 2:
            self._write(_ENABLE, _ON)
        elif at == 3:
            self._write(_ENABLE, _AND_INTERRUPTS if self._range == _DOSES else _ON_AND_CONVERTS)
            self._began_ms = self._ended_ms = now_ms
            self._due_ms = now_ms + (_CONVERTS_SHORT_MS if self._range == _DOSES else _CONVERTS_MS)
        elif at == 4:
            self._read(_STATUS, self._one)
            if not self._one[0] & (_INTERRUPT if self._range == _DOSES else _VALID):
                if ticks_diff(now_ms, self._began_ms) > _LATE_MS:
                    return self._lost(now_ms)
                self._due_ms = now_ms + _LOOK_MS
                return _ASKED
            if self._range == _DOSES:
                self._clear()
                since_ms = ticks_diff(now_ms, self._ended_ms)
                self._began_ms = now_ms
                if since_ms > _LOST_MS:
                    self._ended_ms = now_ms
                    self._at = at + 1
                    return _MISSED
                # It may be found late, but it ended in time.
                self._ended_ms = now_ms if since_ms < _SHORT_MOST_MS else self._ended_ms + _SHORT_MOST_MS
        elif at == 5:
            self._read(_CHANNEL_0, self._two)
            self._channel_0 = self._two[0] | self._two[1] << 8
        else:
            self._read(_CHANNEL_1, self._two)
            self._at = 1
            if self._range == _DOSES:
                self._at = 4
                self._due_ms = self._ended_ms + _CONVERTS_SHORT_MS
            if self._channel_0 > _MOST_COUNTS:
                if self._range != _DOSES:
                    self._at = 0  # a part that fails may answer with ones alone: look whether it is still one
                return _OVER
            return max(0, self._channel_0 - (self._two[0] | self._two[1] << 8))
        self._at = at + 1
        return _ASKED

    def _clear(self) -> None:
        self._look()
        self._one[0] = _CLEAR
        self._i2c.writeto(_ADDRESS, self._one)

    def _begin(self) -> None:
        """Find it: OSError if it is not there, or something else is."""
        if not self._sda.value():
            self._free_bus()
        self._read(_ID, self._one)
        if self._one[0] != _IS_TSL2591:
            raise OSError

    def _free_bus(self) -> None:
        """Clock a sensor on that waits for the rest of a byte, and take the bus again."""
        scl = Pin(pins.CELL_SCL, Pin.OPEN_DRAIN, value=1)
        for _ in range(_CLOCKS):
            scl.value(0)
            sleep_us(5)
            scl.value(1)
            sleep_us(5)
        self._open()

    def _lost(self, now_ms: int) -> int:
        self._at = 0
        self._due_ms = now_ms + _RETRY_MS
        return _GONE

    def _look(self) -> None:
        if not (self._sda.value() and self._scl.value()):
            raise OSError

    def _write(self, command: int, value: int) -> None:
        self._look()
        self._one[0] = value
        self._i2c.writeto_mem(_ADDRESS, command, self._one)

    def _read(self, command: int, into: bytearray) -> None:
        self._look()
        self._i2c.readfrom_mem_into(_ADDRESS, command, into)
