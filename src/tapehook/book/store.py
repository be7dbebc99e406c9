"""Opening a book, making a new one, and the transactions on it."""

import getpass
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Self

from sqlalchemy import Connection, Engine, insert, select

from tapehook.book import tables
from tapehook.book.engine import APPLICATION_ID, MAGIC, engine_of, transaction
from tapehook.book.ids import moment, new_id
from tapehook.book.migrating import HEAD, make_tables, migrate, revision_of
from tapehook.book.place import Place, place_of
from tapehook.book.trouble import BookRefusal, in_words, refusal


@dataclass(frozen=True, slots=True)
class Writer:
    """Who writes, and what is known of the moment that is written down.

    ``measured_at`` is when it was measured, None for "not said"; ``body`` the camera body the lens was on and
    ``temperature_c`` that of the lenses, where a row does not say; ``source`` where it comes from, such as a folder.
    """

    who: str
    source: str = ""
    measured_at: datetime | None = None
    body: str | None = None
    temperature_c: float | None = None
    note: str | None = None


def person() -> str:
    """The name this machine knows the person by."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "not said"


@dataclass
class Writing:
    """A transaction that writes. Its entry is made with the first record, so that writing nothing leaves nothing."""

    connection: Connection
    book_id: bytes
    by: Writer
    touched: set[bytes] = field(default_factory=set)
    """Lenses of which something was written: the words they are found by are made anew at the end."""
    shelves: set[bytes] = field(default_factory=set)
    """Shelves that were written, likewise."""
    _entry_id: bytes | None = field(default=None, init=False)

    @property
    def entry_id(self) -> bytes:
        """The id of the entry that all records of this transaction name."""
        if self._entry_id is None:
            self._entry_id = new_id()
            row = {
                "id": self._entry_id,
                "made_in": self.book_id,
                "who": self.by.who,
                "written_at": moment(),
                "measured_at": moment(self.by.measured_at) if self.by.measured_at else None,
                "body": self.by.body,
                "temperature_c": self.by.temperature_c,
                "source": self.by.source,
                "note": self.by.note,
            }
            self.connection.execute(insert(tables.entry), row)
        return self._entry_id


def _index(writing: Writing) -> None:
    """Make anew the words of the lenses of which something was written."""
    from tapehook.book.search import index_lenses, shelf_changed

    if writing.touched:
        index_lenses(writing.connection, writing.touched)
    if writing.shelves:
        shelf_changed(writing.connection, writing.shelves)


@dataclass
class Book:
    """An open book. ``read_only`` says why it cannot be written, empty when it can.

    ``way`` is how its file was opened, as for ``engine_of``.
    """

    place: Place
    engine: Engine
    id: bytes
    read_only: str = ""
    way: str = ""

    @property
    def name(self) -> str:
        """Where the book is, as it is shown."""
        return self.place.name

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that reads: the book as it is at one moment. Raises BookRefusal."""
        with transaction(self.engine, self.name, writes=False) as connection:
            yield connection

    @contextmanager
    def writing(self, by: Writer) -> Iterator[Writing]:
        """A transaction that writes: all of it or nothing, and nobody else writes meanwhile. Raises BookRefusal."""
        if self.read_only:
            raise refusal(self.name, f"{self.read_only}: the book was opened for reading only, and nothing was written")
        with transaction(self.engine, self.name, writes=True) as connection:
            writing = Writing(connection, self.id, by)
            yield writing
            _index(writing)

    def close(self) -> None:
        """Give back what is open."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def new_book(where: str | None = None) -> Book:
    """Make a book, empty, and open it. Raises BookRefusal when there is something in that place."""
    place = place_of(where)
    if place.path is not None:
        with in_words(place.name):
            _new_file(place, place.path)
    else:
        engine = engine_of(place)
        try:
            with transaction(engine, place.name, writes=True) as connection:
                make_tables(connection, place.name)
                _say_which(connection)
        finally:
            engine.dispose()
    return open_book(where)


def _new_file(place: Place, path: Path) -> None:
    """The file, made aside and put in its place whole."""
    if place.exists:
        raise refusal(place.name, "there is a file of this name already; it was left as it is")
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{new_id().hex()[-12:]}.part")
    try:
        part.touch(exist_ok=False)
        engine = engine_of(Place(part, None))
        try:
            with transaction(engine, place.name, writes=True) as connection:
                connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
                make_tables(connection, place.name)
                _say_which(connection)
            with engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            engine.dispose()
        put_file(part, path)
    finally:
        drop_file(part)


def put_file(part: Path, target: Path) -> None:
    """Give a finished file its name, its bytes on the disk first. Raises BookRefusal when there is one of that name."""
    with part.open("rb") as stream:
        os.fsync(stream.fileno())
    said = "there is a file of this name already; it was left as it is"
    try:
        os.link(part, target)  # fails, rather than replaces, when somebody else was quicker
    except FileExistsError:
        raise refusal(str(target), said, "a new file") from None
    except OSError:  # a file system without links
        if os.path.lexists(target):
            raise refusal(str(target), said, "a new file") from None
        part.rename(target)


def drop_file(part: Path) -> None:
    """Remove a file of the database with its companions, as far as they are there."""
    for ending in ("", "-wal", "-shm", "-journal"):
        with suppress(OSError):
            part.with_name(part.name + ending).unlink(missing_ok=True)


def _say_which(connection: Connection) -> None:
    connection.execute(
        insert(tables.book),
        [{"key": "id", "value": new_id().hex()}, {"key": "made_at", "value": moment()}],
    )


def open_book(where: str | None = None, *, may_migrate: bool = True) -> Book:
    """Open a book. One older than the program is backed up and brought up to date (``may_migrate``).

    A file that cannot be written is opened for reading only. Raises BookRefusal, with words, when there is none, when
    it is damaged, foreign, or newer than the program.
    """
    place = place_of(where)
    # Whoever may not bring a book up to date looks at one that should be there, such as a backup.
    read_only = _check_file(place, place.path, may_be_made=may_migrate) if place.path is not None else ""
    last: BookRefusal | None = None
    for way in ("", "ro", "immutable"):
        if (way == "" and read_only) or (way == "immutable" and _has_wal(place)) or (way and place.path is None):
            continue
        engine = engine_of(place, read_only=way)
        try:
            said = read_only or (way and str(last.problems[0].said if last else ""))
            return _opened(place, engine, said, way, may_migrate)
        except BookRefusal as found:
            engine.dispose()
            last = last or found
            if not _may_help(found):
                raise
    raise last or refusal(place.name, "the book cannot be opened")


def _may_help(found: BookRefusal) -> bool:
    """True when the file may still be read, though not in this way."""
    code = getattr(getattr(found.__cause__, "orig", None), "sqlite_errorname", "") or ""
    return code.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_FULL", "SQLITE_IOERR"))


def _has_wal(place: Place) -> bool:
    """True when beside the file lies what was written last: without it the file alone is old."""
    if place.path is None:
        return False
    wal = place.path.with_name(place.path.name + "-wal")
    return wal.exists() and wal.stat().st_size > 0


def _opened(place: Place, engine: Engine, read_only: str, way: str, may_migrate: bool) -> Book:  # noqa: FBT001 - private
    with transaction(engine, place.name, writes=False) as connection:
        revision = revision_of(connection, place.name)
    if revision != HEAD:
        if read_only or not may_migrate:
            said = (
                "it was made by an older version of this program and must be brought up to date before it can be read"
            )
            raise refusal(place.name, said)
        migrate(engine, place)
    with transaction(engine, place.name, writes=False) as connection:
        found = connection.execute(select(tables.book.c.value).where(tables.book.c.key == "id")).scalar_one()
    return Book(place, engine, bytes.fromhex(found), read_only, way)


def _check_file(place: Place, path: Path, *, may_be_made: bool) -> str:
    """Why the file can be read only, empty when it can be written. Raises BookRefusal for what is no book."""
    try:
        with path.open("rb") as stream:
            head = stream.read(100)
            status = os.fstat(stream.fileno())
    except FileNotFoundError:
        hint = f". Make one: tapehook book new --book '{path}'" if may_be_made else ""
        raise refusal(place.name, f"there is no book here{hint}") from None
    except (OSError, ValueError) as trouble:
        reason = trouble.strerror if isinstance(trouble, OSError) else "no name a file can have"
        raise refusal(place.name, f"the file cannot be opened ({reason})") from None
    if not stat.S_ISREG(status.st_mode) or not head.startswith(MAGIC) or len(head) < 100:
        raise refusal(place.name, "this file is no book. Nothing was changed in it")
    if int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        raise refusal(
            place.name, "this file is the database of another program, and no book. Nothing was changed in it"
        )
    _check_length(place, head, status.st_size)
    if not os.access(path, os.W_OK):
        return "the file may only be read"
    return "" if os.access(path.parent, os.W_OK) else "the folder of the file may only be read"


def is_book_file(path: Path) -> bool:
    """True for a file that began as a book, however damaged it is by now; also for one that lost all it had."""
    try:
        with path.open("rb") as stream:
            head = stream.read(100)
    except (OSError, ValueError):
        return False
    return not head or (head.startswith(MAGIC) and int.from_bytes(head[68:72], "big") == APPLICATION_ID)


def _check_length(place: Place, head: bytes, size: int) -> None:
    """A file cut short is told at once, before anything is read from it."""
    page = int.from_bytes(head[16:18], "big")
    page = 65_536 if page == 1 else page
    pages = int.from_bytes(head[28:32], "big")
    if size < page * pages and not _has_wal(place):
        said = (
            f"the file is cut short: it has {size:,} bytes of {page * pages:,}. Leave it as it is and bring back a "
            "backup: tapehook book restore"
        )
        raise refusal(place.name, said)
