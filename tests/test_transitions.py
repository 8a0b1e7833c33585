"""The transition table, checked as data, and every row of it fired by inputs.

The table is the whole behaviour of the box, so what it cannot say is checked here: that no row is dead,
that light is only ever reached through a row that gives it, and that what is not in it changes nothing.
"""

import ast
import random
from collections import deque
from collections.abc import Callable
from pathlib import Path

import pytest

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from tests.box_model import (
    ABOUT_TO_BE_LIT,
    LIT_STATES,
    SITUATIONS,
    a_card,
    a_pass,
    ask,
    load,
    new_session,
    set_row,
    situation,
    snapshot,
    to_row,
    to_screen,
    wait,
)
from timing_core import box as box_module
from timing_core.box import DO, WHEN, Box
from timing_core.light.guided import HEADINGS
from timing_core.machine.machine import NO_ROW
from timing_core.machine.transitions import LIT, STATES, TRANSITIONS, transitions
from timing_core.wire import methods as link_module

ROWS = list(transitions())
NAMES = [name for name, _ in STATES]
CONTROLS = ("expose", "lamp", "back", "dial", "press")
EVENTS = (*CONTROLS, "lamp_end", "tick", "power_up", "count", "end_count", "handover")
CORE = Path(box_module.__file__).parent


# --- the table as data


def test_every_line_of_the_table_is_read():
    lines = [" ".join(line.split()) for line in TRANSITIONS.split("\n") if line and line[0] != "#"]
    assert lines == [
        " ".join([word or "-" for word in row[:5]] + row[5:6]).strip() for row in map(list, ROWS)
    ]


def test_names_in_the_table_are_states_events_and_methods():
    for state, event, when, do, then, _ in ROWS:
        assert state in NAMES
        assert event in EVENTS
        assert then in NAMES or then == "before"
        assert not when or callable(WHEN[when][1])
        assert not do or callable(DO[do][1])
    # And the tables have nothing that no row names.
    assert {row[2] for row in ROWS} - {""} == set(WHEN)
    assert {row[3] for row in ROWS} - {""} == set(DO)


def test_a_control_has_a_word_and_nothing_else_has():
    for state, event, _, _, _, says in ROWS:
        assert bool(says) == (event in CONTROLS), (state, event)


def test_a_thing_done_has_the_same_word_wherever_it_is_done():
    words: dict[str, set[str]] = {}
    for _, _, _, do, _, says in ROWS:
        if do and says:
            words.setdefault(do, set()).add(says)
    assert {do: says for do, says in words.items() if len(says) > 1} == {}


def test_no_row_stands_behind_one_that_always_holds():
    closed = set()
    for state, event, when, _, _, _ in ROWS:
        assert (state, event) not in closed, f"{state} {event} can never get past an earlier row"
        if not when:
            closed.add((state, event))


def _next(state: str) -> set[str]:
    """States that a row leads to; "before" is any state from which the viewing light is lit."""
    found = {then for own, _, _, _, then, _ in ROWS if own == state}
    if "before" in found:
        found |= {own for own, _, _, do, _, _ in ROWS if do == "view"}
    return found - {"before"}


def _reached(start: str) -> set[str]:
    found, todo = {start}, deque([start])
    while todo:
        for then in _next(todo.popleft()) - found:
            found.add(then)
            todo.append(then)
    return found


def test_every_state_is_reached_from_power_up():
    assert _reached("off") == set(NAMES)
    assert "off" not in _reached("browse")


def test_every_state_has_a_way_out_by_back_or_by_itself():
    home = {"off", "browse", "away", "counting"}
    for state in set(NAMES) - home:
        ways = [then for own, event, _, _, then, _ in ROWS if own == state and event in ("back", "lamp_end")]
        assert any(then != state for then in ways), state
    # And BACK or the lamp's end alone, again and again, come home from everywhere.
    for state in set(NAMES) - home:
        found, todo = {state}, [state]
        while todo:
            own = todo.pop()
            for row in ROWS:
                thens = {row[4]} if row[4] != "before" else {"browse"}
                if row[0] == own and row[1] in ("back", "lamp_end"):
                    todo += thens - found
                    found |= thens
        assert "browse" in found, state


def test_contacts_are_counted_from_the_dark_alone_and_do_nothing():
    assert [row[:5] for row in ROWS if row[4] == "counting" and row[0] != "counting"] == [
        ("browse", "count", "", "count", "counting")
    ]
    for _, event, when, do, then, says in [row for row in ROWS if row[0] == "counting"]:
        if event in CONTROLS:
            assert (when, do, then, says) == ("", "", "counting", "counted")
        else:
            # The tool ends it, or has gone: BACK is counted as well.
            assert then == ("away" if event == "handover" else "browse")
    assert ("counting", "tick", "is_forsaken", "end_count", "browse", "") in ROWS
    assert set(CONTROLS) <= {event for state, event, *_ in ROWS if state == "counting"}


# --- light


class _Calls(ast.NodeVisitor):
    """For every function of some sources, by its bare name: the names that it calls on anything, and the
    kinds that it puts out. Functions of one name count as one, so that no call is lost."""

    def __init__(self, *sources: str) -> None:
        self.calls: dict[str, set[str]] = {}
        self.puts: dict[str, set[str]] = {}
        self._in = ""
        for source in sources:
            self.visit(ast.parse(source))

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        outside, self._in = self._in, self._in or node.name  # what is defined inside counts as called
        self.calls.setdefault(node.name, set())
        self.puts.setdefault(node.name, set())
        self.generic_visit(node)
        self._in = outside

    def visit_Call(self, node: ast.Call) -> None:
        if self._in:
            name = node.func.attr if isinstance(node.func, ast.Attribute) else ast.unparse(node.func)
            self.calls[self._in].add(name)
            if name == "put" and node.args and isinstance(node.args[0], ast.Constant):
                self.puts[self._in].add(node.args[0].value)
        self.generic_visit(node)

    def reach(self, *names: str) -> set[str]:
        found, todo = set(names), list(names)
        while todo:
            more = self.calls.get(todo.pop(), set()) - found
            found |= more
            todo += more
        return found


SOURCES = {path.relative_to(CORE).as_posix(): path.read_text() for path in sorted(CORE.rglob("*.py"))}
CORE_CALLS = _Calls(*SOURCES.values())
GIVES_LIGHT = "light"


def test_one_place_in_the_core_gives_light():
    places = [
        (path, name)
        for path, text in SOURCES.items()
        for name, kinds in _Calls(text).puts.items()
        if "light" in kinds
    ]
    assert places == [("machine/lamp.py", GIVES_LIGHT)]
    # And one line of it: no other puts out a kind that only running it could tell, or writes past `put`.
    lines = [line.strip() for text in SOURCES.values() for line in text.split("\n") if '"light"' in line]
    assert lines.count('self.io.put("light", ms)') == 1
    unknown = [
        (path, ast.unparse(node))
        for path, text in SOURCES.items()
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).endswith("io.put")
        and not isinstance(node.args[0], ast.Constant)
    ]
    assert unknown == []


def test_light_is_entered_only_by_rows_that_give_it():
    assert LIT_STATES + ABOUT_TO_BE_LIT == LIT
    assert GIVES_LIGHT in CORE_CALLS.calls
    gives = {do for do, (_, function) in DO.items() if GIVES_LIGHT in CORE_CALLS.reach(function.__name__)}
    assert gives == {"give", "view"}
    for state, event, _, do, then, _ in ROWS:
        if do in gives:
            assert then in ("exposing", "viewing")
            assert state not in LIT_STATES, "a lamp is not struck while it is lit"
            assert event in CONTROLS or (state in ABOUT_TO_BE_LIT and event == "tick"), (
                "only a hand gives light"
            )
        elif then == "arming":
            assert do.startswith("arm")
            assert event in CONTROLS or (state, event) == ("delaying", "tick"), (
                "only a hand closes the contact for light"
            )
        elif then == "delaying":
            assert (event, do) == ("expose", "delay") or (state, event, do) == (then, "tick", "count_delay")
        elif then in LIT:
            assert state in LIT
            assert (
                then == state
                or (then == "stopping" and do.startswith("put_out"))
                or (state, event, do, then) == ("exposing", "lamp_end", "begin_between", "between")
            )
        if state in LIT_STATES and then not in LIT_STATES:
            assert event == "lamp_end", "the box takes the light to be out only when it is told so"
        if event == "handover":
            assert state not in LIT, "the prompt waits until it is dark"


def test_no_message_of_the_wire_leads_to_light():
    handlers = [answer.__name__ for _, _, answer in link_module.METHODS.values()]
    assert set(handlers) <= set(CORE_CALLS.calls)
    reached = CORE_CALLS.reach(*handlers, "take")
    assert GIVES_LIGHT not in reached
    assert "handle" not in reached
    assert "line" not in {row[1] for row in ROWS}


# --- every row is fired, and nothing else happens


class Noting(Session):
    """A session that notes in `fired` every row of the table that fires."""

    fired: set[tuple]

    def _new_box(self) -> Box:
        box = super()._new_box()
        machine = box.machine
        of_number = {}
        for state in NAMES:
            own = [row for row in ROWS if row[0] == state]
            by_event = [
                row for event in dict.fromkeys(row[1] for row in own) for row in own if row[1] == event
            ]
            of_number.update(zip(machine.rows(state), by_event, strict=True))

        def noting(act: Callable) -> Callable:
            def noted(row: int):
                self.fired.add(of_number[row])
                return act(row)

            return noted

        machine.does, machine.tries = noting(machine.does), noting(machine.tries)
        return box


def press_at_the_end(session: Session, key: str) -> None:
    """A key in the very ms in which the lamp goes out by itself, and the key comes first."""
    session.advance(session.lamp.ends_ms - 1)
    session.now_ms += 1
    session.input(key)


def noting(fired: set) -> type[Noting]:
    class Noted(Noting):
        pass

    Noted.fired = fired
    return Noted


def noting_session(fired: set, panel_ms: int, settle_ms: int = 0) -> Session:
    return new_session(panel_ms=panel_ms, settle_ms=settle_ms, make=noting(fired))


def until_dark_alone(session: Session) -> None:
    session.advance(session.lamp.ends_ms)


def until_dark_by_back(session: Session) -> None:
    press_at_the_end(session, "back")


def give_another_strip(session: Session, key: str) -> None:
    """Leave a strip in its middle, set another one, and go on with the one that was left."""
    to_screen(session, "strip")
    session.input("expose")
    session.input("expose")
    session.advance(session.now_ms + 2000)
    session.input("back")
    session.input("back")
    to_screen(session, "strip")
    set_row(session, "Patches", 1)
    session.input("back")
    to_row(session, "Go on")
    session.input("press")
    while session.box.run.is_kept:
        session.input("expose")
        if session.lamp.lit:
            press_at_the_end(session, key)
        session.advance(session.now_ms + 1)


def explore(session: Session, chance: random.Random) -> None:
    """One input of any kind, also such as only bad luck gives."""
    pick = chance.random()
    lamp = session.lamp
    if pick < 0.5:
        session.input(chance.choice(("expose", "expose", "lamp", "back", "press", "pedal")))
    elif pick < 0.65:
        session.input("dial", chance.choice((-7, -1, 1, 1, 2, 7)))
    elif pick < 0.85:
        session.advance(session.now_ms + chance.choice((1, 500, 3000, 20000)))
    elif pick < 0.90 and lamp.lit:
        session.advance(lamp.ends_ms)
    elif pick < 0.95 and lamp.lit:
        press_at_the_end(session, chance.choice(("expose", "back")))
    elif pick < 0.97 and lamp.lit:
        session.input("lamp_end", session._lamp_off())  # the lamp fails
    elif pick > 0.985:
        session.reset()


def test_every_row_fires():
    fired: set[tuple] = set()
    chance = random.Random(120)
    for run in range(45):
        session = noting_session(fired, panel_ms=100 * (run % 2), settle_ms=700 * (run // 3 % 2))
        if run % 3 == 1:
            card = a_card(("sky", 30), base_ms=3000)
            card["passes"].append(a_pass(("door", 60, "00"), base_ms=2000, filter="5"))
            load(session, card)
        elif run % 3 == 2:
            to_screen(session, "strip")
            set_row(session, "Patches", -4)
        for _ in range(400):
            explore(session, chance)
    for screen in ("print", "strip"):
        session = noting_session(fired, panel_ms=0)
        to_screen(session, screen)
        session.input("expose")
        while session.box.state == "ready":
            session.input("expose")
            press_at_the_end(session, "back")
    for key in ("lamp", "lamp", "lamp", "back", "press"):
        session.input(key)  # the strip is in the wash, and its patch is chosen later
    session = noting_session(fired, panel_ms=0)
    for key in ("expose", "expose"):
        session.input(key)
    session.advance(session.now_ms + 2000)
    session.reset(1900)  # a watchdog's reset, after which the light given is known
    session.input("press")
    session = noting_session(fired, panel_ms=0)
    load(session, a_card(("sky", -600), ("door", -600), base_ms=3000))
    session.input("expose")  # the dodges do not fit
    for key in ("back", "dial"):
        give_another_strip(noting_session(fired, panel_ms=100), key)
    for name in SITUATIONS:
        session = situation(name, make=noting(fired))
        if not session.box.lit and session.box.state != "away":
            ask(session, "handover")
    session = situation("counting", make=noting(fired))
    for key in ("expose", "lamp", "back", "dial", "press"):
        session.input(key, 1 if key == "dial" else 0)
    ask(session, "accept.count", on=0)
    ask(session, "accept.count", on=1)
    session.advance(session.now_ms + 60_000)  # the tool has gone
    for settled in ("browse", "edit", "ask", "choose", "notice"):
        session = situation(
            next(n for n in SITUATIONS if situation(n).box.state == settled), make=noting(fired)
        )
        session.box.bench.set("settle_ms", 700)
        session.input("lamp")
        session.input("lamp")
        session.advance(session.now_ms + 800)
    session = noting_session(fired, panel_ms=0)
    load(session, a_card(("sky", 60), base_ms=4000))
    for key in ("expose", "expose"):
        session.input(key)
    session.advance(session.lamp.ends_ms - 50)
    for key in ("back", "expose"):
        session.input(key)  # too little is left to be given
    session.input("expose")
    session.advance(session.lamp.ends_ms - 50)
    for key in ("back", "expose"):
        session.input(key)  # and after it there is no other stage
    session = noting_session(fired, panel_ms=0)
    load(session, a_card(base_ms=4000))
    session.input("expose")
    session.box.bench.set("lag_ms", 2000)
    for key in ("dial", "expose", "back"):
        session.input(key, 1 if key == "dial" else 0)
    for at_the_end in (until_dark_alone, until_dark_by_back):
        session = noting_session(fired, panel_ms=0)
        for key in ("expose", "expose"):
            session.input(key)
        session.advance(session.now_ms + 2000)
        for key in ("back", "back"):
            session.input(key)
        to_screen(session, "print")
        set_row(session, "Base", 1)
        session.input("press")
        session.input("expose")  # and asked about, with the value taken
        session.input("back")
        session.input("back")
        to_row(session, "Go on")
        for key in ("press", "expose"):
            session.input(key)
        at_the_end(session)
    session = noting_session(fired, panel_ms=0)
    to_row(session, "Add a mark")
    session.input("press")
    session.input("press")
    session.input("dial", -6)  # a dodge of a whole stop
    session.input("press")
    to_row(session, "Base")
    session.input("press")
    session.input("dial", -20)
    session.input("expose")  # it does not fit any more
    assert session.box.state == "edit"
    for keys in (("lamp",), ("expose", "expose")):
        session = noting_session(fired, panel_ms=0)
        for key in keys:
            session.input(key)
        session._lamp_off()  # and nobody tells the box
        session.advance(session.now_ms + 301_000)
    for name in SITUATIONS:
        with_faults(situation(name, make=noting(fired)))
    with_a_contact(fired)
    with_a_delay(fired)
    with_tests(fired)
    session = situation("choose", make=noting(fired))
    for key in ("lamp", "dial"):  # it warns, and the first turn puts that away
        session.input(key, 1 if key == "dial" else 0)
    missing = [row for row in ROWS if row not in fired]
    assert missing == [], "\n".join(map(str, missing))


def with_faults(session: Session) -> None:
    """What the keys do in the dark while the lamp output is on unasked."""
    if not session.box.lit:
        session.box.watch.has_sense = True
        session.spoil(is_shorted=True)
        session.advance(session.now_ms + 1000)
        for key in ("lamp", "expose", "press"):
            session.input(key)


def with_a_contact(fired: set) -> None:
    """Light from every state while a second contact is open, put off and given, and lost."""
    names = {situation(name).box.state: name for name in SITUATIONS}
    for state in ("browse", "edit", "ready", "held", "ask", "choose", "notice"):
        for key in ("expose", "lamp"):
            for then in ("expose", "lamp", "back", "", "fails", "unseen"):
                session = situation(names[state], make=noting(fired))
                session.box.watch.has_contact = session.box.watch.has_sense = True
                session.box.lamp.paper_out = False
                session.advance(session.now_ms + 1000)
                session.spoil(is_apart=then == "fails")
                session.input(key)
                if then in ("expose", "lamp", "back"):
                    session.input(then)
                session.advance(session.now_ms + 200)
                session.spoil(is_cut=then == "unseen")
                session.advance(session.now_ms + 200)


def with_a_delay(fired: set) -> None:
    """A start delay ended by each key, where all is well, and where the light cannot be given any more."""
    for key in ("expose", "lamp", "back"):
        situation("delaying the rest of a burn", make=noting(fired)).input(key)
    for spoils in ("", "contact", "live", "live, long known", "back"):
        session = situation("delaying a burn", make=noting(fired))
        wait(session, 4990)
        watch = session.box.watch
        watch.has_sense = spoils.startswith("live")
        watch.has_contact = spoils == "contact"
        session.spoil(is_shorted=watch.has_sense)
        if spoils == "live, long known":
            wait(session, 9)
            watch._changed_ms -= 1000
        if spoils == "back":
            session.input("back_down")
        wait(session, 500)


def with_tests(fired: set) -> None:
    """Guided tests: each key between two strikes and in a wait; a last light that BACK puts out as it ends;
    and what may have changed between two strikes."""
    situation("edit a test's filter", make=noting(fired)).input("expose")
    for name, events in (
        ("between two pulses", ("expose", "back")),
        ("holding after a pulse", ("expose",)),
        ("waiting", ("expose", "back")),
    ):
        for event in events:
            situation(name, make=noting(fired)).input(event)
    for key in ("lag", "paper"):
        session = noting_session(fired, panel_ms=0)
        to_screen(session, "tests")
        to_row(session, HEADINGS[key])
        session.input("press")
        session.input("expose")
        while session.box.state == "ready":
            session.input("expose")
            while session.box.state == "between" or (session.lamp.lit and session.box.run.stage.pulse_ms):
                session.advance(session.next_ms())
            if session.lamp.lit:
                press_at_the_end(session, "back")
    for spoils in ("contact", "live", "live, long known", "back", "news"):
        session = situation("between two pulses", make=noting(fired))
        wait(session, session.box.guided.is_between() - 10)
        watch = session.box.watch
        watch.has_sense = spoils.startswith("live")
        watch.has_contact = spoils == "contact"
        session.spoil(is_shorted=watch.has_sense)
        if spoils == "live, long known":
            wait(session, 9)
            watch._changed_ms -= 1000
        if spoils == "back":
            session.input("back_down")
        if spoils == "news":
            watch.news = 1
        wait(session, 4000)


def test_the_situations_stand_in_every_state():
    assert {situation(name).box.state for name in SITUATIONS} == set(NAMES) - {"off"}


@pytest.mark.parametrize("name", SITUATIONS)
def test_an_event_without_a_row_changes_nothing(name):
    session = situation(name)
    box = session.box
    for event in (*EVENTS, "pedal"):
        own = "expose" if event == "pedal" else event
        if box.machine.row(own) != NO_ROW:
            continue
        before = snapshot(session)
        for value in (0, 1, -3, 10**6):
            out = box.handle(event, session.now_ms, value)
            assert out.count == 0, (event, value, out.kind[: out.count])
        assert snapshot(session) == before, event


@pytest.mark.parametrize("name", SITUATIONS)
def test_asking_what_a_control_will_do_changes_nothing(name):
    session = situation(name)
    before = snapshot(session)
    for event in EVENTS:
        session.box.machine.row(event)
        session.box.machine.says(event)
    assert snapshot(session) == before


def test_asking_before_power_up_reads_nothing_that_is_kept():
    disk = situation("held").disk
    session = Session(disk, desk_platform(), 100)
    before = snapshot(session)
    assert session.box.machine.row("power_up") != NO_ROW
    assert snapshot(session) == before
    session.power_up()
    assert session.box.state == "notice"


def test_before_power_up_nothing_is_taken():
    session = Session(MemoryDisk(), desk_platform(), 100)
    for event in (*CONTROLS, "pedal", "tick", "lamp_end"):
        assert session.box.handle(event, 0, 1).count == 0
    assert session.box.state == "off"
    assert session.box.next_deadline() is None
