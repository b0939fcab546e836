"""Run by Alembic. The connection comes from `station.records.migrate`; there is no ini file."""

from alembic import context

from station.records.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    # SQLite can't alter a constraint: Alembic makes the table anew and copies.
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
