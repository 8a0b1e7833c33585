"""One acceptance test under way: the box on its wire, the person at it, and the report.

What must live here: how a figure gets into the report, and how a box that goes and comes again is followed.
It may not know what a step is about.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from host_sim.box.session import SIMULATOR
from lampblack.accept.limits import FIGURES, OPEN
from lampblack.accept.person import Look, Person
from lampblack.accept.report import Report
from lampblack.board.doctor import Finding
from lampblack.errors import CommandError
from lampblack.wire.box_client import BoxClient, BoxError

_NUMBER = re.compile(r"(-?\d+(?:[.,]\d+)?)\s*([kM]?)(?:ohm|V|mA|s)?", re.ASCII)
_FACTOR = {"": 1.0, "k": 1e3, "M": 1e6}


class Trial:
    """`connect()` opens the box, `examine()` gives doctor's findings while nothing else has it open."""

    def __init__(
        self,
        person: Person,
        report: Report,
        connect: Callable[[], BoxClient],
        examine: Callable[[], list[Finding]],
    ) -> None:
        self.person = person
        self.report = report
        self.has_failed = False
        self._connect = connect
        self._examine = examine
        self._box: BoxClient | None = None

    # --- the box

    @property
    def box(self) -> BoxClient:
        """Opened when it is first needed: step 1 has none."""
        if self._box is None:
            box = self._connect()
            try:
                self._meet(box)
            except BaseException:
                box.close()
                raise
            self._box = box
        return self._box

    def close(self) -> None:
        if self._box is not None:
            self._box.close()
            self._box = None

    def _meet(self, box: BoxClient) -> None:
        report, about = self.report, box.about
        if "accept.read" not in about["methods"]:
            raise CommandError(
                f"The box at {box.url} cannot be tested: its firmware, {about['version']}, is older than the "
                "acceptance test. Run `lampblack install`."
            )
        if report.box and about["identity"] != report.box:
            raise CommandError(
                f"Nothing is tested: {report.path} is the report of box {report.box}, and this is box "
                f"{about['identity']}. Give a report of its own, or plug the other box in."
            )
        health = box.call("health")
        if not report.box and health.get("board") == SIMULATOR:
            self.person.say("This is a simulator: its report tells nothing of any box that was built.")
        report.box, report.version = about["identity"], about["version"]
        report.board, report.micropython = health.get("board", ""), health.get("micropython", "")
        report.fitted = box.call("fitted.get")["values"]
        report.write()

    def read(self) -> dict[str, Any]:
        """What the box has counted and read back."""
        return self.box.call("accept.read")

    def light(self) -> dict[str, Any]:
        return self.read()["light"]

    def state(self) -> dict[str, Any]:
        return self.box.state()

    def has(self, what: str) -> bool:
        """True if that is fitted."""
        return bool(self.box and self.report.fitted.get(what))

    def until_it_answers(self, prompt: str, holds: Callable[[BoxClient], bool] = lambda box: True) -> None:
        """The box may go, and comes again; CommandError if it does not."""
        self.close()
        is_there = False

        def look() -> tuple[str, bool]:
            nonlocal is_there
            try:
                is_there = holds(self.box)
            except BoxError:
                self.close()
                return "waiting for the box", False
            return ("the box is there" if is_there else "waiting for its start"), is_there

        self.person.wait(prompt, look)
        if not is_there:
            raise CommandError(
                "The box has not come back: it does not answer, or was not started anew. Look at `lampblack "
                "doctor`, then run this again."
            )

    def findings(self) -> list[Finding]:
        self.close()
        return self._examine()

    @contextmanager
    def counting(self) -> Iterator[None]:
        """Contacts are counted meanwhile, and do nothing."""

        def begin() -> tuple[str, bool]:
            try:
                self.box.call("accept.count", on=1)
            except BoxError as refusal:
                if not (refusal.code > 0):
                    raise
                return str(refusal), False
            return "keys are counted", self.read()["counts"] is not None

        if not begin()[1]:
            self.person.wait("The box is in the middle of something: press BACK there until it rests.", begin)
        if self.read()["counts"] is None:
            raise CommandError(
                "Keys are not counted: the box does not rest. Press BACK there, and run this again."
            )
        try:
            yield
        finally:
            if self._box is not None:
                self._box.call("accept.count", on=0)

    # --- figures

    def note(self, key: str, value: float | bool) -> bool:
        """Keep a figure and say how it is; true if it holds its limits."""
        figure = FIGURES[key]
        holds = self.report.note(figure, value)
        self.has_failed = self.has_failed or not holds
        if figure.is_yes:
            self.person.say(f"  {'ok  ' if holds else 'FAIL'} {figure.what}")
        else:
            told, limits = figure.with_unit(value), figure.limits()
            self.person.say(f"  {'ok  ' if holds else 'FAIL'} {figure.what}: {told} (wanted: {limits})")
        return holds

    def has_kept(self, key: str) -> bool:
        """A figure of a hand is not asked for again where a step was broken off."""
        kept = self.report.figures.get(key)
        if kept is None or not kept.passed:
            return False
        self.person.say(f"  kept {kept.what}: {kept.told()}")
        return True

    def ask(self, key: str, question: str) -> None:
        """A yes that is wanted."""
        if not self.has_kept(key):
            self.note(key, self.person.is_yes(question))

    def type(self, key: str, prompt: str) -> None:
        """A figure that is typed. One out of its limits may have been mistyped."""
        if self.has_kept(key):
            return
        figure = FIGURES[key]
        wanted = f"{prompt}, in {figure.unit} ({figure.limits()}):"
        value = self.number(wanted)
        while not figure.holds(value):
            told = figure.with_unit(value)
            if self.person.is_yes(f"  {told} is outside {figure.limits()}. Is that what the meter shows?"):
                break
            value = self.number(wanted)
        self.note(key, value)

    def number(self, prompt: str) -> float:
        while True:
            text = self.person.type(prompt)
            if text.lower() in ("ol", "open"):
                return OPEN
            found = _NUMBER.fullmatch(text)
            if found:
                return float(found[1].replace(",", ".")) * _FACTOR[found[2]]
            self.person.say("  Type a figure, such as 3.5k or 0.65; OL if the meter shows that it is open.")

    def wait(self, prompt: str, look: Look) -> None:
        self.person.wait(prompt, look)

    def say(self, text: str) -> None:
        self.person.say(text)
