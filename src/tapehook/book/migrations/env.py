"""Alembic's entry: runs the steps on the connection it is handed, in the transaction that is open there."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    # SQLite too takes tables back with the transaction; Alembic must not commit by itself between steps.
    transactional_ddl=True,
)
context.run_migrations()
