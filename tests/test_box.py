"""A printer's evening at the box, told in presses: what is heard, what the light does, what is kept.

Each test is a short session. Times are those of the map worked out by hand or from a published example;
what the paper gets, area by area, is measured in `test_ideal_hands`, and every order of inputs is tried in
`test_box_laws`.
"""

import json

import hypothesis.strategies as st
import pytest
from hypothesis import event, given, settings

from host_sim.box.script import Player
from lampblack.cards import card_file
from tests.box_model import (
    GuardedDisk,
    LightMeter,
    Listener,
    a_card,
    a_pass,
    ask,
    keys,
    last_record,
    load,
    new_session,
    push,
    set_row,
    situation,
    snapshot,
    to_row,
    to_screen,
    together,
    turn_slowly,
    undo,
    until_dark,
    wait,
)
from timing_core.light.plan import BOTH, CLOSES, COVER, CUE_LENGTH_MS, FRESH, OPENS
from timing_core.light.printing_map import PrintingMap
from timing_core.machine.exposing import kept_text
from timing_core.machine.lamp import TOO_EARLY
from timing_core.panel.listen_screen import SOUND_NAMES
from timing_core.panel.sounds import SOUNDS


class Evening:
    """A session with somebody listening and a meter on the easel."""

    def __init__(
        self, card: dict | None = None, disk: GuardedDisk | None = None, latency_ms: int = 0, **bench
    ) -> None:
        self.session = new_session(disk, latency_ms=latency_ms)
        self.session.box.asked.set_bench(bench)
        self.ear, self.meter = Listener(), LightMeter(self.session)
        self.meter.safelight = 1
        self.session.watchers += [self.ear, self.meter]
        if card:
            load(self.session, card)
            self.ear.sounds.clear()

    @property
    def box(self):
        return self.session.box

    def play(self, script: str) -> None:
        Player(self.session).play(script)

    def heard(self, *but: str) -> list[str]:
        """The sounds since the last time, without those named."""
        sounds = [sound for _, sound in self.ear.sounds if sound not in but]
        self.ear.sounds.clear()
        return sounds

    def heard_at(self, start_ms: int) -> list[tuple[int, str]]:
        sounds = [(at_ms - start_ms, sound) for at_ms, sound in self.ear.sounds]
        self.ear.sounds.clear()
        return sounds

    def light_of_a_stage(self) -> int:
        """Press EXPOSE, wait until dark: ms of light that gave."""
        self.meter.anew()
        self.session.input("expose")
        until_dark(self.session)
        return self.meter.light_ms


# --- listening


def two_dodges(**more) -> dict:
    return a_card(("face", -60), ("hand", -40), base_ms=16_000, **more)


# A dodge of half a stop takes 16 s (1 - 2^-1/2) = 4.686 s, one of a third 16 s (1 - 2^-1/3) = 3.301 s;
# each window opens two seconds of lead-in after what was before it.
FACE, HAND = (2000, 6686), (8686, 11_987)


def expected_cues() -> list[tuple[int, str]]:
    cues = []
    for (open_ms, close_ms), opens, closes in ((FACE, "open", "close"), (HAND, "open2", "close2")):
        for edge_ms, sound in ((open_ms, opens), (close_ms, closes)):
            cues += [(edge_ms - lead_ms, "pip") for lead_ms in (1500, 1000, 500)] + [(edge_ms, sound)]
    return cues


def test_cues_lead_the_hands_and_the_seconds_tick_between():
    evening = Evening(two_dodges())
    evening.play("expose\n+1 expose")
    start_ms = evening.session.now_ms
    until_dark(evening.session)
    cues = expected_cues()
    # A cue stands for the tick that would cut it off: on a full second, as the pip at 1 s and the opening at
    # 2 s, and just before one, as the pip at 10.987 s and the second shade out at 11.987 s.
    lasts = {sound: sum(ms for _, ms in SOUNDS[sound]) for _, sound in cues}
    cut = {s for s in range(1, 16) for at_ms, sound in cues if at_ms <= s * 1000 < at_ms + lasts[sound]}
    assert {1, 2, 11, 12} <= cut
    ticks = [(s * 1000, "tick") for s in range(1, 16) if s not in cut]
    assert evening.heard_at(start_ms) == sorted([(0, "start"), *cues, *ticks, (16_000, "end")])


@pytest.mark.parametrize("lag_ms", [-90, 0, 150])
def test_cues_fall_on_the_light_and_not_on_the_lamp(lag_ms):
    # The hands follow the light on the paper, which comes a lag later than the lamp's time.
    evening = Evening(two_dodges(), lag_ms=lag_ms)
    evening.play("expose\n+1 expose")
    start_ms = evening.session.now_ms
    until_dark(evening.session)
    assert evening.session.now_ms - start_ms == 16_000 + lag_ms
    heard = [
        (at_ms - lag_ms, sound) for at_ms, sound in evening.heard_at(start_ms) if sound in OPENS + CLOSES
    ]
    assert heard == [(FACE[0], "open"), (FACE[1], "close"), (HAND[0], "open2"), (HAND[1], "close2")]


def test_the_shades_of_a_base_take_the_cues_in_turn_and_each_base_begins_anew():
    card = a_card(("sky", -12), ("face", -12), ("hand", -12), base_ms=16_000)
    card["passes"].append(a_pass(("door", -12), filter="5"))
    evening = Evening(card)
    evening.play("expose\nexpose\nwait until dark\n+1 expose\n+1 expose\nwait until browse")
    cues = [sound for sound in evening.heard() if sound in OPENS + CLOSES]
    assert cues == ["open", "close", "open2", "close2", "open", "close", "open", "close"]
    # What tells the shades apart is heard from the first tone on.
    assert len({SOUNDS[sound][0] for sound in OPENS + CLOSES}) == 4


def test_a_cue_is_a_fifth_up_or_down_and_as_long_as_it_is_said_to_be():
    """The second shade's an octave lower, that of both in three tones; 10 ms before the next sound."""
    tones = {sound: [hertz for hertz, _ in SOUNDS[sound]] for sound in OPENS + CLOSES + BOTH}
    for opens, closes in zip(OPENS, CLOSES, strict=True):
        low, high = tones[opens]
        assert 2 * high == 3 * low
        assert tones[closes] == [high, low]
    assert [2 * hertz for hertz in tones[OPENS[1]]] == tones[OPENS[0]]
    for sound, by in zip(BOTH, (1, -1), strict=True):
        first, second, third = tones[sound][::by]
        assert (2 * second, 2 * third) == (3 * first, 3 * second)
    for sound in tones:
        assert [ms for _, ms in SOUNDS[sound][:-1]] == [80] * (len(SOUNDS[sound]) - 1)
        assert sum(ms for _, ms in SOUNDS[sound]) == CUE_LENGTH_MS - 10


def test_the_last_second_has_no_tick_but_the_end():
    evening = Evening(a_card(base_ms=3000))
    evening.play("expose\nexpose\nwait until browse")
    assert evening.heard() == ["start", "tick", "tick", "end"]


def test_the_ear_is_told_when_a_filter_is_next():
    card = a_card(("sky", 60), base_ms=2000)
    card["passes"].append(a_pass(base_ms=2000, filter="5"))
    evening = Evening(card)
    evening.play("expose\nexpose\nwait until dark")
    assert evening.heard("tick") == ["start", "end"]
    evening.play("expose\nwait until dark")
    assert evening.heard("tick") == ["start", "fit"]
    evening.play("expose")
    assert evening.heard() == [], "a filter is fitted in silence"
    evening.play("expose\nwait until dark")
    assert evening.heard("tick") == ["start", "end"]


# --- a shade in each hand


def test_two_dodges_are_given_together_at_the_panel():
    evening = Evening(a_card(("face", -60), ("hand", -60), base_ms=8000))
    session, box = evening.session, evening.box
    keys(session, "back", "press", "expose")
    assert box.message == (
        "Dodges do not fit in pass 1: with lead-ins 8.7 s, the base has 8.0 s."
        " Save 0.7 s, or give two together."
    )
    to_row(session, "  with face")
    assert box.panel.value(box.panel.row()) == "no"
    session.input("press")
    assert box.panel.value(box.panel.row()) == "yes", "the other one is proposed"
    session.input("press")
    assert [mark.with_previous for mark in box.work.map.passes[0].marks] == [False, True]
    evening.ear.sounds.clear()
    keys(session, "expose", "expose")
    until_dark(session)
    assert evening.heard("tick", "pip") == ["start", "open_both", "close_both", "end"]
    undo(session)
    assert box.message == "Undone: hand with face: no."
    assert not any(mark.with_previous for mark in box.work.map.passes[0].marks)


def rows_with(box) -> list[str]:
    return [row.label for row in box.panel.rows() if row.key == "with"]


def test_it_is_offered_only_where_there_is_a_dodge_before():
    card = a_card(("sky", 40), ("face", -60), ("wall", 0), ("hand", -60), base_ms=16_000)
    card["passes"].append(a_pass(("hand", -30), base_ms=16_000))
    evening = Evening(card)
    to_screen(evening.session, "print")
    assert rows_with(evening.box) == ["  with face"]
    set_row(evening.session, "Burn sky", -100)
    assert rows_with(evening.box) == ["  with sky", "  with face"]


def test_a_mark_that_is_turned_through_nought_and_back_stays_with_the_other():
    card = together(a_card(("face", -60), ("hand", -60), base_ms=8000))
    evening = Evening(card)
    session, box = evening.session, evening.box
    to_screen(session, "print")
    for label in ("Dodge hand", "Dodge face"):
        to_row(session, label)
        session.input("press")
        for detents in (8, -8):
            wait(session, 2000)  # turned slowly
            session.input("dial", detents)
            assert PrintingMap.from_dict(box.work.map.to_dict()).text() == box.work.map.text()
        session.input("press")
        assert box.work.map.to_dict() == card
    # Taken as a burn it keeps what it was for when it is a dodge again, also with another before it.
    wait(session, 2000)
    set_row(session, "Dodge hand", 8)
    assert rows_with(box) == []
    wait(session, 2000)
    set_row(session, "Burn hand", -8)
    assert box.work.map.to_dict() == card
    to_row(session, "Remove mark")
    keys(session, "press")
    session.input("dial", 1)
    keys(session, "press")
    assert rows_with(box) == []
    assert [stage.light_ms for stage in box.plan()] == [0, 8000]
    undo(session)
    assert box.work.map.to_dict() == card


changes = st.lists(
    st.tuples(
        st.sampled_from(("mark", "mark", "with", "through", "add", "remove", "passes", "base")),
        st.integers(0, 7),
        st.integers(-12, 12),
    ),
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(changes)
def test_a_map_made_at_the_panel_is_a_card_that_box_and_pc_take_and_undo_takes_back(walk):
    session = new_session(panel_ms=0)
    box = session.box
    box.asked.set_bench({"settle_ms": 0})
    load(session, a_card(("face", -60), ("hand", -40), ("sky", 40, "00"), base_ms=8000))
    to_screen(session, "print")
    texts = [box.work.map.text()]
    for key, nth, detents in walk:
        at = [number for number, row in enumerate(box.panel.rows()) if row.key == key]
        if not at:
            continue
        session.input("dial", -1000)
        session.input("dial", at[nth % len(at)])
        session.input("press")
        session.input("dial", detents)
        while box.state == "edit":
            session.input("press")
        text, card = box.work.map.text(), box.work.map.to_dict()
        assert PrintingMap.from_dict(json.loads(text)).text() == text
        assert card_file.read(card_file.dump(card)) == card
        box.plan()
        if text != texts[-1]:
            texts.append(text)
    event(f"with: {sum(text.count(b'with_previous') > 0 for text in texts)}")
    while len(box.panel.undo) and len(texts) > 1:
        assert box.work.map.text() == texts.pop()
        undo(session)
    assert box.work.map.text() == texts[-1]


# --- holding and stopping


def test_hold_and_go_on():
    evening = Evening(two_dodges(), lag_ms=150)
    box = evening.box
    evening.play("expose\nexpose\n+4.15 expose")
    assert (box.state, box.exposing.left_ms(), box.machine.says("expose")) == ("held", 12_000, "give 12.0 s")
    assert evening.heard("tick", "pip") == ["start", "open", "hold"]
    wait(evening.session, 60_000)
    assert evening.heard() == [], "held is silent"
    evening.play("expose\n+2 pedal\n+1 pedal")
    # Each strike costs its lag again: 2 s of lamp gave 1.85 s of light.
    assert evening.session.lamp.ends_ms - evening.session.lamp.lit_ms == 12_000 - 1850 + 150
    evening.play("wait until browse")
    assert evening.heard("tick", "pip", "start", "hold") == ["close", "open2", "close2", "end"]
    assert (evening.meter.light_ms, evening.meter.strikes) == (16_000, 3)
    assert last_record(box)["stages"][0]["strikes"] == 3


def test_a_hold_inside_a_window_does_not_move_its_edges():
    evening = Evening(two_dodges())
    evening.play("expose\nexpose\n+3 expose\n+10 expose")
    start_ms = evening.session.now_ms
    until_dark(evening.session)
    heard = [(at_ms + 3000, sound) for at_ms, sound in evening.heard_at(start_ms) if sound in OPENS + CLOSES]
    assert heard[-3:] == [(FACE[1], "close"), (HAND[0], "open2"), (HAND[1], "close2")]


def test_back_puts_out_at_once_and_then_leaves_with_the_run_kept():
    evening = Evening(a_card(("sky", 60), base_ms=16_000))
    session, box = evening.session, evening.box
    evening.play("expose\nexpose\n+5 back")
    assert not session.lamp.lit
    assert (box.state, box.exposing.left_ms(), box.machine.says("expose")) == ("held", 11_000, "give 11.0 s")
    evening.play("back")
    assert (box.state, box.panel.screen.key, box.panel.row().label) == ("browse", "screens", "Go on")
    assert box.panel.value(box.panel.row()) == "Base, pass 1  11.0 s"
    evening.play("back\nback\nback")
    assert box.run.is_kept, "however often"
    evening.play("press")
    assert (box.state, box.exposing.left_ms()) == ("held", 11_000)
    assert box.message == "", "what the hands need is not hidden"
    evening.play("expose\n+1 back\nback")
    to_row(session, "End this run")
    evening.play("press")
    assert (box.state, box.message) == ("browse", "Ended here. What was given is in the ledger.")
    assert not box.run.is_kept
    record = last_record(box)
    assert (record["whole"], record["map"]["name"]) == (False, "harbour")
    (stage,) = record["stages"]
    assert (stage["stage"], stage["light_ms"], stage["given_ms"]) == ("Base, pass 1", 16_000, 6000)


def test_a_run_without_light_gives_way_to_the_next_and_writes_nothing_down():
    evening = Evening(two_dodges())
    session, box = evening.session, evening.box
    evening.play("expose\nback")
    assert box.panel.row().label == "Go on", "it is kept all the same"
    to_screen(session, "print")
    evening.play("expose")
    assert box.state == "ready"
    evening.play("back")
    to_row(session, "End this run")
    evening.play("press")
    assert box.message == "Ended. No light was given."
    assert box.ledger.last() == 0


def test_a_run_that_is_kept_is_given_as_it_was_begun_whatever_is_changed_meanwhile():
    card = a_card(("sky", 120), base_ms=6000)
    evening = Evening(card)
    session, box = evening.session, evening.box
    evening.play("expose\nexpose\n+2 back\nback")
    to_screen(session, "print")
    set_row(session, "Base", 6)
    to_row(session, "New print")
    evening.play("press\nback")
    to_row(session, "Go on")
    evening.play("press")
    assert evening.light_of_a_stage() == 4000
    assert evening.light_of_a_stage() == 6000
    record = last_record(box)
    assert record["map"] == card, "the map as it was given, and not the one at work"
    assert record["whole"]


@pytest.mark.parametrize("label", ["Dry-down", "Keep on shelf"])
def test_what_is_taken_on_the_way_does_not_hide_the_question(label):
    evening = Evening(two_dodges())
    evening.play("expose\nexpose\n+3 back\nback")
    to_screen(evening.session, "print")
    to_row(evening.session, label)
    evening.play("press\nexpose")
    assert evening.box.state == "ask"
    assert evening.box.message == "", "the question is drawn where there is no message"
    assert evening.box.panel.undo.newest.of == label


def test_another_run_asks_first_and_ends_the_one_that_is_kept_only_when_told_to():
    evening = Evening(a_card(("sky", 60), base_ms=16_000))
    session, box = evening.session, evening.box
    evening.play("expose\nexpose\n+5 back\nback")
    to_screen(session, "print")
    assert box.machine.says("expose") == "another run?"
    evening.play("expose")
    assert box.state == "ask"
    kept = "A run is kept. Base, pass 1 has 11.0 s to come. End it, and begin this one?"
    assert kept_text(box.exposing) == kept
    assert {control: box.machine.says(control) for control in ("expose", "back", "press")} == {
        "expose": "",
        "back": "keep it",
        "press": "end it",
    }
    evening.play("expose\nexpose\npedal")
    assert (box.state, box.run.given_ms) == ("ask", 5000), "EXPOSE does nothing here"
    evening.play("back")
    assert (box.state, box.run.is_kept, box.run.given_ms) == ("browse", True, 5000)
    evening.play("expose\npress")
    assert (box.state, box.run.given_ms) == ("ready", 0)
    assert last_record(box)["stages"][0]["given_ms"] == 5000


# --- the settling time


def test_a_press_meant_to_hold_does_not_light_the_next_stage():
    evening = Evening(a_card(("sky", 60), base_ms=4000), settle_ms=700)
    session, box = evening.session, evening.box
    evening.play("+1 expose\n+1 expose\nwait until dark")
    evening.heard()
    evening.play("+0.06 expose")
    assert (box.state, session.lamp.lit) == ("ready", False)
    assert evening.heard() == ["refuse"]
    assert box.message == TOO_EARLY
    assert box.machine.says("expose") == "wait"
    evening.play("+0.639 pedal")
    assert not session.lamp.lit
    evening.play("+0.001 pedal")
    assert session.lamp.lit, "700 ms after the light had ended"


@pytest.mark.parametrize("settle_ms", [0, 250, 700, 2000])
def test_a_double_tap_on_print_lights_nothing(settle_ms):
    evening = Evening(a_card(base_ms=4000), settle_ms=settle_ms)
    evening.play("+1 expose\n+0.12 expose")
    assert evening.session.lamp.lit == (settle_ms == 0)
    wait(evening.session, settle_ms)
    assert evening.box.message == "", "and the screen shows the stage again by itself"
    if settle_ms:
        evening.play("expose")
    assert evening.session.lamp.lit


def test_every_light_and_every_change_of_hands_is_followed_by_the_settling_time():
    card = a_card(base_ms=4000)
    card["passes"].append(a_pass(base_ms=2000, filter="5"))
    evening = Evening(card, settle_ms=700)
    session, box = evening.session, evening.box

    def is_deaf(*keys_: str) -> None:
        """None of these does anything for 699 ms, and the state stays."""
        state = box.state
        for key in keys_:
            session.input(key)
            assert (box.state, session.lamp.lit) == (state, False), key
        wait(session, 699)
        session.input(keys_[0])
        assert (box.state, session.lamp.lit) == (state, False)
        wait(session, 1)

    evening.play("+1 lamp\n+1 lamp")
    is_deaf("lamp", "expose", "pedal")  # the viewing light has just gone out
    evening.play("expose")
    is_deaf("expose", "pedal", "lamp")  # a run has begun
    evening.play("expose\n+1 expose")
    is_deaf("expose", "pedal", "lamp")  # held
    evening.play("lamp")
    is_deaf("lamp", "expose")  # LAMP has warned
    evening.play("lamp")
    assert session.lamp.lit
    evening.play("+1 back\n+1 expose\nwait until dark")
    assert box.summary()["name"] == "Fit filter 5"
    is_deaf("expose", "lamp")  # the base has ended
    evening.play("expose")
    is_deaf("expose", "pedal")  # the filter is confirmed
    evening.play("expose\nwait until dark")
    is_deaf("expose", "lamp")  # the print is done
    evening.play("expose")
    assert box.state == "ready"


def test_after_a_reset_a_press_meant_for_what_was_cut_off_does_nothing():
    evening = Evening(a_card(base_ms=4000), settle_ms=700)
    evening.play("+1 expose\n+1 expose\n+1 reset\n+0.1 expose\nlamp")
    assert not evening.session.lamp.lit
    evening.play("+0.6 lamp\n+0.7 lamp")
    assert evening.session.lamp.lit


def test_a_press_that_puts_out_always_works():
    evening = Evening(a_card(base_ms=4000), settle_ms=2000)
    session = evening.session
    for key in ("expose", "pedal", "back"):
        evening.play("+3 expose" if evening.box.state == "browse" else "+3 dial 0")
        evening.play(f"+3 expose\n+0.001 {key}")
        assert not session.lamp.lit, key
    evening.play("+3 back\n+3 lamp\n+3 lamp\n+0.001 lamp")
    assert not session.lamp.lit


def test_a_rest_too_short_to_give_later_runs_out_by_itself():
    evening = Evening(a_card(base_ms=5000), least_ms=400)
    box = evening.box
    # 10 ms of margin: the lamp goes out a little after the press.
    evening.play("expose\nexpose\n+4.591 expose")
    assert (box.state, box.machine.says("expose")) == ("exposing", "wait")
    evening.play("wait until browse")
    assert (evening.meter.light_ms, evening.meter.strikes) == (5000, 1)
    evening.meter.anew()
    evening.play("expose\nexpose\n+4.59 expose")
    assert (box.state, box.exposing.left_ms()) == ("held", 410)
    evening.play("expose\nwait until browse")
    assert (evening.meter.light_ms, evening.meter.strikes) == (5000, 2)


def test_a_rest_that_back_leaves_too_short_is_left_and_the_next_stage_is_next():
    evening = Evening(a_card(("sky", 60), base_ms=8000))
    box = evening.box
    evening.play("expose\nexpose\n+7.9 back")
    assert (box.state, box.machine.says("expose")) == ("held", "leave the rest")
    evening.play("expose")
    assert (box.state, box.summary()["name"]) == ("ready", "Burn sky")
    assert evening.light_of_a_stage() == 3314
    record = last_record(box)
    assert [stage["given_ms"] for stage in record["stages"]] == [7900, 3314]
    assert not record["whole"]
    # In the last stage there is nothing to go on to.
    evening.play("expose\nexpose\nwait until dark\nexpose\n+3.3 back\nexpose")
    assert (box.state, box.message) == (
        "held",
        "The rest is too short: 14 ms of light, and this lamp needs 250 ms. Press BACK and end this run.",
    )


@pytest.mark.parametrize("latency_ms", [0, 1, 3, 5, 10])
def test_what_a_hold_leaves_can_always_be_given(latency_ms):
    # The lamp falls some ms after the press; measured 4.6 ms at the most on the emulated board.
    for press_ms in range(4585, 4602):
        evening = Evening(a_card(base_ms=5000), latency_ms=latency_ms, least_ms=400)
        evening.play("expose\nexpose")
        wait(evening.session, press_ms)
        evening.play("expose")
        if evening.box.state == "held":
            evening.play("expose")
            assert evening.box.state == "exposing", (press_ms, evening.box.message)
        evening.play("wait until browse")
        assert evening.meter.light_ms == 5000


@pytest.mark.parametrize(
    ("lag_ms", "least_ms", "light_ms"),
    [(0, 0, 250), (129, 0, 387), (-60, 0, 250), (129, 120, 120), (-500, 20, 520), (60, 0, 250), (84, 0, 252)],
)
def test_the_shortest_light_is_light_and_not_strike(lag_ms, least_ms, light_ms):
    # With a lag of 129 ms a burn of 1 ms passed once, and a tungsten lamp gave a quarter of a stop too much.
    for base_ms in (light_ms - 1, light_ms):
        evening = Evening(a_card(base_ms=base_ms), lag_ms=lag_ms, least_ms=least_ms)
        evening.play("expose\nexpose")
        assert evening.session.lamp.lit == (base_ms == light_ms)
        if base_ms < light_ms:
            assert evening.box.message == (
                f"Base, pass 1 is too short: {base_ms} ms of light, and this lamp needs {light_ms} ms. "
                "Give it more, or stop down."
            )
        else:
            assert evening.session.lamp.ends_ms - evening.session.lamp.lit_ms == light_ms + lag_ms


def test_a_hold_within_the_lag_gives_nothing_and_takes_nothing():
    evening = Evening(a_card(base_ms=5000), lag_ms=200)
    evening.play("expose\nexpose\n+0.15 expose")
    assert (evening.box.state, evening.box.exposing.left_ms()) == ("held", 5000)
    evening.play("expose\nwait until browse")
    assert evening.meter.light_ms == 5000


def test_a_stage_can_be_given_again_or_passed_over():
    evening = Evening(a_card(("sky", 60), ("sea", 60), base_ms=4000))
    box = evening.box
    evening.play("expose\nexpose\nwait until dark\ndial -1\nexpose\nwait until dark\ndial 1")
    assert box.summary()["name"] == "Burn sea"
    evening.play("expose\nwait until browse")
    record = last_record(box)
    assert [stage["stage"] for stage in record["stages"]] == ["Base, pass 1", "Base, pass 1", "Burn sea"]
    assert not record["whole"]


# --- viewing light and safelight


def test_viewing_light_goes_out_at_its_limit():
    evening = Evening(viewing_limit_s=30)
    evening.play("lamp")
    assert evening.session.lamp.lit
    wait(evening.session, 29_999)
    assert evening.session.lamp.lit
    wait(evening.session, 1)
    assert not evening.session.lamp.lit
    assert (evening.box.state, evening.box.message) == ("browse", "Viewing light has reached its limit.")
    assert evening.heard() == ["end"]
    evening.play("lamp\n+5 lamp")
    assert not evening.session.lamp.lit
    evening.play("lamp\n+5 back")
    assert not evening.session.lamp.lit
    assert evening.box.message == ""


def test_viewing_light_returns_to_what_was_under_way():
    evening = Evening(two_dodges())
    box = evening.box
    to_row(evening.session, "Base")
    evening.play("press\ndial 2\nlamp\n+3 lamp")
    assert box.state == "edit"
    evening.play("back\nexpose\nlamp\nlamp\n+3 lamp")
    assert (box.state, box.exposing.left_ms()) == ("ready", 16_000)


@pytest.mark.parametrize("label", ["Dry-down", "Keep on shelf"])
def test_expose_on_an_open_value_leaves_no_message_over_the_stage(label):
    session = new_session()
    load(session, a_card(base_ms=8000))
    to_row(session, label)
    session.input("press")
    session.input("expose")
    assert (session.box.state, session.box.message) == ("ready", "")


def test_a_run_that_is_gone_on_with_has_its_paper_in_the_easel_again():
    """On another screen the viewing light was on, and the paper was taken to be put away."""
    session = new_session()
    load(session, a_card(("sky", 60), base_ms=8000))
    keys(session, "expose", "expose")
    until_dark(session)
    keys(session, "back", "lamp", "lamp")
    assert session.lamp.lit
    keys(session, "lamp")
    to_row(session, "Go on")
    keys(session, "press", "lamp")
    assert not session.lamp.lit
    assert session.box.message.startswith("Viewing light would fog the sheet.")


def test_the_first_turn_puts_a_message_away_and_changes_nothing():
    """In mid-run a message covers the stage or the patch, and what is turned would not be seen."""
    evening = Evening(a_card(base_ms=8000))
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    evening.play("expose\nexpose\nwait until dark\n+1 lamp")
    assert box.state == "ready"
    assert box.message.startswith("Viewing light would fog the sheet.")
    at = box.run.at
    assert box.machine.says("dial") == "show stage"
    evening.play("dial 1")
    assert (box.run.at, box.message) == (at, "")
    assert box.machine.says("dial") == "stage %d/5" % at
    evening.play("dial 1")
    assert box.run.at == at + 1
    evening.play("dial -1")
    while box.state == "ready":
        evening.play("+1 expose\nwait until dark")
    evening.play("+1 lamp")
    assert (box.state, box.machine.says("dial")) == ("choose", "show patch")
    place = box.panel.cursor.place
    evening.play("dial 1")
    assert (box.panel.cursor.place, box.message) == (place, "")
    evening.play("dial 1")
    assert box.panel.cursor.place == place + 1


def test_lamp_warns_once_while_a_sheet_is_exposed():
    evening = Evening(a_card(base_ms=5000))
    box = evening.box
    evening.play("expose\nexpose\n+2 expose\nlamp")
    assert not evening.session.lamp.lit
    assert box.message == "Viewing light would fog the sheet. Put it away, then press LAMP again."
    assert evening.heard("tick") == ["start", "hold", "refuse"]
    evening.play("lamp")
    assert evening.session.lamp.lit
    evening.play("lamp\nlamp")
    assert not evening.session.lamp.lit, "in mid-run the sheet is back in the easel: it warns again"
    evening.play("expose\nwait until browse\nlamp")
    assert not evening.session.lamp.lit, "but the sheet has had light since"
    # Any other key in between, and the next press warns again.
    evening.play("dial 1\nlamp")
    assert not evening.session.lamp.lit
    evening.play("lamp")
    assert evening.session.lamp.lit


@pytest.mark.parametrize(("rule", "exposing"), [("steady", 1), ("exposing", 0)])
def test_the_safelight_rule(rule, exposing):
    evening = Evening(a_card(base_ms=5000), safelight=rule)
    meter = evening.meter
    seen = []
    for line in ("lamp", "lamp", "expose", "expose", "+1 expose", "expose", "wait until browse"):
        evening.play(line)
        seen.append(meter.safelight)
    assert seen == [0, 1, 1, exposing, 1, exposing, 1]
    assert meter.faults == []


def test_the_safelight_goes_before_the_lamp_and_comes_after_it():
    evening = Evening(safelight="exposing")
    order = []

    class Order(Listener):
        def lamp(self, now_ms, on):
            order.append("lamp on" if on else "lamp off")

        def output(self, now_ms, kind, value):
            if kind == "safelight":
                order.append(f"safelight {'on' if value else 'off'}")

    evening.session.watchers.append(Order())
    evening.play("lamp\n+1 lamp\nexpose\nexpose\nwait until browse")
    assert order == ["safelight off", "lamp on", "lamp off", "safelight on"] * 2


# --- changing and undoing


def worked(evening: Evening) -> dict:
    return evening.box.work.map.to_dict()


def test_a_value_is_undone_while_it_is_turned_and_after_it_is_taken():
    evening = Evening(two_dodges())
    session = evening.session
    before = worked(evening)
    to_row(session, "Base")
    evening.play("press\n+1 dial 3")
    assert worked(evening) != before
    evening.play("back")
    assert worked(evening) == before
    evening.play("press\n+1 dial 3\npress")
    after = worked(evening)
    evening.play("back")
    assert worked(evening) == after, "BACK only leaves"
    to_row(session, "Undo")
    assert evening.box.panel.value(evening.box.panel.row()) == "Base: 16.0 s"
    evening.play("press")
    assert worked(evening) == before
    assert evening.box.message == "Undone: Base: 16.0 s."
    assert (evening.box.panel.screen.key, evening.box.panel.row().label) == ("screens", "Undo")
    while len(evening.box.panel.undo):
        evening.play("press")
    assert evening.box.panel.value(evening.box.panel.row()) == "nothing"
    before = worked(evening)
    evening.play("press\npress")
    assert worked(evening) == before


def test_undo_goes_back_exactly_change_by_change():
    card = a_card(("face", -20), ("sky", 40, "4"), tied=True)
    card["passes"].append(a_pass(("door", 60), base_ms=7300, filter="5"))
    evening = Evening(card)
    session, box = evening.session, evening.box
    steps = [
        lambda: set_row(session, "Base", 3),
        lambda: set_row(session, "Filter", 2),
        lambda: set_row(session, "Burn sky", -4),
        lambda: set_row(session, "Passes", -1),
        lambda: set_row(session, "Passes", 2),
        lambda: set_row(session, "Bases", -1),
        lambda: set_row(session, "Dry-down", 2),
        lambda: set_row(session, "Remove mark", 1),
        lambda: (to_row(session, "Add a mark"), keys(session, "press", "press", "press")),
        lambda: (to_row(session, "New print"), session.input("press")),
        lambda: set_row(session, "Dial step", 1),
        lambda: (to_screen(session, "strip"), set_row(session, "Patches", 2)),
    ]
    seen = []
    for step in steps:
        to_screen(session, "print")
        seen.append((worked(evening), vars(box.work.strip).copy(), box.bench.to_dict()))
        step()
    assert len(box.panel.undo) == len(steps)
    for card_before, strip, bench in reversed(seen):
        undo(session)
        assert (worked(evening), vars(box.work.strip), box.bench.to_dict()) == (card_before, strip, bench)
        evening.play("dial 1\nback\nlamp\nlamp")  # looking round forgets nothing
    evening.play("reset")
    assert worked(evening) == card, "and what was undone is kept"


def test_what_is_undone_can_be_made_again_until_something_else_is_done():
    evening = Evening(two_dodges())
    session, box = evening.session, evening.box
    push(session, a_card(name="other"))
    seen = [(worked(evening), box.shelf.names())]
    changes = [
        lambda: set_row(session, "Base", 3),
        lambda: set_row(session, "Filter", 1),
        lambda: set_row(session, "Dry-down", 0),
        lambda: set_row(session, "Passes", 1),
        lambda: set_row(session, "Base", -2),
        lambda: set_row(session, "Keep on shelf", 0),
        lambda: (to_screen(session, "shelf"), to_row(session, "other"), session.input("press")),
        lambda: (to_row(session, "New print"), session.input("press")),
    ]
    for change in changes:
        to_screen(session, "print")
        change()
        seen.append((worked(evening), box.shelf.names()))
    for there in (seen[:-1][::-1], seen[1:], seen[:-1][::-1]):
        forward = there[0] == seen[1]
        for state in there:
            if box.panel.screen.key == "print":
                evening.play("press\n+1 dial 1\nback\nlamp\nlamp")  # looking is no change
            while box.panel.screen.key != "screens":
                session.input("back")
            to_row(session, "Redo" if forward else "Undo")
            session.input("press")
            assert (worked(evening), box.shelf.names()) == state
    assert box.panel.undo.ahead.says == "Base: 22.6 s", "what redo brings back"
    to_screen(session, "print")
    set_row(session, "Base", 1)
    session.input("back")
    assert box.panel.undo.ahead is None, "another way was taken"


def test_a_value_that_is_opened_and_taken_as_it_was_is_no_change():
    evening = Evening(two_dodges())
    to_row(evening.session, "Base")
    changes = len(evening.box.panel.undo)
    evening.play("press\npress\npress\n+1 dial 2\n+1 dial -2\npress")
    assert len(evening.box.panel.undo) == changes


def test_turning_past_a_value_and_back_costs_nothing():
    card = a_card(("sky", 40, "4"), ("face", -20), tied=True)
    card["passes"].append(a_pass(("door", 60), base_ms=7300, filter="5"))
    evening = Evening(card)
    session, box = evening.session, evening.box
    for label, there, back in (("Passes", -1, 1), ("Passes", 2, -2), ("Burn sky", -9, 9), ("Bases", -1, 1)):
        to_screen(session, "print")
        to_row(session, label)
        session.input("press")
        for detents in (there, back):
            for _ in range(abs(detents)):
                wait(session, 200)
                session.input("dial", 1 if detents > 0 else -1)
            if detents == there:
                assert worked(evening) != card, label
        session.input("press")
        assert worked(evening) == card, label
    to_screen(session, "strip")
    set_row(session, "Times", 1)
    set_row(session, "Middle", 5)
    strip = box.work.strip.to_dict()
    to_row(session, "Times")
    evening.play("press\n+1 dial -2\n+1 dial 1\npress")
    assert box.work.strip.to_dict() == strip, "the time that was set is not lost on the way"


def test_a_strips_setting_is_undone():
    evening = Evening(two_dodges())
    session, strip = evening.session, evening.box.work.strip
    to_screen(session, "strip")
    before = dict(vars(strip))
    for label, detents in (("Strip for", 1), ("Kind", 1), ("Patches", -2), ("Step", 2), ("Times", 1)):
        to_screen(session, "strip")
        to_row(session, label)
        evening.play(f"press\n+1 dial {detents}\nback")
        assert vars(evening.box.work.strip) == before, label
        set_row(session, label, detents)
        assert vars(evening.box.work.strip) != before, label
        undo(session)
        assert vars(evening.box.work.strip) == before, label


def test_a_card_loaded_over_a_print_is_undone():
    evening = Evening(two_dodges())
    session = evening.session
    set_row(session, "Base", 4)
    before = worked(evening)
    push(session, a_card(name="other"))
    to_screen(session, "shelf")
    to_row(session, "other")
    evening.play("press")
    assert worked(evening)["name"] == "other"
    assert evening.box.message == "Loaded. Undo brings harbour back."
    undo(session)
    assert worked(evening) == before


def test_a_card_whose_filters_the_drawer_lacks_says_so():
    evening = Evening(filters=["0", "2"])
    card = a_card(("sky", 40, "3.5"), ("sea", 20), filter="2")
    card["passes"].append(a_pass(base_ms=4000, filter="5"))
    load(evening.session, card)
    assert evening.box.message == "The drawer lacks filter 3.5, 5. See Filters on the Bench."


def test_a_new_print_is_undone():
    evening = Evening(two_dodges())
    before = worked(evening)
    to_row(evening.session, "New print")
    evening.play("press")
    assert worked(evening)["passes"] == [{"filter": "2", "base_ms": 10_000, "marks": []}]
    assert evening.box.message == "A new print. Undo brings back harbour."
    undo(evening.session)
    assert worked(evening) == before


def test_what_was_changed_of_a_mark_is_told_by_its_area():
    """Its row is called a burn or a dodge, which is what the change may have changed."""
    evening = Evening(a_card(("hands", -20), ("sky", 40), ("sea", 40)))
    session, box = evening.session, evening.box
    set_row(session, "Dodge hands", 3)
    set_row(session, "  through", 1, nth=3)
    undo(session)
    assert box.message == "Undone: sea through: the pass's filter."
    undo(session)
    assert box.message == "Undone: hands: -1/6, 1.7 s."


def test_the_mark_that_is_picked_is_removed_and_comes_back():
    card = a_card(("face", -20), ("sky", 40))
    card["passes"].append(a_pass(("door", 60), ("sea", 20), filter="5"))
    areas = [mark["area"] for own in card["passes"] for mark in own["marks"]]
    for nth, area in enumerate(areas):
        evening = Evening(card)
        set_row(evening.session, "Remove mark", nth + 1)
        left = [mark.area for own in evening.box.work.map.passes for mark in own.marks]
        assert left == [other for other in areas if other != area]
        undo(evening.session)
        assert worked(evening) == card
    evening = Evening(card)
    to_row(evening.session, "Remove mark")
    evening.play("press\npress")
    assert worked(evening) == card, "nothing picked, nothing removed"


def test_a_strip_that_is_begun_stays_what_it_is_whatever_is_looked_at():
    evening = Evening(a_card(("face", -40), ("hands", -20)))
    session, box = evening.session, evening.box
    to_row(session, "Dodge hands")
    evening.play("back")
    to_row(session, "Strip")
    evening.play("press\nexpose")
    evening.light_of_a_stage()
    evening.play("back")
    for area in ("face", "hands"):
        to_screen(session, "print")
        to_row(session, "Dodge " + area)
        evening.play("back")
        to_row(session, "Strip")
        evening.play("press")
        assert box.panel.value(box.panel.row()) == "hands"
    evening.play("back")
    to_row(session, "Go on")
    evening.play("press")
    while box.state == "ready":
        evening.light_of_a_stage()
    assert box.state == "choose"


def test_the_strip_and_the_cursor_stay_where_they_are_when_a_mark_is_removed():
    evening = Evening(a_card(("face", -40), ("hands", -20), ("sky", 80)))
    session, work = evening.session, evening.box.work
    to_row(session, "Dodge hands")
    evening.play("back")
    to_row(session, "Strip")
    evening.play("press\nexpose")
    while evening.box.state == "ready":
        evening.light_of_a_stage()
    evening.play("back")
    assert work.strip.mark(work.map).area == "hands"
    for nth, left in ((1, "hands"), (2, "hands"), (1, None)):
        to_screen(session, "print")
        set_row(session, "Remove mark", nth)
        mark = work.strip.mark(work.map)
        assert (mark and mark.area) == left
        assert work.strip_given is (left is not None), "a patch of it can still be chosen"
        if left:
            assert evening.box.panel.row().label == "Remove mark"
    for _ in range(3):
        undo(session)
    assert work.strip.mark(work.map).area == "hands"
    assert work.strip_given


def test_a_card_taken_off_the_shelf_comes_back():
    evening = Evening()
    session = evening.session
    card = two_dodges()
    push(session, card)
    push(session, a_card(name="other"))
    to_screen(session, "shelf")
    set_row(session, "Remove a card", 1)
    assert evening.box.shelf.names() == ["other"]
    assert evening.box.message == "harbour is off the shelf. Undo brings it back."
    undo(session)
    assert evening.box.shelf.names() == ["harbour", "other"]
    assert evening.box.shelf.card("harbour") == card


def test_a_card_kept_over_another_gives_the_other_back():
    evening = Evening(two_dodges())
    session = evening.session
    set_row(session, "Base", 6)
    set_row(session, "Keep on shelf", 1)
    assert evening.box.shelf.card("harbour")["passes"][0]["base_ms"] == 32_000
    undo(session)
    assert evening.box.shelf.card("harbour") == two_dodges()
    to_screen(session, "print")
    set_row(session, "Keep on shelf", 0)
    assert evening.box.shelf.names() == ["harbour", "harbour-2"]
    undo(session)
    assert evening.box.shelf.names() == ["harbour"]
    assert worked(evening)["name"] == "harbour"


@pytest.mark.parametrize("by", ["keep", "replace", "remove"])
def test_undo_never_takes_a_card_that_was_pushed_since(by):
    evening = Evening(two_dodges())
    session, shelf = evening.session, evening.box.shelf
    if by == "remove":
        to_screen(session, "shelf")
        set_row(session, "Remove a card", 1)
        name = "harbour"
    else:
        set_row(session, "Keep on shelf", 0 if by == "keep" else 1)
        name = "harbour-2" if by == "keep" else "harbour"
    pushed = a_card(base_ms=4321, name=name)
    push(session, pushed)
    while len(evening.box.panel.undo):
        undo(session)
    assert shelf.card(name) == pushed
    push(session, a_card(base_ms=4000, name=name))
    ask(session, "card.remove", name=name)
    while len(evening.box.panel.undo):
        undo(session)
    assert name not in shelf.names(), "nor brings one back that the PC has removed"


# --- the sounds, to listen to


def test_every_sound_is_heard_by_a_press_and_nothing_else_happens():
    evening = Evening(a_card(("sky", 40)))
    session, box = evening.session, evening.box
    to_screen(session, "bench")
    session.input("dial", -1)
    assert (box.panel.row().label, box.machine.says("press")) == ("Listen", "open it")
    session.input("press")
    before, disk = box.summary(), dict(session.disk.files)
    heard = []
    for key, label in SOUND_NAMES:
        assert box.panel.row().label == label
        evening.heard()
        session.input("dial", 0)
        assert evening.heard() == [], "turning only moves"
        assert (box.machine.says("press"), box.machine.says("expose")) == ("play it", "")
        keys(session, "press", "press", "expose", "pedal")
        assert evening.heard() == [key, key]
        heard.append(key)
        session.input("dial", 1)
    assert set(heard) == set(SOUNDS)
    assert len(heard) == len(SOUNDS)
    assert (box.state, box.summary()) == ("browse", before)
    assert session.disk.files == disk
    assert not session.lamp.lit
    assert box.machine.says("back") == "bench"
    session.input("back")
    assert (box.panel.screen.key, box.panel.row().label) == ("bench", "Listen")
    assert box.machine.says("back") == "screens"
    session.input("back")
    assert box.panel.row().label == "Bench"


def test_at_volume_0_listen_says_how_to_hear():
    session = situation("listen, sound off")
    assert session.box.io.message == "The sound is off: the volume is 0. Turn Volume up, above."
    ear = Listener()
    session.watchers.append(ear)
    keys(session, "press")
    assert [sound for _, sound in ear.sounds] == ["refuse"]
    session.input("dial", -1)
    assert session.box.panel.row().label == "Volume"
    keys(session, "press")
    session.input("dial", 2)
    keys(session, "press")
    assert session.box.bench.get("volume") == 2
    ear.sounds.clear()
    session.input("dial", 1)
    keys(session, "press")
    assert [sound for _, sound in ear.sounds] == ["tick"]
    assert session.box.io.message == ""


def test_a_bench_setting_is_undone_and_what_the_wire_set_meanwhile_stays():
    evening = Evening()
    session, bench = evening.session, evening.box.bench
    to_screen(session, "bench")
    to_row(session, "Lamp lag")
    evening.play("press\n+1 dial 4")
    assert bench.get("lag_ms") == 20
    assert "result" in ask(session, "bench.set", values={"volume": 1})
    evening.play("back")
    assert (bench.get("lag_ms"), bench.get("volume")) == (0, 1)
    evening.play("press\n+1 dial 4\npress")
    assert "result" in ask(session, "bench.set", values={"volume": 2})
    undo(session)
    assert (bench.get("lag_ms"), bench.get("volume")) == (0, 2)
    to_screen(session, "bench")
    set_row(session, "Volume", 1)
    assert "result" in ask(session, "bench.set", values={"volume": 1})
    undo(session)
    assert bench.get("volume") == 1, "what the wire has set is not taken back"
    assert "result" in ask(session, "bench.set", values={"volume": 2})
    evening.play("reset")
    assert (evening.box.bench.get("lag_ms"), evening.box.bench.get("volume")) == (0, 2)


def test_what_is_being_turned_is_not_kept_by_a_message():
    evening = Evening()
    session = evening.session
    to_screen(session, "bench")
    to_row(session, "Lamp lag")
    evening.play("press\n+1 dial 4")
    ask(session, "bench.set", values={"volume": 1})
    evening.play("reset")
    assert (evening.box.bench.get("lag_ms"), evening.box.bench.get("volume")) == (0, 1)


def test_a_card_pushed_while_one_is_picked_for_removal_is_safe():
    evening = Evening()
    session = evening.session
    push(session, a_card(name="harbour"))
    to_screen(session, "shelf")
    to_row(session, "Remove a card")
    evening.play("press\ndial 1")
    push(session, a_card(name="a-new-one"))
    session.frame()
    assert evening.box.panel.row().label == "Remove a card", "the cursor stays where the hand is"
    evening.play("back")
    assert evening.box.panel.row().label == "Remove a card", "also when nothing is picked"
    evening.play("press\npress")
    assert evening.box.shelf.names() == ["a-new-one", "harbour"]
    evening.play("press\ndial 2")
    ask(session, "card.remove", name="harbour")
    ask(session, "card.remove", name="a-new-one")
    session.frame()


@pytest.mark.parametrize(
    ("screen", "label", "detents"),
    [
        ("print", "Base", 3),
        ("print", "Passes", 1),
        ("print", "Add a mark", 3),
        ("print", "Remove mark", 3),
        ("trays", "Temperature", 3),
        ("trays", "  good for", 9),
        ("trays", "Sequence", 1),
    ],
)
def test_a_push_leaves_what_is_open_as_it_is_turned(screen, label, detents):
    def taken(pushes: bool) -> tuple:
        evening = Evening(two_dodges(tied=True, passes=[*two_dodges()["passes"], a_pass(base_ms=9000)]))
        session, panel = evening.session, evening.box.panel
        to_screen(session, screen)
        to_row(session, label)
        session.input("press")
        turn_slowly(session, detents - 1)
        if pushes:
            push(session, a_card(name="another"))
        turn_slowly(session, 1)
        shown = panel.value(panel.row())
        session.input("press")
        rows = [(row.label, panel.value(row)) for row in panel.rows()]
        return shown, rows, evening.box.work.map.to_dict()

    assert taken(True) == taken(False)


@pytest.mark.parametrize(
    ("label", "detents", "values", "then"),
    [
        ("Add a mark", 7, {"areas": ["a", "b"]}, "a"),
        ("Add a mark", 1, {"areas": ["sky", "face"]}, "face"),
        ("Passes", 2, {"filters": ["2"]}, "1"),
        ("Passes", 4, {"filters": ["2"]}, "1"),
    ],
)
def test_what_a_pc_changes_of_the_choices_of_an_open_row_is_offered_anew(label, detents, values, then):
    evening = Evening(a_card())
    session, panel = evening.session, evening.box.panel
    before = evening.box.work.map.text()
    to_row(session, label)
    session.input("press")
    session.input("dial", detents)
    ask(session, "bench.set", values=values)
    session.frame()
    assert panel.value(panel.row()) == then
    assert evening.box.work.map.text() == before, "nothing is proposed but what is shown"


@pytest.mark.parametrize(("gap_ms", "steps"), [(200, 1), (80, 1), (79, 2), (40, 2), (39, 5), (10, 5)])
def test_faster_turning_takes_bigger_steps(gap_ms, steps):
    evening = Evening(step="1/12")
    to_row(evening.session, "Base")
    evening.play("+1 press\n+1 dial 1")
    base = evening.box.work.map.passes[0]
    assert base.shift == 10, "the first detent after a pause is a slow one"
    wait(evening.session, gap_ms)
    evening.play("dial 1")
    assert base.shift == 10 + 10 * steps
    wait(evening.session, gap_ms)
    evening.play("dial -1")
    assert base.shift == 10


def test_several_detents_in_one_input_are_as_fast_as_their_share():
    evening = Evening(step="1/12")
    to_row(evening.session, "Base")
    evening.play("+1 press\n+1 dial 1\n+0.2 dial 2")
    assert evening.box.work.map.passes[0].shift == 10 + 2 * 10, "100 ms each"
    evening.play("+0.1 dial 2")
    assert evening.box.work.map.passes[0].shift == 30 + 2 * 20, "50 ms each"


def test_only_numbers_are_turned_fast():
    evening = Evening()
    to_row(evening.session, "Filter")
    evening.play("+1 press\n+1 dial 1\n+0.01 dial 1")
    assert evening.box.work.map.passes[0].filter == "4"
    evening.play("press")
    to_row(evening.session, "Passes")
    evening.play("+1 press\n+1 dial 1\n+0.01 dial 1")
    passes = evening.box.work.map.passes
    assert [own.filter for own in passes] == ["4", "4"], "past the split-grade pair to two alike"


def test_one_pass_is_split_into_a_tied_pair_with_the_same_light():
    evening = Evening(a_card(("sky", 40), base_ms=9000))
    to_row(evening.session, "Passes")
    evening.play("+1 press\n+1 dial 1")
    assert evening.box.panel.value(evening.box.panel.row()) == "2, filters 00 and 5"
    evening.play("press")
    split = worked(evening)
    assert [(own["filter"], own["base_ms"]) for own in split["passes"]] == [("00", 4500), ("5", 4500)]
    assert split["tied"]
    assert split["passes"][0]["marks"] == [{"area": "sky", "stops120": 40}]
    undo(evening.session)
    assert worked(evening) == a_card(("sky", 40), base_ms=9000)


def test_a_base_too_short_to_split_is_refused():
    evening = Evening(a_card(base_ms=150))
    to_row(evening.session, "Passes")
    evening.play("+1 press\n+1 dial 1")
    assert (
        evening.box.message == "Base is not changed: half of it is too short. Bases go from 0.1 to 999.9 s."
    )
    assert worked(evening)["passes"][0]["base_ms"] == 150


def test_tied_passes_follow_each_other():
    # Two tied passes of 16 s and 8.98 s, 10/12 stop apart: doubling one doubles the other (common practice).
    card = a_card(base_ms=16_000, filter="00", tied=True)
    card["passes"].append(a_pass(base_ms=8980, filter="5"))
    evening = Evening(card, step="1/12")

    def bases():
        return [evening.box.work.map.base_ms(index) for index in (0, 1)]

    set_row(evening.session, "All passes", 12)
    assert bases() == [32_000, 17_960]
    set_row(evening.session, "All passes", -12)
    assert bases() == [16_000, 8980]
    # One pass alone: from there on the tie keeps the new ratio, to the millisecond.
    set_row(evening.session, "Base", 12, nth=2)
    assert bases() == [16_000, 17_960]
    assert worked(evening)["tied"]
    set_row(evening.session, "All passes", -12)
    assert bases() == [8000, 8980]
    set_row(evening.session, "Bases", 0)
    assert "all" not in [row.key for row in evening.box.panel.rows()], "free passes have no row for all"


def test_a_tied_base_turned_past_a_value_and_back_is_the_same():
    card = a_card(base_ms=9111, filter="00", tied=True)
    card["passes"].append(a_pass(base_ms=7333, filter="5"))
    for step in ("1/12", "seconds"):
        evening = Evening(card, step=step)
        to_row(evening.session, "Base", 2)
        evening.play("+1 press\n+1 dial 7\n+1 dial -9\n+1 dial 1\n+1 dial 1\npress")
        assert worked(evening) == card, step


def test_a_base_past_its_range_is_refused_and_nothing_moves():
    card = a_card(base_ms=500, tied=True)
    card["passes"].append(a_pass(base_ms=800, filter="5"))
    evening = Evening(card, step="seconds")
    set_row(evening.session, "Base", 1, nth=2)
    set_row(evening.session, "Dial step", -5)  # halves of a stop
    before = worked(evening)
    for label, nth in (("Base", 2), ("All passes", 1)):
        to_row(evening.session, label, nth)
        evening.play("+1 press\n+1 dial 40")
        assert (
            evening.box.message
            == "Base is not changed: it moves more than 10 stops. Bases go from 0.1 to 999.9 s."
        )
        assert evening.box.state == "edit"
        assert worked(evening) == before
        evening.play("back")


# --- power


def test_power_up_finds_the_print_as_it_was_left():
    evening = Evening(two_dodges())
    set_row(evening.session, "Base", 3)
    before = worked(evening)
    evening.play("reset")
    assert (evening.box.state, evening.box.panel.screen.key) == ("browse", "print")
    assert worked(evening) == before


def test_power_up_can_begin_a_new_print():
    evening = Evening(
        two_dodges(), power_up="new print", new_base_ms=8000, new_filter="00", new_dry_down_pm=120
    )
    evening.play("reset")
    assert worked(evening)["passes"] == [{"filter": "00", "base_ms": 8000, "marks": []}]
    assert (worked(evening)["dry_down"], worked(evening)["dry_down_pm"]) == (False, 120)


def test_after_a_reset_in_mid_run_it_is_dark_says_so_and_goes_on():
    card = a_card(("sky", 60), ("sea", 60), base_ms=6000)
    evening = Evening(card, power_up="new print")
    box = evening.box
    evening.play("expose\nexpose\nwait until dark\nexpose\n+1 reset")
    box = evening.box
    assert not evening.session.lamp.lit
    assert (box.state, box.message) == ("notice", "Power was lost. Burn sky may be partly exposed.")
    assert worked(evening) == card, "the run needs its map, whatever power-up is set to"
    wait(evening.session, 3600_000)
    assert box.state == "notice"
    # What is under the enlarger is still a sheet of paper.
    evening.play("lamp")
    assert not evening.session.lamp.lit
    evening.play("lamp\n+1 lamp")
    assert evening.session.screen.draw()
    assert box.findings.known == "Power was lost. Burn sky may be partly exposed."
    evening.play("press")
    assert (box.state, box.summary()["name"]) == ("ready", "Burn sky")
    evening.play("dial 1\nexpose\nwait until browse")
    record = last_record(box)
    assert [(stage["stage"], stage["given_ms"], stage["at_least"]) for stage in record["stages"]] == [
        ("Base, pass 1", 6000, False),
        ("Burn sky", 0, True),
        ("Burn sea", 2485, False),
    ]
    assert (record["whole"], record["cut_off"]) == (False, "Burn sky")
    evening.play("reset")
    assert evening.box.state == "browse", "a run that has ended is not asked about again"


def test_after_a_watchdogs_reset_the_rest_is_given():
    # The board's registers outlive such a reset and tell how much light was given.
    card = a_card(("face", -60), ("sky", 60), base_ms=8000)
    evening = Evening(card, lag_ms=120)
    evening.play("expose\nexpose\nwait 5.12")
    evening.session.reset(4999)
    box = evening.box
    assert box.message == "The box was reset. Base, pass 1 had 4.9 s or more."
    evening.session.reset(5000)
    box = evening.box
    assert (box.state, box.message) == ("notice", "The box was reset. Base, pass 1 had 5.0 s or more.")
    evening.heard()
    evening.play("press")
    assert (box.state, box.exposing.left_ms(), box.machine.says("expose")) == ("held", 3000, "give 3.0 s")
    start_ms = evening.session.now_ms
    assert evening.light_of_a_stage() == 3000
    # What had been heard before the reset is not heard again: the card went in at 2 s, out at 4.343 s.
    assert [sound for _, sound in evening.heard_at(start_ms)] == ["start", "tick", "tick", "end"]
    assert evening.light_of_a_stage() == 3314
    record = last_record(box)
    assert [stage["given_ms"] for stage in record["stages"]] == [8000, 3314]
    assert record["cut_off"] == "Base, pass 1"


def test_after_a_watchdogs_reset_at_the_end_of_a_stage_the_next_one_is_next():
    card = a_card(("sky", 60), base_ms=4000)
    evening = Evening(card)
    evening.play("expose\nexpose\nwait 3")
    evening.session.reset(4000)
    evening.play("press")
    assert (evening.box.state, evening.box.summary()["name"]) == ("ready", "Burn sky")
    assert evening.light_of_a_stage() == 1657
    assert [stage["given_ms"] for stage in last_record(evening.box)["stages"]] == [4000, 1657]
    # And where it was the last, there is nothing to go on with: the print is whole, and on record.
    evening.play("expose\nexpose\nwait until dark\nexpose\nwait 1")
    evening.session.reset(1657)
    assert (evening.box.state, evening.box.message) == (
        "browse",
        "The run before the reset was whole. It is in the ledger.",
    )
    record = last_record(evening.box)
    assert (record["n"], record["whole"]) == (2, True)
    assert [stage["given_ms"] for stage in record["stages"]] == [4000, 1657]


def test_a_run_cut_off_by_a_reset_can_be_ended():
    evening = Evening(a_card(("sky", 60), base_ms=6000))
    evening.play("expose\nexpose\nwait until dark\nreset\nback")
    assert (evening.box.state, evening.box.panel.row().label) == ("browse", "Go on")
    to_row(evening.session, "End this run")
    evening.play("press")
    record = last_record(evening.box)
    assert [(stage["given_ms"], stage["at_least"]) for stage in record["stages"]] == [
        (6000, False),
        (0, True),
    ]
    evening.play("reset")
    assert evening.box.state == "browse"


def test_a_reset_while_a_filter_is_fitted_says_that_no_light_was_on():
    card = a_card(base_ms=6000)
    card["passes"].append(a_pass(base_ms=3000, filter="5"))
    evening = Evening(card)
    evening.play("expose\nexpose\nwait until dark\nreset")
    assert evening.box.message == "Power was lost before: Fit filter 5."


def test_the_levels_are_told_at_power_up_and_when_they_change():
    evening = Evening(brightness=4, volume=1)
    listener = Listener()
    evening.session.watchers.append(listener)
    evening.play("reset")
    assert {("level", 4), ("volume", 1)} <= set(listener.heard)
    listener.heard.clear()
    to_screen(evening.session, "bench")
    to_row(evening.session, "Brightness")
    assert not {kind for kind, _ in listener.heard} & {"level", "volume"}
    evening.play("press\ndial 1")
    assert ("level", 5) in listener.heard, "seen while it is turned"
    listener.heard.clear()
    evening.play("back")
    assert ("level", 4) in listener.heard


# --- light


def test_dry_down_cuts_the_light_and_leaves_the_shown_times():
    # 10 % of dry-down is -0.152 stop (East Midlands Monochrome Group): a factor of 0.9.
    card = a_card(("sky", 120), base_ms=16_000, dry_down=True, dry_down_pm=100)
    evening = Evening(card)
    box = evening.box
    evening.play("expose")
    assert box.machine.says("expose") == "give 16.0 s"
    assert evening.light_of_a_stage() == 14_400
    assert box.machine.says("expose") == "give 16.0 s", "a stop more is as much again"
    assert evening.light_of_a_stage() == 14_400
    assert last_record(box)["dry_down_pm"] == 100
    set_row(evening.session, "Dry-down", 0)
    evening.play("expose")
    assert [evening.light_of_a_stage() for _ in range(2)] == [16_000, 16_000]
    assert last_record(box)["dry_down_pm"] == 0


def test_dry_down_is_one_row_and_two_presses():
    # -0.152 stop for 10 %, -0.120 for 8 % (East Midlands Monochrome Group's 10 %; the rest is arithmetic).
    evening = Evening(a_card(dry_down_pm=100))
    box = evening.box
    to_row(evening.session, "Dry-down")
    assert box.panel.value(box.panel.row()) == "off"
    evening.play("press")
    assert box.panel.value(box.panel.row()) == "-0.15  10.0 %", "the other state is proposed"
    evening.play("press")
    assert (box.work.map.dry_down, box.work.map.dry_down_pm) == (True, 100)
    evening.play("press")
    assert box.panel.value(box.panel.row()) == "off"
    evening.play("press")
    assert (box.work.map.dry_down, box.work.map.dry_down_pm) == (False, 100), "the amount is not lost"
    evening.play("press\n+1 dial -2\n+1 dial -2\npress")
    assert (box.panel.value(box.panel.row()), box.work.map.dry_down_pm) == ("-0.12  8.0 %", 80)
    evening.play("press\n+1 dial 1\npress")
    assert (box.work.map.dry_down, box.work.map.dry_down_pm) == (True, 85), "turning sets the amount"
    evening.play("press\n+1 dial -99\npress")
    assert (box.work.map.dry_down, box.work.map.dry_down_pm) == (False, 85)
    evening.play("press\nback")
    assert not box.work.map.dry_down, "what is open is a proposal"


def test_dodges_and_burns_of_the_handbook():
    # photrio.com thread 209811: at 20 s, burn +2/3 = 11.7 s and dodge -1/2 = 5.9 s.
    evening = Evening(a_card(("sky", 80), ("face", -60), base_ms=20_000))
    evening.play("expose\nexpose")
    start_ms = evening.session.now_ms
    until_dark(evening.session)
    edges = [at_ms for at_ms, sound in evening.heard_at(start_ms) if sound in OPENS + CLOSES]
    assert edges[1] - edges[0] == pytest.approx(5900, abs=50)
    assert evening.light_of_a_stage() == pytest.approx(11_700, abs=50)


def test_an_edition_of_three():
    card = a_card(("face", -40), ("sky", 80), base_ms=16_000)
    card["passes"].append(a_pass(("door", 60, "00"), base_ms=9000, filter="5"))
    evening = Evening(card, lag_ms=120)
    prints = []
    for _ in range(3):
        evening.play("expose")
        lights = []
        while evening.box.state == "ready":
            evening.meter.anew()
            evening.session.input("expose")
            if evening.session.lamp.lit:
                until_dark(evening.session)
                lights.append(evening.meter.light_ms)
        prints.append(lights)
    assert prints[0] == prints[1] == prints[2]
    assert len(prints[0]) == 4
    assert evening.box.message == "Print 3 is done and in the ledger."
    records = evening.box.ledger.read()
    assert [record["n"] for record in records] == [1, 2, 3]
    for record in records:
        assert record["whole"]
        assert record["stages"] == records[0]["stages"]
        assert [stage["given_ms"] for stage in record["stages"]] == prints[0]


def test_a_strip_of_whole_stops():
    # 2, 4, 8, 16, 32 s: cover increments 2, 2, 4, 8, 16 (paper maker's guidance, quoted by grainmag.com).
    evening = Evening(a_card(base_ms=8000))
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    set_row(session, "Step", 2)
    to_row(session, "Strip for")
    evening.play("expose")
    assert [evening.light_of_a_stage() for _ in range(5)] == [2000, 2000, 4000, 8000, 16_000]
    assert box.state == "choose"
    evening.play("dial -99\ndial 3\npress")  # between the second patch and the third: half a stop over 4 s
    assert box.work.map.base_ms(0) == 5657
    assert box.message == "Base is set to 5.7 s. To choose again: undo, then Strip."
    assert not box.work.strip_given
    undo(session)
    assert box.work.map.base_ms(0) == 8000
    assert box.work.strip_given, "as the message said, a patch can be chosen again"


def test_a_patch_chosen_with_tied_passes_changes_that_pass_alone():
    # 8.4 s and a quarter stop are 9.989 s: what the patch had, over the 7.0 s through filter 0.
    card = a_card(base_ms=7000, filter="0", tied=True)
    card["passes"].append(a_pass(base_ms=8400, filter="5"))
    evening = Evening(card)
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    set_row(session, "Strip for", 1)
    set_row(session, "Step", -1)
    set_row(session, "Give first", 1)
    evening.play("expose")
    while box.state == "ready":
        session.input("expose")
        if session.lamp.lit:
            until_dark(session)
    evening.play("dial -99\ndial 6\npress")
    assert [box.work.map.base_ms(index) for index in (0, 1)] == [7000, 9989]
    assert box.message == "Pass 2 alone is set to 10.0 s. To choose again: undo, then Strip."
    assert box.work.map.tied
    assert (box.panel.screen.key, box.panel.screen.said(box.panel, box.panel.row())) == (
        "print",
        "Pass 2",
    )
    set_row(session, "All passes", 6)
    assert [box.work.map.base_ms(index) for index in (0, 1)] == [14_000, 19_978]
    undo(session)
    undo(session)
    assert worked(evening) == card


def test_a_strip_of_plain_seconds():
    # 2-4-6-8-10 s: NAVEDTRA 14209 fig. 11-5; US Army SS0509. Fresh pieces get their whole time each.
    evening = Evening(a_card(base_ms=6000))
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    set_row(session, "Kind", 1)
    set_row(session, "Step", 4)
    to_row(session, "Strip for")
    evening.play("expose")
    assert [evening.light_of_a_stage() for _ in range(5)] == [2000, 4000, 6000, 8000, 10_000]
    evening.play("dial 99\npress")
    assert box.work.map.base_ms(0) == 10_000
    assert last_record(box)["kind"] == "strip"


def test_a_patch_is_chosen_later_unless_its_strip_no_longer_holds():
    evening = Evening(a_card(base_ms=6000))
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    evening.play("expose")
    while box.state == "ready":
        evening.light_of_a_stage()
    evening.play("back")
    assert (box.state, box.panel.row().label) == ("browse", "Choose a patch")
    to_screen(session, "print")
    set_row(session, "Dry-down", 1)  # does not touch what the patches got
    to_screen(session, "strip")
    to_row(session, "Choose a patch")
    evening.play("press\ndial 2\npress")
    assert box.work.map.base_ms(0) == 7560  # 6 s and a third of a stop
    undo(session)
    assert box.work.strip_given
    to_screen(session, "print")
    set_row(session, "Base", 6)
    assert not box.work.strip_given, "the patches did not get what they would now"


def test_a_burn_chosen_darker_or_lighter_stays_a_map_that_can_be_kept():
    card = a_card(("sky", 30, "2"), base_ms=6000, filter="2")
    evening = Evening(card)
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    set_row(session, "Strip for", 1)
    set_row(session, "Patches", 2)
    to_row(session, "Strip for")
    evening.play("expose")
    while box.state == "ready":
        evening.light_of_a_stage()
    evening.play("dial -99\npress")
    (mark,) = box.work.map.passes[0].marks
    assert mark.stops120 == 30 - 3 * 40
    before = worked(evening)
    assert PrintingMap.from_dict(before).to_dict() == before
    evening.play("reset")
    assert worked(evening) == before


def test_a_lamp_setting_that_cannot_give_the_stage_is_refused_at_the_press():
    evening = Evening(a_card(base_ms=300))
    session, box = evening.session, evening.box
    evening.play("expose")
    assert "result" in ask(session, "bench.set", values={"lag_ms": -300})
    evening.play("expose")
    assert not session.lamp.lit
    assert box.state == "ready"
    assert (
        box.message == "Base, pass 1 is too short: 300 ms of light, and this lamp needs 320 ms. "
        "Set the bench back, or turn to the next stage."
    )
    assert "result" in ask(session, "bench.set", values={"lag_ms": 0})
    assert evening.light_of_a_stage() == 300


# --- a disk that fails, a box that hands over


def test_a_full_disk_never_stops_a_print():
    disk = GuardedDisk()
    evening = Evening(a_card(("sky", 60), base_ms=4000), disk=disk)
    disk.full = True
    box = evening.box
    set_row(evening.session, "Base", 6)
    assert box.message == "It is not kept: the memory is full or failing. Remove a card and try again."
    assert box.work.map.base_ms(0) == 8000
    evening.play("expose")
    assert box.state == "ready"
    assert evening.light_of_a_stage() == 8000
    assert evening.light_of_a_stage() == 3314
    assert box.state == "browse"
    assert box.message == (
        "The record is not kept yet: the memory is full or failing. "
        "Remove a card or pull the ledger before you switch off."
    )
    assert disk.files.keys().isdisjoint({"ledger-000001.0", "ledger-000001.1"})
    (record,) = ask(evening.session, "ledger.read")["result"]["records"]
    assert [stage["given_ms"] for stage in record["stages"]] == [8000, 3314], "a PC is given it all the same"
    disk.full = False
    evening.play("expose")
    assert [evening.light_of_a_stage() for _ in range(2)] == [8000, 3314]
    evening.play("reset")
    assert [record["n"] for record in evening.box.ledger.read()] == [1, 2]


@pytest.mark.parametrize("line", ["", "expose", "expose\nexpose\n+1 expose", "expose\nback"])
def test_the_box_hands_over_when_dark(line):
    evening = Evening(a_card(base_ms=4000))
    evening.play(line)
    assert ask(evening.session, "handover")["result"] == {"ok": True}
    assert evening.session.handed_over
    assert evening.box.state == "away"
    keys(evening.session, "expose", "pedal", "lamp", "press", "back")
    assert not evening.session.lamp.lit


@pytest.mark.parametrize("line", ["lamp", "expose\nexpose"])
def test_the_box_does_not_hand_over_under_light(line):
    evening = Evening(a_card(base_ms=4000))
    evening.play(line)
    state, ends_ms = evening.box.state, evening.session.lamp.ends_ms
    reply = ask(evening.session, "handover")
    assert reply["error"]["message"].endswith("light is on, or about to be. Try again when dark.")
    assert (evening.box.state, evening.session.lamp.ends_ms) == (state, ends_ms)
    assert not evening.session.handed_over


def test_a_message_during_light_moves_nothing_in_time():
    """The same print with and without a tool asking all the while."""

    def sounds(chatty: bool) -> list[tuple[int, str]]:
        evening = Evening(two_dodges(), lag_ms=70)
        evening.play("expose\nexpose")
        start_ms = evening.session.now_ms
        while evening.session.lamp.lit:
            wait(evening.session, 7)
            if chatty:
                ask(evening.session, "state")
                evening.session.input("line", b"\xff{}")
        return evening.heard_at(start_ms)

    assert sounds(True) == sounds(False)


def test_ticks_that_wrap_in_mid_exposure_change_nothing():
    def sounds(ticks_ms: int) -> list[tuple[int, str]]:
        session = new_session(ticks_ms=ticks_ms)
        ear = Listener()
        session.watchers.append(ear)
        load(session, two_dodges())
        keys(session, "expose", "expose")
        wait(session, 4000)
        keys(session, "expose")
        wait(session, 4000)
        keys(session, "expose")
        until_dark(session)
        return ear.sounds

    plain = sounds(0)
    for before_ms in (1, 500, 2000, 4001, 7000, 9000, 12_345, 20_000):
        assert sounds((1 << 30) - before_ms) == plain


@pytest.mark.parametrize("changed", ["name", "measure", "light"])
def test_a_print_is_of_the_map_that_gives_the_same_whatever_it_is_called(changed):
    evening = Evening(two_dodges())
    session, box = evening.session, evening.box
    evening.play("expose\nexpose\n+3 back\nback")
    to_screen(session, "print")
    if changed == "name":
        set_row(session, "Keep on shelf", 0)
        assert box.work.map.name == "harbour-2"
    elif changed == "measure":
        to_row(session, "Carry over")
        session.input("press")
        set_row(session, "Aperture", 1)
    else:
        set_row(session, "Dodge hand", 1)
    to_screen(session, "strip")
    evening.play("back")
    to_row(session, "Go on")
    evening.play("press\nexpose")
    until_dark(session)
    if changed == "light":
        assert box.message.endswith("The map here is another now: EXPOSE gives that.")
    else:
        assert box.message == "Print 1 is done and in the ledger."


def test_a_kept_run_of_another_map_ends_without_being_taken_for_this_maps_print():
    evening = Evening(a_card(base_ms=16_000))
    session, box = evening.session, evening.box
    evening.play("expose\nexpose\n+5 expose\nback")
    to_screen(session, "print")
    set_row(session, "Base", 3)
    evening.play("back")
    to_row(session, "Go on")
    evening.play("press")
    assert evening.light_of_a_stage() == 11_000
    assert box.message == (
        "The print is done and in the ledger. The map here is another now: EXPOSE gives that."
    )
    assert box.work.prints == 0
    assert last_record(box)["whole"]


def test_what_is_said_of_a_run_before_a_filter():
    card = a_card(base_ms=4000)
    card["passes"].append(a_pass(base_ms=2000, filter="5"))
    evening = Evening(card)
    box = evening.box
    evening.play("expose\nexpose\nwait until dark\nback")
    assert box.panel.value(box.panel.row()) == "Fit filter 5"
    to_screen(evening.session, "print")
    evening.play("expose")
    assert kept_text(box.exposing) == "A run is kept. Next: Fit filter 5. End it, and begin this one?"


def test_undo_does_not_name_a_value_that_it_does_not_bring_back():
    evening = Evening()
    session, box = evening.session, evening.box
    to_screen(session, "bench")
    to_row(session, "Lamp lag")
    session.input("press")
    ask(session, "bench.set", values={"lag_ms": 150})
    evening.play("+1 dial 5\npress")
    assert box.bench.get("lag_ms") == 175
    undo(session)
    assert box.bench.get("lag_ms") == 150
    assert box.message == "Undone: Lamp lag."


def test_undo_says_what_it_leaves_where_the_pc_has_changed_the_card():
    evening = Evening(two_dodges())
    session, box = evening.session, evening.box
    set_row(session, "Keep on shelf", 0)
    push(session, a_card(name="harbour-2", base_ms=4321))
    undo(session)
    assert box.message == "Undone: the map's name. The card stays: the PC has changed it."
    assert worked(evening)["name"] == "harbour"
    assert box.shelf.card("harbour-2")["passes"][0]["base_ms"] == 4321


def test_a_push_does_not_move_another_card_under_the_cursor():
    evening = Evening()
    session, box = evening.session, evening.box
    for name in ("mill", "pier"):
        push(session, a_card(name=name))
    to_screen(session, "shelf")
    assert box.panel.row().label == "mill"
    push(session, a_card(name="abbey"))
    assert box.panel.row().label == "mill"
    evening.play("press")
    assert worked(evening)["name"] == "mill"


def test_what_cannot_be_given_is_not_announced():
    evening = Evening(a_card(("sky", 60), base_ms=8000))
    session, box = evening.session, evening.box
    evening.play("expose\nexpose\nwait until dark\nexpose\n+3.2 back")
    assert (box.state, box.machine.says("expose")) == ("held", "cannot: why?")
    evening.play("back")
    to_row(session, "End this run")
    evening.play("press")
    to_screen(session, "print")
    evening.play("expose")
    evening.play("expose\nwait until dark")
    ask(session, "bench.set", values={"least_ms": 2000})
    assert box.machine.says("expose") == "give 3.3 s"
    session.box.bench.set("least_ms", 0)
    ask(session, "bench.set", values={"lag_ms": 1200})
    assert box.machine.says("expose") == "cannot: why?"
    evening.play("expose")
    assert box.message == (
        "Burn sky is too short: 3314 ms of light, and this lamp needs 3600 ms. "
        "Set the bench back, or turn to the next stage."
    )
    ask(session, "bench.set", values={"lag_ms": 0})
    assert evening.light_of_a_stage() == 3314


def test_a_strip_for_a_burn_at_nought_says_what_helps():
    evening = Evening(a_card(("door", 0, "00"), base_ms=8000))
    session, box = evening.session, evening.box
    to_screen(session, "strip")
    set_row(session, "Strip for", 1)
    evening.play("expose")
    assert box.message == (
        "No strip here: the burn is at 0. Give it some light first, or set the middle yourself."
    )


# --- BACK held down


@pytest.mark.parametrize("key", ["expose", "pedal", "lamp"])
@pytest.mark.parametrize(
    "name", ["bench", "ready, base", "held", "choose", "notice, print", "asked to end a run"]
)
def test_while_back_is_down_nothing_begins(name, key):
    session = situation(name)
    session.advance(session.now_ms + 1000)
    state = session.box.state
    session.input("back_down")
    before = snapshot(session)
    session.input(key)
    assert session.box.state == state
    assert not session.lamp.lit
    if session.box.machine.row("expose" if key == "pedal" else key) >= 0:
        assert session.box.message == "Nothing begins: BACK is down. Let it go, or check its contact."
        assert session.box.machine.says("expose") in ("", "wait")
    session.input("back_up")
    assert "BACK is down" not in session.box.message
    assert snapshot(session)["work"] == before["work"]
    session.input("lamp")
    if session.box.state == state:  # warned of paper
        session.advance(session.now_ms + 1000)
        session.input("lamp")
    assert session.box.state == "viewing"


def test_back_held_down_at_the_start_lets_nothing_begin():
    session = new_session()
    session.input("back_down")
    session.input("back_down")
    keys(session, "expose", "expose")
    assert session.box.state == "browse"
    session.input("back_up")
    keys(session, "expose", "expose")
    assert session.box.state == "exposing"
    session.input("back_down")
    session.input("back")
    assert not session.lamp.lit, "a press that puts out always works"


def test_while_a_run_is_kept_every_way_back_to_the_list_ends_on_go_on():
    """Whoever has looked at something else wants back to the stage, not to what ends the run beside it."""
    evening = Evening(a_card(base_ms=8000))
    session, box = evening.session, evening.box
    evening.play("expose\n+1 expose\n+2 back\n+1 back")
    assert box.panel.row().key == "go on"
    for name in ("print", "strip", "bench", "ledger"):
        to_screen(session, name)
        session.input("back")
        assert box.panel.row().key == "go on"
    session.input("press")
    assert box.state == "held"
    evening.play("+1 expose\nwait until dark")
    to_screen(session, "bench")
    session.input("back")
    assert box.panel.row().label == "Bench"


def test_the_rows_of_the_list_stay_where_they_are_when_something_is_undone():
    evening = Evening(a_card(base_ms=8000))
    session, box = evening.session, evening.box
    set_row(session, "Base", 2)
    session.input("back")
    before = [row.label for row in box.panel.rows()]
    to_row(session, "Redo")
    assert box.machine.says("press") == ""
    to_row(session, "Undo")
    session.input("press")
    assert [row.label for row in box.panel.rows()] == before
    to_row(session, "Redo")
    assert box.machine.says("press") == "redo"


@pytest.mark.parametrize(("kind", "over_earlier"), [(COVER, True), (FRESH, False)])
def test_a_cover_strip_that_is_aimed_at_a_later_pass_lies_over_the_earlier_ones(kind, over_earlier):
    """A fresh one cannot: each of its patches would need their light first."""
    session = new_session()
    card = a_card(base_ms=9000, filter="00")
    card["passes"].append(a_pass(base_ms=4000, filter="5"))
    load(session, card)
    strip = session.box.work.strip
    strip.kind = kind
    to_row(session, "Base", 2)
    assert session.box.panel.row().label == "Pass 2, filter 5"
    to_screen(session, "strip")
    assert (strip.pass_index, strip.over_earlier) == (1, over_earlier)
    to_row(session, "Strip for")
    assert session.box.panel.value(session.box.panel.row()) == "pass 2"
    to_screen(session, "print")
    to_row(session, "Base")
    assert session.box.panel.row().label == "Pass 1, filter 00"
    to_screen(session, "strip")
    assert (strip.pass_index, strip.over_earlier) == (0, False)
