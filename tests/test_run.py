"""The compiled run against models written from the map alone: order, fits, windows, cues, light.

The models use `Fraction` and `Decimal` where the core uses integers, and search where it follows a rule.
"""

import itertools
from collections import deque
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from timing_core.light.bench import Bench
from timing_core.light.plan import (
    BASE,
    BOTH,
    BURN,
    CLOSES,
    CUE_LENGTH_MS,
    FIT,
    OPENS,
    PIP_MS,
    compile_print,
    filter_text,
    lamp_ms,
    light_of,
    stage_name,
    stage_task,
)
from timing_core.light.printing_map import Mark, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, mark_ms, offset_between
from timing_core.panel.sounds import SOUNDS
from timing_core.refusal import Refusal


def a_map(*passes, dry_down_pm=None):
    """A map of passes given as (filter, base_ms, {area: stops120, or what else a Mark is made of})."""
    card = {
        "name": "test",
        "title": "",
        "tied": False,
        "dry_down": dry_down_pm is not None,
        "dry_down_pm": dry_down_pm or 0,
        "facts": {},
        "passes": [{"filter": filter, "base_ms": base_ms, "marks": []} for filter, base_ms, _ in passes],
    }
    map = PrintingMap.from_dict(card)
    for own, (_, _, marks) in zip(map.passes, passes, strict=True):
        for area, mark in marks.items():
            own.marks.append(Mark(area, *mark) if isinstance(mark, tuple) else Mark(area, mark))
    return map


def a_bench(**values):
    bench = Bench()
    bench.set_all(values)
    return bench


def cut(ms, per_mille):
    """What dry-down leaves of a time, to the nearest ms."""
    return int((Decimal(ms) * (1000 - per_mille) / 1000).quantize(Decimal(1), ROUND_HALF_UP))


def outline(stages):
    """A run as text, one word a stage: +filter, base number, or the area that is burned."""
    return " ".join(
        f"+{stage.filter or '-'}"
        if stage.kind == FIT
        else str(stage.pass_index + 1)
        if stage.kind == BASE
        else stage.area
        for stage in stages
    )


# --- working order


@pytest.mark.parametrize(
    ("map", "order"),
    [
        (a_map(("2", 16000, {})), "+2 1"),
        (a_map(("", 16000, {})), "+- 1"),
        (a_map(("2", 16000, {"sky": 40, "boats": -40, "quay": 60})), "+2 1 sky quay"),
        (a_map(("0", 8000, {}), ("5", 8000, {"sky": 40})), "+0 1 +5 2 sky"),
        # A burn through another filter waits until a pass fits that, or for the end.
        (a_map(("0", 8000, {"sky": (40, "5")}), ("5", 8000, {})), "+0 1 +5 2 sky"),
        (a_map(("2", 8000, {"sky": (40, "5"), "quay": 40})), "+2 1 quay +5 sky"),
        # A burn of a later pass through a filter that is in place does not have it fitted twice.
        (a_map(("0", 8000, {}), ("5", 8000, {"sky": (40, "0")})), "+0 1 sky +5 2"),
        (
            a_map(("0", 8000, {}), ("1", 8000, {}), ("2", 8000, {}), ("3", 8000, {"sky": (40, "0")})),
            "+0 1 sky +1 2 +2 3 +3 4",
        ),
        # What is left is grouped by filter, in the map's order.
        (
            a_map(("2", 9000, {"a": (40, "5"), "b": (40, "0"), "c": (60, "5"), "d": (60, "2")})),
            "+2 1 d +5 a c +0 b",
        ),
        # Neighbouring passes through one filter need one fit; a filter that comes back needs another.
        (a_map(("2", 8000, {}), ("2", 9000, {})), "+2 1 2"),
        (a_map(("0", 8000, {}), ("5", 8000, {}), ("0", 8000, {})), "+0 1 +5 2 +0 3"),
        (a_map(("2", 16000, {"nothing": 0})), "+2 1"),
    ],
)
def test_working_order(map, order):
    assert outline(compile_print(map, Bench())) == order


def fewest_fits(passes, burns):
    """The fewest fits that any order needs which keeps the passes in theirs: found by breadth-first search.

    `passes` are the bases' filters in order, `burns` the filters of the burns.
    """
    start = (None, 0, frozenset(burns))
    queue, seen = deque([(start, 0)]), {start}
    while queue:
        (fitted, given, waiting), fits = queue.popleft()
        # Light through the filter in place costs no fit, so it is always given at once.
        waiting -= {fitted}
        while given < len(passes) and passes[given] == fitted:
            given += 1
        if given == len(passes) and not waiting:
            return fits
        for filter in {*passes, *burns} - {fitted}:
            state = (filter, given, waiting)
            if state not in seen:
                seen.add(state)
                queue.append((state, fits + 1))
    raise AssertionError("no order gives it all")


filters = st.sampled_from(["", "0", "2", "5"])


@st.composite
def maps(draw, least_ms=2000, together=False):
    """Maps that a lamp can mostly give: bases of `least_ms` to 60 s, up to 4 marks a pass, any of them with
    the one before it if `together`."""
    passes = []
    for _ in range(draw(st.integers(1, 4))):
        marks = {}
        for number in range(draw(st.integers(0, 4))):
            stops120 = draw(st.one_of(st.integers(-60, -10), st.integers(0, 240)))
            other = draw(filters) if stops120 > 0 else ""
            with_previous = together and draw(st.booleans())
            area = draw(st.sampled_from(["sky", "quay", "boats", f"area {number}"]))
            marks[area] = (stops120, other, with_previous)
        passes.append((draw(filters), draw(st.integers(least_ms, 60000)), marks))
    return a_map(*passes, dry_down_pm=draw(st.sampled_from([None, 0, 80, 125, 333])))


benches = st.builds(
    a_bench,
    lead_ms=st.integers(5, 50).map(lambda n: n * 100),
    lag_ms=st.integers(-300, 500),
    least_ms=st.sampled_from([20, 100, 400]),
)


def compiled(map, bench):
    """The stages; examples that cannot be given are passed over (they have a test of their own)."""
    try:
        return compile_print(map, bench)
    except Refusal:
        assume(False)


@given(maps(together=True), benches)
@settings(max_examples=150, deadline=None)
def test_every_run_keeps_the_working_order(map, bench):
    stages = compiled(map, bench)
    fitted = None
    for stage in stages:
        if stage.kind == FIT:
            assert stage.filter != fitted
            assert stage.light_ms == stage.shown_ms == 0
            fitted = stage.filter
        else:
            assert stage.filter == fitted
            assert stage.light_ms > 0
    assert stages[0].kind == FIT
    assert [stage.pass_index for stage in stages if stage.kind == BASE] == list(range(len(map.passes)))
    burns = [
        (mark.filter or own.filter, index, mark.area, mark.stops120, map.mark_ms(index, mark))
        for index, own in enumerate(map.passes)
        for mark in own.marks
        if mark.stops120 > 0
    ]
    given = [(s.filter, s.pass_index, s.area, s.stops120, s.shown_ms) for s in stages if s.kind == BURN]
    assert sorted(given) == sorted(burns)
    fits = sum(stage.kind == FIT for stage in stages)
    assert fits == fewest_fits([own.filter for own in map.passes], {burn[0] for burn in burns})


# --- light


def light_from_stages(stages, area):
    """Light the area gets through each filter, and how many times a shutter or a card moves for it."""
    light, events = {}, {}
    for stage in stages:
        if stage.kind == FIT or (stage.kind == BURN and stage.area != area):
            continue
        given_ms = stage.light_ms
        for window in stage.windows:
            if window.area == area:
                given_ms -= window.close_ms - window.open_ms
                events[stage.filter] = events.get(stage.filter, 0) + 1
        light[stage.filter] = light.get(stage.filter, 0) + given_ms
        events[stage.filter] = events.get(stage.filter, 0) + 1
    return light, events


def light_from_map(map, area):
    """The same from the map alone: bases and marks in stops, the cut taken of the exact sum."""
    light = {}
    for index, own in enumerate(map.passes):
        base_ms = Decimal(map.base_ms(index))
        light[own.filter] = light.get(own.filter, 0) + base_ms
        for mark in own.marks:
            if mark.area == area and mark.stops120:
                filter = mark.filter or own.filter
                added = base_ms * (Decimal(2) ** (Decimal(mark.stops120) / 120) - 1)
                light[filter] = light.get(filter, 0) + added
    left = Decimal(1000 - (map.dry_down_pm if map.dry_down else 0)) / 1000
    return {filter: ms * left for filter, ms in light.items()}


@given(maps(together=True), benches)
@settings(max_examples=150, deadline=None)
def test_the_light_of_all_stages_is_the_light_of_the_map(map, bench):
    """To 1 ms for each stage or window that an area takes part in, through every filter."""
    stages = compiled(map, bench)
    for area in ("sky", "quay", "boats", "area 0", "the rest"):
        light, events = light_from_stages(stages, area)
        planned = light_from_map(map, area)
        assert set(light) == set(planned)
        for filter, ms in planned.items():
            assert abs(light[filter] - ms) <= events[filter]


def test_dry_down_cuts_the_light_and_leaves_what_is_shown():
    # 10 % less light is -0.152 stop (East Midlands Monochrome Group); here for every stage alike.
    passes = ("0", 16000, {"sky": 40, "boats": -60}), ("5", 9000, {"quay": (60, "2")})
    plain = compile_print(a_map(*passes), Bench())
    cut_down = compile_print(a_map(*passes, dry_down_pm=100), Bench())
    assert outline(plain) == outline(cut_down)
    for before, after in zip(plain, cut_down, strict=True):
        assert before.light_ms == before.shown_ms == after.shown_ms
        if before.light_ms:
            assert after.light_ms == cut(before.light_ms, 100)
            assert offset_between(before.light_ms, after.light_ms) / 120 == pytest.approx(-0.152, abs=1 / 240)
    off = a_map(*passes, dry_down_pm=100)
    off.dry_down = False
    assert [s.light_ms for s in compile_print(off, Bench())] == [s.light_ms for s in plain]


def test_every_strike_costs_the_lag_once():
    assert lamp_ms(16000, 150) == 16150
    assert lamp_ms(16000, -20) == 15980
    assert light_of(lamp_ms(16000, 150), 150) == 16000
    assert light_of(100, 150) == 0


# --- dodge windows


@given(maps(), benches)
@settings(max_examples=150, deadline=None)
def test_windows_follow_one_another_a_lead_in_apart(map, bench):
    cut_pm = map.dry_down_pm if map.dry_down else 0
    for stage in compiled(map, bench):
        if stage.kind != BASE:
            assert stage.windows == []
            continue
        base_ms = map.base_ms(stage.pass_index)
        dodges = [mark for mark in map.passes[stage.pass_index].marks if mark.stops120 < 0]
        assert [window.area for window in stage.windows] == [mark.area for mark in dodges]
        before_ms = 0
        for window, mark in zip(stage.windows, dodges, strict=True):
            assert window.open_ms - before_ms == bench.get("lead_ms")
            assert window.close_ms - window.open_ms == cut(-mark_ms(base_ms, mark.stops120), cut_pm)
            before_ms = window.close_ms
        assert before_ms <= stage.light_ms


def pairs_in_model(marks):
    """The dodges of a pass as those that open together, from the marks alone; areas are told apart here."""
    groups = []
    for mark in marks:
        if mark.stops120 < 0:
            if mark.with_previous and groups:
                groups[-1].append(mark)
            else:
                groups.append([mark])
    return groups


@given(maps(together=True), benches)
@settings(max_examples=300, deadline=None)
def test_windows_given_together_open_as_one_and_close_in_their_own_time(map, bench):
    cut_pm = map.dry_down_pm if map.dry_down else 0
    for stage in compiled(map, bench):
        if stage.kind != BASE:
            continue
        windows, at_ms = list(stage.windows), 0
        for group in pairs_in_model(map.passes[stage.pass_index].marks):
            assert len(group) <= 2, "a printer has two hands"
            open_ms, edges = at_ms + bench.get("lead_ms"), []
            for mark in group:
                window = windows.pop(0)
                takes_ms = cut(-mark_ms(map.base_ms(stage.pass_index), mark.stops120), cut_pm)
                assert (window.area, window.open_ms) == (mark.area, open_ms)
                assert window.close_ms - window.open_ms == takes_ms
                edges.append(window.close_ms)
            at_ms = max(edges)
            if len(group) == 2:
                apart_ms = abs(edges[0] - edges[1])
                assert min(edges) - open_ms >= CUE_LENGTH_MS
                assert apart_ms == 0 or apart_ms >= CUE_LENGTH_MS
        assert not windows
        assert at_ms <= stage.light_ms


def test_two_hands_do_in_a_base_of_8_s_what_one_cannot():
    # Half a stop off 8 s takes 8 s (1 - 2^-1/2) = 2.343 s: twice that and two lead-ins of 2 s are 8.686 s.
    map = a_map(("2", 8000, {"face": -60, "hand": -60}))
    with pytest.raises(Refusal, match=r"with lead-ins 8\.7 s, the base has 8\.0 s\. Save 0\.7 s"):
        compile_print(map, Bench())
    map.passes[0].marks[1].with_previous = True
    windows = compile_print(map, Bench())[1].windows
    assert [(own.area, own.open_ms, own.close_ms) for own in windows] == [
        ("face", 2000, 4343),
        ("hand", 2000, 4343),
    ]
    # The longer of the two counts, wherever it stands.
    for stops120 in ((-60, -120), (-120, -60)):
        map = a_map(("2", 8000, {"face": stops120[0], "hand": (stops120[1], "", True)}))
        assert max(own.close_ms for own in compile_print(map, Bench())[1].windows) == 6000
        map.add_mark(0, Mark("sky", -12))
        with pytest.raises(Refusal, match=r"with lead-ins 8\.6 s"):
            compile_print(map, Bench())


def test_a_third_shade_is_refused():
    marks = {"face": -30, "hand": (-40, "", True), "sky": (-60, "", True)}
    with pytest.raises(Refusal) as caught:
        compile_print(a_map(("2", 16000, {}), ("5", 30000, marks)), Bench())
    assert caught.value.line == (
        "Too many shades in pass 2: sky would be a third, for two hands. Give it by itself."
    )
    marks["sky"] = (-60, "", False)
    marks["quay"] = (-20, "", True)
    windows = compile_print(a_map(("2", 30000, marks)), Bench())[1].windows
    assert [own.open_ms for own in windows] == [2000, 2000, windows[1].close_ms + 2000, windows[2].open_ms]


def test_with_is_with_the_nearest_dodge_before_and_without_one_it_is_nothing():
    marks = {
        "sky": (40, "", True),
        "face": (-40, "", True),
        "quay": 60,
        "wall": (0, "", True),
        "hand": (-60, "", True),
    }
    map = a_map(("2", 16000, marks))
    assert [own.open_ms for own in compile_print(map, Bench())[1].windows] == [2000, 2000]
    assert [map.passes[0].partner(n) for n in range(5)] == [None, None, None, None, map.passes[0].marks[1]]
    map.passes[0].marks[1].stops120 = 0
    assert [own.area for own in compile_print(map, Bench())[1].windows] == ["hand"]
    assert not any(map.passes[0].partner(n) for n in range(5))
    # A dodge of an earlier pass is not before it.
    map = a_map(("2", 16000, {"face": -40}), ("5", 16000, {"hand": (-60, "", True)}))
    assert [own.open_ms for own in compile_print(map, Bench())[3].windows] == [2000]


def test_one_area_takes_no_second_shade():
    map = a_map(("2", 16000, {"face": -30}))
    map.add_mark(0, Mark("face", -30, "", True))
    first, second = compile_print(map, Bench())[1].windows
    assert second.open_ms == first.close_ms + 2000


@pytest.mark.parametrize(
    ("base_ms", "stops120", "near_ms"),
    [
        # Half a stop off 4 s ends after 1172 ms, 5/12 after 1003 ms; 1/12 off 2 s is over after 112 ms.
        (4000, (-60, -50), 169),
        (8000, (-55, -60), 166),
        (2000, (-10, -60), 112),
        # The first lasts just as long as a tone, and the second ends 239 ms after it.
        (6300, (-7, -14), 239),
    ],
)
def test_tones_that_would_cut_each_other_off_are_refused(base_ms, stops120, near_ms):
    first, second = stops120
    map, bench = a_map(("2", base_ms, {"face": first, "hand": (second, "", True)})), a_bench(lead_ms=500)
    with pytest.raises(Refusal) as caught:
        compile_print(map, bench)
    assert caught.value.line == (
        f"Dodges too near in pass 1: {near_ms} ms apart, and a tone takes 250 ms. Give one by itself."
    )
    map.passes[0].marks[1].with_previous = False
    compile_print(map, bench)


def test_dodges_fill_a_base_to_the_millisecond_and_no_further():
    # 1 stop off 16 s takes 8 s; two of them with lead-ins of 2 s need 20 s.
    map, bench = a_map(("2", 16000, {"boats": -120})), a_bench(lead_ms=2000)
    assert compile_print(map, bench)[1].windows[0].close_ms == 10000
    map.add_mark(0, Mark("quay", -120))
    with pytest.raises(Refusal) as caught:
        compile_print(map, bench)
    assert caught.value.line == (
        "Dodges do not fit in pass 1: with lead-ins 20.0 s, the base has 16.0 s."
        " Save 4.0 s, or give two together."
    )
    # 1 stop off 4 s takes 2 s: with a lead-in of 2 s that is the whole base, and of 2.001 s too much.
    map = a_map(("2", 4000, {"boats": -120}))
    assert compile_print(map, a_bench(lead_ms=2000))[1].windows[0].close_ms == 4000
    with pytest.raises(Refusal, match=r"Save 0\.1 s"):
        compile_print(map, a_bench(lead_ms=2001))


@given(
    st.integers(3000, 60000),
    st.lists(st.integers(-120, -10), min_size=1, max_size=8),
    st.integers(5, 50).map(lambda n: n * 100),
    st.sampled_from([0, 80, 333]),
)
@settings(deadline=None)
def test_dodges_that_do_not_fit_are_refused_with_the_exact_shortfall(base_ms, stops120, lead_ms, cut_pm):
    map = a_map(
        ("2", base_ms, {f"area {n}": offset for n, offset in enumerate(stops120)}), dry_down_pm=cut_pm
    )
    bench = a_bench(lead_ms=lead_ms)
    need_ms = sum(lead_ms + cut(-mark_ms(base_ms, offset), cut_pm) for offset in stops120)
    short_ms = need_ms - cut(base_ms, cut_pm)
    if short_ms <= 0:
        compile_print(map, bench)
        return
    with pytest.raises(Refusal) as caught:
        compile_print(map, bench)
    # In tenths, never less than it takes.
    told_ms = -(-short_ms // 100) * 100
    assert f"Save {told_ms // 1000}.{told_ms // 100 % 10} s, " in caught.value.line
    # Whoever saves what is told has dodges that fit.
    saved_each_ms = -(-told_ms // len(stops120))
    if lead_ms - saved_each_ms >= 500:
        bench.set("lead_ms", lead_ms - saved_each_ms)
        compile_print(map, bench)


# --- cues


@given(maps(), benches)
@settings(max_examples=150, deadline=None)
def test_cues_lead_in_to_every_edge_in_order(map, bench):
    for stage in compiled(map, bench):
        wanted, clear_ms = [], 1
        for window, second in zip(stage.windows, itertools.cycle(("", "2"))):
            for edge_ms, sound in ((window.open_ms, "open" + second), (window.close_ms, "close" + second)):
                pips = [edge_ms - 1500, edge_ms - 1000, edge_ms - 500]
                wanted += [(ms, "pip") for ms in pips if ms >= clear_ms] + [(edge_ms, sound)]
                clear_ms = edge_ms + 250
        assert stage.cues == wanted
        times = [ms for ms, _ in stage.cues]
        assert times == sorted(times)


def test_cues_of_two_windows():
    map = a_map(("2", 16000, {"boats": -40, "quay": offset_between(16000, 15600)}))
    first, second = compile_print(map, a_bench(lead_ms=1200))[1].windows
    cues = compile_print(map, a_bench(lead_ms=1200))[1].cues
    assert PIP_MS == 500
    assert (first.open_ms, first.close_ms) == (1200, 1200 + 3301)
    # A lead-in shorter than three pips has fewer, and so has a short window.
    assert cues[:2] == [(200, "pip"), (700, "pip")]
    assert cues[2:7] == [(1200, "open"), (3001, "pip"), (3501, "pip"), (4001, "pip"), (4501, "close")]
    # A pip at 4.701 s would cut off the tone before it, which begins at 4.501 s and takes 240 ms.
    assert cues[7:9] == [(5201, "pip"), (5701, "open2")]
    assert cues[9:] == [(second.close_ms, "close2")]


def hands_by_ear(cues):
    """When each window opens and closes for someone who hears the cues and knows nothing else."""
    found = []
    for at_ms, sound in cues:
        if sound == BOTH[0]:
            found += [[at_ms, None], [at_ms, None]]
        elif sound in OPENS:
            assert sound == OPENS[len(found) % 2]
            found.append([at_ms, None])
        elif sound != "pip":
            now = [n for n, window in enumerate(found) if window[1] is None]
            assert sound == BOTH[1] or sound in CLOSES
            for n in now if sound == BOTH[1] else [n for n in now if n % 2 == CLOSES.index(sound)]:
                found[n][1] = at_ms
    return found


@given(maps(least_ms=6000, together=True), benches)
@settings(max_examples=300, deadline=None)
def test_the_ear_alone_tells_when_each_shade_goes_in_and_comes_out(map, bench):
    for stage in compiled(map, bench):
        windows = [[own.open_ms, own.close_ms] for own in stage.windows]
        assert hands_by_ear(stage.cues) == windows
        assert stage.cues == sorted(stage.cues)
        assert len({ms for ms, _ in stage.cues}) == len(stage.cues)


@given(maps(together=True), benches)
@settings(max_examples=300, deadline=None)
def test_no_cue_cuts_off_the_one_before(map, bench):
    """But of a single dodge that is shorter than its own tone."""
    for stage in compiled(map, bench):
        short = [own.close_ms for own in stage.windows if own.close_ms - own.open_ms < CUE_LENGTH_MS]
        for (at_ms, sound), (next_ms, _) in itertools.pairwise(stage.cues):
            assert next_ms in short or next_ms >= at_ms + sum(ms for _, ms in SOUNDS[sound])


def test_a_tone_for_the_hands_lasts_no_longer_than_its_room():
    for sound in (*OPENS, *CLOSES, *BOTH):
        assert sum(ms for _, ms in SOUNDS[sound]) < CUE_LENGTH_MS


def test_cues_of_two_windows_that_open_together():
    map = a_map(("2", 16000, {"face": -60, "hand": (-40, "", True), "sky": -12}))
    stage = compile_print(map, Bench())[1]
    face, hand, sky = stage.windows
    assert (face.open_ms, face.close_ms, hand.close_ms, sky.open_ms) == (2000, 6686, 5301, 8686)
    assert stage.cues == [
        (500, "pip"),
        (1000, "pip"),
        (1500, "pip"),
        (2000, "open_both"),
        (3801, "pip"),
        (4301, "pip"),
        (4801, "pip"),
        (5301, "close2"),
        (5686, "pip"),
        (6186, "pip"),
        (6686, "close"),
        (7186, "pip"),
        (7686, "pip"),
        (8186, "pip"),
        (8686, "open"),
        (9257, "pip"),
        (sky.close_ms, "close"),
    ]
    # What would be heard together is one tone of its own.
    map.passes[0].marks[1].stops120 = -60
    cues = [cue for cue in compile_print(map, Bench())[1].cues if cue[1] != "pip"]
    assert cues[:3] == [(2000, "open_both"), (6686, "close_both"), (8686, "open")]


# --- what a lamp cannot give


@pytest.mark.parametrize(
    ("map", "bench", "line"),
    [
        (
            a_map(("2", 100, {})),
            a_bench(least_ms=110),
            "Base, pass 1 is too short: 100 ms of light, and this lamp needs 110 ms. "
            "Give it more, or stop down.",
        ),
        (
            a_map(("2", 1000, {"sky": 10})),
            a_bench(least_ms=100),
            "Burn sky is too short: 59 ms of light, and this lamp needs 100 ms. Give it more, or stop down.",
        ),
        (
            a_map(("2", 100000, {"sky": 600})),
            a_bench(),
            "Burn sky is too long: it takes 3100.0 s, a stage has 999.9 s. Open the aperture.",
        ),
        (
            a_map(("2", 500, {}), dry_down_pm=500),
            a_bench(lag_ms=-240, least_ms=100),
            "Base, pass 1 is too short: 250 ms of light, and this lamp needs 260 ms. "
            "Give it more, or stop down.",
        ),
    ],
)
def test_light_that_the_lamp_cannot_give_is_refused(map, bench, line):
    before = map.to_dict()
    with pytest.raises(Refusal) as caught:
        compile_print(map, bench)
    assert caught.value.line == line
    assert map.to_dict() == before


@given(
    st.integers(BASE_MIN_MS, 3000), st.integers(1, 60), st.integers(-300, 500), st.sampled_from([100, 400])
)
@settings(deadline=None)
def test_the_shortest_light_is_given_and_no_shorter(base_ms, stops120, lag_ms, least_ms):
    map, bench = a_map(("2", base_ms, {"sky": stops120})), a_bench(lag_ms=lag_ms, least_ms=least_ms)
    shortest_ms = min(base_ms, mark_ms(base_ms, stops120))
    # Light is what counts; only a lamp whose afterglow gives much cannot be struck for so little.
    if shortest_ms >= max(least_ms, 20 - lag_ms):
        assert [stage.light_ms for stage in compile_print(map, bench)[1:]] == [
            base_ms,
            mark_ms(base_ms, stops120),
        ]
    else:
        with pytest.raises(Refusal, match=r"is too short: "):
            compile_print(map, bench)


@pytest.mark.parametrize(
    ("lag_ms", "least_ms", "light_ms"),
    [(150, 400, 400), (150, 0, 450), (80, 0, 250), (-90, 0, 250), (0, 0, 250)],
)
def test_a_lamp_gives_its_shortest_light(lag_ms, least_ms, light_ms):
    # The larger of 250 ms and three times the lag, unless it is set: our own rule.
    bench = a_bench(lag_ms=lag_ms, least_ms=least_ms)
    assert compile_print(a_map(("2", light_ms, {})), bench)[1].light_ms == light_ms
    with pytest.raises(Refusal, match=rf"{light_ms - 1} ms of light, and this lamp needs {light_ms} ms\."):
        compile_print(a_map(("2", light_ms - 1, {})), bench)


def test_the_longest_light_is_given_and_no_longer():
    map = a_map(("2", BASE_MAX_MS, {"sky": 120}))
    assert [stage.light_ms for stage in compile_print(map, Bench())] == [0, BASE_MAX_MS, BASE_MAX_MS]
    map.passes[0].marks[0].stops120 = 121
    with pytest.raises(Refusal, match=r"Burn sky is too long"):
        compile_print(map, Bench())


def test_the_fullest_map_has_all_its_stages():
    # 4 passes of 16 marks, 4 of them without an offset.
    passes = [("2", 60000, {f"area {n}": (10 * n, str(n % 5)) for n in range(16)}) for _ in range(4)]
    stages = compile_print(a_map(*passes), Bench())
    assert [sum(stage.kind == kind for stage in stages) for kind in (FIT, BASE, BURN)] == [5, 4, 60]


# --- words


def test_stages_in_words():
    map = a_map(
        ("", 16000, {"boats": -40, "quay": -20, "sky": (40, "5")}),
        ("2", 9000, {}),
    )
    stages = compile_print(map, Bench())
    assert [(stage_name(stage), stage_task(stage)) for stage in stages] == [
        ("Take filter out", "Take filter out"),
        ("Base, pass 1", "Shade boats, quay"),
        ("Fit filter 2", "Fit filter 2"),
        ("Base, pass 2", "Base, pass 2"),
        ("Fit filter 5", "Fit filter 5"),
        ("Burn sky", "Burn sky"),
    ]
    marks = {"boats": -40, "quay": (-20, "", True), "hull": -20, "mast": (-40, "", True)}
    together = compile_print(a_map(("", 30000, marks)), Bench())[1]
    assert stage_task(together) == "Shade boats + quay, hull + mast"
    assert [filter_text(name) for name in ("", "2")] == ["no filter", "filter 2"]
