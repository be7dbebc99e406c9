"""A book joined to one on a server, or one of a server to a file: rows are read, compared and added portion by portion.

What one act wrote came over with it: where the act is new, so is all it wrote, and nothing of it need be compared.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Column, Connection, Table, select

from tapehook.book import tables
from tapehook.book.copying import portions
from tapehook.book.engine import add_rows
from tapehook.book.joined import LENS_COLUMNS, MANY_LENSES, Joined, refuse_damage


@dataclass
class _Copied:
    """What came over so far: records by table, acts, lenses that are new or of which something new is said, shelves."""

    added: dict[str, int] = field(default_factory=dict)
    entries: set[bytes] = field(default_factory=set)
    new: set[bytes] = field(default_factory=set)
    changed: set[bytes] = field(default_factory=set)
    shelves: set[bytes] = field(default_factory=set)

    def note(self, table: Table, names: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
        """Note rows that were added."""
        self.added[table.name] = self.added.get(table.name, 0) + len(rows)
        if table is tables.entry:
            self.entries.update(row[names.index("id")] for row in rows)
        if table is tables.lens:
            self.new.update(row[names.index("id")] for row in rows)
        if table is tables.version:
            kind, thing_id = names.index("kind"), names.index("thing_id")
            self.shelves.update(row[thing_id] for row in rows if row[kind] == "shelf")
        for at in (names.index(name) for name in LENS_COLUMNS if name in names):
            self.changed.update(row[at] for row in rows if row[at] is not None)


def join_streamed(source: Connection, target: Connection, name: str) -> Joined:
    """Add the records of the source, a book called ``name``, that the target has not; the words of many new lenses too.

    Raises BookRefusal for a record that says something else in each.
    """
    copied = _Copied()
    for table in tables.RECORDS:
        _copy(source, target, table, name, copied)
    lenses = copied.changed - copied.new
    if len(copied.new) < MANY_LENSES:
        return Joined(copied.added, lenses | copied.new, copied.shelves)
    for table in (tables.word, tables.word_near):
        for rows in portions(source, list(table.c)):
            add_rows(target, table, [column.name for column in table.c], rows, may_be_there=True)
    pairs = tables.lens_word
    for rows in portions(source, list(pairs.c)):
        own = [row for row in rows if row[1] in copied.new]
        add_rows(target, pairs, [column.name for column in pairs.c], own, may_be_there=False)
    return Joined(copied.added, lenses, copied.shelves)


def _copy(source: Connection, target: Connection, table: Table, name: str, copied: _Copied) -> None:
    key = list(table.primary_key.columns)
    # The key first, so that it is the start of each row.
    columns = key + [column for column in table.c if column.name not in table.primary_key.columns]
    names, width = [column.name for column in columns], len(key)
    at = names.index("entry_id") if "entry_id" in names else None
    for rows in portions(source, columns):
        fresh = [row for row in rows if at is not None and row[at] in copied.entries]
        known_acts = [row for row in rows if at is None or row[at] not in copied.entries]
        there = _there(target, columns, key, known_acts)
        for row in known_acts:
            kept = there.get(row[:width])
            if kept is None:
                fresh.append(row)
            elif kept != row:
                raise refuse_damage(name, table, row[width - 1])
        add_rows(target, table, names, fresh, may_be_there=False)
        copied.note(table, names, fresh)


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
