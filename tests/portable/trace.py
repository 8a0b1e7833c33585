"""Plays a script of inputs into a new box and writes its trace: `-m tests.portable.trace SCRIPT [TICKS_MS]`.

Runs on CPython and MicroPython, so that the two traces can be compared byte for byte. TICKS_MS is the box's
count of milliseconds at power-up. Pictures are drawn, and their checksums are in the trace.
"""

import gc
import sys

if hasattr(gc, "threshold"):
    # MicroPython: collect early, or what is kept is strewn over all of a small heap; and not so early that
    # collecting takes most of the time.
    gc.threshold(16384)

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import Player
from host_sim.box.session import Session, Trace

PANEL_MS = 100


def play(path: str, write, ticks_ms: int = 0, panel_ms: int = PANEL_MS, watch=None) -> Session:
    """Play the script at `path`; `write` is called with each line of the trace. Raises ScriptError.

    `watch`, if given, is called with the session before power-up, to add watchers.
    """
    session = Session(MemoryDisk(), desk_platform(), panel_ms, ticks_ms)
    session.watchers.append(Trace(session, write))
    if watch is not None:
        watch(session)
    session.power_up()
    player = Player(session)
    # Line by line: a small heap has no room for a whole script.
    with open(path) as lines:  # noqa: PTH123 (MicroPython has no pathlib)
        for number, line in enumerate(lines):
            player.play(line, "%s:%d" % (path, number + 1))
    return session


if __name__ == "__main__":
    play(sys.argv[1], print, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
