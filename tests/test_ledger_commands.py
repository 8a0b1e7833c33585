"""`lampblack ledger` as a person calls it: pulled from boxes, found, shown, compared, made into cards and
written out.

Every error is one line on stderr; stdout has results alone.
"""

import copy
import csv
import io
import json
import math
import re
import shlex
import sqlite3
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from hypothesis import strategies as st

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from lampblack import cli
from lampblack.cards import card_file
from lampblack.extra import extra
from lampblack.ledger import commands
from lampblack.ledger.editions import editions, light_drift, map_changes
from lampblack.ledger.entries import Entry, Name
from lampblack.wire.box_client import BoxClient
from tests.box_model import keys
from tests.laboratory import WITHOUT
from tests.portable.fakes import small_card
from tests.test_box_client import FakePort
from tests.test_ledger_home import BOXES, FIRST_FORM, Darkroom, new_ledger
from timing_core.light.plan import compile_print
from timing_core.light.printing_map import PrintingMap
from timing_core.records.ledger import stage_record

EXAMPLES = Path(cli.__file__).parent / "examples"


class Lampblack:
    """The command, with boxes at ports."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture) -> None:
        self._capsys = capsys
        self.ports: dict[str, Any] = {}
        monkeypatch.setattr(commands, "BoxClient", self._client)
        monkeypatch.setattr(commands, "the_box", lambda port: port or "a52c")

    def _client(self, url: str) -> BoxClient:
        port = self.ports[url]()
        return BoxClient(url, 2.0, transport=port, clock=port.clock)

    def __call__(self, *arguments: object) -> str:
        code = cli.run([str(argument) for argument in arguments])
        out, err = self._capsys.readouterr()
        assert (code, err) == (0, "")
        return out

    def refused(self, *arguments: object, code: int = 1) -> str:
        assert cli.run([str(argument) for argument in arguments]) == code
        out, err = self._capsys.readouterr()
        assert err.count("\n") == 1
        assert err.rstrip().endswith((".", "?"))
        return out + err

    def rows(self, *arguments: object) -> list[list[str]]:
        """The rows of a table that is printed, a cell each where two spaces are."""
        return [
            [cell.strip() for cell in line.split("  ") if cell.strip()]
            for line in self(*arguments).splitlines()
        ][1:]


@pytest.fixture
def lampblack(monkeypatch, capsys, tmp_path) -> Iterator[Lampblack]:
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    monkeypatch.setenv("LAMPBLACK_DATABASE", new_ledger(tmp_path / "ledger.sqlite"))
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    time.tzset()
    yield Lampblack(monkeypatch, capsys)
    monkeypatch.undo()
    time.tzset()


def card(name: str = "mill", base_ms: int = 14_500, **facts: str) -> dict:
    made = small_card(name)
    made["facts"] = facts
    made["passes"][0]["base_ms"] = base_ms
    return made


def given(**given_ms: int) -> list[dict]:
    return [stage_record(stage, "2", ms, ms, 1, 0, False) for stage, ms in given_ms.items()]


def two_boxes(lampblack: Lampblack) -> tuple[Darkroom, Darkroom]:
    """Prints of two cards, a strip and a test in the first; one print in the second."""
    first, second = (Darkroom(identity) for identity in BOXES)
    first.expose(1, card(negative="roll 12, frame 7", paper="RC pearl"), at="2026-11-01T10:59:59Z")
    first.expose(2, card(negative="roll 12, frame 7", paper="Fibre Möwe"), at="2026-11-01T11:00:00Z")
    first.expose(3, card("pier"), kind="strip", at="2026-11-02T10:59:59Z")
    first.expose(4, card("pier"), kind="test", at="2026-11-02T11:00:00Z", test={"test": "lag", "filter": "5"})
    second.expose(1, card("pier"))
    lampblack.ports = {"a52c": first.port, "b000": second.port}
    return first, second


# --- pull


def test_several_boxes_are_pulled_and_one_that_is_lost_stops_no_other(lampblack):
    two_boxes(lampblack)
    lampblack.ports["lost"] = lambda: Darkroom("f" * 16).port(breaks_at=3)
    said = lampblack.refused("ledger", "pull", "--port", "lost", "--port", "a52c", "--port", "b000")
    assert "Box a52c: 4 new records of 4, in " in said
    assert "Box b000: 1 new record of 1, in " in said
    assert "is lost" in said
    assert "Box a52c: 0 new records of 4" in lampblack("ledger", "pull")
    assert len(lampblack.rows("ledger", "list")) == 5


def test_what_came_of_a_box_that_is_lost_is_told(lampblack):
    darkroom = Darkroom(BOXES[0])
    for count in range(20):
        darkroom.expose(count)
    lampblack.ports["a52c"] = lambda: darkroom.port(breaks_at=8)
    said = lampblack.refused("ledger", "pull").replace("\n", " ")
    kept = len(lampblack.rows("ledger", "list"))
    assert 0 < kept < 20
    assert said.startswith(f"Box a52c: {kept} new records, in ")
    assert "ledger.sqlite, before it was cut off. " in said
    assert " of 20" not in said
    lampblack.ports["a52c"] = darkroom.port
    assert f"{20 - kept} new records of 20" in lampblack("ledger", "pull")


def test_a_box_is_told_the_time_at_every_connection():
    """Of its own it has none."""
    darkroom = Darkroom(BOXES[0])
    for seconds, told in ((86_400 * 20_783 + 66_300.9, (20_783, 66_300)), (86_400 * 20_784, (20_784, 0))):
        port = darkroom.port()
        with BoxClient("a box", 2.0, transport=port, clock=port.clock, wall_clock=lambda at=seconds: at):
            pass
        assert darkroom.box.time == told


# --- list


@pytest.mark.parametrize(
    ("options", "names"),
    [
        ((), ["a52c-1", "a52c-2", "a52c-3", "a52c-4", "b000-1"]),
        (("--negative", "FRAME 7"), ["a52c-1", "a52c-2"]),
        (("--paper", "möwe"), ["a52c-2"]),
        (("--paper", "MÖWE", "--negative", "roll 13"), []),
        (("--title", "harbour"), ["a52c-1", "a52c-2", "a52c-3", "a52c-4", "b000-1"]),
        (("--title", "%"), []),
        (("--kind", "print"), ["a52c-1", "a52c-2", "b000-1"]),
        (("--kind", "test"), ["a52c-4"]),
        # A day is this PC's, which is 13 hours ahead: midnight of 2 November is 11:00 of the first, UTC.
        (("--from", "2026-11-02", "--to", "2026-11-02"), ["a52c-2", "a52c-3"]),
        (("--to", "2026-11-01"), ["a52c-1"]),
        (("--from", "2026-11-03", "--kind", "test"), ["a52c-4"]),
    ],
)
def test_the_ledger_is_searched(lampblack, options, names):
    two_boxes(lampblack)
    lampblack("ledger", "pull", "--port", "a52c", "--port", "b000")
    assert [row[0] for row in lampblack.rows("ledger", "list", *options)] == names


def test_what_no_pc_had_told_the_time_was_before_it_was_pulled(lampblack, monkeypatch):
    two_boxes(lampblack)
    monkeypatch.setattr(commands, "_now", lambda: commands.datetime(2026, 11, 5, 1, tzinfo=commands.UTC))
    lampblack("ledger", "pull", "--port", "b000")
    (row,) = lampblack.rows("ledger", "list", "--from", "2026-11-05", "--to", "2026-11-05")
    assert row[:2] == ["b000-1", "before 2026-11-05 14:00"]
    said = lampblack("ledger", "list", "--to", "2026-11-04")
    assert said.startswith("Nothing like that is in")
    assert "lampblack ledger pull takes in" in said


@pytest.mark.parametrize(
    "options", [("--from", "1.11.2026"), ("--to", "2026-02-30"), ("--kind", "sheet"), ("--colour", "x")]
)
def test_a_search_that_cannot_be_is_one_line(lampblack, options):
    lampblack.refused("ledger", "list", *options, code=2)


@pytest.mark.parametrize(
    ("zone", "options", "said"),
    [
        ("UTC", ("--to", "9999-12-31"), "--to: this PC's clock does not reach that day. "),
        ("Europe/Berlin", ("--from", "0001-01-01"), "--from: this PC's clock does not reach that day. "),
        (
            "UTC",
            ("--from", "2026-11-30", "--to", "2026-11-01"),
            "--to: the two days are the wrong way round.",
        ),
    ],
)
def test_days_that_no_clock_has_or_the_wrong_way_round_are_refused(
    lampblack, monkeypatch, zone, options, said
):
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    assert lampblack.refused("ledger", "list", *options, code=2).startswith(said)


def test_days_long_ago_are_before_all_others(lampblack):
    two_boxes(lampblack)
    lampblack("ledger", "pull")
    assert len(lampblack.rows("ledger", "list", "--from", "0900-01-01", "--to", "9999-12-30")) == 4
    assert lampblack("ledger", "list", "--to", "0900-01-01").startswith("Nothing like that")


# --- show, again


def test_an_entry_is_shown_stage_by_stage(lampblack):
    darkroom = Darkroom(BOXES[0])
    stages = [
        stage_record("Base, pass 1", "2", 14_500, 14_500, 2, 124, False),
        stage_record("Burn sky", "", 5000, 1250, 1, None, True),
    ]
    facts = {"negative": "roll 12, frame 7", "developer": "1+9"}
    darkroom.expose(
        1, card(**facts), stages=stages, whole=False, cut_off="Burn sky", dry_down_pm=80, faults=["live"],
        at="2026-11-01T10:00:00Z",
    )  # fmt: skip
    lampblack.ports["a52c"] = darkroom.port
    lampblack("ledger", "pull")
    said = lampblack("ledger", "show", "1").splitlines()
    assert said[:6] == [
        "a52c-1: print of mill, Harbour, morning, 2026-11-01 23:00.",
        "Negative: roll 12, frame 7",
        "Dry-down: 8 %",
        "Developer: 1+9",
        "Not whole, cut off at Burn sky.",
        "Faults of the circuit: live.",
    ]
    assert [line.split() for line in said[7:]] == [
        ["1", "Base,", "pass", "1", "2", "14.50", "14.50", "2", "124"],
        ["2", "Burn", "sky", "none", "5.00", "1.25", "or", "more", "1"],
    ]


def test_a_number_that_two_boxes_have_is_asked_back(lampblack):
    two_boxes(lampblack)
    lampblack("ledger", "pull", "--port", "a52c", "--port", "b000")
    assert "could be more than one entry: a52c-1, b000-1." in lampblack.refused("ledger", "show", "1")
    assert lampblack("ledger", "show", "B000-1").startswith("b000-1: ")
    for name in ("9", "b000-2", "mill", "1.2", ""):
        assert "See lampblack ledger list." in lampblack.refused("ledger", "show", name)


def printed(map: dict) -> Session:
    """A true box that has given a print of the map, in a darkroom whose lamp has lag."""
    session = Session(MemoryDisk(), desk_platform())
    session.box.identity = session.box.ledger.identity = BOXES[0]
    session.power_up()
    session.box.bench.set_all({"lag_ms": 124})
    session.box.work.take(PrintingMap.from_dict(map))
    keys(session, "expose")
    while session.box.run.stages:
        keys(session, "expose")
        session.advance(session.now_ms + 60_000)
    return session


@pytest.mark.parametrize(
    "map", [small_card(), card_file.load(EXAMPLES / "workroom.toml")], ids=["one", "split"]
)
def test_a_card_made_again_gives_the_same_light_to_the_millisecond(lampblack, tmp_path, map):
    """From the box to the ledger, from there to a file, and from the file through another box."""
    first = printed(map)
    lampblack.ports["a52c"] = lambda: FakePort(first.box)
    lampblack("ledger", "pull")
    out = tmp_path / "card.toml"
    lampblack("ledger", "again", "1", "-o", out)
    assert lampblack("ledger", "again", "a52c-1") == out.read_text(encoding="utf-8")
    again = printed(card_file.load(out))
    (had,), (has,) = first.box.ledger.read(), again.box.ledger.read()
    assert has["map"] == had["map"]
    assert has["stages"] == had["stages"]
    assert [stage["given_ms"] for stage in has["stages"]] == [
        stage.light_ms for stage in compile_print(first.box.work.map, first.box.bench) if stage.light_ms
    ]
    assert "is there already" in lampblack.refused("ledger", "again", "1", "-o", out)
    lampblack("ledger", "again", "1", "-o", out, "--force")


def test_an_entry_without_a_map_makes_no_card(lampblack, tmp_path):
    from lampblack.ledger.home import Home

    with Home(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as home:
        home.put([FIRST_FORM], BOXES[0], "2026-11-01T10:00:00Z")
    out = tmp_path / "card.toml"
    assert "which has no map" in lampblack.refused("ledger", "again", "1", "-o", out)
    assert not out.exists()
    assert lampblack("ledger", "show", "1").startswith("a52c-1: print of mill, before ")


# --- editions


def entries(*records: dict) -> list[Entry]:
    return [
        Entry(Name("a52c", count), BOXES[0], "2026-11-01T10:00:00Z", FIRST_FORM | {"n": count} | record)
        for count, record in enumerate(records, 1)
    ]


def test_prints_of_the_same_map_are_numbered_and_what_drifted_is_told():
    base, other = card(), card(base_ms=round(14_500 * 2 ** (1 / 12)))
    (edition,) = editions(
        entries(
            {"map": base, "whole": False, "stages": given(Base=9000)},
            {"map": base, "stages": given(Base=14_500, Burn=5000)},
            {"map": base | {"title": "Now with a title"}, "stages": given(Base=14_500, Burn=5060)},
            {"map": card("pier"), "kind": "strip"},
            {"map": other, "stages": given(Base=15_362, Burn=5297)},
            {"map": base, "stages": given(Base=14_500)},
        )
    )
    told = [(own.map, own.number, own.of, own.changes, own.drift) for own in edition.prints]
    assert told == [
        ("A", 0, 3, [], ["Base -0.69", "Burn not given"]),
        ("A", 1, 3, [], []),
        ("A", 2, 3, [], ["Burn +0.02"]),
        ("B", 1, 1, ["base +1/12"], ["Base +0.08", "Burn +0.08"]),
        ("A", 3, 3, [], ["Burn not given"]),
    ]
    assert (edition.name, len(edition.whole)) == ("mill", 4)


def test_another_negative_is_another_edition_and_so_is_another_unnamed_map():
    found = editions(
        entries(
            {"map": card(negative="a")},
            {"map": card(negative="b")},
            {"map": card(negative="a", base_ms=9000)},
            {"map": card("new-print")},
            {"map": card("new-print", base_ms=9000)},
            {"map": card("new-print")},
        )
    )
    assert [[own.entry.name.n for own in edition.prints] for edition in found] == [[1, 3], [2], [4, 6], [5]]


def test_the_first_form_is_compared_by_its_light():
    (edition,) = editions(
        entries(
            {"stages": given(Base=14_500)}, {"stages": given(Base=14_500)}, {"stages": given(Base=29_000)}
        )
    )
    told = [(own.map, own.number, own.of, own.changes, own.drift) for own in edition.prints]
    assert told == [("A", 1, 2, [], []), ("A", 2, 2, [], []), ("B", 1, 1, [], ["Base +1.00"])]


CHANGES = [
    (lambda map: None, []),
    (lambda map: map.update(title="Another", facts={"paper": "x"}), []),
    (lambda map: map["passes"][0].update(base_ms=29_000), ["base +1"]),
    (lambda map: map["passes"][0].update(base_ms=14_501), ["base 14.5 s to 14.501 s"]),
    (lambda map: map["passes"][0].update(filter="3"), ["filter 2 to 3"]),
    (lambda map: map["passes"][0]["marks"].pop(), ["sky +2/3 through 0 to none"]),
    (lambda map: map["passes"][0]["marks"][0].update(stops120=-40), ["race -1/6 to -1/3"]),
    (lambda map: map["passes"][0]["marks"].append({"area": "sky", "stops120": 30}),
     ["sky +2/3 through 0 to +2/3 through 0 and +1/4"]),
    (lambda map: map["passes"].append({"filter": "5", "base_ms": 9000, "marks": []}), ["pass 2 new"]),
    (lambda map: map.update(dry_down=False), ["dry-down 8 % to off"]),
    (lambda map: map.update(dry_down_pm=50), ["dry-down 8 % to 5 %"]),
    (lambda map: map.update(flash={"light_ms": 1200, "after": True}), ["flash none to 1.2 s at the end"]),
]  # fmt: skip


def drawn() -> dict:
    return {
        "name": "mill", "title": "", "tied": False, "dry_down": True, "dry_down_pm": 80, "facts": {},
        "passes": [{"filter": "2", "base_ms": 14_500, "marks": [
            {"area": "race", "stops120": -20}, {"area": "sky", "stops120": 80, "filter": "0"},
        ]}],
    }  # fmt: skip


@pytest.mark.parametrize(("change", "told"), CHANGES)
def test_what_of_a_map_has_changed_is_named(change, told):
    before, after = drawn(), copy.deepcopy(drawn())
    change(after)
    assert map_changes(before, after) == told
    # Whatever changes the light is another map, and nothing else is.
    (edition,) = editions(entries({"map": before}, {"map": after}))
    assert [own.map for own in edition.prints] == (["A", "B"] if told else ["A", "A"])


def test_where_there_are_passes_they_are_named():
    before = drawn()
    before["passes"].append({"filter": "5", "base_ms": 9000, "marks": []})
    after = copy.deepcopy(before)
    after["passes"][1]["base_ms"] = 4500
    after["passes"][1]["marks"] = [{"area": "sky", "stops120": 60}]
    assert map_changes(before, after) == ["base of pass 2 -1", "sky of pass 2 none to +1/2"]


TIMES = st.dictionaries(st.sampled_from(["Base", "Burn", "Flash"]), st.integers(1, 999_900))


@hypothesis.given(TIMES, TIMES)
def test_a_drift_is_the_logarithm_of_the_light(before, after):
    told = {own.split(" ")[0]: own.split(" ", 1)[1] for own in light_drift(given(**before), given(**after))}
    for stage in before.keys() | after.keys():
        said = told.get(stage, "+0.00")
        if stage in before and stage in after:
            stops = math.log2(after[stage] / before[stage])
            assert float(said) == pytest.approx(max(-10, min(10, stops)), abs=0.5 / 120 + 0.0051)
        else:
            assert said == ("not given" if stage in before else "new")


def test_editions_as_a_person_sees_them(lampblack):
    darkroom = Darkroom(BOXES[0])
    for count, base_ms in enumerate((14_500, 14_500, 15_362)):
        at = f"2026-11-0{count + 1}T10:00:00Z"
        darkroom.expose(count, card(base_ms=base_ms, negative="roll 12"), at=at)
    darkroom.expose(9, card("pier"), at="2026-11-09T10:00:00Z")
    lampblack.ports["a52c"] = darkroom.port
    lampblack("ledger", "pull")
    assert lampblack.rows("ledger", "editions") == [
        ["mill", "Harbour, morning", "roll 12", "3", "2", "2026-11-01 23:00", "2026-11-03 23:00"]
    ]
    said = lampblack("ledger", "editions", "mill").splitlines()
    assert said[0] == "mill, Harbour, morning, roll 12"
    assert [line.split() for line in said[2:]] == [
        ["A", "1", "of", "2", "a52c-1", "2026-11-01", "23:00"],
        ["A", "2", "of", "2", "a52c-2", "2026-11-02", "23:00"],
        [
            "B",
            "1",
            "of",
            "1",
            "a52c-3",
            "2026-11-03",
            "23:00",
            "base",
            "+1/12",
            "Base,",
            "pass",
            "1",
            "+0.08",
        ],
    ]
    assert "1 of 1" in lampblack("ledger", "editions", "pier")
    assert "Print 2 of 2." in lampblack("ledger", "show", "2")
    assert "no print of quay" in lampblack.refused("ledger", "editions", "quay")


# --- export


def test_all_of_it_is_written_out_the_same_each_time(lampblack, tmp_path):
    first, second = two_boxes(lampblack)
    lampblack("ledger", "pull", "--port", "a52c", "--port", "b000")
    told = json.loads(lampblack("ledger", "export", "--json"))
    assert [own["record"] for own in told] == first.there() + second.there()
    assert [own["box"] for own in told] == [BOXES[0]] * 4 + [BOXES[1]]
    rows = list(csv.DictReader(io.StringIO(lampblack("ledger", "export", "--csv"))))
    assert [row["id"] for row in rows] == [own["id"] for own in told]
    assert rows[1]["paper"] == "Fibre Möwe"
    assert rows[0]["given_ms"] == "14500"

    # What comes later changes nothing of what was there.
    second.expose(2, stages=[])
    lampblack("ledger", "pull", "--port", "b000")
    out = tmp_path / "all.csv"
    lampblack("ledger", "export", "--csv", "-o", out)
    later = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert later[:5] == rows
    assert (later[5]["id"], later[5]["stage"]) == ("b000-2", "")
    assert json.loads(lampblack("ledger", "export", "--json"))[:5] == told
    assert "is there already" in lampblack.refused("ledger", "export", "--csv", "-o", out)
    lampblack.refused("ledger", "export", code=2)
    lampblack.refused("ledger", "export", "--csv", "--json", code=2)


def test_no_formula_comes_into_a_spreadsheet(lampblack):
    darkroom = Darkroom(BOXES[0])
    darkroom.expose(1, card(negative="=1+1", paper="@x"))
    lampblack.ports["a52c"] = darkroom.port
    lampblack("ledger", "pull")
    (row,) = csv.DictReader(io.StringIO(lampblack("ledger", "export", "--csv")))
    assert (row["negative"], row["paper"]) == ("'=1+1", "'@x")


# --- damaged

DAMAGED = [
    b"{}",
    b"{'form'",
    b'{"at": "\xff',
    b"[" * 100_000,
    b"null",
    b"7",
]


@pytest.mark.parametrize("damage", DAMAGED, ids=range(len(DAMAGED)))
def test_a_damaged_record_is_named_passed_over_and_mended(lampblack, tmp_path, capsys, damage):
    two_boxes(lampblack)
    lampblack("ledger", "pull")
    asked = [("list",), ("editions",), ("export", "--json"), ("export", "--csv")]
    before = {own: lampblack("ledger", *own) for own in asked}
    with closing(sqlite3.connect(tmp_path / "ledger.sqlite")) as connection:
        connection.execute(
            "UPDATE ledger_entries SET record = CAST(? AS TEXT), title = '' WHERE n = 2", [damage]
        )
        connection.commit()

    line = "a52c-2 cannot be read: its record in the ledger is damaged. "
    for own in asked:
        assert cli.run(["ledger", *own]) == 0
        out, err = capsys.readouterr()
        assert err.startswith(line)
        assert err.count("\n") == 1
        assert "a52c-2" not in out
        assert own == ("editions",) or "a52c-3" in out
    assert len(lampblack.rows("ledger", "list", "--kind", "test")) == 1
    for does in ("show", "again"):
        assert lampblack.refused("ledger", does, "2").startswith(line)
        lampblack("ledger", does, "3")

    # The box has it still.
    assert "0 new records of 4" in lampblack("ledger", "pull")
    assert {own: lampblack("ledger", *own) for own in asked} == before


# --- where it is


READING = [("list",), ("show", "1"), ("again", "1"), ("editions",), ("export", "--json")]


@pytest.mark.parametrize("reads", READING)
def test_who_reads_makes_no_ledger(lampblack, tmp_path, reads):
    file = tmp_path / "typo.sqlite"
    for url in (f"sqlite:///{file}", f"sqlite:///file:{file}?uri=true"):
        said = lampblack.refused("ledger", *reads, "--database", url)
        assert said.startswith(f"There is no ledger at {file.as_posix()}. ")
    assert not file.exists()


@pytest.mark.parametrize(
    "url", ["sqlite://", "sqlite:///:memory:", "sqlite+pysqlite://", "sqlite:///file:x?mode=memory&uri=true"]
)
def test_a_ledger_that_would_be_kept_nowhere_is_refused(lampblack, url):
    two_boxes(lampblack)
    for command in ("pull", "list"):
        said = lampblack.refused("ledger", command, "--database", url)
        assert "in memory alone" in said
        assert "sqlite:///ledger.sqlite" in said


def test_the_ledger_is_in_the_users_own_folder_unless_told(lampblack, monkeypatch, tmp_path):
    two_boxes(lampblack)
    monkeypatch.delenv("LAMPBLACK_DATABASE")
    own = tmp_path / "own" / "lampblack"
    monkeypatch.setattr("platformdirs.user_data_path", lambda name, **_: tmp_path / "own" / name)
    for reads in READING:
        assert lampblack.refused("ledger", *reads).startswith("Nothing is in your ledger yet. lampblack led")
    assert not own.exists()
    assert f"in {own / 'ledger.sqlite'}" in lampblack("ledger", "pull").replace("\n", "")
    assert (own / "ledger.sqlite").is_file()
    assert len(lampblack.rows("ledger", "list")) == 4
    assert lampblack("ledger", "list", "--database", new_ledger(tmp_path / "new")).startswith("Nothing is in")
    assert "no URL" in lampblack.refused("ledger", "list", "--database", "ledger.sqlite")


@pytest.fixture
def _no_database(monkeypatch) -> None:
    """As where the extra is not installed."""
    kept = {name: own for name, own in sys.modules.items() if name.split(".")[0] == "sqlalchemy"}
    for name in (*kept, "lampblack.ledger.home", "lampblack.ledger.schema"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setitem(sys.modules, "sqlalchemy", None)


@pytest.mark.usefixtures("_no_database")
def test_without_its_libraries_a_command_says_what_to_install(lampblack, tmp_path):
    two_boxes(lampblack)
    for arguments in (("pull",), ("list",), ("show", "1"), ("export", "--json")):
        said = lampblack.refused("ledger", *arguments)
        assert WITHOUT.format("sqlalchemy") in said
    # What is in the box itself, and its backup, need none.
    assert len(lampblack.rows("ledger", "box")) == 4
    assert Path(lampblack("backup", tmp_path / "old").split()[-1].rstrip(".")).parent == tmp_path / "old"
    assert "lampblack[lab]" in lampblack.refused("restore", tmp_path / "old", "--yes")


def test_a_fault_that_is_no_missing_library_is_not_taken_for_one():
    with pytest.raises(ModuleNotFoundError), extra():
        raise ModuleNotFoundError(name="lampblack.nothing")


# --- the page

PAGE = Path(__file__).parent.parent / "docs" / "ledger.md"


def on_the_page(lampblack: Lampblack, text: str, home: Path) -> str:
    """`text` with what its commands print now in place of what it says they do: the home of Ada, UTC."""

    def block(found: re.Match) -> str:
        said = ""
        for line in found[1].splitlines():
            if line.startswith("$ lampblack "):
                arguments = [
                    word.replace("~", str(home)) for word in shlex.split(line.removeprefix("$ lampblack "))
                ]
                printed = lampblack(*arguments).replace(str(home), "/home/ada")
                said += f"{line}\n" + "".join(f"{own.rstrip()}\n" for own in printed.splitlines())
        return f"```ledger\n{said}```\n"

    return re.sub(r"^```ledger\n(.*?)^```\n", block, text, flags=re.DOTALL | re.MULTILINE)


def test_the_page_shows_what_the_commands_print(lampblack, monkeypatch, tmp_path):
    """Every one of them, at a box with three prints and a strip of one card."""
    data = tmp_path / ".local" / "share" / "lampblack"
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    monkeypatch.delenv("LAMPBLACK_DATABASE")
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: data)
    monkeypatch.setattr(
        commands, "_now", lambda: commands.datetime(2026, 11, 26, 21, 40, tzinfo=commands.UTC)
    )
    box = Darkroom(BOXES[0])
    box.box.shelf.keep_text("mill", PrintingMap.from_dict(card()).text())
    for minute, base_ms, kind in (
        (2, 13_200, "strip"),
        (26, 14_500, "print"),
        (31, 14_500, "print"),
        (45, 15_362, "print"),
    ):
        map = card(base_ms=base_ms, negative="roll 12, frame 7", paper="RC pearl, 24 x 30 cm") | {
            "title": "Mill, winter"
        }
        burn_ms = round(base_ms * 0.59)
        stages = [
            stage_record("Base, pass 1", "2", base_ms, base_ms, 1, 124, False),
            stage_record(
                "Burn sky", "0", burn_ms, burn_ms - 60 * (minute == 31), 1 + (minute == 31), 124, False
            ),
        ]
        box.expose(minute, map, kind=kind, stages=stages, dry_down_pm=80, at=f"2026-11-26T18:{minute:02}:10Z")
    lampblack.ports = {"a52c": box.port, "/dev/ttyACM1": Darkroom(BOXES[1]).port}
    text = PAGE.read_text(encoding="utf-8")
    assert on_the_page(lampblack, text, tmp_path) == text
    assert len(re.findall(r"^\$ lampblack ", text, flags=re.MULTILINE)) >= 8
