"""A module of `firmware/board` on stand-ins for MicroPython's own modules, and inputs that cut into it.

What must live here: loading such a module on a desk, and cutting in between any two of its bytecodes, as an
interrupt's scheduled function does on a board. What the stand-ins do is for each test.
"""

from __future__ import annotations

import importlib
import sys
import types
from collections.abc import Callable


class Clock:
    """What a module takes for the time."""

    ms = 1000


def clockwork(clock: Clock) -> dict[str, dict[str, object]]:
    """MicroPython's own `micropython` and `time`, by that clock."""
    return {
        "micropython": {"const": lambda value: value},
        "time": {
            "ticks_ms": lambda: clock.ms,
            "ticks_diff": lambda a, b: a - b,
            "ticks_add": lambda a, b: a + b,
        },
    }


def board_module(name: str, members: dict[str, dict[str, object]]) -> types.ModuleType:
    """The module `board.<name>`, imported anew with `members` in place of MicroPython's modules."""
    full = f"board.{name}"
    kept = {each: sys.modules.pop(each, None) for each in (*members, full)}
    for each, inside in members.items():
        sys.modules[each] = types.ModuleType(each)
        vars(sys.modules[each]).update(inside)
    try:
        return importlib.import_module(full)
    finally:
        for each, before in kept.items():
            sys.modules.pop(each, None)
            if before:
                sys.modules[each] = before


def at_bytecode(
    act: Callable[[], object], intrude: Callable[[], object], at: int, is_cut: Callable[[str], bool]
) -> int:
    """Run `act`, and before its bytecode number `at` (from 0) in the files of which `is_cut` is true, run
    `intrude` whole; -1 for never. Returns how many there were."""
    passed = 0

    def on(frame, event, _):
        nonlocal passed
        if event == "call":
            if not is_cut(frame.f_code.co_filename):
                return None
            frame.f_trace_opcodes = True
            frame.f_trace_lines = False
        elif event == "opcode":
            passed += 1
            if passed == at + 1:
                # Python traces nothing while a trace function runs, so what cuts in is not cut into.
                intrude()
        return on

    before = sys.gettrace()
    sys.settrace(on)
    try:
        act()
    finally:
        sys.settrace(before)
    return passed


def cut_in(act: Callable[[], object], intrude: Callable[[], object], at: int, file: str) -> bool:
    """The same with what runs in `file`. False if `act` ended before that bytecode."""
    return at_bytecode(act, intrude, at, lambda name: name.endswith(file)) > at
