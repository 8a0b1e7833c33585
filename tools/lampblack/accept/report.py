"""The report of an acceptance test: one TOML file, written anew with every figure.

What must live here: what is kept of a test, and how it is read again. A figure or a step that this version
does not know is kept as it is. It may not know how a figure is got.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit

from lampblack.accept.limits import BEFORE_MAINS, FIGURES, STEPS, YEARLY, Figure
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.text.printable import escaped

FORM = 1
ENDING = ".accept.toml"
PASSED, FAILED, SKIPPED, ABSENT = "passed", "failed", "skipped", "not fitted"
RESULTS = (PASSED, FAILED, SKIPPED, ABSENT)
"""A part that is not fitted needs no test."""


@dataclass
class Measured:
    """A figure as it was, with the limits of its day."""

    key: str
    what: str
    value: float | bool
    unit: str
    limits: str
    passed: bool
    at: str

    @property
    def step(self) -> int:
        return int(self.key.partition(".")[0])

    def told(self) -> str:
        return FIGURES[self.key].with_unit(self.value) if self.key in FIGURES else f"{self.value} {self.unit}"


@dataclass
class Step:
    """How a step ended, and when."""

    number: int
    result: str
    reason: str
    at: str


@dataclass
class Report:
    """`box` is the identity of the one that is tested; empty until it has answered."""

    path: Path
    by: str
    begun: str
    yearly: bool = False
    box: str = ""
    board: str = ""
    version: str = ""
    micropython: str = ""
    fitted: dict[str, Any] = field(default_factory=dict)
    figures: dict[str, Measured] = field(default_factory=dict)
    steps: dict[int, Step] = field(default_factory=dict)

    # --- what is asked of it

    @property
    def wanted(self) -> tuple[int, ...]:
        return YEARLY if self.yearly else tuple(STEPS)

    def left(self) -> list[int]:
        """Steps that have not passed, in their order."""
        return [step for step in self.wanted if not self.has_passed(step)]

    def has_passed(self, step: int) -> bool:
        return step in self.steps and self.steps[step].result in (PASSED, ABSENT)

    def may_have_mains(self) -> bool:
        return not self.yearly and all(self.has_passed(step) for step in BEFORE_MAINS)

    def of(self, step: int) -> list[Measured]:
        return [own for own in self.figures.values() if own.step == step]

    # --- keeping

    def note(self, figure: Figure, value: float | bool) -> bool:
        """Keep a figure; true if it holds its limits."""
        value = value if isinstance(value, bool) else round(float(value), 6)
        holds = figure.holds(value)
        self.figures[figure.key] = Measured(
            figure.key, figure.what, value, figure.unit, figure.limits(), holds, now()
        )
        self.write()
        return holds

    def begin(self, step: int) -> None:
        """A step that had ended is done anew. What was kept of one that was broken off stays."""
        if self.steps.pop(step, None):
            for own in self.of(step):
                del self.figures[own.key]
            self.write()

    def end(self, step: int, result: str, reason: str = "") -> None:
        self.steps[step] = Step(step, result, reason, now())
        self.write()

    def write(self) -> None:
        write_file(self.path, self.text().encode(), force=True)

    def text(self) -> str:
        doc = tomlkit.document()
        doc.add(tomlkit.comment("Report of an acceptance test, written by lampblack accept."))
        doc["form"] = FORM
        for key in ("by", "begun", "yearly", "box", "board", "version", "micropython"):
            doc[key] = getattr(self, key)
        doc["fitted"] = self.fitted
        listed: list[tuple[str, Step | Measured]] = [("step", step) for step in self.steps.values()]
        listed += [("figure", figure) for figure in self.figures.values()]
        return escaped(tomlkit.dumps(doc) + "".join(_in_toml(name, row) for name, row in listed))


def _in_toml(name: str, row: Step | Measured) -> str:
    """A row of a list of tables. Written here, since there are many and all are written with each figure."""
    lines = [f"{key} = {_value(value)}\n" for key, value in vars(row).items()]
    return f"\n[[{name}]]\n" + "".join(lines)


def _value(value: str | float | bool) -> str:
    """JSON writes texts and truths as TOML does; a number is infinite only here."""
    return str(value) if type(value) in (int, float) else json.dumps(value, ensure_ascii=False)


def now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def read(path: Path) -> Report:
    """CommandError if the file is no report, or cannot be read."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        if data["form"] != FORM:
            raise ValueError(f"it is of form {data['form']}, this version reads form {FORM}")
        own = {key: data[key] for key in ("by", "begun", "yearly", "box", "board", "version", "micropython")}
        found = Report(path, **own, fitted=dict(data["fitted"]))
        for row in data.get("step", []):
            step = Step(**row)
            if step.result not in RESULTS or type(step.number) is not int:
                raise ValueError(f"step {step.number} is {step.result}")
            found.steps[step.number] = step
        for row in data.get("figure", []):
            figure = Measured(**row)
            if not isinstance(figure.value, bool | int | float) or figure.step < 1:
                raise ValueError(f"{figure.key} has no figure")
            found.figures[figure.key] = figure
        datetime.fromisoformat(found.begun)
    except OSError as fault:
        raise CommandError(f"{path} is not read: {fault.strerror}. Check its name and its folder.") from None
    except (ValueError, TypeError, KeyError, AttributeError) as fault:
        why = f"it has no {fault}" if isinstance(fault, KeyError) else " ".join(str(fault).split())
        raise CommandError(
            f"{path} is no report that can be read: {why.rstrip('.')}. It is left as it is; give another "
            "name, or move it out of the folder."
        ) from None
    return found


def in_folder(folder: Path) -> list[Report]:
    """Every report in a folder, the oldest first. CommandError if one of them cannot be read."""
    return sorted((read(path) for path in folder.glob(f"*{ENDING}")), key=lambda own: own.begun)
