"""Carrying a card over at the PC: published figures, there and back, and the box's way to the same card."""

import json
import math
import re
from pathlib import Path

import pytest
import typer
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.optics.paper import paper as simulated_paper
from lampblack.cards import card_file
from lampblack.errors import CommandError
from lampblack.lab.carry import (
    EXPONENT_MAX,
    EXPONENT_MIN,
    LEVEL_MS,
    PAPER_ERROR,
    SIZE_ERROR,
    Carried,
    Wanted,
    carried,
    effect_ms,
    strip_step,
    time_ms,
)
from lampblack.lab.carry_command import sixths_of
from lampblack.lab.records import COMES_ALONG, load_record
from lampblack.sim.published_papers import exposure, tones_of
from tests.box_model import a_card, a_pass, keys, load, new_session, to_row, turn_slowly
from tests.test_carrying import FAST, SLOW, UNMEASURED
from tests.test_cli import lampblack, one_line  # noqa: F401
from timing_core.light.carrying import aperture_text, paper_offset, to_paper
from timing_core.light.paper_record import PaperRecord
from timing_core.light.printing_map import APERTURE_MAX, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, STOP, offset_between, scale, stops_text
from timing_core.refusal import Refusal

ISO_2019, ISO_2020 = load_record("vc-2019"), load_record("vc-2020")
DIFFUSER = {"light": "diffuser"}


def a_map(*marks: tuple, base_ms: int = 10_000, filter: str = "2", **measures: int) -> PrintingMap:
    card = a_card(*marks, base_ms=base_ms, filter=filter)
    return PrintingMap.from_dict({**card, **({"measures": measures} if measures else {})})


def only_step(made: Carried):
    (step,) = [step for step in made.steps if not step.what.startswith("reciprocity")]
    return step


# --- published figures


def test_a_long_side_of_ten_inches_to_fourteen():
    """Computed: 35 mm film, its 36 mm on 254 and on 355.6 mm of paper."""
    made = carried(a_map(negative_mm10=360, print_mm10=2540), Wanted(print_mm10=3556, **DIFFUSER))
    step = only_step(made)
    assert step.stops120 == 104
    assert (step.was, step.becomes, step.error_stops) == ("254.0 mm", "355.6 mm", SIZE_ERROR)
    assert made.map.base_ms(0) == scale(10_000, 104)
    assert made.map.measures["print_mm10"] == 3556
    assert made.map.carried == {"size": 104}


def test_the_lens_from_450_to_750_mm_above_the_paper():
    """qeeebo.com: x 2.778. The distance is f (m + 1): 400 and 700 mm of a detail of 50 mm behind a 50 mm
    lens."""
    made = carried(a_map(negative_mm10=500, print_mm10=4000), Wanted(print_mm10=7000, **DIFFUSER))
    assert only_step(made).stops120 == 177
    assert made.map.base_ms(0) == pytest.approx(27_780, rel=0.002)


def test_an_aperture_is_a_stop_from_the_next():
    """By their definition: f/5.6 and f/8 are square roots of 32 and 64."""
    made = carried(a_map(aperture=30), Wanted(aperture=36))
    assert only_step(made)[1:4] == ("f/5.6", "f/8", STOP)
    assert made.map.base_ms(0) == 20_000


def test_speeds_of_500_and_200_are_two_and_a_half_times_the_light():
    """ISO 6846: P is 1000 by the exposure, so the light goes by the ratio: 10 s become 25 s."""
    old, new = (
        PaperRecord.from_dict({**FAST, "name": name, "speed": speed})
        for name, speed in (("a", 500), ("b", 200))
    )
    made = carried(a_map(), Wanted(record=old, paper=new, anchor="middle"))
    assert only_step(made).stops120 == 159
    assert made.map.base_ms(0) == pytest.approx(scale(10_000, 0, 500, 200), rel=2 ** (1 / 240) - 1)
    assert scale(10_000, 0, 500, 200) == 25_000
    assert made.map.record == "b"
    assert made.map.carried == {"paper": 159}


@pytest.mark.parametrize(("anchor", "times"), [("light tone", 3.01), ("middle", 2.00), ("black", 0.97)])
def test_a_filter_goes_by_the_tone_that_stays(anchor, times):
    """Computed from a published sheet of 2019: filter 4 against filter 2, for densities 0.10, 0.60 and 90 %
    of black."""
    made = carried(a_map(), Wanted(filters={"2": "4"}, record=ISO_2019, anchor=anchor))
    assert made.map.base_ms(0) == pytest.approx(10_000 * times, rel=0.01)
    assert made.map.passes[0].filter == "4"


def test_reciprocity_makes_long_times_longer():
    """Computed: an exponent of 0.95 asks for 0.16 stop more than 80 s."""
    assert offset_between(80_000, time_ms(80_000, 950)) / STOP == pytest.approx(0.16, abs=0.005)
    assert time_ms(9_000, 950) == 9_000


@given(st.integers(BASE_MIN_MS, BASE_MAX_MS), st.integers(EXPONENT_MIN, EXPONENT_MAX))
def test_reciprocity_is_schwarzschilds_power(ms, exponent):
    """K. Schwarzschild, 1899: what counts is intensity times a power of the time."""
    power = exponent / 1000
    exact = ms if ms <= LEVEL_MS else LEVEL_MS * (ms / LEVEL_MS) ** power
    assert abs(math.log2(effect_ms(ms, exponent) / exact)) <= 1.1 / STOP + 1 / exact
    exact = ms if ms <= LEVEL_MS else LEVEL_MS * (ms / LEVEL_MS) ** (1 / power)
    if exact < 10 * BASE_MAX_MS:
        assert abs(math.log2(time_ms(ms, exponent) / exact)) <= 2 / STOP


# --- there and back

lengths = st.integers(500, 6000)


@st.composite
def ways(draw) -> tuple[PrintingMap, Wanted, Wanted]:
    """A map, what it is carried to, and what brings it back."""
    size = draw(lengths)
    map = a_map(
        ("sky", draw(st.integers(1, 300))),
        ("posts", -draw(st.integers(1, 300))),
        base_ms=draw(st.integers(2_000, 90_000)),
        negative_mm10=draw(st.integers(200, 1200)),
        print_mm10=size,
        aperture=draw(st.integers(18, 54)),
    )
    if draw(st.booleans()):
        more = a_pass(("sea", 60), base_ms=draw(st.integers(2_000, 90_000)), filter="5")
        map = PrintingMap.from_dict(
            {**map.to_dict(), "tied": draw(st.booleans()), "passes": [*map.to_dict()["passes"], more]}
        )
    there: dict = {"exponent": draw(st.sampled_from([None, 900, 950, 1000]))}
    back = dict(there)
    if draw(st.booleans()):
        there |= {"print_mm10": draw(lengths), **DIFFUSER}
        back |= {"print_mm10": size, **DIFFUSER}
    if draw(st.booleans()):
        there["aperture"], back["aperture"] = draw(st.integers(18, 54)), map.measures["aperture"]
    if draw(st.booleans()):
        new = draw(st.sampled_from(["00", "3", "4"]))
        there |= {"filters": {"2": new}, "record": ISO_2019}
        back |= {"filters": {new: "2"}, "record": ISO_2019}
    if draw(st.booleans()):
        there |= {"record": ISO_2019, "paper": ISO_2020}
        back |= {"record": ISO_2020, "paper": ISO_2019}
    return map, Wanted(**there), Wanted(**back)


@given(ways())
@settings(max_examples=60)
def test_there_and_back_is_where_one_was(way):
    """To 1 ms or 1/120 stop; reciprocity rounds twice to that each way."""
    map, there, back = way
    before = map.to_dict()
    try:
        far = carried(map, there)
        # As through two files.
        near = carried(PrintingMap.from_dict(far.map.to_dict()), back).map
    except Refusal:
        return
    assert map.to_dict() == before
    for index in range(len(map.passes)):
        was_ms, now_ms = map.base_ms(index), near.base_ms(index)
        most = 1 if there.exponent in (None, 1000) else 3
        # Each step rounds to 1 ms, which is more than 1/120 stop of a short base.
        rounds = math.log2(1 + len(far.steps_of(index)) / 2 / far.map.base_ms(index))
        assert abs(now_ms - was_ms) <= 1 or abs(math.log2(now_ms / was_ms)) <= most / STOP + rounds
        assert [mark.stops120 for mark in near.passes[index].marks] == [
            mark.stops120 for mark in map.passes[index].marks
        ]
        moved, error = far.total(index)
        assert abs(math.log2(far.map.base_ms(index) / was_ms) - moved / STOP) <= 1 / STOP + rounds
        assert error >= 0
    assert near.measures == map.measures
    assert near.passes[0].filter == "2"
    if there.paper is None:
        assert near.carried == {}


@given(ways())
@settings(max_examples=20)
def test_steps_add_up_to_what_the_map_says(way):
    map, there, _ = way
    try:
        made = carried(map, there)
    except Refusal:
        return
    told = {"size": "size", "aperture": "aperture", "paper": "paper"}
    for step in made.steps:
        if step.what in told:
            assert made.map.carried.get(step.what, 0) == step.stops120


@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize(("soft_ms", "hard_ms"), [(7400, 9300), (16_000, 9000), (8000, 8000)])
@pytest.mark.parametrize(("old", "new"), [("vc-2019", "vc-2020"), ("vc-2020", "vc-2019")])
def test_a_split_grade_print_keeps_its_tones_on_another_paper(old, new, soft_ms, hard_ms, tied):
    """Against the simulator's papers, whose speeds and ranges are those of a maker's two sheets. Moved alike,
    the passes would be up to 0.8 stop off in a black."""
    card = {**a_card(base_ms=soft_ms, filter="00"), "tied": tied}
    card["passes"].append(a_pass(base_ms=hard_ms, filter="5"))
    map = PrintingMap.from_dict(card)
    made = carried(map, Wanted(record=load_record(old), paper=load_record(new)))
    assert made.map.tied == tied
    assert [step.pass_index for step in made.steps if step.what.startswith("paper")] == [0, 1]
    assert made.map.carried == {}
    was_on, is_on = simulated_paper(old), simulated_paper(new)
    wanted_tones = zip(tones_of(was_on), tones_of(is_on), (0.03, 0.11, 0.18), strict=True)
    for was, now, off_stops in wanted_tones:
        before = {own.filter: map.base_ms(at) for at, own in enumerate(map.passes)}
        after = {own.filter: made.map.base_ms(at) for at, own in enumerate(made.map.passes)}
        moved = exposure(is_on, after, now) / exposure(was_on, before, was)
        assert abs(math.log2(moved)) < off_stops
    (line,) = [line for line in made.remarks if line.startswith("Contrast")]
    was_r, now_r = (int(number) for number in re.findall(r"R (\d+)", line))
    assert abs(now_r - was_r) <= 7


def test_a_flash_that_cannot_go_to_another_paper_leaves_all_as_it_was():
    card = {
        **a_card(base_ms=7400, filter="00"),
        "flash": {"light_ms": 100, "filter": "5"},
        "record": "vc-2019",
    }
    card["passes"].append(a_pass(base_ms=9300, filter="5"))
    map = PrintingMap.from_dict(card)
    before = map.text()
    with pytest.raises(Refusal, match=r"^The flash is not changed: it would be"):
        to_paper(map, ISO_2019, ISO_2020, "light tone")
    assert map.text() == before


def test_a_burn_through_a_filter_of_its_own_goes_to_another_paper_by_that():
    map = a_map(("sky", 80, "5"), ("sea", 60))
    was_ms = map.mark_ms(0, map.passes[0].marks[0])
    made = carried(map, Wanted(record=ISO_2019, paper=ISO_2020))
    sky, sea = made.map.passes[0].marks
    offset = paper_offset(ISO_2019, ISO_2020, "5", "light tone")
    assert made.map.mark_ms(0, sky) == pytest.approx(scale(was_ms, offset), rel=0.02)
    assert (sea.stops120, made.map.carried) == (60, {"paper": only_step(made).stops120})
    assert f"The burn of sky goes by filter 5: +2/3 becomes {stops_text(sky.stops120)}." in made.remarks
    far = Wanted(record=ISO_2020, paper=ISO_2019)
    again = carried(made.map, far).map.passes[0].marks[0]
    assert abs(again.stops120 - 80) <= 2


def test_a_burn_through_a_filter_that_a_record_has_not_goes_with_its_pass():
    fast, slow = PaperRecord.from_dict(FAST), PaperRecord.from_dict(SLOW)
    made = carried(a_map(("sky", 80, "5")), Wanted(record=fast, paper=slow))
    assert made.map.passes[0].marks[0].stops120 == 80
    assert "The burn of sky goes with its pass: one record has not filter 5." in made.remarks


def test_a_burn_through_another_filter_keeps_its_own_light():
    """The base goes by filters 2 and 4; the burn through 00 has nothing to do with either."""
    map = a_map(("sky", 80, "00"), ("sea", 60))
    was_ms = map.mark_ms(0, map.passes[0].marks[0])
    made = carried(map, Wanted(filters={"2": "4"}, record=ISO_2019)).map
    sky, sea = made.passes[0].marks
    assert made.mark_ms(0, sky) == pytest.approx(was_ms, rel=0.02)
    assert (sky.filter, sea.stops120, sea.filter) == ("00", 60, "")
    made = carried(map, Wanted(filters={"00": "0"}, record=ISO_2019)).map
    sky, sea = made.passes[0].marks
    assert made.base_ms(0) == map.base_ms(0)
    change = ISO_2019.change("00", "0", "light tone")
    assert made.mark_ms(0, sky) == pytest.approx(scale(was_ms, change), rel=0.02)
    assert sky.filter == "0"


def test_a_burn_that_no_offset_can_have_is_refused():
    map = a_map(("sky", 1, "00"), base_ms=100_000)
    with pytest.raises(Refusal, match=r"^Not carried over: the burn of sky would be 0\. Change it on Print"):
        carried(map, Wanted(filters={"2": "4"}, record=ISO_2019))
    map = a_map(("sky", 590, "2"), base_ms=1000, filter="5")
    with pytest.raises(Refusal, match=r"^Not carried over: the burn of sky would be \+6 3/20\. Change it"):
        carried(map, Wanted(record=ISO_2019, paper=ISO_2020))


def test_the_light_cell_takes_the_place_of_the_rule():
    """Under whatever light: it sees a stop less, so there is to be a stop more."""
    map = a_map(negative_mm10=360, print_mm10=2540, sheet_wide_mm=240, sheet_high_mm=300)
    for light in ("", "condenser", "diffuser"):
        made = carried(map, Wanted(cell_stops120=-STOP, light=light, print_mm10=4000))
        assert only_step(made).stops120 == STOP
        assert made.map.measures == {"negative_mm10": 360, "print_mm10": 4000}
        assert made.map.carried == {"size": STOP}


def test_a_size_that_is_not_measured_leaves_no_length_of_the_old_one():
    """Or the next print would be carried from a size that this one has not."""
    map = a_map(negative_mm10=360, print_mm10=2540, sheet_wide_mm=240, sheet_high_mm=300)
    made = carried(map, Wanted(cell_stops120=-STOP))
    assert made.map.measures == {"negative_mm10": 360}
    assert "measure it, and write print_mm on the card" in made.remarks[0]


# --- the strip


@pytest.mark.parametrize(
    ("error_stops", "name"),
    [
        (0.0, "1/12"),
        (0.03, "1/12"),
        (1 / 12, "1/12"),
        (0.15, "1/6"),
        (0.17, "1/4"),
        (0.26, "1/3"),
        (2.0, "1"),
    ],
)
def test_a_strip_reaches_two_sigma_either_way(error_stops, name):
    assert strip_step(error_stops)[0] == name


def test_errors_add_as_squares():
    map = a_map(negative_mm10=360, print_mm10=2540, base_ms=2_000)
    made = carried(map, Wanted(print_mm10=3556, **DIFFUSER, record=ISO_2019, paper=ISO_2020))
    assert made.total(0)[1] == pytest.approx(math.hypot(SIZE_ERROR, PAPER_ERROR))


def test_long_times_are_less_sure_until_reciprocity_is_measured():
    """Papers lose 0.1 to 0.3 stop at 60 s: common practice, no source."""
    map = a_map(aperture=30, base_ms=10_000)
    loose = carried(map, Wanted(aperture=46)).steps[-1]
    assert (loose.what, loose.stops120) == ("reciprocity", 0)
    assert 0.1 <= loose.error_stops <= 0.3
    tight = carried(map, Wanted(aperture=46, exponent=950)).steps[-1]
    assert tight.stops120 > 0
    assert tight.error_stops < loose.error_stops / 2
    assert len(carried(a_map(aperture=30, base_ms=1_000), Wanted(aperture=46)).steps) == 1


# --- refusals


@pytest.mark.parametrize(
    ("measures", "wanted", "said"),
    [
        ({"print_mm10": 2540}, Wanted(print_mm10=3000, **DIFFUSER), "the card has no negative_mm"),
        ({"negative_mm10": 360}, Wanted(print_mm10=3000, **DIFFUSER), "the card has no print_mm"),
        (
            {"negative_mm10": 360, "print_mm10": 2540},
            Wanted(print_mm10=3000),
            "Say what the enlarger's light is",
        ),
        (
            {"negative_mm10": 360, "print_mm10": 2540},
            Wanted(print_mm10=3000, light="condenser"),
            "a condenser images the lamp into the lens",
        ),
        ({}, Wanted(aperture=30), "the card has no f_thirds"),
        ({}, Wanted(filters={"2": "3"}), "no paper record is at work. Give --record, that of the card"),
        (
            {},
            Wanted(filters={"1": "3"}, record=ISO_2019),
            "the card does not use filter 1. It uses filter 2.",
        ),
        ({}, Wanted(filters={"2": "Y30"}, record=ISO_2019), "vc-2019 has not measured filter Y30"),
        ({}, Wanted(paper=ISO_2020), "no paper record is at work. Give --record, that of the card"),
    ],
)
def test_what_is_missing_or_not_valid_is_one_line(measures, wanted, said):
    map = a_map(**measures)
    before = map.to_dict()
    with pytest.raises(CommandError) as refused:
        carried(map, wanted)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)
    assert str(refused.value).endswith(".")
    assert map.to_dict() == before


def test_the_core_refuses_what_it_would_on_the_box():
    map = a_map(negative_mm10=360, print_mm10=2540, aperture=30, base_ms=500_000)
    with pytest.raises(Refusal) as refused:
        carried(map, Wanted(print_mm10=8000, **DIFFUSER))
    assert "Open the lens by" in refused.value.todo
    unmeasured = PaperRecord.from_dict(UNMEASURED)
    with pytest.raises(Refusal, match="no-speed has no speed"):
        carried(map, Wanted(record=ISO_2019, paper=unmeasured))


@given(st.integers(0, APERTURE_MAX).filter(lambda sixths: sixths % 6 in (0, 2, 3, 4)))
def test_apertures_are_read_as_they_are_marked(sixths):
    assert sixths_of(aperture_text(sixths)) == sixths
    assert sixths_of(aperture_text(sixths).removeprefix("f/").upper()) == sixths


@pytest.mark.parametrize("text", ["", "f/", "f/9.3", "f/45 +1/2", "f/8 +1/7", "f/8 -1/2", "f/8 +x", "eight"])
def test_what_is_no_aperture_is_refused(text):
    with pytest.raises(typer.BadParameter, match="is no aperture"):
        sixths_of(text)


# --- the command

CARD = """name = "pier"
negative_mm = 36
print_mm = 254
f_thirds = 15
record = "vc-2019"
[facts]
paper = "RC glossy"
height = "43 cm"
aperture = "f/5.6"
[[pass]]
filter = "2"
base = "4 s"
[[pass.mark]]
area = "sky"
stops = "+1/2"
"""


@pytest.fixture
def pier(tmp_path) -> Path:
    path = tmp_path / "pier.toml"
    path.write_text(CARD)
    return path


def test_each_factor_is_told_with_its_source_and_the_strip(lampblack, pier):  # noqa: F811
    out = pier.with_name("pier-30x40.toml")
    asked = ("--print-mm", 355.6, "--light", "diffuser", "--aperture", "f/8", "--paper", "vc-2020")
    told = lampblack("lab", "carry", pier, *asked, "-o", out)
    assert (told.code, told.err) == (0, "")
    assert [" ".join(line.split()) for line in told.out.rstrip().split("\n")] == [
        "carry from to stops light \u00b1 stops from what",
        "size 254.0 mm 355.6 mm +13/15 x 1.82 0.03 36.0 mm of negative, (m + 1)\u00b2",
        "aperture f/5.6 f/8 +1 x 2.00 0.10 the lens's marks",
        "paper vc-2019 vc-2020 +1/120 x 1.01 0.15 both records, filter 2, light tone",
        "reciprocity 0 x 1.00 0.04 not measured: a strip tells",
        "together +1 7/8 x 3.67 0.19",
        "Pass 1, filter 2: 4 s becomes 14.672 s.",
        "First strip: 5 patches of 1/4 stop round 14.672 s, pass 1.",
        "The height on the card is still 43 cm: write the new one.",
        "Contrast through filter 2: R 110 becomes R 90; nearest on vc-2020 is filter 1.",
        "The paper on the card is still RC glossy: write the new one.",
        f"{out} is written: the card pier-30x40.",
    ]
    card = card_file.load(out)
    assert card["name"] == "pier-30x40"
    assert card["facts"]["aperture"] == "f/8"
    assert card["measures"] == {"negative_mm10": 360, "print_mm10": 3556, "aperture": 36}
    assert card["record"] == "vc-2020"


def test_the_box_carries_to_the_same_card(lampblack, pier):  # noqa: F811
    """Turned at its panel: 30 detents of 1 mm, and a stop."""
    card = card_file.load(pier)
    card["facts"] = {}
    pier.write_text(card_file.dump(card))
    out = pier.with_name("new.toml")
    asked = ("--print-mm", 284, "--light", "diffuser", "--aperture", "f/8")
    assert lampblack("lab", "carry", pier, *asked, "-o", out).code == 0
    session = new_session()
    load(session, card)
    to_row(session, "Carry over")
    keys(session, "press")
    for nth, detents in ((1, 30), (2, 4)):
        to_row(session, "  carry to", nth)
        keys(session, "press")
        turn_slowly(session, detents)
        keys(session, "press")
    assert {**card_file.load(out), "name": "pier"} == session.box.work.map.to_dict()


@pytest.mark.parametrize("tied", [False, True])
def test_the_box_carries_a_split_grade_print_to_another_paper_as_the_pc_does(tied):
    session = new_session()
    for record in (ISO_2019, ISO_2020):
        session.box.papers.keep_text(record.name, record.text())
    card = {**a_card(("sky", 80, "5"), base_ms=7400, filter="00"), "tied": tied, "record": "vc-2019"}
    card["passes"].append(a_pass(("sea", 40), base_ms=9300, filter="5"))
    load(session, card)
    to_row(session, "Carry over")
    keys(session, "press")
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, 1)
    made = carried(PrintingMap.from_dict(card), Wanted(record=ISO_2019, paper=ISO_2020))
    shown = session.box.panel.screen.about(session.box.panel)
    assert shown.startswith(stops_text(made.steps[session.box.work.pass_index].stops120))
    keys(session, "press")
    assert session.box.work.map.to_dict() == made.map.to_dict()
    keys(session, "back", "back")
    to_row(session, "Undo")
    keys(session, "press")
    assert session.box.work.map.to_dict() == PrintingMap.from_dict(card).to_dict()


def test_as_plain_data_it_is_the_same(lampblack, pier):  # noqa: F811
    told = lampblack("lab", "carry", pier, "--aperture", "f/11", "--exponent", 0.9, "--json").json
    (own,) = told["passes"]
    assert own["was_ms"] == 4000
    assert own["stops120"] == sum(step["stops120"] for step in told["steps"]) == told["stops120"]
    assert told["strip"]["base_ms"] == own["base_ms"] == told["card"]["passes"][0]["base_ms"]
    assert json.dumps(told["card"]["carried"]) == '{"aperture": 240}'
    assert pier.read_text() == CARD


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ([], 1, "stays as it is. Say what it is carried over to"),
        (["--print-mm", 0.5, "--light", "diffuser"], 2, '"0.5" is no length here. Write 1 to 3000, in mm.'),
        (["--print-mm", "nan", "--light", "diffuser"], 2, "is no length here"),
        (["--print-mm", 300, "--light", "condenser"], 1, "a condenser images the lamp into the lens"),
        (["--print-mm", 300], 1, "Say what the enlarger's light is: diffuser or condenser."),
        (["--cell", "1/3"], 2, '"1/3" has no sign. Write "-1/3" where the cell sees less light than before.'),
        (["--cell=-11"], 2, '"-11" is out of range'),
        (["--aperture", "f/9.3"], 2, '"f/9.3" is no aperture'),
        (["--filter", "2"], 2, '"2" has no new filter. Write 2=3.'),
        (["--filter", "=3"], 1, "the card does not use no filter. It uses filter 2."),
        (["--filter", "2=3", "--filter", "2=4"], 2, "One filter becomes two."),
        (["--aperture", "f/8", "-o", "-"], 1, "- is not written: a card is a TOML file."),
        (["--aperture", "f/8", "-o", "new.txt"], 1, "Give a name that ends in .toml."),
        (["--filter", "2=9"], 1, "vc-2019 has not measured filter 9"),
        (["--paper", "nowhere"], 1, "There is no paper record nowhere"),
        (["--aperture", "f/8", "--exponent", 1.2], 2, '"1.2" is no exponent. Write 0.5 to 1.'),
        (["--aperture", "f/8", "--exponent", "nan"], 2, "is no exponent"),
        (["--aperture", "f/8", "--pass", 2], 2, "2 is no pass of this card. Write 1."),
        (["--aperture", "f/8", "-o", "New Card.toml"], 1, "New Card is no shelf name"),
        (["--aperture", "f/1"], 1, "Base is not changed"),
        (("--aperture", "5.6"), 2, "--aperture: the card has f/5.6 already. Give another."),
        (("--paper", "vc-2019"), 2, "--paper: vc-2019 is at work already. Give another."),
    ],
)
def test_what_is_wrong_is_one_line(lampblack, pier, monkeypatch, arguments, code, said):  # noqa: F811
    monkeypatch.chdir(pier.parent)
    pier.write_text(CARD.replace("4 s", "0.3 s") if "f/1" in arguments else CARD)
    assert said in one_line(lampblack("lab", "carry", pier, *arguments), code)
    assert [path.name for path in pier.parent.iterdir()] == ["pier.toml"]


def test_what_moves_or_is_left_out_beside_the_bases_is_told(lampblack, pier):  # noqa: F811
    pier.write_text(
        CARD.replace("f_thirds", "sheet_mm = [203, 254]\nspot = 48200\nf_thirds")
        + '[flash]\ntime = "1.5 s"\n'
    )
    pier.with_name("pier.areas.toml").write_text("")
    out = pier.with_name("small.toml")
    told = lampblack("lab", "carry", pier, "--print-mm", "200", "--light", "diffuser", "-o", out).out
    for line in (
        "The paper on the card is still RC glossy: see that its size is right.",
        "The flash goes with it: 1.5 s becomes 1.0 s.",
        "The new sheet is not known: write sheet_mm on the card.",
        "What the light cell read at the first spot is left out: it was under other light.",
        f"Areas that were drawn stay with the old card: copy {pier.with_name('pier.areas.toml')} to "
        f"{out.with_name('small.areas.toml')}.",
    ):
        assert line in told.replace("\n", " ").replace("  ", " "), told
    told = lampblack("lab", "carry", pier, "--aperture", "f/8").out
    assert "The flash goes with it: 1.5 s becomes 3.0 s." in told
    assert "sheet" not in told


def test_a_card_that_is_there_is_kept(lampblack, pier):  # noqa: F811
    told = lampblack("lab", "carry", pier, "--aperture", "f/8", "-o", pier)
    assert one_line(told, 1).startswith(f"{pier} is there already.")
    assert pier.read_text() == CARD


def test_a_record_that_is_slower_is_told_with_its_contrast():
    fast, slow = PaperRecord.from_dict(FAST), PaperRecord.from_dict(SLOW)
    made = carried(a_map(), Wanted(record=fast, paper=slow, anchor="middle"))
    assert "Contrast through filter 2: R 110 becomes R 90; nearest on slow is filter 1." in made.remarks


def test_a_record_in_any_file_is_found(tmp_path, monkeypatch):
    (tmp_path / "mine").write_text(
        (COMES_ALONG / "vc-2019.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    monkeypatch.chdir(tmp_path)
    assert load_record("mine").to_dict() == load_record("vc-2019").to_dict()
