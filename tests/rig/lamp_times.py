"""How exactly a commanded time becomes a lit pin, on an emulated Pico.

What must live here: the lamp lit for 50 ms to 16 s by `firmware/board/pulse.py` and, in the same run,
by three common ways to do it in Python; with the processor at rest and under four kinds of work.
`measure.py` makes a table of it. Every way does the same work, in the same steps:

- gc: garbage is made and collected, with some 60 KB alive
- I2C: a whole frame of 1 KB goes to the display at 400 kHz (23 ms)
- flash: a file of 300 bytes is written (an erase or two, 45 ms each with interrupts masked)
- USB: the PC sends without a pause, and the bytes are read one by one

To spare emulation, the work fills the first 20 ms and the last 60 ms, and 20 ms of every four seconds
between: what a lamp's time may suffer from is at its start and its end.
"""

from __future__ import annotations

from pathlib import Path

from tests.micropython import ROOT
from tests.rig.display import Display
from tests.rig.image import compile_module
from tests.rig.pico import MS, Pico, S

WAYS = ("pulse", "timer", "sleep", "asyncio")
LOADS = ("none", "gc", "i2c", "flash", "usb")
LENGTHS_MS = (50, 250, 1000, 16000)

PIN = 6
FLOOD = bytes(range(32, 127)) * 40

GUEST = """
import asyncio, binascii, gc, io, machine, micropython, os, select, sys, time
from machine import I2C, Pin, Timer
from pulse import Pulse
micropython.kbd_intr(-1)
time.sleep_ms(60)
pulse = Pulse(PIN, 0, 20000)
pin = Pin(PIN, Pin.OUT)
i2c = I2C(0, scl=Pin(5), sda=Pin(4), freq=400_000)
parts = (b"\\x40", bytearray(1024))
alive = [bytearray(12) for _ in range(1500)]
wire = select.poll()
wire.register(sys.stdin, select.POLLIN)
timer = Timer(-1)
lit = False

def none():
    time.sleep_ms(1)

def collect():
    x = [(n, str(n)) for n in range(30)]
    gc.collect()

def frame():
    i2c.writevto(0x3C, parts)

def write():
    with open("x", "wb") as file:
        file.write(bytes(300))

def read():
    for _ in range(20):
        if not wire.poll(0):
            time.sleep_ms(1)
            return
        sys.stdin.buffer.read(1)

WORK = {"none": none, "gc": collect, "i2c": frame, "flash": write, "usb": read}

def rest_ms(began, ms):
    past = time.ticks_diff(time.ticks_ms(), began)
    if past < 20 or past > ms - 60 or past % 4000 < 20:
        return 0
    return 5 if ms - past < 200 else 40

def step(work, began, ms):
    rest = rest_ms(began, ms)
    if rest:
        time.sleep_ms(rest)
    else:
        work()

def by_pulse(ms, work):
    began = time.ticks_ms()
    pulse.start(ms)
    while pulse.lit:
        step(work, began, ms)

def by_timer(ms, work):
    global lit
    began = time.ticks_ms()
    lit = True
    def end(_):
        global lit
        pin(0)
        lit = False
    pin(1)
    timer.init(mode=Timer.ONE_SHOT, period=ms, callback=end)
    while lit:
        step(work, began, ms)

def by_sleep(ms, work):
    began = time.ticks_ms()
    pin(1)
    while time.ticks_diff(time.ticks_ms(), began) < ms:
        step(work, began, ms)
        time.sleep_ms(1)
    pin(0)

def by_asyncio(ms, work):
    async def lamp():
        global lit
        lit = True
        pin(1)
        await asyncio.sleep_ms(ms)
        pin(0)
        lit = False
    async def both():
        began = time.ticks_ms()
        task = asyncio.create_task(lamp())
        await asyncio.sleep_ms(0)
        while lit:
            rest = rest_ms(began, ms)
            if work is not none and not rest:
                work()
            await asyncio.sleep_ms(rest or int(work is none))
        await task
    asyncio.run(both())

WAY = {"pulse": by_pulse, "timer": by_timer, "sleep": by_sleep, "asyncio": by_asyncio}
print("ready")
for way, load, ms, phase in CASES:
    print("case", load)
    gc.collect()
    time.sleep_us(1000 + phase * 977 % 25000)
    for _ in range(phase % 2):
        WORK[load]()
    WAY[way](ms, WORK[load])
    print("done")
    time.sleep_ms(3)
print("all done")
"""


def errors_ns(uf2: Path, cases: list[tuple[str, str, int, int]]) -> list[int]:
    """What the pin's high time was beyond the commanded one, for each (way, load, ms, phase)."""
    pulse = ROOT / "firmware" / "board" / "pulse.py"
    files = {
        "pulse.mpy": compile_module(pulse, pulse.name),
        "guest.mpy": compile_module(f"PIN = {PIN}\nCASES = {cases!r}\n{GUEST}", "guest.py"),
        "main.py": b"import guest\n",
    }
    pico = Pico(uf2, files, watch=[PIN])
    Display(pico)
    pico.start()
    for _, load, ms, _ in cases:
        pico.wait_for("case", 5 * S)
        if load == "usb":
            pico.usb.send(FLOOD * (2 + ms // 50))
        pico.wait_for("done", ms * MS + 5 * S)
        pico.usb.drop()
    pico.wait_for("all done", 5 * S)
    found = pico.high_times_ns(PIN)
    assert len(found) == len(cases), f"{len(found)} pulses for {len(cases)} cases"
    return [high - ms * MS for high, (_, _, ms, _) in zip(found, cases)]
