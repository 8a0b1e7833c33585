"""An emulated Pico that runs MicroPython's own image: the heart of the rig that the firmware is proven on.

What must live here: the chip, its power, its pins and its USB cable, all on one emulated clock. It
may not know what firmware runs on it. Nothing here depends on wall time or threads: the same inputs
at the same emulated nanoseconds give the same run.

The emulator is PyPI `rp2040py`; its version is pinned, because the mends below reach inside it.

Mend 1, the idle wire (`Usb`). The stock host answers each bulk-OUT buffer that the chip offers at
once, with an empty packet where it has nothing to send. A real host sends no packet then. The empty
ones wake the CPU every 50 us, and an idle second takes longer than a real one. Here an offered
buffer is held until there is something to send. Packets take the time of a full-speed bus.

Mend 2, PIO while the CPU sleeps (`ClockedPio`). Stock PIO is stepped by the CPU's own loop: it
stands still while the CPU sleeps, and a sleep ends its count early or late. Here each PIO block has
an alarm on the emulated clock at the time its next instruction is due, and nothing else steps it.
An instruction that only counts down in place (`jmp(x_dec)` to itself) is not stepped a million
times: its count is worked out whenever anybody looks, and the alarm is set for the count's end.
Since that computes the answer, it proves nothing by itself: `test_pico.py` holds it against the
stock stepping with a CPU that never sleeps. Not covered: a program that waits for a pin.

Mend 3, flash takes time (`_give_flash_time`). Stock erases and programs are instantaneous. Here the
clock moves on while the chip is busy and the CPU, interrupts masked as its code left them, stands
still. W25Q16JV data sheet, typical times (from memory): sector erase 45 ms, page program 0.4 ms.

What the emulator does not model: the cache of the flash (code is never slowed by a miss), a second
core, and brown-out. Its instructions cost the cycles of a Cortex-M0+ at 125 MHz.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.device.load_flash import load_uf2
from rp2040py.gpio_pin import GPIOPinState
from rp2040py.irq import IRQ
from rp2040py.peripherals import usb as usb_block
from rp2040py.peripherals.pio import RPPIO
from rp2040py.peripherals.ssi import (
    CMD_BLOCK_ERASE,
    CMD_PAGE_PROGRAM,
    CMD_SECTOR_ERASE,
)
from rp2040py.peripherals.vreg_and_chip_reset import HAD_POR, HAD_RUN
from rp2040py.simulator import Simulator
from rp2040py.usb.cdc import ENDPOINT_ZERO, USBCDC
from rp2040py.utils.logging import ConsoleLogger, LogLevel

from tests.rig.image import FS_SIZE, FS_START, build_fs, read_fs

US = 1_000
MS = 1_000_000
S = 1_000_000_000

FLASH_BYTES = 2 * 1024 * 1024
ERASE_NS = 45 * MS
PROGRAM_NS = 400 * US

SRAM_START = 0x2000_0000
STACK_START = 0x4_0000
"""Where the main stack lies in the memory: MicroPython's linker script for the RP2040 gives it both of the
small banks (memmap_mp_rp2040.ld, from memory)."""
STACK_BYTES = 0x2000
PAINT = 0xA5

PACKET_BYTES = 64
PACKET_US = 53
"""A full-speed bus carries at most 19 bulk packets of 64 bytes in a frame of 1 ms (USB 2.0, table 5-9)."""


# The chip's own code clears this bit by writing it (RP2040 data sheet, SIE_STATUS); the stock block
# ignores that, and the interrupt never ends.
usb_block.SIE_WRITECLEAR_MASK |= usb_block.SIE_SUSPENDED


class Edge(NamedTuple):
    """A watched pin began to be driven high (`level` 1), or no longer is (0), at `ns`."""

    ns: int
    pin: int
    level: int


class Reset(NamedTuple):
    """The chip left reset at `ns`; `cause` is "power", "run pin" or "watchdog" (also machine.reset())."""

    ns: int
    cause: str


class TimedOut(AssertionError):
    """What was waited for did not come about in its emulated time."""


class ClockedPio(RPPIO):
    """A PIO block on the clock (mend 2). Its times count 1/256 of a system clock, 1/32 ns."""

    PER_NS = 32

    def __init__(self, mcu, name: str, first_irq: int, index: int) -> None:
        self._clock = mcu.clock
        self._alarm = mcu.clock.create_alarm(self._when_due)

    def read_uint32(self, offset: int) -> int:
        self._catch_up()
        value = super().read_uint32(offset)
        self._arm()
        return value

    def write_uint32(self, offset: int, value: int) -> None:
        self._catch_up()
        super().write_uint32(offset, value)
        # Stopped is what keeps the CPU's loop from stepping it as well.
        self.stopped = True
        # On silicon an instruction forced from outside moves its pin at once.
        self.check_changed_pins()
        self._arm()

    def reset(self) -> None:
        super().reset()
        self._alarm.cancel()

    def _when_due(self) -> None:
        self._catch_up()
        self._arm()

    def _catch_up(self) -> None:
        """Do all that is due by now, each thing at its own time."""
        now = round(self._clock.nanos * self.PER_NS)
        while self.next_due_fp <= now:
            self._count(now)
            if self.next_due_fp <= now:
                self.cycle_fp = self.next_due_fp
                RPPIO.advance(self, 0)
        self.cycle_fp = now

    def _count(self, now: int) -> None:
        """Let machines that count in place count up to now."""
        for machine in self.machines:
            step = self._counts_in_place(machine)
            if step and machine.next_due_fp <= now:
                taken = min(machine.x, (now - machine.next_due_fp) // step + 1)
                machine.x -= taken
                machine.next_due_fp += taken * step
        self.recompute_due()

    def _counts_in_place(self, machine) -> int:
        """The time of one turn of `jmp(x_dec)` to itself, if that is what the machine does now; else 0."""
        if not machine.enabled or machine.waiting or not machine.x or machine.pin_ctrl >> 29:
            return 0
        opcode = self.instructions[machine.pc]
        if opcode & 0xE0FF != 0x0040 | machine.pc:
            return 0
        delay = opcode >> 8 & 0x1F
        return (1 + delay) * machine.div_fp

    def _arm(self) -> None:
        """Set the alarm for the next time that something can be seen to happen."""
        due = None
        for machine in self.machines:
            if machine.enabled and not machine.waiting:
                at = machine.next_due_fp + machine.x * self._counts_in_place(machine)
                due = at if due is None else min(due, at)
        self._alarm.cancel()
        if due is not None:
            self._alarm.schedule(max(0.0, due / self.PER_NS - self._clock.nanos))


class Usb:
    """The PC's end of the cable (mend 1). `received` is all that the chip has sent; `heard` tells of more."""

    def __init__(self, mcu, heard: Callable[[], None]) -> None:
        self.received = bytearray()
        self.connected = False
        self._usb = mcu.usb_ctrl
        self._clock = mcu.clock
        self._heard = heard
        self._waiting = bytearray()
        self._offered: list[int] = []
        self._packet_ns = 0
        self._next_ns = 0.0
        self._plugged = True
        self._alarm = mcu.clock.create_alarm(self._serve)
        self._cdc = USBCDC(self._usb)
        self._cdc.on_serial_data = self._take
        self._cdc.on_device_connected = self._connect
        self._stock_read = self._usb.on_endpoint_read
        self._stock_reset = self._usb.on_reset
        self._stock_dpram = self._usb.dpram_updated
        self._usb.on_endpoint_read = self._offer
        self._usb.on_reset = self._reset
        self._usb.dpram_updated = self._dpram
        self._usb.read_delay_microseconds = PACKET_US
        self._usb.write_delay_microseconds = PACKET_US

    def send(self, data: bytes, bytes_per_ms: int = 0) -> None:
        """Send `data` to the chip: as fast as bus and chip take it, or paced to `bytes_per_ms`."""
        self._packet_ns = PACKET_BYTES * MS // bytes_per_ms if bytes_per_ms else 0
        self._waiting += data
        self._serve()

    def drop(self) -> None:
        """Send nothing of what has not left yet."""
        self._waiting.clear()

    @property
    def sent(self) -> bool:
        """True when everything given to `send` has left."""
        return not self._waiting

    def unplug(self) -> None:
        """Pull the cable; the chip's power stays (it has its own supply). What was under way is lost."""
        self._plugged = False
        self.connected = False
        self._waiting.clear()
        self._offered.clear()
        # A bus without traffic for 3 ms is suspended (USB 2.0, 7.1.7.6): how a device notices.
        self._after(3 * MS, self._suspend)

    def plug(self) -> None:
        """Put the cable back: the host resets the bus and enumerates the chip again."""
        self._plugged = True
        self._stock_reset()
        self._usb.reset_device()

    def _suspend(self) -> None:
        if not self._plugged:
            self._usb._sie_status |= usb_block.SIE_SUSPENDED
            self._usb._sie_status_updated()

    def _after(self, ns: float, call: Callable[[], None]) -> None:
        self._clock.create_alarm(call).schedule(ns)

    def _connect(self) -> None:
        self.connected = True
        self._heard()

    def _take(self, data: bytes | bytearray) -> None:
        if self._plugged:
            self.received += data
            self._heard()

    def _dpram(self, offset: int, value: int) -> None:
        # Without a cable no buffer is ever taken from the chip; the bus reset on return clears them.
        if self._plugged:
            self._stock_dpram(offset, value)

    def _offer(self, endpoint: int, size: int) -> None:
        if endpoint == ENDPOINT_ZERO or endpoint != self._cdc._out_endpoint:
            self._stock_read(endpoint, size)
        else:
            self._offered.append(size)
            self._serve()

    def _serve(self) -> None:
        """Fill an offered buffer, if there is something to send and its time has come."""
        if not (self._offered and self._waiting):
            return
        now = self._clock.nanos
        if now < self._next_ns:
            self._alarm.schedule(self._next_ns - now)
            return
        size = min(self._offered.pop(0), PACKET_BYTES, len(self._waiting))
        packet = bytes(self._waiting[:size])
        del self._waiting[:size]
        self._next_ns = now + self._packet_ns
        self._usb.endpoint_read_done(self._cdc._out_endpoint, packet)

    def _reset(self) -> None:
        self.connected = False
        self._offered.clear()
        self._waiting.clear()
        self._alarm.cancel()
        self._stock_reset()


class Pico:
    """One Pico with `uf2` in its flash and `files` (path -> content) on its file system.

    `watch` are the pins whose edges are noted. `mend_pio` False leaves stock PIO, to hold the mend
    against. It is off until `start`.
    """

    def __init__(
        self,
        uf2: Path,
        files: Mapping[str, bytes],
        watch: Iterable[int] = (),
        mend_pio: bool = True,
    ) -> None:
        self._sim = Simulator()
        self.mcu = self._sim.rp2040
        self._clock = self._sim.clock
        self.mcu.load_bootrom(BOOTROM_B1)
        self.mcu.logger = ConsoleLogger(LogLevel.ERROR)
        load_uf2(uf2, self.mcu)
        self.mcu.flash[FS_START : FS_START + FS_SIZE] = build_fs(files)
        if mend_pio:
            for index, place in enumerate((0x50200, 0x50300)):
                pio = ClockedPio(self.mcu, f"PIO{index}", (IRQ.PIO0_IRQ0, IRQ.PIO1_IRQ0)[index], index)
                self.mcu.pio[index] = pio
                self.mcu.peripherals[place] = pio
        self.flash_ns = 0
        """How long the flash has been busy in all."""
        self._give_flash_time()
        self.usb = Usb(self.mcu, self.look)
        self.edges: list[Edge] = []
        self.resets: list[Reset] = []
        self._levels = dict.fromkeys(watch, 0)
        for pin in self._levels:
            self.mcu.gpio[pin].add_listener(self._listener(pin))
        self.mcu.watchdog.on_watchdog_trigger = self._on_watchdog
        self._read = 0
        self._until: Callable[[], bool] | None = None
        self._stop = self._clock.create_alarm(self._halt)

    # --- time

    @property
    def now_ns(self) -> int:
        """Emulated time since the Pico was made."""
        return round(self._clock.nanos)

    def at(self, ns: int, call: Callable[[], None]) -> None:
        """Have `call` called at emulated time `ns`; ValueError if that is past."""
        if ns < self.now_ns:
            raise ValueError(f"{ns} ns is past: it is {self.now_ns} ns")
        self._clock.create_alarm(call).schedule(ns - self._clock.nanos)

    def run_for(self, ns: int) -> None:
        """Let `ns` of emulated time pass."""
        self._run(ns)

    def run_until(self, done: Callable[[], bool], within_ns: int) -> None:
        """Run until `done()`; TimedOut after `within_ns`.

        It is asked whenever something reaches the rig: an edge, bytes from the chip, a reset, or
        what calls `look`.
        """
        if done():
            return
        self._until = done
        try:
            self._run(within_ns)
            if not done():
                raise TimedOut(f"not within {within_ns / MS:g} ms; the chip's last words: {self.tail()!r}")
        finally:
            self._until = None

    def wait_for(self, word: str, within_ns: int) -> str:
        """Run until the chip has said `word` after what was waited for before; returns all it said up to
        the end of that line. TimedOut after `within_ns`, and at once when it says that a program failed.
        """
        mark = self._read

        def said() -> bool:
            new = self.usb.received[mark:]
            at = new.find(word.encode())
            if at >= 0 and b"\n" in new[at:]:
                self._read = mark + new.index(b"\n", at) + 1
                return True
            return b"Traceback" in new and new.rstrip().endswith(b">>>")

        self.run_until(said, within_ns)
        if self._read == mark:
            raise TimedOut(f"the program failed: {self.tail(600)}")
        return self.usb.received[mark : self._read].decode("utf-8", "replace")

    def look(self) -> None:
        """Something has reached the rig: see if it is what `run_until` waits for."""
        if self._until is not None and self._until():
            self._halt()

    def tail(self, length: int = 200) -> str:
        """The end of what the chip has sent."""
        return self.usb.received[-length:].decode("utf-8", "replace")

    def _halt(self) -> None:
        self._sim.stopped = True

    def _run(self, ns: int) -> None:
        self._stop.schedule(ns)
        self._sim.stopped = False
        while not self._sim.stopped:
            self._sim._execute_batch()
        self._stop.cancel()

    # --- power

    def start(self) -> None:
        """Apply power."""
        self._leave_reset("power")

    def reset(self) -> None:
        """Pull the RUN pin low for a moment: everything restarts, RAM and flash keep what they hold."""
        self._enter_reset(HAD_RUN)
        self._leave_reset("run pin")

    def power_cycle(self, off_ns: int = 500 * MS) -> None:
        """Pull the plug for `off_ns` and put it back: RAM holds noise then, flash what was written."""
        self._enter_reset(HAD_POR)
        self.mcu.sram[:] = random.Random(self.now_ns).randbytes(len(self.mcu.sram))
        self._clock.tick(off_ns)
        self._leave_reset("power")

    def _on_watchdog(self) -> None:
        self.mcu.enter_reset(from_watchdog=True)
        self._note_levels()
        self._leave_reset("watchdog")

    def _enter_reset(self, cause: int) -> None:
        self.mcu.enter_reset()
        self.mcu.watchdog.reset()
        self.mcu.vreg_and_chip_reset.record_reset_cause(cause)
        self._note_levels()

    def _leave_reset(self, cause: str) -> None:
        self.mcu.leave_reset()
        self.resets.append(Reset(self.now_ns, cause))
        self.look()

    # --- memory

    def paint_stack(self) -> None:
        """Fill the part of the main stack that is not in use, for `stack_left` to see what was never used."""
        free = slice(STACK_START, self.mcu.core.sp - SRAM_START)
        self.mcu.sram[free] = bytes([PAINT]) * (free.stop - free.start)

    def stack_left(self) -> int:
        """Bytes of the main stack that nothing has touched since it was painted, interrupts included."""
        stack = bytes(self.mcu.sram[STACK_START : STACK_START + STACK_BYTES])
        return len(stack) - len(stack.lstrip(bytes([PAINT])))

    # --- pins

    def level(self, pin: int) -> int:
        """1 while the chip drives `pin` high; 0 while it drives it low or does not drive it."""
        return int(self.mcu.gpio[pin].value == GPIOPinState.HIGH)

    def set_level(self, pin: int, level: int) -> None:
        """Drive an input of the chip from outside. Only a change does anything, as on silicon."""
        gpio = self.mcu.gpio[pin]
        if gpio._effective_raw_input_value != bool(level):
            gpio.set_input_value(bool(level))

    def edges_of(self, pin: int) -> list[Edge]:
        return [edge for edge in self.edges if edge.pin == pin]

    def high_times_ns(self, pin: int) -> list[int]:
        """How long `pin` was high, for each time it was and no longer is."""
        edges = self.edges_of(pin)
        return [fall.ns - rise.ns for rise, fall in zip(edges[::2], edges[1::2])]

    def _listener(self, pin: int) -> Callable[[GPIOPinState, GPIOPinState], None]:
        return lambda new, old: self._note_level(pin)

    def _note_level(self, pin: int) -> None:
        level = self.level(pin)
        if level != self._levels[pin]:
            self._levels[pin] = level
            self.edges.append(Edge(self.now_ns, pin, level))
            self.look()

    def _note_levels(self) -> None:
        """A reset releases pins without telling anybody: see for ourselves."""
        for pin in self._levels:
            self._note_level(pin)

    # --- flash

    def flash(self) -> bytes:
        return bytes(self.mcu.flash[:FLASH_BYTES])

    def files(self) -> dict[str, bytes]:
        """Every file on the chip's file system as it is in flash now."""
        return read_fs(bytes(self.mcu.flash[FS_START : FS_START + FS_SIZE]))

    def _give_flash_time(self) -> None:
        ssi = self.mcu.ssi
        apply = ssi._apply_command
        times = {CMD_SECTOR_ERASE: ERASE_NS, CMD_BLOCK_ERASE: 16 * ERASE_NS, CMD_PAGE_PROGRAM: PROGRAM_NS}

        def apply_in_time() -> None:
            command = ssi._tx_buffer[0] if ssi._tx_buffer and ssi._write_enabled else -1
            apply()
            if command in times:
                self.flash_ns += times[command]
                self._clock.tick(times[command])

        ssi._apply_command = apply_in_time
