"""The ledger's home: every record of every box once, whatever is cut, pulled twice or numbered again.

Boxes are the core's own ledger behind the core's own link, reached by the true client. What a box exposed is
told by `up_s`, which here no two records have in common.
"""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from sqlalchemy import Engine, event, text

from host_sim.box.platform import desk_platform
from lampblack.errors import CommandError
from lampblack.ledger import home as home_module
from lampblack.ledger.entries import Name, box_name, holds, parse_name
from lampblack.ledger.home import MIGRATIONS, Home
from lampblack.ledger.pulling import pull
from lampblack.ledger.schema import VERSION, VERSION_TABLE, metadata
from lampblack.wire.box_client import BoxError
from lampblack.wire.replies import RECORD
from tests import postgres
from tests.kept_flash import disk_of
from tests.portable.fakes import FakeBox, TightDisk, large_card, small_card
from tests.test_box_client import FakePort, client_of
from timing_core.records.ledger import Ledger, stage_record
from timing_core.records.store import Store
from timing_core.refusal import Refusal

KEPT = Path(__file__).parent / "kept"
BOXES = ("e66164084373a52c", "e66164084373b000")
AT = "2026-11-27T21:00:00Z"
with_postgres = pytest.mark.skipif(postgres.programs() is None, reason=postgres.WANTED)


class Cut(BaseException):
    """The process ends here; nothing that catches errors catches it."""


class Box(FakeBox):
    """As the true one it reads on where the flash is full."""

    def write_waiting(self) -> None:
        self.ledger.write_waiting_or_say()


class Disk(TightDisk):
    """One that is full may spoil the file that was to be written, or leave no trace of it."""

    leaves_traces = False

    def write(self, name: str, data: bytes) -> None:
        if not self.room and not self.leaves_traces:
            raise OSError(28, "no space left")
        super().write(name, data)


class Darkroom:
    """A box that exposes. Switched off, it forgets what its flash did not keep."""

    def __init__(self, identity: str, disk: Disk | None = None) -> None:
        self.identity = identity
        self.disk = disk or Disk()
        self.switch_off()

    def switch_off(self) -> None:
        self.box = Box(self.disk)
        self.box.identity = self.box.ledger.identity = self.identity

    def expose(self, up_s: int, card: dict | None = None, **more: Any) -> dict:
        """A record as the wire has it, but for whether it is kept."""
        card = card or small_card()
        base_ms = card["passes"][0]["base_ms"]
        record = {
            "form": 2, "kind": "print", "map": card, "strip": None, "whole": True, "cut_off": "",
            "up_s": up_s, "at": None, "dry_down_pm": 0,
            "stages": [stage_record("Base, pass 1", "2", base_ms, base_ms, 1, 0, False)],
        }  # fmt: skip
        with suppress(Refusal):
            self.box.ledger.append(record | more)
        return self.there()[-1]

    def there(self) -> list[dict]:
        """All that it would give to who asks now."""
        return [without(record, "kept") for record in self.box.ledger.read(0, 1000)]

    def port(self, breaks_at: int = -1) -> FakePort:
        """Its port; with a cable that is pulled at line number `breaks_at` of both directions."""

        def spoil(count: int, line: bytes) -> bytes:
            if count == breaks_at:
                raise OSError(5, "Input/output error")
            return line

        return FakePort(self.box, spoil)


def without(record: dict, *keys: str) -> dict:
    return {key: value for key, value in record.items() if key not in keys}


def pull_from(darkroom: Darkroom, home: Home, breaks_at: int = -1, at: str = AT) -> int:
    """How many were new. BoxError where the cable broke."""
    with client_of(darkroom.port(breaks_at)) as client:
        put, lost = pull(client, home, at)
    if lost:
        raise lost
    return put.new


@contextmanager
def cut_at(statement: int, does: Callable[[Any], None]) -> Iterator[None]:
    """Before statement number `statement` of a database from now on, or its commit, `does(connection)`."""
    count = -1

    def count_on(connection: Any, *_: Any) -> None:
        nonlocal count
        count += 1
        if count == statement:
            does(connection)

    for name in ("before_cursor_execute", "commit"):
        event.listen(Engine, name, count_on)
    try:
        yield
    finally:
        for name in ("before_cursor_execute", "commit"):
            event.remove(Engine, name, count_on)


def fall_over(_: Any) -> None:
    raise Cut


def hang_up(connection: Any) -> None:
    """The database is gone in mid-transaction."""
    connection.connection.dbapi_connection.close()


@cache
def _empty() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "ledger.sqlite"
        Home(f"sqlite:///{file}").close()
        return file.read_bytes()


def new_ledger(file: Path) -> str:
    """The URL of an empty ledger that is made already, which takes the longest."""
    file.write_bytes(_empty())
    return f"sqlite:///{file}"


@pytest.fixture
def url(tmp_path: Path) -> str:
    return new_ledger(tmp_path / "ledger.sqlite")


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    with postgres.cluster() as url:
        yield url


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=with_postgres)])
def any_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'ledger.sqlite'}"
        return
    server = request.getfixturevalue("server")
    name = f"lab_{os.urandom(4).hex()}"
    _on_server(server, f"CREATE DATABASE {name}")
    yield server.replace("/postgres?", f"/{name}?")
    _on_server(server, f"DROP DATABASE {name} WITH (FORCE)")


def _on_server(server: str, statement: str) -> None:
    import psycopg

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(statement)


def refused(act: Callable[[], object]) -> str:
    """The one line of the CommandError that `act` raises."""
    with pytest.raises(CommandError) as caught:
        act()
    line = str(caught.value)
    assert "\n" not in line
    assert line.endswith(".")
    return line


# --- every entry once


class Evening(RuleBasedStateMachine):
    """Two boxes, one ledger. What was there at the end of a pull is in the ledger for good, and once."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.url = new_ledger(Path(self.folder.name) / "ledger.sqlite")
        self.darkrooms = [Darkroom(identity) for identity in BOXES]
        self.count = 0
        self.made: dict[int, dict] = {}
        self.safe: set[int] = set()

    box = st.integers(0, 1)

    @rule(which=box, prints=st.integers(1, 3))
    def print_some(self, which: int, prints: int) -> None:
        for _ in range(prints):
            self.count += 1
            self.made[self.count] = self.darkrooms[which].expose(self.count)

    @rule(which=box, room=st.sampled_from([0, 1 << 20]), leaves_traces=st.booleans())
    def flash(self, which: int, room: int, leaves_traces: bool) -> None:
        """It fills up or has room again."""
        self.darkrooms[which].disk.room = room
        self.darkrooms[which].disk.leaves_traces = leaves_traces

    @rule(which=box)
    def switch_off(self, which: int) -> None:
        self.darkrooms[which].switch_off()

    @rule(which=box, is_pulled=st.booleans())
    def print_for_once_without_room(self, which: int, is_pulled: bool) -> None:
        """Its number is given again."""
        self.flash(which, 0, False)
        self.print_some(which, 1)
        if is_pulled:
            self.pull_whole(which)
        self.switch_off(which)
        self.flash(which, 1 << 20, False)
        self.print_some(which, 1)

    @rule(which=box)
    def pull_whole(self, which: int) -> None:
        darkroom = self.darkrooms[which]
        there = {record["up_s"] for record in darkroom.there()}
        with Home(self.url) as home:
            new = pull_from(darkroom, home)
        assert new <= len(there - self.safe)
        self.safe |= there

    @rule(which=box, line=st.integers(0, 8))
    def pull_while_the_cable_breaks(self, which: int, line: int) -> None:
        with Home(self.url) as home, suppress(BoxError):
            pull_from(self.darkrooms[which], home, line)

    @rule(which=box, statement=st.integers(0, 30), does=st.sampled_from([fall_over, hang_up]))
    def pull_while_the_database_is_cut(self, which: int, statement: int, does: Callable) -> None:
        with suppress(Cut, CommandError), cut_at(statement, does), Home(self.url) as home:
            pull_from(self.darkrooms[which], home)

    @invariant()
    def each_is_there_once_and_as_it_was(self) -> None:
        if hasattr(self, "url"):
            with Home(self.url) as home:
                found = home.find()
            told = [entry.record["up_s"] for entry in found]
            assert len(told) == len(set(told))
            assert self.safe <= set(told)
            assert all(entry.record == self.made[entry.record["up_s"]] for entry in found)
            assert len({entry.name for entry in found}) == len(found)
            # Whether or not its pull went to its end.
            self.safe |= set(told)

    def teardown(self) -> None:
        if hasattr(self, "url"):
            with self.folder:
                for which in (0, 1):
                    self.pull_whole(which)
                self.each_is_there_once_and_as_it_was()


TestEvening = Evening.TestCase
TestEvening.settings = settings(max_examples=12, stateful_step_count=14, deadline=None)


def test_a_number_that_is_given_again_is_a_second_entry(any_url):
    """What the flash had no room for is gone when the box is switched off, and was pulled in time."""
    darkroom = Darkroom(BOXES[0])
    darkroom.expose(1)
    darkroom.disk.room = 0
    lost = darkroom.expose(2)
    assert [record["kept"] for record in darkroom.box.ledger.read()] == [True, False]
    with Home(any_url) as home:
        assert pull_from(darkroom, home) == 2
        darkroom.switch_off()
        darkroom.disk.room = 1 << 20
        again = darkroom.expose(3)
        assert (lost["n"], again["n"]) == (2, 2)
        assert pull_from(darkroom, home) == 1
        assert pull_from(darkroom, home) == 0
        found = home.find()
        assert [(str(entry.name), entry.record["up_s"]) for entry in found] == [
            ("a52c-1", 1),
            ("a52c-2", 2),
            ("a52c-2.2", 3),
        ]
        assert home.named(Name("a52c", 2, 2)) == [found[2]]


def test_a_record_that_waits_and_is_written_later_stays_one(url):
    darkroom = Darkroom(BOXES[0])
    darkroom.disk.room = 0
    darkroom.expose(1)
    with Home(url) as home:
        assert pull_from(darkroom, home) == 1
        darkroom.disk.room = 1 << 20
        assert pull_from(darkroom, home) == 0
        assert darkroom.box.ledger.read()[0]["kept"] is True
        assert len(home.find()) == 1


@pytest.mark.parametrize("damage", ["record = '{}'", "digest = 'x'"])
def test_a_damaged_record_takes_no_other_with_it(url, damage):
    """Of two with the same number, one was lost in the box: the other does not come in its place."""
    darkroom = Darkroom(BOXES[0])
    darkroom.disk.room = 0
    lost = darkroom.expose(1)
    with Home(url) as home:
        pull_from(darkroom, home)
        darkroom.switch_off()
        kept = darkroom.expose(2)
        pull_from(darkroom, home)
        with home._writing.begin() as connection:
            connection.execute(text(f"UPDATE ledger_entries SET {damage} WHERE again = 1"))
        assert pull_from(darkroom, home) == 0
        assert [entry.record for entry in home.find()] == [kept]
        assert home.damaged == [Name("a52c", 1)]
    with Home(url) as home:
        assert home.put([lost], BOXES[0], AT).new == 0
        assert [entry.record for entry in home.find()] == [lost, kept]
        assert home.damaged == []


def test_two_boxes_never_collide(any_url):
    """The same numbers, the same maps, the same seconds."""
    with Home(any_url) as home:
        for identity in BOXES:
            darkroom = Darkroom(identity)
            darkroom.expose(7)
            darkroom.expose(8)
            assert pull_from(darkroom, home) == 2
        assert sorted(str(entry.name) for entry in home.find()) == ["a52c-1", "a52c-2", "b000-1", "b000-2"]
        assert [entry.box for entry in home.named(Name("", 1))] == list(BOXES)


def test_a_record_is_its_own_boxs_wherever_it_is_read(url):
    """A flash that was copied to another board has the records of the first."""
    darkroom = Darkroom(BOXES[0])
    darkroom.expose(1)
    copy = Darkroom(BOXES[1], darkroom.disk)
    with Home(url) as home:
        assert pull_from(darkroom, home) == 1
        assert pull_from(copy, home) == 0
        copy.expose(2)
        assert pull_from(copy, home) == 1
        assert [str(entry.name) for entry in home.find()] == ["a52c-1", "b000-2"]


def test_records_of_the_first_form_are_of_the_box_that_has_them(url):
    """They do not say whose they are, nor when they were, and have no map."""
    records = _first_form()
    with Home(url) as home:
        assert home.put(records, BOXES[0], AT).new == len(records)
        assert home.put(records, BOXES[0], "2027-01-01T00:00:00Z").new == 0
        assert home.put(records, BOXES[1], AT).new == len(records)
        found = [entry for entry in home.find() if entry.box == BOXES[0]]
        assert [entry.record for entry in found] == records
        assert {entry.moment for entry in found} == {AT}
        assert {own["card"] for own in records} == {"slate-roof", "allotment", "weir"}
        title = next(own["title"] for own in records if own["card"] == "weir")
        assert [entry.record["card"] for entry in home.find(title=title.upper())] == ["weir"] * 2


def _first_form() -> list[dict]:
    """As a box of today gives those of the kept flash."""
    platform = desk_platform()
    records = Ledger(Store(disk_of("version-1"), platform.crc32), platform).read()
    assert [record["form"] for record in records] == [1, 1, 1]
    return [without(record, "kept") for record in records]


def test_what_a_newer_version_reads_more_of_a_record_is_added(url):
    darkroom = Darkroom(BOXES[0])
    record = darkroom.expose(1)
    fuller = record | {"faults": ["live"]}
    with Home(url) as home:
        for given, new in ((record, 1), (fuller, 0), (record, 0)):
            assert home.put([given], BOXES[0], AT).new == new
        assert [entry.record for entry in home.find()] == [fuller]
        # What contradicts it is another.
        assert home.put([record | {"up_s": 2}], BOXES[0], AT).new == 1


KEYS = st.sampled_from("abc")
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(0, 2) | KEYS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner),
    max_leaves=6,
)


@settings(max_examples=50)
@given(PLAIN)
def test_everything_holds_itself_and_less_than_itself(value):
    assert holds(value, value)
    if isinstance(value, dict) and value:
        less = dict(list(value.items())[1:])
        assert holds(value, less)
        assert not holds(less, value)
    assert not holds(value, [value])


def test_true_is_no_one():
    assert not holds({"n": 1}, {"n": True})
    assert not holds([1, 2], [1])


def test_a_box_with_more_than_its_flash_keeps(url):
    """90 prints, pulled now and then: the 64 that a box keeps are no limit of the ledger."""
    darkroom = Darkroom(BOXES[0])
    with Home(url) as home:
        for count in range(90):
            darkroom.expose(count)
            if count % 45 == 44:
                pull_from(darkroom, home)
        assert len(darkroom.there()) == 64
        assert [entry.record["up_s"] for entry in home.find()] == list(range(90))
        assert [entry.name.n for entry in home.find()] == list(range(1, 91))


def test_a_record_too_long_for_a_line_is_kept_whole(url):
    darkroom = Darkroom(BOXES[0])
    stages = [stage_record(f"Burn stone {count}", "2", 1000, 1000, 1, 0, False) for count in range(30)]
    record = darkroom.expose(1, large_card(), stages=stages)
    with Home(url) as home:
        pull_from(darkroom, home)
        assert home.find()[0].record == record


# --- cuts


def test_what_came_before_the_cable_broke_is_kept(url):
    darkroom = Darkroom(BOXES[0])
    for count in range(20):
        darkroom.expose(count)
    with Home(url) as home:
        had = 0
        for line in range(5, 12):
            with pytest.raises(BoxError, match="connection to a box is lost"):
                pull_from(darkroom, home, line)
            assert len(home.find()) >= had
            had = len(home.find())
        assert 0 < had < 20
        assert pull_from(darkroom, home) == 20 - had


@pytest.mark.parametrize(("does", "is_new"), [(fall_over, True), (fall_over, False), (hang_up, False)])
def test_a_cut_at_any_statement_leaves_all_or_nothing(tmp_path, does, is_new):
    """To the last commit; of a new database from the first statement that makes it."""
    darkroom = Darkroom(BOXES[0])
    for count in range(3):
        darkroom.expose(count)
    found = set()
    for statement in range(200):
        file = tmp_path / f"{statement}.sqlite"
        url = f"sqlite:///{file}" if is_new else new_ledger(file)
        try:
            with cut_at(statement, does), Home(url) as home:
                pull_from(darkroom, home)
            break
        except (Cut, CommandError):
            pass
        with Home(url) as home:
            found.add(len(home.find()))
            pull_from(darkroom, home)
            assert len(home.find()) == 3
    assert (20 if is_new else 8) < statement < 199
    assert found <= {0, 3}
    assert 0 in found


def in_processes(count: int, act: Callable[[int], None]) -> list[int]:
    """`act` in so many processes at once; their exit codes, 0 for one that did it."""
    begin, go = os.pipe()
    children = []
    for which in range(count):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of threads; none of them is used
            child = os.fork()
        if not child:
            code = 1
            try:
                os.close(go)
                os.read(begin, 1)  # ends for all at once, when the pipe is closed
                act(which)
                code = 0
            finally:
                os._exit(code)
        children.append(child)
    os.close(go)
    codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    os.close(begin)
    return codes


forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are not forked on Windows")


@forks
def test_a_process_that_is_killed_leaves_all_or_nothing(any_url):
    darkroom = Darkroom(BOXES[0])
    for count in range(3):
        darkroom.expose(count)
    Home(any_url).close()
    for statement in (2, 5, 8, 10, 11, 12, 13, 14):

        def killed(_: int, statement: int = statement) -> None:
            with cut_at(statement, lambda _: os.kill(os.getpid(), 9)), Home(any_url) as home:
                pull_from(darkroom, home)

        codes = in_processes(1, killed)
        with Home(any_url) as home:
            assert len(home.find()) in ((0, 3) if codes == [-9] else (3,))
    with Home(any_url) as home:
        pull_from(darkroom, home)
        assert len(home.find()) == 3


@forks
def test_programs_that_pull_at_once(any_url):
    """Each of two boxes by two programs, and the database is made by whichever comes first."""
    darkrooms = [Darkroom(identity) for identity in (BOXES[0], "f" * 12 + "a52c")]
    for darkroom in darkrooms:
        for count in range(30):
            darkroom.expose(count)

    def pulls(which: int) -> None:
        with Home(any_url) as home:
            pull_from(darkrooms[which % 2], home)

    assert in_processes(4, pulls) == [0, 0, 0, 0]
    with Home(any_url) as home:
        assert len(home.find()) == 60
        assert len({entry.name for entry in home.find()}) == 60
        assert sorted(home.box_names()) == sorted(darkroom.identity for darkroom in darkrooms)
        # Both identities end alike, and the second to come has a longer name.
        assert sorted(map(len, home.box_names().values())) == [4, 5]


# --- the schema


def test_a_database_of_version_1_opens_with_everything_in_it(tmp_path):
    """As the first migration made it. See tests/kept/make_ledger_1.py."""
    told = json.loads((KEPT / "ledger-1.json").read_text())
    file = tmp_path / "ledger.sqlite"
    shutil.copy(KEPT / "ledger-1.sqlite", file)
    with Home(f"sqlite:///{file}") as home:
        assert [[str(entry.name), entry.box, entry.pulled_at, entry.record] for entry in home.find()] == told
    copies = [own for own in tmp_path.iterdir() if own != file]
    assert [own.name for own in copies] == (["ledger-version-1.sqlite"] if VERSION > 1 else [])
    assert all(dump_of(own) == dump_of(KEPT / "ledger-1.sqlite") for own in copies)


def dump_of(file: Path) -> list[str]:
    """All that is in a database of SQLite."""
    with closing(sqlite3.connect(file)) as connection:
        return list(connection.iterdump())


NEXT = f"""
import sqlalchemy as sa
from alembic import op

revision, down_revision = "{VERSION + 1}", "{VERSION}"


def upgrade():
    op.add_column("ledger_entries", sa.Column("seconds", sa.Integer, nullable=False, server_default="0"))
    op.execute("UPDATE ledger_entries SET seconds = n")
    op.execute(FAILS)
"""


def next_version(folder: Path, fails: str = "SELECT 1") -> dict[str, Any]:
    """How to open a ledger of the version after today's."""
    migrations = folder / "migrations"
    shutil.copytree(MIGRATIONS, migrations, ignore=shutil.ignore_patterns("__pycache__"))
    (migrations / "versions" / "version_next.py").write_text(NEXT.replace("FAILS", repr(fails)))
    return {"migrations": migrations, "version": VERSION + 1}


def test_an_older_database_is_brought_forward_after_a_copy(tmp_path):
    file = tmp_path / "ledger.sqlite"
    shutil.copy(KEPT / "ledger-1.sqlite", file)
    with Home(f"sqlite:///{file}") as home:
        had = home.find()
    before = dump_of(file)
    newer = next_version(tmp_path)
    (tmp_path / f"ledger-version-{VERSION}.sqlite").write_text("mine")
    for _ in range(2):
        with Home(f"sqlite:///{file}", **newer) as home:
            assert home.find() == had
            assert sum(home.put([entry.record], entry.box, AT).new for entry in had) == 0
    with closing(sqlite3.connect(file)) as connection:
        told = connection.execute("SELECT count(*) FROM ledger_entries WHERE seconds = n").fetchone()
    assert told == (len(had),)
    # Over nothing that is there.
    assert (tmp_path / f"ledger-version-{VERSION}.sqlite").read_text() == "mine"
    copy = tmp_path / f"ledger-version-{VERSION}-2.sqlite"
    assert dump_of(copy) == before
    assert {own.name for own in tmp_path.glob("*.sqlite*")} == {
        "ledger.sqlite",
        f"ledger-version-{VERSION}.sqlite",
        copy.name,
    }


def test_a_newer_database_is_refused_and_stays(tmp_path):
    file = tmp_path / "ledger.sqlite"
    with Home(f"sqlite:///{file}", **next_version(tmp_path)):
        pass
    before = file.read_bytes()
    line = refused(lambda: Home(f"sqlite:///{file}"))
    assert f"is of version {VERSION + 1}, and this lampblack knows version {VERSION}." in line
    assert "use a newer lampblack" in line
    assert file.read_bytes() == before


@pytest.mark.parametrize("fails", ["SELECT nothing FROM nowhere", None])
def test_a_change_of_the_schema_that_fails_changes_nothing(any_url, tmp_path, fails):
    darkroom = Darkroom(BOXES[0])
    darkroom.expose(1)
    with Home(any_url) as home:
        pull_from(darkroom, home)
        had = home.find()
    if fails:
        newer = next_version(tmp_path, fails)
        refused(lambda: Home(any_url, **newer))
    else:
        newer = next_version(tmp_path)
        for statement in range(4, 40):
            try:
                with cut_at(statement, fall_over):
                    Home(any_url, **newer).close()
                break
            except Cut:
                with Home(any_url) as home:
                    assert home.find() == had
        assert statement > 8
    if fails:
        with Home(any_url) as home:
            assert home.find() == had


def test_the_migrations_make_the_tables_that_the_code_has(any_url):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory

    assert ScriptDirectory(str(MIGRATIONS)).get_heads() == [str(VERSION)]
    with Home(any_url) as home, home._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
        assert compare_metadata(context, metadata) == []


def test_a_database_of_somebody_else_is_not_touched(any_url):
    """Tables of other programs stand beside the ledger's; one of the same name is told."""
    home = Home(any_url)
    with home._writing.begin() as connection:
        connection.execute(text("DROP TABLE ledger_entries"))
        connection.execute(text("DROP TABLE ledger_version"))
        connection.execute(text("CREATE TABLE entries (mine INTEGER)"))
    home.close()
    assert "ledger_boxes" in refused(lambda: Home(any_url))


def test_no_file_of_a_database_is_one_line(tmp_path):
    file = tmp_path / "ledger.sqlite"
    file.write_bytes(b"a letter to my aunt, " * 100)
    line = refused(lambda: Home(f"sqlite:///{file}"))
    assert "not a database. Put a copy of it in its place, or pull into a new one" in line
    assert file.read_bytes() == b"a letter to my aunt, " * 100
    assert "unable to open" in refused(lambda: Home(f"sqlite:///{tmp_path}/nowhere/ledger.sqlite"))
    assert "no URL" in refused(lambda: Home("ledger.sqlite"))
    assert "no URL" in refused(lambda: Home("nothing://"))
    said = refused(lambda: Home(f"postgresql://ada:secret@/lab?host={tmp_path}"))
    assert "secret" not in said


def test_a_database_that_another_program_writes_is_waited_for_and_told(url, monkeypatch):
    monkeypatch.setattr(home_module, "WAIT_S", 0.1)
    with Home(url) as first, first._writing.begin(), Home(url) as second:
        line = refused(lambda: second.put([FIRST_FORM], BOXES[0], AT))
    assert line.endswith("database is locked. Another program is writing it: try again.")


def test_a_damaged_database_is_told_with_what_helps(url, tmp_path):
    file = tmp_path / "ledger.sqlite"
    whole = file.read_bytes()
    file.write_bytes(whole[:4096] + b"x" * (len(whole) - 4096))
    assert "malformed. Put a copy of it in its place" in refused(lambda: Home(url).find())


@pytest.mark.parametrize("version", ["abc", "0", "-1", "1.0", ""])
def test_a_version_that_is_none_is_told_in_plain_words(url, tmp_path, version):
    with closing(sqlite3.connect(tmp_path / "ledger.sqlite")) as connection:
        connection.execute("UPDATE ledger_version SET version_num = ?", [version])
        connection.commit()
    line = refused(lambda: Home(url))
    assert f'its version is "{version}", and there is no such version. Put a copy of it in its place' in line


# --- names


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("a52c-17", Name("a52c", 17)),
        (" A52C-17 ", Name("a52c", 17)),
        ("17", Name("", 17)),
        ("1234-17.3", Name("1234", 17, 3)),
        ("17.2", Name("", 17, 2)),
        ("a52c", None),
        ("a52c-", None),
        ("a52c-17.", None),
        ("-17", None),
        ("", None),
        ("a52c-99999999999", None),
        ("a52c-१७", None),
    ],
)
def test_a_name_is_read_as_it_is_written(typed, name):
    assert parse_name(typed) == name
    if name and typed == typed.strip().lower():
        assert str(name) == typed


@given(st.lists(st.text(max_size=20), unique=True, max_size=30))
def test_no_two_boxes_are_called_alike_whatever_they_say_they_are(identities):
    taken: list[str] = []
    for identity in identities:
        name = box_name(identity, taken)
        assert parse_name(f"{name}-1") == Name(name, 1)
        assert name not in taken
        taken.append(name)


def test_a_box_is_called_by_the_end_of_its_identity():
    assert box_name("e66164084373a52c", ()) == "a52c"
    assert box_name("e66164084373a52c", ["a52c"]) == "3a52c"
    assert box_name("sim-0123abcd", ()) == "abcd"


FIRST_FORM = {
    "form": 1, "n": 1, "box": "", "kind": "print", "card": "mill", "title": "", "map": None, "strip": None,
    "whole": True, "cut_off": "", "up_s": None, "at": None, "dry_down_pm": 0, "stages": [],
}  # fmt: skip


@settings(max_examples=20)
@given(st.text(max_size=10), st.text(max_size=10))
def test_whatever_a_box_says_is_kept(identity, words):
    """Its identity, and in a record of the first form its words, may have any character."""
    record = RECORD(FIRST_FORM | {"box": identity, "title": words, "kind": words})
    with tempfile.TemporaryDirectory() as folder, Home(new_ledger(Path(folder) / "x.sqlite")) as home:
        assert home.put([record], words, AT).new == 1
        assert home.put([record], words, AT).new == 0
        (entry,) = home.find()
        assert entry.record == record


# --- without the libraries


def test_the_command_starts_without_the_database():
    """It is loaded by who uses it, since it takes as long as all the rest."""
    code = (
        "import sys, lampblack.cli\n"
        "late = {'sqlalchemy', 'alembic', 'platformdirs', 'lampblack.ledger.home'} & set(sys.modules)\n"
        "assert not late, late\n"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60, env=environment)
