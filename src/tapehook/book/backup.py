"""Backups of a live book, and bringing one back.

A backup is itself a book, a file of SQLite, whatever the engine: it can be opened, searched and merged. It holds the
book as it was at one moment while others go on writing.
"""

import os
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, delete, func, insert, inspect, select

from tapehook.book import tables
from tapehook.book.copying import copy_records
from tapehook.book.engine import APPLICATION_ID, WAIT_MS, bulk, engine_of, is_sqlite, raw_sqlite, transaction
from tapehook.book.ids import new_id
from tapehook.book.migrating import make_tables, revision_of
from tapehook.book.place import Place, data_folder, place_of
from tapehook.book.search import index_all
from tapehook.book.store import Book, drop_file, is_book_file, open_book, put_file
from tapehook.book.trouble import BookRefusal, in_words, refusal
from tapehook.finding import Finding

_PAGES = 4_096
_BEYOND = 1_000
"""Ids asked for at once."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: to which book, records by table in it now, and where the book before it was kept."""

    name: str
    records: Mapping[str, int]
    kept: Path | None


def backup(book: Book, target: Path) -> Path:
    """Write the book as it is now to a new file. Raises BookRefusal when there is one, or it cannot be written."""
    with in_words(str(target)):
        if os.path.lexists(target):
            raise refusal(str(target), "there is a file of this name already; it was left as it is", "a new file")
        return _backup(book.engine, book.place, target)


def backup_before(engine: Engine, place: Place, what: str) -> Path:
    """Back a book up beside itself, or in the data folder for one on a server, before something is done to it."""
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
    if place.path is not None:
        target = place.path.with_name(f"{place.path.name}.before-{what}.{stamp}.backup")
    else:
        name = place.url.database if place.url is not None and place.url.database else "book"
        target = data_folder() / "backups" / f"{Path(name).name}.before-{what}.{stamp}.backup"
    with in_words(str(target)):
        return _backup(engine, place, target)


def _backup(engine: Engine, place: Place, target: Path) -> Path:
    """The copy, made aside and put in its place whole."""
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.{new_id().hex()[-12:]}.part")
    try:
        if place.path is not None:
            _copy_file(place.path, part)
        else:
            with transaction(engine, place.name, writes=False) as source:
                _copy_to_file(source, part, place.name)
        put_file(part, target)
    finally:
        drop_file(part)
    return target


def _copy_file(path: Path, part: Path) -> None:
    """Copy a file that others may be writing, by SQLite's own way of doing so."""
    part.touch(exist_ok=False)
    # Whoever may only read cannot tidy up the companions of the file on leaving.
    mode = "rw" if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK) else "ro"
    source = sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=WAIT_MS / 1e3)
    copy = sqlite3.connect(part)
    try:
        source.backup(copy, pages=_PAGES)
        # A backup has no companions: what it says is in the one file.
        copy.execute("PRAGMA journal_mode=DELETE").fetchone()
    finally:
        copy.close()
        source.close()


def _copy_to_file(source: Connection, part: Path, name: str) -> None:
    """Copy a book on a server into a file, table by table."""
    part.touch(exist_ok=False)
    engine = engine_of(Place(part, None))
    try:
        with transaction(engine, str(part), writes=True) as target:
            target.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
            make_tables(target, str(part), revision_of(source, name))
            bulk(target)
            target.execute(insert(tables.book), [dict(row) for row in source.execute(select(tables.book)).mappings()])
            copy_records(source, target)
            if inspect(target).has_table(tables.word.name):
                index_all(target)
    finally:
        engine.dispose()
    alone = sqlite3.connect(part)
    try:
        alone.execute("PRAGMA journal_mode=DELETE").fetchone()
    finally:
        alone.close()


def beyond(book: Book, other: Book) -> dict[str, int]:
    """How many records of each table ``book`` has that ``other`` has not."""
    counts: dict[str, int] = {}
    with book.reading() as ours, other.reading() as theirs:
        for table in tables.RECORDS:
            key = list(table.primary_key.columns)
            known = {tuple(row) for row in theirs.execute(select(*key))}
            count = sum(
                tuple(row) not in known for row in ours.execute(select(*key).execution_options(yield_per=_BEYOND))
            )
            if count:
                counts[table.name] = count
    return counts


def restore(book: Book, source: Path, *, drop: bool = False) -> Restored:
    """Put a backup in the place of what the book says, once it was checked; the book before it is kept in a file.

    Raises BookRefusal, with nothing changed: for a backup that is damaged, foreign or newer, and for one that lacks
    records the book has, unless ``drop`` was said.
    """
    from tapehook.book.checking import check

    with open_book(str(source), may_migrate=False) as backed_up:
        _refuse_faults(source, check(backed_up).faults)
        lost = beyond(book, backed_up)
        if lost and not drop:
            said = (
                f"the book has what this backup has not ({tables.counted(lost)}). To have both, merge the backup "
                "instead; to give them up, say --drop"
            )
            raise refusal(book.name, said, "a backup with all the book has")
        if book.read_only:
            raise refusal(book.name, f"{book.read_only}: nothing was restored")
        kept = backup_before(book.engine, book.place, "restore")
        with in_words(book.name):
            _replace(book, backed_up)
        return Restored(book.name, _counts(book), kept)


def restore_at(where: str | None, source: Path, *, drop: bool = False) -> Restored:
    """Restore into the place named, also where its book is gone or damaged; a damaged one is kept beside.

    Raises BookRefusal as ``restore`` does; and for a damaged book unless ``drop`` was said, as what it had beyond the
    backup cannot be told any more.
    """
    place = place_of(where)
    if place.path is None or is_sound_enough(place):
        with open_book(where, may_migrate=False) as book:
            return restore(book, source, drop=drop)
    with in_words(place.name):
        return _restore_file(where, place.path, source, drop=drop)


def is_sound_enough(place: Place) -> bool:
    """True for a book in a file that can be opened and read through. Raises BookRefusal for a file that is no book."""
    if not place.exists or place.path is None:
        return False
    try:
        with open_book(str(place.path), may_migrate=False) as book, book.reading() as connection:
            return connection.exec_driver_sql("PRAGMA quick_check").scalars().all() == ["ok"]
    except BookRefusal:
        if not is_book_file(place.path):
            raise
        return False


def _restore_file(where: str | None, path: Path, source: Path, *, drop: bool) -> Restored:
    """A backup as the book, where there is none or a damaged one."""
    there = os.path.lexists(path)
    if there and not drop:
        said = (
            "the book is damaged, so what it has beyond the backup cannot be told. To put the backup in its place, say "
            "--drop; the damaged file is kept beside it"
        )
        raise refusal(str(path), said, "--drop, once you know what the backup has")
    _checked(source)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{new_id().hex()[-12:]}.part")
    kept = None
    try:
        _copy_file(source, part)
        if there:
            stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
            kept = path.with_name(f"{path.name}.damaged.{stamp}")
            for ending in ("-wal", "-shm", ""):
                if os.path.lexists(f"{path}{ending}"):
                    Path(f"{path}{ending}").rename(f"{kept}{ending}")
        put_file(part, path)
    finally:
        drop_file(part)
    with open_book(where, may_migrate=False) as book:
        return Restored(book.name, _counts(book), kept)


def _checked(source: Path) -> None:
    """Raises BookRefusal for a backup that is damaged, foreign or newer."""
    from tapehook.book.checking import check

    with open_book(str(source), may_migrate=False) as backed_up:
        _refuse_faults(source, check(backed_up).faults)


def _refuse_faults(source: Path, faults: Sequence[Finding]) -> None:
    if faults:
        raise refusal(str(source), f"this backup is damaged ({faults[0].message}); the book was left as it is")


def _counts(book: Book) -> dict[str, int]:
    with book.reading() as connection:
        return {table.name: connection.scalar(select(func.count()).select_from(table)) or 0 for table in tables.RECORDS}


def _replace(book: Book, backed_up: Book) -> None:
    """All of the backup in place of all of the book, in one transaction."""
    if book.place.path is not None:
        with backed_up.reading() as source, book.engine.connect() as target:
            # SQLite's backup writes into the book as one transaction that others wait for.
            raw_sqlite(source).backup(raw_sqlite(target))
            target.exec_driver_sql("PRAGMA journal_mode=WAL")
        return
    with backed_up.reading() as source, transaction(book.engine, book.name, writes=True) as target:
        assert not is_sqlite(target)  # noqa: S101 - the other case is above
        names = ", ".join(table.name for table in (*tables.RECORDS, *tables.DERIVED))
        target.exec_driver_sql(f"TRUNCATE {names}")
        target.execute(delete(tables.book))
        target.execute(insert(tables.book), [dict(row) for row in source.execute(select(tables.book)).mappings()])
        copy_records(source, target)
        index_all(target)
