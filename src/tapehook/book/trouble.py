"""What the book refuses, and what a database or disk did wrong, in words a tired person understands."""

import re
import sqlite3
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from tapehook.job.problems import shown

_SAFE = "what is in the book is safe"
LONGEST_PLACE = 200


@dataclass(frozen=True, slots=True)
class BookProblem:
    """One thing wrong: the book or folder, what was found and what to do, and in short what was ``expected``."""

    place: str
    said: str
    expected: str = "a book that can be used"
    row: int | None = None
    field: str | None = None
    read: str | None = None

    def sentence(self) -> str:
        """The problem in one sentence, nothing invisible in it."""
        return f"{shown(self.place, LONGEST_PLACE)}: {self.said}"

    def as_json(self) -> dict[str, str | int | None]:
        """The problem as plain JSON values, with the keys all problems have."""
        return {
            "file": shown(self.place, LONGEST_PLACE),
            "row": self.row,
            "field": self.field,
            "read": None if self.read is None else shown(self.read),
            "expected": self.expected,
            "sentence": self.sentence(),
        }


class BookRefusal(Exception):
    """The book cannot do what was asked, and nothing was changed: all reasons."""

    def __init__(self, problems: Iterable[BookProblem]) -> None:
        self.problems: tuple[BookProblem, ...] = tuple(problems)
        super().__init__("\n".join(problem.sentence() for problem in self.problems))


def refusal(place: str, said: str, expected: str = "a book that can be used") -> BookRefusal:
    """A refusal with one reason."""
    return BookRefusal([BookProblem(place, said, expected)])


class StaleEdit(BookRefusal):
    """Somebody else changed the same thing since it was looked at; ``newest`` are the ids of its versions now."""

    def __init__(self, place: str, said: str, newest: tuple[bytes, ...]) -> None:
        super().__init__([BookProblem(place, said, "the newest version, looked at before it is changed")])
        self.newest = newest


_SQLITE = (
    ("SQLITE_FULL", f"the disk is full: nothing was written, {_SAFE}. Free some space and do it again"),
    (
        "SQLITE_READONLY",
        f"the file may only be read: nothing was written, {_SAFE}. Ask for the right to write, or copy it",
    ),
    (
        "SQLITE_CANTOPEN",
        "the file, or a file beside it, cannot be opened. Is the disk there, and may you use the folder?",
    ),
    ("SQLITE_NOTADB", "this file is no book. Nothing was changed in it"),
    ("SQLITE_CORRUPT", "the file is damaged. Leave it as it is and bring back a backup: tapehook book restore"),
    (
        "SQLITE_BUSY",
        f"somebody else has been writing for too long: nothing was written, {_SAFE}. Do it again in a minute",
    ),
    ("SQLITE_LOCKED", f"somebody else is writing: nothing was written, {_SAFE}. Do it again in a minute"),
    (
        "SQLITE_IOERR",
        f"the disk does not take or give data: nothing was written, {_SAFE}. Is it full, or was it pulled out?",
    ),
    ("SQLITE_CONSTRAINT_TRIGGER", "a record of a book is never changed; add a correction instead"),
)

_POSTGRESQL = (
    ("53100", f"the server's disk is full: nothing was written, {_SAFE}"),
    ("53", f"the server has no room for another connection: nothing was written, {_SAFE}. Do it again in a minute"),
    ("25006", f"the server may only be read: nothing was written, {_SAFE}"),
    ("42501", "the server does not allow it to this user. Ask whoever looks after the book"),
    ("28", "the server does not know this user or password"),
    ("3D000", "the server has no database of that name. Whoever looks after it makes one: createdb"),
    ("55P03", f"somebody else has been writing for too long: nothing was written, {_SAFE}. Do it again in a minute"),
    ("57", f"the server is stopping: nothing was written, {_SAFE}. Do it again in a minute"),
    ("08", f"the server was lost: what was not acknowledged was not written, {_SAFE}"),
    ("P0001", "a record of a book is never changed; add a correction instead"),
)


@contextmanager
def in_words(place: str) -> Iterator[None]:
    """Turn what the database, its driver or the disk did wrong into a BookRefusal that says it in words."""
    try:
        yield
    except DBAPIError as trouble:
        raise refusal(place, _said(trouble.orig)) from trouble
    except (sqlite3.Error, SQLAlchemyError) as trouble:
        raise refusal(place, _said(trouble)) from trouble
    except _server_errors() as trouble:
        raise refusal(place, _said(trouble)) from trouble
    except OSError as trouble:
        raise refusal(place, f"{trouble.strerror or trouble}: nothing was written, {_SAFE}") from trouble


def _server_errors() -> tuple[type[Exception], ...]:
    """What the driver of a server raises where it is used by itself, for very many rows; none where it is not there."""
    driver = sys.modules.get("psycopg")
    return (driver.Error,) if driver else ()


def _said(trouble: BaseException | None) -> str:
    name = getattr(trouble, "sqlite_errorname", None)
    state = getattr(trouble, "sqlstate", None)
    if isinstance(trouble, sqlite3.Error):
        return _of(_SQLITE, name or "") or f"the database says: {_line(trouble)}"
    if state is not None:
        return _of(_POSTGRESQL, state) or f"the server says: {_line(trouble)}"
    if type(trouble).__name__ == "OperationalError":
        return _connecting(str(trouble))
    return f"the database says: {_line(trouble)}"


_CONNECTING = (
    (r'database ".*" does not exist', "3D000"),
    (r"password authentication failed|no password supplied|role .* does not exist|no pg_hba.conf entry", "28"),
    (r"too many (?:clients|connections)", "53"),
    (r"starting up|shutting down", "57"),
)
"""What the server says before a connection stands has no code, only words."""


def _connecting(text: str) -> str:
    code = next((code for words, code in _CONNECTING if re.search(words, text)), None)
    said = _of(_POSTGRESQL, code) if code else None
    return said or "the server does not answer. Is the network there, and is the address right?"


def _of(words: tuple[tuple[str, str], ...], code: str) -> str | None:
    return next((said for start, said in words if code.startswith(start)), None)


def _line(trouble: BaseException | None) -> str:
    """The first line of what a library says, and no password that may stand in it."""
    first = (str(trouble).splitlines() or [""])[0]
    return shown(re.sub(r"//[^@/\s]*@", "//", first), 200)
