"""Bringing the tables of a book up to date: made by Alembic's steps, backed up before, all or nothing."""

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from tapehook.book.engine import is_sqlite, transaction
from tapehook.book.place import Place
from tapehook.book.trouble import refusal

if TYPE_CHECKING:
    from alembic.config import Config

REVISIONS = ("0001", "0002", "0003")
"""All steps, oldest first; a test holds them against the modules."""
HEAD = REVISIONS[-1]


def _config(connection: Connection) -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def make_tables(connection: Connection, name: str, revision: str = HEAD) -> None:
    """Make the tables in an empty database, in the transaction that is open. Raises BookRefusal when there are any."""
    if inspect(connection).get_table_names():
        raise refusal(name, "there are tables in this database already; they were left as they are")
    upgrade(connection, revision)


def upgrade(connection: Connection, revision: str = HEAD) -> None:
    """Run the steps that are missing, in the transaction that is open."""
    from alembic import command

    command.upgrade(_config(connection), revision)


def revision_of(connection: Connection, name: str) -> str:
    """The step the book's tables are at. Raises BookRefusal for no book, and for a book newer than the program."""
    if not inspect(connection).has_table("alembic_version"):
        made = "tapehook book new makes one" if not is_sqlite(connection) else "nothing was changed in it"
        raise refusal(name, f"there is no book in this database; {made}")
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalars().all()
    if len(found) != 1 or found[0] not in REVISIONS:
        said = (
            "the book was written by a newer version of this program. Nothing was changed in it; "
            "bring the program up to date"
        )
        raise refusal(name, said)
    return str(found[0])


def migrate(engine: Engine, place: Place) -> Path | None:
    """Back an older book up, then bring it up to date; both or neither. The path of the backup.

    Another process may have been quicker: then there is nothing left to do, and None comes back. Raises BookRefusal.
    """
    from tapehook.book.backup import backup_before
    from tapehook.book.search import index_all

    with transaction(engine, place.name, writes=True) as connection:
        old = revision_of(connection, place.name)
        if old == HEAD:
            return None
        kept = backup_before(engine, place, f"step-{old}")
        upgrade(connection)
        if old == REVISIONS[0]:
            index_all(connection)  # the words came with the second step
    return kept
