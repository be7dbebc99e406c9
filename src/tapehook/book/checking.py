"""Is the book sound? Its file, its rows among each other, its hashes, and what is derived from it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from sqlalchemy import Connection, exists, func, select

from tapehook.book import tables
from tapehook.book.conflicts import Conflict, conflicts
from tapehook.book.engine import is_sqlite, transaction
from tapehook.book.jobs import JobDocument
from tapehook.book.lenses import lens_id_of
from tapehook.book.maps import forget_maps, unsealed
from tapehook.book.measuring import bench_fingerprint, fingerprint_of
from tapehook.book.search import all_words, index_all, word_id
from tapehook.book.store import Book
from tapehook.book.trouble import refusal
from tapehook.book.versions import newest, parts, version_digest
from tapehook.finding import Finding

_BATCH = 5_000
_MOST_NAMED = 5

_REFERENCES = (
    (tables.measurement, "entry_id", tables.entry),
    (tables.measurement, "lens_id", tables.lens),
    (tables.measurement, "job_id", tables.job),
    (tables.correction, "entry_id", tables.entry),
    (tables.correction, "lens_id", tables.lens),
    (tables.same_lens, "one_id", tables.lens),
    (tables.same_lens, "other_id", tables.lens),
    (tables.version, "entry_id", tables.entry),
    (tables.version, "lens_id", tables.lens),
    (tables.version, "job_id", tables.job),
    (tables.version_parent, "parent_id", tables.version),
    (tables.version_parent, "version_id", tables.version),
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found: faults, conflicts that wait for a person, and how many records there are by table."""

    faults: tuple[Finding, ...]
    conflicts: tuple[Conflict, ...]
    records: dict[str, int]


def check(book: Book) -> Checked:
    """Look the whole book over; nothing is changed. Raises BookRefusal where it cannot even be read."""
    with book.reading() as connection:
        checks: list[Callable[[Connection], Iterator[Finding]]] = [
            _file,
            _orphans,
            _measurements,
            _corrections,
            _versions,
            _documents,
            _lenses,
            _words,
            _maps,
        ]
        faults = [finding for one in checks for finding in one(connection)]
        records = {
            table.name: connection.scalar(select(func.count()).select_from(table)) or 0 for table in tables.RECORDS
        }
        return Checked(tuple(faults), tuple(conflicts(connection)), records)


def _fault(code: str, message: str, next_step: str = "") -> Finding:
    step = next_step or "Leave the book as it is and bring back a backup: tapehook book restore."
    return Finding(f"book.{code}", "fix", "book", message, step)


def _file(connection: Connection) -> Iterator[Finding]:
    """What the engine itself says of its file."""
    if is_sqlite(connection):
        found = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
        if list(found) != ["ok"]:
            yield _fault("file", f"The file is damaged: {found[0]}.")


def _orphans(connection: Connection) -> Iterator[Finding]:
    """Rows that name a row that is not there."""
    for table, name, other in _REFERENCES:
        column = table.c[name]
        there = exists().where(other.c.id == column)
        count = connection.scalar(select(func.count()).select_from(table).where(column.is_not(None), ~there)) or 0
        if count:
            yield _fault("orphan", f"{count} rows of {table.name} name rows of {other.name} that are not there.")


def _rows(connection: Connection, chosen: Any) -> Iterator[list[Any]]:  # noqa: ANN401 - any statement
    rows = iter(connection.execute(chosen.execution_options(yield_per=_BATCH)))
    while some := list(islice(rows, _BATCH)):
        yield some


def _measurements(connection: Connection) -> Iterator[Finding]:
    """Measurements whose content is not what their fingerprint was made of."""
    wrong = []
    for rows in _rows(connection, select(tables.measurement)):
        for row in rows:
            if row.job_id is not None:
                true = fingerprint_of(row.job_id, row.row_id, row.kind, row.unit, row.data, row.ordinal)
            else:
                true = bench_fingerprint(row.id, row.kind, row.unit, row.data)
            if true != row.fingerprint:
                wrong.append(row.id)
    if wrong:
        yield _fault("fingerprint", f"{len(wrong)} measurements do not say what they said when written{_named(wrong)}.")


def _named(ids: list[bytes]) -> str:
    return f" ({', '.join(one.hex()[-8:] for one in ids[:_MOST_NAMED])})"


def _corrections(connection: Connection) -> Iterator[Finding]:
    """Corrections of measurements that are not there."""
    correction, measured = tables.correction, tables.measurement
    for column in (correction.c.old_id, correction.c.new_id):
        there = exists().where(measured.c.id == column, measured.c.lens_id == correction.c.lens_id)
        # The new one may belong to another lens, where a row of a folder turned out to be of that.
        if column is correction.c.new_id:
            there = exists().where(measured.c.id == column)
        where = (column.is_not(None), ~there)
        count = connection.scalar(select(func.count()).select_from(correction).where(*where)) or 0
        if count:
            yield _fault("orphan", f"{count} corrections name measurements that are not there.")


def _versions(connection: Connection) -> Iterator[Finding]:
    """Versions that do not say what their hash was made of."""
    import json

    wrong = []
    for rows in _rows(connection, select(tables.version)):
        wrong += [row.id for row in rows if version_digest(row.kind, json.loads(row.data), row.rows) != row.digest]
    if wrong:
        yield _fault("digest", f"{len(wrong)} versions do not say what they said when written{_named(wrong)}.")


def _documents(connection: Connection) -> Iterator[Finding]:
    """Jobs whose rows are not all in the book."""
    for found in newest(connection, tables.version.c.kind == "job").values():
        for version in found.versions:
            document = JobDocument.of(version)
            where = tables.measurement.c.job_id == version.job_id
            there = set(connection.execute(select(tables.measurement.c.fingerprint).where(where)).scalars())
            lost = sum(one not in there for listed in document.rows.values() for one in listed)
            if lost:
                yield _fault("document", f"{lost} measurements of a job are not in the book.")


def _lenses(connection: Connection) -> Iterator[Finding]:
    """Lenses whose id is not that of their model and serial."""
    wrong = []
    for rows in _rows(connection, select(tables.lens).where(tables.lens.c.serial.is_not(None))):
        wrong += [row.id for row in rows if lens_id_of(row.model, row.serial) != row.id]
    if wrong:
        yield _fault("lens", f"{len(wrong)} lenses have another serial than when they were written{_named(wrong)}.")


def _words(connection: Connection) -> Iterator[Finding]:
    """Words of the search that are not those the records give; the search can be made anew."""
    ids = sorted(connection.execute(select(tables.lens.c.id)).scalars())
    wrong = 0
    for start in range(0, len(ids), _BATCH):
        wanted = {
            (lens.id, word_id(word))
            for lens, words in all_words(connection, ids[start : start + _BATCH])
            if lens.id in set(ids[start : start + _BATCH])
            for word in words
        }
        pairs = tables.lens_word
        where = (pairs.c.lens_id >= ids[start], pairs.c.lens_id <= ids[min(start + _BATCH, len(ids)) - 1])
        there = {(row.lens_id, row.word_id) for row in connection.execute(select(pairs).where(*where))}
        wrong += len({lens_id for lens_id, _ in wanted ^ there})
    if wrong:
        step = "tapehook book check --mend makes the search anew; no record is touched."
        yield _fault("search", f"The search does not know {wrong} lenses as the records have them.", step)


def _maps(connection: Connection) -> Iterator[Finding]:
    """Maps kept that are not what their hash was made of, or of no lens; they can be worked out anew."""
    wrong = len(_damaged_maps(connection))
    if wrong:
        step = "tapehook book check --mend throws them away; no record is touched."
        yield _fault("map", f"{wrong} maps kept are not what was worked out.", step)


def _damaged_maps(connection: Connection) -> list[bytes]:
    cache, lens = tables.map_cache, tables.lens
    joined = cache.outerjoin(lens, cache.c.lens_id == lens.c.id)
    chosen = select(cache.c.lens_id, cache.c.data, lens.c.id.label("lens")).select_from(joined)
    return [
        row.lens_id
        for rows in _rows(connection, chosen)
        for row in rows
        if row.lens is None or unsealed(row.data) is None
    ]


def mend_derived(book: Book) -> None:
    """Make the search anew and throw damaged maps away; no record is touched. Raises BookRefusal."""
    if book.read_only:
        raise refusal(book.name, f"{book.read_only}: nothing was mended")
    with transaction(book.engine, book.name, writes=True) as connection:
        index_all(connection)
        for some in parts(_damaged_maps(connection)):
            forget_maps(connection, some)
