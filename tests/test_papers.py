"""Paper records as files: the examples against the simulator's paper, which is computed from published sheets
and not measured, and files that are wrong."""

import json
import math
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.optics.paper import paper
from lampblack.cards import paper_file
from lampblack.cards.paper_file import PAPER, PAPERS, dump
from lampblack.cards.toml_file import Faults, FileError
from lampblack.sim import published_papers
from lampblack.sim.published_papers import EDITIONS, PAIR, exposure, range_of, record_of, text_of, tones_of
from tests.portable.papers import PUBLISHED
from timing_core.light.bench import FILTER_MAX, is_plain_text
from timing_core.light.paper_record import (
    ANCHORS,
    EDITION_MAX,
    FILTERS_MAX,
    NODES,
    OFFSET_FURTHEST,
    R10_MAX,
    R10_MIN,
    SPEED_MAX,
    PaperRecord,
    interp17,
    share4096,
)
from timing_core.refusal import Refusal

SCHEMA = json.loads(
    (Path(paper_file.__file__).parent / "paper.schema.json").read_text(encoding="utf-8"),
)
SCHEMA_CHECK = jsonschema.Draft202012Validator(SCHEMA)
FILES = sorted(published_papers.PAPERS.glob("*.toml"))


# --- the published sheets


def test_the_files_are_what_the_model_gives():
    assert [path.stem for path in FILES] == sorted(EDITIONS)
    for path in FILES:
        assert path.read_text(encoding="utf-8") == text_of(path.stem), (
            "write it anew: python -m lampblack.sim.published_papers"
        )
        assert PAPERS.load(path) == record_of(path.stem)


def test_the_records_of_the_portable_tests_are_what_the_model_gives():
    assert [own["name"] for own in PUBLISHED] == list(EDITIONS)
    for own in PUBLISHED:
        assert own == record_of(own["name"])


@pytest.mark.parametrize("name", EDITIONS)
def test_the_sum_rule_holds_a_middle_tone_and_no_light_one(name):
    """S4: over all shares within 0.037 stop (computed)."""
    own = paper(name)
    light_tone, middle, _ = tones_of(own)
    (soft, soft_speed), (hard, hard_speed) = ((key, own.filters[key].iso_speed) for key in PAIR)

    def moved_stops(density: float) -> list[float]:
        light = [
            {soft: 1000 * (1 - node / 64) / soft_speed, hard: 1000 * node / 64 / hard_speed}
            for node in range(65)
        ]
        found = [math.log2(exposure(own, each, density)) for each in light]
        return [abs(each - found[0]) for each in found]

    assert 0.03 < max(moved_stops(middle)) < 0.0375
    assert max(moved_stops(light_tone)) > 0.5


@pytest.mark.parametrize("name", EDITIONS)
def test_a_pair_s_range_is_that_of_the_curve(name):
    """Between the nodes too: within 0.9 of R (computed), and what a record rounds."""
    own, record = paper(name), PaperRecord.from_dict(record_of(name))
    soft, hard = PAIR
    speeds = [own.filters[key].iso_speed for key in PAIR]
    for hard_s in (0.1, 0.3, 0.7, 1, 2, 3, 5, 8, 13, 20, 30, 60):
        share = share4096(10000, round(speeds[0]), round(hard_s * 1000), round(speeds[1]))
        found = interp17(record.r10, share) / 10
        assert abs(found - range_of(own, {soft: 10, hard: hard_s})) < 1.0, hard_s


@pytest.mark.parametrize("anchor", ANCHORS)
@pytest.mark.parametrize("name", EDITIONS)
def test_the_anchor_keeps_its_density_when_the_grade_is_turned(name, anchor):
    own, record = paper(name), PaperRecord.from_dict(record_of(name))
    soft, hard = PAIR
    tone = tones_of(own)[ANCHORS.index(anchor)]
    for quarters in range(-2, 19):
        soft_ms, hard_ms = record.regraded(8000, 8000, quarters, anchor)
        before, after = {soft: 8000.0, hard: 8000.0}, {soft: float(soft_ms), hard: float(hard_ms)}
        stops = math.log2(exposure(own, after, tone) / exposure(own, before, tone))
        # Twice the sum rule for the middle; else what tables in 1/120 stop, read on straight lines, leave.
        assert abs(stops) < (0.075 if anchor == "middle" else 0.045), (quarters, stops)


# --- files


names = st.text(st.characters(codec="utf-8"), max_size=FILTER_MAX).filter(
    lambda text: is_plain_text(text, 0, FILTER_MAX)
)
offsets = st.integers(-OFFSET_FURTHEST, OFFSET_FURTHEST)
ranges = st.integers(R10_MIN, R10_MAX)


@st.composite
def records(draw) -> dict:
    plain: dict = {
        "name": draw(st.from_regex("[a-z0-9-]{1,24}", fullmatch=True)),
        "edition": draw(st.text("ab \"'\\é#=[]", max_size=EDITION_MAX)),
        "filters": [
            [name, draw(ranges), draw(offsets), draw(offsets), draw(offsets)]
            for name in draw(st.lists(names, min_size=1, max_size=FILTERS_MAX, unique=True))
        ],
    }
    if len(plain["filters"]) > 1 and draw(st.booleans()):
        plain["pair"] = [plain["filters"][0][0], plain["filters"][-1][0]]
        plain["r10"] = sorted((draw(ranges) for _ in NODES), reverse=True)
        plain["qa"], plain["qs"] = ([draw(offsets) for _ in NODES] for _ in range(2))
    if draw(st.booleans()):
        plain["speed"] = draw(st.integers(1, SPEED_MAX))
    return plain


@given(records())
def test_a_record_that_is_written_reads_as_it_was(plain):
    text = dump(plain)
    assert PAPERS.read(text) == plain == PaperRecord.from_dict(plain).to_dict()
    SCHEMA_CHECK.validate(tomllib.loads(text))


def test_the_schema_is_that_of_the_table():
    published = (Path(paper_file.__file__).parent / "paper.schema.json").read_text(encoding="utf-8")
    assert published == PAPERS.schema_text(), "write it anew with PAPERS.schema_text()"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=8) | st.sampled_from(["+1/3", "a"]),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from([*PAPER.keys, "soft", "x"]), inner, max_size=5)
        ),
    )
)
def test_the_table_never_takes_what_the_schema_refuses(raw):
    faults = Faults(PAPER)
    PAPER.read(raw, ("record",), faults)
    if not faults:
        SCHEMA_CHECK.validate(raw)


GOOD = """name = "rc"
pair = {soft = "00", hard = "5", range = %s, light_tone = %s, black = %s}

[[filter]]
name = "00"
range = 160
light_tone = "0"
middle = "0"
black = "+3"

[[filter]]
name = "5"
range = 50.5
light_tone = "0"
middle = "+1"
black = "+1"
""" % ([160.0] + 16 * [100], 17 * ["+1"], 17 * ["-1"])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"rc"', '"RC"', 'rc.toml:1: name: "RC" is no shelf name. Write 1 to 24 of a-z, 0-9 and -.'),
        ("= 50.5", "= 5", 'rc.toml:13: range: "5" is out of range. Write 10 to 300.'),
        ("= 50.5", "= 50.55", 'rc.toml:13: range: "50.55" is too fine. Write whole steps of 0.1.'),
        ('middle = "+1"', "", 'rc.toml:11: middle is missing from [[filter]]. Write middle = "+1/3".'),
        ('"+3"', '"+6"', 'rc.toml:9: black: "+6" is out of range. Write -5 to +5.'),
        (", 100]", "]", "rc.toml:2: range: it has 17 values. Write range = [110, ...], 17 of them."),
        ('soft = "00"', 'sort = "00"', 'rc.toml:2: "sort" is no key of [pair]. Did you mean "soft"?'),
        (
            'name = "5"',
            'edition = "5"',
            'rc.toml:12: "edition" is no key of [[filter]]. It belongs to the record\'s top.',
        ),
    ],
)
def test_a_fault_is_told_with_its_line(old, new, said):
    assert PAPERS.read(GOOD)["pair"] == ["00", "5"]
    assert old in GOOD
    with pytest.raises(FileError) as caught:
        PAPERS.read(GOOD.replace(old, new), "rc.toml")
    assert caught.value.lines[0] == said


def test_the_page_names_every_key():
    page = (Path(__file__).parents[1] / "docs" / "papers.md").read_text(encoding="utf-8")
    for table in PAPER.within():
        for name, key in table.keys.items():
            assert f"| `{name}` | {key.meaning} |" in page, name


def test_what_no_single_key_can_see_is_refused_by_the_core():
    with pytest.raises(Refusal, match="pair: both are filters of the record"):
        PAPERS.read(GOOD.replace('hard = "5"', 'hard = "6"'))
