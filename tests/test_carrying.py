"""Carrying a print over to another size or aperture: the offset against published figures, and the map."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lampblack.cards.card_file import dump, read
from tests.box_model import a_card, a_pass, ask, keys, load, new_session, to_row, turn_slowly
from timing_core.light.carrying import (
    aperture_offset,
    aperture_text,
    following_aperture,
    following_length,
    size_offset,
    to_aperture,
    to_size,
)
from timing_core.light.paper_record import PaperRecord
from timing_core.light.printing_map import APERTURE_MAX, LENGTH_MAX_MM10, LENGTH_MIN_MM10, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, STOP, offset_between, scale, stops_text
from timing_core.refusal import Refusal

lengths = st.integers(LENGTH_MIN_MM10, LENGTH_MAX_MM10)
apertures = st.integers(0, APERTURE_MAX)


def a_map(*bases_ms: int, tied: bool = False, **measures: int) -> PrintingMap:
    card = a_card(("sky", 60), base_ms=bases_ms[0], tied=tied)
    card["passes"] += [a_pass(base_ms=base_ms) for base_ms in bases_ms[1:]]
    return PrintingMap.from_dict({**card, **({"measures": measures} if measures else {})})


def bases(map: PrintingMap) -> list[int]:
    return [map.base_ms(index) for index in range(len(map.passes))]


# --- what a length is in stops


@pytest.mark.parametrize(
    ("magnification", "light"),
    [(1, 4), (2, 9), (3, 16)],
)
def test_the_light_wanted_is_a_published_tables(magnification, light):
    """Practical Photography, 794-797: magnifications of 1, 2, 3 want 4, 9, 16 times the light of a far
    object. From magnification 1 on, that is 1, 9/4 and 4 times."""
    assert size_offset(360, 360 * magnification, 360) == round(STOP * math.log2(light / 4))


def test_from_two_to_four_times_is_a_published_factor():
    """R. Kingslake, Optics in Photography, second-hand: x 2.778 from magnification 2 to 4. The rule of areas
    would say 4."""
    offset = size_offset(720, 1440, 360)
    assert offset == 177
    assert scale(10_000, offset) == pytest.approx(27_780, rel=0.002)


def test_the_distance_from_lens_to_paper_tells_the_same():
    """qeeebo.com: from 450 to 750 mm between lens and paper, x 2.778. That distance is f (m + 1), so a detail
    of 50 mm is 400 and 700 mm long behind a 50 mm lens."""
    assert size_offset(4000, 7000, 500) == offset_between(450**2, 750**2) == 177


def test_a_print_with_a_long_side_of_ten_inches_to_fourteen():
    """Computed: 35 mm film, its long side on 254 and on 355.6 mm of paper."""
    assert size_offset(2540, 3556, 360) == 104


@given(lengths, lengths, lengths)
def test_the_offset_is_the_nearest_to_the_rules(print_mm10, new_mm10, negative_mm10):
    factor = Fraction(new_mm10 + negative_mm10, print_mm10 + negative_mm10) ** 2
    exact = STOP * math.log2(factor)
    if abs(exact) < 10 * STOP:
        assert abs(size_offset(print_mm10, new_mm10, negative_mm10) - exact) <= 0.5 + 1e-6


def test_a_length_that_is_read_wrong_by_a_millimetre_is_a_hundredth_of_a_stop():
    assert 0 < size_offset(2540, 2550, 360) <= 0.011 * STOP + 1


# --- apertures


def test_apertures_are_in_their_order_and_as_marked():
    """ISO 517:2008, from memory: a marking is its aperture rounded, a third of a stop from the next."""
    for sixths in range(0, APERTURE_MAX + 1, 2):
        marked = float(aperture_text(sixths).removeprefix("f/"))
        assert abs(2 * math.log2(marked) - sixths / 6) < 0.16, sixths
    assert [aperture_text(sixths) for sixths in (12, 15, 18, 24, 30, 36, 42, 48, 54, 60)] == [
        "f/2",
        "f/2 +1/2",
        "f/2.8",
        "f/4",
        "f/5.6",
        "f/8",
        "f/11",
        "f/16",
        "f/22",
        "f/32",
    ]


def test_from_one_whole_aperture_to_the_next_is_a_stop():
    assert aperture_offset(30, 36) == STOP
    assert aperture_offset(36, 30) == -STOP
    assert aperture_offset(30, 32) == STOP // 3
    assert aperture_offset(30, 33) == STOP // 2


@given(apertures, st.integers(-9, 9))
def test_an_aperture_is_turned_by_thirds_with_halves_between(sixths, steps):
    there = following_aperture(sixths, steps)
    assert 0 <= there <= APERTURE_MAX
    assert steps == 0 or there in (0, APERTURE_MAX) or there % 6 in (0, 2, 3, 4)
    assert (there - sixths) * steps >= 0


@given(lengths, st.integers(-40, 40), lengths)
def test_a_length_is_turned_by_so_little_that_light_hardly_moves(mm10, steps, negative_mm10):
    there = following_length(mm10, steps)
    assert LENGTH_MIN_MM10 <= there <= LENGTH_MAX_MM10
    assert (there - mm10) * steps >= 0
    one = following_length(mm10, 1)
    assert mm10 < 250 or abs(size_offset(mm10, one, negative_mm10)) <= STOP // 12


def test_a_length_is_turned_on_one_scale_up_and_down():
    """0.5 mm below 100 mm, 1 mm from there, 2 mm from 400 mm, with no place twice or left out."""
    scale_mm10 = [*range(950, 1000, 5), *range(1000, 4000, 10), *range(4000, 4200, 20)]
    for below, above in pairwise(scale_mm10):
        assert following_length(below, 1) == above
        assert following_length(above, -1) == below
    assert following_length(scale_mm10[0], len(scale_mm10) - 1) == scale_mm10[-1]
    assert (following_length(1003, 1), following_length(1003, -1)) == (1010, 1000)


# --- the map


@given(
    st.lists(st.integers(2_000, 60_000), min_size=1, max_size=4),
    st.booleans(),
    st.integers(200, 600),
    st.integers(1000, 4000),
    st.integers(1000, 4000),
)
@settings(deadline=None)
def test_all_bases_go_by_one_offset_marks_stay_and_back_is_where_it_was(
    bases_ms, tied, negative_mm10, print_mm10, new_mm10
):
    map = a_map(*bases_ms, tied=tied, negative_mm10=negative_mm10, print_mm10=print_mm10)
    before = map.to_dict()
    try:
        offset = to_size(map, new_mm10)
    except Refusal:
        assert map.to_dict() == before
        return
    assert bases(map) == [scale(base_ms, offset) for base_ms in bases_ms]
    assert map.to_dict()["passes"][0]["marks"] == before["passes"][0]["marks"]
    assert map.measures["print_mm10"] == new_mm10
    assert map.carried == ({"size": offset} if offset else {})
    to_size(map, print_mm10)
    assert map.to_dict() == before


def test_size_and_aperture_add_up_and_are_told_apart():
    map = a_map(10_000, 4_000, tied=True, negative_mm10=360, print_mm10=2540, aperture=30)
    to_size(map, 3556)
    to_aperture(map, 36)
    assert bases(map) == [scale(10_000, 224), scale(4_000, 224)]
    assert map.carried == {"size": 104, "aperture": 120}
    again = PrintingMap.from_dict(map.to_dict())
    assert again.text() == map.text()


@pytest.mark.parametrize(
    ("base_ms", "new_mm10", "aperture", "todo"),
    [
        (500_000, 8000, 42, "Open the lens by 2 1/3 stops first, to f/5"),
        (500_000, 8000, None, "Open the lens by 2 1/3 stops first"),
        (500_000, 8000, 6, "Open the lens by 2 1/3 stops first"),  # and no lens opens so far
        (200, 500, 30, "Close the lens by 2 2/3 stops first, to f/14"),
    ],
)
def test_a_size_that_no_base_reaches_names_the_aperture_that_would_do(base_ms, new_mm10, aperture, todo):
    measures = {"negative_mm10": 360, "print_mm10": 2400}
    if aperture is not None:
        measures["aperture"] = aperture
    map = a_map(base_ms, **measures)
    before = map.text()
    with pytest.raises(Refusal) as refused:
        to_size(map, new_mm10)
    assert refused.value.what == "Base is not changed"
    assert refused.value.todo == todo
    assert map.text() == before
    if aperture is None or "to f" not in todo:
        return
    wanted = next(
        sixths for sixths in range(0, APERTURE_MAX + 1, 2) if todo.endswith(" " + aperture_text(sixths))
    )
    to_aperture(map, wanted)
    to_size(map, new_mm10)
    assert BASE_MIN_MS <= bases(map)[0] <= BASE_MAX_MS


def test_one_third_less_of_the_lens_would_not_do():
    map = a_map(500_000, negative_mm10=360, print_mm10=2400, aperture=42)
    to_aperture(map, 30)
    with pytest.raises(Refusal):
        to_size(map, 8000)


def test_another_size_is_on_a_sheet_that_nobody_has_named():
    sheet = {"sheet_wide_mm": 203, "sheet_high_mm": 254}
    map = a_map(10_000, negative_mm10=360, print_mm10=2400, **sheet)
    to_size(map, 2400)
    assert map.measures == {"negative_mm10": 360, "print_mm10": 2400, **sheet}
    to_size(map, 3600)
    assert map.measures == {"negative_mm10": 360, "print_mm10": 3600}


# --- at the panel and on the card


def carrying(**measures: int):
    session = new_session()
    load(session, {**a_card(("sky", 60), base_ms=10_000), "measures": measures} if measures else a_card())
    to_row(session, "Carry over")
    keys(session, "press")
    return session


def test_what_is_turned_is_a_proposal_and_back_leaves_all_as_it_was():
    session = carrying(negative_mm10=360, print_mm10=2540, aperture=30)
    before = session.box.work.map.text()
    for nth in (1, 2):
        to_row(session, "  carry to", nth)
        keys(session, "press")
        turn_slowly(session, 5)
        assert session.box.work.map.text() != before
        keys(session, "back")
        assert session.box.work.map.text() == before


def test_undo_and_redo_go_exactly_back_and_forth():
    session = carrying(negative_mm10=360, print_mm10=2540, aperture=30)
    work = session.box.work
    texts = [work.map.text()]
    for nth, detents in ((1, 30), (2, 3)):
        to_row(session, "  carry to", nth)
        keys(session, "press")
        turn_slowly(session, detents)
        keys(session, "press")
        texts.append(work.map.text())
    assert work.map.measures == {"negative_mm10": 360, "print_mm10": 2840, "aperture": 34}
    assert work.map.carried == {"size": 34, "aperture": 80}
    assert work.map.base_ms(0) == scale(10_000, 114)
    keys(session, "back", "back")
    for text in reversed(texts[:-1]):
        to_row(session, "Undo")
        keys(session, "press")
        assert work.map.text() == text
    for text in texts[1:]:
        to_row(session, "Redo")
        keys(session, "press")
        assert work.map.text() == text


def test_a_measure_that_is_set_moves_no_light():
    session = carrying()
    box = session.box
    assert [row.label for row in box.panel.rows()] == ["On the negative", "On the print", "Aperture"]
    light = box.work.map.to_dict()["passes"]
    for label in ("On the negative", "On the print", "Aperture"):
        to_row(session, label)
        keys(session, "press")
        turn_slowly(session, 3)
        keys(session, "press")
        assert box.message == ""
    assert box.work.map.to_dict()["passes"] == light
    assert box.work.map.carried == {}
    assert [row.label.strip() for row in box.panel.rows()].count("carry to") == 2


def test_no_key_on_this_screen_gives_light():
    session = carrying(negative_mm10=360, print_mm10=2540, aperture=30)
    to_row(session, "  carry to")
    keys(session, "press")
    turn_slowly(session, 4)
    keys(session, "expose", "pedal")
    assert not session.lamp.lit
    assert session.box.state == "edit"
    assert session.box.machine.says("expose") == ""


def test_a_refusal_leaves_the_value_open_where_it_was():
    session = carrying(negative_mm10=360, print_mm10=2540)
    session.box.work.map.set_base(0, 990_000)
    to_row(session, "  carry to")
    keys(session, "press")
    turn_slowly(session, 8)
    box = session.box
    assert box.state == "edit"
    assert "Open the lens by 1/3 stop first" in box.message
    assert box.work.map.base_ms(0) <= BASE_MAX_MS


# --- to another paper


def a_record(name: str, speed: int = 0, **filters: tuple[int, int, int, int]) -> dict:
    plain = {"name": name, "edition": "", "filters": [[key[1:], *own] for key, own in filters.items()]}
    return {**plain, "speed": speed} if speed else plain


FAST = a_record("fast", 500, f2=(1100, -20, 0, 60), f3=(900, 10, 0, 40), f5=(500, 200, 120, 110))
SLOW = a_record("slow", 200, f2=(900, -5, 0, 50), f1=(1080, -30, 0, 70), f3=(700, 25, 0, 30))
UNMEASURED = a_record("no-speed", 0, f2=(1100, 0, 0, 0))


def between_papers(*records: dict, filter: str = "2", anchor: str = "middle", burn=("sky", 60)):
    session = new_session()
    for own in records:
        session.box.papers.keep_text(own["name"], PaperRecord.from_dict(own).text())
    session.box.asked.set_bench({"anchor": anchor})
    card = a_card(burn, base_ms=10_000)
    card["passes"][0]["filter"] = filter
    load(session, {**card, "record": "fast"})
    to_row(session, "Carry over")
    keys(session, "press")
    return session


@pytest.mark.parametrize(
    ("anchor", "offset"), [("middle", 159), ("light tone", 159 + 15), ("black", 159 - 10)]
)
def test_two_records_carry_a_print_over_by_the_tone_that_is_anchored(anchor, offset):
    """C4: P 500 to 200 is +159/120 for a middle tone, and for another what the records differ by there."""
    session = between_papers(FAST, SLOW, anchor=anchor)
    work = session.box.work
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, 1)
    assert session.box.panel.screen.about(session.box.panel).startswith(stops_text(offset))
    keys(session, "press")
    assert (work.map.record, work.map.carried) == ("slow", {"paper": offset})
    assert work.map.base_ms(0) == scale(10_000, offset)
    assert work.map.passes[0].marks[0].stops120 == 60
    assert "Nearest in contrast: filter 1." in session.box.message
    assert read(dump(work.map.to_dict())) == work.map.to_dict()


def test_a_print_that_is_carried_to_another_paper_and_back_is_what_it_was():
    session = between_papers(FAST, SLOW)
    work = session.box.work
    texts = [work.map.text()]
    for detents in (1, -1):
        to_row(session, "Carry to paper")
        keys(session, "press")
        turn_slowly(session, detents)
        keys(session, "press")
        texts.append(work.map.text())
    assert texts[2] == texts[0] != texts[1]
    keys(session, "back", "back")
    for text in (texts[1], texts[0]):
        to_row(session, "Undo")
        keys(session, "press")
        assert work.map.text() == text


def test_a_paper_that_is_only_turned_to_is_a_proposal():
    session = between_papers(FAST, SLOW)
    before = session.box.work.map.text()
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, 1)
    assert session.box.work.map.text() != before
    turn_slowly(session, -1)
    assert session.box.work.map.text() == before
    turn_slowly(session, 1)
    keys(session, "back")
    assert session.box.work.map.text() == before


def test_where_the_contrast_is_the_same_no_filter_is_named():
    like = {**FAST, "name": "like", "speed": 400}
    session = between_papers(FAST, like)
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, 1)
    keys(session, "press")
    assert session.box.message == "Carried over. Make a strip: speeds of papers are good for a start."


@pytest.mark.parametrize(
    ("filter", "detents", "why"), [("2", 1, "no-speed has no speed"), ("5", 2, "slow has not this filter")]
)
def test_a_record_that_does_not_tell_is_refused_and_turned_past(filter, detents, why):
    session = between_papers(FAST, SLOW, UNMEASURED, filter=filter)
    before = session.box.work.map.text()
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, detents)
    assert session.box.message.startswith(f"Not carried over: {why}.")
    assert session.box.state == "edit"
    assert session.box.work.map.text() == before


def test_a_burn_that_would_go_beyond_five_stops_is_refused_and_not_made_less():
    """Through 3 the other paper takes 1/8 stop more than through 2."""
    other = a_record("other", 200, f2=(900, 0, 0, 50), f3=(700, 15, 15, 30))
    session = between_papers(FAST, other, burn=("sky", 590, "3"))
    before = session.box.work.map.text()
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, 1)
    assert (
        session.box.message == "Not carried over: the burn of sky would be +5 1/24. Change it on Print first."
    )
    assert session.box.state == "edit"
    keys(session, "back")
    assert session.box.work.map.text() == before


def test_each_row_shows_what_the_print_has_now():
    session = between_papers(FAST, SLOW)
    values = {}
    for label in ("On the print", "Aperture", "Carry to paper"):
        to_row(session, label)
        values[label] = session.box.panel.value(session.box.panel.row())
    assert values == {"On the print": "not set", "Aperture": "not set", "Carry to paper": "fast"}


@pytest.mark.parametrize("removed", ["fast", "slow"])
def test_a_record_that_a_pc_removes_meanwhile_is_not_carried_to(removed):
    session = between_papers(FAST, SLOW)
    before = session.box.work.map.text()
    to_row(session, "Carry to paper")
    keys(session, "press")
    turn_slowly(session, 1)
    assert "result" in ask(session, "card.remove", name=removed, kind="paper")
    session.frame()
    keys(session, "press")
    assert session.box.message.startswith("Not carried over: a record was removed meanwhile.")
    assert session.box.state == "edit"
    keys(session, "back")
    assert session.box.work.map.text() == before


def test_the_row_is_there_only_with_a_record_at_work_and_another_to_go_to():
    def labels(session) -> list[str]:
        return [row.label for row in session.box.panel.rows()]

    assert "Carry to paper" in labels(between_papers(FAST, SLOW))
    assert "Carry to paper" not in labels(between_papers(FAST))
    assert "Carry to paper" not in labels(between_papers(SLOW, UNMEASURED))


def test_a_card_brings_its_measures_in_numbers_and_takes_them_back():
    session = carrying(negative_mm10=360, print_mm10=2540, aperture=33, sheet_wide_mm=203, sheet_high_mm=254)
    to_row(session, "  carry to", 2)
    keys(session, "press")
    turn_slowly(session, 1)
    keys(session, "press")
    card = session.box.work.map.to_dict()
    text = dump(card)
    assert "negative_mm = 36\n" in text
    assert "print_mm = 254\n" in text
    assert "f_thirds = 17\n" in text
    assert "sheet_mm = [203, 254]\n" in text
    assert '[carried]\naperture = "+1/6"\n' in text
    assert read(text) == card
