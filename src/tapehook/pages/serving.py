"""Running the server: which address, which port, and what is told about it."""

import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from tapehook.book.store import Book
from tapehook.pages.app import make_app
from tapehook.pages.letting_in import own_addresses
from tapehook.pages.sessions import Sessions

PORT = 8310
KEEP_ALIVE_S = 15
MOST_AT_ONCE = 400
"""Requests answered at once; more are told to come again."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How to serve. ``port`` 0 takes any that is free; ``names`` are further names of this machine.

    ``photos`` is where photos of condition are, see ``make_app``.
    """

    port: int = PORT
    let_in: bool = False
    certificate: str | None = None
    key: str | None = None
    names: Sequence[str] = ()
    photos: Path | None = None


def listen(wanted: Wanted) -> socket.socket:
    """A socket that listens: on this machine alone, or on its networks too. Raises OSError where it cannot."""
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind(("0.0.0.0" if wanted.let_in else "127.0.0.1", wanted.port))  # noqa: S104 - what letting in is
        opened.listen(256)
    except OSError:
        opened.close()
        raise
    return opened


def addresses(wanted: Wanted, port: int) -> list[str]:
    """Where the pages are: on this machine first."""
    scheme = "https" if wanted.certificate else "http"
    others = own_addresses() if wanted.let_in else []
    return [f"{scheme}://localhost:{port}/", *(f"{scheme}://{one}:{port}/" for one in others if ":" not in one)]


def serve(book: Book, who: str, wanted: Wanted, ready: Callable[[list[str]], None] | None = None) -> None:
    """Serve until interrupted. ``ready`` is called with the addresses once connections are taken."""
    with listen(wanted) as opened:
        port = int(opened.getsockname()[1])
        app = make_app(book, Sessions(who), let_in=wanted.let_in, names=wanted.names, port=port, photos=wanted.photos)
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            timeout_keep_alive=KEEP_ALIVE_S,
            timeout_graceful_shutdown=4,
            limit_concurrency=MOST_AT_ONCE,
            ssl_certfile=wanted.certificate,
            ssl_keyfile=wanted.key,
        )
        if ready is not None:
            ready(addresses(wanted, port))
        uvicorn.Server(config).run(sockets=[opened])
