"""Run by Alembic: bring the connection that the journal hands over to the newest tables."""

from alembic import context

from store.tables import Base

# SQLite cannot alter most of a table in place: batches rebuild it.
context.configure(
    connection=context.config.attributes["connection"], target_metadata=Base.metadata, render_as_batch=True
)
with context.begin_transaction():
    context.run_migrations()
