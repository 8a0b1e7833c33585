"""Exposures with the heap locked: whatever asks for memory while the lamp is lit raises MemoryError.

Run by `tests/test_no_allocation.py` under real MicroPython (`micropython -m tests.portable.heap_lock CASE`).
Portable, so that the same exposures can be made on CPython, where nothing can be locked.
"""

import gc
import sys

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from timing_core.box import Box
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.panel.drawing import Drawing
from timing_core.records.store import Store
from timing_core.ticks import MASK, later, since

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        pass

    def heap_unlock():
        pass


PANEL_MS = 100
CARD = {
    "name": "harbour",
    "title": "Harbour, morning",
    "tied": True,
    "dry_down": True,
    "dry_down_pm": 85,
    "facts": {},
    "passes": [
        {
            "filter": "2",
            "base_ms": 16000,
            "marks": [
                {"area": "face", "stops120": -40},
                {"area": "hands", "stops120": -20},
                {"area": "sky", "stops120": 80},
            ],
        },
        {"filter": "5", "base_ms": 8980, "marks": [{"area": "door", "stops120": 60, "filter": "00"}]},
    ],
}


class Desk:
    """A box with a panel, a lamp that counts its time, and a clock. Nothing here allocates under light."""

    def __init__(self, now_ms, card=CARD, panel_ms=PANEL_MS, **bench):
        platform = desk_platform()
        disk = MemoryDisk()
        store = Store(disk, platform.crc32)
        store.put("work", encode(card))
        # Without a settling time, so that key may follow key.
        store.put("bench", encode(dict(bench, settle_ms=bench.get("settle_ms", 0), form=BENCH_FORM)))
        self.box = Box(store, platform, panel_ms)
        self.screen = Drawing(self.box, platform)
        self.now_ms = now_ms
        self.light_ms = 0
        self.is_dark = False
        self.pictures = 0
        self.sounds = 0
        self.input("power_up")

    def input(self, event, value=0):
        """Give the box an input and do what it asks for, as a board does."""
        out = self.box.handle(event, self.now_ms, value)
        self.is_dark = False
        for index in range(out.count):
            kind = out.kind[index]
            if kind == "light":
                self.light_ms = out.value[index]
            elif kind == "dark":
                self.is_dark = True
            elif kind == "screen":
                self.screen.draw()
                self.pictures += 1
            elif kind == "sound":
                self.sounds += 1

    def wait(self, ms):
        """Let `ms` pass under light, giving every tick that is due and drawing what is asked for."""
        end_ms = later(self.now_ms, ms)
        while True:
            due_ms = self.box.next_deadline()
            if since(end_ms, due_ms) <= 0:
                break
            self.now_ms = due_ms
            self.input("tick")
        self.now_ms = end_ms

    def lit(self, key, ms):
        """Press `key` and stay under light for `ms` of the lamp's time, all with the heap locked."""
        heap_lock()
        try:
            self.input(key)
            self.wait(ms)
        finally:
            heap_unlock()

    def light_after_delay(self, ms):
        """Press EXPOSE, and stay under the light that comes by itself: from its tick on with the heap
        locked."""
        self.input("expose")
        while self.box.state == "delaying":
            self.now_ms = self.box.next_deadline()
            if self.box.delay.left_ms(self.now_ms):
                self.input("tick")
            else:
                self.lit("tick", ms)

    def skip(self, ms):
        """Let `ms` pass under light with a single tick at their end, as if the box had been kept busy."""
        heap_lock()
        try:
            self.now_ms = later(self.now_ms, ms)
            self.input("tick")
        finally:
            heap_unlock()

    def to_the_end(self, key):
        """Press `key` and let the lamp end by itself."""
        heap_lock()
        try:
            self.input(key)
            self.wait(self.light_ms - 1)
        finally:
            heap_unlock()
        self.now_ms = later(self.now_ms, 1)
        self.input("lamp_end", self.light_ms)

    def put_out(self, key, lit_ms):
        """Press `key` to put the lamp out: locked until the box has said so."""
        heap_lock()
        try:
            self.input(key)
        finally:
            heap_unlock()
        assert self.is_dark
        self.input("lamp_end", lit_ms)

    def print_it(self):
        """One whole print: every stage given, every filter fitted."""
        self.input("expose")
        while self.box.state == "ready":
            if self.box.exposing.left_ms():
                self.to_the_end("expose")
            else:
                self.input("expose")


def a_print(now_ms, **bench):
    desk = Desk(now_ms, **bench)
    desk.print_it()
    assert desk.box.state == "browse"
    assert desk.pictures > 250
    assert desk.sounds > 25
    return desk


def holds(now_ms, **bench):
    """Held before the windows, in one, between them; a press that comes too late; keys that mean nothing."""
    desk = Desk(now_ms, least_ms=300, **bench)
    desk.input("expose")
    for ms in (900, 2500, 4000):
        desk.lit("expose", ms)
        desk.put_out("pedal", ms)
        assert desk.box.state == "held"
        desk.screen.draw()
    desk.lit("expose", 700)
    heap_lock()
    try:
        desk.input("dial", 3)
        desk.input("press")
        desk.input("lamp")
        desk.wait(desk.light_ms - 700 - 20)
        desk.input("expose")
        assert desk.box.state == "exposing"
        desk.wait(19)
    finally:
        heap_unlock()
    desk.now_ms = later(desk.now_ms, 1)
    desk.input("lamp_end", desk.light_ms)
    assert desk.box.state == "ready"
    desk.lit("expose", 3000)
    desk.put_out("back", 3000)
    assert desk.box.state == "held"
    desk.input("back")
    desk.input("press")  # Go on
    desk.lit("expose", 500)
    desk.put_out("back", 500)
    desk.input("back")
    assert desk.box.state == "browse"
    assert desk.box.run.is_kept
    return desk


def long_light(now_ms, **bench):
    """The longest base there is, with names and times at their longest."""
    card = dict(CARD)
    marks = [{"area": "W" * 16, "stops120": -119}, {"area": "M" * 16, "stops120": -1}]
    card["passes"] = [{"filter": "W" * 8, "base_ms": 999900, "marks": marks}]
    desk = Desk(now_ms, card, **bench)
    desk.input("expose")
    desk.lit("expose", 12000)
    desk.skip(500000)
    desk.skip(400000)
    desk.put_out("expose", 912000)
    desk.to_the_end("expose")
    assert desk.box.state == "browse"
    return desk


def viewing(now_ms, **bench):
    desk = Desk(now_ms, viewing_limit_s=30, **bench)
    desk.lit("lamp", 5000)
    desk.put_out("lamp", 5000)
    desk.to_the_end("lamp")
    assert desk.box.state == "browse"
    return desk


def delayed(now_ms, **bench):
    """A burn and what a hold has left of it, each after a start delay; and one whose delay is ended."""
    desk = Desk(now_ms, start_delay_s=10, **bench)
    desk.input("expose")
    desk.to_the_end("expose")
    assert desk.box.run.stage.kind == "burn"
    for key in ("expose", "back", "lamp"):
        desk.input("expose")
        desk.wait(9999)
        assert desk.box.state == "delaying"
        desk.input(key)
        assert desk.box.state == "ready"
    desk.light_after_delay(500)
    desk.put_out("expose", 500)
    assert desk.box.state == "held"
    desk.light_after_delay(300)
    desk.put_out("back", 300)
    assert desk.box.state == "held"
    assert desk.box.run.strikes == 2
    return desk


def flash(now_ms, **bench):
    """A flash that is held, and a print after it; the negative is moved in between."""
    card = dict(CARD)
    card["flash"] = {"light_ms": 4000, "filter": "00"}
    desk = Desk(now_ms, card, **bench)
    desk.input("expose")
    desk.input("expose")
    desk.lit("expose", 1500)
    desk.put_out("expose", 1500)
    assert desk.box.state == "held"
    desk.to_the_end("expose")
    assert not desk.box.exposing.left_ms()
    while desk.box.state == "ready":
        if desk.box.exposing.left_ms():
            desk.to_the_end("expose")
        else:
            desk.input("expose")
    assert desk.box.state == "browse"
    return desk


def trays(now_ms, **bench):
    """The same print and a hold, with three sheets in the trays, which go on and come out on the way."""
    desk = Desk(now_ms, **bench)
    desk.input("tick")
    for at in range(3):
        first_ms = (9000, 21000, 0)[at]
        way = (
            ("developer", first_ms, 2000, 700, False),
            ("fix", 14000, 3000, 1100, at == 1),
            ("wash", 3000, 0, 0, False),
        )
        desk.box.trays.start(at, way)
    sounds = desk.sounds
    desk.input("expose")
    desk.lit("expose", 11000)
    desk.put_out("expose", 11000)
    while desk.box.state in ("ready", "held"):
        if desk.box.exposing.left_ms():
            desk.to_the_end("expose")
        else:
            desk.input("expose")
    assert desk.box.state == "browse"
    assert desk.sounds > sounds + 40
    assert not desk.box.trays.sheets[0].trays
    assert desk.box.trays.sheets[2].trays
    desk.input("lamp")  # and again, for there is exposed paper in the easel
    desk.lit("lamp", 3000)
    desk.put_out("lamp", 3000)
    return desk


def metering(now_ms, **bench):
    """Readings in both ranges, the tones they fall on, two spots taken, and a cell that is pulled out."""
    desk = Desk(now_ms, dict(CARD, passes=CARD["passes"][:1]), **bench)
    totals = [2000 << patch for patch in range(6)]
    desk.box.store.put("light-cell", encode([["", "2", 120000, 5, totals]]))
    desk.box.panel.open_screen("light_cell")
    desk.input("tick")
    desk.input("back_up")
    desk.box.lamp.meters = True
    for _ in range(6):
        desk.input("reading", 3)
    desk.screen.draw()
    desk.lit("lamp", 100)
    heap_lock()
    try:
        for counts in (400, 4000, 30000, 60000, -1, 900, 60000, -1, 300, 60, 3, -2):
            for _ in range(8):
                desk.now_ms = later(desk.now_ms, 600)
                desk.input("reading", counts)
            desk.input("press")
    finally:
        heap_unlock()
    assert desk.box.panel.work.spots == [4 * 397, 4 * 297, 0]
    desk.put_out("lamp", 30000)
    assert desk.box.state == "browse"
    return desk


CASES = {
    "a_print": a_print,
    "holds": holds,
    "long_light": long_light,
    "viewing": viewing,
    "delayed": delayed,
    "flash": flash,
    "trays": trays,
    "metering": metering,
}
BENCHES = (
    {},
    {"lag_ms": 150, "safelight": "exposing"},
    {"lag_ms": -80, "lead_ms": 2300},
)


def starts():
    """Tick counts at power-up: plain, and such that they wrap in one stage or another."""
    return [0] + [MASK - ms for ms in (1, 3000, 12000, 30000)]


def run_all(name):
    done = 0
    for now_ms in starts():
        for bench in BENCHES:
            gc.collect()
            CASES[name](now_ms, **bench)
            done += 1
    return done


def growth(runs):
    """Bytes by which the heap has grown over so many prints, once the ledger is full."""
    desk = Desk(0, panel_ms=1000, lag_ms=150)
    used = 0
    for number in range(runs):
        desk.print_it()
        if number == 80:
            gc.collect()
            used = gc.mem_alloc()
    gc.collect()
    return gc.mem_alloc() - used


if __name__ == "__main__":
    if sys.argv[1] == "growth":
        print(growth(int(sys.argv[2])))
    elif sys.argv[1] == "allocate":
        # The lock must be seen to work: this is what a failing case looks like.
        heap_lock()
        found = [len(sys.argv)]
        heap_unlock()
        print(found)
    else:
        print(run_all(sys.argv[1]))
