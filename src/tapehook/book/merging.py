"""Two books become one: the records of another are added to ours, and nothing of ours changes.

A union of sets of records: merging twice adds nothing, and the order of merges does not matter. One record with two
contents can come from a damaged book only; then nothing at all is added.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from sqlalchemy import Column, Connection, Table, inspect, select

from tapehook.book import tables
from tapehook.book.conflicts import Conflict, conflicts
from tapehook.book.engine import add_rows, bulk
from tapehook.book.search import index_lenses, shelf_changed
from tapehook.book.store import Book, Writer
from tapehook.book.trouble import refusal

CHUNK = 20_000
MANY_LENSES = 2_000
"""From so many new lenses on their words are copied from the other book, rather than worked out once more."""

_LENS_COLUMNS = ("lens_id", "one_id", "other_id")


@dataclass(frozen=True, slots=True)
class Merged:
    """How many records of each table were added, and the conflicts that stand in the book now."""

    added: Mapping[str, int]
    conflicts: tuple[Conflict, ...]

    @property
    def total(self) -> int:
        """All records added."""
        return sum(self.added.values())


@dataclass
class Copied:
    """What came over: records by table, acts, lenses that are new or of which something new is said, and shelves."""

    added: dict[str, int] = field(default_factory=dict)
    entries: set[bytes] = field(default_factory=set)
    lenses: set[bytes] = field(default_factory=set)
    changed: set[bytes] = field(default_factory=set)
    shelves: set[bytes] = field(default_factory=set)

    def note(self, table: Table, names: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
        """Note rows that were added."""
        self.added[table.name] = self.added.get(table.name, 0) + len(rows)
        if table is tables.entry:
            self.entries.update(row[names.index("id")] for row in rows)
        if table is tables.lens:
            self.lenses.update(row[names.index("id")] for row in rows)
        if table is tables.version:
            kind, thing_id = names.index("kind"), names.index("thing_id")
            self.shelves.update(row[thing_id] for row in rows if row[kind] == "shelf")
        for at in (names.index(name) for name in _LENS_COLUMNS if name in names):
            self.changed.update(row[at] for row in rows if row[at] is not None)


def merge(ours: Book, other: Book, by: Writer) -> Merged:
    """Add to ``ours`` what ``other`` has and it has not, in one transaction; ``other`` is only read.

    Raises BookRefusal, with nothing changed: a book and itself, and one record that says two things.
    """
    if ours.place == other.place:
        raise refusal(other.name, "this is the same book; there is nothing to merge", "another book")
    with other.reading() as source, ours.writing(by) as writing:
        target = writing.connection
        bulk(target)
        bulk(source)
        copied = copy_records(source, target, other.name)
        _index(source, target, copied)
        added = {table.name: copied.added.get(table.name, 0) for table in tables.RECORDS}
        return Merged(added, tuple(conflicts(target)))


def copy_records(source: Connection, target: Connection, name: str) -> Copied:
    """Add all records of one database that another lacks.

    The source may be of an older step: columns it has not are left empty. Raises BookRefusal for a record that says
    something else in each.
    """
    copied = Copied()
    there = set(inspect(source).get_table_names())
    for table in tables.RECORDS:
        if table.name in there:
            _copy(source, target, table, name, copied)
    return copied


def _copy(source: Connection, target: Connection, table: Table, name: str, copied: Copied) -> None:
    known = {column["name"] for column in inspect(source).get_columns(table.name)}
    key = list(table.primary_key.columns)
    # The key first, so that it is the start of each row.
    columns = key + [column for column in table.c if column.name in known and column not in set(key)]
    names, width = [column.name for column in columns], len(key)
    at = names.index("entry_id") if "entry_id" in names else None
    for rows in _chunks(source, columns, key):
        # What one act wrote came over with it: where the act is new, so is all it wrote.
        fresh = [row for row in rows if at is not None and row[at] in copied.entries]
        known_acts = [row for row in rows if at is None or row[at] not in copied.entries]
        there = _there(target, columns, key, known_acts)
        for row in known_acts:
            kept = there.get(row[:width])
            if kept is None:
                fresh.append(row)
            elif kept != row:
                said = f"a record ({table.name} {row[width - 1].hex()}) says something else there than here"
                raise refusal(name, f"{said}: one of the books is damaged. Nothing was merged; try book check on both")
        add_rows(target, table, names, fresh, may_be_there=False)
        copied.note(table, names, fresh)


def _chunks(
    source: Connection, columns: Sequence[Column[Any]], key: Sequence[Column[Any]]
) -> Iterator[list[tuple[Any, ...]]]:
    """The rows of a table in order of their keys, some thousands at a time."""
    chosen = select(*columns).order_by(*key).execution_options(yield_per=CHUNK)
    rows = iter(source.execute(chosen))
    while some := [tuple(row) for row in islice(rows, CHUNK)]:
        yield some


def _there(
    target: Connection, columns: Sequence[Column[Any]], key: Sequence[Column[Any]], rows: Sequence[tuple[Any, ...]]
) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    """What the target has of these rows, by key: all between the first and the last, read in one go."""
    if not rows:
        return {}
    lead, width = key[0], len(key)
    wanted = {row[:width] for row in rows}
    found = target.execute(select(*columns).where(lead >= rows[0][0], lead <= rows[-1][0]))
    return {row[:width]: row for row in map(tuple, found) if row[:width] in wanted}


def _index(source: Connection, target: Connection, copied: Copied) -> None:
    """The words of the lenses that are new, and of those of which something new is said."""
    changed = copied.changed - copied.lenses
    if len(copied.lenses) < MANY_LENSES:
        changed |= copied.lenses
    else:
        for table in (tables.word, tables.word_near):
            for rows in _chunks(source, list(table.c), list(table.primary_key.columns)):
                add_rows(target, table, [column.name for column in table.c], rows, may_be_there=True)
        pairs = tables.lens_word
        for rows in _chunks(source, list(pairs.c), list(pairs.primary_key.columns)):
            own = [row for row in rows if row[1] in copied.lenses]
            add_rows(target, pairs, [column.name for column in pairs.c], own, may_be_there=False)
    index_lenses(target, changed)
    if copied.shelves:
        shelf_changed(target, copied.shelves)
