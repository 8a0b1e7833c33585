"""The board's loop: what may cut into what it is at, and that it sleeps over no input.

What cuts in comes on top of the stack, of which a board has 8 KB: test_stack counts the calls, and the rig
sees what is left.
"""

from collections import defaultdict

import pytest

from tests.attack.bytecodes import Board, Clock
from tests.stand_ins import board_module
from timing_core.light.plan import stage_name


class Asleep(Exception):
    """The loop has nothing to do."""


def board_that_is_cut_into(monkeypatch, situation, at, key):
    """One into which `key` cuts once while its loop is at `at`; what waited just after, and the board."""
    board = Board(situation, False)
    waiting = []

    def at_once(call):
        def cut_into(*arguments):
            done = call(*arguments)
            if not waiting:
                board.press(key)
                waiting.append(board.inputs.waiting())
            return done

        return cut_into

    def sleep(*_):
        raise Asleep

    part, name = {
        "the deadline": (board.session.box, "next_deadline"),
        "the display": (board.runner._display, "step"),
    }[at]
    monkeypatch.setattr(part, name, at_once(getattr(part, name)))
    monkeypatch.setattr(board.wire, "wait", sleep)
    monkeypatch.setattr(board.runner, "_has_read_up", True)
    monkeypatch.setattr(board.runner, "_dirty", False)
    return board, waiting


@pytest.mark.parametrize("at", ["the deadline", "the display"])
@pytest.mark.parametrize("key", ["right", "press", "lamp"])
def test_what_is_not_about_light_waits_until_the_loop_is_done_and_is_not_slept_over(monkeypatch, at, key):
    board, waiting = board_that_is_cut_into(monkeypatch, "print screen", at, key)
    with pytest.raises(Asleep):
        board.runner.run()
    assert waiting != [""] or board.session.box.is_about_light(key)
    assert board.inputs.waiting() == ""
    assert [kind for way, _, kind, _ in board.trace if way == "in"][:1] == ["dial" if key == "right" else key]


@pytest.mark.parametrize("at", ["the deadline", "the display"])
def test_a_press_that_lights_the_lamp_waits_for_neither(monkeypatch, at):
    board, waiting = board_that_is_cut_into(monkeypatch, "ready, sheets in the trays", at, "expose")
    monkeypatch.setattr(board.runner, "_rest", lambda due: setattr(board.runner, "_over", True))
    board.runner.run()
    assert waiting == [""]
    assert board.pulse.lit


@pytest.mark.parametrize("at", ["the deadline", "the display"])
def test_back_puts_the_lamp_out_at_once_and_the_box_is_told_by_the_loop(monkeypatch, at):
    board, waiting = board_that_is_cut_into(monkeypatch, "exposing, sheets in the trays", at, "back")
    put_out, press = [], board.press

    def taken() -> list:
        return [kind for way, _, kind, _ in board.trace if way == "in" and kind != "tick"]

    def rest(due):
        board.runner._over = "lamp_end" in taken()

    monkeypatch.setattr(board.runner, "_rest", rest)
    monkeypatch.setattr(board, "press", lambda key: (press(key), put_out.append(not board.pulse.lit)))
    board.runner.run()
    assert put_out == [True]
    assert waiting == ["back"]
    assert taken() == ["back", "lamp_end"]


@pytest.mark.parametrize(
    ("situation", "is_seen", "is_whole"),
    [
        ("exposing", True, True),
        ("exposing a burn", True, True),
        ("exposing, sheets in the trays", True, True),
        ("exposing a burn", False, False),
        ("viewing from held", True, False),
    ],
)
def test_a_light_that_ends_while_the_loop_hangs_is_known_of_after_the_reset(situation, is_seen, is_whole):
    memory = defaultdict(int)
    scratch = board_module(
        "scratch", {"machine": {"mem32": memory}, "micropython": {"const": lambda value: value}}
    )
    board = Board(situation, False)
    session, run = board.session, board.session.box.run
    board.runner._survivor = survivor = scratch.Survivor()
    if not is_seen:  # lamp sense is fitted, and there was never a voltage
        session.box.watch.has_sense, session.box.watch.sense = True, 0
    survivor.note(session.box)
    had_ms, stage, light_ms = run.given_ms, stage_name(run.stage), run.stage.light_ms
    board.runner._deep = True  # it draws, and never comes back
    Clock.ms += board.pulse.asked_ms
    board.pulse.finish()
    assert [each for each in board.trace if each[2] == "lamp_end"] == []
    known_ms = scratch.Survivor().known_ms()
    session.reset(known_ms)
    told = session.box.message
    if is_whole:
        assert known_ms == light_ms
        assert told == f"The box was reset. {stage} had all of its light."
        assert not session.box.run.at_least
    else:
        assert had_ms - scratch._LATE_MS <= known_ms <= had_ms or known_ms == -1
        assert "all of its light" not in told
