"""The printing map: ties against an exact model, limits that change nothing, cards good and bad.

The model keeps every base as a fraction times 2**(n/120), never rounded; `mpmath` rounds it for comparison.
"""

import json
import unicodedata
from contextlib import suppress
from copy import deepcopy
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.card_numbers import card_numbers
from timing_core.canonical import encode
from timing_core.light.bench import FILTER_MAX
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.printing_map import (
    AREA_MAX,
    CARRIED,
    DRY_DOWN_MAX_PM,
    FACTS,
    MARK_FURTHEST,
    MARKS_MAX,
    MEASURES,
    PASSES_MAX,
    TITLE_MAX,
    Mark,
    PrintingMap,
)
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, FURTHEST, STEPS, STOP, offset_between, scale
from timing_core.refusal import Refusal

EXACT = mpmath.MPContext()
EXACT.prec = 400

bases_ms = st.integers(BASE_MIN_MS, BASE_MAX_MS)
sizes = st.sampled_from([size for _, size in STEPS if size])


def a_map(*base_ms, tied=True):
    """A map with these bases."""
    map = PrintingMap.new(base_ms[0], "2", 80)
    map.set_pass_count(len(base_ms))
    for index, ms in enumerate(base_ms):
        map.set_base(index, ms)
    map.set_tied(tied)
    return map


def bases_of(map):
    return [map.base_ms(index) for index in range(len(map.passes))]


def whole_of(map):
    """Everything a map holds, ties and shifts included."""
    whole = dict(vars(map))
    whole["flash"] = map.flash and dict(vars(map.flash))
    whole["passes"] = [{**vars(own), "marks": [dict(vars(mark)) for mark in own.marks]} for own in map.passes]
    return deepcopy(whole)


# --- ties


def test_two_tied_passes():
    # Common practice, no source: 16 s and 8.98 s are 10/12 stop apart; doubling one doubles the other.
    map = a_map(16000, 8980)
    assert offset_between(16000, 8980) == -10 * STOP // 12
    map.step_base(0, STOP, 1)
    assert bases_of(map) == pytest.approx([32000, 17960], abs=5)
    map.step_base(1, STOP, -2)
    assert bases_of(map) == pytest.approx([8000, 4490], abs=5)
    map.step_base(1, STOP, 1)
    assert bases_of(map) == [16000, 8980]
    map.set_base(1, 4490)
    assert bases_of(map) == [8000, 4490]


def test_free_passes_go_their_own_way():
    map = a_map(16000, 8980, tied=False)
    map.step_base(0, 40, 3)
    map.set_base(1, 5000)
    assert bases_of(map) == [32000, 5000]


def test_tying_and_freeing_changes_no_base():
    map = a_map(16000, 8980, 700)
    map.step_base(0, 40, 1)
    before = bases_of(map)
    map.set_tied(False)
    assert bases_of(map) == before
    map.set_tied(True)
    assert bases_of(map) == before


@given(
    st.lists(bases_ms, min_size=1, max_size=PASSES_MAX),
    st.booleans(),
    st.lists(st.tuples(st.integers(0, 3), sizes, st.integers(-40, 40)), max_size=40),
    st.randoms(use_true_random=False),
)
@settings(deadline=None)
def test_a_walk_of_steps_and_back_passes_the_same_times(base_ms, tied, walk, random):
    map = a_map(*base_ms, tied=tied)
    moves = []
    for index, size, steps in walk:
        index %= len(base_ms)
        before = bases_of(map)
        with suppress(Refusal):
            map.step_base(index, size, steps)
            moves.append((before, index, size, steps))
    for before, index, size, steps in reversed(moves):
        # Tied passes can be turned back at any of them.
        map.step_base(random.randrange(len(base_ms)) if tied else index, size, -steps)
        assert bases_of(map) == before
    assert bases_of(map) == base_ms


class Model:
    """A map's bases as (fraction, n): fraction * 2**(n/120) ms, exact however often they change."""

    def __init__(self, base_ms, tied):
        self.tied = tied
        self.exact = [(Fraction(ms), 0) for ms in base_ms]

    @staticmethod
    def rounded(exact):
        part, n = exact
        whole, k = divmod(n, STOP)
        part *= Fraction(2) ** whole
        if k == 0:
            return (part + Fraction(1, 2)).__floor__()
        ms = EXACT.mpf(part.numerator) / part.denominator * EXACT.power(2, EXACT.mpf(k) / STOP)
        return int(EXACT.floor(ms + EXACT.mpf(1) / 2))

    def bases(self):
        return [self.rounded(exact) for exact in self.exact]

    def settle(self):
        self.exact = [(Fraction(ms), 0) for ms in self.bases()]

    def keep(self, exact):
        """True, and the bases are `exact`, where they are all in range."""
        if not all(BASE_MIN_MS <= self.rounded(one) <= BASE_MAX_MS for one in exact):
            return False
        if any(abs(n) > FURTHEST for _, n in exact):
            return False
        self.exact = exact
        return True

    def step(self, index, stops120):
        moved = list(range(len(self.exact))) if self.tied else [index]
        return self.keep(
            [(part, n + stops120 if at in moved else n) for at, (part, n) in enumerate(self.exact)]
        )

    def set(self, index, ms):
        if not self.tied:
            return self.keep([(Fraction(ms), 0) if at == index else one for at, one in enumerate(self.exact)])
        # Tied passes share n, so their ratio is that of their fractions.
        own = self.exact[index][0]
        return self.keep([(part / own * ms, 0) for part, _ in self.exact])


changes = st.one_of(
    st.tuples(st.just("step"), st.integers(0, 3), sizes, st.integers(-30, 30)),
    st.tuples(st.just("plain"), st.integers(0, 3), st.integers(-5, 5)),
    st.tuples(st.just("set"), st.integers(0, 3), st.integers(0, 1200000)),
    st.tuples(st.just("tie"), st.booleans()),
    st.tuples(st.just("copy")),
    st.tuples(st.just("card")),
)


@given(st.lists(bases_ms, min_size=1, max_size=PASSES_MAX), st.booleans(), st.lists(changes, max_size=30))
@settings(max_examples=150, deadline=None)
def test_bases_are_the_exact_ones_rounded_once(base_ms, tied, walk):
    map, model = a_map(*base_ms, tied=tied), Model(base_ms, tied)
    for change, *details in walk:
        before = whole_of(map)
        if change == "tie":
            map.set_tied(details[0])
            model.settle()
            model.tied = details[0]
        elif change == "copy":
            map = map.copy()
        elif change == "card":
            map = PrintingMap.from_dict(map.to_dict())
            model.settle()
        else:
            index = details[0] % len(base_ms)
            try:
                if change == "step":
                    map.step_base(index, *details[1:])
                elif change == "plain":
                    map.step_base(index, 0, details[1])
                else:
                    map.set_base(index, details[1])
                taken = True
            except Refusal:
                assert whole_of(map) == before
                taken = False
            if change == "step":
                assert model.step(index, details[1] * details[2]) == taken
            elif change == "plain":
                up_ms = model.bases()[index] + (details[1] > 0)
                size_ms = 100 if up_ms <= 10000 else 500 if up_ms <= 60000 else 1000
                wanted = map.base_ms(index) if taken else None
                if abs(details[1]) == 1 and taken:
                    assert wanted % size_ms == 0
                    assert 0 < abs(wanted - model.bases()[index]) <= size_ms
                assert not taken or model.set(index, wanted)
            else:
                assert model.set(index, details[1]) == taken
        assert bases_of(map) == model.bases()


# --- limits


@pytest.mark.parametrize(
    ("base_ms", "change"),
    [
        ((16000, 8980), lambda map: map.step_base(0, STOP, 9)),
        ((16000, 8980), lambda map: map.step_base(1, STOP, -9)),
        ((16000, 150), lambda map: map.step_base(0, STOP, -1)),
        ((16000, 8980), lambda map: map.set_base(0, BASE_MIN_MS - 1)),
        ((16000, 8980), lambda map: map.set_base(1, BASE_MAX_MS)),
        ((100, 100), lambda map: map.step_base(0, 0, -1)),
        ((999900, 999900), lambda map: map.step_base(0, 0, 1)),
        ((999900, 999900), lambda map: map.step_base(0, 10, -121)),
    ],
)
def test_a_base_out_of_range_is_refused_and_nothing_changes(base_ms, change):
    map = a_map(*base_ms)
    before = whole_of(map)
    with pytest.raises(Refusal, match=r"^Base is not changed: .*\. Bases go from 0\.1 to 999\.9 s\.$"):
        change(map)
    assert whole_of(map) == before


def test_a_base_moves_by_ten_stops_and_no_further():
    for base_ms, up in ((100, 1), (999900, -1)):
        map = a_map(base_ms, base_ms)
        map.step_base(0, 60 * up, 20)
        assert bases_of(map) == [scale(base_ms, FURTHEST * up)] * 2
        with pytest.raises(Refusal, match="it moves more than 10 stops"):
            map.step_base(1, 1 * up, 1)
        assert bases_of(map) == [scale(base_ms, FURTHEST * up)] * 2


def test_a_seventeenth_mark_is_refused():
    map = a_map(16000)
    for number in range(MARKS_MAX):
        map.add_mark(0, Mark(f"area {number}", 40))
    before = whole_of(map)
    with pytest.raises(Refusal, match="a pass holds 16"):
        map.add_mark(0, Mark("one more", 40))
    assert whole_of(map) == before


def test_a_new_pass_starts_as_the_last_one_without_marks():
    map = a_map(16000, 8980)
    map.add_mark(1, Mark("sky", 40))
    map.passes[1].filter = "5"
    map.step_base(0, 40, 1)
    before = bases_of(map)
    map.set_pass_count(4)
    assert bases_of(map) == [*before, before[1], before[1]]
    assert [own.filter for own in map.passes] == ["2", "5", "5", "5"]
    assert [len(own.marks) for own in map.passes] == [0, 1, 0, 0]
    map.set_pass_count(1)
    assert bases_of(map) == before[:1]


# --- marks


def test_a_change_of_base_moves_the_time_of_every_mark():
    # Common practice, no source: +4/12 stop is 4.16 s on 16 s and 2.60 s on 10 s; to 0.005 s.
    map = a_map(16000)
    map.add_mark(0, Mark("sky", 40))
    assert map.mark_ms(0, map.passes[0].marks[0]) == pytest.approx(4160, abs=5)
    map.set_base(0, 10000)
    assert map.mark_ms(0, map.passes[0].marks[0]) == pytest.approx(2600, abs=5)
    assert map.passes[0].marks[0].stops120 == 40


marks120 = st.integers(-MARK_FURTHEST, MARK_FURTHEST)


@given(bases_ms, marks120, sizes, st.integers(-200, 200))
@settings(deadline=None)
def test_a_mark_moves_by_steps_as_far_as_five_stops(base_ms, stops120, size, steps):
    map, mark = a_map(base_ms), Mark("sky", stops120)
    map.step_mark(0, mark, size, steps)
    assert mark.stops120 == sorted((-MARK_FURTHEST, stops120 + size * steps, MARK_FURTHEST))[1]


@given(st.integers(2000, 200000), marks120, st.integers(-5, 5).filter(bool))
@settings(deadline=None)
def test_in_plain_seconds_a_mark_moves_to_the_nearest_120th(base_ms, stops120, steps):
    map, mark = a_map(base_ms), Mark("sky", stops120)
    light_ms = scale(base_ms, stops120) - base_ms
    map.step_mark(0, mark, 0, steps)
    assert -MARK_FURTHEST <= mark.stops120 <= MARK_FURTHEST
    moved = mark.stops120 - stops120
    if abs(stops120) == MARK_FURTHEST and moved == 0:
        return
    assert moved * steps > 0
    if abs(moved) > 1 and abs(mark.stops120) < MARK_FURTHEST and abs(light_ms) < 9000:
        # Between -9.5 and 9.5 s of light every step of plain seconds lies on a whole tenth.
        wanted_ms = light_ms // 100 * 100 if steps > 0 else -(-light_ms // 100 * 100)
        wanted_ms += 100 * steps
        assert offset_between(base_ms, max(1, base_ms + wanted_ms)) == mark.stops120


def test_a_mark_in_plain_seconds_goes_through_nought():
    map, mark = a_map(10000), Mark("sky", -60)
    seen = []
    for _ in range(80):
        map.step_mark(0, mark, 0, 1)
        seen.append(mark.stops120)
    assert seen == sorted(set(seen))
    assert 0 in seen
    assert seen[-1] > 0


# --- copies


def test_a_copy_is_independent_and_goes_on_alike():
    map = a_map(16000, 8980)
    map.facts["paper"] = "glossy"
    map.add_mark(0, Mark("sky", 40, "5"))
    map.add_mark(0, Mark("hand", -40, "", True))
    map.step_base(0, 40, 1)
    twin = map.copy()
    assert whole_of(twin) == whole_of(map)
    before = whole_of(map)
    twin.step_base(1, 40, 3)
    twin.passes[0].marks[0].stops120 = -40
    twin.passes[0].marks.append(Mark("boats", 0))
    twin.passes[0].filter = "0"
    twin.facts["paper"] = "matt"
    twin.name, twin.title = "other", "Other"
    twin.dry_down, twin.dry_down_pm = True, 120
    assert whole_of(map) == before
    twin.set_pass_count(1)
    twin.set_tied(False)
    assert whole_of(map) == before
    # The first copy turned back gives the milliseconds it started from, as the map itself does.
    again = map.copy()
    again.step_base(1, 40, -1)
    map.step_base(1, 40, -1)
    assert bases_of(again) == bases_of(map) == [16000, 8980]


# --- the plain form


# Plain text is of the basic plane of Unicode; categories Cc and Cs are control characters and surrogates.
signs = st.one_of(
    st.sampled_from('aZ7 -"\\~\xa0é€\uffff'),
    st.characters(max_codepoint=0xFFFF, exclude_categories=["Cc", "Cs"]),
)


def text(low, high):
    """Plain text; in most examples short, which is quicker and finds as much."""
    return st.one_of(
        st.text(signs, min_size=low, max_size=min(high, 3)), st.just("é" * high), st.just("x" * low)
    )


together = {"with_previous": st.just(True)}
plain_marks = st.fixed_dictionaries({"area": text(1, AREA_MAX), "stops120": marks120}, optional=together)
burns_through_another = st.fixed_dictionaries(
    {"area": text(1, AREA_MAX), "stops120": st.integers(0, MARK_FURTHEST), "filter": text(1, FILTER_MAX)},
    optional=together,
)
passes = st.fixed_dictionaries(
    {
        "filter": text(0, FILTER_MAX),
        "base_ms": bases_ms,
        "marks": st.lists(st.one_of(plain_marks, burns_through_another), max_size=3),
    }
)
cards = st.fixed_dictionaries(
    {
        "name": st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=NAME_MAX),
        "title": text(0, TITLE_MAX),
        "tied": st.booleans(),
        "dry_down": st.booleans(),
        "dry_down_pm": st.integers(0, DRY_DOWN_MAX_PM),
        "facts": st.fixed_dictionaries({}, optional={key: text(1, longest) for key, longest in FACTS}),
        "passes": st.lists(passes, min_size=1, max_size=PASSES_MAX),
    },
    optional={
        **card_numbers,
        "record": st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=NAME_MAX),
    },
)


@given(cards)
@settings(deadline=None)
def test_a_card_comes_back_as_it_was(card):
    kept = deepcopy(card)
    map = PrintingMap.from_dict(card)
    assert map.to_dict() == kept
    assert card == kept
    assert PrintingMap.from_dict(json.loads(encode(map.to_dict()))).to_dict() == kept
    assert map.copy().to_dict() == kept
    assert map.text() == encode(map.to_dict())


def test_a_map_does_not_share_its_card():
    card = a_map(16000).to_dict()
    card["facts"]["paper"] = "glossy"
    map = PrintingMap.from_dict(card)
    card["facts"]["paper"] = "matt"
    map.to_dict()["facts"]["paper"] = "pearl"
    assert map.facts == {"paper": "glossy"}


def fits(value, low, high):
    return (
        type(value) is str
        and low <= len(value) <= high
        and not any(sign > "\uffff" or unicodedata.category(sign) in ("Cc", "Cs") for sign in value)
    )


def between(value, low, high):
    return type(value) is int and low <= value <= high


def is_card(card):
    """Is this what a card may be? Written from the limits alone."""
    needed = {"name", "title", "tied", "dry_down", "dry_down_pm", "facts", "passes"}
    more = {"measures", "carried", "record", "flash"}
    if type(card) is not dict or not needed <= set(card) <= needed | more:
        return False
    longest = dict(FACTS)
    names = [card[key] for key in ("name", "record") if key in card]
    return (
        all(fits(name, 1, NAME_MAX) for name in names)
        and all(set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") for name in names)
        and fits(card["title"], 0, TITLE_MAX)
        and type(card["tied"]) is bool
        and type(card["dry_down"]) is bool
        and between(card["dry_down_pm"], 0, DRY_DOWN_MAX_PM)
        and type(card["facts"]) is dict
        and all(key in longest and fits(card["facts"][key], 1, longest[key]) for key in card["facts"])
        and type(card["passes"]) is list
        and 1 <= len(card["passes"]) <= PASSES_MAX
        and all(is_pass(own) for own in card["passes"])
        and ("measures" not in card or are_numbers(card["measures"], MEASURES))
        and len({"sheet_high_mm", "sheet_wide_mm"} & set(card.get("measures", {}))) != 1
        and (
            "carried" not in card
            or are_numbers(card["carried"], [(key, -FURTHEST, FURTHEST) for key in CARRIED])
        )
        and ("flash" not in card or is_flash(card["flash"]))
    )


def is_flash(flash):
    return (
        type(flash) is dict
        and {"light_ms"} <= set(flash) <= {"light_ms", "filter", "after"}
        and between(flash["light_ms"], BASE_MIN_MS, BASE_MAX_MS)
        and fits(flash.get("filter", "-"), 1, FILTER_MAX)
        and flash.get("after", True) is True
    )


def are_numbers(numbers, known):
    ranges = {key: limits for key, *limits in known}
    return (
        type(numbers) is dict
        and len(numbers) > 0
        and all(key in ranges and between(numbers[key], *ranges[key]) for key in numbers)
    )


def is_pass(own):
    return (
        type(own) is dict
        and set(own) == {"filter", "base_ms", "marks"}
        and fits(own["filter"], 0, FILTER_MAX)
        and between(own["base_ms"], BASE_MIN_MS, BASE_MAX_MS)
        and type(own["marks"]) is list
        and len(own["marks"]) <= MARKS_MAX
        and all(is_mark(mark) for mark in own["marks"])
    )


def is_mark(mark):
    return (
        type(mark) is dict
        and {"area", "stops120"} <= set(mark) <= {"area", "stops120", "filter", "with_previous"}
        and mark.get("with_previous", True) is True
        and fits(mark["area"], 1, AREA_MAX)
        and between(mark["stops120"], -MARK_FURTHEST, MARK_FURTHEST)
        and ("filter" not in mark or (fits(mark["filter"], 1, FILTER_MAX) and mark["stops120"] >= 0))
    )


def check_reading(card):
    """A good card is taken as it is; anything else is a Refusal of one line, and never another error."""
    before = repr(card)
    if is_card(card):
        assert PrintingMap.from_dict(card).to_dict() == card
    else:
        with pytest.raises(Refusal, match=r"^The card is not taken: (.|\n)*\. Mend it and send it again\.$"):
            PrintingMap.from_dict(card)
    assert repr(card) == before


scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from([0, -1, 99, 100, 999900, 999901, 600, 601, -600, -601, 500, 501, 10**30]),
    st.floats(),
    st.text(max_size=30),
    st.sampled_from(["", "2", "sky", "a\nb", "\x7f", "\x85", "\ud800", "\U0001f4f7", "x" * 41, "n" * 25]),
)
json_values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=5),
        st.dictionaries(
            st.one_of(
                st.text(max_size=8),
                st.sampled_from(["name", "passes", "marks", "facts", "area", "filter", "with_previous"]),
            ),
            inner,
            max_size=5,
        ),
    ),
    max_leaves=12,
)


@given(json_values)
@settings(deadline=None)
def test_whatever_comes_as_a_card_is_taken_or_refused(value):
    check_reading(value)


def places(value, path=()):
    """Every place in a card, as a path of keys and indexes."""
    yield path
    if isinstance(value, dict):
        for key in value:
            yield from places(value[key], (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from places(item, (*path, index))


@given(cards, st.data())
@settings(max_examples=150, deadline=None)
def test_a_good_card_with_one_thing_changed_is_taken_or_refused(card, data):
    path = data.draw(st.sampled_from(list(places(card))[1:]))
    inside = card
    for step in path[:-1]:
        inside = inside[step]
    act = data.draw(st.sampled_from(["change", "remove", "add", "repeat"]))
    last = path[-1]
    if act == "change":
        inside[last] = data.draw(json_values)
    elif act == "remove":
        del inside[last]
    elif isinstance(inside, list):
        inside.extend(deepcopy(inside) * 20 if act == "repeat" else [data.draw(json_values)])
    else:
        inside[data.draw(st.text(max_size=30))] = data.draw(json_values)
    check_reading(card)


def test_a_card_has_as_many_passes_and_marks_as_a_map_and_no_more():
    for passes, marks in ((PASSES_MAX, MARKS_MAX), (PASSES_MAX + 1, 0), (0, 0), (1, MARKS_MAX + 1)):
        card = a_map(16000).to_dict()
        own = {"filter": "", "base_ms": 100, "marks": [{"area": "sky", "stops120": 0}] * marks}
        card["passes"] = [own] * passes
        check_reading(card)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda card: card.pop("tied"), "the card: tied is missing"),
        (lambda card: card.update(colour="red"), "the card: it has no colour"),
        (lambda card: card.update(name="Harbour"), "name: it is 1 to 24 characters of a-z, 0-9 and -"),
        (lambda card: card.update(passes=[]), "passes: a print has 1 to 4 of them"),
        (
            lambda card: card["passes"][0].update(base_ms=99),
            "pass 1 base_ms: it is a whole number from 100 to 999900",
        ),
        (
            lambda card: card.update(flash={"light_ms": 99}),
            "flash.light_ms: it is a whole number from 100 to 999900",
        ),
        (lambda card: card.update(flash={"filter": "2"}), "flash.light_ms: it is missing"),
        (lambda card: card.update(flash={"light_ms": 900, "base": 1}), "flash: it has no base"),
        (
            lambda card: card.update(flash={"light_ms": 900, "after": False}),
            "flash.after: it is true, or left out",
        ),
        (
            lambda card: card.update(flash={"light_ms": 900, "filter": ""}),
            "flash.filter: it is plain text of 1 to 8 characters",
        ),
        (
            lambda card: card["passes"][0]["marks"][0].update(filter="5"),
            "pass 1 mark 1 filter: a dodge is made inside its pass's own exposure",
        ),
        (
            lambda card: card["facts"].update(paper="x" * 61),
            "facts.paper: it is plain text of 1 to 60 characters",
        ),
        (
            lambda card: card["passes"][0]["marks"][0].update(with_previous=1),
            "pass 1 mark 1 with_previous: it is true or false",
        ),
        (
            lambda card: card["passes"][0]["marks"][0].update(with_previous=False),
            "pass 1 mark 1 with_previous: it is true, or left out",
        ),
    ],
)
def test_a_refused_card_is_told_where_and_why(change, says):
    map = a_map(16000)
    map.add_mark(0, Mark("boats", -40))
    card = map.to_dict()
    change(card)
    with pytest.raises(Refusal) as caught:
        PrintingMap.from_dict(card)
    assert caught.value.line == f"The card is not taken: {says}. Mend it and send it again."
