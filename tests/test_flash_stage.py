"""The flash of a print: light without the negative, from the map to the paper.

Outside checks: the paper is the simulator's, which is made of published ISO ranges and speeds; what a flash
does is worked out here from the definitions of ISO 6846 alone, and carrying over from the optics of a lens.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.darkroom.checks import RoomError
from host_sim.darkroom.planned_light import REST
from host_sim.optics.paper import paper
from host_sim.optics.shades import Shade, cast_of
from host_sim.optics.sheet import Beam, Sheet
from lampblack.text.tables import run_plain, run_table
from tests.box_model import (
    GuardedDisk,
    LightMeter,
    a_card,
    a_pass,
    keys,
    last_record,
    load,
    new_session,
    set_row,
    to_row,
    to_screen,
    undo,
    until_dark,
    wait,
)
from tests.test_room import a_room, develop, give, given_ms
from timing_core.canonical import encode
from timing_core.light.bench import Bench
from timing_core.light.carrying import to_aperture, to_size
from timing_core.light.plan import compile_print, stage_name, stage_task
from timing_core.light.printing_map import Flash, PrintingMap
from timing_core.light.stops import STOP, scale
from timing_core.light.strip import Strip
from timing_core.refusal import Refusal

OPEN = {"aperture": 36, "negative_mm10": 360, "print_mm10": 2540}


def a_map(base_ms: int = 10_000, **flash) -> PrintingMap:
    return PrintingMap.from_dict(
        a_card(("sky", 60), base_ms=base_ms, measures=dict(OPEN), flash={"light_ms": 1200, **flash})
    )


# --- the map


def test_a_card_without_a_flash_is_written_as_before():
    card = a_card(("sky", 60))
    map = PrintingMap.from_dict(card)
    assert map.flash is None
    assert map.to_dict() == card
    assert map.text() == encode(card)
    assert b"flash" not in map.text()


def test_a_flash_is_turned_there_and_back_to_the_same_ms():
    flash = Flash(1234, "00", True)
    for stops120, steps in ((10, 7), (40, -3), (1, 11)):
        there = flash.moved(stops120 * steps)
        assert there.light_ms() == scale(1234, stops120 * steps)
        assert (there.filter, there.after) == ("00", True)
        assert there.moved(-stops120 * steps).light_ms() == 1234
    assert flash.light_ms() == 1234, "it is another one that moves"


@pytest.mark.parametrize(("ms", "stops120"), [(100, -1), (999_900, 1), (100, 1201), (999_900, -1201)])
def test_a_flash_out_of_range_is_refused(ms, stops120):
    with pytest.raises(Refusal, match=r"^The flash is not changed: .*\. It goes from 0\.1 to 999\.9 s\.$"):
        Flash(ms).moved(stops120)


def test_the_drawer_has_to_hold_the_flash_s_filter():
    assert a_map(filter="00").filters() == ["2", "00"]
    assert a_map(filter="2").filters() == ["2"]


# --- carrying over: the lens is the same, the negative is out


@given(st.integers(1000, 20_000), st.integers(1000, 20_000), st.integers(-12, 12))
@settings(deadline=None)
def test_a_carried_flash_gives_the_paper_the_light_it_gave(print_mm10, new_mm10, sixths):
    """Illuminance on the easel is in proportion to 1 / (N (m + 1)) ** 2, with a negative or without one."""
    map = a_map()
    map.measures["print_mm10"] = print_mm10

    def light(ms: int) -> float:
        f_number = 2 ** (map.measures["aperture"] / 12)
        magnification = map.measures["print_mm10"] / map.measures["negative_mm10"]
        return ms / (f_number * (magnification + 1)) ** 2

    before, ratio = light(map.flash.light_ms()), map.flash.light_ms() / map.base_ms(0)
    try:
        to_size(map, new_mm10)
        to_aperture(map, 36 + sixths)
    except Refusal:
        return
    # To half of 1/120 stop from the size, and half a ms.
    ms = map.flash.light_ms()
    assert math.log2(light(ms) / before) == pytest.approx(0, abs=0.5 / STOP + 0.75 / ms)
    assert ms / map.base_ms(0) == pytest.approx(ratio, rel=1 / ms)


@given(st.lists(st.integers(-40, 40), max_size=6))
@settings(deadline=None)
def test_carried_there_and_back_a_flash_has_the_same_ms(steps):
    map = a_map()
    map.carry("size", 0)
    for step in [*steps, *(-step for step in reversed(steps))]:
        map.carry("size", step)
    assert (map.flash.light_ms(), map.base_ms(0)) == (1200, 10_000)


def test_a_flash_that_carrying_would_take_out_of_range_is_refused_and_nothing_changes():
    map = a_map(light_ms=120)
    before = map.text()
    with pytest.raises(Refusal, match=r"^The flash is not changed: it would be 0\.0 s\."):
        to_aperture(map, 30)
    with pytest.raises(Refusal, match=r"^The flash is not changed: .*\. Close the lens by .* first, to f/"):
        to_size(map, 1200)
    assert map.text() == before
    map = a_map(base_ms=120)
    with pytest.raises(Refusal, match=r"^Base is not changed"):
        to_aperture(map, 30)
    assert map.flash.light_ms() == 1200


def test_other_bases_leave_the_flash_as_it_is():
    map = a_map()
    map.step_base(0, 40, 2)
    map.set_bases([4000])
    map.set_pass_count(2)
    map.set_tied(True)
    map.step_base(1, 40, 1)
    assert map.flash.light_ms() == 1200


# --- the plan


def steps_of(map: PrintingMap, **bench) -> list[tuple]:
    own = Bench()
    own.take({**own.to_dict(), **bench})
    return [(stage_name(s), s.filter, s.shown_ms, s.light_ms) for s in compile_print(map, own)]


def test_a_flash_comes_first_with_the_negative_taken_out_and_put_back():
    assert steps_of(a_map(filter="00")) == [
        ("Fit filter 00", "00", 0, 0),
        ("Negative out", "00", 0, 0),
        ("Flash", "00", 1200, 1200),
        ("Negative in", "00", 0, 0),
        ("Fit filter 2", "2", 0, 0),
        ("Base, pass 1", "2", 10_000, 10_000),
        ("Burn sky", "2", 4142, 4142),
    ]


def test_a_flash_that_comes_last_begins_with_the_negative_put_in():
    assert steps_of(a_map(filter="2", after=True)) == [
        ("Fit filter 2", "2", 0, 0),
        ("Negative in", "2", 0, 0),
        ("Base, pass 1", "2", 10_000, 10_000),
        ("Burn sky", "2", 4142, 4142),
        ("Negative out", "2", 0, 0),
        ("Flash", "2", 1200, 1200),
    ]


def test_dry_down_cuts_the_print_and_not_the_flash():
    map = a_map(filter="2")
    map.dry_down, map.dry_down_pm = True, 100
    lit = [step for step in steps_of(map) if step[2]]
    assert lit == [
        ("Flash", "2", 1200, 1200),
        ("Base, pass 1", "2", 10_000, 9000),
        ("Burn sky", "2", 4142, 3728),
    ]


def test_a_flash_that_the_lamp_cannot_give_is_refused():
    with pytest.raises(Refusal, match=r"^Flash is too short: 1200 ms of light, .* needs 2000 ms\."):
        steps_of(a_map(), least_ms=2000)


@pytest.mark.parametrize("kind", ["cover", "fresh"])
@pytest.mark.parametrize("after", [False, True])
def test_a_strip_has_the_flash_first(kind, after):
    """Under the base it is a third of a stop of a middle grey, so that a strip without it would mislead."""
    map = a_map(filter="00", **({"after": True} if after else {}))
    strip = Strip()
    strip.kind, strip.patches = kind, 3
    stages = strip.compile(map, Bench())
    assert [(s.kind, s.filter) for s in stages[:5]] == [
        ("fit", "00"),
        ("negative", "00"),
        ("flash", "00"),
        ("negative", "00"),
        ("fit", "2"),
    ]
    assert [s.kind for s in stages[5:]] == [kind] * 3
    gave = strip.gives(map)
    map.flash = map.flash.moved(10)
    assert strip.gives(map) != gave, "another flash, another strip"


def test_the_plan_s_table_has_the_flash_and_the_negative():
    stages = compile_print(a_map(filter="2"), Bench())
    plain = run_plain(stages, lag_ms=100)
    assert [(row["kind"], row["area"], row["lamp_ms"]) for row in plain["stages"][:4]] == [
        ("fit", "", 0),
        ("negative", "out", 0),
        ("flash", "", 1300),
        ("negative", "in", 0),
    ]
    table = run_table(stages, lag_ms=100)
    assert list(table.columns[1].cells)[1:4] == ["Negative out", "Flash", "Negative in"]


# --- given


def flashed(ms: int = 1200, **more):
    session = new_session(GuardedDisk(), settle_ms=0)
    load(session, a_card(base_ms=4000, flash={"light_ms": ms, "filter": "2", **more}))
    return session


def test_each_press_does_one_thing_and_the_ledger_has_the_light():
    session = flashed()
    meter = LightMeter(session)
    session.watchers.append(meter)
    box, said = session.box, []
    keys(session, "expose")
    while box.state != "browse":
        said.append((stage_task(box.run.stage), box.machine.says("expose")))
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)
    assert said == [
        ("Negative out", "negative is out"),
        ("Flash", "give 1.2 s"),
        ("Negative in", "negative is in"),
        ("Base, pass 1", "give 4.0 s"),
    ]
    record = last_record(box)
    assert [(s["stage"], s["filter"], s["given_ms"]) for s in record["stages"]] == [
        ("Flash", "2", 1200),
        ("Base, pass 1", "2", 4000),
    ]
    assert record["whole"]
    assert record["map"]["flash"] == {"light_ms": 1200, "filter": "2"}
    assert meter.light_ms == 5200
    assert session.disk.written_while_lit == []


def test_a_flash_that_is_held_gives_the_rest_and_no_more():
    session = flashed(ms=3000)
    meter = LightMeter(session)
    session.watchers.append(meter)
    keys(session, "expose", "expose", "expose")
    for _ in range(2):
        wait(session, 900)
        keys(session, "expose")
        assert session.box.state == "held"
        wait(session, 2000)
        keys(session, "expose")
    until_dark(session)
    assert meter.light_ms == pytest.approx(3000, abs=3)
    assert stage_name(session.box.run.stage) == "Negative in"


@pytest.mark.parametrize(
    ("presses", "wait_ms", "known_ms", "says", "goes_on_at"),
    [
        (1, 0, 0, "Power was lost before: Negative out.", "Negative out"),
        (2, 0, 0, "Power was lost. Flash may be partly exposed.", "Flash"),
        (3, 700, 0, "Power was lost. Flash may be partly exposed.", "Flash"),
        (3, 700, 650, "The box was reset. Flash had 0.6 s or more.", "Flash"),
        (3, 1199, 1200, "The box was reset. Flash had all of its light.", "Negative in"),
        (3, 1300, 0, "Power was lost before: Negative in.", "Negative in"),
    ],
)
def test_a_reset_tells_what_is_known_and_goes_on_where_it_was(presses, wait_ms, known_ms, says, goes_on_at):
    session = flashed()
    keys(session, *["expose"] * presses)
    wait(session, wait_ms)
    session.reset(known_ms)
    assert session.box.message == says
    keys(session, "press")
    assert stage_name(session.box.run.stage) == goes_on_at
    meter = LightMeter(session)
    session.watchers.append(meter)
    while session.box.state in ("ready", "held"):
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)
    left = 0 if goes_on_at == "Negative in" else 1200 - known_ms
    assert meter.light_ms == pytest.approx(left + 4000, abs=2)
    assert last_record(session.box)["stages"][0]["stage"] == "Flash"


def test_no_start_delay_before_a_flash_for_which_no_hand_is_wanted():
    session = flashed()
    session.box.asked.set_bench({"start_delay_s": 5})
    keys(session, "expose", "expose", "expose")
    assert session.lamp.lit


# --- the panel


def row_value(session, label: str) -> str:
    to_row(session, label)
    return session.box.panel.value(session.box.panel.row())


def test_a_flash_is_put_on_by_two_presses_and_off_by_two():
    session = new_session()
    load(session, a_card(base_ms=16_000, filter="3"))
    before = session.box.work.map.text()
    assert row_value(session, "Flash") == "off"
    keys(session, "press")
    assert session.box.panel.value(session.box.panel.row()) == "0.5 s"
    keys(session, "press")
    # 5 stops under the base: 1/32 of 16 s.
    assert session.box.work.map.to_dict()["flash"] == {"light_ms": 500, "filter": "3"}
    keys(session, "press", "press")
    assert session.box.work.map.text() == before
    undo(session)
    assert session.box.work.map.flash.light_ms() == 500
    undo(session)
    assert session.box.work.map.text() == before


@pytest.mark.parametrize(("base_ms", "ms"), [(100, 250), (4000, 250), (16_000, 500), (999_900, 31_247)])
def test_what_is_proposed_can_be_given(base_ms, ms):
    session = new_session()
    load(session, a_card(base_ms=base_ms))
    set_row(session, "Flash", 0)
    assert session.box.work.map.flash.light_ms() == ms
    # Whatever it is set on, the lamp can give it; the base is the printer's own affair.
    assert "Flash" not in str(session.box.work.refusal(False))


def test_turning_sets_a_flash_that_is_on_from_where_it_was():
    session = new_session()
    load(session, a_card(flash={"light_ms": 1200}))
    set_row(session, "Dial step", -99)
    set_row(session, "Flash", 1)
    assert session.box.work.map.flash.light_ms() == 2400
    undo(session)
    to_screen(session, "print")
    to_row(session, "Flash")
    keys(session, "press")
    wait(session, 200)
    session.input("dial", 1)
    assert session.box.panel.value(session.box.panel.row()) == "+1  2.4 s"
    session.input("back")
    assert session.box.work.map.flash.light_ms() == 1200


def test_plain_seconds_turn_a_flash_too():
    session = new_session()
    load(session, a_card(flash={"light_ms": 1234}))
    set_row(session, "Dial step", 99)
    set_row(session, "Flash", 1)
    assert session.box.work.map.flash.light_ms() == 1300


def test_when_and_through_what_are_rows_while_it_is_on():
    session = new_session()
    load(session, a_card(flash={"light_ms": 1200}))
    assert row_value(session, "  given") == "first"
    assert row_value(session, "  through") == "no filter"
    keys(session, "press")
    session.input("dial", 1)
    keys(session, "press")
    to_row(session, "  given")
    keys(session, "press", "press")
    filter = session.box.bench.get("filters")[0]
    assert session.box.work.map.to_dict()["flash"] == {"light_ms": 1200, "filter": filter, "after": True}
    undo(session)
    undo(session)
    assert session.box.work.map.to_dict()["flash"] == {"light_ms": 1200}
    labels = [row.label for row in session.box.panel.screens[1].rows(session.box.panel)]
    assert labels[-3:] == ["Flash", "  given", "  through"], "below all that is wanted more often"


# --- the paper

PAPERS = [("vc-2019", "00"), ("vc-2019", "2"), ("vc-2019", "5"), ("vc-2020", "2"), ("grade 2", "none")]


def lux_s(name: str, filter: str, density: float) -> float:
    return paper(name).exposure(density, filter)


@pytest.mark.parametrize(("name", "filter"), PAPERS)
def test_a_flash_under_the_first_tone_adds_its_light_to_a_highlight_s(name, filter):
    """ISO 6846: the first tone is D 0.04 above base and fog. A flash just below it leaves none, nor does a
    highlight just below it; together they leave the density of the sum of their light."""
    own = paper(name)
    first = lux_s(name, filter, 0.04)
    flash, highlight = 0.95 * first, 0.6 * first
    assert own.density({filter: flash}) < 0.04
    assert own.density({filter: highlight}) < 0.04
    together = own.density({filter: flash + highlight})
    assert together > 0.04

    # The same on a sheet: the flash without film, then light through a film that lets a tenth of it through.
    sheet = Sheet(1, own, (2, 2))
    fitted = "" if filter == "none" else filter

    sheet.gather(Beam("", fitted), flash, cast_of(Shade()))
    sheet.gather(Beam("film", fitted), 10 * highlight, cast_of(Shade()))
    density = sheet.develop(lambda beam: 0.1 if beam.negative else 1.0)
    assert density == pytest.approx(together, abs=0.001)


@pytest.mark.parametrize(("name", "filter"), PAPERS)
def test_a_flash_widens_the_range_as_the_iso_range_and_its_light_have_it(name, filter):
    """R is 100 log10(H_S / H_T). A flash of H_F takes as much from both points, so a negative may then span
    100 log10((H_S - H_F) / (H_T - H_F)): with half of H_T that is 30 more, less what the dark end loses."""
    own = paper(name)
    published = own.filters[filter].iso_range
    first, black = lux_s(name, filter, 0.04), lux_s(name, filter, 0.9 * own.dmax)
    assert 100 * math.log10(black / first) == pytest.approx(published, abs=0.01)
    flash = first / 2
    spans = 100 * math.log10((black - flash) / (first - flash))
    low, high = [
        next_light(lambda light: own.density({filter: flash + light}), density)
        for density in (0.04, 0.9 * own.dmax)
    ]
    assert 100 * math.log10(high / low) == pytest.approx(spans, abs=0.01)
    lost = -100 * math.log10(1 - 10 ** (-published / 100) / 2)
    assert spans - published == pytest.approx(100 * math.log10(2) - lost, abs=0.01)


def next_light(density_of, density: float) -> float:
    """The light that leaves a density, found by halving."""
    low, high = 1e-9, 1e6
    for _ in range(200):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if density_of(middle) < density else (low, middle)
    return high


@pytest.mark.parametrize(("name", "filter"), PAPERS)
def test_by_the_iso_speed_a_middle_grey_under_a_flash_wants_less_base(name, filter):
    """P is 1000 / H of D 0.60: with a flash of H_F the negative's light has to be 1000 / P - H_F."""
    own = paper(name)
    middle = 1000 / own.filters[filter].iso_speed
    flash = lux_s(name, filter, 0.04) / 2
    assert own.density({filter: flash + (middle - flash)}) == pytest.approx(0.60, abs=1e-6)
    assert own.density({filter: flash + middle}) > 0.60


def test_the_proposed_flash_leaves_no_tone_where_the_print_has_one():
    """A print whose lightest tone (D 0.04) lies behind a density of R 105 and a film base of 0.3."""
    own = paper("grade 2")
    first = lux_s("grade 2", "none", 0.04)
    open_light = first * 10 ** (1.05 + 0.3)
    assert own.density({"none": open_light / 32}) < 0.04


def test_two_passes_have_one_flash():
    card = a_card(base_ms=4000, flash={"light_ms": 1000, "filter": "00"})
    card["passes"].append(a_pass(base_ms=3000, filter="5"))
    names = [stage_name(s) for s in compile_print(PrintingMap.from_dict(card), Bench())]
    assert names.count("Flash") == 1


# --- a person in the room


def flashed_room(**flash):
    room = a_room(a_card(base_ms=4000, flash={"light_ms": 1200, **flash}))
    keys(room.session, "expose")
    return room


def follow(room, but: str = "") -> None:
    """Do what the box asks for, stage after stage; all but moving the negative there."""
    while room.session.box.state == "ready":
        state = room.state()
        if state["asks"] is not None:
            room.do({"do": "fit", "filter": state["asks"]})
        if state["moves_negative"] not in (None, but):
            room.do({"do": "move_negative", "out": state["moves_negative"] == "out"})
        give(room)


@pytest.mark.parametrize("flash", [{"filter": "2"}, {"filter": "00"}, {}, {"filter": "00", "after": True}])
def test_who_does_what_the_box_asks_for_gives_every_area_its_light(flash):
    room = flashed_room(**flash)
    follow(room)
    verdict = develop(room)
    filter = flash.get("filter", "")
    light = {(REST, filter): 1200.0}
    light[REST, "2"] = light.get((REST, "2"), 0) + 4000
    assert given_ms(verdict) == {key: pytest.approx(ms, abs=1) for key, ms in light.items()}
    assert verdict["worst_stops"] < 0.001
    assert room.state()["negative_out"] == ("after" in flash)


def test_the_flash_falls_evenly_and_the_base_through_the_negative():
    room = flashed_room(filter="2")
    room.do({"do": "negative", "name": "breakwater"})
    follow(room)
    sheet = room.easel.sheet
    film = room.films.negative.transmittance
    through = sheet.light(lambda beam: film if beam.negative else 1.0)["2"] / room.house.lux * 1000
    # Not `approx`, which takes each of the 800,000 points by itself.
    assert np.allclose(through, 1200 + 4000 * film, rtol=1e-3, atol=0)
    assert develop(room)["worst_stops"] < 0.001


@pytest.mark.parametrize(
    ("forgets", "says"),
    [
        ("out", "No verdict: the flash came through the negative."),
        ("in", "No verdict: light of the print came without the negative."),
    ],
)
def test_a_negative_that_was_not_moved_is_no_print_to_judge(forgets, says):
    room = flashed_room(filter="2")
    follow(room, but=forgets)
    assert room.state()["negative_out"] == (forgets == "in")
    verdict = develop(room)
    assert verdict["note"] == says
    assert verdict["worst_stops"] is None
    assert room.state()["pictures"]["errors"] == 0
    room.do({"do": "sheet"})
    room.do({"do": "move_negative", "out": False})
    keys(room.session, "expose")
    follow(room)
    assert develop(room)["worst_stops"] < 0.001, "the next sheet is another"


def test_the_negative_stays_where_it_is_under_light():
    room = flashed_room()
    keys(room.session, "expose", "expose")
    assert room.session.lamp.lit
    with pytest.raises(RoomError, match=r"^The negative stays: the lamp is lit\."):
        room.do({"do": "move_negative", "out": True})
    until_dark(room.session)
    room.do({"do": "move_negative", "out": True})
    assert room.state()["negative_out"]
    room.do({"do": "negative", "name": "plain"})
    assert not room.state()["negative_out"], "one that is put in is in"
