"""Cards: people's units, the TOML form and back, the line of every fault, and the published schema.

Outside checks: Python's own `tomllib` reads what `tomlkit` writes; `jsonschema` judges the schema
by its metaschema and the cards by the schema; `pint` gives the factor of an offset in stops.
"""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lampblack.cards import card_file as cards
from lampblack.cards import toml_file
from lampblack.cards.card_file import dump, load, read
from lampblack.cards.toml_file import SIZE_MAX, FileError
from lampblack.text.settings import parse_setting, setting_text
from lampblack.text.tables import seconds
from lampblack.text.units import (
    UnitError,
    parse_percent,
    parse_seconds,
    parse_step,
    parse_stops,
    percent_exact,
    seconds_exact,
)
from tests.card_numbers import card_numbers
from timing_core.light.bench import FILTER_MAX, Bench, setting, setting_keys
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.plan import compile_print
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
    PrintingMap,
)
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, scale, stops_text
from timing_core.refusal import Refusal

HERE = Path(cards.__file__).parent
EXAMPLES = sorted((HERE.parent / "examples").glob("*.toml"))
DOC = Path(__file__).parent.parent / "docs" / "cards.md"
SCHEMA = json.loads((HERE / "card.schema.json").read_text(encoding="utf-8"))
SCHEMA_CHECK = jsonschema.Draft202012Validator(SCHEMA)

GOOD = """\
name = "harbour-wall"
title = "Harbour wall"
[facts]
paper = "glossy"
[[pass]]
filter = "2"
base = "16 s"
[[pass.mark]]
area = "sky"
stops = "+1/3"
"""


def text_of(low: int, high: int) -> st.SearchStrategy[str]:
    plain = st.characters(max_codepoint=0xFFFF, exclude_categories=["Cs", "Cc"])
    return st.text(plain, min_size=low, max_size=high)


@st.composite
def any_mark(draw) -> dict:
    stops120 = draw(st.integers(-MARK_FURTHEST, MARK_FURTHEST))
    mark = {"area": draw(text_of(1, AREA_MAX)), "stops120": stops120}
    if stops120 >= 0 and draw(st.booleans()):
        mark["filter"] = draw(text_of(1, FILTER_MAX))
    if draw(st.booleans()):
        mark["with_previous"] = True
    return mark


def fault_of(act, text: str) -> Exception | None:
    """What `act` says against `text`; anything but its own two kinds of fault is a failure."""
    try:
        act(text)
    except (UnitError, FileError) as fault:
        return fault
    return None


any_card = st.fixed_dictionaries(
    {
        "name": st.from_regex(f"[a-z0-9-]{{1,{NAME_MAX}}}", fullmatch=True),
        "title": text_of(0, TITLE_MAX),
        "tied": st.booleans(),
        "dry_down": st.booleans(),
        "dry_down_pm": st.integers(0, DRY_DOWN_MAX_PM),
        "facts": st.fixed_dictionaries({}, optional={key: text_of(1, longest) for key, longest in FACTS}),
        "passes": st.lists(
            st.fixed_dictionaries(
                {
                    "filter": text_of(0, FILTER_MAX),
                    "base_ms": st.integers(BASE_MIN_MS, BASE_MAX_MS),
                    "marks": st.lists(any_mark(), max_size=MARKS_MAX),
                }
            ),
            min_size=1,
            max_size=PASSES_MAX,
        ),
    },
    optional={
        **card_numbers,
        "record": st.from_regex(f"[a-z0-9-]{{1,{NAME_MAX}}}", fullmatch=True),
    },
)


# --- units


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (parse_seconds, "16 s", 16000),
        (parse_seconds, "16s", 16000),
        (parse_seconds, "16.25 s", 16250),
        (parse_seconds, "0.1 s", 100),
        (parse_seconds, "999.999 s", 999999),
        (parse_percent, "8 %", 80),
        (parse_percent, "8.5%", 85),
        (parse_percent, "0 %", 0),
        (parse_stops, "+1/3", 40),
        (parse_stops, "-1/2", -60),
        (parse_stops, "+1 1/2", 180),
        (parse_stops, "-2", -240),
        (parse_stops, "+0.5", 60),
        (parse_stops, "-0.25", -30),
        (parse_stops, "+4/12", 40),
        (parse_stops, "0", 0),
        (parse_step, "1/4", (30, 0)),
        (parse_step, "1", (120, 0)),
        (parse_step, "2 s", (0, 2000)),
        (parse_step, "0.5s", (0, 500)),
    ],
)
def test_units_are_read(parse, text, value):
    assert parse(text) == value


@pytest.mark.parametrize(
    ("parse", "text", "line"),
    [
        (parse_seconds, "16", '"16" has no unit. Write "16 s".'),
        (parse_seconds, "16,5 s", '"16,5 s" is no time in seconds. Write "16.5 s".'),
        (parse_seconds, "16.2555 s", '"16.2555 s" is finer than 0.001 s. Write "16.256 s".'),
        (parse_seconds, "16 min", '"16 min" is no time in seconds. Write it like "11.3 s".'),
        (parse_seconds, "", '"" is no time in seconds. Write it like "11.3 s".'),
        (parse_seconds, "-3 s", '"-3 s" is no time in seconds. Write it like "11.3 s".'),
        (parse_seconds, "16 s\n", '"16 s\\n" is no time in seconds. Write "16 s".'),
        (parse_percent, "8", '"8" has no unit. Write "8 %".'),
        (parse_percent, "8.25 %", '"8.25 %" is finer than 0.1 %. Write "8.2 %".'),
        (parse_stops, "1/3", '"1/3" has no sign. Write "+1/3" for a burn, "-1/3" for a dodge.'),
        (parse_stops, "+0.33", '"+0.33" is no whole 1/120 stop. Write "+13/40" or "+1/3".'),
        (parse_stops, "-1/7", '"-1/7" is no whole 1/120 stop. Write "-17/120" or "-3/20".'),
        (parse_stops, "+1/0", '"+1/0" divides by 0. Write it like "+1/3".'),
        (
            parse_stops,
            "a third",
            '"a third" is no offset in stops. Write it like "+1/3", "-1/2" or "+1 1/2".',
        ),
        (
            parse_step,
            "x",
            '"x" is no step. Write stops, like 1, 1/2, 1/3, 1/4, 1/6, 1/8, 1/12, or seconds, like "2 s".',
        ),
    ],
)
def test_a_refused_unit_says_what_to_write(parse, text, line):
    with pytest.raises(UnitError) as fault:
        parse(text)
    assert str(fault.value) == line


@given(st.text())
def test_any_text_is_a_value_or_one_line(text):
    for parse in (parse_seconds, parse_percent, parse_stops, parse_step):
        said = fault_of(parse, text)
        assert said is None or "\n" not in str(said)


def test_units_come_back_as_they_were_written():
    assert all(parse_stops(stops_text(n)) == n for n in range(-MARK_FURTHEST, MARK_FURTHEST + 1))
    assert all(parse_percent(percent_exact(pm)) == pm for pm in range(DRY_DOWN_MAX_PM + 1))
    assert all(parse_seconds(seconds_exact(ms)) == ms for ms in range(0, BASE_MAX_MS + 1, 7))


def test_stops_are_the_octaves_of_pint():
    octave = pint.UnitRegistry(autoconvert_offset_to_baseunit=True).octave
    for text, stops in (
        ("+1/3", 1 / 3),
        ("+1/4", 1 / 4),
        ("-1/6", -1 / 6),
        ("+1/12", 1 / 12),
        ("-1 1/2", -1.5),
    ):
        factor = (stops * octave).to("dimensionless").magnitude
        assert scale(BASE_MAX_MS, parse_stops(text)) == pytest.approx(BASE_MAX_MS * factor, abs=0.51)


# --- bench settings as text


def test_every_default_setting_comes_back_from_its_text():
    for key, value in Bench().to_dict().items():
        assert parse_setting(key, setting_text(key, value)) == value


@given(st.data())
def test_every_number_of_the_bench_comes_back_from_its_text(data):
    key, _, _, _, limits = data.draw(
        st.sampled_from(
            [row for row in map(setting, setting_keys()) if row[2] in ("ms", "s", "time", "pm", "level")]
        )
    )
    value = data.draw(st.integers(limits[0], limits[1]))
    assert parse_setting(key, setting_text(key, value)) == value
    assert parse_setting(key, str(value)) == value


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("lag_ms", "150 ms", 150),
        ("lag_ms", "0.15 s", 150),
        ("lag_ms", "-20ms", -20),
        ("viewing_limit_s", "5 min", 300),
        ("start_delay_s", "off", 0),
        ("start_delay_s", "5 s", 5),
        ("new_base_ms", "12.5 s", 12500),
        ("new_dry_down_pm", "8.5 %", 85),
        ("filters", "00, 1,5", ["00", "1", "5"]),
        ("step", "1/4", "1/4"),
        ("lamp", "75 W opal", "75 W opal"),
    ],
)
def test_settings_take_people_s_units(key, text, value):
    assert parse_setting(key, text) == value


@pytest.mark.parametrize(
    ("key", "text", "says"),
    [
        ("lag_ms", "150 %", "in ms or s"),
        ("lag_ms", "0.0001 s", "in ms or s"),
        ("lag_ms", "9 s", "Give -500 to 2000"),
        ("volume", "loud", "a bare number"),
        ("viewing_limit_s", "off", "Give 10 to 900"),
        ("safelight", "blinking", "Give one of: steady, exposing"),
        ("filters", "1,1", "each once"),
        ("colour", "red", "No bench setting colour"),
    ],
)
def test_a_refused_setting_says_what_to_give(key, text, says):
    with pytest.raises(Refusal, match=re.escape(says)):
        parse_setting(key, text)


# --- there and back


@settings(deadline=None)
@given(any_card)
def test_a_card_comes_back_from_its_text(card):
    assert PrintingMap.from_dict(card).to_dict() == card
    text = dump(card)
    assert read(text) == card
    assert dump(read(text)) == text
    tomllib.loads(text)


def test_other_ways_of_writing_toml_are_the_same_card():
    inline = (
        '\ufeffname="harbour-wall"\r\ntitle="""\r\nHarbour \\\r\n   wall"""\r\nfacts.paper="glossy"\r\n'
        "pass=[{filter='2', base='16s', mark=[\r\n{area=\"sky\", stops=\"+4/12\"}, # a burn\r\n]}]\r\n"
    )
    path = Path(__file__).parent / "none"
    assert read(inline.removeprefix("\ufeff"), str(path)) == read(GOOD)


def test_a_file_may_begin_with_a_byte_order_mark(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load(path) == read(GOOD)


@pytest.mark.parametrize(
    ("lines", "on", "per_mille"),
    [
        ("", False, 0),
        ('dry_down = "8.5 %"', True, 85),
        ('dry_down = "8 %"\ndry_down_on = false', False, 80),
        ('dry_down = "8 %"\ndry_down_on = true', True, 80),
    ],
)
def test_dry_down_is_on_where_it_is_given(lines, on, per_mille):
    card = read(f"{lines}\n{GOOD}")
    assert (card["dry_down"], card["dry_down_pm"]) == (on, per_mille)


def test_a_mark_given_with_the_one_before_it_is_written_only_where_it_is():
    hand = '[[pass.mark]]\narea = "hand"\nstops = "-1/4"\nwith_previous = '
    face = GOOD.replace("+1/3", "-1/3")
    card = read(face + hand + "true\n")
    assert [mark.get("with_previous") for mark in card["passes"][0]["marks"]] == [None, True]
    assert dump(card).count("with_previous = true") == 1
    assert dump(read(face + hand + "false\n")).count("with_previous") == 0


# --- faults and their lines

FAULTS = [
    # text, the lines that are reported
    (GOOD.replace('"16 s"', '"16"'), [(7, 'base: "16" has no unit. Write "16 s".')]),
    (GOOD.replace('"16 s"', "16"), [(7, 'base: "16" has no unit. Write "16 s".')]),
    (GOOD.replace('"16 s"', '"0.05 s"'), [(7, 'base: "0.05 s" is out of range. Write 0.1 s to 999.9 s.')]),
    (GOOD.replace('"+1/3"', '"+6"'), [(10, 'stops: "+6" is out of range. Write -5 to +5.')]),
    (GOOD.replace('"2"', "2"), [(6, 'filter: "2" stands without quotes. Write filter = "2".')]),
    (GOOD.replace('"2"', "02"), [(6, "this is not TOML")]),
    (GOOD.replace("title", "titel"), [(2, '"titel" is no key of the card\'s top. Did you mean "title"?')]),
    (GOOD.replace("paper", "papier"), [(4, '"papier" is no key of [facts]. Did you mean "paper"?')]),
    (GOOD.replace("area", "arae"), [(8, "area is missing from [[pass.mark]]"), (9, 'Did you mean "area"?')]),
    (GOOD.replace("paper", "tied"), [(4, '"tied" is no key of [facts]. It belongs to the card\'s top.')]),
    (
        GOOD.replace("pass.mark", "mark"),
        [(8, '"mark" is no key of the card\'s top. It belongs to [[pass]].')],
    ),
    (GOOD.replace("[[pass.mark]]", "[pass.mark]"), [(8, "mark: there can be several. Write [[pass.mark]].")]),
    (GOOD.replace("[facts]\npaper =", "facts ="), [(3, "facts: keys and values stand here. Write [facts]")]),
    (GOOD.replace("[facts]", "[fact]"), [(3, '"fact" is no key of the card\'s top. Did you mean "facts"?')]),
    (GOOD.replace("harbour-wall", "Harbour Wall"), [(1, 'name: "Harbour Wall" is no shelf name')]),
    (GOOD.replace("Harbour wall", "x" * 41), [(2, "has 41 characters. Write 0 to 40 characters.")]),
    (GOOD.replace('"glossy"', '"""a\nb"""'), [(4, 'paper: "a\\nb" has a line break')]),
    ("tied = 'yes'\n" + GOOD, [(1, 'tied: "yes" is no plain true or false. Write tied = true.')]),
    ("dry_down = '60 %'\n" + GOOD, [(1, 'dry_down: "60 %" is out of range. Write 0 % to 50 %.')]),
    ("dry_down_on = true\n" + GOOD, [(1, "dry_down_on: there is no dry_down")]),
    (GOOD.replace('"+1/3"', '"-1/3"\nfilter = "5"'), [(11, "filter: a dodge is made inside")]),
    (GOOD + 'with_previous = "yes"\n', [(11, 'with_previous: "yes" is no plain true or false. Write')]),
    (GOOD + "with_previous = 1\n", [(11, 'with_previous: "1" is no plain true or false. Write')]),
    (GOOD + '[flash]\ntime = "1.2"\n', [(12, 'time: "1.2" has no unit. Write "1.2 s".')]),
    (GOOD + '[flash]\ntime = "0.09 s"\n', [(12, 'time: "0.09 s" is out of range. Write 0.1 s to 999.9 s.')]),
    (GOOD + '[flash]\nfilter = "00"\n', [(11, 'time is missing from [flash]. Write time = "1.2 s".')]),
    (GOOD + '[flash]\ntime = "1 s"\nwhen = "after"\n', [(13, '"when" is no key of [flash].')]),
    (GOOD + '[flash]\ntime = "1 s"\nafter = "yes"\n', [(13, 'after: "yes" is no plain true or false.')]),
    ("flash = '1 s'\n" + GOOD, [(1, "flash: keys and values stand here. Write [flash] above them.")]),
    (GOOD + "with_next = true\n", [(11, '"with_next" is no key of [[pass.mark]].')]),
    ("with_previous = true\n" + GOOD, [(1, "It belongs to [[pass.mark]].")]),
    (GOOD + 'stops = "+1/2"\n', [(11, "this stands here a second time. Take one away.")]),
    (GOOD + "x = \n", [(11, "this is not TOML")]),
    (GOOD + 'x = "\n', [(11, "this is not TOML")]),
    ("name = [1, 2]\n" + GOOD.partition("\n")[2], [(1, 'name: "[1, 2]" is more than one value')]),
    ("", [(1, "name is missing"), (1, "pass is missing from the card's top. Write [[pass]].")]),
    ("pass = []\nname = 'a'", [(1, "pass: there are 0. Write 1 to 4 of them.")]),
    ("name = 'a'\n" + "[[pass]]\nbase = '1 s'\n" * 5, [(10, "pass: there are 5. Write 1 to 4 of them.")]),
    # Other ways of writing: comments, tables in a line, lists over lines, dotted keys, quoted keys
    (
        '# a card\nname = "a" # its name\n\npass = [\n  # soft\n  { base = "1 s" },\n\n'
        '  { base = "1" }, # hard\n]\n',
        [(8, 'base: "1" has no unit')],
    ),
    (
        "name = 'a'\n[[pass]]\nbase = '9 s'\nmark = [\n  { area = 'a', stops = '+1' },\n"
        "  { area = 'b', stop = '+1' },\n]\n",
        [(6, 'Did you mean "stops"?'), (6, "stops is missing")],
    ),
    (
        "pass = [{ base = '9 s', mark = [\n  { area = 'a', stops = '+1' },\n"
        "  { area = '', stops = '+1' }] },\n"
        "  { base = '9' }]\nname = 'a'\n",
        [(3, "area"), (4, "base")],
    ),
    ("name = 'a'\nfacts.paper = 'x'\nfacts.lens = 80\n[[pass]]\nbase = '1 s'", [(3, 'lens: "80"')]),
    ("name = 'a'\n[[pass]]\n'base' = '1 s'\n\"bass\" = '1 s'", [(4, 'Did you mean "base"?')]),
    ("title = '''\na\n\n# no comment\n'''\nname = '?'\n[[pass]]\nbase = '1 s'", [(1, "title"), (6, "name")]),
    ("name = 'a'\n[[pass]]\nbase = '1 s'\n[facts]\n[[pass]]\nbase = 1\n", [(6, "base")]),
]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize(("text", "wanted"), FAULTS)
def test_a_fault_has_its_line_and_says_what_to_write(text, wanted, ending):
    with pytest.raises(FileError) as caught:
        read(text.replace("\n", ending), "a.toml")
    assert [line for line, _ in caught.value.faults] == [line for line, _ in wanted]
    for said, (line, part) in zip(str(caught.value).splitlines(), wanted, strict=True):
        assert said.startswith(f"a.toml:{line}: ")
        assert part in said
        assert said.endswith((".", "?"))


@settings(deadline=None)
@given(any_card, st.data())
def test_a_wrong_key_is_found_on_its_line_wherever_it_stands(card, data):
    lines = dump(card).split("\n")
    starts = [0, *(count for count, line in enumerate(lines, 1) if re.match(r"\w+ = |\[", line))]
    at = data.draw(st.sampled_from(starts))
    lines.insert(at, "wrong = [\n 1, # of two\n 2]")
    idle = st.tuples(st.integers(0, len(lines) - 1), st.sampled_from(["", "# wrong = 1", "  \t", "#"]))
    for before, words in sorted(data.draw(st.lists(idle, max_size=8)), reverse=True):
        lines.insert(before, words)
    text = "\n".join(lines)
    with pytest.raises(FileError) as caught:
        read(text)
    line = text.split("\n").index("wrong = [") + 1
    assert [fault[0] for fault in caught.value.faults] == [line]


@settings(deadline=None)
@given(
    st.text()
    | any_card.map(dump).flatmap(
        lambda text: st.builds(
            lambda at, junk: text[:at] + junk + text[at + 1 :], st.integers(0, len(text)), st.text(max_size=3)
        )
    )
)
def test_any_text_is_a_card_or_a_card_error(text):
    fault = fault_of(read, text)
    if fault is None:
        assert PrintingMap.from_dict(read(text)).to_dict() == read(text)
    else:
        assert isinstance(fault, FileError)
        assert all(1 <= line <= text.count("\n") + 1 for line, _ in fault.faults)
        assert len(str(fault).split("\n")) == len(fault.faults) >= 1


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (GOOD.encode("utf-16"), 1),
        (GOOD.encode() + b'# caf\xe9\nx = "\xff"\n', 11),
        (GOOD.encode() + b"#" * SIZE_MAX, 1),
        (b"a = " + b"[" * 9000, 1),
        (b"a = " + b"9" * 9000, 1),
    ],
)
def test_a_file_that_is_no_card_is_refused_in_one_line(tmp_path, data, line):
    path = tmp_path / "a.toml"
    path.write_bytes(data)
    with pytest.raises(FileError) as caught:
        load(path)
    assert str(caught.value).startswith(f"{path}:{line}: ")
    assert "\n" not in str(caught.value)


# --- the schema


def test_the_published_schema_is_the_one_the_table_gives():
    published = (HERE / "card.schema.json").read_text(encoding="utf-8")
    assert published == cards.schema_text(), "write it anew with schema_text()"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@settings(deadline=None)
@given(any_card)
def test_a_valid_card_fits_the_schema(card):
    SCHEMA_CHECK.validate(tomllib.loads(dump(card)))


@pytest.mark.parametrize("text", [text for text, _ in FAULTS])
def test_what_the_loader_takes_the_schema_takes(text):
    """The schema may be the milder judge: ranges, exactness and dodges with a filter are beyond it."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    beyond = ("out of range", "a dodge is made", "there is no dry_down")
    with pytest.raises(FileError) as caught:
        read(text)
    if not any(part in str(caught.value) for part in beyond):
        assert not SCHEMA_CHECK.is_valid(raw)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.text(max_size=8)
        | st.sampled_from(["1 s", "+1/3", "8 %", "a"]),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from([*cards.CARD.keys, *cards.PASS.keys, *cards.MARK.keys, "x"]),
                inner,
                max_size=5,
            )
        ),
    )
)
def test_the_table_never_takes_what_the_schema_refuses(raw):
    faults = toml_file.Faults(cards.CARD)
    cards.CARD.read(raw, ("card",), faults)
    if not faults:
        SCHEMA_CHECK.validate(raw)


def test_the_schema_describes_every_key_with_an_example():
    def leaves(shape: dict):
        for key, inner in shape.get("properties", {}).items():
            assert inner["description"], key
            yield from leaves(inner)
            yield from leaves(inner.get("items", {}))
            if "properties" not in inner.get("items", inner):
                yield inner.get("items", inner)

    found = list(leaves(SCHEMA))
    assert len(found) == 6 + len(FACTS) + len(MEASURES) - 1 + len(CARRIED) + 2 + 4 + 3
    for leaf in found:
        jsonschema.validate(leaf["examples"][0], leaf)


# --- examples and page


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_example_is_a_card_that_can_be_printed(path):
    text = path.read_text(encoding="utf-8")
    assert text.startswith("#:schema ../cards/card.schema.json\n")
    card = load(path)
    assert card["name"] == path.stem
    assert compile_print(PrintingMap.from_dict(card), Bench())
    SCHEMA_CHECK.validate(tomllib.loads(text))


def test_there_are_examples_of_one_pass_and_of_split_grade():
    assert sorted(len(load(path)["passes"]) for path in EXAMPLES) == [1, 2]


def test_the_page_names_every_key_and_limit():
    page = DOC.read_text(encoding="utf-8")
    for table in (cards.CARD, cards.FACT, cards.CARRY, cards.PASS, cards.MARK, cards.FLASH):
        for name, key in table.keys.items():
            assert f"`{name}`" in page, name
            assert key.meaning in page, key.meaning
    assert len(page.split()) < 1200


def test_the_page_s_card_and_figures_are_right():
    page = DOC.read_text(encoding="utf-8")
    block = re.search(r"```toml\n(.*?)```", page, re.S)
    assert block is not None
    map = PrintingMap.from_dict(read(block[1]))
    boat, sky = map.passes[0].marks
    words = " ".join(page.split())
    assert f" {seconds(-map.mark_ms(0, boat))} s of the 11.3 seconds" in words
    assert f" {seconds(map.mark_ms(0, sky))} s more" in words
    faulty = GOOD.replace('"16 s"', '"9"').replace("stops", "stop")
    with pytest.raises(FileError) as caught:
        read(faulty, "slipway.toml")
    assert f"```\n{caught.value}\n```" in page
