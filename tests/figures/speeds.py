"""Screens and plans, timed by code that runs on CPython and MicroPython alike.

Run as a program it takes the number of repeats and prints {what: [us of each repeat]} as JSON.
"""

import json
import sys
import time

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from tests.figures.prints import sixty_four_marks
from timing_core.canonical import encode
from timing_core.light.bench import Bench
from timing_core.light.plan import compile_print
from timing_core.records.store import Store

FRAMES = 20
PANEL_MS = 100


def now_us():
    # MicroPython's count; on CPython there is none, and its finest clock is as good
    return time.ticks_us() if hasattr(time, "ticks_us") else time.perf_counter_ns() // 1000


def session_with(map):
    """A box powered up with `map` at work."""
    disk = MemoryDisk()
    platform = desk_platform()
    Store(disk, platform.crc32).put("work", encode(map.to_dict()))
    session = Session(disk, platform, PANEL_MS)
    session.power_up()
    return session


def screen_us(session):
    """A frame of the Print screen, the cursor moving on for each."""
    spent = 0
    for number in range(FRAMES):
        session.input("dial", 1 if number < FRAMES // 2 else -1)
        began = now_us()
        session.frame()
        spent += now_us() - began
    return spent / FRAMES


def lit_us(session):
    """A frame under light, a tenth of a second after the one before."""
    spent = 0
    for _ in range(FRAMES):
        session.advance(session.now_ms + PANEL_MS)
        began = now_us()
        session.frame()
        spent += now_us() - began
    assert session.box.state == "exposing"
    return spent / FRAMES


def plan_us(map, bench):
    began = now_us()
    stages = compile_print(map, bench)
    spent = now_us() - began
    assert len(stages) > 40
    return spent


def measure(repeats):
    map = sixty_four_marks()
    bench = Bench()
    session = session_with(map)
    found = {"screen": [screen_us(session) for _ in range(repeats)]}
    found["plan"] = [plan_us(map, bench) for _ in range(repeats)]
    while session.box.state != "exposing":
        session.advance(session.now_ms + 1000)
        session.input("expose")
    found["lit"] = [lit_us(session) for _ in range(repeats)]
    return found


if __name__ == "__main__":
    print(json.dumps(measure(int(sys.argv[1]))))
