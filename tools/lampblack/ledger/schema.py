"""The tables of the ledger's home, as they are today.

What must live here: tables and the version of them. How an older database becomes such a one is in
`migrations`, a file a version; a test holds the two together.
"""

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    func,
)

VERSION = 1
"""The newest of the migrations."""
VERSION_TABLE = "ledger_version"

metadata = MetaData()

boxes = Table(
    "ledger_boxes",
    metadata,
    Column("identity", Text, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
)
entries = Table(
    "ledger_entries",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("box", Text, ForeignKey("ledger_boxes.identity"), nullable=False),
    Column("n", BigInteger, nullable=False),
    Column("again", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
    Column("at", String(20)),
    Column("pulled_at", String(20), nullable=False),
    Column("kind", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("title", Text, nullable=False),
    Column("negative", Text, nullable=False),
    Column("paper", Text, nullable=False),
    Column("whole", Boolean, nullable=False),
    Column("record", Text, nullable=False),
    UniqueConstraint("box", "n", "again", name="ledger_entries_name"),
    UniqueConstraint("box", "n", "digest", name="ledger_entries_content"),
)
"""Moments are ISO 8601 in UTC, which sorts as text. `record` is the whole record as canonical JSON; the
columns beside it are for finding it."""

moment = func.coalesce(entries.c.at, entries.c.pulled_at)
"""When it ended, as far as is known."""
