"""An SSD1306 display on the emulated Pico's I2C bus, with the time that a real bus takes.

What must live here: the bus's timing and the controller's memory. It may not know what is drawn.

The stock bus of the emulator takes no time. Here each byte takes nine periods of the clock that the
chip's own registers ask for, a start and a stop one period each, so a frame of 1 KB at 400 kHz keeps
the bus for 23 ms. (A little less than silicon: the block adds a few clocks of its own to each period.)

Of the controller: the three addressing modes, column and page windows, contrast, on and off, invert,
and which pages were written when. Commands of the SSD1306 data sheet, table 9-1, by heart; an unknown
one is an error, so that nothing is passed over in silence.
"""

from __future__ import annotations

from collections.abc import Callable

from rp2040py.peripherals.i2c import R_TX_EMPTY

from tests.rig.pico import Pico

WIDTH = 128
PAGES = 8
ADDRESS = 0x3C

HORIZONTAL, VERTICAL, PAGE = 0, 1, 2

# Commands that take bytes after them, and how many. The rest of those known take none.
ARGUMENTS = {
    0x20: 1,  # addressing mode
    0x21: 2,  # column window
    0x22: 2,  # page window
    0x26: 6,  # scroll
    0x27: 6,
    0x29: 5,
    0x2A: 5,
    0x81: 1,  # contrast
    0x8D: 1,  # charge pump
    0xA3: 2,  # scroll area
    0xA8: 1,  # multiplex ratio
    0xD3: 1,  # offset
    0xD5: 1,  # clock divider
    0xD9: 1,  # pre-charge
    0xDA: 1,  # COM pins
    0xDB: 1,  # VCOMH level
}
PLAIN = (*range(0x00, 0x20), 0x2E, 0x2F, *range(0x40, 0x80), 0xA0, 0xA1, *range(0xA4, 0xA8), 0xAE, 0xAF)
PLAIN = (*PLAIN, *range(0xB0, 0xB8), 0xC0, 0xC8, 0xE3)


class Display:
    """Attach to `bus` (0 or 1) of a Pico. `changed` is called at the end of each transfer that wrote."""

    def __init__(self, pico: Pico, bus: int = 0, changed: Callable[[], None] | None = None) -> None:
        self.memory = bytearray(WIDTH * PAGES)
        self.lit = False
        self.inverted = False
        self.contrast = 0x7F
        self.transfers = 0
        self.bytes = 0
        self.busy_ns = 0
        self.attached = True
        self.last_write_ns = 0
        self._pico = pico
        self._changed = changed or pico.look
        self._i2c = pico.mcu.i2c[bus]
        self._clock = pico.mcu.clock
        self._mode = PAGE
        self._columns = (0, WIDTH - 1)
        self._pages = (0, PAGES - 1)
        self._column = 0
        self._page = 0
        self._command = bytearray()
        self._control: int | None = None
        self._wrote = False
        self._i2c.on_start = self._on_start
        self._i2c.on_connect = self._on_connect
        self._i2c.on_write_byte = self._on_write_byte
        self._i2c.on_stop = self._on_stop

    def frame(self) -> bytes:
        """What the panel shows: 1,024 bytes, eight rows of 128 columns, the lowest bit on top."""
        return bytes(self.memory)

    # --- the bus

    def _after(self, periods: int, call: Callable[[], None]) -> None:
        """Call back when `periods` of the bus clock have passed."""
        i2c = self._i2c
        ns = periods * (i2c.scl_low_period + i2c.scl_high_period) * 1e9 / self._pico.mcu.clk_sys
        self.busy_ns += round(ns)
        self._clock.create_alarm(call).schedule(round(ns))

    def _on_start(self, repeated: bool) -> None:
        self._control = None
        self._after(1, self._i2c.complete_start)

    def _on_connect(self, address: int, mode: int) -> None:
        there = self.attached and address == ADDRESS and mode == 0

        def answered() -> None:
            self._i2c.complete_connect(there)
            if not there:
                # What was queued is thrown away, and then the queue is empty: the stock block does not
                # say so, and the chip's code waits for it until it gives up with another error.
                self._i2c._set_interrupts(R_TX_EMPTY)

        self._after(9, answered)

    def _on_write_byte(self, value: int) -> None:
        def done() -> None:
            self._take(value)
            self._i2c.complete_write(self.attached)

        self._after(9, done)

    def _on_stop(self) -> None:
        def done() -> None:
            self.transfers += 1
            self._i2c.complete_stop()
            if self._wrote:
                self._wrote = False
                self._changed()

        self._after(1, done)

    # --- the controller

    def _take(self, value: int) -> None:
        self.bytes += 1
        if self._control is None:
            if value not in (0x00, 0x40, 0x80, 0xC0):
                raise ValueError(f"SSD1306: control byte 0x{value:02x}")
            self._control = value
            return
        if self._control & 0x40:
            self._write(value)
        else:
            self._command.append(value)
            self._obey()
        if self._control & 0x80:
            # One byte only: another control byte follows.
            self._control = None

    def _obey(self) -> None:
        code, *given = self._command
        if code not in ARGUMENTS and code not in PLAIN:
            raise ValueError(f"SSD1306: unknown command 0x{code:02x}")
        if len(given) < ARGUMENTS.get(code, 0):
            return
        self._command.clear()
        if code == 0x20:
            self._mode = given[0] & 3
        elif code == 0x21:
            self._columns = (given[0] & 127, given[1] & 127)
            self._column = self._columns[0]
        elif code == 0x22:
            self._pages = (given[0] & 7, given[1] & 7)
            self._page = self._pages[0]
        elif code == 0x81:
            self.contrast = given[0]
        elif code in (0xA6, 0xA7):
            self.inverted = code == 0xA7
        elif code in (0xAE, 0xAF):
            self.lit = code == 0xAF
        elif code < 0x10:
            self._column = self._column & 0x70 | code
        elif code < 0x20:
            self._column = self._column & 0x0F | (code & 7) << 4
        elif 0xB0 <= code < 0xB8:
            self._page = code - 0xB0

    def _write(self, value: int) -> None:
        self.memory[self._page * WIDTH + self._column] = value
        self.last_write_ns = self._pico.now_ns
        self._wrote = True
        if self._mode == PAGE:
            self._column = (self._column + 1) % WIDTH
        elif self._mode == HORIZONTAL:
            if self._next_column():
                self._next_page()
        elif self._next_page():
            self._next_column()

    def _next_column(self) -> bool:
        """Step on within the window; True if that began it anew."""
        whole = self._column == self._columns[1]
        self._column = self._columns[0] if whole else (self._column + 1) % WIDTH
        return whole

    def _next_page(self) -> bool:
        whole = self._page == self._pages[1]
        self._page = self._pages[0] if whole else (self._page + 1) % PAGES
        return whole
