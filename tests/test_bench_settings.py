"""The bench's table of settings: what it takes, what it refuses, and that a refusal changes nothing."""

import json
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lampblack.text.settings import MEANINGS
from timing_core.canonical import encode
from timing_core.light.bench import (
    AREA_MAX,
    DRY_DOWN_MAX_PM,
    FILTER_MAX,
    Bench,
    check,
    is_int,
    is_plain_text,
    setting,
    setting_keys,
)
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, STEPS
from timing_core.refusal import Refusal

KEYS = setting_keys()
SETTINGS = [setting(key) for key in KEYS]
NUMBERS = [row for row in SETTINGS if row[2] in ("ms", "auto ms", "s", "level", "time", "pm")]
CHOICES = [row for row in SETTINGS if row[2] == "choice"]
TEXTS = [row for row in SETTINGS if row[2] in ("text", "filter")]

# Plain text is of the basic plane of Unicode; categories Cc and Cs are control characters and surrogates.
plain_signs = st.characters(max_codepoint=0xFFFF, exclude_categories=["Cc", "Cs"])
scalars = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=30))
json_values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=14), st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=14,
)


def test_the_table_has_the_limits_of_the_rest_of_the_core():
    assert setting("new_base_ms")[4] == (BASE_MIN_MS, BASE_MAX_MS, 100)
    assert setting("new_dry_down_pm")[4] == (0, DRY_DOWN_MAX_PM, 5)
    assert setting("new_filter")[4] == (0, FILTER_MAX, 0)
    assert setting("step")[4] == tuple(name for name, _ in STEPS)


@pytest.mark.parametrize("key", ["", "lag", "lag_ms|Lamp lag", "lag_ms\nleast_ms", "|", "\n"])
def test_a_piece_of_the_table_is_no_setting(key):
    with pytest.raises(Refusal, match="the box has lag_ms, least_ms"):
        setting(key)


def test_every_kind_of_setting_is_among_those_tested():
    assert len(NUMBERS) + len(CHOICES) + len(TEXTS) + 2 == len(SETTINGS)
    for kind in ("filters", "areas"):
        assert [row[0] for row in SETTINGS if row[2] == kind] == [kind]
    assert len(set(KEYS)) == len(KEYS)


@pytest.mark.parametrize("row", SETTINGS, ids=KEYS)
def test_defaults_are_right_and_words_say_what_it_is(row):
    key, label, _, default, _ = row
    assert check(key, default) == default
    assert Bench().get(key) == default
    assert label
    assert MEANINGS[key]


@pytest.mark.parametrize("row", NUMBERS, ids=[row[0] for row in NUMBERS])
def test_numbers_are_taken_from_end_to_end_and_no_further(row):
    key, label, _, default, (low, high, step) = row
    bench = Bench()
    assert low <= default <= high
    # The dial reaches the default and both ends in whole steps of its own.
    assert step > 0
    assert (default - low) % step == 0
    for value in (low, high):
        bench.set(key, value)
        assert bench.get(key) == value
    for value in (low - 1, high + 1, float(low), str(low), True, None, [low]):
        with pytest.raises(Refusal) as caught:
            bench.set(key, value)
        why = "it is out of range" if type(value) is int else "it takes a whole number"
        assert caught.value.line == f"{label} is not changed: {why}. Give {low} to {high}."
        assert bench.get(key) == high


@pytest.mark.parametrize("row", CHOICES, ids=[row[0] for row in CHOICES])
def test_words_are_taken_from_a_list(row):
    key, label, _, _, words = row
    bench = Bench()
    for word in words:
        bench.set(key, word)
        assert bench.get(key) == word
    for value in ("", words[0][1:], words[0] + " ", 0, None, list(words), {}):
        with pytest.raises(Refusal) as caught:
            bench.set(key, value)
        assert caught.value.line.startswith(f"{label} is not changed: ")
        assert caught.value.line.endswith(f"Give one of: {', '.join(words)}.")
        assert bench.get(key) == words[-1]


@pytest.mark.parametrize("row", TEXTS, ids=[row[0] for row in TEXTS])
def test_texts_are_taken_up_to_their_length(row):
    key, label, _, _, (low, high, _) = row
    bench = Bench()
    for value in ("x" * low, "é" * high):
        bench.set(key, value)
        assert bench.get(key) == value
    for value in ("x" * (high + 1), "a\nb", "\x7f", "\x85", "\ud800", "\U0001f4f7", 2, None, ["2"]):
        with pytest.raises(Refusal, match=f"^{label} is not changed: it takes plain text"):
            bench.set(key, value)
        assert bench.get(key) == "é" * high


def test_the_filters_in_the_drawer():
    bench = Bench()
    for names in (["2"], [str(n) for n in range(12)], ("x" * FILTER_MAX, "0")):
        bench.set("filters", names)
        assert bench.get("filters") == tuple(names)
    for names in ([], [str(n) for n in range(13)], ["2", "2"], [""], ["x" * 9], [2], "2", None, {"2": 1}):
        with pytest.raises(Refusal, match=r"^Filters is not changed: it takes names, each once"):
            bench.set("filters", names)
        assert bench.get("filters") == ("x" * FILTER_MAX, "0")


def test_the_names_of_areas():
    bench = Bench()
    for names in (
        ["sky"],
        [str(n) for n in range(20)],
        ["x" * AREA_MAX, "sky"],
        [c * 11 for c in "abcdefghij"],
    ):
        bench.set("areas", names)
        assert bench.get("areas") == tuple(names)
    kept = bench.get("areas")
    for names in (
        [],
        [str(n) for n in range(21)],
        ["sky", "sky"],
        [""],
        ["x" * 17],
        [c * 12 for c in "abcdefghij"],
    ):
        with pytest.raises(Refusal) as caught:
            bench.set("areas", names)
        assert caught.value.line == (
            "Names of areas is not changed: it takes names, each once. Give 1 to 20 names of up to 16 "
            "characters, 110 in all."
        )
        assert bench.get("areas") == kept
    assert all(len(name) <= AREA_MAX for name in Bench().get("areas"))


def test_the_dial_s_step_in_120ths():
    bench = Bench()
    for name, size in STEPS:
        bench.set("step", name)
        assert bench.step_stops120 == size


def test_an_unknown_setting_is_refused_with_those_there_are():
    with pytest.raises(Refusal) as caught:
        Bench().set("lag", 100)
    assert caught.value.line == (f"No bench setting lag: the box has {', '.join(KEYS)}. Use one of these.")


@given(st.sampled_from(KEYS), json_values)
@settings(deadline=None)
def test_whatever_comes_is_kept_as_it_is_or_refused(key, value):
    bench = Bench()
    before = bench.to_dict()
    try:
        bench.set(key, value)
    except Refusal:
        assert bench.to_dict() == before
    else:
        assert bench.to_dict() == {**before, key: value}
        assert type(bench.to_dict()[key]) is type(value)


def good_values(row):
    kind, limits = row[2], row[4]
    if kind == "choice":
        return st.sampled_from(limits)
    if kind == "filters":
        return st.lists(st.text(plain_signs, min_size=1, max_size=8), min_size=1, max_size=12, unique=True)
    if kind == "areas":
        return st.lists(st.text(plain_signs, min_size=1, max_size=5), min_size=1, max_size=20, unique=True)
    if kind in ("text", "filter"):
        return st.text(plain_signs, min_size=limits[0], max_size=limits[1])
    return st.integers(limits[0], limits[1])


benches = st.fixed_dictionaries({}, optional={row[0]: good_values(row) for row in SETTINGS})


@given(benches)
@settings(deadline=None)
def test_settings_come_back_from_their_plain_form(values):
    bench = Bench()
    bench.set_all(values)
    plain = bench.to_dict()
    assert plain == {**Bench().to_dict(), **values}
    again = Bench()
    again.set_all(json.loads(encode(plain)))
    assert again.to_dict() == plain


@given(benches, st.sampled_from(KEYS), st.sampled_from([None, {}, 10**9, "no such word, and far too long"]))
@settings(deadline=None)
def test_all_of_a_set_of_values_is_taken_or_nothing(values, key, wrong):
    bench = Bench()
    before = bench.to_dict()
    with pytest.raises(Refusal):
        bench.set_all({**values, key: wrong})
    with pytest.raises(Refusal):
        bench.set_all({**values, "colour": "red"})
    assert bench.to_dict() == before


def test_the_plain_form_is_not_shared():
    bench = Bench()
    bench.to_dict()["filters"].append("9")
    bench.to_dict()["volume"] = 0
    assert bench.to_dict() == Bench().to_dict()


@given(st.text(st.characters(exclude_categories=[]), max_size=12), st.integers(0, 4), st.integers(4, 10))
@settings(deadline=None)
def test_plain_text_has_no_control_character_and_nothing_beyond_the_basic_plane(text, low, high):
    fits = low <= len(text) <= high and all(sign <= "\uffff" for sign in text)
    categories = {unicodedata.category(sign) for sign in text}
    assert is_plain_text(text, low, high) == (fits and not categories & {"Cc", "Cs"})


@pytest.mark.parametrize(
    ("last", "next_", "is_taken_first"),
    [
        (0x1F, 0x20, False),
        (0x7E, 0x7F, True),
        (0x9F, 0xA0, False),
        (0xD7FF, 0xD800, True),
        (0xDFFF, 0xE000, False),
        (0xFFFF, 0x10000, True),
    ],
)
def test_plain_text_ends_and_goes_on_at_the_right_characters(last, next_, is_taken_first):
    assert is_plain_text(chr(last), 1, 1) == is_taken_first
    assert is_plain_text(chr(next_), 1, 1) != is_taken_first


def test_a_truth_is_no_number():
    assert [is_int(value) for value in (0, -1, 10**20, True, False, 1.0, "1", None)] == [
        True,
        True,
        True,
        False,
        False,
        False,
        False,
        False,
    ]
