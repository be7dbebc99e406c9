"""The rows of a table portion by portion, and all records of one book into another database that has none."""

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any

from sqlalchemy import Column, Connection, inspect, select

from tapehook.book import tables
from tapehook.book.engine import add_rows, is_sqlite, raw_sqlite

PORTION = 20_000


def copy_records(source: Connection, target: Connection) -> None:
    """Copy all records into tables that are empty.

    The source may be of an older step: columns it has not are left empty.
    """
    there = set(inspect(source).get_table_names())
    for table in (table for table in tables.RECORDS if table.name in there):
        known = {column["name"] for column in inspect(source).get_columns(table.name)}
        columns = [column for column in table.c if column.name in known]
        for rows in portions(source, columns):
            add_rows(target, table, [column.name for column in columns], rows, may_be_there=False)


def portions(source: Connection, columns: Sequence[Column[Any]]) -> Iterator[list[tuple[Any, ...]]]:
    """Columns of the rows of a table, in order of their keys, some thousands at a time."""
    chosen = select(*columns).order_by(*columns[0].table.primary_key.columns)
    if is_sqlite(source):
        # The driver's own rows: they are what is wanted, and a third quicker than any made from them.
        cursor = raw_sqlite(source).execute(str(chosen.compile(source)))
        while some := cursor.fetchmany(PORTION):
            yield some
        return
    rows = iter(source.execute(chosen.execution_options(yield_per=PORTION)))
    while some := [tuple(row) for row in islice(rows, PORTION)]:
        yield some
