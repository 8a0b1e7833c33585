"""The session: a clock, a lamp that counts by itself, and what a reset leaves."""

import json

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from host_sim.box.disks import DirectoryDisk
from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session, Trace, Watcher
from tests.box_model import (
    Listener,
    a_card,
    keys,
    last_record,
    load,
    new_session,
    to_screen,
    until_dark,
    wait,
    wire_line,
)


class Edges(Watcher):
    def __init__(self) -> None:
        self.seen: list[tuple] = []

    def lamp(self, now_ms: int, on: bool) -> None:
        self.seen.append((now_ms, on))

    def reset(self, now_ms: int) -> None:
        self.seen.append((now_ms, "reset"))


class Mute:
    """A box that asks for one light and then does nothing at all, whatever it is told."""

    def __init__(self, box, ms: int) -> None:
        self.out = box.io
        self.ms = ms
        self.told: list[tuple] = []

    def handle(self, event, now_ms, value=0):
        self.told.append((event, value))
        self.out.count = 0
        if event == "expose":
            self.out.put("light", self.ms)
        return self.out

    def next_deadline(self):
        return None


@pytest.mark.parametrize("ms", [1, 20, 10_000, 999_900])
def test_the_lamp_goes_out_by_itself_whatever_the_box_does(ms):
    session = new_session()
    edges = Edges()
    session.watchers.append(edges)
    session.box = Mute(session.box, ms)  # type: ignore[assignment]
    wait(session, 123)
    session.input("expose")
    wait(session, 2_000_000)
    assert edges.seen == [(123, True), (123 + ms, False)]
    assert session.box.told[-1] == ("lamp_end", ms)


def test_the_lamp_goes_out_when_the_plug_is_pulled():
    session = new_session()
    edges = Edges()
    session.watchers.append(edges)
    keys(session, "expose", "expose")
    wait(session, 4000)
    session.reset()
    assert edges.seen == [(0, True), (4000, False), (4000, "reset")]
    wait(session, 100_000)
    assert len(edges.seen) == 3


def test_the_lamp_reports_how_long_it_was_lit():
    session = new_session()
    told = []

    class Told(Watcher):
        def input(self, now_ms, event, value):
            if event == "lamp_end":
                told.append((now_ms, value))

    session.watchers.append(Told())
    keys(session, "expose", "expose")
    wait(session, 3000)
    keys(session, "expose")
    wait(session, 500)
    keys(session, "expose")
    until_dark(session)
    assert told == [(3000, 3000), (3500 + 7000, 7000)]


def test_time_passes_only_when_it_is_let():
    session = new_session()
    keys(session, "expose", "expose", "expose", "expose")
    assert session.now_ms == 0
    session.advance(5)
    session.advance(3)
    assert session.now_ms == 5, "time does not go back"


def test_the_next_thing_to_happen():
    session = new_session()
    assert session.next_ms() == -1
    keys(session, "expose")
    assert session.next_ms() == -1
    keys(session, "expose")
    assert session.next_ms() == 100, "a picture"
    quiet = new_session(panel_ms=0)
    keys(quiet, "expose", "expose")
    assert quiet.next_ms() == 1000, "the first tick"
    quiet.advance(9500)
    assert quiet.next_ms() == 10_000, "the lamp's end"


@settings(max_examples=60, deadline=None)
@given(cuts=st.lists(st.integers(1, 20_000), max_size=12))
def test_how_time_is_cut_changes_nothing(cuts):
    """One advance or many: the same sounds at the same times, the same light, the same pictures."""

    def play(stops: list[int]) -> tuple:
        session = new_session()
        ear, edges = Listener(), Edges()
        session.watchers += [ear, edges]
        load(session, a_card(("face", -60), base_ms=16_000))
        keys(session, "expose", "expose")
        for at_ms in [*sorted(stops), 20_000]:
            session.advance(at_ms)
        return ear.sounds, edges.seen, bytes(session.frame())

    assert play(cuts) == play([])


def test_ticks_are_the_sessions_time_wrapped():
    session = Session(MemoryDisk(), desk_platform(), 100, ticks_ms=(1 << 30) - 50)
    given: list[int] = []
    handle = session.box.handle

    def note(event, now_ms, value=0):
        given.append(now_ms)
        return handle(event, now_ms, value)

    session.box.handle = note  # type: ignore[method-assign]
    session.power_up()
    wait(session, 100)
    keys(session, "back")
    assert given == [(1 << 30) - 50, 50]


@settings(max_examples=60, deadline=None)
@given(
    st.integers(-200, 400),
    st.lists(st.tuples(st.integers(1, 3000), st.booleans()), min_size=1, max_size=12),
)
def test_to_ask_for_the_light_left_is_no_input(lag_ms, spans):
    """It is what the box itself says once it is told the time, and asking changes nothing of the box."""
    session = new_session(panel_ms=0)
    session.box.asked.set_bench({"lag_ms": lag_ms})
    load(session, a_card(("face", -60), base_ms=9000))
    keys(session, "expose", "expose")
    for ms, presses in spans:
        session.advance(session.now_ms + ms)
        if not session.box.in_run:
            break
        before = dict(vars(session.box))
        left_ms = session.left_ms()
        assert vars(session.box) == before
        session.input("tick")
        assert session.box.exposing.left_ms() == left_ms
        if presses:
            keys(session, "expose")


def test_a_reset_keeps_what_was_kept_and_nothing_else():
    session = new_session()
    load(session, a_card())
    session.input(
        "line", wire_line(session.platform, "card.part", {"digest": "x", "of": 2, "part": 0, "packed": "{"})
    )
    work = session.box.work.map.to_dict()
    box = session.box
    session.reset()
    assert session.box is not box
    assert session.box.work.map.to_dict() == work
    assert session.box.shelf.names() == ["harbour"]
    assert session.screen.box is session.box


def test_a_directory_keeps_a_box_from_one_run_to_the_next(tmp_path):
    session = Session(DirectoryDisk(tmp_path / "box"), desk_platform())
    session.power_up()
    load(session, a_card())
    keys(session, "expose", "expose")
    until_dark(session)
    again = Session(DirectoryDisk(tmp_path / "box"), desk_platform())
    again.power_up()
    assert again.box.work.map.to_dict() == a_card()
    assert last_record(again.box)["whole"]
    assert {path.suffix for path in (tmp_path / "box").iterdir()} <= {".0", ".1"}


def test_a_trace_is_a_line_of_json_for_everything():
    lines: list[str] = []
    session = new_session()
    session.watchers.append(Trace(session, lines.append))
    keys(session, "expose", "expose")
    wait(session, 1000)
    session.input("line", wire_line(session.platform, "hello", {}))
    session.reset()
    entries = [json.loads(line) for line in lines]
    assert {"in": "expose", "t": 0, "value": 0} in entries
    assert {"out": "light", "t": 0, "value": 10_000} in entries
    assert {"out": "sound", "t": 1000, "value": "tick"} in entries
    assert {"in": "reset", "t": 1000} in entries
    assert not any(entry.get("in") == "tick" for entry in entries), (
        "ticks are the driver's, not the printer's"
    )
    crc = f"{session.platform.crc32(bytes(session.frame())):08x}"
    assert entries[-1] == {"crc": crc, "out": "screen", "t": 1000}
    (line,) = [entry for entry in entries if entry.get("in") == "line"]
    assert len(line["crc"]) == 8
    assert all(line == json.dumps(json.loads(line), sort_keys=True, separators=(",", ":")) for line in lines)


def test_two_sessions_of_the_same_inputs_leave_the_same_trace():
    def trace() -> list[str]:
        lines: list[str] = []
        session = new_session(ticks_ms=(1 << 30) - 7000)
        session.watchers.append(Trace(session, lines.append))
        load(session, a_card(("face", -40), ("sky", 60)))
        keys(session, "expose", "expose")
        wait(session, 5000)
        keys(session, "expose", "lamp", "lamp")
        wait(session, 5000)
        session.reset()
        keys(session, "press", "expose")
        until_dark(session)
        return lines

    assert trace() == trace()


def test_time_does_not_go_back_to_what_was_due_while_the_lamp_was_put_out():
    """A relay takes its time: a conversion of the light cell that ends meanwhile comes late, not earlier."""
    session = new_session(latency_ms=3)
    to_screen(session, "light_cell")
    times = []

    class Clock(Watcher):
        def input(self, now_ms, event, value):
            times.append((now_ms, event))

    session.watchers.append(Clock())
    session.input("lamp")
    converted_ms = session.next_ms()
    session.advance(converted_ms - 1)
    session.input("lamp")
    session.advance(converted_ms + 10)
    assert (converted_ms + 2, "reading") in times
    assert times == sorted(times, key=lambda own: own[0])
