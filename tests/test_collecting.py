"""When memory is collected on a board: where no press can meet it."""

import pytest

from tests.attack.bytecodes import Board
from tests.box_model import wire_line


@pytest.fixture
def collected(monkeypatch):
    """For each collection, whether the lamp was lit, and whether the loop was drawing or answering."""
    found = []

    def collect(runner):
        runner._taken_kb = 0
        found.append((runner._pulse.lit, runner._deep))

    monkeypatch.setattr(type(Board("ready, sheets in the trays", False).runner), "_collect", collect)
    return found


def test_not_before_the_journal_is_written(collected, monkeypatch):
    """Both keep keys waiting, and a press that comes 0.1 s after the light's end may find neither."""
    board = Board("exposing, sheets in the trays", False)
    take = board.session.box.link.take

    def cut_into(line):
        board.press("back")
        return take(line)

    monkeypatch.setattr(board.session.box.link, "take", cut_into)
    board.answer(wire_line(board.session.platform, "state", {}))
    assert collected == []
    board.settle()
    assert collected == [(False, False)]
    assert "lamp_end" in [kind for way, _, kind, _ in board.trace if way == "in"]


@pytest.mark.parametrize("key", ["expose", "pedal"])
def test_not_after_a_press_that_has_lit_the_lamp(collected, key):
    board = Board("ready, sheets in the trays", False)
    board.runner._taken_kb = 1000
    board.press(key)
    assert board.pulse.lit
    assert collected == []


def test_after_a_turn_once_much_has_been_taken(collected):
    board = Board("print screen", False)
    board.press("right")
    assert collected == []
    for _ in range(10):
        board.draw()
        board.press("right")
    assert 1 <= len(collected) < 5
    assert (True, False) not in collected
