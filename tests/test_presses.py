"""Inputs are counted as they are: the fewest there are, and each one."""

import json
from itertools import product

import pytest

from tests.figures import presses
from tests.figures.presses import ANY, BASE, PAIR, SINGLE, STRIP, WAIT, Goal, Search, Task, Way

REPEAT = Way(SINGLE, [Goal(SINGLE, STRIP, [], (BASE,))])
DRY = Way(SINGLE, [Goal({**SINGLE, "dry_down": True}, STRIP, [])])
FILTER = Way(SINGLE, [Goal({**SINGLE, "passes": [presses.one_pass(filter="3")]}, STRIP, [])])


def replayed(way, path):
    """A session that was given just these inputs, one every second, from the print on."""
    session = presses.after_print(way.start)
    for step in path:
        if step == WAIT:
            session.advance(session.lamp.ends_ms)
        else:
            session.input(*step)
        session.advance(session.now_ms + 1000)
    return session


def inputs_on(session, *steps):
    for step in steps:
        presses.give(session, step)
    return session


# --- the search


@pytest.mark.parametrize("way", [REPEAT, FILTER])
def test_a_path_leads_to_its_goal_when_it_is_played_to_another_box(way):
    path = Search(way).fewest(7, 7)
    session = replayed(way, path)
    assert way.goals[0].reached(session, session.box.bench.to_dict())
    # With any one of its inputs left out it does not.
    for at in range(len(path)):
        shorter = replayed(way, path[:at] + path[at + 1 :])
        assert not way.goals[0].reached(shorter, shorter.box.bench.to_dict())


def test_repeating_a_print_takes_two_presses_and_no_fewer():
    assert Search(REPEAT).fewest(2, 2) == (("expose", 0),) * 2
    assert Search(REPEAT).fewest(1, 1) is None


def test_the_goal_itself_costs_nothing():
    assert Search(Way(SINGLE, [Goal(SINGLE, STRIP, [])])).fewest(0, 0) == ()


def test_no_shorter_path_is_overlooked():
    """Every shorter row of inputs, each given to a box of its own, misses the goal."""
    path = Search(DRY).fewest(7, 7)
    assert len(path) == 3
    for shorter in product(presses.INPUTS, repeat=len(path) - 1):
        session = replayed(DRY, shorter)
        assert not DRY.goals[0].reached(session, session.box.bench.to_dict()), shorter


def test_a_detour_is_not_counted():
    """Turned too far and back, a filter is chosen just as well, with two more inputs."""
    path = Search(FILTER).fewest(7, 7)
    session = replayed(FILTER, (*path[:-1], ("dial", 1), ("dial", -1), path[-1]))
    assert FILTER.goals[0].reached(session, session.box.bench.to_dict())
    assert ("dial", -1) not in path


def test_the_narrow_search_finds_no_shorter_path_than_the_whole_one():
    for way in (REPEAT, FILTER):
        whole, narrow = Search(way).fewest(7, 7), Search(way).fewest(0, 7)
        assert presses.count(narrow) == presses.count(whole)


def test_going_back_leaves_nothing_of_what_was_tried():
    search = Search(DRY)
    session = search.session
    pairs = presses.contents(session, [])
    before, key = json.dumps(session.box.summary()), presses.key(session)
    for step in presses.INPUTS * 3:
        presses.give(session, step)
    assert presses.key(session) != key
    presses.put_back(pairs)
    assert (json.dumps(session.box.summary()), presses.key(session)) == (before, key)
    assert (session.lamp.lit, session.box.ledger.last()) == (False, 1)


def test_an_input_that_changes_nothing_leads_to_the_same_state():
    session = inputs_on(presses.after_print(SINGLE), *[("dial", -1)] * 9)
    top = presses.key(session)
    assert presses.key(inputs_on(session, ("dial", -1))) == top
    assert presses.key(inputs_on(session, ("dial", 1))) != top


# --- goals


def test_light_is_not_the_goal_if_light_before_it_was_left_out():
    """A strip for pass 2 over pass 1 needs the light of pass 1, which the dial can pass by."""
    (way,) = next(task for task in presses.tasks() if "over pass 1" in task.what).ways
    session = presses.after_print(way.start)
    strip = session.box.work.strip
    strip.pass_index, strip.over_earlier = 1, True
    session.box.work.changed()
    session.box.panel.show("strip")
    bench = session.box.bench.to_dict()
    pairs = presses.contents(session, [])
    honest = (("expose", 0), ("expose", 0), WAIT, ("expose", 0), ("expose", 0))
    assert way.goals[0].reached(inputs_on(session, *honest), bench)
    presses.put_back(pairs)
    inputs_on(session, ("expose", 0), ("dial", 1), ("dial", 1), ("expose", 0))
    assert session.lamp.lit
    assert session.box.run.stage.kind == "cover"
    assert not way.goals[0].reached(session, bench)


def test_what_is_open_or_lit_is_not_done():
    session = presses.after_print(SINGLE)
    goal = Goal(ANY, ANY, ANY)
    bench = session.box.bench.to_dict()
    assert goal.reached(session, bench)
    assert not goal.reached(session, {**bench, "volume": 0})
    presses.give(session, ("press", 0))
    assert session.box.panel.is_open
    assert not goal.reached(session, bench)
    inputs_on(session, ("back", 0), ("expose", 0))
    assert not goal.reached(session, bench)  # a run is kept


def test_what_lies_between():
    for now, start, goal, fits in (
        (5, 4, 6, True), (7, 4, 6, False), ("2", "2", "5", True), ("3", "2", "5", False),
        (True, False, False, False), ([1], [], [2], True), ([1, 2], [1], [1], False),
        (None, None, 3, True), ("new", "old", ANY, False), ({"a": 1}, {"a": 0}, {"a": 2}, True),
    ):  # fmt: skip
        assert presses.lies_between(now, start, goal) is fits, (now, start, goal)
    assert presses.lies_between(True, False, False, (bool,))


def test_the_tasks_begin_as_they_say():
    for task in presses.tasks():
        for way in task.ways:
            assert way.goals
            assert way.start["passes"] in (SINGLE["passes"], PAIR["passes"], presses.MARKED["passes"])
            assert task.most > task.budget


# --- the command


def test_a_missed_budget_fails_with_one_line(capsys):
    assert presses.main([Task("repeat", "2", 2, [REPEAT])]) == 0
    assert capsys.readouterr().err == ""
    assert presses.main([Task("repeat", "2", 2, [REPEAT]), Task("again", "2", 1, [REPEAT])]) == 1
    shown = capsys.readouterr()
    assert shown.err == "Over budget: again: 2, not 1\n"
    assert "MISSED" in shown.out
    assert "EXPOSE x2" in shown.out


def test_two_runs_give_the_same_table(capsys):
    tables = []
    for _ in range(2):
        presses.main([Task("repeat", "2", 2, [REPEAT]), Task("filter", "4", 3, [FILTER])])
        tables.append(capsys.readouterr().out)
    assert tables[0] == tables[1]
    assert "filter" in tables[0]


def test_the_worst_of_several_ways_counts():
    assert presses.counted(Task("both", "5", 5, [REPEAT, FILTER])).path == Search(FILTER).fewest(5, 5)
    nothing = Way(SINGLE, [Goal({}, STRIP, [])])
    count = presses.counted(Task("none", "1", 1, [REPEAT, nothing])._replace(first="1"))
    assert count.shown == f"over {count.task.most}"
    assert not count.kept


def test_a_path_in_words():
    path = (("dial", 1), ("dial", 1), ("press", 0), ("expose", 0), WAIT, ("back", 0))
    assert presses.in_words(path) == "turn right x2, press, EXPOSE, wait, BACK"
    assert presses.count(path) == 5
