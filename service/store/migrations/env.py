"""Run by Alembic: migrates over the connection and inside the transaction that database.py opened."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
