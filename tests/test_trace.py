"""One set of input scripts gives byte-identical traces on CPython and on MicroPython with a small heap.

No trace is kept in a file: whatever the box should do is another test's business, here it must only be the
same everywhere, whenever the ticks wrap, and with or without a panel.
"""

from functools import cache

import pytest

from host_sim.box.session import Watcher
from tests import micropython
from tests.portable.trace import play
from timing_core.machine.transitions import STATES
from timing_core.panel.sounds import SOUNDS

SCRIPTS = sorted((micropython.ROOT / "tests" / "scripts").glob("*.txt"))
WRAP_AFTER_MS = 20000
TICKS_MS = (1 << 30) - WRAP_AFTER_MS
"""The box's ticks at power-up: they wrap 20 s later, in the middle of every script."""

# By script and not by test, so that a script's traces are made once, for all that is asked of them.
each_script = pytest.mark.parametrize(
    "script", SCRIPTS, ids=[script.stem for script in SCRIPTS], scope="module"
)


@cache
def played(script, **details):
    """The trace of a script, and what it came through."""
    lines, seen = [], Seen()
    session = play(str(script), lines.append, **details, watch=seen.join)
    assert session.now_ms > WRAP_AFTER_MS, script.stem
    return tuple(lines), seen


def trace_of(script, **details):
    lines, _ = played(script, **details)
    return lines


def differences(ours, theirs):
    """The first line that differs, with its number; nothing where the traces are the same."""
    for number, (own, other) in enumerate(zip([*ours, "(end)"], [*theirs, "(end)"], strict=False)):
        if own != other:
            return [f"line {number + 1}: {own} here, {other} there"]
    return []


@each_script
def test_micropython_gives_the_same_trace_byte_for_byte(compiled, script):
    done = micropython.run(["-m", "tests.portable.trace", str(script), str(TICKS_MS)], compiled)
    assert done.returncode == 0, done.stderr + done.stdout[-2000:]
    ours = trace_of(script, ticks_ms=TICKS_MS)
    assert differences(ours, done.stdout.splitlines()) == []
    assert done.stdout == "".join(line + "\n" for line in ours)


@each_script
def test_ticks_that_wrap_change_nothing(script):
    # Nor do ticks that pass the middle, where a signed count would turn negative.
    ours = trace_of(script, ticks_ms=1000)
    for ticks_ms in (TICKS_MS, (1 << 29) - WRAP_AFTER_MS):
        assert differences(ours, trace_of(script, ticks_ms=ticks_ms)) == []


@each_script
def test_a_panel_changes_nothing_but_the_pictures(script):
    with_panel = [line for line in trace_of(script, ticks_ms=TICKS_MS) if '"out":"screen"' not in line]
    assert differences(with_panel, trace_of(script, ticks_ms=TICKS_MS, panel_ms=0)) == []


def test_a_difference_is_found():
    ours = trace_of(SCRIPTS[0], ticks_ms=TICKS_MS)
    assert differences(ours, ours) == []
    assert differences(ours, ours[:-1]) == [f"line {len(ours)}: {ours[-1]} here, (end) there"]
    assert differences(ours[:-1], ours) != []
    changed = [*ours[:5], ours[5].replace('"t":', '"t":1'), *ours[6:]]
    assert differences(ours, changed)[0].startswith("line 6: ")


class Seen(Watcher):
    """What scripts come through: states, inputs, outputs, sounds, and strikes under which the ticks wrap."""

    def __init__(self):
        self.states, self.inputs, self.outputs, self.sounds = set(), set(), set(), set()
        self.wrapped_under_light = 0

    def join(self, session):
        self.session = session
        self.lit_from_ms = 0
        session.watchers.append(self)

    def input(self, now_ms, event, value):
        self.states.add(self.session.box.state)
        self.inputs.add(event)

    def output(self, now_ms, kind, value):
        self.outputs.add(kind)
        if kind == "sound":
            self.sounds.add(value)

    def lamp(self, now_ms, on):
        if on:
            self.lit_from_ms = now_ms
        elif self.lit_from_ms < WRAP_AFTER_MS < now_ms:
            self.wrapped_under_light += 1


def test_the_scripts_come_through_everything():
    """A trace says little if the scripts do little: every state, input, output and sound is in them."""
    each = [seen for _, seen in (played(script, ticks_ms=TICKS_MS) for script in SCRIPTS)]

    def all_of(what):
        return set().union(*(getattr(seen, what) for seen in each))

    assert all_of("states") == {name for name, _ in STATES}
    keys = {"expose", "pedal", "lamp", "back", "dial", "press"}
    assert all_of("inputs") == {*keys, "line", "tick", "lamp_end", "power_up", "reading"}
    assert all_of("outputs") >= {
        "light",
        "dark",
        "safelight",
        "sound",
        "level",
        "screen",
        "send",
        "arm",
        "handover",
    }
    assert all_of("sounds") == set(SOUNDS)
    assert sum(seen.wrapped_under_light for seen in each) >= 3
