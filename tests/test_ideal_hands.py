"""What the paper gets: every area of the sheet, measured under a lamp with physics, against the map.

The plan here is worked out from the card's plain data, not taken from the report's own: `planned` is
the base less the dodges plus the burns of an area, each cut by the dry-down, in ms of full light.
"""

import hypothesis.strategies as st
import pytest
from hypothesis import assume, event, given, settings

from host_sim.darkroom.ideal_hands import REST, IdealHands
from host_sim.optics.feed import RELAYS
from host_sim.optics.filament import PAPER, PAPER_BLUE, PAPER_GREEN
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.lamps import LAMPS, lag_ms
from tests.box_model import (
    LightMeter,
    a_card,
    a_pass,
    keys,
    last_record,
    load,
    new_session,
    patch_totals,
    set_row,
    stops,
    to_ms,
    to_row,
    to_screen,
    together,
    until_dark,
    wait,
)

RULES = settings(max_examples=60, deadline=None)


def planned(card: dict) -> dict[tuple[str, str], int]:
    kept = 1 - card["dry_down_pm"] / 1000 if card["dry_down"] else 1
    areas = {mark["area"] for own in card["passes"] for mark in own["marks"]} | {REST}
    plan: dict[tuple[str, str], int] = {}

    def add(area: str, filter: str, ms: int) -> None:
        plan[area, filter] = plan.get((area, filter), 0) + ms

    flash = card.get("flash")
    for area in areas if flash else ():
        add(area, flash.get("filter", ""), flash["light_ms"])
    for own in card["passes"]:
        base_ms = own["base_ms"]
        for area in areas:
            add(area, own["filter"], to_ms(round(base_ms * kept, 6)))
        for mark in own["marks"]:
            change_ms = abs(stops(base_ms, mark["stops120"]) - base_ms)
            sign = 1 if mark["stops120"] > 0 else -1
            add(mark["area"], mark.get("filter") or own["filter"], sign * to_ms(round(change_ms * kept, 6)))
    lit = {own["filter"] for own in card["passes"]} | ({flash.get("filter", "")} if flash else set())
    return {key: ms for key, ms in plan.items() if ms or key[1] in lit}


class Darkroom:
    """A box, ideal hands and a sheet under its lamp."""

    def __init__(self, lamp: str = "ideal", relay: str = "ideal", reaction_ms: int = 0, **bench) -> None:
        self.session = new_session(panel_ms=0)
        self.session.box.asked.set_bench(bench)
        self.house = LampHouse(self.session)
        self.house.put_in(LAMPS[lamp], RELAYS[relay], warmed_up=False)
        self.hands = IdealHands(self.session, self.house, reaction_ms)
        self.meter = LightMeter(self.session)
        self.meter.safelight = 1
        self.session.watchers += [self.hands, self.meter]

    def print_it(self, holds: list[int] = ()) -> None:
        """Give the whole print of the sheet the box is on, holding after each of `holds` ms of lamp."""
        session, holds = self.session, list(holds)
        keys(session, "expose")
        while session.box.state in ("ready", "held"):
            keys(session, "expose")
            if session.lamp.lit and holds:
                wait(session, holds.pop())
                if session.lamp.lit:
                    keys(session, "expose")
            if session.lamp.lit:
                until_dark(session)
            wait(session, 1500)  # the lamp has died away before anybody can press again

    def sheets(self) -> list[dict[tuple[str, str], float]]:
        """Light of every area through every filter, in ms of full light, sheet by sheet."""
        return [{(a.area, a.filter): a.given_ms for a in areas} for _, areas in self.hands.report()]


# --- any map at all

areas = st.sampled_from(("face", "hands", "sky", "sea", "door"))
filters = st.sampled_from(("", "00", "2", "5"))
dodges = st.tuples(areas, st.integers(-90, -1), st.booleans()).map(
    lambda m: {"area": m[0], "stops120": m[1], **({"with_previous": True} if m[2] else {})}
)
burns = st.tuples(areas, st.integers(1, 240), filters).map(
    lambda m: {"area": m[0], "stops120": m[1], **({"filter": m[2]} if m[2] else {})}
)
passes = st.builds(
    lambda filter, base_ms, dodges, burns: {"filter": filter, "base_ms": base_ms, "marks": dodges + burns},
    filters,
    st.one_of(st.integers(800, 60_000), st.sampled_from((1000, 4000, 16_000, 32_000))),
    st.lists(dodges, max_size=3),
    st.lists(burns, max_size=3),
)
flashes = st.fixed_dictionaries(
    {"light_ms": st.integers(100, 4000)},
    optional={"filter": st.sampled_from(("00", "2", "5")), "after": st.just(True)},
)
cards = st.builds(
    lambda passes, flash, dry, pm, tied: {
        **a_card(tied=tied, dry_down=dry, dry_down_pm=pm),
        "passes": passes,
        **({"flash": flash} if flash else {}),
    },
    st.lists(passes, min_size=1, max_size=4),
    st.none() | flashes,
    st.booleans(),
    st.integers(0, 300),
    st.booleans(),
)


@RULES
@given(
    card=cards, holds=st.lists(st.integers(1, 9000), max_size=6), lead_ms=st.sampled_from((500, 2000, 2300))
)
def test_every_area_of_any_map_gets_its_light(card, holds, lead_ms):
    room = Darkroom(lead_ms=lead_ms, least_ms=20)
    load(room.session, card)
    assume(room.session.box._refusal() is None)
    room.print_it(holds)
    assert room.session.box.state == "browse"
    strikes = sum(stage["strikes"] for stage in last_record(room.session.box)["stages"])
    event(f"strikes: {min(strikes, 10)}, dodges: {sum(len(s.windows) for s in room.session.box.plan())}")
    (sheet,) = room.sheets()
    plan = planned(card)
    assert set(sheet) == set(plan)
    for key, ms in plan.items():
        assert sheet[key] == pytest.approx(ms, abs=strikes), key
    # Without lag and rise there is nothing to be off by: the ms of grace is not used.
    assert all(sheet[key] == pytest.approx(ms, abs=1e-6) for key, ms in plan.items())


def test_a_start_delay_costs_time_and_changes_no_light():
    found = []
    for delay_s in (0, 5):
        room = Darkroom("tungsten", start_delay_s=delay_s)
        load(room.session, a_card(("face", -40), ("sky", 60), ("door", 120, "00"), base_ms=16_000))
        began_ms = room.session.now_ms
        keys(room.session, "expose")
        while room.session.box.state == "ready":
            wait(room.session, 3000)
            room.session.input("expose")
            while room.session.box.lit:
                room.session.advance(room.session.next_ms())
        assert room.session.box.state == "browse"
        found.append((room.session.now_ms - began_ms, room.sheets()))
    (plain_ms, plain), (delayed_ms, delayed) = found
    assert delayed_ms == plain_ms + 2 * 5000
    for key, ms in plain[0].items():
        assert delayed[0][key] == pytest.approx(ms, rel=1e-3), key


@RULES
@given(card=cards)
def test_the_report_plans_what_the_map_says(card):
    room = Darkroom(least_ms=20)
    load(room.session, card)
    assume(room.session.box._refusal() is None)
    room.print_it()
    ((_, found),) = room.hands.report()
    assert {(a.area, a.filter): a.planned_ms for a in found} == planned(card)
    for light in found:
        assert light.error_stops is None or abs(light.error_stops) < 1e-9


# --- lamps that are slow to light and slow to die

MAP = a_card(("face", -40), ("hands", -20), ("sky", 80), base_ms=16_000)
MAP["passes"].append(a_pass(("door", 60, "00"), base_ms=9000, filter="5"))


@pytest.mark.parametrize("relay", ["mechanical", "zero-cross 50 Hz"])
@pytest.mark.parametrize("lamp", ["tungsten", "led"])
def test_a_measured_lag_makes_up_for_a_slow_lamp(lamp, relay):
    lag = round(lag_ms(LAMPS[lamp], RELAYS[relay]))
    room = Darkroom(lamp, relay, lag_ms=lag)
    load(room.session, MAP)
    room.print_it([3000, 4100, 2500, 3300])
    ((_, found),) = room.hands.report()
    errors = {(light.area, light.filter): light.error_stops for light in found}
    assert set(errors) == set(planned(MAP))
    assert max(abs(error) for error in errors.values()) < 0.01


@pytest.mark.parametrize(
    ("filter", "seen"),
    [("00", PAPER_GREEN), ("5", PAPER_BLUE), ("", PAPER), ("2", PAPER), ("3", PAPER_BLUE - 0.8 * 50 / 140)],
)
def test_the_lag_that_a_filter_sees_makes_up_for_it(filter, seen):
    # The softest filter leaves the green-sensitive emulsion, the hardest blue; in between goes by ISO range,
    # which puts filter 2 and no filter half-way on this paper (R 110 of 40 to 180; filter 3 has 90).
    lag = lag_ms(LAMPS["tungsten"], RELAYS["mechanical"], seen=seen)
    room = Darkroom("tungsten", "mechanical", lag_ms=round(lag))
    load(room.session, a_card(base_ms=12_000, filter=filter))
    room.print_it()
    ((_, (rest,)),) = room.hands.report()
    assert rest.given_ms == pytest.approx(12_000 + round(lag) - lag, abs=0.05)


def test_one_lag_for_both_filters_of_split_grade_is_off_by_little():
    # The paper's lag without a filter is between that of the two: some 7 ms either way.
    room = Darkroom("tungsten", "mechanical")
    room.session.box.asked.set_bench({"lag_ms": room.house.lag_ms})
    card = a_card(base_ms=7400, filter="00")
    card["passes"].append(a_pass(base_ms=8200, filter="5"))
    load(room.session, card)
    room.print_it()
    ((_, lights),) = room.hands.report()
    soft, hard = (light.given_ms - light.planned_ms for light in lights)
    assert 5 < soft < 11
    assert -10 < hard < -2  # struck while still warm
    assert all(abs(light.error_stops) < 0.002 for light in lights)


def test_light_through_a_filter_without_data_gets_no_verdict():
    room = Darkroom()
    card = a_card(base_ms=4000, filter="2")
    card["passes"].append(a_pass(base_ms=3000, filter="red"))
    load(room.session, card)
    room.print_it()
    ((sheet, (two, red)),) = room.hands.report()
    assert sheet.lacking == ["red"]
    assert sheet.error_stops(two) == pytest.approx(0, abs=1e-9)
    assert sheet.error_stops(red) is None
    assert red.given_ms == pytest.approx(3000)


def test_without_its_lag_a_slow_lamp_is_off_by_what_anybody_sees():
    room = Darkroom("tungsten", "mechanical")
    load(room.session, a_card(base_ms=2000))
    room.print_it()
    ((_, (rest,)),) = room.hands.report()
    lost_ms = lag_ms(LAMPS["tungsten"], RELAYS["mechanical"])
    assert rest.given_ms == pytest.approx(2000 - lost_ms, abs=10)
    assert rest.error_stops < -0.03


def test_every_hold_costs_the_lag_once():
    lag = round(lag_ms(LAMPS["tungsten"], RELAYS["mechanical"]))
    plain, held = (Darkroom("tungsten", "mechanical", lag_ms=lag) for _ in range(2))
    for room, holds in ((plain, []), (held, [1500, 2500, 2000])):
        load(room.session, a_card(base_ms=12_000))
        room.print_it(holds)
    (without,), (with_holds,) = plain.sheets(), held.sheets()
    assert with_holds[REST, "2"] == pytest.approx(without[REST, "2"], rel=0.005)
    assert last_record(held.session.box)["stages"][0]["strikes"] == 4


# --- hands


@pytest.mark.parametrize("reaction_ms", [150, 300])
def test_late_hands_shift_a_window_and_do_not_change_its_length(reaction_ms):
    card = a_card(("face", -60), base_ms=16_000)
    room = Darkroom(reaction_ms=reaction_ms)
    load(room.session, card)
    room.print_it()
    (sheet,) = room.sheets()
    assert sheet["face", "2"] == pytest.approx(planned(card)["face", "2"], abs=1e-6)
    assert sheet[REST, "2"] == pytest.approx(16_000)


def test_hands_too_late_for_the_end_dodge_less():
    # 8 s with 2 s of lead-in: a dodge of one stop and a half opens at 2 s and closes at 7.172 s.
    card = a_card(("face", -180), base_ms=8000)
    close_ms = 2000 + 8000 - stops(8000, -180)
    room = Darkroom(reaction_ms=1000)
    load(room.session, card)
    room.print_it()
    (sheet,) = room.sheets()
    assert close_ms + 1000 > 8000
    assert sheet["face", "2"] == pytest.approx(3000, abs=1e-6), (
        "light until 3 s, and shaded from there to the end"
    )


def test_a_hold_inside_a_window_keeps_the_card_in_place():
    card = a_card(("face", -60), base_ms=16_000)
    for holds in ([3000], [2000], [2001], [6686], [6685]):
        room = Darkroom()
        load(room.session, card)
        room.print_it(holds)
        (sheet,) = room.sheets()
        assert sheet["face", "2"] == pytest.approx(planned(card)["face", "2"], abs=1), holds


# --- a shade in each hand

PAIR = together(a_card(("face", -60), ("hands", -40), base_ms=8000))
"""Both go in at 2 s; the hands come out at 3.650 s, the face at 4.343 s."""


@pytest.mark.parametrize("offsets", [(-60, -60), (-60, -40), (-40, -60)])
@pytest.mark.parametrize("lamp", ["ideal", "tungsten"])
def test_two_areas_that_are_shaded_at_once_both_get_their_light(lamp, offsets):
    card = together(a_card(("face", offsets[0]), ("hands", offsets[1]), base_ms=8000))
    relay = "ideal" if lamp == "ideal" else "mechanical"
    lag = round(lag_ms(LAMPS[lamp], RELAYS[relay]))
    room = Darkroom(lamp, relay, lag_ms=lag)
    load(room.session, card)
    room.print_it([3000])
    ((_, found),) = room.hands.report()
    assert {(light.area, light.filter) for light in found} == set(planned(card))
    for light in found:
        assert light.planned_ms == planned(card)[light.area, light.filter]
        assert abs(light.error_stops) < (1e-6 if lamp == "ideal" else 0.01)


@pytest.mark.parametrize("hold_ms", [1999, 2000, 2001, 3649, 3650, 3651, 4342, 4343, 4344])
def test_a_hold_while_two_shades_are_in_leaves_both_in_place(hold_ms):
    room = Darkroom()
    load(room.session, PAIR)
    room.print_it([hold_ms])
    (sheet,) = room.sheets()
    for key, ms in planned(PAIR).items():
        assert sheet[key] == pytest.approx(ms, abs=1), key


@pytest.mark.parametrize("pulled_ms", [1000, 2500, 4000, 5000])
def test_after_a_pulled_plug_the_shades_that_are_due_are_in(pulled_ms):
    room = Darkroom()
    load(room.session, PAIR)
    keys(room.session, "expose", "expose")
    wait(room.session, pulled_ms)
    keys(room.session, "expose")
    room.session.reset()
    keys(room.session, "press", "expose")
    until_dark(room.session)
    (sheet,) = room.sheets()
    for key, ms in planned(PAIR).items():
        assert sheet[key] == pytest.approx(ms, abs=1), key


def test_late_hands_shift_both_windows_and_change_neither_length():
    room = Darkroom(reaction_ms=200)
    load(room.session, PAIR)
    room.print_it()
    (sheet,) = room.sheets()
    assert sheet == pytest.approx(planned(PAIR), abs=1e-6)


# --- sheets


def test_an_edition_is_a_sheet_for_every_print():
    card = a_card(("face", -60), ("sky", 60), base_ms=8000)
    room = Darkroom()
    load(room.session, card)
    for _ in range(3):
        room.print_it()
    sheets = room.sheets()
    assert len(sheets) == 3
    for sheet in sheets:
        assert sheet == pytest.approx(planned(card), abs=1e-6)


def test_a_stage_given_twice_is_twice_on_the_same_sheet():
    room = Darkroom()
    load(room.session, a_card(("face", -60), ("sky", 60), base_ms=8000))
    keys(room.session, "expose", "expose")
    until_dark(room.session)
    room.session.input("dial", -1)
    keys(room.session, "expose")
    until_dark(room.session)
    (sheet,) = room.sheets()
    assert sheet[REST, "2"] == pytest.approx(16_000)
    assert sheet["face", "2"] == pytest.approx(2 * stops(8000, -60), abs=1e-6)


def test_a_run_taken_up_after_a_reset_is_on_the_same_sheet():
    room = Darkroom()
    load(room.session, a_card(("face", -60), base_ms=8000))
    keys(room.session, "expose", "expose")
    wait(room.session, 3000)
    room.session.reset()
    keys(room.session, "press", "expose")
    until_dark(room.session)
    (sheet,) = room.sheets()
    assert sheet[REST, "2"] == pytest.approx(3000 + 8000), "the paper does not forget what the box had to"
    # The card was in from 2 s on, and gone with the plug.
    assert sheet["face", "2"] == pytest.approx(2000 + stops(8000, -60), abs=1e-6)


def begun(room: Darkroom, card: dict, ms: int = 3000) -> None:
    """The base is held after so much of its light."""
    load(room.session, card)
    keys(room.session, "expose", "expose")
    wait(room.session, ms)
    keys(room.session, "expose")


@pytest.mark.parametrize("way", ["left", "left, and the plug pulled", "cut off, and left"])
def test_a_run_that_is_left_and_gone_on_with_is_on_the_same_sheet(way):
    room = Darkroom()
    session = room.session
    begun(room, a_card(("face", -60), base_ms=8000))
    if way == "left":
        keys(session, "back", "lamp", "lamp")  # the box warns of the paper once
        wait(session, 1000)
        keys(session, "lamp")
    elif way == "left, and the plug pulled":
        keys(session, "back")
        session.reset()
        keys(session, "back")
    else:
        session.reset()
        keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press", "expose")
    until_dark(session)
    assert session.box.state == "browse"
    (sheet,) = room.sheets()
    assert sheet == pytest.approx(planned(a_card(("face", -60), base_ms=8000)), abs=1)


def test_a_strip_that_was_cut_off_goes_on_on_its_sheet():
    room = Darkroom()
    session = room.session
    load(session, a_card(base_ms=8000))
    to_screen(session, "strip")
    keys(session, "expose", "expose")
    until_dark(session)
    session.reset()
    keys(session, "press")
    while session.box.state == "ready":
        keys(session, "expose")
        until_dark(session)
    ((sheet, lights),) = room.hands.report()
    assert sheet.title == "strip, 5 patches"
    assert [light.error_stops for light in lights] == pytest.approx([0] * 5, abs=1e-9)


@pytest.mark.parametrize("had_light", [True, False])
def test_a_sheet_keeps_the_plan_its_run_began_with(had_light):
    room = Darkroom()
    session = room.session
    if had_light:
        begun(room, a_card(base_ms=8000))
    else:
        load(session, a_card(base_ms=8000))
        keys(session, "expose")
    keys(session, "back")
    to_screen(session, "print")
    set_row(session, "Base", 3)
    assert session.box.work.map.base_ms(0) != 8000
    keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press", "expose")
    until_dark(session)
    ((_, (rest,)),) = room.hands.report()
    assert (rest.planned_ms, rest.given_ms) == (8000, pytest.approx(8000))


@pytest.mark.parametrize("way", ["ended", "asked"])
def test_a_run_begun_after_ending_another_is_a_new_sheet(way):
    room = Darkroom()
    session = room.session
    begun(room, a_card(base_ms=8000))
    keys(session, "back")
    if way == "ended":
        to_row(session, "End this run")
        keys(session, "press")
    to_screen(session, "print")
    keys(session, "expose")
    if way == "asked":
        assert session.box.state == "ask"
        keys(session, "press")
    keys(session, "expose")
    until_dark(session)
    first, second = room.sheets()
    assert (first[REST, "2"], second[REST, "2"]) == (pytest.approx(3000), pytest.approx(8000))


def test_hands_go_on_where_a_reset_cut_them_off():
    # Windows of 2 to 4 s and 6 to 7.172 s: the second was under way, and the box knows light up to the first.
    card = a_card(("face", -120), base_ms=9000)
    card["passes"][0]["marks"] = [{"area": "face", "stops120": -48}, {"area": "hands", "stops120": -24}]
    card["passes"][0]["base_ms"] = 12_000
    face_ms, hands_ms = (12_000 - stops(12_000, stops120) for stops120 in (-48, -24))
    room = Darkroom()
    session = room.session
    begun(room, card, 3000)
    keys(session, "expose")
    wait(session, 2000 + face_ms)
    assert session.lamp.lit
    session.reset()
    assert session.box.exposing.known_ms == 3000
    keys(session, "press", "expose")
    until_dark(session)
    (sheet,) = room.sheets()
    twice_ms = 2000 + face_ms  # what it had after the hold, and did not remember
    assert sheet[REST, "2"] == pytest.approx(12_000 + twice_ms)
    shaded_ms = (face_ms - 1000) + face_ms
    assert sheet["face", "2"] == pytest.approx(12_000 + twice_ms - shaded_ms)
    # Its window, 2 s after the face's, had begun 1 s before the cut, if it is so long.
    assert sheet["hands", "2"] == pytest.approx(12_000 + twice_ms - min(1000, hands_ms) - hands_ms)


def test_viewing_light_is_on_no_sheet():
    room = Darkroom()
    load(room.session, a_card(base_ms=8000))
    keys(room.session, "lamp")
    wait(room.session, 5000)
    keys(room.session, "lamp")
    keys(room.session, "expose", "expose")
    wait(room.session, 3000)
    keys(room.session, "expose", "lamp", "lamp")
    wait(room.session, 5000)
    keys(room.session, "lamp", "expose")
    until_dark(room.session)
    (sheet,) = room.sheets()
    assert sheet[REST, "2"] == pytest.approx(8000)


@RULES
@given(
    kind=st.sampled_from((0, 1)),
    fewer=st.integers(-4, 4),
    step=st.integers(-2, 5),
    target=st.integers(0, 2),
    base_ms=st.integers(2000, 40_000),
    holds=st.lists(st.integers(200, 3000), max_size=5),
)
def test_every_patch_of_a_strip_gets_its_light(kind, fewer, step, target, base_ms, holds):
    room = Darkroom(least_ms=20)
    session = room.session
    card = a_card(("sky", 60), ("sea", 40, "00"), base_ms=base_ms)
    load(session, card)
    to_screen(session, "strip")
    for label, detents in (("Strip for", target), ("Kind", kind), ("Patches", fewer), ("Step", step)):
        if detents:
            set_row(session, label, detents)
    to_row(session, "Strip for")
    assume(session.box._refusal() is None)
    room.print_it(holds)
    assert session.box.state == "choose"
    (sheet,) = room.sheets()
    strip = session.box.work.strip
    filter = "00" if target == 2 else "2"
    totals = patch_totals(card, strip)
    for number, total in enumerate(totals):
        assert sheet[f"patch {number + 1}", filter] == pytest.approx(total, abs=1e-6)
        if target == 2:
            assert sheet[f"patch {number + 1}", "2"] == pytest.approx(base_ms), "the base is given first"
    assert len(sheet) == len(totals) * (2 if target == 2 else 1)
