"""The rig itself: the mends hold against the stock emulator and published figures, and what it models."""

from __future__ import annotations

import binascii
import random
from itertools import pairwise

import pytest

from tests.rig.display import ADDRESS, Display
from tests.rig.keys import Contact, Dial
from tests.rig.pico import ERASE_NS, MS, US, Pico, S, TimedOut

START = """
import time, sys, gc
from machine import Pin, WDT, I2C, reset_cause
import machine, micropython, rp2
time.sleep_ms(60)
"""
"""What is printed before USB is connected, some 20 ms from power-up, is lost."""

LAMP = 6

COUNT = """
@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
def count():
    pull()
    mov(x, osr)
    set(pins, 1)
    label("again")
    jmp(x_dec, "again") DELAY
    set(pins, 0)
    irq(rel(0))
over = 0
def end(_):
    global over
    over += 1
machine_ = rp2.StateMachine(0, count, freq=FREQ, set_base=Pin(6))
machine_.irq(end, hard=True)
machine_.active(1)
print("ready")
for n in COUNTS:
    seen = over
    machine_.put(n)
    while over == seen:
        PASS_TIME
    x = 0
print("over", over)
"""

BUSY = "x = 0"
GARBAGE = "x = [i for i in range(40)]"
ASLEEP = "time.sleep_ms(1)"


def counted_ns(boot, counts, pass_time, freq=1_000_000, delay="", mend_pio=True) -> list[int]:
    """High times of `count` for each of `counts`, the CPU meanwhile doing `pass_time`."""
    program = START + COUNT.replace("COUNTS", repr(counts)).replace("PASS_TIME", pass_time)
    program = program.replace("FREQ", str(freq)).replace("DELAY", delay)
    pico = boot(program, watch=[LAMP], mend_pio=mend_pio)
    pico.wait_for("over %d" % len(counts), 5 * S)
    return pico.high_times_ns(LAMP)


def test_the_mended_pio_agrees_with_the_stock_one_stepped_by_a_busy_cpu(boot):
    counts = [0, 1, 7, 1000, 4998, 19998]
    for pass_time in (BUSY, GARBAGE):
        stock = counted_ns(boot, counts, pass_time, mend_pio=False)
        mended = counted_ns(boot, counts, pass_time)
        differ = [abs(a - b) for a, b in zip(stock, mended)]
        print(f"busy with {pass_time!r}: stock and mended differ by {differ} ns")
        assert len(stock) == len(mended) == len(counts)
        assert max(differ) < 1 * US, (stock, mended)


def test_without_the_mend_a_sleeping_cpu_spoils_the_count(boot):
    """The check above can fail: this is what the mend is for."""
    stock = counted_ns(boot, [19998], ASLEEP, mend_pio=False)
    assert abs(stock[0] - 20 * MS) > 100 * US


@pytest.mark.parametrize(
    ("freq", "delay", "turn_ns"),
    [
        # RP2040 data sheet, 3.4: an instruction takes one cycle and its delay; 3.5.5: a cycle of the
        # machine is CLKDIV cycles of the 125 MHz system clock, in 1/256.
        (1_000_000, "", 1000),
        (1_000_000, "[3]", 4000),
        (125_000_000 // 3, "", 24),
        (500_000, "[7]", 16_000),
    ],
)
def test_the_mended_pio_keeps_the_data_sheets_time(boot, freq, delay, turn_ns):
    cycle_ns = turn_ns / (1 + int(delay.strip("[]") or 0))
    counts = [0, 1, 100, 1000]
    for pass_time in (ASLEEP, BUSY):
        found = counted_ns(boot, counts, pass_time, freq, delay)
        assert found == pytest.approx([cycle_ns + (n + 1) * turn_ns for n in counts], abs=9)


def test_sleep_costs_almost_nothing_to_emulate(boot):
    """A sleeping guest must not be woken by an idle wire."""
    pico = boot(START + "print('ready')\ntime.sleep(60)\nprint('rested')")
    before = pico.mcu.core.cycles
    pico.run_for(50 * S)
    assert pico.mcu.core.cycles - before < 50_000
    pico.wait_for("rested", 11 * S)
    assert pico.now_ns > 60 * S


def test_a_guest_that_does_not_read_holds_the_wire_up_and_loses_nothing(boot):
    """The chip then offers no buffer, so the host waits, as a real one would."""
    program = START + (
        "import binascii\nmicropython.kbd_intr(-1)\nprint('ready')\n"
        "time.sleep_ms(200)\nprint('slow')\ntime.sleep_ms(20)\n"
        "print('crc', binascii.crc32(sys.stdin.buffer.read(6000)))\n"
    )
    pico = boot(program)
    sent = random.Random(3).randbytes(6000)
    pico.usb.send(sent)
    pico.wait_for("slow", S)
    assert not pico.usb.sent
    assert int(pico.wait_for("crc", S).split()[1]) == binascii.crc32(sent)
    assert pico.usb.sent


def test_what_is_sent_can_be_paced(boot):
    pico = boot(START + "print('ready')\nsys.stdin.buffer.read(640)\nprint('done')\n")
    began_ns = pico.now_ns
    pico.usb.send(b"x" * 640, bytes_per_ms=8)
    pico.wait_for("done", S)
    # The last of ten packets leaves nine gaps of 8 ms after the first.
    assert pico.now_ns - began_ns == pytest.approx(72 * MS, rel=0.02)


def test_a_cable_pulled_and_put_back(boot):
    program = (
        START + "print('ready')\nn = 0\nwhile True:\n    n += 1\n    print('n', n)\n    time.sleep_ms(20)\n"
    )
    pico = boot(program)
    pico.wait_for("n 3", S)
    pico.usb.unplug()
    pico.run_for(200 * MS)
    heard = len(pico.usb.received)
    pico.run_for(2 * S)
    assert len(pico.usb.received) == heard
    assert not pico.usb.connected
    pico.usb.plug()
    pico.run_until(lambda: pico.usb.connected, S)
    said = pico.wait_for("n 1", S)
    assert int(said.split()[-1]) > 100, "the program ran on without the wire"
    assert len(pico.resets) == 1


def test_files_outlive_the_power_and_memory_does_not(boot):
    program = START + (
        "try:\n"
        "    n = int(open('count').read())\n"
        "except OSError:\n"
        "    n = 0\n"
        "print('ready', n, reset_cause() == machine.PWRON_RESET)\n"
        "t = time.ticks_ms()\n"
        "with open('count', 'w') as file:\n"
        "    file.write(str(n + 1))\n"
        "print('wrote in', time.ticks_diff(time.ticks_ms(), t))\n"
        "time.sleep(9)\n"
    )
    pico = boot(program, {"lib/kept.txt": b"kept"})
    # An erase is 45 ms of an unmoving CPU, and a new file takes at least one.
    assert int(pico.wait_for("wrote in", S).split()[-1]) >= ERASE_NS // MS
    assert pico.files()["count"] == b"1"
    assert pico.files()["lib/kept.txt"] == b"kept"
    pico.power_cycle()
    assert pico.wait_for("ready", S).split() == ["ready", "1", "True"]
    pico.wait_for("wrote in", S)
    pico.reset()
    assert pico.wait_for("ready", S).split()[1] == "2"
    assert [reset.cause for reset in pico.resets] == ["power", "power", "run pin"]


def test_a_watchdog_resets_a_hung_program_and_its_pins_fall(boot):
    program = (
        START + "p = Pin(6, Pin.OUT, value=1)\nWDT(timeout=100)\nprint('ready')\nwhile True:\n    pass\n"
    )
    pico = boot(program, watch=[LAMP])
    assert pico.level(LAMP) == 1
    pico.run_until(lambda: len(pico.resets) == 2, S)
    assert pico.resets[1].cause == "watchdog"
    assert pico.level(LAMP) == 0
    assert pico.edges[-1].ns == pico.resets[1].ns
    pico.wait_for("ready", S)


SHOW = """
import framebuf
i2c = I2C(0, scl=Pin(5), sda=Pin(4), freq=400_000)
frame = bytearray(1024)
fb = framebuf.FrameBuffer(frame, 128, 64, framebuf.MONO_VLSB)
fb.text("Lampblack", 3, 11)
fb.rect(0, 0, 128, 64, 1)
for part in (b"\\x20\\x00", b"\\x21\\x00\\x7f", b"\\x22\\x00\\x07", b"\\xaf"):
    i2c.writeto(ADDRESS, b"\\x00" + part)
print("ready", binascii.hexlify(frame).decode())
t = time.ticks_us()
i2c.writevto(ADDRESS, (b"\\x40", frame))
print("took", time.ticks_diff(time.ticks_us(), t))
try:
    i2c.writeto(0x11, b"x")
except OSError as error:
    print("errno", error.errno)
"""


def test_a_display_shows_what_was_written_in_the_time_of_a_real_bus(uf2):
    program = "import binascii\n" + START + SHOW.replace("ADDRESS", str(ADDRESS))
    pico = Pico(uf2, {"main.py": program.encode()})
    display = Display(pico)
    pico.start()
    drawn = bytes.fromhex(pico.wait_for("ready", 3 * S).split()[1])
    took_us = int(pico.wait_for("took", S).split()[1])
    assert display.frame() == drawn
    assert display.lit
    # 1,026 bytes of nine bits at 400 kHz, UM10204: 23.1 ms.
    assert took_us == pytest.approx(1026 * 9 * 2.5, rel=0.03)
    assert pico.wait_for("errno", S).split()[1] == "5"


EDGES = """
seen = bytearray(2000)
n = 0
def edge(pin):
    global n
    seen[n] = irqs[pin].flags()
    n += 1
irqs = {}
for number in PINS:
    pin = Pin(number, Pin.IN, Pin.PULL_UP)
    irqs[pin] = pin.irq(edge, Pin.IRQ_FALLING | Pin.IRQ_RISING, hard=True)
print("ready")
time.sleep_ms(WAIT)
print("edges", n)
"""


def test_a_key_chatters_and_every_edge_reaches_the_chip(boot):
    pico = boot(START + EDGES.replace("PINS", "[2]").replace("WAIT", "500"))
    driven = []
    set_level = pico.set_level
    pico.set_level = lambda pin, level: (driven.append((pico.now_ns, level)), set_level(pin, level))
    at_ns = pico.now_ns + 10 * MS
    quiet_ns = Contact(pico, 2, bounce_ns=10 * MS, seed=5).press(at_ns, held_ns=50 * MS)
    assert pico.wait_for("edges", S).split()[1] == str(len(driven))
    assert len(driven) > 6
    assert driven[0] == (at_ns, 0)
    assert driven[-1][1] == 1
    assert driven[-1][0] <= quiet_ns == at_ns + 60 * MS
    levels = [level for _, level in driven]
    assert all(a != b for a, b in pairwise(levels)), "a level repeated is no edge"


def test_a_dial_gives_four_edges_a_detent(boot):
    pico = boot(START + EDGES.replace("PINS", "[2, 3]").replace("WAIT", "900"))
    dial = Dial(pico, 2, 3)
    rest_ns = dial.turn(pico.now_ns + 10 * MS, 9, per_s=100)
    dial.turn(rest_ns + 50 * MS, -6, per_s=20)
    assert pico.wait_for("edges", S).split()[1] == str(4 * 15)
    with pytest.raises(ValueError, match="longer than a quarter"):
        Dial(pico, 2, 3, bounce_ns=4 * MS).turn(pico.now_ns, 1, per_s=100)


def test_waiting_in_vain_says_what_the_chip_said_last(boot):
    pico = boot(START + "print('ready')\nprint('and then')\ntime.sleep(9)\n")
    with pytest.raises(TimedOut, match="and then"):
        pico.wait_for("never", 500 * MS)
    failing = boot(START + "print('ready')\n1/0\n")
    with pytest.raises(TimedOut, match="ZeroDivisionError"):
        failing.wait_for("never", 500 * MS)


def test_the_same_inputs_give_the_same_run(boot):
    runs = []
    for _ in range(2):
        pico = boot(START + EDGES.replace("PINS", "[2]").replace("WAIT", "100"), watch=[LAMP])
        Contact(pico, 2, bounce_ns=5 * MS, seed=1).press(pico.now_ns + MS, held_ns=20 * MS)
        pico.wait_for("edges", S)
        runs.append((pico.now_ns, bytes(pico.usb.received), pico.mcu.core.cycles))
    assert runs[0] == runs[1]
