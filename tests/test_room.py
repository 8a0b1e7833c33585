"""The darkroom round the box: light on a sheet under hands, developed and judged.

The light that an undisturbed sheet gets is held against the box's plan and against ideal hands, which reckon
area by area; what hands do is held against the plan worked out from the card.
"""

import io
import json
import math
from itertools import count

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
from PIL import Image

from host_sim.box.live import Live
from host_sim.box.session import Watcher
from host_sim.darkroom.checks import RoomError
from host_sim.darkroom.easel import SAFELIGHT_LUX
from host_sim.darkroom.exercises import EXERCISES
from host_sim.darkroom.films import film_from
from host_sim.darkroom.ideal_hands import IdealHands
from host_sim.darkroom.planned_light import REST
from host_sim.darkroom.room import Room
from host_sim.darkroom.scores import Scores
from host_sim.optics import negatives
from host_sim.optics.feed import RELAYS
from host_sim.optics.filament import PAPER, PAPER_BLUE
from host_sim.optics.lamp_house import LUX, LampHouse
from host_sim.optics.lamps import LAMPS, lag_ms
from host_sim.optics.paper import PAPER_NAMES, paper
from host_sim.optics.shades import NO_SHADOW, Shade, cast_of
from host_sim.optics.sheet import Beam, Sheet
from lampblack.wire.push import requests_for
from tests.box_model import (
    a_card,
    a_pass,
    keys,
    load,
    new_session,
    set_row,
    stops,
    to_row,
    to_screen,
    together,
    until_dark,
    wait,
)
from tests.portable.fakes import keep
from timing_core.light.guided import HEADINGS, OF_THE_CELL
from timing_core.light.plan import BOTH, CLOSES, OPENS, compile_print
from timing_core.light.printing_map import MARKS_MAX, PASSES_MAX, PrintingMap

MIDDLE = [[0.4, 0.4], [0.6, 0.4], [0.6, 0.6], [0.4, 0.6]]
UPPER = [[0, 0], [1, 0], [1, 0.3], [0, 0.3]]


def a_room(
    card: dict | None = None,
    lamp: str = "ideal",
    negative: str = "plain",
    scores: Scores | None = None,
    **bench,
) -> Room:
    """A box with a card at work, the card's first filter fitted and a sheet in the easel."""
    session = new_session()
    session.box.asked.set_bench(bench)
    room = Room(session, LampHouse(session, lamp), requests_for, negative, scores)
    if card is not None:
        load(session, card)
        room.do({"do": "fit", "filter": card["passes"][0]["filter"]})
    room.do({"do": "sheet"})
    return room


def shade(
    room: Room, shape: str, x: float = 0.5, y: float = 0.5, size: float = 0.3, angle: float = 0
) -> None:
    room.do({"do": "shade", "shape": shape, "x": x, "y": y, "size": size, "angle": angle})


def give(room: Room) -> None:
    """Press EXPOSE and wait for the end; the lamp has died away before anybody does more."""
    keys(room.session, "expose")
    if room.session.lamp.lit:
        until_dark(room.session)
    wait(room.session, 1500)


def give_all(room: Room) -> None:
    keys(room.session, "expose")
    while room.session.box.state == "ready":
        give(room)


def develop(room: Room, dry: bool = False) -> dict:
    room.do({"do": "develop", "dry": dry})
    return room.state()["verdict"]


def given_ms(verdict: dict) -> dict[tuple[str, str], float]:
    return {(row["area"], row["filter"]): row["given_ms"] for row in verdict["rows"]}


def grey(room: Room, kind: str) -> np.ndarray:
    image = Image.open(io.BytesIO(room.picture(kind)))
    assert (image.format, image.mode, image.size) == ("PNG", "L", (1000, 800))
    return np.asarray(image)


class Hands(Watcher):
    """Hold `at` in the light from the tone that opens a window to the one that closes it."""

    def __init__(self, room: Room, at: list[dict]) -> None:
        self.room = room
        self.at = at
        room.session.watchers.append(self)

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind == "sound" and value in OPENS and self.at:
            shade(self.room, **self.at.pop(0))
        elif kind == "sound" and value in CLOSES:
            shade(self.room, "none")


class TwoHands(Watcher):
    """Hold `left` and `right` in the light from the tone that opens both windows, each to its own."""

    def __init__(self, room: Room, right: dict, left: dict) -> None:
        self.room = room
        self.held = {"right": right, "left": left}
        room.session.watchers.append(self)

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind == "sound" and value == BOTH[0]:
            for hand, shade in self.held.items():
                self.room.do({"do": "shade", "hand": hand, "angle": 90, **shade})
        elif kind == "sound" and (value in CLOSES or value == BOTH[1]):
            for hand, closes in zip(self.held, CLOSES, strict=True):
                if value in (closes, BOTH[1]):
                    self.room.do({"do": "shade", "hand": hand, **self.held[hand], "lifted": True})


# --- an undisturbed sheet


class Wall:
    """A wall clock that is read whenever somebody gets round to it."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(3, 4000), min_size=1, max_size=40),
    st.sampled_from(("tungsten", "led", "ideal")),
    st.integers(3000, 9000),
)
def test_the_dose_is_the_plans_and_the_ideal_hands_however_late_the_machine_is(late_ms, lamp, base_ms):
    relay = RELAYS["ideal" if lamp == "ideal" else "mechanical"]
    card = a_card(base_ms=base_ms)
    room = a_room(card, lamp, lag_ms=round(lag_ms(LAMPS[lamp], relay)))
    session = room.session
    ideal = IdealHands(session, room.house)
    session.watchers.append(ideal)
    wall = Wall()
    live = Live(session, clock=wall)
    live.input("expose")
    live.input("expose")
    for turn in count():
        wall.now_s += late_ms[turn % len(late_ms)] / 1000
        live.catch_up()
        if turn % 3 == 0:
            room.state()
        if not session.lamp.lit:
            break
    wall.now_s += 2
    live.catch_up()
    ((_, (light,)),) = ideal.report()
    found = given_ms(develop(room))
    assert found == {(REST, "2"): pytest.approx(light.given_ms, rel=1e-9)}
    assert abs(math.log2(found[REST, "2"] / base_ms)) < 0.01


def test_shades_that_leave_no_shadow_change_nothing():
    plain, busy = (a_room(a_card(base_ms=4000), "tungsten", lag_ms=85) for _ in range(2))
    for room in (plain, busy):
        keys(room.session, "expose", "expose")
        for step in range(300):
            wait(room.session, 7)
            if room is busy:
                shade(room, "disc", -0.9, -0.9 - step / 1000, 0.1, 180)
        until_dark(room.session)
        wait(room.session, 1500)
    light, same = (given_ms(develop(room))[REST, "2"] for room in (plain, busy))
    assert same == pytest.approx(light, rel=1e-9)


# --- dodging and burning by hand


@pytest.mark.parametrize("lamp", ["ideal", "tungsten"])
def test_a_disc_over_an_area_for_its_window_gives_the_planned_dodge(lamp):
    relay = RELAYS["ideal" if lamp == "ideal" else "mechanical"]
    card = a_card(("face", -60), base_ms=16_000)
    room = a_room(card, lamp, lag_ms=round(lag_ms(LAMPS[lamp], relay)))
    room.do({"do": "area", "name": "face", "points": MIDDLE})
    Hands(room, [{"shape": "disc", "size": 0.36, "angle": 90}])
    give_all(room)
    verdict = develop(room)
    errors = {row["area"]: row["error_stops"] for row in verdict["rows"]}
    assert abs(errors["face"]) < (1e-4 if lamp == "ideal" else 0.01)
    # The disc is larger than the area, and its wire crosses the rest: that got a little less.
    assert -0.08 < errors[REST] < -0.005
    assert verdict["worst_stops"] == pytest.approx(-errors[REST])


@pytest.mark.parametrize("offsets", [(-60, -60), (-60, -40), (-40, -60)])
def test_a_disc_in_each_hand_gives_both_areas_their_dodge(offsets):
    card = together(a_card(("moon", offsets[0]), ("boat", offsets[1]), base_ms=8000))
    room = a_room(card)
    middles = {"moon": 0.25, "boat": 0.75}
    for area, x in middles.items():
        points = [[x - 0.1, 0.4], [x + 0.1, 0.4], [x + 0.1, 0.6], [x - 0.1, 0.6]]
        room.do({"do": "area", "name": area, "points": points})
    right, left = ({"shape": "disc", "x": x, "y": 0.5, "size": 0.36} for x in middles.values())
    TwoHands(room, right, left)
    told: set[tuple[str, ...]] = set()
    keys(room.session, "expose", "expose")
    while room.session.lamp.lit:
        wait(room.session, 100)
        told.add(tuple(room.state()["shaded"]))
    wait(room.session, 1500)
    longer = "moon" if offsets[0] < offsets[1] else "boat"
    assert told == {(), ("moon", "boat")} | ({(longer,)} if offsets[0] != offsets[1] else set())
    errors = {row["area"]: row["error_stops"] for row in develop(room)["rows"]}
    assert abs(errors["moon"]) < 1e-3
    assert abs(errors["boat"]) < 1e-3
    picture = grey(room, "errors")
    assert abs(int(picture[400, 250]) - 128) <= 1
    assert abs(int(picture[400, 750]) - 128) <= 1
    assert room.state()["hands"]["left"]["lifted"]


def test_a_hand_that_is_lifted_shades_nothing_and_still_holds():
    room = a_room(a_card(base_ms=4000))
    room.do({"do": "shade", "hand": "left", "shape": "hole", "x": 0.5, "y": 0.5, "lifted": True})
    shade(room, "disc", size=0.36)
    give_all(room)
    picture = grey_of_light(room)
    assert picture[400, 500] == 0
    assert picture[100, 900] == pytest.approx(4000, rel=1e-5)
    assert room.state()["hands"]["left"]["shape"] == "hole"


def grey_of_light(room: Room) -> np.ndarray:
    """Light at every point of the sheet, in ms of full light."""
    (light,) = room.easel.sheet.open_light().values()
    return light / room.house.lux * 1000


def test_a_burn_through_a_hole_gives_the_area_its_light_and_the_rest_hardly_any():
    room = a_room(a_card(("face", 120), base_ms=4000))
    room.do({"do": "area", "name": "face", "points": MIDDLE})
    keys(room.session, "expose")
    give(room)
    shade(room, "hole", size=0.36)
    give(room)
    assert room.session.box.state == "browse"
    rows = {row["area"]: row for row in develop(room)["rows"]}
    assert rows["face"]["given_ms"] == pytest.approx(8000, rel=1e-4)
    assert rows["face"]["error_stops"] == pytest.approx(0, abs=1e-3)
    # The hole shows pi / 4 * 360^2 less the area's 200 * 160 of the 768,000 pixels of the rest.
    beside = 4000 * (math.pi / 4 * 360**2 - 200 * 160) / (800_000 - 200 * 160)
    assert rows[REST]["given_ms"] == pytest.approx(4000 + beside, rel=0.01)


def test_a_straight_edge_keeps_a_burn_to_one_side():
    room = a_room(a_card(("sky", 60), base_ms=4000))
    room.do({"do": "area", "name": "sky", "points": UPPER})
    keys(room.session, "expose")
    give(room)
    shade(room, "edge", 0.5, 0.3, angle=90)
    give(room)
    rows = {row["area"]: row for row in develop(room)["rows"]}
    assert rows["sky"]["error_stops"] == pytest.approx(0, abs=0.02)
    assert rows[REST]["error_stops"] == pytest.approx(0, abs=0.02)
    errors = grey(room, "errors")
    assert errors[50, 500] == errors[700, 500] == 128
    # The shade's soft edge and the area's fall nearly together: within 1/12 stop all down the sheet.
    column = errors[:, 500].astype(int)
    assert np.abs(column - 128).max() < 127 / 12
    assert np.abs(column - 128).max() > 1


def test_what_was_forgotten_shows_in_the_error_picture():
    room = a_room(a_card(("face", -60), base_ms=8000))
    room.do({"do": "area", "name": "face", "points": MIDDLE})
    give_all(room)
    rows = {row["area"]: row for row in develop(room)["rows"]}
    # Nobody dodged: the face got the whole base, half a stop too much.
    assert rows["face"]["error_stops"] == pytest.approx(0.5, abs=1e-3)
    assert rows[REST]["error_stops"] == pytest.approx(0, abs=1e-9)
    errors = grey(room, "errors")
    assert errors[400, 500] == pytest.approx(128 + 127 / 2, abs=1)
    assert errors[100, 100] == 128


def test_a_hold_keeps_the_light_and_the_hands_may_rest():
    room = a_room(a_card(("face", -60), base_ms=16_000), "tungsten", lag_ms=85)
    room.do({"do": "area", "name": "face", "points": MIDDLE})
    Hands(room, [{"shape": "disc", "size": 0.36, "angle": 90}])
    session = room.session
    keys(session, "expose", "expose")
    for _ in range(3):
        wait(session, 2500)
        room.close_light()
        assert not session.lamp.lit
        assert session.box.state == "held"
        wait(session, 4000)
        keys(session, "expose")
    until_dark(session)
    wait(session, 1500)
    rows = {row["area"]: row for row in develop(room)["rows"]}
    assert abs(rows["face"]["error_stops"]) < 0.02


# --- what goes wrong in a darkroom


def test_a_wrong_filter_is_seen_on_the_paper_and_in_the_rows():
    card = a_card(base_ms=8000)
    right, wrong = a_room(card), a_room(card)
    wrong.do({"do": "fit", "filter": "5"})
    assert wrong.state()["asks"] == "2"
    assert right.state()["asks"] is None
    for room in (right, wrong):
        give_all(room)
    good, bad = (develop(room)["rows"] for room in (right, wrong))
    assert [(row["filter"], row["error_stops"]) for row in good] == [("2", pytest.approx(0, abs=1e-9))]
    assert [(row["filter"], row["planned_ms"], row["given_ms"]) for row in bad] == [
        ("2", 8000, 0),
        ("5", 0, pytest.approx(8000)),
    ]
    assert [row["error_stops"] for row in bad] == [-10, None]
    vc = paper("vc-2019")
    assert good[0]["density"] == pytest.approx(vc.density({"2": 8 * LUX}), abs=0.002)
    assert bad[0]["density"] == pytest.approx(vc.density({"5": 8 * LUX}), abs=0.002)


def test_a_filter_changed_in_mid_exposure_parts_the_light():
    room = a_room(a_card(base_ms=8000))
    keys(room.session, "expose", "expose")
    wait(room.session, 3000)
    room.do({"do": "fit", "filter": "5"})
    until_dark(room.session)
    assert given_ms(develop(room)) == {(REST, "2"): pytest.approx(3000), (REST, "5"): pytest.approx(5000)}


def test_light_without_a_sheet_falls_on_nothing():
    room = a_room(a_card(base_ms=4000))
    develop(room)
    give_all(room)
    assert "falls on no paper" in room.state()["note"]
    room.do({"do": "sheet"})
    assert room.state()["note"] == ""
    assert develop(room)["rows"] == []
    assert grey(room, "print").min() == grey(room, "print").max() > 235


def test_viewing_light_fogs_a_sheet_in_the_easel():
    room = a_room(a_card(base_ms=4000))
    keys(room.session, "lamp")
    assert room.session.box.state == "viewing"
    assert "viewing light" in room.state()["note"]
    wait(room.session, 2000)
    room.close_light()
    assert not room.session.lamp.lit
    give_all(room)
    assert given_ms(develop(room))[REST, "2"] == pytest.approx(6000)


def test_a_sheet_put_in_under_the_viewing_light_is_fogged():
    room = a_room()
    develop(room)
    keys(room.session, "lamp")
    wait(room.session, 5000)
    room.do({"do": "sheet"})
    assert "viewing light" in room.state()["note"]
    wait(room.session, 3000)
    assert room.state()["sheet"]["lit_ms"] == 3000
    keys(room.session, "lamp")
    develop(room)
    density = paper("vc-2019").density({"none": 3 * LUX, "00": 3 * SAFELIGHT_LUX})
    assert grey(room, "print")[400, 500] == pytest.approx(255 * 10 ** (-(density + 0.05) / 2.2), abs=2), (
        "all of it, and nothing of the light before"
    )


def test_the_viewing_light_counts_through_any_filter_and_has_no_row_of_its_own():
    room = a_room(a_card(base_ms=4000))
    room.do({"do": "fit", "filter": ""})
    keys(room.session, "lamp")
    wait(room.session, 2000)
    keys(room.session, "lamp")
    room.do({"do": "fit", "filter": "2"})
    give_all(room)
    made = develop(room)
    (row,) = made["rows"]
    assert (row["area"], row["filter"], row["planned_ms"]) == (REST, "2", 4000)
    assert row["given_ms"] == pytest.approx(6000)
    assert row["error_stops"] == made["worst_stops"] == pytest.approx(math.log2(6 / 4))
    density = paper("vc-2019").density({"none": 2 * LUX, "2": 4 * LUX})
    assert row["density"] == pytest.approx(density, abs=0.002), "on the paper it is what it was"
    assert grey(room, "errors").min() > 127 + 0.5 * 127


def test_light_after_the_run_and_of_a_part_of_a_stage_counts():
    room = a_room(a_card(base_ms=4000))
    give_all(room)
    room.do({"do": "fit", "filter": "5"})
    keys(room.session, "expose", "expose")
    wait(room.session, 3000)
    keys(room.session, "expose")
    made = develop(room)
    assert given_ms(made) == {(REST, "2"): pytest.approx(4000), (REST, "5"): pytest.approx(3000)}
    assert [row["error_stops"] for row in made["rows"]] == [pytest.approx(0), None]
    assert made["worst_stops"] == pytest.approx(math.log2(7 / 4)), "though no row plans it"
    assert grey(room, "errors").min() > 127 + 0.75 * 127


def test_a_reset_in_mid_exposure_leaves_its_light_on_the_sheet():
    room = a_room(a_card(base_ms=8000))
    session = room.session
    keys(session, "expose", "expose")
    wait(session, 3000)
    room.do({"do": "unplug"})
    assert not session.lamp.lit
    assert session.box.state == "notice"
    wait(session, 2000)
    keys(session, "press", "expose")
    until_dark(session)
    assert room.state()["note"] == "", "the run was taken up: this is no other one"
    verdict = develop(room)
    assert given_ms(verdict)[REST, "2"] == pytest.approx(3000 + 8000)
    assert verdict["rows"][0]["planned_ms"] == 8000


def test_a_second_run_on_one_sheet_is_said_and_adds_up():
    room = a_room(a_card(base_ms=4000))
    give_all(room)
    give_all(room)
    assert "earlier run" in room.state()["note"]
    assert given_ms(develop(room))[REST, "2"] == pytest.approx(8000)


def test_a_run_that_is_left_and_gone_on_with_is_no_other_run():
    room = a_room(a_card(base_ms=8000))
    session = room.session
    keys(session, "expose", "expose")
    wait(session, 3000)
    keys(session, "back", "back")
    assert session.box.run.can_go_on
    state = room.state()
    assert (state["box"]["stage"], state["box"]["left_ms"], state["asks"]) == (None, 0, None)
    room.do({"do": "unplug"})
    keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press")
    assert room.state()["box"]["left_ms"] == 5000
    keys(session, "expose")
    until_dark(session)
    assert room.state()["note"] == ""
    assert given_ms(develop(room)) == {(REST, "2"): pytest.approx(8000)}


def test_a_run_begun_after_ending_another_is_said_on_the_sheet_that_has_its_light():
    room = a_room(a_card(base_ms=8000))
    session = room.session
    keys(session, "expose", "expose")
    wait(session, 3000)
    keys(session, "back", "back")
    to_screen(session, "print")
    keys(session, "expose", "press")
    give(room)
    assert "earlier run" in room.state()["note"]
    assert given_ms(develop(room)) == {(REST, "2"): pytest.approx(11_000)}


def test_the_filter_of_the_run_that_is_asked_about_is_asked_for():
    room = a_room(a_card(base_ms=8000))
    session = room.session
    keys(session, "expose", "expose")
    wait(session, 3000)
    keys(session, "back", "back")
    load(session, a_card(base_ms=8000, filter="5"))
    keys(session, "expose")
    assert session.box.state == "ask"
    assert room.state()["asks"] == "5"


# --- the safelight


def changes_after_min(name: str, filter: str, grey: float) -> float:
    """For how long the safelight may be on before a grey, made through a filter, is darker by 0.02: common
    practice for what can just be seen side by side, no source."""
    vc = paper(name)
    low, high = 0.0, 1000.0
    while high - low > 0.01:
        minutes = (low + high) / 2
        sheet = Sheet(1, vc, (1, 1))
        if grey:
            sheet.gather(Beam("plain", filter), vc.exposure(grey, filter or "none"), cast_of(Shade()))
        sheet.safelight.gather(SAFELIGHT_LUX * minutes * 60, NO_SHADOW)
        changed = float(sheet.develop(lambda beam: 1.0)[0, 0]) - grey > 0.02
        low, high = (low, minutes) if changed else (minutes, high)
    return high


@pytest.mark.parametrize("name", ["vc-2019", "vc-2020"])
@pytest.mark.parametrize("filter", ["00", "2", ""])
def test_a_light_grey_shows_the_safelight_after_some_ten_minutes(name, filter):
    # Of greys the lightest changes first, and white is the last to show anything, as Kodak K-4 (read) has it
    # of every safelight; the 8 to 12 min are this one's, no source.
    first = changes_after_min(name, filter, 0.10)
    assert 8 < first < 12
    assert changes_after_min(name, filter, 0.30) > 0.9 * first
    assert changes_after_min(name, filter, 0) > 60


def test_the_safelight_reaches_the_emulsion_of_the_softest_filter():
    vc = paper("vc-2019")
    sheet = Sheet(1, vc, (1, 1))
    sheet.safelight.gather(3.0, NO_SHADOW)
    assert float(sheet.develop(lambda beam: 1.0)[0, 0]) == pytest.approx(vc.density({"00": 3.0}), abs=0.002)


@pytest.mark.parametrize(("rule", "dark_ms"), [("steady", 0), ("exposing", 8000)])
def test_the_safelight_counts_while_it_is_on(rule, dark_ms):
    room = a_room(a_card(base_ms=8000), safelight=rule)
    wait(room.session, 20_000)
    give_all(room)
    wait(room.session, 10_000)
    # It is out from the press that lights the lamp to its end, where the rule says so.
    expected_ms = room.session.now_ms - dark_ms
    assert room.state()["sheet"]["safelight_ms"] == expected_ms
    assert room.state()["box"]["safelight"] is True


def test_the_safelight_of_before_a_reset_counts():
    room = a_room()
    wait(room.session, 20_000)
    room.do({"do": "unplug"})
    wait(room.session, 10_000)
    assert room.state()["sheet"]["safelight_ms"] == 30_000


def test_the_safelight_adds_to_a_faint_tone():
    room = a_room(a_card(base_ms=1000))
    wait(room.session, 15 * 60_000)
    give_all(room)
    verdict = develop(room)
    vc = paper("vc-2019")
    lone = vc.density({"2": LUX})
    safelight_s = room.session.now_ms / 1000
    both = vc.density({"2": LUX, "00": safelight_s * SAFELIGHT_LUX})
    assert both > lone + 0.005
    assert verdict["rows"][0]["density"] == pytest.approx(both, abs=0.002)
    assert verdict["rows"][0]["given_ms"] == pytest.approx(1000), "the rows are of the lamp alone"


# --- strips


def a_strip(kind: int = 0, negative: str = "plain") -> Room:
    room = a_room(a_card(base_ms=1700 if negative == "plain" else 8000), negative=negative)
    to_screen(room.session, "strip")
    if kind:
        set_row(room.session, "Kind", kind)
    return room


def patches(room: Room) -> list[float]:
    strip, work = room.session.box.work.strip, room.session.box.work.map
    return [strip.total_ms(work, 2 * patch) for patch in range(strip.patches)]


def test_a_cover_strip_by_hand():
    room = a_strip()
    session = room.session
    planned = patches(room)
    keys(session, "expose")
    for patch in range(session.box.work.strip.patches):
        # Before each press the cover is moved on: all patches that have their light lie under it.
        shade(room, "cover", patch / session.box.work.strip.patches, 0.5, angle=180)
        give(room)
    assert session.box.state == "choose"
    verdict = develop(room)
    assert verdict["title"] == "strip, 5 patches"
    assert [row["planned_ms"] for row in verdict["rows"]] == planned
    assert max(abs(row["error_stops"]) for row in verdict["rows"]) < 0.01
    assert [patch["patch"] for patch in verdict["patches"]] == list(range(1, 6))
    assert [patch["seconds"] for patch in verdict["patches"]] == [ms / 1000 for ms in planned]
    vc = paper("vc-2019")
    for patch, ms in zip(verdict["patches"], planned):
        assert patch["density"] == pytest.approx(vc.density({"2": ms / 1000 * LUX}), abs=0.02)
    row = grey(room, "print")[400]
    steps = [int(row[(2 * patch + 1) * 1000 // 10]) for patch in range(5)]
    assert steps == sorted(steps, reverse=True)
    assert len(set(steps)) == 5


def test_a_strip_that_nobody_covered_is_one_grey():
    room = a_strip()
    planned = patches(room)
    give_all(room)
    verdict = develop(room)
    assert [row["given_ms"] for row in verdict["rows"]] == [pytest.approx(planned[-1])] * 5
    assert np.ptp(grey(room, "print")) == 0


def test_a_fresh_strip_shows_one_part_of_the_picture_in_every_patch():
    room = a_strip(kind=1, negative="pears")
    planned = patches(room)
    give_all(room)
    assert room.session.box.state == "choose"
    verdict = develop(room)
    assert [row["given_ms"] for row in verdict["rows"]] == [pytest.approx(ms, rel=1e-9) for ms in planned]
    film = negatives.negative("pears").transmittance
    seen = grey(room, "print")
    safelight = SAFELIGHT_LUX * room.session.now_ms / 1000
    vc = paper("vc-2019")
    for patch, ms in enumerate(planned):
        columns = slice(patch * 200, (patch + 1) * 200)
        piece = seen[:, columns]
        start = (1000 - (columns.stop - columns.start)) // 2
        for row, column in ((100, 40), (400, 70), (600, 110)):
            light = ms / 1000 * LUX * float(film[row, start + column])
            density = vc.density({"2": light, "00": safelight})
            assert int(piece[row, column]) == pytest.approx(255 * 10 ** (-(density + 0.05) / 2.2), abs=3)


def test_viewing_light_in_the_midst_of_a_fresh_strip_falls_on_all_of_it():
    room = a_strip(kind=1)
    planned = patches(room)
    keys(room.session, "expose")
    give(room)
    # The box warns of the paper once, and then does as it is told.
    keys(room.session, "lamp", "lamp")
    assert room.session.box.state == "viewing"
    wait(room.session, 1000)
    keys(room.session, "lamp")
    rows = develop(room)["rows"]
    assert [row["given_ms"] for row in rows] == [pytest.approx(planned[0] + 1000)] + [pytest.approx(1000)] * 4


def test_a_strip_over_an_earlier_pass_tells_each_patch_once():
    card = a_card(base_ms=1000, filter="00", tied=True)
    card["passes"].append(a_pass(base_ms=1600, filter="5"))
    room = a_room(card)
    to_screen(room.session, "strip")
    set_row(room.session, "Strip for", 1)
    room.session.box.work.strip.over_earlier = True
    keys(room.session, "expose")
    give(room)
    room.do({"do": "fit", "filter": "5"})
    keys(room.session, "expose")
    while room.session.box.state == "ready":
        give(room)
    verdict = develop(room)
    assert [patch["patch"] for patch in verdict["patches"]] == list(range(1, 6))
    assert [patch["seconds"] for patch in verdict["patches"]][2] == 1.6
    assert {(row["filter"], row["planned_ms"]) for row in verdict["rows"]} >= {("00", 1000), ("5", 1600)}
    assert len(verdict["rows"]) == 10


# --- prints and pictures


def test_the_print_is_the_film_through_the_paper():
    room = a_room(a_card(base_ms=12_000), negative="breakwater")
    give_all(room)
    before = room.state()["pictures"]
    develop(room)
    after = room.state()["pictures"]
    assert before["print"] == before["errors"] == 0
    assert after["print"] != after["errors"]
    assert min(after.values()) > 0
    film = negatives.negative("breakwater").transmittance
    shown, projected = grey(room, "print"), grey(room, "negative")
    vc = paper("vc-2019")
    for row in range(20, 800, 130):
        for column in range(20, 1000, 160):
            density = vc.density({"2": 12 * LUX * float(film[row, column])})
            assert shown[row, column] == pytest.approx(255 * 10 ** (-(density + 0.05) / 2.2), abs=2)
            assert projected[row, column] == pytest.approx(255 * film[row, column] ** (1 / 2.2), abs=1)


@pytest.mark.parametrize(("name", "percent"), [("vc-2019", 4), ("grade 2", 10)])
def test_a_dry_print_is_darker_by_the_papers_dry_down(name, percent):
    filter = "2" if name == "vc-2019" else ""
    card = a_card(base_ms=1500, dry_down=True, dry_down_pm=10 * percent, filter=filter)
    wet, dry = a_room(card), a_room(card)
    for room in (wet, dry):
        room.do({"do": "paper", "name": name})
        room.do({"do": "fit", "filter": filter})
        give_all(room)
    wet_row, dry_row = (develop(room, dry=room is dry)["rows"][0] for room in (wet, dry))
    # So much less light was given that the dry print is what 1.5 s of light look like wet.
    part = 1 - percent / 100
    assert wet_row["given_ms"] == dry_row["given_ms"] == pytest.approx(1500 * part)
    own, seen = paper(name), filter or "none"
    assert wet_row["density"] == pytest.approx(own.density({seen: 1.5 * part * LUX}), abs=0.002)
    assert dry_row["density"] == pytest.approx(own.density({seen: 1.5 * LUX}), abs=0.002)


def test_split_grade_is_two_filters_on_one_sheet():
    card = a_card(base_ms=3000, filter="00", tied=True)
    card["passes"].append(a_pass(base_ms=6000, filter="5"))
    room = a_room(card)
    keys(room.session, "expose")
    give(room)
    assert room.state()["asks"] == "5"
    assert room.state()["box"]["stage"]["kind"] == "fit"
    room.do({"do": "fit", "filter": "5"})
    keys(room.session, "expose")
    give(room)
    verdict = develop(room)
    assert given_ms(verdict) == {(REST, "00"): pytest.approx(3000), (REST, "5"): pytest.approx(6000)}
    both = paper("vc-2019").density({"00": 3 * LUX, "5": 6 * LUX})
    assert verdict["rows"][0]["density"] == pytest.approx(both, abs=0.002)


def test_graded_paper_takes_no_filter_and_gives_no_verdict_on_a_filtered_card():
    room = a_room(a_card(base_ms=4000))
    room.do({"do": "paper", "name": "grade 3"})
    state = room.state()
    says = "No verdict: grade 3 has no data for filter 2. The print shows the light given without a filter."
    assert (state["paper"], state["filter"], state["filters"], state["asks"]) == ("grade 3", "", [""], None)
    assert state["no_data"] == says, "before the light, too"
    give_all(room)
    verdict = develop(room)
    (row,) = verdict["rows"]
    assert (row["filter"], row["planned_ms"], row["error_stops"]) == ("", 4000, None)
    assert row["given_ms"] == pytest.approx(4000)
    assert row["density"] == pytest.approx(paper("grade 3").density({"none": 4 * LUX}), abs=0.002)
    assert (verdict["worst_stops"], verdict["note"]) == (None, says)
    assert room.state()["pictures"]["errors"] == 0


def test_graded_paper_gives_a_verdict_on_a_card_without_filters():
    room = a_room(a_card(base_ms=4000, filter=""))
    room.do({"do": "paper", "name": "grade 3"})
    assert room.state()["no_data"] == ""
    give_all(room)
    verdict = develop(room)
    assert (verdict["worst_stops"], verdict["note"]) == (pytest.approx(0, abs=1e-6), "")


def test_a_filter_that_the_paper_has_no_data_for_gets_a_sentence_and_no_verdict():
    card = a_card(base_ms=4000)
    card["passes"].append(a_pass(base_ms=3000, filter="red"))
    room = a_room(card)
    says = (
        "No verdict: vc-2019 has no data for filter red. "
        "The print shows the light given through the filters that were fitted."
    )
    assert room.state()["no_data"] == says
    give_all(room)
    verdict = develop(room)
    assert (verdict["worst_stops"], verdict["note"]) == (None, says)
    assert [row["error_stops"] for row in verdict["rows"]] == [None, None]
    assert verdict["rows"][0]["density"] == pytest.approx(paper("vc-2019").density({"2": 7 * LUX}), abs=0.002)
    assert room.state()["pictures"]["errors"] == 0
    room.do({"do": "sheet"})
    load(room.session, a_card(base_ms=4000))
    assert room.state()["no_data"] == ""


# --- one lamp, one paper


@pytest.mark.parametrize("lamp", ["cold light", "led", "ideal"])
def test_the_report_is_of_the_lamp_and_the_paper_that_are_in(lamp):
    room = a_room(a_card(base_ms=2000), "tungsten")
    ideal = IdealHands(room.session, room.house)
    room.session.watchers.append(ideal)
    give_all(room)
    first = develop(room)
    room.do({"do": "lamp", "name": lamp})
    room.do({"do": "paper", "name": "vc-2020"})
    room.do({"do": "sheet"})
    give_all(room)
    second = develop(room)
    (one, (one_light,)), (two, (two_light,)) = ideal.report()
    assert (one.paper.name, two.paper.name) == ("vc-2019", "vc-2020")
    assert one_light.given_ms == pytest.approx(given_ms(first)[REST, "2"], rel=1e-9)
    assert two_light.given_ms == pytest.approx(given_ms(second)[REST, "2"], rel=1e-9)
    assert abs(one_light.given_ms - two_light.given_ms) > 2, "the lamps lag otherwise"


def test_a_lamp_that_is_changed_while_it_glows_gives_its_light_to_the_last_sheet():
    room = a_room(a_card(base_ms=2000), "tungsten")
    ideal = IdealHands(room.session, room.house)
    room.session.watchers.append(ideal)
    keys(room.session, "expose", "expose")
    until_dark(room.session)
    wait(room.session, 20)
    room.do({"do": "lamp", "name": "ideal"})
    wait(room.session, 3000)
    ((_, (light,)),) = ideal.report()
    assert light.given_ms == pytest.approx(given_ms(develop(room))[REST, "2"], rel=1e-9)


def test_what_two_read_is_forgotten_when_both_have_read_it():
    room = a_room(a_card(("face", -60), base_ms=8000), "tungsten", lag_ms=124)
    ideal = IdealHands(room.session, room.house)
    room.session.watchers.append(ideal)
    room.do({"do": "area", "name": "face", "points": MIDDLE})
    keys(room.session, "expose", "expose")
    for step in range(60):
        wait(room.session, 150)
        shade(room, "disc", -0.9, -0.9 - step / 1000, 0.1, 180)  # settles the room, over and over
    wait(room.session, 3000)
    for _ in range(20):
        give_all(room)
    assert len(room.house.light._pieces) < 8
    (_, lights), *_ = ideal.report()
    assert [round(light.error_stops, 2) for light in lights] == [0, 0]


def test_a_note_goes_with_its_sheet():
    room = a_room(a_card(base_ms=2000))
    give_all(room)
    give_all(room)
    assert room.state()["note"] == "This sheet had light of an earlier run."
    assert develop(room)["note"] == "This sheet had light of an earlier run."
    assert room.state()["note"] == ""


def test_a_cover_does_not_lie_over_the_next_sheet():
    room = a_room(a_card(base_ms=2000))
    room.do({"do": "shade", "shape": "cover", "x": 0.8, "y": 0.5, "size": 0.2, "angle": 180})
    give_all(room)
    develop(room)
    room.do({"do": "sheet"})
    assert room.state()["hands"]["right"]["shape"] == "none"
    # One that lies ready beside it stays.
    develop(room)
    room.do({"do": "shade", "shape": "cover", "x": 0, "y": 0.5, "size": 0.2, "angle": 180})
    room.do({"do": "sheet"})
    assert room.state()["hands"]["right"]["shape"] == "cover"


def test_no_sheet_is_put_in_under_an_exposure():
    room = a_room(a_card(base_ms=4000))
    develop(room)
    keys(room.session, "expose")
    keys(room.session, "expose")
    with pytest.raises(RoomError, match="an exposure is under way"):
        room.do({"do": "sheet"})


def test_a_users_picture_is_printed_and_its_areas_are_placed_by_hand():
    room = a_room(a_card(("face", -60), base_ms=8000))
    file = io.BytesIO()
    Image.new("L", (1000, 800), 128).save(file, "PNG")
    before = room.state()["pictures"]["negative"]
    room.set_own_negative(film_from(file.getvalue(), "aunt.png", is_negative=False))
    state = room.state()
    assert state["pictures"]["negative"] != before
    assert (state["negative"], state["negatives"][-1]) == ("own", ["own", "aunt.png"])
    assert state["areas"] == {"face": None}
    give_all(room)
    rows = develop(room)["rows"]
    assert {row["area"]: row["given_ms"] for row in rows} == {"face": None, REST: pytest.approx(8000)}
    assert rows[0]["error_stops"] is rows[0]["density"] is None
    room.do({"do": "area", "name": "face", "points": MIDDLE})
    assert room.state()["areas"] == {"face": [tuple(point) for point in MIDDLE]}
    with pytest.raises(RoomError, match=r"diary\.txt is not taken"):
        room.set_own_negative(film_from(b"no picture", "diary.txt", is_negative=False))
    assert room.state()["negative"] == "own"
    room.do({"do": "negative", "name": "breakwater"})
    room.do({"do": "negative", "name": "own"})
    assert room.state()["areas"]["face"] is not None


def test_two_negatives_on_one_sheet_add_up():
    room = a_room(a_card(base_ms=4000), negative="step-wedge")
    give_all(room)
    room.do({"do": "negative", "name": "plain"})
    give_all(room)
    develop(room)
    vc, row = paper("vc-2019"), grey(room, "print")[400]
    for step in (0, 5, 20):
        density = vc.density({"2": 4 * LUX * (1 + 10 ** (-0.15 * step))})
        assert row[(2 * step + 1) * 1000 // 42] == pytest.approx(255 * 10 ** (-(density + 0.05) / 2.2), abs=2)


def test_a_picture_whose_light_is_on_the_sheet_is_not_replaced():
    room = a_room(a_card(base_ms=2000))
    file = io.BytesIO()
    Image.new("L", (10, 8), 128).save(file, "PNG")
    for name in ("one.png", "two.png"):
        room.set_own_negative(film_from(file.getvalue(), name, is_negative=True))
    give_all(room)
    with pytest.raises(RoomError, match="light of the one before"):
        room.set_own_negative(film_from(file.getvalue(), "three.png", is_negative=True))
    assert room.state()["negatives"][-1] == ["own", "two.png"]
    develop(room)
    room.set_own_negative(film_from(file.getvalue(), "three.png", is_negative=True))


@pytest.mark.parametrize("name", ["patch 1", "patch x", "patch"])
def test_an_area_may_have_any_name(name):
    room = a_room(a_card((name, -60), base_ms=8000))
    room.do({"do": "area", "name": name, "points": MIDDLE})
    give_all(room)
    verdict = develop(room)
    assert [row["area"] for row in verdict["rows"]] == [name, REST]
    assert verdict["patches"] == []


@pytest.mark.parametrize(
    "points",
    [[[2, 2], [3, 2], [3, 3]], [[0.5, 0.5], [0.5, 0.5], [0.5, 0.5]], [[-1, -1], [2, -1], [2, 2], [-1, 2]]],
)
def test_an_outline_may_lie_off_the_sheet_or_all_over_it(points):
    room = a_room(a_card(("face", -60), base_ms=8000))
    room.do({"do": "area", "name": "face", "points": points})
    give_all(room)
    rows = {row["area"]: row["given_ms"] for row in develop(room)["rows"]}
    assert sorted(ms is None for ms in rows.values()) == [False, True]


def test_a_sheet_without_a_run_has_no_error_picture():
    room = a_room(a_card(base_ms=2000))
    give_all(room)
    develop(room)
    assert room.state()["pictures"]["errors"]
    room.do({"do": "sheet"})
    verdict = develop(room)
    assert (verdict["title"], verdict["rows"], verdict["worst_stops"]) == ("no run", [], None)
    assert room.state()["pictures"]["errors"] == 0


# --- practice


@pytest.mark.parametrize("name", EXERCISES)
def test_an_exercise_can_be_done(name):
    exercise = EXERCISES[name]
    session = new_session()
    map = PrintingMap.from_dict(exercise.card)
    assert map.to_dict() == exercise.card
    assert compile_print(map, session.box.bench)
    film = negatives.negative(exercise.negative)
    for own in exercise.card["passes"]:
        assert own["filter"] in paper(exercise.paper).filters
        assert {mark["area"] for mark in own["marks"]} <= set(film.outlines)


@pytest.mark.parametrize("name", EXERCISES)
def test_practice_lays_out_negative_card_and_sheet(name):
    room = a_room()
    room.do({"do": "practice", "name": name})
    exercise = EXERCISES[name]
    state = room.state()
    assert room.session.box.shelf.card(exercise.card["name"]) == exercise.card
    assert (state["exercise"], state["negative"], state["paper"]) == (name, exercise.negative, exercise.paper)
    assert state["sheet"] == {"number": 2, "in": True, "lit_ms": 0, "safelight_ms": 0}
    room.do({"do": "practice", "name": name})
    assert len(room.session.box.shelf.names()) == 1, "the same card is there once"


def practise(room: Room, hands: list[dict]) -> dict:
    room.do({"do": "practice", "name": "one-dodge"})
    load(room.session, EXERCISES["one-dodge"].card)
    room.do({"do": "fit", "filter": "2"})
    Hands(room, hands)
    give_all(room)
    return develop(room)


def test_the_best_of_an_exercise_is_kept(tmp_path):
    room = a_room(scores=Scores(tmp_path / "practice.json"))
    idle = practise(room, [{"shape": "none"}])
    assert idle["exercise"] == "one-dodge"
    # A third of a stop was to be taken from the pears, and nobody did.
    assert idle["worst_stops"] == pytest.approx(1 / 3, abs=1e-3)
    assert idle["best_stops"] == pytest.approx(idle["worst_stops"], abs=1e-6)
    good = practise(room, [{"shape": "disc", "x": 0.645, "y": 0.68, "size": 0.31, "angle": 0}])
    assert good["worst_stops"] < 0.1
    assert good["best_stops"] == pytest.approx(good["worst_stops"], abs=1e-6)
    again = practise(room, [{"shape": "none"}])
    assert again["worst_stops"] > 0.3
    assert again["best_stops"] == good["best_stops"]
    # Another evening, with the same folder.
    late = practise(a_room(scores=Scores(tmp_path / "practice.json")), [{"shape": "none"}])
    assert late["best_stops"] == good["best_stops"]
    # Without a folder it is forgotten.
    assert practise(a_room(), [{"shape": "none"}])["best_stops"] > 0.3


@pytest.mark.parametrize("kept", [b"[3]", b"{", b"\xff", b'{"one-dodge": "best"}'])
def test_a_damaged_file_of_the_best_is_begun_again(tmp_path, kept):
    path = tmp_path / "practice.json"
    path.write_bytes(kept)
    best = practise(a_room(scores=Scores(path)), [{"shape": "none"}])["best_stops"]
    assert best == pytest.approx(1 / 3, abs=1e-3)
    assert json.loads(path.read_text()) == {"one-dodge": round(best * 1e6)}
    assert [one.name for one in tmp_path.iterdir()] == ["practice.json"]


def test_a_best_that_cannot_be_kept_costs_nothing_but_itself(tmp_path):
    path = tmp_path / "gone" / "practice.json"
    room = a_room(scores=Scores(path))
    assert practise(room, [{"shape": "none"}])["best_stops"] == pytest.approx(1 / 3, abs=1e-3)
    assert room.state()["note"].startswith("Your best is not kept: No such file or directory.")
    path.parent.mkdir()
    practise(room, [{"shape": "none"}])
    assert path.exists()


def test_the_best_is_no_record_of_the_box():
    room = a_room()
    before = set(room.session.disk.names())
    practise(room, [{"shape": "none"}])
    assert not [name for name in set(room.session.disk.names()) - before if "practice" in name]


def test_another_card_does_not_count_for_the_exercise():
    room = a_room()
    room.do({"do": "practice", "name": "one-dodge"})
    load(room.session, a_card(base_ms=4000, name="mine"))
    room.do({"do": "fit", "filter": "2"})
    give_all(room)
    verdict = develop(room)
    assert (verdict["exercise"], verdict["best_stops"]) == ("", None)


# --- commands


@pytest.mark.parametrize(
    ("message", "says"),
    [
        ({}, "there is no None here"),
        ({"do": "dance"}, "there is no 'dance' here"),
        ({"do": ["shade"]}, "here"),
        ({"do": "shade", "shape": "star"}, "No shade 'star'"),
        ({"do": "shade", "shape": ["disc"]}, "No shade"),
        ({"do": "shade", "shape": "disc", "hand": "third"}, "No hand 'third': there are right, left."),
        ({"do": "shade", "shape": "disc", "hand": 2}, "No hand 2"),
        ({"do": "shade", "shape": "disc", "x": "left"}, "its x is no number"),
        ({"do": "shade", "shape": "disc", "y": math.nan}, "its y is no number"),
        ({"do": "shade", "shape": "disc", "size": math.inf}, "its size is no number"),
        ({"do": "shade", "shape": "disc", "angle": None}, "its angle is no number"),
        ({"do": "fit", "filter": "9"}, "No filter '9'"),
        ({"do": "fit"}, "No filter None"),
        ({"do": "fit", "filter": ["2"]}, "No filter"),
        ({"do": "paper", "name": "silk"}, "No paper 'silk'"),
        ({"do": "lamp", "name": "candle"}, "No lamp 'candle'"),
        ({"do": "negative", "name": "own"}, "No negative 'own'"),
        ({"do": "negative", "name": {}}, "No negative"),
        ({"do": "sheet"}, "one is in the easel"),
        ({"do": "area", "name": "", "points": MIDDLE}, "it has no name"),
        ({"do": "area", "name": "face", "points": MIDDLE[:2]}, "no list of 3 to 500 points"),
        ({"do": "area", "name": "face", "points": [[0, 0], [1], [1, 1]]}, "no pair of numbers"),
        ({"do": "area", "name": "face", "points": [[0, 0], [1, "a"], [1, 1]]}, "no pair of numbers"),
        ({"do": "area", "name": "face", "points": [[0, 0], [1, math.nan], [1, 1]]}, "no pair of numbers"),
        ({"do": "area", "name": "face", "points": [0, 1, 2]}, "no pair of numbers"),
        ({"do": "practice", "name": "juggling"}, "No exercise 'juggling'"),
        ({"do": "shade", "shape": "disc", "x": 10**400}, "its x is no number"),
        ({"do": "shade", "shape": "disc", "x": "0.5"}, "its x is no number"),
        ({"do": "shade", "shape": "disc", "x": True}, "its x is no number"),
        ({"do": "area", "name": "face", "points": [[0, 0], [1, 10**400], [1, 1]]}, "no pair of numbers"),
        ({"do": "area", "name": "face", "points": [[0, 0], [1, True], [1, 1]]}, "no pair of numbers"),
        ({"do": "area", "name": "a" * 41, "points": MIDDLE}, "it has no name"),
        ({"do": "area", "name": "two\nlines", "points": MIDDLE}, "it has no name"),
        ({"do": "fit", "filter": "9" * 1000}, "No filter '9999"),
        ({"do": "fit", "filter": 10**5000}, "No filter"),
        ({"do": 10**5000}, "here"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_line_and_changes_nothing(message, says):
    room = a_room()
    before = json.dumps(room.state())
    with pytest.raises(RoomError, match=says) as refusal:
        room.do(message)
    assert "\n" not in str(refusal.value)
    assert str(refusal.value).endswith(".")
    assert len(str(refusal.value)) < 300
    assert json.dumps(room.state()) == before


ODD = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.just(10**400),
        st.just(-(10**4000)),
        st.floats(),
        st.text(),
        st.sampled_from(("disc", "cover", "2", "none", "pears", "led", "vc-2020", "one-dodge", "face")),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(), inner, max_size=3)),
    max_leaves=12,
)
DOES = (
    *("shade", "fit", "paper", "lamp", "lens", "negative", "sheet", "develop", "area", "practice", "unplug"),
    "key",
)


@pytest.fixture(scope="module")
def any_room() -> Room:
    return a_room(a_card(base_ms=2000))


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "do": st.one_of(st.sampled_from(DOES), ODD),
            **dict.fromkeys(("shape", "x", "y", "size", "angle", "filter", "name", "dry"), ODD),
            "points": st.one_of(ODD, st.lists(st.lists(ODD, min_size=2, max_size=2), min_size=3, max_size=5)),
        },
    )
)
def test_whatever_is_asked_is_done_or_refused_in_a_line(any_room, message):
    """What is done leaves a room that can be told of and that a sheet can be developed in."""
    before = json.dumps(any_room.state())
    line = ""
    try:
        any_room.do(message)
    except RoomError as refusal:
        line = str(refusal)
    assert "\n" not in line
    assert len(line) < 300
    assert not line or json.dumps(any_room.state()) == before
    json.dumps(any_room.state(), allow_nan=False)


def test_areas_are_drawn_as_many_as_a_card_can_have_and_no_more():
    room = a_room()
    for number in range(PASSES_MAX * MARKS_MAX):
        room.do({"do": "area", "name": f"area {number}", "points": MIDDLE})
    room.do({"do": "area", "name": "area 7", "points": UPPER})
    with pytest.raises(RoomError, match=r"area 64 is not placed: 64 areas .*\.$"):
        room.do({"do": "area", "name": "area 64", "points": MIDDLE})


def test_an_outline_far_off_the_sheet_is_held_to_its_surroundings():
    room = a_room(a_card(("face", -60), base_ms=8000))
    room.do({"do": "area", "name": "face", "points": [[-1e308, -1e308], [1e308, 0.4], [0.5, 1e300]]})
    assert room.state()["areas"]["face"] == [(-2, -2), (3, 0.4), (0.5, 3)]
    give_all(room)
    develop(room)


@pytest.mark.parametrize(
    "message",
    [
        {"do": "develop"},
        {"do": "lamp", "name": "led"},
        {"do": "negative", "name": "pears"},
        {"do": "paper", "name": "vc-2020"},
        {"do": "practice", "name": "one-dodge"},
    ],
)
def test_what_would_spoil_an_exposure_waits_for_the_dark(message):
    room = a_room(a_card(base_ms=8000))
    keys(room.session, "expose", "expose")
    wait(room.session, 500)
    before = room.state()
    with pytest.raises(RoomError):
        room.do(message)
    after = room.state()
    assert before == after
    until_dark(room.session)
    wait(room.session, 1000)
    assert given_ms(develop(room))[REST, "2"] == pytest.approx(8000)


def test_nothing_in_the_easel_cannot_be_developed():
    room = a_room()
    develop(room)
    with pytest.raises(RoomError, match="no sheet in the easel"):
        room.do({"do": "develop"})
    with pytest.raises(RoomError, match="there is none yet"):
        room.picture("errors")
    with pytest.raises(RoomError, match="none yet"):
        room.picture("moon")


def test_a_full_shelf_is_said_as_the_box_says_it():
    room = a_room()
    for number in range(64):
        keep(room.session.box.shelf, PrintingMap.from_dict(a_card(name=f"card-{number}")))
    with pytest.raises(RoomError, match="the shelf holds 64"):
        room.do({"do": "practice", "name": "one-dodge"})
    assert room.state()["exercise"] == ""


def test_paper_that_has_seen_light_stays_in_the_easel():
    room = a_room(a_card(base_ms=2000))
    room.do({"do": "paper", "name": "vc-2020"})
    assert room.state()["sheet"]["number"] == 2, "the unexposed sheet was put back into its box"
    give_all(room)
    with pytest.raises(RoomError, match="has had light"):
        room.do({"do": "paper", "name": "vc-2019"})
    develop(room)
    room.do({"do": "paper", "name": "vc-2019"})


def test_closing_in_the_dark_does_nothing():
    room = a_room(a_card())
    state = room.session.box.state
    room.close_light()
    assert room.session.box.state == state
    keys(room.session, "expose")
    room.close_light()
    assert room.session.box.state == "ready"


def test_in_a_start_delay_the_seconds_to_the_light_are_told_and_closing_ends_it():
    room = a_room(a_card(("sky", 120), base_ms=4000))
    session = room.session
    session.box.asked.set_bench({"start_delay_s": 5})
    keys(session, "expose", "expose")
    until_dark(session)
    wait(session, 1000)
    keys(session, "expose")
    light_ms = session.now_ms + 5000
    for left_ms in (5000, 4999, 3100, 1):
        session.advance(light_ms - left_ms)
        box = room.state()["box"]
        assert (box["state"], box["left_ms"], box["lit"]) == ("delaying", left_ms, False)
    room.close_light()
    assert session.box.state == "ready"
    wait(session, 20_000)
    assert not session.lamp.lit


def test_a_room_of_what_there_is_not_is_refused():
    session = new_session()
    with pytest.raises(RoomError, match="No negative 'moon'"):
        Room(session, LampHouse(session), requests_for, "moon")
    for wrong in ({"lamp": "candle"}, {"paper": "silk"}):
        with pytest.raises(ValueError, match="there is no"):
            LampHouse(session, **wrong)


# --- what a page shows


def test_the_state_is_plain_data_with_all_that_a_page_shows():
    room = a_room(a_card(("sky", 60), base_ms=8000), "tungsten", negative="breakwater")
    keys(room.session, "expose", "expose")
    wait(room.session, 1000)
    shade(room, "disc", 0.3, 0.4, 0.25, 370)
    state = room.state()
    assert json.loads(json.dumps(state))["now_ms"] == room.session.now_ms
    assert state["box"] == {
        "state": "exposing",
        "lit": True,
        "safelight": True,
        "stage": {"kind": "base", "area": "", "filter": "2", "index": 1, "of": 3},
        "left_ms": 7000,
    }
    assert 0.9 < state["light"] <= 1
    assert state["settled"] is False
    assert state["filters"] == ["", "00", "0", "1", "2", "3", "4", "5"]
    assert state["papers"] == list(PAPER_NAMES)
    assert state["lamps"] == list(LAMPS)
    assert state["lag_ms"] == round(lag_ms(LAMPS["tungsten"], RELAYS["mechanical"]))
    assert state["hands"]["right"] == {
        "shape": "disc",
        "x": 0.3,
        "y": 0.4,
        "size": 0.25,
        "angle": 10,
        "lifted": False,
    }
    assert next(iter(state["areas"])) == "sky"
    assert len(state["areas"]["sky"]) >= 4
    assert [name for name, _, _ in state["exercises"]] == list(EXERCISES)
    assert 800 < state["sheet"]["lit_ms"] < 1000
    until_dark(room.session)
    assert not room.state()["settled"], "the filament still glows"
    assert 0 < room.state()["light"] < 1
    wait(room.session, 2000)
    assert room.state()["light"] < 1e-7
    wait(room.session, 4000)
    assert room.state()["settled"]


def test_the_lamps_rise_is_seen():
    room = a_room(a_card(base_ms=8000), "tungsten")
    keys(room.session, "expose", "expose")
    seen = []
    for _ in range(12):
        wait(room.session, 30)
        seen.append(room.state()["light"])
    assert seen[0] < 0.5
    assert seen == sorted(seen)


def test_the_viewing_light_tells_what_is_left_of_its_limit():
    room = a_room(viewing_limit_s=20)
    keys(room.session, "lamp")
    wait(room.session, 5000)
    state = room.state()["box"]
    assert (state["state"], state["left_ms"], state["stage"]) == ("viewing", 15_000, None)


def test_a_new_lamp_begins_dark_and_lags_as_it_does():
    room = a_room(a_card(base_ms=4000))
    wait(room.session, 3000)
    room.do({"do": "lamp", "name": "cold light"})
    assert room.state()["lag_ms"] == round(lag_ms(LAMPS["cold light"], RELAYS["mechanical"]))
    give_all(room)
    lost_ms = 4000 - given_ms(develop(room))[REST, "2"]
    assert lost_ms == pytest.approx(room.state()["lag_ms"], abs=5)


def test_graded_paper_sees_blue_alone_and_another_lag():
    room = a_room(lamp="tungsten")
    assert room.state()["lag_ms"] == round(lag_ms(LAMPS["tungsten"], RELAYS["mechanical"], seen=PAPER))
    room.do({"do": "paper", "name": "grade 2"})
    assert room.state()["lag_ms"] == round(lag_ms(LAMPS["tungsten"], RELAYS["mechanical"], seen=PAPER_BLUE))


def test_a_mark_of_minus_a_stop_is_half_the_light():
    # The plan in the rows is the map's: arithmetic.
    room = a_room(a_card(("face", -120), base_ms=9000))
    give_all(room)
    planned = {row["area"]: row["planned_ms"] for row in develop(room)["rows"]}
    assert planned == {"face": stops(9000, -120), REST: 9000}


# --- guided tests


def in_a_test(key: str, lamp: str = "ideal") -> Room:
    room = a_room(lamp=lamp)
    to_screen(room.session, "tests")
    to_row(room.session, HEADINGS[key])
    room.session.input("press")
    return room


def give_rest(room: Room) -> None:
    keys(room.session, "expose")
    while room.session.box.state in ("exposing", "between", "waiting"):
        room.session.advance(room.session.next_ms())
    wait(room.session, 1500)


@pytest.mark.parametrize("key", [key for key in HEADINGS if key not in OF_THE_CELL])
def test_the_sheet_of_a_guided_test_is_held_against_no_map(key):
    room = in_a_test(key)
    hands = IdealHands(room.session, room.house)
    keys(room.session, "expose")
    while room.session.box.state == "ready":
        give_rest(room)
        assert room.state()["sheet"]["in"]
    verdict = develop(room)
    assert verdict["note"].startswith("No verdict: this sheet was for a guided test.")
    assert verdict["worst_stops"] is None
    assert hands.sheets == []
    assert room.state()["pictures"]["errors"] == 0


def test_a_half_that_is_covered_in_the_lag_test_comes_out_lighter():
    """The left half gets 16 strikes, and the right the first patch alone: less, by what the lag is not."""
    room = in_a_test("lag", "tungsten")
    keys(room.session, "expose")
    shade(room, "edge", 0.75, 0.5, 1.0)
    give_rest(room)
    develop(room)
    left, right = grey(room, "print")[:, 200].mean(), grey(room, "print")[:, 950].mean()
    assert left < right, "what had light is dark"
