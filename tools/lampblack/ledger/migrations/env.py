"""Run by Alembic: takes the schema forward on the connection that the ledger's home hands it."""

from alembic import context

from lampblack.ledger.schema import VERSION_TABLE

context.configure(connection=context.config.attributes["connection"], version_table=VERSION_TABLE)
with context.begin_transaction():
    context.run_migrations()
