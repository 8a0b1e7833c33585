"""The printing map on both: ties without drift, limits, cards there and back, and the strip's choice."""

import json

from host_sim.box.platform import desk_platform
from tests.portable.chance import numbers
from timing_core.canonical import digest_of_text, encode
from timing_core.light.bench import Bench
from timing_core.light.printing_map import MARKS_MAX, PASSES_MAX, Mark, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, STOP, scale
from timing_core.light.strip import Strip
from timing_core.refusal import Refusal


def a_map(base_ms):
    map = PrintingMap.new(base_ms[0], "2", 80)
    map.set_pass_count(len(base_ms))
    for index in range(len(base_ms)):
        map.set_base(index, base_ms[index])
    map.set_tied(True)
    return map


def bases_of(map):
    return [map.base_ms(index) for index in range(len(map.passes))]


def refused(act, *details):
    """The line of the Refusal that `act` raises, or "" if it did what was asked."""
    try:
        act(*details)
    except Refusal as refusal:
        return refusal.line
    return ""


def test_the_numbers_are_the_published_ones():
    # Park and Miller, CACM 31 (1988): from 1, the 10,000th number is 1043618065.
    source = numbers(1)
    for _ in range(10000):
        last = next(source)
    assert last == 1043618065


def test_a_long_walk_of_tied_passes_does_not_drift():
    start = [16000, 8980, 700, 123456]
    map = a_map(start)
    chance = numbers(20250101)
    shift = 0
    for _ in range(1500):
        index = next(chance) % 4
        size = (60, 40, 30, 20, 10)[next(chance) % 5]
        steps = next(chance) % 9 - 4
        if not refused(map.step_base, index, size, steps):
            shift += size * steps
        # Every pass is its own start times the one factor, rounded once, however long the walk was.
        assert bases_of(map) == [scale(ms, shift) for ms in start]
    map.step_base(2, 1 if shift < 0 else -1, abs(shift))
    assert bases_of(map) == start


def test_setting_one_tied_pass_sets_the_others_in_ratio():
    map = a_map([16000, 8000, 2000])
    for ms in (8000, 8001, 999, 16000):
        map.set_base(1, ms)
        assert bases_of(map) == [2 * ms, ms, (ms + 2) // 4]


def test_a_refused_base_changes_nothing():
    map = a_map([16000, 150])
    map.step_base(1, 40, 1)
    before = bases_of(map)
    for index, size, steps in ((0, STOP, -1), (0, STOP, 6), (1, 60, 40), (0, 60, -40)):
        line = refused(map.step_base, index, size, steps)
        assert line.startswith("Base is not changed: ")
        assert line.endswith(". Bases go from 0.1 to 999.9 s.")
        assert bases_of(map) == before
    assert refused(map.set_base, 0, BASE_MIN_MS - 1)
    assert refused(map.set_base, 1, BASE_MAX_MS + 1)
    map.step_base(0, 40, -1)
    assert bases_of(map) == [16000, 150]


def a_full_map():
    map = a_map([16000] * PASSES_MAX)
    for index in range(PASSES_MAX):
        for number in range(MARKS_MAX):
            filter = "%d" % (number % 5) if number % 2 else ""
            stops120 = 10 * number + 1 if filter else -10
            map.add_mark(index, Mark("area %d" % number, stops120, filter, number % 3 == 0))
    map.facts["notes"] = "caf\u00e9 " * 60
    return map


def test_the_fullest_map_comes_back_as_it_was():
    card = a_full_map().to_dict()
    platform = desk_platform()
    before = digest_of_text(platform, encode(card))
    text = encode(card)
    map = PrintingMap.from_dict(json.loads(str(text, "utf-8")))
    assert map.text() == text
    assert digest_of_text(platform, encode(map.to_dict())) == before
    assert digest_of_text(platform, encode(map.copy().to_dict())) == before


def test_a_card_with_anything_missing_is_refused():
    map = a_map([16000, 8980])
    map.add_mark(0, Mark("sky", 40, "5"))
    card = map.to_dict()
    for key in list(card):
        value = card.pop(key)
        assert "%s is missing" % key in refused(PrintingMap.from_dict, card)
        for wrong in (None, 1.5, {}, [], [[]], "\n", -1):
            if type(wrong) is type(value) and not wrong:
                continue
            card[key] = wrong
            assert refused(PrintingMap.from_dict, card).startswith("The card is not taken: "), (key, wrong)
        card[key] = value
    assert PrintingMap.from_dict(card).to_dict() == map.to_dict()


def test_choosing_a_patch_sets_the_base_to_what_the_patch_got():
    strip = Strip()
    for patches in range(3, 12):
        strip.patches = patches
        for place in range(strip.last_place + 1):
            map = a_map([16000, 8980])
            got_ms = strip.total_ms(map, place)
            strip.choose(map, place)
            assert map.base_ms(0) == got_ms
            assert map.base_ms(1) == 8980


def test_a_tied_pass_set_alone_gives_the_tie_its_new_ratio():
    for index in (0, 1):
        map = a_map([16000, 8980])
        map.tied = True
        map.step_base(0, 20, 3)  # half a stop
        others = map.base_ms(1 - index)
        map.set_base_alone(index, 7007, 35)
        bases = [scale(7007, 35), others] if index == 0 else [others, scale(7007, 35)]
        assert [map.base_ms(0), map.base_ms(1)] == bases
        for lead in (0, 1):
            map.step_base(lead, 120, 1)
            assert [map.base_ms(0), map.base_ms(1)] == [2 * bases[0], 2 * bases[1]]
            map.step_base(lead, 120, -1)
            assert [map.base_ms(0), map.base_ms(1)] == bases


def test_a_strip_adds_up():
    map = a_map([16000])
    strip = Strip()
    strip.patches = 11
    stages = strip.compile(map, Bench())[1:]
    given_ms = 0
    for patch in range(11):
        given_ms += stages[patch].light_ms
        assert given_ms == scale(16000, 40 * (patch - 5))
