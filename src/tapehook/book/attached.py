"""A file joined to a file: the other is attached, and the database compares and copies whole tables at a time."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    MetaData,
    Table,
    and_,
    exists,
    insert,
    literal,
    or_,
    select,
)
from sqlalchemy.sql.selectable import NamedFromClause

from tapehook.book import tables
from tapehook.book.engine import attach
from tapehook.book.joined import LENS_COLUMNS, MANY_LENSES, Joined, refuse_damage
from tapehook.book.store import Book

_SCHEMA = "theirs"


def join_attached(target: Connection, other: Book) -> Joined:
    """Add the records of ``other`` that the target has not, with the words of many new lenses.

    The connection serves nothing else afterwards. Raises BookRefusal for a record that says something else in each.
    """
    target.detach()  # what is attached or made here is gone when it closes, and so is the memory it was given
    attach(target, _SCHEMA, other.place, other.way)
    theirs = {table.name: _theirs(table) for table in (*tables.RECORDS, *tables.DERIVED)}
    _refuse_damage(target, theirs, other.name)
    known = _known_lenses(target, theirs["lens"])
    changed, shelves = _lenses_with_news(target, theirs, known), _shelves_with_news(target, theirs["version"])
    added = {table.name: _add(target, table, theirs[table.name]) for table in tables.RECORDS}
    lens, pairs = theirs["lens"], theirs["lens_word"]
    fresh = select(lens.c.id).where(_is_new(known, lens))
    if added["lens"] < MANY_LENSES:
        return Joined(added, changed | set(target.execute(fresh).scalars()), shelves)
    for words in (tables.word, tables.word_near):
        _add(target, words, theirs[words.name])
    own = select(pairs.c.word_id, pairs.c.lens_id).where(pairs.c.lens_id.in_(fresh))
    target.execute(insert(tables.lens_word).from_select(["word_id", "lens_id"], own))
    return Joined(added, changed, shelves)


def _theirs(table: Table) -> NamedFromClause:
    """The table of that name in the file attached, under a name of its own: one beside it is called the same."""
    columns = [Column(column.name, column.type, nullable=column.nullable) for column in table.c]
    return Table(table.name, MetaData(), *columns, schema=_SCHEMA).alias(f"their_{table.name}")


def _same_key(ours: Table, theirs: NamedFromClause) -> ColumnElement[bool]:
    return and_(*(column == theirs.c[column.name] for column in ours.primary_key.columns))


def _is_new(ours: Table, theirs: NamedFromClause) -> ColumnElement[bool]:
    """Rows of theirs whose key ours has not."""
    return ~exists(select(literal(1)).select_from(ours).where(_same_key(ours, theirs)).correlate(theirs))


def _refuse_damage(target: Connection, theirs: Mapping[str, NamedFromClause], name: str) -> None:
    """Raises BookRefusal for a record that says something else in each book."""
    for ours in tables.RECORDS:
        other, key = theirs[ours.name], list(ours.primary_key.columns)
        rest = [column for column in ours.c if column.name not in ours.primary_key.columns]
        differs = or_(literal(False), *(column.is_distinct_from(other.c[column.name]) for column in rest))  # noqa: FBT003
        there = exists(select(literal(1)).select_from(ours).where(_same_key(ours, other), differs).correlate(other))
        found = target.scalar(select(other.c[key[-1].name]).where(there).limit(1))
        if found is not None:
            raise refuse_damage(name, ours, found)


def _known_lenses(target: Connection, theirs: NamedFromClause) -> Table:
    """The ids of lenses of theirs that ours has too, in a table that is gone with the connection."""
    said: dict[str, Any] = {"prefixes": ["TEMPORARY"], "sqlite_with_rowid": False}
    known = Table("known_lens", MetaData(), Column("id", tables.Id, primary_key=True), **said)
    known.create(target)
    target.execute(insert(known).from_select(["id"], select(theirs.c.id).where(~_is_new(tables.lens, theirs))))
    return known


def _lenses_with_news(target: Connection, theirs: Mapping[str, NamedFromClause], known: Table) -> set[bytes]:
    """Lenses of ours of which the other book says something that ours does not."""
    found: set[bytes] = set()
    for ours in tables.RECORDS:
        other = theirs[ours.name]
        for column in (other.c[name] for name in LENS_COLUMNS if name in other.c):
            chosen = select(column).distinct().where(column.in_(select(known.c.id)), _is_new(ours, other))
            found.update(target.execute(chosen).scalars())
    return found


def _shelves_with_news(target: Connection, theirs: NamedFromClause) -> set[bytes]:
    """Shelves with a version that ours has not."""
    chosen = select(theirs.c.thing_id).distinct().where(theirs.c.kind == "shelf", _is_new(tables.version, theirs))
    return set(target.execute(chosen).scalars())


def _add(target: Connection, ours: Table, theirs: NamedFromClause) -> int:
    """Add the rows that ours has not; how many those were."""
    names = [column.name for column in ours.c]
    chosen = select(*(theirs.c[name] for name in names)).where(_is_new(ours, theirs))
    adding = insert(ours).from_select(names, chosen).execution_options(preserve_rowcount=True)
    return target.execute(adding).rowcount
