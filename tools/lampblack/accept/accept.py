"""`lampblack accept`: the acceptance test of a built box, led step by step.

What must live here: which report is gone on with, in which order the steps come, and what is said at the end.
Each figure is kept when it is known, so that nothing is lost however this ends.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lampblack.accept.changes import changes
from lampblack.accept.limits import BEFORE_MAINS, STEPS, YEARLY
from lampblack.accept.page import page
from lampblack.accept.person import Person, Skip
from lampblack.accept.report import ABSENT, ENDING, FAILED, PASSED, SKIPPED, Report, in_folder, now, read
from lampblack.accept.steps import DOES, PRACTICE_PLUG, NotFitted
from lampblack.accept.trial import Trial
from lampblack.board.doctor import examine
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.wire.box_client import BoxClient, BoxError
from lampblack.wire.finding import the_box

LAST = 16


def accept(
    report: Annotated[
        Path | None,
        typer.Argument(
            help=f"The report: a file that ends in {ENDING}; the unfinished one here, or a new one."
        ),
    ] = None,
    port: Annotated[
        str | None,
        typer.Option(metavar="URL", envvar="LAMPBLACK_PORT", help="The box; the only one if left out."),
    ] = None,
    step: Annotated[int | None, typer.Option(metavar="N", help="This step alone, done or not.")] = None,
    yearly: Annotated[bool, typer.Option("--yearly", help="Only the steps of every year, 8 to 12.")] = False,
    since: Annotated[
        Path | None,
        typer.Option(metavar="REPORT", help="Compare with this report; the last one if left out."),
    ] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who tests; asked for if left out.")] = None,
) -> None:
    """Lead through the acceptance test of a box that was built, and keep a report.

    The box lights its lamp only when you press a key on it. Ctrl-C stops; run it again to go on.
    """
    person = Person()
    wanted = YEARLY if yearly else tuple(STEPS)
    if step is not None and step not in wanted:
        numbers = ", ".join(map(str, wanted))
        raise typer.BadParameter(f"there is no step {step} here. Give one of {numbers}.", param_hint="--step")
    own, earlier = _reports(report, since, yearly, person, by)
    trial = Trial(person, own, lambda: BoxClient(the_box(port)), lambda: examine(port)[0])
    if not lead(trial, [step] if step is not None else None, earlier):
        raise typer.Exit(1)


def _reports(
    path: Path | None, since: Path | None, yearly: bool, person: Person, by: str | None
) -> tuple[Report, Report | None]:
    """The report to go on with, or a new one, and the one to compare it with. Every report in the folder is
    read first: what is damaged is told before anything is done."""
    folder = path.parent if path is not None else Path()
    if path is not None and not path.name.endswith(ENDING):
        raise CommandError(f"{path} is no name for a report. Give one that ends in {ENDING}.")
    there = in_folder(folder)
    alike = [own for own in there if own.yearly == yearly and own.left()]
    if path is None:
        today = Path(f"{now()[:10]}{'.yearly' if yearly else ''}{ENDING}")
        path = alike[-1].path if alike else today
    if path.exists():
        own = read(path)
    else:
        # A folder that cannot be written to is found before anybody has typed anything.
        own = Report(path, by or "", now(), yearly)
        own.write()
    if not own.by:
        own.by = by or person.type("Who tests? (name or initials)")
        own.write()
    if own.yearly != yearly:
        kind = "a yearly test: add --yearly" if own.yearly else "no yearly test: leave --yearly out"
        raise CommandError(f"{own.path} is gone on with as it was begun: it is of {kind}.")
    if since is not None:
        return own, read(since)
    before = [
        other for other in there if other.path.resolve() != own.path.resolve() and other.begun < own.begun
    ]
    return own, before[-1] if before else None


def lead(trial: Trial, steps: list[int] | None, earlier: Report | None) -> bool:
    """Lead through `steps`, or all that are left; true if each of them has passed."""
    report, person = trial.report, trial.person
    report.write()
    person.say(f"The report is {report.path}.")
    done = [step for step in report.wanted if report.has_passed(step)]
    if done and steps is None:
        person.say(f"Passed before: {', '.join(map(str, done))}.")
    elif not done:
        for words in PRACTICE_PLUG:
            person.say(words)
    stopped_in = 0
    try:
        for number in steps or report.left():
            stopped_in = number
            if not _step(trial, number):
                break
        stopped_in = 0
    finally:
        trial.close()
        if stopped_in:
            person.say()
            person.say(
                f"Stopped in step {stopped_in}. What was done is in {report.path}; run it again to go on."
            )
    _end(trial, earlier)
    return all(report.has_passed(step) for step in steps or report.wanted)


def _step(trial: Trial, number: int) -> bool:
    """True if the next step may follow."""
    report, person = trial.report, trial.person
    person.say()
    person.say(f"Step {number}: {STEPS[number]}")
    if number == LAST and not report.may_have_mains():
        left = ", ".join(str(step) for step in BEFORE_MAINS if not report.has_passed(step))
        person.say(f"It waits until these have passed: {left}. No mains before that.")
        return False
    report.begin(number)
    trial.has_failed = False
    try:
        DOES[number](trial)
    except Skip as skip:
        report.end(number, SKIPPED, str(skip))
        person.say(f"Step {number} is passed over: {skip}.")
        return True
    except NotFitted as absent:
        report.end(number, ABSENT, str(absent))
        person.say(f"Step {number} needs no test: {absent}.")
        return True
    except BoxError as fault:
        raise CommandError(f"Step {number} is broken off: {fault}") from None
    failed = [own for own in report.of(number) if not own.passed]
    if failed or trial.has_failed:
        what = "; ".join(f"{own.what}: {own.told()}" for own in failed)
        report.end(number, FAILED, what)
        person.say(f"Step {number} has FAILED: {what}. Mend it before you go on.")
        return False
    report.end(number, PASSED)
    person.say(f"Step {number} has passed.")
    return True


def _end(trial: Trial, earlier: Report | None) -> None:
    """Say plainly how things stand, and write the page to print."""
    report, person = trial.report, trial.person
    said = verdict(report)
    person.say()
    if earlier is not None and earlier.box and report.box and earlier.box != report.box:
        person.say(f"{earlier.path} is of another box, {earlier.box}: nothing is compared.")
        earlier = None
    if earlier is not None:
        found = changes(report, earlier)
        shown = [change for change in found if change.drift or change.is_new_fail]
        person.say(
            f"Since {earlier.begun[:10]}: {len(found)} figures are in both, {len(shown)} have changed."
        )
        for change in shown:
            person.say(f"  {change.line()}")
    for line in said:
        person.say(line)
    to_print = report.path.with_name(report.path.name.removesuffix(".toml") + ".html")
    write_file(to_print, page(report, said, earlier).encode(), force=True)
    person.say(f"To print: {to_print}")


def verdict(report: Report) -> list[str]:
    """What has passed, what is left, and whether a lamp may be connected."""

    def told(result: str) -> list[str]:
        return [
            str(step)
            for step in report.wanted
            if step in report.steps and report.steps[step].result == result
        ]

    lines = []
    for result, words in (
        (PASSED, "Passed"),
        (ABSENT, "Not fitted"),
        (FAILED, "FAILED"),
        (SKIPPED, "Passed over"),
    ):
        if told(result):
            lines.append(f"{words}: {_steps(told(result))}.")
    todo = [str(step) for step in report.wanted if step not in report.steps]
    if todo:
        lines.append(f"Still to do: {_steps(todo)}.")
    if report.board == "simulator":
        lines.append("This was a simulator. No lamp may be connected to any box because of it.")
    elif report.yearly:
        lines.append(
            "Every step of the year has passed."
            if not report.left()
            else "Use no lamp until all of it has passed."
        )
    elif not report.left():
        lines.append("All of it has passed.")
    elif report.may_have_mains():
        lines.append("Step 16 may be done now, by a qualified person. No lamp may be connected before it.")
    else:
        lines.append("No lamp may be connected until all of it has passed.")
    return lines


def _steps(numbers: list[str]) -> str:
    return f"step{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"
