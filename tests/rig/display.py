"""A display on the emulated Pico's I2C bus, with the time that a real bus takes.

What must live here: the bus's timing, and the light behind an LCD. The controllers are those of
`tests/display_chips.py`. It may not know what is drawn.

The stock bus of the emulator takes no time. Here each byte takes nine periods of the clock that the
chip's own registers ask for, a start and a stop one period each, so a frame of 1 KB at 400 kHz keeps
the bus for 23 ms. (A little less than silicon: the block adds a few clocks of its own to each period.)
"""

from __future__ import annotations

from collections.abc import Callable

from rp2040py.peripherals.i2c import R_TX_EMPTY

from tests.display_chips import Chip, Ssd1306
from tests.rig.pico import Pico

ADDRESS = Ssd1306.ADDRESS


class Display:
    """Attach a display to `bus` (0 or 1) of a Pico. `changed` is called at the end of each transfer that
    wrote, or switched it."""

    def __init__(
        self,
        pico: Pico,
        bus: int = 0,
        changed: Callable[[], None] | None = None,
        chip: Chip | None = None,
    ) -> None:
        self.chip = chip or Ssd1306()
        self.transfers = 0
        self.bytes = 0
        self.busy_ns = 0
        self.attached = True
        self.last_write_ns = 0
        self._pico = pico
        self._changed = changed or pico.look
        self._i2c = pico.mcu.i2c[bus]
        self._clock = pico.mcu.clock
        self._wrote = False
        self._i2c.on_start = self._on_start
        self._i2c.on_connect = self._on_connect
        self._i2c.on_write_byte = self._on_write_byte
        self._i2c.on_stop = self._on_stop

    @property
    def lit(self) -> bool:
        """It has been told to be on."""
        return self.chip.lit

    def frame(self) -> bytes:
        """What it was given for the panel: 1,024 bytes, eight rows of 128 columns, the lowest bit on top."""
        return self.chip.frame()

    def unplug(self) -> None:
        """Pull it out, power and bus."""
        self.attached = False

    def plug(self) -> None:
        """Put it back in."""
        self.chip.power_up()
        self.attached = True

    # --- the bus

    def _after(self, periods: int, call: Callable[[], None]) -> None:
        """Call back when `periods` of the bus clock have passed."""
        i2c = self._i2c
        ns = periods * (i2c.scl_low_period + i2c.scl_high_period) * 1e9 / self._pico.mcu.clk_sys
        self.busy_ns += round(ns)
        self._clock.create_alarm(call).schedule(round(ns))

    def _on_start(self, repeated: bool) -> None:
        self.chip.begin()
        self._after(1, self._i2c.complete_start)

    def _on_connect(self, address: int, mode: int) -> None:
        there = self.attached and address == self.chip.ADDRESS and mode == 0

        def answered() -> None:
            self._i2c.complete_connect(there)
            if not there:
                # What was queued is thrown away, and then the queue is empty: the stock block does not
                # say so, and the chip's code waits for it until it gives up with another error.
                self._i2c._set_interrupts(R_TX_EMPTY)

        self._after(9, answered)

    def _on_write_byte(self, value: int) -> None:
        def done() -> None:
            if self.attached:
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

    def _take(self, value: int) -> None:
        self.bytes += 1
        was_lit = self.chip.lit
        if self.chip.take(value):
            self.last_write_ns = self._pico.now_ns
            self._wrote = True
        self._wrote |= self.chip.lit != was_lit
