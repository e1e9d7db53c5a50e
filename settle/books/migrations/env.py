"""Run by Alembic: migrate over the connection, and in the transaction, that `upgrade` gives."""

from alembic import context

from settle.books.tables import metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, render_as_batch=True
)
with context.begin_transaction():
    context.run_migrations()
