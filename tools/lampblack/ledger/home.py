"""The ledger's home: a database of what boxes have exposed.

What must live here: the database, how it is opened, brought forward, written and searched. It is SQLite in
the user's data folder, or wherever an SQLAlchemy URL leads. It may not know ports or the terminal.

- Records go in together, in one transaction: a cut leaves all that was there, and nothing by half.
- What is there already changes nothing, so pulling again is always right; two programs may do it at once,
  each holding the row of the box it writes for.
- Nothing is ever taken out.
"""

import json
import os
import re
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import URL, Connection, create_engine, event, insert, inspect, select, text, update
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, IntegrityError, NoSuchModuleError, SQLAlchemyError

from lampblack.errors import CommandError
from lampblack.ledger.entries import (
    Entry,
    Name,
    Record,
    box_name,
    card_of,
    digest_of,
    holds,
    owner_of,
    text_of,
)
from lampblack.ledger.places import data_folder
from lampblack.ledger.schema import VERSION, VERSION_TABLE, boxes, entries, moment

MIGRATIONS = Path(__file__).parent / "migrations"
TRIES = 8
"""Of a write that another program has come before. It gets further with each."""
WAIT_S = 10
"""How long another program's write is waited for."""
ADVICE = (
    ("is locked", "Another program is writing it: try again."),
    (
        "malformed|not a database|no such version",
        "Put a copy of it in its place, or pull into a new one, such as --database sqlite:///new.sqlite.",
    ),
    ("", "What it has is as it was; check its name, its folder and that you may use it."),
)
"""What to do, by what the database says."""
ADVISORY_LOCK = 0x6C616D70
"""PostgreSQL's name for "the schema is being changed"; any number will do."""


class Put(NamedTuple):
    """How many of the records that were put in are new, and how many there were."""

    new: int
    of: int


class Home:
    """The database at `url`, or this user's own. Opening it brings its schema forward: of an SQLite file a
    copy is made first. Every method raises CommandError.

    An SQLite file that is not there is made, unless `is_read` alone. An entry whose record is not as it was
    written is passed over, and its name comes into `damaged`.
    """

    def __init__(
        self,
        url: str | None = None,
        migrations: Path = MIGRATIONS,
        version: int = VERSION,
        *,
        is_read: bool = False,
    ) -> None:
        self.damaged: list[Name] = []
        self._url = _read_url(url)
        is_sqlite = self._url.get_backend_name() == "sqlite"
        self._file = _file_of(self._url) if is_sqlite else None
        self.shown = self._file.as_posix() if self._file else self._url.render_as_string(hide_password=True)
        self._migrations, self._version = migrations, version
        with self._told("opened"):
            if is_read and self._file and not self._file.exists():
                raise CommandError(
                    f"There is no ledger at {self.shown}. Check the name; lampblack ledger pull makes one."
                    if url
                    else "Nothing is in your ledger yet. lampblack ledger pull takes in what a box has."
                )
            if url is None:
                data_folder().mkdir(parents=True, exist_ok=True)
            self._engine = create_engine(self._url, connect_args={"timeout": WAIT_S} if is_sqlite else {})
            if is_sqlite:
                event.listen(self._engine, "connect", _set_driver)
                event.listen(self._engine, "begin", _begin)
            self._writing = self._engine.execution_options(begin="BEGIN IMMEDIATE")
            try:
                self._bring_forward()
            except BaseException:
                self.close()
                raise

    def __enter__(self) -> "Home":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._engine.dispose()

    # --- the schema

    def _bring_forward(self) -> None:
        with self._engine.connect() as connection:
            if self._is_of_today(connection):
                return
        with self._writing.begin() as connection:
            # From here on no other program writes; and what has been brought forward meanwhile stays.
            if connection.dialect.name == "postgresql":
                connection.execute(text(f"SELECT pg_advisory_xact_lock({ADVISORY_LOCK})"))
            if not self._is_of_today(connection):
                there = _version_in(connection)
                if there and self._file:
                    _copy(self._file, there)
                self._migrate(connection)

    def _is_of_today(self, connection: Connection) -> bool:
        """False for an older schema; a newer one is refused."""
        there = _version_in(connection)
        if there > self._version:
            raise CommandError(
                f"The ledger at {self.shown} is of version {there}, and this lampblack knows version "
                f"{self._version}. Nothing is changed: use a newer lampblack."
            )
        return there == self._version

    def _migrate(self, connection: Connection) -> None:
        # Here, since it takes long to load and is hardly ever needed.
        from alembic import command
        from alembic.config import Config

        config = Config(attributes={"connection": connection})
        config.set_main_option("script_location", str(self._migrations).replace("%", "%%"))
        config.set_main_option("path_separator", "os")
        command.upgrade(config, str(self._version))

    # --- putting in

    def put(self, records: Iterable[Record], pulled_from: str, pulled_at: str) -> Put:
        """Keep records that came from the box `pulled_from` at `pulled_at` (ISO 8601, UTC): all of them, or
        none. Those that are there stay as they are, but for one of which more is known now."""
        owned: dict[str, list[Record]] = {}
        for record in records:
            owned.setdefault(owner_of(record, pulled_from), []).append(record)
        with self._told("written"):
            for _ in range(TRIES - 1):
                try:
                    return self._put(owned, pulled_at)
                except IntegrityError:
                    continue  # another program has put in a box or a record that was not there yet
            return self._put(owned, pulled_at)

    def _put(self, owned: dict[str, list[Record]], pulled_at: str) -> Put:
        new = 0
        with self._writing.begin() as connection:
            # In one order, so that two programs never wait for each other.
            for box in sorted(owned):
                _take_box(connection, box)
                new += sum(_put_one(connection, box, record, pulled_at) for record in owned[box])
        return Put(new, sum(map(len, owned.values())))

    # --- searching

    def box_names(self) -> dict[str, str]:
        """What each box is called, by its identity."""
        with self._told("read"), self._engine.connect() as connection:
            return {row.identity: row.name for row in connection.execute(select(boxes))}

    def find(
        self,
        *,
        kind: str | None = None,
        card: str | None = None,
        since: str | None = None,
        before: str | None = None,
        **words: str | None,
    ) -> list[Entry]:
        """The entries of this kind and of the card of this name, from the moment `since` on and `before`
        another (ISO 8601, UTC), in the order of time. `words` are to be found in the columns of their names,
        in capitals or not."""
        wanted = _entries().order_by(moment, entries.c.box, entries.c.n, entries.c.again)
        if kind is not None:
            wanted = wanted.where(entries.c.kind == kind)
        if card is not None:
            wanted = wanted.where(entries.c.name == card)
        if since is not None:
            wanted = wanted.where(moment >= since)
        if before is not None:
            wanted = wanted.where(moment < before)
        sought = {column: word.casefold() for column, word in words.items() if word}
        with self._told("read"), self._engine.connect() as connection:
            return self._sound(
                row
                for row in connection.execute(wanted)
                if all(word in getattr(row, column).casefold() for column, word in sought.items())
            )

    def named(self, name: Name) -> list[Entry]:
        """The entries that are called so: one, or none; several where `name` has no box and they have."""
        wanted = _entries().where(entries.c.n == name.n, entries.c.again == name.again)
        if name.box:
            wanted = wanted.where(boxes.c.name == name.box)
        with self._told("read"), self._engine.connect() as connection:
            return self._sound(connection.execute(wanted.order_by(boxes.c.name)))

    def _sound(self, rows: Iterable[Any]) -> list[Entry]:
        found = []
        for row in rows:
            name = Name(row.box_name, row.n, row.again)
            if digest_of(row.record) == row.digest:
                found.append(Entry(name, row.box, row.pulled_at, json.loads(row.record)))
            elif name not in self.damaged:
                self.damaged.append(name)
        return found

    @contextmanager
    def _told(self, done: str) -> Iterator[None]:
        """What a database says, in one line."""
        try:
            yield
        except (SQLAlchemyError, sqlite3.Error, OSError, ValueError) as fault:
            said = " ".join(str(getattr(fault, "orig", None) or fault).split()).rstrip(".?")
            todo = next(words for pattern, words in ADVICE if re.search(pattern, said))
            raise CommandError(f"The ledger at {self.shown} is not {done}: {said[:300]}. {todo}") from None
        except ModuleNotFoundError as fault:
            raise CommandError(
                f"The ledger at {self.shown} is not {done}: {fault.name} is not installed. Install it; for "
                "PostgreSQL pip install 'psycopg[binary]'."
            ) from None


def _read_url(url: str | None) -> URL:
    if url is None:
        return URL.create("sqlite", database=str(data_folder() / "ledger.sqlite"))
    try:
        read = make_url(url)
        # Of the drivers for PostgreSQL one, whichever SQLAlchemy there is.
        read = read.set(drivername="postgresql+psycopg") if read.drivername == "postgresql" else read
        read.get_dialect()
    except (ArgumentError, NoSuchModuleError, ValueError):
        raise CommandError(
            "--database is no URL of a database. Write sqlite:////home/ada/ledger.sqlite or "
            "postgresql://ada@lab/ledger."
        ) from None
    except ModuleNotFoundError:
        pass  # opening it tells
    return read


def _file_of(url: URL) -> Path:
    """The file of an SQLite database."""
    name = url.database or ""
    if "uri" in url.query:
        name = name.removeprefix("file:")
    if name in ("", ":memory:") or "memory" in url.query.get("mode", ""):
        raise CommandError(
            "--database: this one is in memory alone, and would be gone at once. Write one with a file, like "
            "sqlite:///ledger.sqlite."
        )
    return Path(name)


def _set_driver(connection: Any, _: object) -> None:
    """Python's own driver begins transactions where it thinks fit, and none for a change of the schema: here
    it begins none at all."""
    connection.isolation_level = None
    # Damaged letters make one record wrong, and leave the others to be read.
    connection.text_factory = lambda text: text.decode(errors="replace")


def _begin(connection: Connection) -> None:
    """A write takes its lock at once: two programs wait for each other, and none is turned away half done."""
    connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))


def _version_in(connection: Connection) -> int:
    """The version of the schema that is there, 0 for none."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return 0
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
    if found is None:
        return 0
    if not re.fullmatch("[1-9][0-9]{0,8}", str(found)):
        raise ValueError(f'it says that its version is "{found}", and there is no such version')
    return int(found)


def _copy(file: Path, version: int) -> None:
    """Copy an SQLite database beside itself, whole or not at all, over no other."""
    name = f"{file.stem}-version-{version}"
    number = 1
    while (copy := file.with_name(f"{name}{f'-{number}' if number > 1 else ''}{file.suffix}")).exists():
        number += 1
    aside = copy.with_name(f".{copy.name}.part")
    aside.unlink(missing_ok=True)
    with closing(sqlite3.connect(file)) as old, closing(sqlite3.connect(aside)) as new:
        old.backup(new)
    with aside.open("rb") as written:
        os.fsync(written.fileno())
    aside.replace(copy)


def _take_box(connection: Connection, identity: str) -> None:
    """The box has its row, and no other program writes for it before this transaction ends."""
    own = select(boxes.c.name).where(boxes.c.identity == identity).with_for_update()
    if connection.execute(own).first() is None:
        taken = set(connection.execute(select(boxes.c.name)).scalars())
        connection.execute(insert(boxes).values(identity=identity, name=box_name(identity, taken)))


def _put_one(connection: Connection, box: str, record: Record, pulled_at: str) -> bool:
    """True if it is new."""
    own = text_of(record)
    there = connection.execute(
        select(entries.c.id, entries.c.again, entries.c.digest, entries.c.record)
        .where(entries.c.box == box, entries.c.n == record["n"])
        .order_by(entries.c.again)
    ).all()
    name, title, negative, paper = card_of(record)
    columns = {
        "digest": digest_of(own),
        "at": record["at"],
        "kind": record["kind"],
        "name": name,
        "title": title,
        "negative": negative,
        "paper": paper,
        "whole": record["whole"],
        "record": own,
    }
    said = json.loads(own)
    # First the one of the same content. It may be damaged, and is mended so.
    for row in sorted(there, key=lambda row: row.digest != columns["digest"]):
        is_same = row.digest == columns["digest"]
        if is_same and row.record == own:
            return False
        known = _json(row.record)
        if is_same or holds(said, known):
            connection.execute(update(entries).where(entries.c.id == row.id).values(columns))
            return False
        if holds(known, said):
            return False
    again = max((row.again for row in there), default=0) + 1
    connection.execute(
        insert(entries).values(box=box, n=record["n"], again=again, pulled_at=pulled_at, **columns)
    )
    return True


def _entries() -> Any:
    return select(entries, boxes.c.name.label("box_name")).join(boxes, boxes.c.identity == entries.c.box)


def _json(text: str) -> Any:
    """None for what is none."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None
