"""Two books become one, whatever either lives on: a union, the search with it; nothing at all where one is damaged."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Table, insert, select

from tapehook.book import attached, streamed, tables
from tapehook.book.checking import check
from tapehook.book.engine import engine_of, transaction
from tapehook.book.ids import named_id
from tapehook.book.importing import measured_of
from tapehook.book.lenses import add_lens, lens_id_of, mark_lens, tie
from tapehook.book.lenses import lenses_of as book_lenses
from tapehook.book.merging import merge
from tapehook.book.search import find_lenses
from tapehook.book.shelves import new_shelf, put_on_shelf
from tapehook.book.store import Book
from tapehook.book.trouble import BookRefusal
from tests.book.fixtures import Books
from tests.book.kit import ANNA, BEN, contents, demo, small, take_in
from tests.book.servers import Server

PAIRS = [(ours, other) for ours in ("sqlite", "postgresql") for other in ("sqlite", "postgresql")]
Pair = tuple[Book, Book]


@pytest.fixture(params=PAIRS, ids=["-".join(pair) for pair in PAIRS])
def pair(request: pytest.FixtureRequest, tmp_path: Path, empty_file: Path) -> Iterator[Pair]:
    """Our book and another, both empty, each on one of the engines."""
    made = []
    for at, engine in enumerate(request.param):
        folder = tmp_path / str(at)
        folder.mkdir()
        made.append(Books(engine, folder, empty_file, lambda: request.getfixturevalue("server")))
    ours, other = (books() for books in made)
    yield ours, other
    for books in made:
        books.close()


def furnished(ours: Book, other: Book) -> None:
    """Something in each book that the other has not, and something both have."""
    take_in(ours, small())
    merge(other, ours, ANNA)
    take_in(other, demo(), BEN)
    with other.writing(BEN) as writing:
        shelf = new_shelf(writing, "Truck")
        put_on_shelf(writing, "lens", lens_id_of("Harbour 50", "4711"), shelf)
        tie(writing, add_lens(writing, "Harbour 50", "4711"), add_lens(writing, "Harbour 50", "47 11"), "one lens")
    with ours.writing(ANNA) as writing:
        lens_id = lens_id_of("Harbour 50", "4711")
        mark_lens(writing, book_lenses(writing.connection, [lens_id])[lens_id], needs_work=True, why="rattles")


@pytest.mark.parametrize("many", [1, 2_000])
def test_a_merge_is_a_union_that_can_be_searched(pair: Pair, many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every record of both, once; what is found by its new words; whether words are worked out or copied."""
    monkeypatch.setattr(attached, "MANY_LENSES", many)
    monkeypatch.setattr(streamed, "MANY_LENSES", many)
    ours, other = pair
    furnished(ours, other)
    before, theirs = contents(ours), contents(other)
    merged = merge(ours, other, ANNA)
    both = {table: rows | theirs[table] for table, rows in before.items()}
    assert contents(ours) == both
    assert merged.added == {table: len(both[table] - before[table]) for table in both}
    assert merge(ours, other, ANNA).total == 0
    assert contents(other) == theirs
    assert check(ours).faults == ()
    (found,) = find_lenses(ours, "truck rattles").lenses
    assert found.lens.serial in {"4711", "47 11"}
    teasels = [one.lens.serial for one in find_lenses(ours, "teasel 50").lenses]
    assert teasels == [one.lens.serial for one in find_lenses(other, "teasel 50").lenses]
    assert "50417" in teasels


@pytest.mark.parametrize("table", [tables.entry, tables.version], ids=lambda table: table.name)
def test_a_record_that_says_two_things_is_refused(pair: Pair, table: Table) -> None:
    """It can only come from a damaged book: told which, and nothing is merged, not even what is sound."""
    ours, other = pair
    take_in(ours, small())
    merge(other, ours, ANNA)
    take_in(other, demo(), BEN)
    with ours.reading() as connection:
        row = dict(connection.execute(select(table)).mappings().first() or {})
    damaged = {**row, "id": named_id("damaged", b"1")}
    for book, said in ((ours, "{}"), (other, '{"1": 1}')):
        with transaction(book.engine, book.name, writes=True) as connection:
            connection.execute(insert(table), {**damaged, "who" if table is tables.entry else "data": said})
    before = contents(ours)
    with pytest.raises(BookRefusal, match=f"{table.name} {damaged['id'].hex()}.*damaged"):
        merge(ours, other, ANNA)
    assert contents(ours) == before


def test_a_book_that_may_only_be_read_is_merged_in(books: Books, empty_file: Path, tmp_path: Path) -> None:
    """From a disk nobody can write to, no file beside it."""
    ours = books()
    (tmp_path / "other").mkdir()
    made = Books("sqlite", tmp_path / "other", empty_file, Server)
    other = made()
    take_in(other, demo())
    place = other.place
    made.close()
    book = Book(place, engine_of(place, read_only="immutable"), other.id, "test", "immutable")
    assert merge(ours, book, ANNA).added["measurement"] == len(list(measured_of(demo().job)))
    book.close()
    assert place.path is not None
    assert not place.path.with_name(f"{place.path.name}-wal").exists()


def test_the_connection_of_a_merge_serves_nothing_else(books: Books) -> None:
    """What was attached for it is gone: the next transaction sees one book only."""
    ours, other = books(), books()
    take_in(other, small())
    merge(ours, other, ANNA)
    if ours.place.path is not None:
        with ours.reading() as connection:
            assert [row[1] for row in connection.exec_driver_sql("PRAGMA database_list")] in (
                ["main"],
                ["main", "temp"],
            )
    with ours.writing(ANNA) as writing:
        add_lens(writing, "Harbour 35", "1")
