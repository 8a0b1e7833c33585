"""Tray sequences as files: the box's own, files that are wrong, and their way into a box and back."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lampblack.cards import trays_file
from lampblack.cards.toml_file import Faults, FileError
from lampblack.cards.trays_file import SEQUENCES, TRAYS, dump
from tests.box_model import ask, new_session, push
from timing_core.light.bench import is_plain_text
from timing_core.light.tray_sequence import (
    DEFAULT_NAMES,
    DRAIN_MAX_S,
    FACTOR,
    KINDS,
    SECONDS_MAX,
    TICK_MAX_S,
    TICK_MIN_S,
    TITLE_MAX,
    TRAY_MAX,
    TRAYS_MAX,
    TraySequence,
    default_sequence,
)
from timing_core.light.tray_times import COLDEST_HALF_DEGREES, K_MAX, K_MIN, WARMEST_HALF_DEGREES
from timing_core.refusal import Refusal

CARDS = Path(trays_file.__file__).parent
SCHEMA = json.loads((CARDS / "trays.schema.json").read_text(encoding="utf-8"))
SCHEMA_CHECK = jsonschema.Draft202012Validator(SCHEMA)
PAGE = (Path(__file__).parents[1] / "docs" / "trays.md").read_text(encoding="utf-8")


@st.composite
def sequences(draw) -> dict:
    def text(low: int, high: int) -> str:
        return draw(
            st.text("ab \"'\\é#=[]", min_size=low, max_size=high).filter(
                lambda t: is_plain_text(t, low, high)
            )
        )

    trays = []
    for at in range(draw(st.integers(1, TRAYS_MAX))):
        seconds = draw(st.integers(1, SECONDS_MAX))
        trays.append(
            [
                text(1, TRAY_MAX),
                seconds,
                draw(st.integers(COLDEST_HALF_DEGREES, WARMEST_HALF_DEGREES)),
                draw(st.sampled_from([0, K_MIN, 12, K_MAX])),
                draw(st.sampled_from(KINDS[:FACTOR] if at else KINDS)),
                draw(st.sampled_from([0, TICK_MIN_S, TICK_MAX_S])),
                draw(st.integers(0, min(DRAIN_MAX_S, seconds - 1))),
            ]
        )
    return {
        "name": draw(st.from_regex("[a-z0-9-]{1,24}", fullmatch=True)),
        "title": text(0, TITLE_MAX),
        "trays": trays,
    }


@given(sequences())
def test_a_sequence_that_is_written_reads_as_it_was(plain):
    text = dump(plain)
    assert SEQUENCES.read(text) == plain == TraySequence.from_dict(plain).to_dict()
    SCHEMA_CHECK.validate(tomllib.loads(text))


@pytest.mark.parametrize("name", DEFAULT_NAMES)
def test_the_files_that_come_with_the_tools_are_the_box_s_own(name):
    own = default_sequence(name).to_dict()
    assert SEQUENCES.load(CARDS.parent / "trays" / f"{name}.toml") == own
    rows = [
        line.split("|")[1:-1]
        for line in PAGE.partition("## The box's own")[2].splitlines()
        if line.startswith("|")
    ]
    column = DEFAULT_NAMES.index(name) + 1
    told = [(row[0].strip(), row[column].strip()) for row in rows[2:8] if row[column].strip()]
    assert [tray for tray, _ in told] == [tray[0] for tray in own["trays"]]
    for (_, words), (_, seconds, _, k, kind, tick_s, drain_s) in zip(told, own["trays"], strict=True):
        said = [f"{seconds} s", kind]
        said += [f"k {k}"] if k else []
        said += [f"agitate every {tick_s}"] if tick_s else []
        said += [f"drain {drain_s}"] if drain_s else []
        assert words == ", ".join(said)


def test_the_schema_is_that_of_the_table():
    published = (CARDS / "trays.schema.json").read_text(encoding="utf-8")
    assert published == SEQUENCES.schema_text(), "write it anew with SEQUENCES.schema_text()"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.text(max_size=8)
        | st.sampled_from([*KINDS, 20.5, "a"]),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from([*TRAYS.keys, "seconds", "kind", "x"]), inner, max_size=5)
        ),
    )
)
def test_the_table_never_takes_what_the_schema_refuses(raw):
    faults = Faults(TRAYS)
    TRAYS.read(raw, ("sequence",), faults)
    if not faults:
        SCHEMA_CHECK.validate(raw)


def test_the_page_names_every_key():
    for table in TRAYS.within():
        for name, key in table.keys.items():
            assert f"| `{name}` | {key.meaning} |" in PAGE, name


GOOD = """name = "own"

[[tray]]
name = "developer"
seconds = 90
kind = "factor"
degrees = 20.5
k = 12
drain = 10

[[tray]]
name = "fix"
seconds = 60
kind = "least"
agitate = 30
"""


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"own"', '"Own"', 'own.toml:1: name: "Own" is no shelf name. Write 1 to 24 of a-z, 0-9 and -.'),
        ("k = 12", "k = 7", 'own.toml:8: k: "7" is out of range. Write 8 to 18.'),
        ("= 20.5", "= 20.3", 'own.toml:7: degrees: "20.3" is too fine. Write whole steps of 0.5.'),
        ("= 20.5", "= 27", 'own.toml:7: degrees: "27" is out of range. Write 16 to 26.'),
        ('"least"', '"most"', 'own.toml:14: kind: "most" is none of them. Write least, exact or factor.'),
        (
            '"least"',
            '"factor"',
            'own.toml:14: kind: only the first tray goes by first sight. Write kind = "exact".',
        ),
        (
            "drain = 10",
            "drain = 60\nagitate = 4",
            'own.toml:10: agitate: "4" is out of range. Write 5 to 600.',
        ),
        ("= 90", "= 10", "own.toml:9: drain: a tray of 10 s has none of 10 s. Write fewer seconds."),
        ("seconds = 60\n", "", "own.toml:11: seconds is missing from [[tray]]. Write seconds = 60."),
        ("agitate", "agitated", 'own.toml:15: "agitated" is no key of [[tray]]. Did you mean "agitate"?'),
    ],
)
def test_a_fault_is_told_with_its_line(old, new, said):
    assert SEQUENCES.read(GOOD)["trays"][0] == ["developer", 90, 41, 12, "factor", 0, 10]
    assert old in GOOD
    with pytest.raises(FileError) as caught:
        SEQUENCES.read(GOOD.replace(old, new), "own.toml")
    assert caught.value.lines[0] == said


TRAY = ["fix", 60, 40, 12, "exact", 0, 10]


@pytest.mark.parametrize(
    "trays",
    [
        [],
        [TRAY] * 7,
        [TRAY[:6]],
        ["fix"],
        *([[*TRAY[:at], wrong, *TRAY[at + 1 :]]] for at, wrong in (
            (0, ""), (0, "n" * 11), (0, 7), (1, 0), (1, 3601), (1, True), (2, 31), (2, 53), (3, 7), (3, 19),
            (3, False),
            (4, "most"), (4, 0), (5, -1), (5, 4), (5, 601), (6, -1), (6, 60), (6, 61), (6, None),
        )),
        [TRAY, [*TRAY[:4], "factor", 0, 0]],
    ],
)  # fmt: skip
def test_what_is_no_sequence_is_refused_in_one_line_and_nothing_is_kept(trays):
    with pytest.raises(Refusal) as caught:
        TraySequence.from_dict({"name": "own", "title": "", "trays": trays})
    assert caught.value.line.startswith("The tray sequence is not taken: tray")
    assert "\n" not in caught.value.line


def test_a_title_has_up_to_40_characters():
    plain = {"name": "own", "title": "t" * TITLE_MAX, "trays": [TRAY]}
    assert TITLE_MAX == 40
    assert TraySequence.from_dict(plain).to_dict() == plain
    with pytest.raises(Refusal, match="The tray sequence is not taken"):
        TraySequence.from_dict({**plain, "title": "t" * (TITLE_MAX + 1)})


def test_it_goes_over_the_wire_and_comes_back_also_after_a_reset():
    session = new_session()
    own = SEQUENCES.read(GOOD)
    push(session, own)
    for _ in range(2):
        listed = ask(session, "card.list", after="", kind="sequence")["result"]["cards"]
        assert [(each["name"], each["title"]) for each in listed] == [("own", "")]
        text = ask(session, "card.fetch", name="own", part=0, kind="sequence")["result"]["text"]
        assert json.loads(text) == own
        session.reset()
    assert ask(session, "card.list", after="")["result"]["cards"] == []
    assert ask(session, "card.remove", name="own", kind="sequence")["result"] == {"removed": True}


def test_a_ninth_is_refused():
    session = new_session()
    for number in range(8):
        push(session, {**SEQUENCES.read(GOOD), "name": f"own-{number}"})
    with pytest.raises(AssertionError, match=r"the box holds 8\. Remove one first"):
        push(session, SEQUENCES.read(GOOD))
