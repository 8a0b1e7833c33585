"""Boxes, and the entries that came from them."""

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "ledger_boxes",
        sa.Column("identity", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False, unique=True),
    )
    op.create_table(
        "ledger_entries",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("box", sa.Text, sa.ForeignKey("ledger_boxes.identity"), nullable=False),
        sa.Column("n", sa.BigInteger, nullable=False),
        sa.Column("again", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("at", sa.String(20)),
        sa.Column("pulled_at", sa.String(20), nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("negative", sa.Text, nullable=False),
        sa.Column("paper", sa.Text, nullable=False),
        sa.Column("whole", sa.Boolean, nullable=False),
        sa.Column("record", sa.Text, nullable=False),
        sa.UniqueConstraint("box", "n", "again", name="ledger_entries_name"),
        sa.UniqueConstraint("box", "n", "digest", name="ledger_entries_content"),
    )
