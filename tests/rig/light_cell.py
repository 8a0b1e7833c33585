"""A light cell on the emulated Pico's second I2C bus: a TSL2591, with the time that bus and conversion take.

What must live here: its registers as its data sheet has them, and its faults. It may not know what it is
asked for.
"""

from __future__ import annotations

from collections.abc import Callable

from rp2040py.peripherals.i2c import R_TX_EMPTY

from tests.rig.box import PINS, PicoBox
from tests.rig.pico import MS

ADDRESS = 0x29
GAINS = (1, 25, 428, 9876)
CONVERSION_NS = 100 * MS


class LightCell:
    """Attach one to `box`. `counts(gain, ms)` is what its channels count, or once `gathers(from_ns, to_ns)`
    is given, that of the time of the conversion. `identity` is what it says it is; `is_mute`, it answers
    nothing any more; `answers`, if not None, the byte that all of it reads as. `begun` counts transactions,
    `missed` conversions that nobody has fetched before the next was there."""

    def __init__(
        self, box: PicoBox, counts: Callable[[int, int], tuple[int, int]], plugged: bool = True
    ) -> None:
        self._box = box
        self._pico = box.pico
        self._i2c = i2c = box.pico.mcu.i2c[1]
        self._counts = counts
        self.identity = 0x50
        self.is_plugged = plugged
        self.is_mute = False
        self.sda_is_held = self.scl_is_held = False
        self.answers: int | None = None
        self.gathers: Callable[[int, int], tuple[int, int]] | None = None
        self.begun = self.transactions = self.missed = 0
        self.busy_ns = self.longest_ns = 0
        self._began_ns = 0
        self._power_up()
        i2c.on_start = self._on_start
        i2c.on_connect = self._on_connect
        i2c.on_write_byte = self._on_write_byte
        i2c.on_read_byte = self._on_read_byte
        i2c.on_stop = self._on_stop
        self._lines()

    def _power_up(self) -> None:
        self._registers = bytearray(32)
        self._register = 0
        self._data = b"\0\0\0\0"
        self._asserted_ns: int | None = None
        self._cleared = 0

    def plug(self, plugged: bool) -> None:
        """Put it in, or pull it out, in mid-transaction or not."""
        self.is_plugged = plugged
        self._power_up()

    def hold_sda(self, held: bool) -> None:
        self.sda_is_held = held
        self._lines()

    def hold_scl(self, held: bool) -> None:
        self.scl_is_held = held
        self._lines()

    def _lines(self) -> None:
        self._pico.set_level(PINS["cell_scl"], int(not self.scl_is_held))
        self._pico.set_level(PINS["cell_sda"], int(not self.sda_is_held))

    # --- the bus

    def _after(self, periods: int, call: Callable[[], None]) -> None:
        i2c = self._i2c
        ns = round(periods * (i2c.scl_low_period + i2c.scl_high_period) * 1e9 / self._pico.mcu.clk_sys)
        self.busy_ns += ns
        self._pico.mcu.clock.create_alarm(call).schedule(ns)

    def _on_start(self, repeated: bool) -> None:
        if not repeated:
            self._began_ns = self._pico.now_ns
        self._first = True
        self.begun += 1
        self._after(1, self._i2c.complete_start)
        self._pico.look()

    def _on_connect(self, address: int, mode: int) -> None:
        held = self.sda_is_held or self.scl_is_held
        there = self.is_plugged and not self.is_mute and not held and address == ADDRESS

        def answered() -> None:
            self._i2c.complete_connect(there)
            if not there:
                self._i2c._set_interrupts(R_TX_EMPTY)  # see tests/rig/display.py

        self._after(9, answered)

    def _on_write_byte(self, value: int) -> None:
        def done() -> None:
            if self.is_plugged:
                self._take(value)
            self._i2c.complete_write(self.is_plugged)

        self._after(9, done)

    def _on_read_byte(self, ack: bool) -> None:
        # Without a sensor the lines are pulled up
        self._after(9, lambda: self._i2c.complete_read(self._give() if self.is_plugged else 0xFF))

    def _on_stop(self) -> None:
        def done() -> None:
            self.transactions += 1
            self.longest_ns = max(self.longest_ns, self._pico.now_ns - self._began_ns)
            self._i2c.complete_stop()

        self._after(1, done)

    # --- the chip

    def _take(self, value: int) -> None:
        if self._first:
            self._first = False
            if value == 0xE6:
                self._clear_interrupt()
                return
            assert value & 0xE0 == 0xA0, f"no command of a normal transaction: {value:02x}"
            self._register = value & 0x1F
            return
        converts = value & 3 == 3
        if self._register == 0:
            if converts and not self._registers[0] & 2:
                self._asserted_ns = self._pico.now_ns
                self._cleared = 0
            elif not converts:
                self._asserted_ns = None
        self._registers[self._register] = value
        self._register += 1

    @property
    def _length_ns(self) -> int:
        return ((self._registers[1] & 7) + 1) * CONVERSION_NS

    def _whole(self) -> int:
        """So many conversions are over."""
        return 0 if self._asserted_ns is None else (self._pico.now_ns - self._asserted_ns) // self._length_ns

    def _is_valid(self) -> bool:
        return self._whole() > 0

    def _interrupts(self) -> bool:
        """With every conversion, as its register for that has it from power-up on."""
        return bool(self._registers[0] & 0x10) and self._whole() > self._cleared

    def _clear_interrupt(self) -> None:
        self.missed += max(0, self._whole() - self._cleared - 1)
        self._cleared = self._whole()

    def _channels(self, gain: int, ms: int) -> tuple[int, int]:
        if self.gathers is None:
            return self._counts(gain, ms)
        assert self._asserted_ns is not None
        end_ns = self._asserted_ns + self._whole() * self._length_ns
        return self.gathers(end_ns - self._length_ns, end_ns)

    def _give(self) -> int:
        if self.answers is not None:
            return self.answers
        at = self._register
        self._register += 1
        if at == 0x12:
            return self.identity
        if at == 0x13:
            return int(self._is_valid()) | (0x10 if self._interrupts() else 0)
        if 0x14 <= at <= 0x17 and self._is_valid():
            gain, steps = GAINS[self._registers[1] >> 4 & 3], (self._registers[1] & 7) + 1
            channel = self._channels(gain, 100 * steps)[(at - 0x14) // 2]
            most = 36863 if steps == 1 else 65535
            return min(channel, most) >> 8 * (at & 1) & 0xFF
        return self._registers[at & 31]
