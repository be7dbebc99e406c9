"""Two books become one: the records of another are added to ours, and nothing of ours changes.

A union of sets of records: merging twice adds nothing, and the order of merges does not matter. One record with two
contents can come from a damaged book only; then nothing at all is added.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from tapehook.book import tables
from tapehook.book.attached import join_attached
from tapehook.book.conflicts import Conflict, conflicts
from tapehook.book.engine import bulk, is_sqlite
from tapehook.book.search import index_lenses, shelf_changed
from tapehook.book.store import Book, Writer
from tapehook.book.streamed import join_streamed
from tapehook.book.trouble import refusal


@dataclass(frozen=True, slots=True)
class Merged:
    """How many records of each table were added, and the conflicts that stand in the book now."""

    added: Mapping[str, int]
    conflicts: tuple[Conflict, ...]

    @property
    def total(self) -> int:
        """All records added."""
        return sum(self.added.values())


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
        files = is_sqlite(target) and is_sqlite(source)
        joined = join_attached(target, other) if files else join_streamed(source, target, other.name)
        index_lenses(target, joined.lenses)
        if joined.shelves:
            shelf_changed(target, joined.shelves)
        added = {table.name: joined.added.get(table.name, 0) for table in tables.RECORDS}
        return Merged(added, tuple(conflicts(target)))
