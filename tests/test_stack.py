"""How deep the core's calls go: a board has 8 KB of stack, and whatever cuts in needs some of it.

On the emulated board a call takes 200 to 260 bytes, what is below the loop 1.4 KB, a key's interrupt up to
1 KB, and littlefs 1 KB at a write; its own test sees what is left. Here the calls are counted: from what the
loop asks of the core, and from what a key may cut into with its light.
"""

import json
import random
import sys
from binascii import crc32
from collections.abc import Callable
from pathlib import Path

from lampblack.wire.push import requests_for
from tests.box_model import Session, keys, load, new_session, wait, worked_card
from timing_core.wire.framing import frame

FIRMWARE = str(Path(__file__).parent.parent / "firmware")

ALONE_MAX = 16
"""Calls deep, at the most, where nothing but interrupts may cut in."""
TOGETHER_MAX = 19
"""Calls deep of what a key may cut into in a run and under light, and of that key."""

ASKED = (
    ("hello", {}),
    ("state", {}),
    ("health", {}),
    ("card.list", {}),
    ("card.fetch", {"name": "garden", "part": 0}),
    ("card.remove", {"name": "garden"}),
    ("bench.get", {}),
    ("bench.set", {"values": {"volume": 3}}),
    ("bench.set", {"values": {"volume": 9}}),
    ("fitted.get", {}),
    ("fitted.set", {"values": {"display": "sh1106"}}),
    ("fitted.set", {"values": {"display": 1}}),
    ("ledger.read", {}),
    ("ledger.fetch", {"n": 1, "part": 0}),
    ("clock.set", {"day": 1, "second": 2}),
    ("crash.read", {}),
    ("damage.read", {}),
)


def line_of(method: str, params: dict) -> bytes:
    message = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
    return frame(json.dumps(message).encode(), crc32)[:-1]


class Depths:
    """The deepest calls seen of each kind, as the names of what was called."""

    def __init__(self) -> None:
        self.deepest: dict[str, list[str]] = {}
        self._undisturbed = False

    def of(self, kind: str, call: Callable, *args):
        """Call it, and note its depth as `kind`, or as "alone" while inputs are kept out."""
        calls: list[str] = []

        def profile(called, event: str, _) -> None:
            if not called.f_code.co_filename.startswith(FIRMWARE):
                return
            if event == "call":
                calls.append(called.f_code.co_name)
                noted = "alone" if self._undisturbed else kind
                if len(calls) > len(self.deepest.get(noted, [])):
                    self.deepest[noted] = list(calls)
            elif event == "return":
                calls.pop()

        before = sys.getprofile()
        sys.setprofile(profile)
        try:
            return call(*args)
        finally:
            sys.setprofile(before)

    def undisturbed(self, act: Callable):
        self._undisturbed = True
        try:
            return act()
        finally:
            self._undisturbed = False


def play(session: Session, depths: Depths, inputs: int, seed: int) -> None:
    """Press, turn and ask whatever there is, and note how deep each goes."""
    box = session.box
    handle, take, draw = box.handle, box.link.take, session.screen.draw
    chance = random.Random(seed)
    asked = [line_of(*one) for one in (*ASKED, *requests_for(worked_card()))]

    def cut_into() -> str:
        return "cut into" if box.in_run or box.lit else "alone"

    def handled(event, now_ms, amount=0):
        return depths.of("cuts in" if box.is_about_light(event) else "alone", handle, event, now_ms, amount)

    box.handle = handled
    box.io.undisturbed = depths.undisturbed
    for _ in range(inputs):
        key = chance.choice(("expose", "expose", "lamp", "back", "press", "press", "dial", "dial", "wire"))
        if key == "wire":
            for line in asked if chance.random() < 0.1 else [chance.choice(asked)]:
                depths.of(cut_into(), take, line)
                box.handle("wire", session.now_ms)
        elif key == "dial":
            session.input("dial", chance.choice((-2, -1, 1, 2)))
        elif chance.random() < 0.5:
            keys(session, key)
        else:
            session.input(key)
        depths.of(cut_into(), draw)
        wait(session, chance.choice((10, 100, 700, 1000, 3000)))


def test_the_calls_of_the_core_leave_room_on_the_stack():
    depths = Depths()
    for seed in range(2):
        session = new_session()
        load(session, worked_card())
        play(session, depths, 300, seed)
    for kind, calls in depths.deepest.items():
        print(kind, len(calls), " ".join(calls))
    deepest = {kind: len(calls) for kind, calls in depths.deepest.items()}
    assert deepest["alone"] <= ALONE_MAX
    assert deepest["cut into"] + deepest["cuts in"] <= TOGETHER_MAX
