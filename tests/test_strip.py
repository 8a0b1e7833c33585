"""Test strips: what each patch gets, and what choosing a patch sets, against handbook strips and `mpmath`."""

from fractions import Fraction

import mpmath
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from timing_core.light.bench import Bench
from timing_core.light.plan import BASE, COVER, FIT, FRESH
from timing_core.light.printing_map import MARK_FURTHEST, Mark, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, STOP, offset_between, scale
from timing_core.light.strip import PATCHES_MAX, PATCHES_MIN, STEP_CHOICES, STEP_MAX_STOPS120, Strip
from timing_core.refusal import Refusal


def a_map(*passes, tied=False):
    """A map of passes given as (filter, base_ms)."""
    map = PrintingMap.new(passes[0][1], passes[0][0], 100)
    map.set_pass_count(len(passes))
    for index, (filter, base_ms) in enumerate(passes):
        map.passes[index].filter = filter
        map.set_base(index, base_ms)
    map.set_tied(tied)
    # A strip is judged wet, so dry-down must not touch it.
    map.dry_down = True
    return map


def a_strip(**values):
    strip = Strip()
    for key, value in values.items():
        assert hasattr(strip, key)
        setattr(strip, key, value)
    return strip


def a_bench(**values):
    bench = Bench()
    bench.set_all(values)
    return bench


def outline(stages):
    """A strip as text: +filter, "base N ms", or "patch ms"."""
    return [
        f"+{stage.filter}"
        if stage.kind == FIT
        else f"base {stage.pass_index + 1} {stage.light_ms}"
        if stage.kind == BASE
        else f"{stage.area} {stage.light_ms}"
        for stage in stages
    ]


def lights(stages):
    return [stage.light_ms for stage in stages if stage.kind in (COVER, FRESH)]


# --- handbook strips


def test_a_geometric_strip():
    # Paper maker's guidance, quoted by grainmag.com "test strips" (second-hand): 2, 4, 8, 16, 32 s, given as
    # 2, 2, 4, 8, 16 s while one patch after another is covered.
    map = a_map(("2", 8000))
    strip = a_strip(patches=5, step_stops120=STOP, centred=False, origin_ms=2000)
    assert [strip.total_ms(map, 2 * patch) for patch in range(5)] == [2000, 4000, 8000, 16000, 32000]
    assert lights(strip.compile(map, Bench())) == [2000, 2000, 4000, 8000, 16000]
    strip.kind = FRESH
    assert lights(strip.compile(map, Bench())) == [2000, 4000, 8000, 16000, 32000]
    # The same around its middle.
    strip.centred, strip.origin_ms, strip.kind = True, None, COVER
    assert lights(strip.compile(map, Bench())) == [2000, 2000, 4000, 8000, 16000]


def test_a_linear_strip():
    # NAVEDTRA 14209, fig. 11-5, and US Army SS0509: 2-4-6-8-10 s.
    map = a_map(("2", 10000))
    strip = a_strip(patches=5, step_stops120=0, step_ms=2000, centred=False, origin_ms=2000)
    assert [strip.total_ms(map, 2 * patch) for patch in range(5)] == [2000, 4000, 6000, 8000, 10000]
    assert lights(strip.compile(map, Bench())) == [2000] * 5
    strip.kind = FRESH
    assert lights(strip.compile(map, Bench())) == [2000, 4000, 6000, 8000, 10000]
    strip.centred, strip.origin_ms = True, 6000
    assert lights(strip.compile(map, Bench())) == [2000, 4000, 6000, 8000, 10000]


# --- any strip


@st.composite
def strips(draw):
    """Strips for a base, with steps in stops or in plain time."""
    strip = a_strip(
        kind=draw(st.sampled_from([COVER, FRESH])),
        patches=draw(st.integers(PATCHES_MIN, PATCHES_MAX)),
        centred=draw(st.booleans()),
        origin_ms=draw(st.one_of(st.none(), st.integers(1000, 60000))),
    )
    if draw(st.booleans()):
        strip.step_stops120 = draw(st.integers(1, STEP_MAX_STOPS120))
    else:
        strip.step_stops120, strip.step_ms = 0, draw(st.integers(100, 10000))
    return strip


def exact_total(strip, origin_ms, place):
    """What a place gets, by mpmath at 200 bits: evenly spaced in stops, or in time."""
    from_origin = Fraction(place, 2) - (Fraction(strip.patches - 1, 2) if strip.centred else 0)
    if strip.step_stops120 == 0:
        return origin_ms + from_origin * strip.step_ms
    stops = from_origin * strip.step_stops120 / STOP
    with mpmath.workprec(200):
        return origin_ms * mpmath.power(2, mpmath.mpf(stops.numerator) / stops.denominator)


@given(strips(), st.integers(1000, 60000), st.data())
@settings(max_examples=150, deadline=None)
def test_every_place_gets_its_step(strip, base_ms, data):
    map = a_map(("2", base_ms))
    origin_ms = base_ms if strip.origin_ms is None else strip.origin_ms
    place = data.draw(st.integers(0, strip.last_place))
    exact_ms = exact_total(strip, origin_ms, place)
    got_ms = strip.total_ms(map, place)
    if strip.step_stops120:
        # Between two patches, and in the middle of an even number, the offset is a whole 1/120 stop: it may
        # lie half of one from the exact place, and where both halves meet a whole one.
        assert abs(float(mpmath.log(got_ms / exact_ms, 2))) <= 1 / STOP + 0.51 / got_ms
        if (strip.step_stops120 * place) % 2 == 0 and (strip.step_stops120 * (strip.patches - 1)) % 2 == 0:
            assert abs(got_ms - exact_ms) <= 0.5
    else:
        assert abs(got_ms - exact_ms) <= 0.5
    places = [strip.total_ms(map, at) for at in range(strip.last_place + 1)]
    assert places == sorted(places)


@given(strips(), st.integers(1000, 60000))
@settings(max_examples=150, deadline=None)
def test_exposures_add_up_to_what_each_patch_should_get(strip, base_ms):
    map, bench = a_map(("2", base_ms)), a_bench(least_ms=20)
    totals = [strip.total_ms(map, 2 * patch) for patch in range(strip.patches)]
    steps_ms = [b - a for a, b in zip([0, *totals[:-1]], totals, strict=True)]
    given_ms = steps_ms if strip.kind == COVER else totals
    if totals[0] <= 0:
        with pytest.raises(Refusal, match=r"^The strip begins below zero: "):
            strip.compile(map, bench)
        return
    if min(given_ms) < 20 or max(given_ms) > BASE_MAX_MS:
        with pytest.raises(Refusal, match=r"^Patch \d+ is too (short|long): "):
            strip.compile(map, bench)
        return
    stages = strip.compile(map, bench)
    assert (stages[0].kind, stages[0].filter) == (FIT, "2")
    patches = stages[1:]
    assert [stage.area for stage in patches] == [str(patch + 1) for patch in range(strip.patches)]
    assert {stage.kind for stage in patches} == {strip.kind}
    assert all(stage.filter == "2" and not stage.windows for stage in patches)
    assert all(stage.shown_ms == stage.light_ms >= 20 for stage in patches)
    for patch in range(strip.patches):
        # Covered: a patch is open during its own exposure and all before it. Fresh: during its own alone.
        open_during = patches[: patch + 1] if strip.kind == COVER else patches[patch : patch + 1]
        assert sum(stage.light_ms for stage in open_during) == totals[patch]


def test_a_strip_follows_the_map_until_it_has_a_time():
    map, strip = a_map(("2", 8000)), a_strip(patches=3, step_stops120=STOP)
    assert [strip.total_ms(map, place) for place in (0, 2, 4)] == [4000, 8000, 16000]
    map.set_base(0, 10000)
    assert [strip.total_ms(map, place) for place in (0, 2, 4)] == [5000, 10000, 20000]
    strip.origin_ms = 3000
    assert [strip.total_ms(map, place) for place in (0, 2, 4)] == [1500, 3000, 6000]


def test_every_step_on_offer_has_the_name_it_is_given():
    for name, stops120, ms in STEP_CHOICES:
        number, unit = name.split()
        if unit == "stop":
            assert (Fraction(number) * STOP, 0) == (stops120, ms)
        else:
            assert unit in ("second", "seconds")
            assert (0, int(number) * 1000) == (stops120, ms)


# --- choosing


@given(strips(), st.integers(1000, 60000), st.data())
@settings(max_examples=150, deadline=None)
def test_choosing_a_place_sets_the_base_to_what_it_got(strip, base_ms, data):
    map = a_map(("2", base_ms), ("5", 4000))
    place = data.draw(st.integers(0, strip.last_place))
    got_ms = strip.total_ms(map, place)
    if BASE_MIN_MS <= got_ms <= BASE_MAX_MS:
        strip.choose(map, place)
        assert map.base_ms(0) == got_ms
    else:
        with pytest.raises(Refusal, match=r"^Not taken: .* is no base\. Choose 0\.1 to 999\.9 s\.$"):
            strip.choose(map, place)
        assert map.base_ms(0) == base_ms
    assert map.base_ms(1) == 4000


def test_a_chosen_base_can_be_stepped_back_to_the_middle():
    map, strip = a_map(("2", 16000)), a_strip(patches=7, step_stops120=40)
    strip.choose(map, 2 * 1)
    assert map.base_ms(0) == scale(16000, -80)
    map.step_base(0, 40, 2)
    assert map.base_ms(0) == 16000


def test_choosing_for_a_tied_pass_sets_that_pass_alone_and_the_tie_its_ratio():
    # 7.0 s through filter 0 and 8.4 s through 5; a quarter stop more for the second is 9.989 s.
    map = a_map(("0", 7000), ("5", 8400), tied=True)
    strip = a_strip(patches=5, step_stops120=30, over_earlier=True)
    strip.pass_index = 1
    strip.choose(map, 6)
    assert [map.base_ms(0), map.base_ms(1)] == [7000, 9989]
    map.step_base(0, STOP, 1)
    assert [map.base_ms(0), map.base_ms(1)] == [14000, 19978]


@pytest.mark.parametrize("base_ms", [BASE_MIN_MS, BASE_MAX_MS])
def test_the_shortest_and_the_longest_base_may_be_chosen(base_ms):
    map = a_map(("2", base_ms))
    a_strip(patches=3, step_stops120=STOP).choose(map, 2)
    assert map.base_ms(0) == base_ms


def test_a_choice_that_is_no_base_changes_nothing():
    map = a_map(("0", 16000), ("5", 150), tied=True)
    strip = a_strip(patches=3, step_stops120=STOP)
    strip.pass_index = 1
    with pytest.raises(Refusal, match=r"^Not taken: 0\.0 s is no base\."):
        strip.choose(map, 0)
    assert [map.base_ms(0), map.base_ms(1)] == [16000, 150]


def test_between_two_patches_is_half_a_step():
    map, strip = a_map(("2", 16000)), a_strip(patches=5, step_stops120=40)
    assert strip.last_place == 8
    assert [strip.shift(place) for place in range(9)] == [-80, -60, -40, -20, 0, 20, 40, 60, 80]
    strip.choose(map, 5)
    assert map.base_ms(0) == scale(16000, 20)
    # 1/4 stop halved is 15/120; where a step has no half, down to a whole 1/120.
    assert a_strip(patches=3, step_stops120=30).shift(1) == -15
    assert [a_strip(patches=3, step_stops120=5).shift(place) for place in range(5)] == [-5, -3, 0, 2, 5]
    linear = a_strip(patches=3, step_stops120=0, step_ms=2000, origin_ms=6000)
    assert [linear.total_ms(map, place) for place in range(5)] == [4000, 5000, 6000, 7000, 8000]


# --- for an area


def test_a_strip_for_a_burn_shows_the_whole_light_of_the_area():
    map = a_map(("2", 16000))
    map.add_mark(0, Mark("sky", 40))
    strip = a_strip(patches=5, step_stops120=20, mark_index=0)
    # Each time comes from the area's own rounded to 1 ms, so it may be 1 ms off the exact one.
    wanted = [scale(16000, stops120) for stops120 in (0, 20, 40, 60, 80)]
    assert [strip.total_ms(map, 2 * patch) for patch in range(5)] == pytest.approx(wanted, abs=1)
    assert outline(strip.compile(map, Bench()))[:2] == ["+2", "1 16000"]
    strip.choose(map, 2 * 3)
    assert map.passes[0].marks[0].stops120 == 60
    assert map.base_ms(0) == 16000


def test_a_burn_may_become_a_dodge_by_choosing():
    map = a_map(("2", 16000))
    map.add_mark(0, Mark("sky", 20))
    a_strip(patches=5, step_stops120=40, mark_index=0).choose(map, 0)
    assert map.passes[0].marks[0].stops120 == -60


def test_a_burn_that_names_its_pass_s_own_filter_and_becomes_a_dodge_is_still_a_card():
    map = a_map(("2", 16000))
    map.add_mark(0, Mark("sky", 20, "2"))
    a_strip(patches=5, step_stops120=40, mark_index=0).choose(map, 0)
    assert map.passes[0].marks[0].stops120 == -60
    assert PrintingMap.from_dict(map.to_dict()).to_dict() == map.to_dict()


@given(
    st.integers(2000, 60000),
    st.integers(-240, 240),
    st.integers(PATCHES_MIN, PATCHES_MAX),
    st.integers(1, STEP_MAX_STOPS120),
    st.data(),
)
@settings(deadline=None)
def test_choosing_for_an_area_sets_the_exact_stops(base_ms, stops120, patches, step, data):
    map = a_map(("2", base_ms))
    map.add_mark(0, Mark("sky", stops120))
    strip = a_strip(patches=patches, step_stops120=step, mark_index=0)
    place = data.draw(st.integers(0, strip.last_place))
    wanted = stops120 + place * step // 2 - step * (patches - 1) // 2
    if abs(wanted) <= MARK_FURTHEST:
        got_ms = strip.total_ms(map, place)
        strip.choose(map, place)
        assert map.passes[0].marks[0].stops120 == wanted
        assert abs(base_ms + map.mark_ms(0, map.passes[0].marks[0]) - got_ms) <= 1 + got_ms * step / 240
    else:
        with pytest.raises(Refusal, match=r"^Not taken: it is over 5 stops from the base\."):
            strip.choose(map, place)
        assert map.passes[0].marks[0].stops120 == stops120
    assert map.base_ms(0) == base_ms


@given(st.integers(2000, 60000), strips(), st.data())
@settings(deadline=None)
def test_choosing_for_an_area_on_a_time_takes_the_nearest_120th(base_ms, strip, data):
    assume(strip.origin_ms is not None or strip.step_stops120 == 0)
    map = a_map(("2", base_ms))
    map.add_mark(0, Mark("sky", 0))
    strip.mark_index = 0
    place = data.draw(st.integers(0, strip.last_place))
    got_ms = strip.total_ms(map, place)
    assume(got_ms > 0)
    with mpmath.workprec(200):
        exact = mpmath.log(mpmath.mpf(got_ms) / base_ms, 2) * STOP
    nearest = int(mpmath.floor(exact + 0.5))
    if abs(nearest) <= MARK_FURTHEST:
        strip.choose(map, place)
        assert map.passes[0].marks[0].stops120 == nearest
    else:
        with pytest.raises(Refusal, match=r"^Not taken: "):
            strip.choose(map, place)


# --- through other filters


def test_a_burn_through_another_filter_is_a_strip_over_the_base():
    map = a_map(("2", 16000))
    map.add_mark(0, Mark("sky", 120, "5"))
    strip = a_strip(patches=3, step_stops120=60, mark_index=0)
    # The burn of one stop on 16 s is 16 s through filter 5.
    totals = [scale(16000, stops120) for stops120 in (-60, 0, 60)]
    assert [strip.total_ms(map, 2 * patch) for patch in range(3)] == totals
    steps_ms = [totals[0], totals[1] - totals[0], totals[2] - totals[1]]
    assert outline(strip.compile(map, Bench())) == [
        "+2",
        "base 1 16000",
        "+5",
        *(f"{patch + 1} {ms}" for patch, ms in enumerate(steps_ms)),
    ]
    strip.choose(map, 4)
    # 16 s and 16 s times root 2 through the other filter: the offset nearest to that.
    assert map.passes[0].marks[0].stops120 == offset_between(16000, 16000 + totals[2]) == 153
    assert map.passes[0].marks[0].filter == "5"
    assert map.mark_ms(0, map.passes[0].marks[0]) == pytest.approx(totals[2], rel=0.006)


def test_split_grade_is_a_strip_over_the_earlier_passes():
    map = a_map(("0", 16000), ("2", 5000), ("5", 8000))
    strip = a_strip(patches=3, step_stops120=STOP, pass_index=2, over_earlier=True)
    assert outline(strip.compile(map, Bench())) == [
        "+0",
        "base 1 16000",
        "+2",
        "base 2 5000",
        "+5",
        "1 4000",
        "2 4000",
        "3 8000",
    ]
    strip.over_earlier = False
    assert outline(strip.compile(map, Bench())) == ["+5", "1 4000", "2 4000", "3 8000"]
    # A burn of the second pass through a third filter, over the first and its own base.
    map.add_mark(1, Mark("sky", 120, "4"))
    strip = a_strip(patches=3, step_stops120=STOP, pass_index=1, mark_index=0, over_earlier=True)
    assert outline(strip.compile(map, Bench())) == [
        "+0",
        "base 1 16000",
        "+2",
        "base 2 5000",
        "+4",
        "1 2500",
        "2 2500",
        "3 5000",
    ]


def test_a_fresh_strip_is_refused_where_filters_would_have_to_change():
    map = a_map(("0", 16000), ("5", 8000))
    map.add_mark(1, Mark("sky", 60, "2"))
    line = "No fresh strip here: each patch would need the other light first. Use a cover strip."
    for strip in (
        a_strip(kind=FRESH, pass_index=1, over_earlier=True),
        a_strip(kind=FRESH, pass_index=1, mark_index=0),
    ):
        with pytest.raises(Refusal) as caught:
            strip.compile(map, Bench())
        assert caught.value.line == line
        strip.kind = COVER
        assert strip.compile(map, Bench())
    assert len(lights(a_strip(kind=FRESH, pass_index=1).compile(map, Bench()))) == 5


# --- what cannot be given


def test_a_strip_below_zero_is_refused():
    map = a_map(("2", 6000))
    strip = a_strip(patches=7, step_stops120=0, step_ms=2000)
    with pytest.raises(Refusal, match=r"^The strip begins below zero: its first patch would get no light\."):
        strip.compile(map, Bench())
    strip.patches = 5
    assert lights(strip.compile(map, Bench())) == [2000] * 5


def test_patches_too_short_or_too_long_for_the_lamp_are_refused():
    map = a_map(("2", 1000))
    strip = a_strip(patches=3, step_stops120=10)
    with pytest.raises(Refusal, match=r"^Patch 2 is too short: 56 ms of light, and this lamp needs 250 ms\."):
        strip.compile(map, Bench())
    # A lag of 150 ms makes of it a strike of 206 ms, and still 56 ms of light.
    with pytest.raises(Refusal, match=r"^Patch 2 is too short: 56 ms of light, and this lamp needs 450 ms\."):
        strip.compile(map, a_bench(lag_ms=150))
    assert lights(strip.compile(map, a_bench(lag_ms=150, least_ms=56)))[1] == 56
    map.set_base(0, 900000)
    with pytest.raises(Refusal, match=r"^Patch 3 is too long: it takes 1800\.0 s, a stage has 999\.9 s\."):
        a_strip(kind=FRESH, patches=3, step_stops120=STOP).compile(map, Bench())
    # Covered, the third patch adds only 900 s to the 900 s before.
    assert lights(a_strip(patches=3, step_stops120=STOP).compile(map, Bench())) == [450000, 450000, 900000]


# --- pointing at something


def test_a_strip_whose_target_is_gone_points_at_the_first_pass():
    map = a_map(("0", 16000), ("5", 8000))
    map.add_mark(1, Mark("sky", 60))
    strip = a_strip(pass_index=1, mark_index=0)
    strip.settle(map)
    assert (strip.pass_index, strip.mark_index) == (1, 0)
    map.passes[1].marks.clear()
    strip.settle(map)
    assert (strip.pass_index, strip.mark_index) == (1, None)
    map.set_pass_count(1)
    strip.settle(map)
    assert (strip.pass_index, strip.mark_index) == (0, None)


def test_a_copy_is_independent():
    strip = a_strip(kind=FRESH, patches=7, step_stops120=0, step_ms=500, centred=False, origin_ms=3000)
    strip.pass_index, strip.mark_index, strip.over_earlier = 2, 1, True
    twin = strip.copy()
    assert vars(twin) == vars(strip)
    before = dict(vars(strip))
    for key, value in vars(Strip()).items():
        assert vars(twin)[key] != value
        setattr(twin, key, value)
    assert vars(strip) == before
