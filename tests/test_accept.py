"""`lampblack accept` at the simulator, with a person who is played.

A good box, each fault that a step is for, and all that may go wrong on the way.
"""

from __future__ import annotations

import io
import re
import tomllib
from pathlib import Path

import pytest

from hardware.checks import ohms
from hardware.circuit import HERE, cutoff_period_s, read_circuit
from lampblack import cli
from lampblack.accept import accept as command
from lampblack.accept import report as report_module
from lampblack.accept import steps
from lampblack.accept.accept import lead, verdict
from lampblack.accept.changes import changes
from lampblack.accept.limits import (
    BEFORE_MAINS,
    CUT_OFF_TICKS,
    FIGURES,
    READINGS,
    STEPS,
    WITH_BACK_HELD,
    YEARLY,
)
from lampblack.accept.page import page
from lampblack.accept.person import Person
from lampblack.accept.report import Report, Step, in_folder, now, read
from lampblack.accept.trial import Trial
from lampblack.board.doctor import Finding
from lampblack.errors import CommandError
from lampblack.wire import replies
from lampblack.wire.box_client import BoxError
from tests.accept_person import SimWorld, failing, hands, played, results, trial_of

PAGE = (HERE / "acceptance.md").read_text("utf-8")


# --- the limits


def rows_of_steps() -> dict[int, str]:
    return {
        int(number): text for number, text in re.findall(r"^\| (\d+) \| (.*) \|$", PAGE, flags=re.MULTILINE)
    }


def test_the_page_and_the_command_have_the_same_steps():
    assert list(STEPS) == sorted(rows_of_steps())
    assert {own.step for own in FIGURES.values()} == set(STEPS)
    assert set(YEARLY) == set(range(8, 13))
    assert "once a year (steps 8 to 12)" in PAGE


@pytest.mark.parametrize("key", [key for key, own in FIGURES.items() if own.said])
def test_every_limit_is_the_page_s(key):
    figure = FIGURES[key]
    assert figure.said in rows_of_steps()[figure.step].replace("ten presses", "10 presses")
    wanted = {own for own in (figure.low, figure.high) if own is not None}
    said = {float(word.replace(",", "")) for word in re.findall(r"\d[\d,]*\.?\d*", figure.said)}
    if key.startswith("8.") and key.endswith(".light"):
        assert said == {sum(wanted) / 2}
    elif said:
        assert said <= wanted


def test_the_readings_are_those_that_were_simulated():
    made = [(own.red, own.black, own.diode, own.limits) for own in ohms.READINGS]
    assert [row[:2] for row in READINGS] == [row[:2] for row in made]
    assert [(own.red, own.black) for own in ohms.READINGS if own.back] == [WITH_BACK_HELD]
    for (red, black, kind, low, high), (_, _, diode, limits) in zip(READINGS, made, strict=True):
        assert (kind == "diode") == diode
        found = []
        for word, unit in re.findall(r"(\d[\d.]*)(?: (ohm|kohm|V))?", limits):
            unit = unit or ("V" if diode else "ohm")
            found.append(float(word) * (1000 if unit == "kohm" else 1))
        assert found == [own for own in (low, high) if own is not None], (red, black)


def test_the_cut_off_of_the_parts_is_within_its_limits():
    period_s = cutoff_period_s(read_circuit())
    assert FIGURES["10.cut_off_s"].holds(period_s * 8192)
    assert FIGURES["10.tick_s"].holds(period_s * 16)
    assert CUT_OFF_TICKS == 8192 / 16
    assert FIGURES["10.quick_s"].holds(period_s * 8192 / 100)


# --- a good box


@pytest.fixture(scope="module")
def good(tmp_path_factory) -> Trial:
    """The whole test of a good box, from the first reading on."""
    return played(SimWorld(), tmp_path_factory.mktemp("good"), fit=False)


def test_a_good_box_passes_every_step(good):
    assert results(good) == dict.fromkeys(STEPS, "passed")
    assert failing(good) == set()
    assert set(good.report.figures) == {
        key for key in FIGURES if not key.endswith(".edges") and key != "6.answers"
    }


def test_what_is_fitted_is_what_the_person_has_said(good):
    assert good.report.fitted == {
        "column_offset": 0,
        "display": "ssd1306",
        "read_backs": True,
        "second_contact": True,
    }
    with good._connect() as box:
        assert box.call("fitted.get") == {"in_force": True, "values": good.report.fitted}


def test_the_report_is_read_again_as_it_was(good):
    again = read(good.report.path)
    assert again == good.report
    text = good.report.path.read_text("utf-8")
    assert tomllib.loads(text)["form"] == 1
    assert again.box == "e661000000000001"
    assert again.board == "simulator"


def test_the_page_to_print_has_every_figure_and_needs_nothing_else(good):
    text = good.report.path.with_name("box.accept.html").read_text("utf-8")
    for figure in good.report.figures.values():
        assert figure.what.replace("'", "&#x27;") in text
    assert not re.findall(r"(?:src|href|url)\s*[=(]", text)
    assert "No lamp may be connected to any box because of it." in text


def test_a_figure_is_read_as_a_person_reads_it():
    told = [
        FIGURES[key].with_unit(value)
        for key, value in (
            ("1.3V3-GND", float("inf")),
            ("1.LAMP-GND", 3560.0),
            ("10.cut_off_s", 1216.51),
            ("10.tick_s", 2.3759),
            ("4.lamp", 20),
            ("11.plug", True),
        )
    ]
    assert told == ["open", "3,560 ohm", "1,217 s", "2.376 s", "20", "yes"]
    assert [FIGURES[key].limits() for key in ("1.3V3-GND", "3.run", "8.more_ma", "10.tick_s", "4.lamp")] == [
        "at least 500 ohm",
        "under 0.1 V",
        "at most 60 mA",
        "2 to 3.3 s",
        "20",
    ]


def test_it_says_plainly_what_is_left():
    report = Report(Path("x.accept.toml"), "A.", now())
    report.board = "Raspberry Pi Pico"
    assert verdict(report)[-1] == "No lamp may be connected until all of it has passed."
    for step in BEFORE_MAINS:
        report.steps[step] = Step(step, "passed", "", now())
    assert verdict(report)[-1].startswith("Step 16 may be done now, by a qualified person.")
    report.steps[12] = Step(12, "not fitted", "no second contact is fitted", now())
    assert verdict(report)[-1].startswith("Step 16 may be done now")
    report.steps[15] = Step(15, "skipped", "no dark room", now())
    assert verdict(report)[-1] == "No lamp may be connected until all of it has passed."
    assert "Passed over: step 15." in verdict(report)


# --- each fault, and the step that is for it

SPOILED = {
    "D1 open: BACK has no wire of its own": (9, {"back_is_cut": True}, {"9.first"}),
    "Q3 stuck: nothing darkens it but the pin": (9, {"is_stuck": True}, {"9.first"}),
    "Q3 stuck, and the cut-off": (10, {"is_stuck": True}, {"10.quick_s"}),
    "the counter is dead": (10, {"counts": False}, {"10.quick_s"}),
    "R or C is wrong, too quick": (10, {"period_ms": 1500}, {"10.quick_s"}),
    "R or C is wrong, too slow": (10, {"period_ms": 4500}, {"10.quick_s"}),
    "a little too slow": (10, {"period_ms": 3500}, {"10.tick_s", "10.cut_off_s"}),
    "the latch is open": (10, {"latches": False}, {"10.latched_s"}),
    "lamp sense is open": (8, {"is_cut": True}, None),
    "the output is on unasked": (3, {"is_shorted": True}, {"3.sense"}),
}


@pytest.mark.parametrize("name", SPOILED)
def test_the_step_finds_the_fault_it_is_for(name, tmp_path):
    step, faults, keys = SPOILED[name]
    world = SimWorld()
    person = hands(world)
    trial = played(world, tmp_path, person=person, before=lambda: world.spoil(**faults), steps=(step,))
    assert results(trial)[step] == "failed"
    if keys is not None:
        assert failing(trial) >= keys
    assert "FAILED" in person.text


@pytest.mark.parametrize("faults", [{"is_welded": True}, {"is_apart": True}])
def test_a_feedback_that_does_not_follow_is_found(faults, tmp_path):
    """Open, or at ground, whatever the person does to its wire."""
    world = SimWorld()
    person = hands(world)
    spoil = world.spoil
    world.spoil = lambda **more: spoil(**{**more, **faults})  # type: ignore[method-assign]
    trial = played(world, tmp_path, person=person, before=lambda: spoil(**faults), steps=(12,))
    assert results(trial) == {12: "failed"}
    assert "12.back" in failing(trial)


@pytest.mark.parametrize(
    ("how", "step", "keys"),
    [
        ({"dead": ("lamp",)}, 4, {"4.lamp"}),
        ({"bouncing": ("expose",)}, 4, {"4.expose"}),
        ({"dead": ("pedal",)}, 4, {"4.pedal"}),
        ({"half_cycles": True}, 5, {"5.right", "5.left"}),
        ({"bouncing": ("press",)}, 5, {"5.press"}),
    ],
)
def test_a_contact_that_is_bad_is_found(how, step, keys, tmp_path):
    world = SimWorld()
    for name, value in how.items():
        setattr(world, name, value)
    person = hands(world, answers={"Was it": "y"})
    trial = played(world, tmp_path, person=person, steps=(step,))
    assert results(trial) == {step: "failed"}
    assert failing(trial) == keys


def test_a_wrong_key_is_counted_as_one(tmp_path):
    world = SimWorld()
    person = hands(world, answers={"Was it": "y"})
    right = person.does[r"Press LAMP 20 times"]

    def with_a_slip():
        world.press("back")
        yield from right()

    person.does[r"Press LAMP 20 times"] = with_a_slip
    trial = played(world, tmp_path, person=person, steps=(4,))
    assert failing(trial) == {"4.lamp.others"}
    assert not world.session.lamp.lit


def test_who_has_miscounted_may_count_again(tmp_path):
    world = SimWorld()
    person = hands(world, answers={"Was it": "n"})
    right = person.does[r"Press LAMP 20 times"]
    turns = iter((19, 20))

    def miscounted():
        for _ in range(next(turns)):
            world.press("lamp")
            yield 150

    person.does[r"Press LAMP 20 times"] = miscounted
    assert right is not miscounted
    assert results(played(world, tmp_path, person=person, steps=(4,))) == {4: "passed"}


# --- hands that do something else


WRONG = {
    4: (r"Press LAMP 20 times", "expose"),
    5: (r"whole turns to the right", "back"),
    8: (r"Light \d of 3", "back"),
    9: (r"two seconds later hold BACK", "lamp"),
    10: (r"Put jumper JP2 on", "expose"),
    11: (r"begin a print of 10 s", "press"),
    12: (r"Take FEEDBACK's wire off", "lamp"),
    14: (r"leave it on: its limit", "press"),
}


@pytest.mark.parametrize("step", WRONG)
def test_the_wrong_key_at_first_is_no_end_of_a_step(step, tmp_path):
    pattern, key = WRONG[step]
    world = SimWorld()
    person = hands(world, answers={r"Was it (BACK|\d)": ["n", "y"], "Try again": ["y", "n"]})
    right = person.does[pattern]
    turns = iter((True,))

    def wrong_first():
        if next(turns, False):
            world.press(key)
            yield 700
            if key in ("expose", "press"):
                world.press("back")
                yield 700
                world.press("back")
            else:
                world.press(key)
            yield 1500
            while world.session.box.panel.screen.key != "print":
                # Find the way back to the Print screen.
                world.press("back")
                world.session.box.panel.show("print")
            yield 700
        yield from right()

    person.does[pattern] = wrong_first
    trial = played(world, tmp_path, person=person, steps=(step,))
    # What was miscounted may be counted again; everything else passes at once.
    assert results(trial) == {step: "passed"}, person.text


def test_what_is_typed_wrongly_is_asked_again(tmp_path):
    world = SimWorld()
    person = hands(world, answers={r"^LAMP to GND": ["a lot", "35k", "3.5k"], "that what the meter": "n"})
    trial = played(world, tmp_path, person=person, fit=False, steps=(1,))
    assert results(trial) == {1: "passed"}
    assert trial.report.figures["1.LAMP-GND"].value == 3500
    assert "  Type a figure, such as 3.5k or 0.65; OL if the meter shows that it is open." in person.said
    assert any("35,000 ohm is outside 3,380 to 3,740 ohm" in line for line in person.said)


def test_a_reading_out_of_its_limits_fails_the_step_and_the_next_does_not_follow(tmp_path):
    world = SimWorld()
    person = hands(world, answers={r"^VSYS to 3V3": "0.2", "that what the meter": "y"})
    trial = played(world, tmp_path, person=person, fit=False, steps=())
    assert results(trial) == {1: "failed"}
    assert "Step 2" not in person.text
    assert "Still to do: steps 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16." in person.said


def test_a_step_that_is_passed_over_is_kept_with_its_reason(tmp_path):
    world = SimWorld()
    trial = played(world, tmp_path, person=hands(world, answers={"15|leaks|dark room": "skip"}), steps=(15,))
    assert results(trial) == {15: "skipped"}
    assert read(trial.report.path).steps[15].reason == "it was raining"


def test_mains_wait_until_all_else_has_passed(tmp_path):
    world = SimWorld()
    trial = played(world, tmp_path, steps=(16,))
    assert results(trial) == {}
    assert "No mains before that." in trial.person.text


def test_a_box_without_a_second_contact_needs_no_test_of_it(tmp_path):
    world = SimWorld()
    person = hands(world, answers={"second contact": "n"})
    trial = played(world, tmp_path, person=person, fit=False, steps=(2, 12))
    assert results(trial) == {2: "passed", 12: "not fitted"}
    assert trial.report.fitted["second_contact"] is False


def test_without_read_backs_nothing_can_be_measured(tmp_path):
    world = SimWorld()
    with pytest.raises(CommandError, match="no read-backs are fitted"):
        played(world, tmp_path, fit=False, steps=(9,))


# --- going on


@pytest.mark.parametrize(
    "at", ["3V3 to GND", "K_LAMP to LAMP_KEY", "touch every part", "whole turns to the left"]
)
def test_whatever_stops_it_nothing_is_lost(at, tmp_path):
    world = SimWorld()
    person = hands(world)

    def stops():
        raise KeyboardInterrupt
        yield

    person.does = {**person.does, at: stops}
    with pytest.raises(KeyboardInterrupt):
        played(world, tmp_path, person=person, fit=False)
    before = read(tmp_path / "box.accept.toml")
    assert any("run it again to go on" in line for line in person.said)
    # Those of a step that had ended, and what was typed in the one that was broken off.
    kept = {key: own for key, own in before.figures.items() if before.has_passed(own.step) or own.step == 1}
    again = hands(world)
    trial = Trial(again, before, world.connect, list)
    assert lead(trial, None, None)
    assert results(trial) == dict.fromkeys(STEPS, "passed")
    for key, figure in kept.items():
        assert trial.report.figures[key].at == figure.at
        assert not any(line.startswith(f"{figure.what}, ") for line in again.said)


def test_a_cable_that_is_pulled_in_mid_step_is_one_clear_line(tmp_path):
    world = SimWorld()
    person = hands(world)

    def pulls():
        yield 1000
        world.is_out = True

    person.does[r"Press BACK 20 times"] = pulls
    with pytest.raises(CommandError) as caught:
        played(world, tmp_path, person=person, steps=(4,))
    line = str(caught.value)
    assert line.startswith("Step 4 is broken off: The connection to a box is lost: Input/output error.")
    kept = read(tmp_path / "box.accept.toml")
    assert {"4.expose", "4.lamp"} <= set(kept.figures)
    world.is_out = False
    world.replug()
    trial = Trial(hands(world), kept, world.connect, list)
    assert lead(trial, [4], None)
    assert any(line.startswith("  kept presses of EXPOSE") for line in trial.person.said)


def test_a_box_that_does_not_come_back_is_told(tmp_path):
    world = SimWorld()
    person = hands(world)

    def goes():
        world.is_out = True
        yield 0

    person.does["takes it at its next start"] = goes
    with pytest.raises(CommandError, match="The box has not come back"):
        played(world, tmp_path, person=person, fit=False, steps=(2,))


def test_another_box_is_not_tested_into_the_same_report(tmp_path):
    first = played(SimWorld(), tmp_path, steps=(7,))
    other = SimWorld("e661000000000002")
    trial = Trial(hands(other), read(first.report.path), other.connect, list)
    with pytest.raises(CommandError, match="is the report of box e661000000000001, and this is box e66100"):
        lead(trial, [7], None)


def test_old_firmware_is_told(tmp_path, monkeypatch):
    world = SimWorld()
    connect = world.connect

    def old():
        box = connect()
        box.about = {**box.about, "methods": ["hello", "state"]}
        return box

    trial = trial_of(world, tmp_path / "box.accept.toml", hands(world))
    trial._connect = old
    with pytest.raises(CommandError, match="older than the acceptance test"):
        lead(trial, [7], None)


def test_what_doctor_finds_fails_the_second_step(tmp_path):
    world = SimWorld()
    found = [Finding("port", True, "it opens."), Finding("display", False, "it does not answer. Check it.")]
    trial = trial_of(world, tmp_path / "box.accept.toml", hands(world), found)
    assert not lead(trial, [2], None)
    assert "  WRONG display: it does not answer. Check it." in trial.person.said


class Telling:
    """A trial whose box tells one thing after another."""

    def __init__(self, *lights: dict[str, int]) -> None:
        self.left = list(lights)

    def light(self) -> dict[str, int]:
        return self.left.pop(0) if len(self.left) > 1 else self.left[0]

    def wait(self, prompt: str, look) -> None:
        for _ in range(10):
            if look()[1]:
                return
        raise AssertionError("it would wait for ever")


def test_a_contact_that_has_moved_is_no_light_yet():
    """The lamp follows the second contact by 100 ms, and the box may be asked in between."""
    old = {"lamp_ms": 300_000, "lit_ms": 900, "seen_ms": 900, "ticks": 0, "closed_ms": 15}
    armed = {**old, "closed_ms": 16}
    lit = {**armed, "lit_ms": 0, "seen_ms": 0}
    over = {**armed, "lit_ms": 2000, "seen_ms": 2000}
    assert steps._light(Telling(old, old, armed, lit, over), "Press LAMP.") == over  # type: ignore[arg-type]
    # A light may come and go between two looks.
    assert steps._light(Telling(old, armed, over), "Press LAMP.") == over  # type: ignore[arg-type]


def test_the_box_is_left_as_it_was(tmp_path):
    world = SimWorld()
    person = hands(world)
    box = world.session.box
    trial = played(world, tmp_path, person=person, steps=(4,))
    box = world.session.box
    assert box.state == "browse"
    with trial._connect() as client:
        assert client.call("accept.read")["counts"] is None


def test_a_box_in_the_middle_of_something_is_waited_for(tmp_path):
    world = SimWorld()
    person = hands(world)

    def leave():
        yield 500
        world.press("back")
        yield 1000

    person.does["in the middle of something"] = leave
    trial = played(world, tmp_path, person=person, steps=(7,), before=lambda: world.press("expose"))
    assert results(trial) == {7: "passed"}


# --- years

EARLY, LATE = "2025-01-01T10:00:00+00:00", "2026-01-01T10:00:00+00:00"


def report_with(path: Path, begun: str, **values: float) -> Report:
    made = Report(path, "A.", begun, yearly=True, box="e661")
    for key, value in values.items():
        made.note(FIGURES[key.replace("_", ".", 1)], value)
    return made


def test_new_fails_come_first_and_then_what_has_drifted(tmp_path):
    then = report_with(
        tmp_path / "a.accept.toml",
        EARLY,
        **{"9_apart_ms": 0, "10_quick_s": 12, "10_tick_s": 2.4},
    )
    now_ = report_with(
        tmp_path / "b.accept.toml",
        LATE,
        **{"9_apart_ms": 0, "10_quick_s": 13.2, "10_tick_s": 3.4},
    )
    lines = [change.line() for change in changes(now_, then)]
    assert lines == [
        "NEW FAIL 10.tick_s a tick every, without JP2: was 2.4 s, is 3.4 s, +1 s (+41.7 %)",
        "10.quick_s light until the cut-off, with JP2: was 12 s, is 13.2 s, +1.2 s (+10.0 %)",
        "9.apart_ms the program follows after: was 0 ms, is 0 ms, the same",
    ]
    assert "NEW FAIL" in page(now_, ["x"], then)
    then.note(FIGURES["1.3V3-GND"], float("inf"))
    now_.note(FIGURES["1.3V3-GND"], 400)
    assert changes(now_, then)[1].line() == "NEW FAIL 1.3V3-GND 3V3 to GND: was open, is 400 ohm, changed"


def test_the_steps_of_the_year_alone(tmp_path):
    world = SimWorld()
    with world.connect() as box:
        box.call("fitted.set", values={"read_backs": True, "second_contact": True})
    world.replug()
    report = Report(tmp_path / "y.accept.toml", "A.", now(), yearly=True)
    trial = Trial(hands(world), report, world.connect, list)
    assert lead(trial, None, None)
    assert results(trial) == dict.fromkeys(YEARLY, "passed")


# --- the command itself


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Runs `lampblack accept` in a folder, with a person played at a simulated box."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    world = SimWorld()
    monkeypatch.setattr(command, "BoxClient", lambda url: world.connect())
    monkeypatch.setattr(command, "examine", lambda url: ([], []))
    person = hands(world)
    monkeypatch.setattr(command, "Person", lambda: person)

    def call(*arguments: str) -> tuple[int, str]:
        person.said.clear()
        code = cli.run(["accept", "--port", "a box", *arguments])
        return code, capsys.readouterr().err

    call.person = person  # type: ignore[attr-defined]
    call.world = world  # type: ignore[attr-defined]
    return call


def test_the_command_begins_and_goes_on_with_the_newest_unfinished_report(run, tmp_path):
    assert run("--step", "1", "--by", "A.") == (0, "")
    (made,) = in_folder(tmp_path)
    assert made.path.name == f"{now()[:10]}.accept.toml"
    assert run() == (0, "")
    (done,) = in_folder(tmp_path)
    assert done.left() == []
    assert "Passed before: 1." in run.person.said
    assert "This is a simulator: its report tells nothing of any box that was built." in run.person.said


def test_one_step_can_be_done_again(run, tmp_path):
    assert run("--step", "1", "--by", "A.") == (0, "")
    first = in_folder(tmp_path)[0].steps[1]
    run.person.answers = {r"^LAMP to GND": "35k", "that what the meter": "y", **run.person.answers}
    code, err = run("--step", "1")
    assert (code, err) == (1, "")
    again = in_folder(tmp_path)[0].steps[1]
    assert (first.result, again.result) == ("passed", "failed")


def test_a_step_that_there_is_not(run):
    code, err = run("--step", "17")
    assert code == 2
    assert "there is no step 17 here. Give one of 1, 2, 3" in err
    code, err = run("--yearly", "--step", "4")
    assert code == 2


@pytest.mark.parametrize("text", ["", "form = 1", "form = 2\n", "not toml", "form = 1\nby = 3"])
def test_a_damaged_report_is_told_before_anything_is_done(run, tmp_path, text):
    old = tmp_path / "2025-01-01.accept.toml"
    old.write_text(text)
    code, err = run("--by", "A.")
    assert code == 1
    assert err.count("\n") == 1
    assert "2025-01-01.accept.toml is no report that can be read: " in err
    assert err.rstrip().endswith("It is left as it is; give another name, or move it out of the folder.")
    assert old.read_text() == text
    assert sorted(path.name for path in tmp_path.iterdir()) == [old.name]
    assert run.person.said == []


def test_a_folder_that_cannot_be_written_to_is_told_at_once(run, tmp_path, monkeypatch):
    def refuses(path, data, force):
        raise CommandError(f"{path} is not written: Permission denied. Check the name and its folder.")

    monkeypatch.setattr(report_module, "write_file", refuses)
    code, err = run()
    assert code == 1
    assert "is not written: Permission denied." in err
    assert run.person.said == []


def test_a_name_that_is_no_report_s(run):
    assert run("report.txt") == (
        1,
        "report.txt is no name for a report. Give one that ends in .accept.toml.\n",
    )


def test_a_yearly_report_is_gone_on_with_as_one(run, tmp_path):
    report_with(tmp_path / "y.accept.toml", LATE)
    (tmp_path / "y.accept.toml").write_text(Report(Path("y"), "A.", now(), True).text())
    code, err = run("y.accept.toml")
    assert code == 1
    assert "it is of a yearly test: add --yearly" in err


def test_the_last_report_in_the_folder_is_compared_with(run, tmp_path):
    with run.world.connect() as box:
        box.call("fitted.set", values={"read_backs": True, "second_contact": True})
    run.world.replug()
    old = Report(tmp_path / "2025-01-01.accept.toml", "A.", EARLY, box="e661000000000001")
    old.note(FIGURES["9.apart_ms"], 1)
    old.steps = {}
    assert run("new.accept.toml", "--by", "A.", "--step", "9") == (0, "")
    assert "Since 2025-01-01: 1 figures are in both, 1 have changed." in run.person.said
    text = (tmp_path / "new.accept.html").read_text()
    assert "Since 2025-01-01 (2025-01-01.accept.toml)" in text


def test_nobody_at_the_keyboard_is_told():
    person = Person(io.StringIO(""), io.StringIO())
    with pytest.raises(CommandError, match="there is nobody to answer"):
        person.type("Who tests?")


def test_the_terminal_shows_what_changes_and_takes_enter():
    told = io.StringIO()
    person = Person(io.StringIO("\nmaybe\ny\n"), told)
    looks = iter(range(1000))
    person.wait("Wait.", lambda: (f"{next(looks)}", False))
    assert person.is_yes("Is it well?")
    text = told.getvalue()
    assert "Wait. (Enter ends the wait.)\n  0\n" in text
    assert "Type y for yes, n for no, or skip to pass this step over." in text


def test_a_box_that_answers_wrongly_is_told():
    with SimWorld().connect() as box:
        box.call("accept.count", on=1)
        true = box.call("accept.read")
        fitted = box.call("fitted.get")
    assert replies.checked("accept.read", {**true, "more": 1}) == true
    wrong = (None, -1, "x", [1], {}, 1 << 40)
    for method, told in (("accept.read", true), ("fitted.get", fitted), ("accept.count", {"ok": True})):
        for key in told:
            assert_wrong(method, {name: value for name, value in told.items() if name != key})
            for value in wrong:
                # Nothing counted or read, and nothing told of contacts or parts, may be.
                if not (value in (None, {}) and key in ("counts", "edges", "values", "cell")):
                    assert_wrong(method, {**told, key: value})
    read = {"now": "steady", "dark": 3, "light": 900, "lag_ms": None, "spread_ms": 4}
    assert replies.checked("accept.read", {**true, "cell": read})["cell"] == read
    for key in read:
        for value in (-1, [1], 1 << 40):
            assert_wrong("accept.read", {**true, "cell": {**read, key: value}})
    for key in true["light"]:
        for value in wrong:
            if value != -1:
                assert_wrong("accept.read", {**true, "light": {**true["light"], key: value}})


def assert_wrong(method: str, told: dict) -> None:
    with pytest.raises(replies.Wrong):
        replies.checked(method, told)


def test_a_box_error_ends_the_step_and_not_the_report(tmp_path):
    world = SimWorld()
    trial = trial_of(world, tmp_path / "box.accept.toml", hands(world))

    def none():
        raise BoxError("No box is found: plug it in.")

    trial._connect = none
    with pytest.raises(CommandError, match="Step 7 is broken off: No box is found"):
        lead(trial, [7], None)
    assert read(trial.report.path).steps == {}
