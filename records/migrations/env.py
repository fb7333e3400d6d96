"""Alembic's entry: run on the connection and in the transaction of `records.migrate`."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
