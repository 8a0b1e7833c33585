"""Keys that cut in between any two bytecodes of drawing, answering and ticking, as on a board.

What must live here: the true `board.runner` on stand-ins for its adapters, and what cuts into it. It is
brought into a situation, and while it draws, answers a line or gives a tick, a key is pressed before some
bytecode of the core or of the runner; the runner's own rules say whether it is taken at once or has to wait.
By the laws of the design nobody can tell this from a key that came just before or just after: the same light,
asked for at the same time, the same state of all that there is, the same picture and answer on the wire.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from functools import cache, partial
from types import SimpleNamespace
from typing import Any

from host_sim.box.session import Session
from tests.box_model import SITUATIONS, card_lines, situation, snapshot, wire_line, worked_card
from tests.micropython import ROOT
from tests.stand_ins import at_bytecode, board_module

FIRMWARE = str(ROOT / "firmware")
CUTS = 12
"""In each round so many bytecodes are cut before, of all that there are."""
KEYS = ("expose", "expose", "pedal", "lamp", "back", "back", "press", "right", "left", "end")
ASKED: tuple[tuple[str, dict], ...] = (
    ("hello", {}),
    ("state", {}),
    ("health", {}),
    ("card.list", {}),
    ("card.fetch", {"name": "garden", "part": 0}),
    ("card.remove", {"name": "garden"}),
    ("bench.get", {}),
    ("bench.set", {"values": {"volume": 3, "lag_ms": 40}}),
    ("bench.set", {"values": {"volume": 9}}),
    ("fitted.get", {}),
    ("ledger.read", {}),
    ("ledger.fetch", {"n": 1, "part": 0}),
    ("clock.set", {"day": 1, "second": 2}),
    ("damage.read", {}),
    *card_lines(worked_card()),
)

ANSWERED = {"answer", "shelf", "bench", "work"}


class Clock:
    """What the runner takes for the time, in ms."""

    ms = 0


class Inputs:
    """The ring of `board.inputs`, without its pins."""

    fault = None
    CODES = {"right": ("dial", 1), "left": ("dial", 2)}  # noqa: RUF012

    def __init__(self) -> None:
        self.ring: list[tuple[str, int]] = []
        self.fault: Exception | None = None

    def put(self, key: str) -> None:
        self.ring.append(self.CODES.get(key, (key, 0)))

    def waiting(self) -> str:
        return self.ring[0][0] if self.ring else ""

    def next(self) -> int:
        return self.ring.pop(0)[1]

    def hold(self) -> str:
        return ""


class Pulse:
    """The lamp as `board.pulse` has it: `given` are (when, how long) of each light."""

    def __init__(self, session: Session) -> None:
        self.lit = self.owes = session.lamp.lit
        self.began_ms = session.lamp.lit_ms + session.ticks_ms
        self.asked_ms = session.lamp.ends_ms - session.lamp.lit_ms
        self.given: list[tuple[int, int]] = []
        self.on_end: Callable[[int], None] = lambda ms: None

    def start(self, ms: int) -> None:
        assert not self.lit, "the lamp is lit already"
        self.lit = self.owes = True
        self.began_ms, self.asked_ms = Clock.ms, ms
        self.given.append((Clock.ms, ms))

    def stop(self) -> int:
        owed, self.lit, self.owes = self.owes, False, False
        return Clock.ms - self.began_ms if owed else 0

    def finish(self) -> None:
        """It has run its length: the report is called outside of interrupts, and comes once."""
        if self.owes:
            self.lit = self.owes = False
            self.on_end(self.asked_ms)


class Wire:
    def __init__(self) -> None:
        self.lines: list[bytes] = []
        self.sent: list[bytes] = []

    def next_line(self) -> bytes | None:
        return self.lines.pop(0) if self.lines else None

    def send(self, data: bytes) -> None:
        self.sent.append(bytes(data))

    def wait(self, ms: int) -> None: ...


@cache
def runner_module() -> Any:
    adapters = {
        "display": "Display",
        "flash": "FlashDisk",
        "inputs": "Inputs",
        "piezo": "Piezo",
        "pulse": "Pulse",
        "read_backs": "ReadBacks",
        "scratch": "Survivor",
        "watchdog": "Dog",
        "wire": "Wire",
    }
    parts: dict[str, dict[str, object]] = {f"board.{name}": {own: object} for name, own in adapters.items()}
    parts["board.inputs"]["CLOCKWISE"] = 1
    return board_module(
        "runner",
        {
            "gc": {"collect": lambda: None, "mem_free": lambda: 1 << 20},
            "time": {"ticks_ms": lambda: Clock.ms, "sleep_ms": lambda ms: None},
            "machine": {"Pin": object},
            "micropython": {"const": lambda value: value},
            "board.crash": {"note": lambda fault: None},
            **parts,
        },
    )


class Board:
    """The runner in a situation; `trace` has what went into the box and came out of it, but for pictures."""

    def __init__(self, name: str, is_due: bool) -> None:
        self.session = session = situation(name)
        Clock.ms = session.ticks_now()
        if is_due:
            due = session.box.next_deadline()
            Clock.ms = Clock.ms if due is None else due
        self.pulse, self.inputs, self.wire = Pulse(session), Inputs(), Wire()
        self.trace: list[tuple] = []
        self.runner = runner_module().Runner(
            session.box,
            session.screen,
            self.pulse,
            SimpleNamespace(value=lambda on: None),
            SimpleNamespace(drive=self._drive),
            self.inputs,
            SimpleNamespace(step=lambda: False, level=lambda level: None, leave_out=self._left_out),
            SimpleNamespace(play=lambda sound: None, volume=lambda level: None, step=lambda: -1),
            self.wire,
            SimpleNamespace(writing=False, make_ready=lambda: False),
            SimpleNamespace(feed=lambda: None),
            SimpleNamespace(known_ms=lambda: 0, forget=lambda: None, note=lambda box, over=False: None),
            self._watch,
        )
        session.box.io.undisturbed = self.runner.undisturbed
        self._write, session.disk.write = session.disk.write, self._write_in_the_dark
        self.left_out = 0

    def _watch(self, way: str, now_ms: int, kind: str, value: Any) -> None:
        if kind not in ("screen", "wire"):
            self.trace.append((way, now_ms, kind, value))

    def _write_in_the_dark(self, name: str, data: bytes) -> None:
        if self.pulse.lit:
            raise OSError("the lamp is lit")  # as `board.flash` does
        self._write(name, data)

    def _drive(self, value: int) -> None:
        self.session.circuit.arm = bool(value)
        self.session._tell_circuit()

    def _left_out(self) -> None:
        self.left_out += 1

    # --- what is cut into, while the loop is at it

    def draw(self) -> None:
        self._at(self.runner._draw)

    def answer(self, line: bytes) -> None:
        self.wire.lines.append(line)
        self.runner._answered_ms = Clock.ms - 1000  # in a run it waits
        self._at(self.runner._answer)

    def tick(self) -> None:
        self._at(partial(self.runner._give, "tick", 0))

    def _at(self, work: Callable[[], object]) -> None:
        self.runner._deep = True
        work()
        self.runner._deep = False

    # --- what cuts in

    def press(self, key: str) -> None:
        """An interrupt, and what it has scheduled."""
        if key == "end":
            self.pulse.finish()
            return
        if key == "back":
            self.runner.put_out()
        self.inputs.put(key)
        self.runner.wake(0)

    # --- afterwards

    def settle(self) -> None:
        """The loop goes round until nothing waits."""
        runner = self.runner
        for _ in range(6):
            runner.wake(0)
            if runner._fault:
                raise runner._fault
            if runner._reply:
                runner._send()
            elif runner._dirty:
                self.draw()
        assert not self.inputs.ring, "a key was never taken"
        is_free = not (runner._busy or runner._taking or runner._deep)
        assert is_free, "keys are kept out for good"
        assert runner._undrawn is None, f"a picture cannot be drawn: {runner._undrawn!r}"

    def outcome(self) -> dict[str, Any]:
        self.settle()
        found = snapshot(self.session)
        found.pop("lamp")
        return {
            **plain(found),
            "frame": bytes(self.session.screen.buffer),
            "lights": self.pulse.given,
            "is lit": self.pulse.lit,
            "trace": self.trace,
            "answer": self.wire.sent,
        }


def in_firmware(file: str) -> bool:
    return file.startswith(FIRMWARE)


def plain(value: Any) -> Any:
    """The same for things that are alike, whichever they are."""
    if isinstance(value, dict):
        return {key: plain(own) for key, own in value.items()}
    if isinstance(value, list | tuple):
        return [plain(own) for own in value]
    return plain(vars(value)) if hasattr(value, "__dict__") else value


Deed = Callable[[Board], None]


def any_deed(chance: random.Random) -> tuple[str, Deed]:
    match chance.choice(("draw", "draw", "answer", "answer", "answer", "tick")):
        case "draw":
            return "draws", Board.draw
        case "tick":
            return "ticks", Board.tick
    method, params = chance.choice(ASKED)
    return "answers", partial(Board.answer, line=wire_line(situation("new print").platform, method, params))


def play(chance: random.Random, count: Counter[str]) -> None:
    name = chance.choice(sorted(SITUATIONS))
    kind, deed = any_deed(chance)
    key = chance.choice(KEYS)
    make = partial(Board, name, kind == "ticks")
    before = make()
    before.press(key)
    deed(before)
    after = make()
    deed(after)
    after.press(key)
    may_be = before.outcome(), after.outcome()
    bytecodes = at_bytecode(partial(deed, make()), int, -1, in_firmware)
    for at in sorted(chance.sample(range(bytecodes), min(CUTS, bytecodes))):
        board = make()
        at_bytecode(partial(deed, board), partial(board.press, key), at, in_firmware)
        found = board.outcome()
        count[f"cut into {kind}"] += 1
        count["lights"] += len(found["lights"])
        # An answer is of the moment in which it is made; what it has changed is as it says.
        for names in (set(found) - {"answer"}, ANSWERED):
            told = [sorted(part for part in names if found[part] != one[part]) for one in may_be]
            where = f"{key} before bytecode {at} of what {kind} in {name}"
            assert [] in told, f"{where}: {' or '.join(', '.join(parts) for parts in told)}"
