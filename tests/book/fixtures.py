"""What the tests of the book share: one server a run, and new empty books on both engines, quickly."""

import itertools
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import update

from tapehook.book import tables
from tapehook.book.engine import engine_of, transaction
from tapehook.book.ids import new_id
from tapehook.book.place import place_of
from tapehook.book.store import Book, new_book, open_book
from tests.book.servers import Server

ENGINES = ("sqlite", "postgresql")
EMPTY = "tapehook_empty"

MakeBook = Callable[[], Book]


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A PostgreSQL server with an empty book in it, to be copied."""
    started = Server()
    try:
        new_book(started.make(EMPTY)).close()
        yield started
    finally:
        started.stop()


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty book in a file, to be copied."""
    path = tmp_path_factory.mktemp("empty") / "empty.book"
    new_book(str(path)).close()
    return path


def another_id(where: str) -> None:
    """Give a copy of an empty book an id of its own, as a new book has."""
    place = place_of(where)
    engine = engine_of(place)
    with transaction(engine, place.name, writes=True) as connection:
        chosen = update(tables.book).where(tables.book.c.key == "id")
        connection.execute(chosen.values(value=new_id().hex()))
    engine.dispose()


class Books:
    """Makes empty books on one engine, and closes them all at the end."""

    def __init__(self, engine: str, folder: Path, empty: Path, server: Callable[[], Server]) -> None:
        self.engine = engine
        self._folder = folder
        self._empty = empty
        self._server = server
        self._names = itertools.count()
        self._made: list[Book] = []
        self._databases: list[str] = []

    def place(self) -> str:
        """The path or address of a new, empty book."""
        if self.engine == "sqlite":
            path = self._folder / f"{next(self._names)}.book"
            shutil.copy(self._empty, path)
            where = str(path)
        else:
            name = f"book_{new_id().hex()[-16:]}"
            where = self._server().make(name, EMPTY)
            self._databases.append(name)
        another_id(where)
        return where

    def __call__(self) -> Book:
        book = open_book(self.place())
        self._made.append(book)
        return book

    def close(self) -> None:
        """Close the books and drop their databases."""
        for book in self._made:
            book.close()
        for name in self._databases:
            self._server().drop(name)


@pytest.fixture(params=ENGINES)
def books(request: pytest.FixtureRequest, tmp_path: Path, empty_file: Path) -> Iterator[Books]:
    """Makes books; a test that takes it runs on both engines."""
    found = Books(request.param, tmp_path, empty_file, lambda: request.getfixturevalue("server"))
    yield found
    found.close()


@pytest.fixture
def book(books: Books) -> Book:
    """An empty book; a test that takes it runs on both engines."""
    return books()
