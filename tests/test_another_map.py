"""After another map is put to work, the panel is about no pass and no mark of the former one.

The base that was changed last is where the cursor comes home, and the row on which the Print screen was left
is what the Strip screen aims at. Both belong to one map. Wherever another takes its place, the cursor is home
on it, and no strip is aimed at what nobody chose.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.box_model import (
    a_card,
    a_pass,
    keys,
    load,
    new_session,
    push,
    set_row,
    to_row,
    to_screen,
    undo,
    until_dark,
)
from timing_core.light.printing_map import MARKS_MAX
from timing_core.panel.undo import cut, mend


def of_passes(count: int, name: str, tied: bool = False) -> dict:
    """A card with so many passes, each with two marks."""
    card = a_card(("face", -10), ("sky", 40), base_ms=8000, name=name, tied=tied)
    for number in range(1, count):
        card["passes"].append(a_pass(("door", 20), ("step", -10), base_ms=8000 + number, filter=str(number)))
    return card


def home(session) -> tuple[str, int]:
    """The row to which the cursor comes home on the Print screen: its key and pass."""
    to_screen(session, "print")
    row = session.box.panel.row()
    return row.key, row.index


def target(session) -> tuple[int, int | None]:
    strip = session.box.work.strip
    return strip.pass_index, strip.mark_index


def open_from_list(session, heading: str) -> None:
    """Open a screen from the list of screens, with no other screen between."""
    assert session.box.panel.screen.key == "screens"
    to_row(session, heading)
    session.input("press")


def changed_in_pass_3(tied: bool = False):
    """A map of three passes, of which the third was changed last; another card of three is on the shelf."""
    session = new_session()
    push(session, of_passes(3, "other", tied))
    load(session, of_passes(3, "harbour"))
    set_row(session, "Base", 1, 3)
    assert home(session) == ("base", 2)
    return session


def load_other(session) -> None:
    to_screen(session, "shelf")
    to_row(session, "other")
    session.input("press")
    assert session.box.work.map.name == "other"


def begin_new(session) -> None:
    to_screen(session, "print")
    to_row(session, "New print")
    session.input("press")


def print_again(session) -> None:
    """A print of the map before this one, which is in the ledger."""
    keys(session, "expose")
    while session.box.state == "ready":
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)
    set_row(session, "Base", 1, 2)
    set_row(session, "Base", 1, 3)
    to_screen(session, "ledger")
    to_row(session, "Print this again")
    session.input("press")


WAYS = {"a card is loaded": load_other, "a new print": begin_new, "print this again": print_again}


@pytest.mark.parametrize("way", WAYS)
def test_the_cursor_is_home_on_another_map(way):
    session = changed_in_pass_3()
    WAYS[way](session)
    assert session.box.panel.screen.key == "print"
    row = session.box.panel.row()
    assert (row.key, row.index) == ("base", 0)
    assert home(session) == ("base", 0)


def test_a_strip_for_all_passes_of_another_map_is_for_its_first():
    """The cursor is home on *All passes* then, which belongs to no pass."""
    session = changed_in_pass_3(tied=True)
    load_other(session)
    assert home(session)[0] == "all"
    to_screen(session, "strip")
    assert target(session) == (0, None)


def test_a_strip_for_all_passes_is_for_the_one_that_was_changed_last():
    session = new_session()
    load(session, of_passes(3, "harbour", tied=True))
    set_row(session, "Base", 1, 2)
    assert home(session)[0] == "all"
    to_screen(session, "strip")
    assert target(session) == (1, None)


def test_a_map_that_comes_back_by_undo_has_the_cursor_where_it_was():
    session = changed_in_pass_3()
    load_other(session)
    set_row(session, "Base", 1, 2)
    undo(session)
    undo(session)
    assert session.box.work.map.name == "harbour"
    assert home(session) == ("base", 2)


def test_a_map_that_goes_by_undo_takes_its_pass_with_it():
    session = new_session()
    push(session, of_passes(3, "other"))
    load(session, of_passes(3, "harbour"))
    load_other(session)
    set_row(session, "Base", 1, 3)
    undo(session)
    undo(session)
    assert session.box.work.map.name == "harbour"
    assert home(session) == ("base", 0)
    keys(session, "back")
    for _ in range(2):
        to_row(session, "Redo")
        session.input("press")
    assert session.box.work.map.name == "other"
    assert home(session) == ("base", 2)


def test_undo_leaves_no_strip_aimed_at_a_mark_of_the_former_map():
    """The Print screen was left on a mark, and then the map was another one."""
    session = new_session()
    push(session, of_passes(3, "other"))
    load(session, of_passes(3, "harbour"))
    load_other(session)
    to_row(session, "Burn door", 2)
    keys(session, "back")
    undo(session)
    assert session.box.work.map.name == "harbour"
    open_from_list(session, "Strip")
    assert target(session) == (0, None)


def test_a_run_that_is_left_leaves_no_strip_aimed_at_a_mark_of_the_former_map():
    session = new_session()
    push(session, of_passes(3, "other"))
    load(session, of_passes(3, "harbour"))
    to_row(session, "Burn door", 2)
    keys(session, "back")
    open_from_list(session, "Shelf")
    to_row(session, "other")
    keys(session, "press", "expose", "back")
    assert session.box.panel.screen.key == "screens"
    open_from_list(session, "Strip")
    assert target(session) == (0, None)


@pytest.mark.parametrize("tied", [False, True])
def test_a_pass_that_is_gone_is_nowhere_remembered(tied):
    session = new_session()
    load(session, of_passes(4, "harbour", tied))
    set_row(session, "Base", 1, 4)
    set_row(session, "Passes", -2)
    assert home(session) == (("all", 0) if tied else ("base", 0))
    to_screen(session, "strip")
    assert target(session) == (0, None)
    undo(session)
    assert home(session) == (("all", 0) if tied else ("base", 3))


def test_after_a_reset_the_cursor_is_home_on_the_first_pass():
    session = changed_in_pass_3()
    session.box.asked.set_bench({"power_up": "as left"})
    session.reset()
    assert session.box.work.map.name == "harbour"
    assert home(session) == ("base", 0)


STEPS = (
    "change",
    "mark",
    "passes",
    "tie",
    "load 1",
    "load 2",
    "new",
    "undo",
    "redo",
    "strip",
    "run",
    "again",
)


@given(st.lists(st.tuples(st.sampled_from(STEPS), st.integers(0, 40)), min_size=3, max_size=12))
@settings(max_examples=60, deadline=None)
def test_whatever_is_done_the_panel_is_about_what_the_map_has(steps):
    """And a strip is for the row on which the Print screen was left, if that is of a pass."""
    session = new_session()
    for number in (1, 2):
        push(session, of_passes(1 + 2 * (number % 2), f"card-{number}", tied=number == 2))
    for step, number in steps:
        _do(session, step, number)
        box = session.box
        count = len(box.work.map.passes)
        assert box.work.pass_index < count
        keys(session, *["back"] * 3)
        kind, index = home(session)
        assert kind == ("all" if box.work.map.tied and count > 1 else "base")
        assert index == (0 if kind == "all" else box.work.pass_index)
        session.input("dial", number - 20)
        row, given = box.panel.row(), box.work.strip_given
        to_screen(session, "strip")
        if not given and row.key in ("base", "mark", "add", "filter", "through"):
            assert target(session) == (row.index, row.number)
        assert target(session)[0] < count


def _do(session, step: str, number: int) -> None:
    box = session.box
    count = len(box.work.map.passes)
    while box.panel.screen.key != "screens":
        session.input("back")
    if step.startswith("load"):
        to_screen(session, "shelf")
        to_row(session, "card-" + step[-1])
        session.input("press")
    elif step in ("undo", "redo"):
        for row in box.panel.rows():
            if row.key == step:
                to_row(session, row.label)
                session.input("press")
    elif step == "again":
        to_screen(session, "ledger")
        session.input("dial", 1)
        session.input("press")
    elif step == "strip":
        to_screen(session, "strip")
        set_row(session, "Strip for", number % 5 - 2)
    else:
        to_screen(session, "print")
        if step == "run":
            keys(session, "expose", "expose")
            until_dark(session)
        elif step == "new":
            to_row(session, "New print")
            session.input("press")
        elif step == "passes":
            set_row(session, "Passes", number % 7 - 3)
        elif step == "tie" and count > 1:
            set_row(session, "Bases", 0)
        else:
            set_row(session, "Base", number % 3 - 1, 1 + number % count)


def test_a_card_that_is_here_already_takes_the_place_of_nothing():
    session = new_session()
    load(session, a_card(name="harbour"))
    session.box.work.prints = 3
    changes = len(session.box.panel.undo)
    to_screen(session, "shelf")
    session.input("press")
    assert session.box.message == "Nothing to load: this is harbour already."
    assert (session.box.work.prints, len(session.box.panel.undo)) == (3, changes)


def test_a_new_print_in_place_of_a_new_one_promises_no_undo():
    session = new_session()
    session.box.work.prints = 3
    begin_new(session)
    assert session.box.message == "A new print: the map was new already."
    assert (session.box.work.prints, len(session.box.panel.undo)) == (0, 0)


@given(st.binary(max_size=6), st.binary(max_size=6), st.binary(max_size=6), st.binary(max_size=6))
def test_what_undo_keeps_of_a_change_is_no_more_than_what_has_changed(start, was, now, end):
    before, after = start + was + end, start + now + end
    piece = cut(before, after)
    if before == after:
        assert piece is None
        return
    assert mend(after, piece) == before
    assert piece[0] >= len(start)
    assert piece[1] >= 0
    assert piece[0] + piece[1] >= len(start + end)
    assert len(piece[2]) <= len(was)


@pytest.mark.parametrize("marks", [MARKS_MAX - 1, MARKS_MAX])
def test_a_full_pass_offers_no_further_mark(marks):
    session = new_session()
    load(session, a_card(*[(f"area {at}", 10) for at in range(marks)]))
    has_room = marks < MARKS_MAX
    assert ("add" in [row.key for row in session.box.panel.rows()]) == has_room
