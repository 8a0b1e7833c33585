"""A person who does what the acceptance test asks for, at a box with or without faults.

What must live here: the hands, as scripts over time, and what is answered. The box is a `World`: the
simulator, or the firmware on an emulated board.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from lampblack.accept.accept import lead
from lampblack.accept.limits import READINGS
from lampblack.accept.person import Look, Person
from lampblack.accept.report import Report, now
from lampblack.accept.trial import Trial
from lampblack.board.doctor import Finding
from lampblack.wire.box_client import BoxClient
from tests.box_model import PlainCell, to_row, to_screen
from timing_core.wire.framing import LineReader

Acts = Iterator[int]
"""What hands do: each yields the ms until the next."""

STEP_MS = 50


class World:
    """A box, its circuit and its plug."""

    dead: tuple[str, ...] = ()
    bouncing: tuple[str, ...] = ()
    half_cycles = False

    def wait(self, ms: int) -> None:
        raise NotImplementedError

    def strike(self, key: str) -> None:
        """The box's contact closes, and opens again."""
        raise NotImplementedError

    def turn(self, detents: int) -> None:
        raise NotImplementedError

    def spoil(self, **faults: Any) -> None:
        raise NotImplementedError

    def replug(self) -> None:
        raise NotImplementedError

    def is_lit(self) -> bool:
        raise NotImplementedError

    has_cell = False

    def cell(self, **is_so: Any) -> None:
        """The light cell, or what falls on it, is changed."""
        raise NotImplementedError

    def open_screen(self, key: str, row: str = "") -> None:
        raise NotImplementedError

    def connect(self) -> BoxClient:
        raise NotImplementedError

    def press(self, key: str) -> None:
        if key not in self.dead:
            self.strike(key)
            if key in self.bouncing:
                self.wait(100)
                self.strike(key)

    def dial(self, detents: int) -> None:
        self.turn((detents // 2 if detents > 0 else -(-detents // 2)) if self.half_cycles else detents)


class SimPort:
    """A cable to a simulated box. Reading takes the box's own time."""

    timeout = None

    def __init__(self, world: SimWorld) -> None:
        self._world = world
        self._reader = LineReader()
        self._in_pc = b""

    def write(self, data: bytes) -> None:
        self._world.plugged()
        self._reader.feed(data)
        while (line := self._reader.next_line()) is not None:
            self._world.session.send = self._hear
            self._world.session.input("line", line)

    def _hear(self, data: bytes) -> None:
        self._in_pc += data

    @property
    def in_waiting(self) -> int:
        return len(self._in_pc)

    def read(self, size: int) -> bytes:
        self._world.plugged()
        if not self._in_pc:
            self._world.wait(STEP_MS)
        data, self._in_pc = self._in_pc[:size], self._in_pc[size:]
        return data

    def close(self) -> None:
        pass


class SimWorld(World):
    def __init__(self, identity: str = "e661000000000001") -> None:
        self.session = Session(MemoryDisk(), desk_platform(), 100, identity=identity)
        self._cell = PlainCell(self.session, lag_ms=60)
        self._cell.is_plugged = False
        self.is_out = False
        self.start()

    def start(self, known_ms: int = 0) -> None:
        self.session.power_up(known_ms)
        self.wait(1000)

    def plugged(self) -> None:
        if self.is_out:
            raise OSError(5, "Input/output error")

    def wait(self, ms: int) -> None:
        self.session.advance(self.session.now_ms + ms)

    def strike(self, key: str) -> None:
        self.session.input(key)
        if key == "back":
            self.session.input("back_up")

    def turn(self, detents: int) -> None:
        for _ in range(abs(detents)):
            self.session.input("dial", 1 if detents > 0 else -1)
            self.wait(20)

    def spoil(self, **faults: Any) -> None:
        self.session.spoil(**faults)

    def replug(self) -> None:
        self.session.reset()
        self.wait(1000)

    def is_lit(self) -> bool:
        return self.session.lamp.lit

    has_cell = True

    def cell(self, **is_so: Any) -> None:
        self._cell.session = self.session
        for name, value in is_so.items():
            setattr(self._cell, name, value)

    def open_screen(self, key: str, row: str = "") -> None:
        to_screen(self.session, key)
        if row:
            to_row(self.session, row)
            self.session.input("press")

    def connect(self) -> BoxClient:
        return BoxClient("a box", transport=SimPort(self), clock=lambda: self.session.now_ms / 1000)


class Hands(Person):
    """Answers questions by `answers` (the first whose pattern is in the question), and does what is asked for
    by `does`."""

    look_ms = 250

    def __init__(self, world: World, answers: dict[str, Any], does: dict[str, Callable[[], Acts]]) -> None:
        super().__init__(io.StringIO(), io.StringIO())
        self.world = world
        self.answers = answers
        self.does = does
        self.said: list[str] = []
        self.longest_ms = 400_000

    def say(self, text: str = "") -> None:
        self.said.append(text)

    @property
    def text(self) -> str:
        return "\n".join(self.said)

    def type(self, prompt: str) -> str:
        self.said.append(prompt)
        assert len(self.said) < 3000, "the same again and again"
        for act in self._acts(prompt):
            self.world.wait(act)
        for pattern, answer in self.answers.items():
            if re.search(pattern, prompt):
                if isinstance(answer, list):
                    answer = answer.pop(0) if len(answer) > 1 else answer[0]
                return self._taken(str(answer))
        if "(y/n)" in prompt:
            return "y"
        if prompt.endswith("Press Enter to go on.") or "press Enter" in prompt:
            return ""
        raise AssertionError(f"nobody knows what to answer: {prompt}")

    def _line(self) -> str:
        return "it was raining"

    def _acts(self, prompt: str) -> Acts:
        for pattern, act in self.does.items():
            if re.search(pattern, prompt):
                return act()
        return iter(())

    def wait(self, prompt: str, look: Look) -> None:
        self.said.append(prompt)
        acts = self._acts(prompt)
        due_ms: int | None = 0
        did_ms = 0
        for now_ms in range(0, self.longest_ms, STEP_MS):
            while due_ms is not None and now_ms >= due_ms:
                step = next(acts, None)
                due_ms = None if step is None else due_ms + step
                did_ms = now_ms
            if now_ms % self.look_ms == 0:
                words, is_done = look()
                if self.said[-1] != words:
                    self.said.append(words)
                if is_done:
                    return
            # Nobody presses Enter before seeing what came of the last thing done.
            if due_ms is None and now_ms > max(self.patience_ms(prompt), did_ms + 2 * self.look_ms):
                return  # Enter
            self.world.wait(STEP_MS)
        raise AssertionError(f"nothing came of: {prompt}")

    def patience_ms(self, prompt: str) -> int:
        """After so long the person presses Enter, if nothing more is to be done."""
        return 310_000 if "its limit" in prompt else 70_000 if "JP2" in prompt else 8000


def hands(world: World, *, kind: type[Hands] = Hands, **answers: Any) -> Hands:
    """A person who does everything right, at that world."""
    press, dial = world.press, world.dial

    def times(key: str, count: int, gap_ms: int = 150) -> Acts:
        for _ in range(count):
            press(key)
            yield gap_ms

    def exposure() -> Acts:
        yield 1000
        press("expose")
        yield 1000
        press("expose")
        yield 4000
        press("expose")
        yield 2500
        press("expose")
        yield 8000

    def turning(detents: int) -> Callable[[], Acts]:
        def acts() -> Acts:
            dial(detents)
            yield 500

        return acts

    def replug() -> Acts:
        world.replug()
        yield 0

    def light(then: str, ms: int) -> Callable[[], Acts]:
        def acts() -> Acts:
            yield 1000
            yield from lit()
            yield ms
            if then:
                press(then)
                yield 1000

        return acts

    def with_jumper() -> Acts:
        world.spoil(is_quick=not getattr(world, "has_no_jumper", False))
        yield from light("", 0)()

    def lit() -> Acts:
        """A box that has had a sheet in its easel warns first."""
        press("lamp")
        yield 900
        if not world.is_lit():
            press("lamp")
            yield 500

    def latch() -> Acts:
        yield 1000
        yield from lit()
        yield 3000
        world.spoil(is_sense_held=True)
        yield 42_000
        press("lamp")
        yield 20
        world.spoil(is_sense_held=False)

    def without_jumper() -> Acts:
        world.spoil(is_quick=False)
        yield from light("lamp", 30_000)()

    def mid_exposure() -> Acts:
        yield 1000
        press("expose")
        yield 1000
        press("expose")
        yield 4000
        world.replug()
        yield 500

    def go_on() -> Acts:
        yield 1000
        press("press")
        yield 1000
        press("expose")
        yield 2000
        world.replug()
        yield 500

    def feedback(**faults: bool) -> Callable[[], Acts]:
        def acts() -> Acts:
            world.spoil(**faults)
            yield 500

        return acts

    def ground() -> Acts:
        world.spoil(is_welded=False, is_apart=True)
        yield 1000
        press("lamp")
        yield 1000
        press("lamp")
        yield 1000

    def right_again() -> Acts:
        world.spoil(is_apart=False)
        yield from light("lamp", 2000)()

    def refused() -> Acts:
        yield 500
        press("lamp")
        yield 500

    def cell_laid() -> Acts:
        world.cell(is_plugged=True)
        world.open_screen("light_cell")
        yield 500

    def cell_plugged(is_plugged: bool) -> Callable[[], Acts]:
        def acts() -> Acts:
            if not is_plugged:
                press("lamp")
                yield 1000
            world.cell(is_plugged=is_plugged)
            yield 500

        return acts

    def lag_test() -> Acts:
        world.open_screen("tests", "Lag by light cell")
        yield 3000
        press("expose")
        yield 1000
        if world.connect().state()["state"] == "ask":  # a run is kept, from step 11
            press("press")
        yield 2000
        press("expose")
        yield 22_000
        press("expose")
        yield 14_000

    does: dict[str, Callable[[], Acts]] = {
        r"Plug the light cell in": cell_laid,
        r"touch nothing. If it is too bright": light("", 0),
        r"take the light cell's plug out": cell_plugged(False),
        r"Put it in again": cell_plugged(True),
        r"and Lag by light cell": lag_test,
        r"Press EXPOSE 20 times": lambda: times("expose", 20),
        r"Press LAMP 20 times": lambda: times("lamp", 20),
        r"Press BACK 20 times": lambda: times("back", 20),
        r"Press the pedal 20 times": lambda: times("pedal", 20),
        r"Press the dial 10 times": lambda: times("press", 10),
        r"whole turns to the right": turning(48),
        r"whole turns to the left": turning(-48),
        r"takes it at its next start": replug,
        r"Light \d of 3": exposure,
        r"two seconds later hold BACK": light("back", 2000),
        r"Put the light out": lambda: times("lamp", 1),
        r"Put jumper JP2 on": with_jumper,
        r"within 8 s join": latch,
        r"Take jumper JP2 off": without_jumper,
        r"begin a print of 10 s": mid_exposure,
        r"go on with the run": go_on,
        r"Take FEEDBACK's wire off": feedback(is_welded=True),
        r"the LED has to stay dark": refused,
        r"Join FEEDBACK to GND": ground,
        r"Give FEEDBACK its own": right_again,
        r"leave it on: its limit": light("", 0),
    }
    known = {
        r"dark at once": "y",
        r"Who tests": "A.",
        r"Which controller": "ssd1306",
        r"At which column": "0",
        **{
            rf"^{red} to {black}, ": ("OL" if high is None else f"{(low + high) / 2:g}")
            for red, black, _, low, high in READINGS
        },
        r"LAMP OUT|^ARM": "0.02",
        r"pull USB\. PERMIT to GND": "OL",
        r"down: PERMIT to GND": "0.25",
        r"meter at rest": "40",
        r"meter while the light is on, in mA": "85",
        r"display unplugged": "70",
        r"Protective earth": "0.05",
        r"Try again": "n",
        r"Is there a light cell": "y" if world.has_cell else "n",
    }
    return kind(world, {**answers.pop("answers", {}), **known}, does)


def trial_of(world: World, path: Path, person: Hands, findings: list[Finding] | None = None) -> Trial:
    report = Report(path, "A.", now())
    return Trial(person, report, world.connect, lambda: findings or [])


def played(
    world: World,
    folder: Path,
    *,
    person: Hands | None = None,
    fit: bool = True,
    steps: tuple[int, ...] = (),
    before: Callable[[], object] | None = None,
) -> Trial:
    """The steps, or all, led. What is fitted is set beforehand, unless step 2 is to do so; then comes
    `before`."""
    if fit:
        with world.connect() as box:
            box.call("fitted.set", values={"read_backs": True, "second_contact": True})
        world.replug()
    if before:
        before()
    trial = trial_of(world, folder / "box.accept.toml", person or hands(world))
    lead(trial, list(steps) or None, None)
    return trial


def results(trial: Trial) -> dict[int, str]:
    return {number: step.result for number, step in trial.report.steps.items()}


def failing(trial: Trial) -> set[str]:
    return {key for key, own in trial.report.figures.items() if not own.passed}
