"""The trays beside the exposures: their clocks, their tones, and that they take nothing from the light."""

import itertools

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from tests.box_model import GuardedDisk, LightMeter, a_card, keys, load, new_session, until_dark, wait
from timing_core.light.plan import CUE_LENGTH_MS
from timing_core.machine.trays import (
    EARLIEST_MS,
    LOST_SHEETS,
    QUIET_MS,
    TONE_MS,
    Sheet,
)
from timing_core.panel.sounds import SOUNDS
from timing_core.refusal import Refusal

WRAP = 1 << 30
TONES = ("tray", "drain", "agitate")
SHORT = (
    ("developer", 20_000, 5000, 0, False),
    ("stop", 5000, 0, 0, False),
    ("fix", 30_000, 10_000, 8000, False),
    ("wash", 9000, 0, 0, False),
)
"""(name, ms, ms to drain, ms between agitations, whether the sheet stays)"""


class Heard:
    """Every sound of a session, with when it came and whether the lamp was lit."""

    def __init__(self, session) -> None:
        self.session = session
        self.sounds: list[tuple[int, str]] = []
        session.watchers.append(self)

    def output(self, now_ms, kind, value) -> None:
        if kind == "sound":
            self.sounds.append((now_ms, value))

    def input(self, now_ms, event, value) -> None:
        pass

    def lamp(self, now_ms, on) -> None:
        pass

    def reset(self, now_ms) -> None:
        pass

    def tones(self) -> list[tuple[int, str]]:
        return [each for each in self.sounds if each[1] in TONES]

    def check_apart(self, by_hand=("start", "hold", "refuse")) -> None:
        """No tone within a second of a cue; none cut off by a tick; at most one a second."""
        for (at_ms, tone), (other_ms, other) in itertools.product(self.tones(), self.sounds):
            if (at_ms, tone) == (other_ms, other):
                continue
            lasts_ms = sum(ms for _, ms in SOUNDS[tone])
            if other == "tick":
                assert not at_ms < other_ms < at_ms + lasts_ms, (at_ms, tone, other_ms)
            elif other_ms >= at_ms and other in by_hand:
                continue  # a press comes when it comes
            elif other_ms >= at_ms:
                assert other_ms - at_ms >= QUIET_MS, (at_ms, tone, other_ms, other)
            else:
                assert at_ms - other_ms >= QUIET_MS, (at_ms, tone, other_ms, other)


def start(session, trays=SHORT) -> int:
    """A sheet begins in the first place that has none; returns which."""
    session.input("tick")  # the box tells the time by its inputs
    at = places(session).index("")
    session.box.trays.start(at, trays)
    return at


def places(session) -> list[str]:
    return [sheet.tray if sheet.trays else "" for sheet in session.box.trays.sheets]


# --- the clocks


def test_a_sheet_goes_from_tray_to_tray_by_itself():
    session = new_session()
    heard = Heard(session)
    start(session)
    began_ms = session.now_ms
    for name, ms, *_ in SHORT:
        assert places(session)[0] == name
        wait(session, ms - 1)
        assert places(session)[0] == name
        wait(session, 1)
    assert places(session) == ["", "", ""]
    assert [(at_ms - began_ms, tone) for at_ms, tone in heard.tones()] == [
        (15_000, "drain"),
        (20_000, "tray"),
        (25_000, "tray"),
        (33_000, "agitate"),
        (41_000, "agitate"),
        (45_000, "drain"),
        (55_000, "tray"),
        (64_000, "tray"),
    ]


def test_no_time_is_lost_from_tray_to_tray_however_late_the_box_is():
    session = new_session()
    start(session)
    sheet = session.box.trays.sheets[0]
    box = session.box
    ticks = (session.now_ms + session.ticks_ms + 20_000 + 5000 + 29_000) % WRAP
    box.handle("tick", ticks)
    assert sheet.tray == "fix"
    assert sheet.left_ms(ticks) == 1000


def test_three_sheets_run_at_once():
    session = new_session()
    for at in range(3):
        assert start(session) == at
        wait(session, 4000)
    assert places(session) == ["developer"] * 3
    wait(session, 9000)
    assert places(session) == ["stop", "developer", "developer"]


def test_a_press_moves_a_sheet_early_but_not_one_that_has_just_come():
    """It says "Press again after 3 s"."""
    session = new_session()
    start(session)
    wait(session, 2999)
    session.input("tick")
    with pytest.raises(Refusal, match="just now"):
        session.box.trays.move(0)
    wait(session, 1)
    session.input("tick")
    session.box.trays.move(0)
    assert places(session)[0] == "stop"
    wait(session, 4999)
    assert places(session)[0] == "stop"
    wait(session, 1)
    assert places(session)[0] == "fix"
    wait(session, EARLIEST_MS)
    for _ in range(2):
        session.input("tick")
        session.box.trays.move(0)
        wait(session, EARLIEST_MS)
    assert places(session)[0] == ""
    session.input("tick")
    session.box.trays.start(0, SHORT)


def test_where_a_sheet_has_just_come_out_none_begins():
    session = new_session()
    start(session, (("fix", 10_000, 0, 0, False),))
    wait(session, 10_000 + EARLIEST_MS - 1)
    with pytest.raises(Refusal, match="just now"):
        start(session)
    assert places(session)[0] == ""
    wait(session, 1)
    start(session)
    assert places(session)[0] == "developer"


def test_first_sight_sets_the_time_from_when_the_sheet_went_in():
    session = new_session()
    start(session, (("developer", 0, 10_000, 0, False), ("stop", 5000, 0, 0, False)))
    sheet = session.box.trays.sheets[0]
    assert session.box.trays.nearest() is None
    wait(session, 12_000)
    session.input("tick")
    sheet.see(72_000, session.box.io.now_ms)
    assert sheet.left_ms(session.box.io.now_ms) == 60_000
    wait(session, 59_999)
    assert sheet.tray == "developer"
    wait(session, 1)
    assert sheet.tray == "stop"


def test_an_image_that_is_never_seen_ends_with_a_tone():
    session = new_session()
    heard = Heard(session)
    start(session, (("developer", 0, 0, 0, False), ("stop", 5000, 0, 0, False)))
    wait(session, 30 * 60_000 - 1)
    assert places(session)[0] == "developer"
    wait(session, 1)
    assert places(session) == ["", "", ""]
    assert [tone for _, tone in heard.tones()] == ["tray"]


any_tray = st.tuples(
    st.just("fix"),
    st.integers(1, 400_000),
    st.integers(0, 60_000),
    st.one_of(st.just(0), st.integers(5000, 60_000)),
    st.just(False),
)


@settings(deadline=None)
@given(st.lists(any_tray, min_size=1, max_size=6), st.integers(0, WRAP - 1), st.lists(st.integers(1, 90_000)))
def test_whatever_the_trays_the_times_add_up(trays, now_ms, steps):
    """The end of each tray is the sum of the times before it, whenever the box looks, and ticks wrap."""
    sheet = Sheet()
    sheet.trays = tuple(trays)
    sheet.enter(0, now_ms)
    whole_ms = sum(tray[1] for tray in trays)
    passed_ms = 0
    for step_ms in [*steps, whole_ms]:
        passed_ms += step_ms
        sheet.take((now_ms + passed_ms) % WRAP)
        ends_ms = list(itertools.accumulate(tray[1] for tray in trays))
        at = sum(end_ms <= passed_ms for end_ms in ends_ms)
        assert sheet.trays == (tuple(trays) if at < len(trays) else ())
        if sheet.trays:
            assert sheet.at == at
            assert sheet.left_ms((now_ms + passed_ms) % WRAP) == ends_ms[at] - passed_ms


STAYS = (("developer", 20_000, 5000, 0, True), ("fix", 9000, 0, 0, False))


def test_in_a_tray_with_a_least_time_a_sheet_stays_until_it_is_moved_and_what_it_is_over_is_counted():
    session = new_session()
    heard = Heard(session)
    start(session, STAYS)
    began_ms = session.now_ms
    sheet = session.box.trays.sheets[0]
    wait(session, 20_000)
    assert (sheet.tray, sheet.is_over) == ("developer", True)
    assert [(at_ms - began_ms, tone) for at_ms, tone in heard.tones()] == [
        (15_000, "drain"),
        (20_000, "tray"),
    ]
    for ms, text in ((0, "+0:00"), (12_999, "+0:12"), (1, "+0:13")):
        wait(session, ms)
        session.input("tick")
        assert sheet.clock_text(session.box.io.now_ms) == text
    assert len(heard.tones()) == 2, "it is told once"
    session.box.trays.move(0)
    assert (sheet.tray, sheet.is_over) == ("fix", False)
    wait(session, 8999)
    assert sheet.tray == "fix"
    wait(session, 1)
    assert places(session)[0] == ""


def test_a_sheet_that_is_forgotten_in_a_least_time_is_taken_out_with_a_tone():
    session = new_session()
    heard = Heard(session)
    start(session, STAYS)
    wait(session, 20_000 + 30 * 60_000 - 1)
    assert places(session)[0] == "developer"
    wait(session, 1)
    assert places(session)[0] == ""
    assert [tone for _, tone in heard.tones()] == ["drain", "tray", "tray"]


def test_the_nearest_end_is_of_a_sheet_that_is_not_over_yet():
    session = new_session()
    trays = session.box.trays
    start(session, STAYS)
    wait(session, 21_000)
    session.input("tick")
    assert trays.nearest() is trays.sheets[0], "if there is no other, what is over"
    start(session, (("wash", 90_000, 0, 0, False),))
    assert trays.nearest() is trays.sheets[1]
    start(session, STAYS)
    assert trays.nearest() is trays.sheets[2]
    wait(session, 20_000)
    session.input("tick")
    assert trays.nearest() is trays.sheets[1]


# --- the tones


def test_each_tone_is_told_by_its_rhythm_and_is_short_enough():
    rhythms = {name: tuple((hertz > 0, ms) for hertz, ms in tones) for name, tones in SOUNDS.items()}
    assert len({rhythms[name] for name in TONES}) == len(TONES)
    for name in TONES:
        assert sum(ms for _, ms in SOUNDS[name]) <= TONE_MS
        assert all(rhythms[name] != rhythms[other] for other in SOUNDS if other not in TONES)
        assert len({hertz for hertz, _ in SOUNDS[name] if hertz}) == 1
    assert CUE_LENGTH_MS < TONE_MS


def test_tones_of_three_sheets_at_once_come_a_second_apart_the_most_urgent_first():
    session = new_session()
    heard = Heard(session)
    for trays in (
        (("a", 20_000, 10_000, 0, False), ("b", 9000, 0, 0, False)),
        (("a", 10_000, 0, 0, False), ("b", 90_000, 0, 0, False)),
        (("a", 90_000, 0, 10_000, False), ("b", 90_000, 0, 0, False)),
    ):
        start(session, trays)
    began_ms = session.now_ms
    wait(session, 15_000)
    assert [(at_ms - began_ms, tone) for at_ms, tone in heard.tones()] == [
        (10_000, "tray"),
        (11_000, "drain"),
        (12_000, "agitate"),
    ]


def test_under_light_a_tone_takes_the_place_of_a_tick_and_keeps_away_from_cues():
    session = new_session()
    load(session, a_card(("face", -60), base_ms=60_000))
    heard = Heard(session)
    keys(session, "expose")
    start(session)
    keys(session, "expose")
    until_dark(session)
    assert len(heard.tones()) >= 5
    heard.check_apart()


def test_a_tone_waits_for_the_end_of_a_light_and_a_second_more():
    session = new_session()
    load(session, a_card(base_ms=4000))
    heard = Heard(session)
    keys(session, "expose")
    start(session, (("a", 10_000, 0, 0, False), ("b", 60_000, 0, 0, False)))
    wait(session, 7000)
    keys(session, "expose")
    until_dark(session)
    end_ms = session.now_ms
    wait(session, 5000)
    assert heard.tones() == [(end_ms + QUIET_MS, "tray")]


def test_a_tone_that_a_press_cuts_off_is_sounded_again():
    session = new_session()
    load(session, a_card(base_ms=20_000))
    heard = Heard(session)
    keys(session, "expose")
    start(session, (("a", 10_000, 0, 0, False),))
    wait(session, 10_100)
    began_ms = session.now_ms
    keys(session, "expose")  # in the middle of the tone, and the last sheet is out
    assert places(session) == ["", "", ""]
    until_dark(session)
    assert [at_ms - began_ms for at_ms, _ in heard.tones()] == [-100, 1000]


def test_in_a_start_delay_no_tone_comes_between_its_pips():
    session = new_session()
    session.box.asked.set_bench({"start_delay_s": 10})
    load(session, a_card(("sky", 120), base_ms=10_000))
    heard = Heard(session)
    keys(session, "expose", "expose")
    until_dark(session)
    keys(session, "expose")
    assert session.box.state == "delaying"
    start(session, (("a", 4000, 0, 0, False), ("b", 90_000, 0, 0, False)))
    wait(session, 20_000)
    assert [tone for _, tone in heard.tones()] == ["tray"]
    heard.check_apart()


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.lists(any_tray, min_size=1, max_size=6).map(tuple), min_size=1, max_size=3),
    st.integers(200, 60_000),
    st.lists(st.tuples(st.sampled_from(("expose", "lamp", "back", "dial", "press")), st.integers(0, 20_000))),
    st.integers(0, WRAP - 1),
)
def test_no_tone_comes_near_a_cue_whatever_is_pressed(sheets, base_ms, presses, ticks_ms):
    session = new_session(ticks_ms=ticks_ms, settle_ms=700)
    load(session, a_card(("face", -20), ("sky", 60), base_ms=base_ms))
    heard = Heard(session)
    meter = LightMeter(session)
    meter.safelight = 1
    session.watchers.append(meter)
    for trays in sheets:
        start(session, trays)
    for key, ms in presses:
        session.input(key, 1 if key == "dial" else 0)
        wait(session, ms)
    heard.check_apart(("start", "hold", "refuse", "fit"))
    assert meter.faults == []


# --- the dark, and the light


def test_nothing_is_written_under_light_and_the_note_goes_when_it_is_dark():
    disk = GuardedDisk()
    session = new_session(disk)
    load(session, a_card(base_ms=40_000))
    keys(session, "expose")
    start(session)
    assert any(name.startswith("sheets.") for name in disk.files)
    keys(session, "expose")
    until_dark(session)
    wait(session, 40_000)
    assert disk.written_while_lit == []
    assert places(session) == ["", "", ""]
    assert not any(name.startswith("sheets.") for name in disk.files)
    assert session.box.next_deadline() is None, "an idle box asks for nothing"


def test_after_a_power_cut_the_box_says_once_that_the_clocks_are_lost():
    session = new_session()
    start(session)
    session.reset()
    assert session.box.message == LOST_SHEETS
    assert places(session) == ["", "", ""]
    wait(session, 10)
    session.reset()
    assert session.box.message == ""


def test_a_full_disk_does_not_stop_the_clocks():
    disk = GuardedDisk()
    session = new_session(disk)
    disk.full = True
    start(session)
    assert places(session)[0] == "developer"
    wait(session, 70_000)
    assert places(session)[0] == ""


def test_a_cut_off_run_comes_before_the_clocks():
    session = new_session()
    load(session, a_card())
    keys(session, "expose")
    start(session)
    keys(session, "expose")
    wait(session, 1000)
    session.reset()
    assert session.box.state == "notice"
    assert session.box.message.startswith("Power was lost.")
    assert session.box.trays.lost


def test_a_picture_comes_each_second_in_the_dark_and_none_for_trays_under_light():
    session = new_session(panel_ms=1000)
    pictures = []

    class Pictures(Heard):
        def output(self, now_ms, kind, value):
            if kind == "screen":
                pictures.append(now_ms)

    Pictures(session)
    start(session, (("wash", 600_000, 0, 0, False),))
    began_ms = session.now_ms
    wait(session, 10_500)
    assert pictures == [began_ms + 1000 * n for n in range(1, 11)]
    keys(session, "lamp")
    del pictures[:]
    lit_ms = session.now_ms
    wait(session, 5000)
    assert pictures == [lit_ms + 1000 * n for n in range(1, 6)]
