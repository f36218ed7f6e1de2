"""Alembic's entry: runs the revisions on the connection that stores/journal.py hands in."""

from alembic import context

from staddle.stores.schema import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, transactional_ddl=True)
context.run_migrations()
