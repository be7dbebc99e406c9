"""Connections to SQLite and PostgreSQL that behave alike: one writer at a time, and nothing half written.

Whoever will write says so when the transaction begins. SQLite then takes its lock at once (``BEGIN IMMEDIATE``): the
driver's default takes it at the first write, and what was read before that may be old by then, in silence. PostgreSQL
takes one advisory lock, which does the same for the book as a whole. Whoever reads sees the book as it was at one
moment.
"""

import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, create_engine, event, text
from sqlalchemy.pool import QueuePool

from tapehook.book.place import Place
from tapehook.book.trouble import in_words, refusal

APPLICATION_ID = 0x7A70_B00C
"""In the header of the file, so that a book is told from any other database."""
MAGIC = b"SQLite format 3\0"
WAIT_MS = 30_000
"""How long a writer waits for another."""
_LOCK = 0x7A70_B00C
_FEW_ROWS = 1_000
"""So many rows are not worth a table of their own to begin with."""
_WRITES = "tapehook_writes"
_WAITS = "tapehook_waits"


def engine_of(place: Place, *, read_only: str = "") -> Engine:
    """The engine of a place; ``read_only`` is "", "ro" or "immutable" (SQLite's words, for a file nobody can write)."""
    return _postgresql(place) if place.url is not None else _sqlite(place, read_only)


def _sqlite(place: Place, read_only: str) -> Engine:
    path = str(place.path)

    def connect() -> sqlite3.Connection:
        if not read_only:
            uri = f"{_uri(path)}?mode=rw"
        else:
            uri = f"{_uri(path)}?mode=ro" + ("&immutable=1" if read_only == "immutable" else "")
        # Autocommit for the driver: transactions begin and end where we say, below.
        connection = sqlite3.connect(
            uri, uri=True, timeout=WAIT_MS / 1e3, isolation_level=None, check_same_thread=False
        )
        try:
            _prepare(connection, read_only=bool(read_only))
        except BaseException:
            connection.close()
            raise
        return connection

    engine = create_engine("sqlite+pysqlite://", creator=connect, poolclass=QueuePool)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _uri(path: str) -> str:
    return "file:" + Path(os.path.abspath(path)).as_posix().replace("%", "%25").replace("?", "%3f").replace("#", "%23")  # noqa: PTH100 - links are left as they are


def _prepare(connection: sqlite3.Connection, *, read_only: bool) -> None:
    for pragma in (f"busy_timeout={WAIT_MS}", "foreign_keys=ON", "cache_size=-65536", "temp_store=MEMORY"):
        connection.execute(f"PRAGMA {pragma}")
    if not read_only:
        connection.execute("PRAGMA journal_mode=WAL").fetchone()
        connection.execute("PRAGMA synchronous=FULL")


def _begin_sqlite(connection: Connection) -> None:
    if not _writes(connection):
        connection.exec_driver_sql("BEGIN")
        return
    raw = raw_sqlite(connection)
    if not _waits(connection):
        raw.execute("PRAGMA busy_timeout=0")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        if not _waits(connection):
            raw.execute(f"PRAGMA busy_timeout={WAIT_MS}")


def _writes(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get(_WRITES))


def _waits(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get(_WAITS, True))


_CONNECTING = {"connect_timeout": 10, "prepare_threshold": None}
"""Nothing is prepared: a plan made once for any number of values in a list is a bad one for most."""


def _postgresql(place: Place) -> Engine:
    assert place.url is not None  # noqa: S101 - a place is one or the other
    try:
        engine = create_engine(place.url, pool_pre_ping=True, connect_args=_CONNECTING)
    except ModuleNotFoundError:
        said = "a book on a server needs the driver psycopg: pip install 'tapehook[server]'"
        raise refusal(place.name, said) from None
    event.listen(engine, "begin", _begin_postgresql)
    return engine


def _begin_postgresql(connection: Connection) -> None:
    if _writes(connection):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {WAIT_MS if _waits(connection) else 1}")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


@contextmanager
def transaction(engine: Engine, name: str, *, writes: bool, waits: bool = True) -> Iterator[Connection]:
    """A transaction on the book called ``name``: committed at the end, taken back on any exception.

    One that writes ``waits`` for whoever else does, or is refused at once. What the database does wrong becomes a
    BookRefusal, in words.
    """
    options = {_WRITES: writes, _WAITS: waits}
    with in_words(name), engine.connect().execution_options(**options) as connection, connection.begin():
        yield connection


def is_sqlite(connection: Connection) -> bool:
    """True on SQLite."""
    return connection.dialect.name == "sqlite"


def bulk(connection: Connection) -> None:
    """Make a connection ready for very many rows: more memory for pages, or for what is sorted and joined."""
    if is_sqlite(connection):
        connection.execute(text("PRAGMA cache_size=-524288"))
    else:
        connection.execute(text("SET LOCAL work_mem = '256MB'"))


def raw_sqlite(connection: Connection) -> sqlite3.Connection:
    """The driver's connection beneath, for what only the driver can do."""
    found: Any = connection.connection.dbapi_connection
    assert isinstance(found, sqlite3.Connection)  # noqa: S101 - asked only where it is SQLite
    return found


def attach(connection: Connection, schema: str, place: Place, way: str) -> None:
    """Put another file beside the one of a connection of SQLite, to be read under the name ``schema``.

    ``way`` is how that file can be opened, as for ``engine_of``.
    """
    uri = f"{_uri(str(place.path))}?mode=ro" + ("&immutable=1" if way == "immutable" else "")
    connection.execute(text(f"ATTACH :uri AS {schema}"), {"uri": uri})


def insert_rows(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows, all with the same columns, none of which may be there."""
    if rows:
        names = list(rows[0])
        add_rows(connection, table, names, [tuple(row[name] for name in names) for row in rows], may_be_there=False)


def insert_new(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows, all with the same columns; those whose key is there already are left as they are."""
    if rows:
        names = list(rows[0])
        add_rows(connection, table, names, [tuple(row[name] for name in names) for row in rows], may_be_there=True)


def add_rows(
    connection: Connection, table: Table, names: Sequence[str], rows: Sequence[tuple[Any, ...]], *, may_be_there: bool
) -> None:
    """Insert very many rows by the quickest way of each engine: prepared statements of the driver, or COPY."""
    if not rows:
        return
    columns = ", ".join(f'"{name}"' for name in names)
    if is_sqlite(connection):
        marks = ", ".join("?" * len(names))
        way = "INSERT OR IGNORE" if may_be_there else "INSERT"
        raw_sqlite(connection).executemany(f"{way} INTO {table.name} ({columns}) VALUES ({marks})", rows)
        return
    into = f"new_{table.name}" if may_be_there else table.name
    driver: Any = connection.connection.dbapi_connection
    with driver.cursor() as cursor:
        if may_be_there and len(rows) < _FEW_ROWS:
            marks = ", ".join(["%s"] * len(names))
            cursor.executemany(
                f"INSERT INTO {table.name} ({columns}) VALUES ({marks}) ON CONFLICT DO NOTHING",  # noqa: S608 - as below
                rows,
            )
            return
        if may_be_there:
            cursor.execute(f"CREATE TEMP TABLE IF NOT EXISTS {into} (LIKE {table.name}) ON COMMIT DROP")
        with cursor.copy(f"COPY {into} ({columns}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        if may_be_there:
            # Only names of our own tables stand in it.
            cursor.execute(f"INSERT INTO {table.name} SELECT * FROM {into} ON CONFLICT DO NOTHING")  # noqa: S608
            cursor.execute(f"TRUNCATE {into}")
