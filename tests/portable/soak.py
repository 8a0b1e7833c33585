"""A day in a busy darkroom with faults at random: `-m tests.portable.soak SEED HOURS`.

Runs on CPython and MicroPython. One line for each simulated hour: the hour, how many events the box was
given, bytes that are free (MicroPython) or objects that there are (CPython) once garbage is gone, bytes and
files that are kept, and the longest event in us.
"""

import gc
import sys
import time

if hasattr(gc, "threshold"):
    gc.threshold(16384)

from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from tests.portable.chance import numbers
from tests.portable.fakes import TightDisk
from timing_core.canonical import encode
from timing_core.wire.framing import frame

PANEL_MS = 1000
HOUR_MS = 3600 * 1000
WAITS_MS = (20, 80, 700, 700, 700, 1000, 2000, 3000, 5000, 20000)
KEYS = ("expose", "expose", "expose", "pedal", "lamp", "press", "press", "press", "back", "dial", "dial")
ASKED = (
    ("state", {}),
    ("hello", {}),
    ("health", {}),
    ("card.list", {}),
    ("ledger.read", {"after": 0}),
    ("damage.read", {"after": 0}),
    ("bench.get", {}),
    ("bench.set", {"values": {"volume": 2}}),
    ("bench.set", {"values": {"lag_ms": 120}}),
    ("bench.set", {"values": {"lag_ms": -9000}}),
    ("clock.set", {"day": 20000, "second": 3600}),
    ("light", {}),
)
ROOM = 60000


class Day(Session):
    """A session that times what the box is given, and whose lamp may fail to report."""

    def begin(self, seed):
        self.chance = numbers(seed)
        self.events = self.longest_us = self.silences = 0
        self.is_silent = False

    def one(self, options):
        return options[next(self.chance) % len(options)]

    def input(self, event, value=0):
        began = _now_us()
        super().input(event, value)
        self.longest_us = max(self.longest_us, _since_us(began))
        self.events += 1

    def _step(self, next_ms):
        if next_ms == self.lamp.ends_ms and self.is_silent:
            self.is_silent = False
            self.silences += 1
            self.now_ms = next_ms
            self._lamp_off()  # and nothing is reported
            return
        super()._step(next_ms)

    def act(self):
        """One thing that happens."""
        kind = next(self.chance) % 1000
        if kind < 2:
            self.reset(self.one((0, 0, -1, 900)))
        elif kind < 4:
            self.is_silent = True
        elif kind < 6:
            self.input("lamp_end", self.one((0, 40, 100000)))
        elif kind < 8:
            self.disk.room = self.one((0, ROOM, ROOM))
        elif kind < 60:
            self.input("line", self.line())
        elif kind < 64:
            self.input("back_down")
            self.input("back")
            self.input("back_up")
        else:
            key = self.one(KEYS)
            self.input(key, self.one((-3, -1, -1, 1, 1, 4)) if key == "dial" else 0)
        if kind % 7 == 0:
            self.frame()
        self.advance(self.now_ms + self.one(WAITS_MS))

    def line(self):
        method, params = self.one(ASKED)
        message = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        data = frame(encode(message), self.platform.crc32)
        kind = next(self.chance) % 4
        if kind == 0:
            return data[: next(self.chance) % len(data)]
        return data[:-1]


def soak(seed, hours, tell):
    """Play so many hours; `tell` is called with each one's numbers."""
    session = Day(TightDisk(ROOM), desk_platform(), PANEL_MS, (1 << 30) - 5 * HOUR_MS)
    session.begin(seed)
    session.power_up()
    for hour in range(hours):
        while session.now_ms < (hour + 1) * HOUR_MS:
            session.act()
        kept = sum([len(data) for data in session.disk.files.values()])
        tell((hour + 1, session.events, _memory(), kept, len(session.disk.files), session.longest_us))
        session.events = session.longest_us = 0
    assert session.silences, "no lamp has failed to report"


def _memory():
    gc.collect()
    return gc.mem_free() if hasattr(gc, "mem_free") else len(gc.get_objects())


if hasattr(time, "ticks_us"):

    def _now_us():
        return time.ticks_us()

    def _since_us(began):
        return time.ticks_diff(time.ticks_us(), began)

else:

    def _now_us():
        return time.process_time_ns() // 1000

    def _since_us(began):
        return _now_us() - began


if __name__ == "__main__":
    soak(int(sys.argv[1]), int(sys.argv[2]), lambda told: print(*told))
