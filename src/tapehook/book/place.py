"""Where a book is: a file on this machine, or a database on a PostgreSQL server."""

import os
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from tapehook.book.trouble import refusal

VARIABLE = "TAPEHOOK_BOOK"
FILE = "tapehook.book"
_SERVERS = ("postgresql", "postgres")


@dataclass(frozen=True, slots=True)
class Place:
    """One of both: ``path`` of a file, or ``url`` of a database. ``name`` is how it is shown, never with a password."""

    path: Path | None
    url: URL | None

    @property
    def name(self) -> str:
        """How the place is shown."""
        if self.url is None:
            return str(self.path)
        # No user either: whoever reads over a shoulder need not know half of what logs in.
        shown = URL.create("postgresql", host=self.url.host, port=self.url.port, database=self.url.database)
        return shown.render_as_string()

    @property
    def exists(self) -> bool:
        """True for a file that is there; of a server only asking it tells."""
        return self.path is None or os.path.lexists(self.path)


def place_of(text: str | None) -> Place:
    """The place named by a path or URL; None or empty: what TAPEHOOK_BOOK names, else the platform's data folder.

    Raises BookRefusal for a URL of anything but PostgreSQL.
    """
    text = text or os.environ.get(VARIABLE) or ""
    if not text:
        return Place(data_folder() / FILE, None)
    if "://" not in text:
        if "\0" in text:
            raise refusal(text, "this is no path a file can have", "the path of a book")
        return Place(Path(text), None)
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        raise refusal("the book's address", "this is no address such as postgresql://server/book") from None
    if url.drivername.partition("+")[0] not in _SERVERS:
        raise refusal("the book's address", "a book is a file, or a database at postgresql://server/book")
    return Place(None, url.set(drivername="postgresql+psycopg"))


def data_folder() -> Path:
    """The folder where this platform keeps the data of a person's programs."""
    from platformdirs import user_data_path

    return user_data_path("tapehook", appauthor=False)
