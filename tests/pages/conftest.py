"""Servers for the tests of the pages: one on a book with the demo job, one on an empty book."""

from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from tapehook.book.folders import read_folder
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Book, Writer, new_book
from tapehook.pages.app import make_app
from tapehook.pages.sessions import Sessions
from tests.pages.asking import SERVER, TABLET, Client
from tests.pages.kit import Served


def _served(book: Book) -> Served:
    sessions = Sessions("Mara")
    return Served(make_app(book, sessions, let_in=True, port=8310), sessions, book)


def take_in_demo(book: Book) -> None:
    """Import the demo job."""
    read = read_folder(Path(str(files("tapehook") / "demo_job")))
    with book.writing(Writer("Mara", "demo")) as writing:
        carry_out(writing, plan_import(writing.connection, read, Answers()), read)


@pytest.fixture(scope="session")
def demo_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server on the demo job, shared: tests that use it only look, or write what hurts no other."""
    with new_book(str(tmp_path_factory.mktemp("pages") / "demo.book")) as book:
        take_in_demo(book)
        yield _served(book)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Served]:
    """A server on an empty book of its own."""
    with new_book(str(tmp_path / "own.book")) as book:
        yield _served(book)


@pytest.fixture
def client(server: Served) -> Client:
    """A browser on the laptop, on a demo job of its own."""
    take_in_demo(server.book)
    made = Client(server.app)
    made.get("/help")
    return made


@pytest.fixture
def laptop(demo_server: Served) -> Client:
    """A browser on the laptop, looking at the demo job."""
    client = Client(demo_server.app)
    client.get("/help")
    return client


def let_in(served: Served, right: str) -> Client:
    """A tablet that was let in with a right."""
    code = served.sessions.new_code("edit" if right == "edit" else "view")
    client = Client(served.app, TABLET, f"{SERVER}:8310")
    assert client.post("/api/pair", {"code": code.digits, "who": "Ben"}).status == 200
    client.get("/help")
    return client


@pytest.fixture
def viewer(demo_server: Served) -> Client:
    """A tablet that may look."""
    return let_in(demo_server, "view")


@pytest.fixture
def editor(demo_server: Served) -> Client:
    """A tablet that may write."""
    return let_in(demo_server, "edit")
