"""The pages on a real port, for tests in a real browser."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import uvicorn

from tapehook.book.folders import read_folder
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Book, Writer, new_book
from tapehook.pages.app import make_app
from tapehook.pages.serving import Wanted, listen
from tapehook.pages.sessions import Sessions

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

DEMO = Path(str(files("tapehook") / "demo_job"))
CUT_OFF = ("net::ERR_INTERNET_DISCONNECTED", "net::ERR_FAILED", "net::ERR_ABORTED")
"""What the browser itself says on the console when a request cannot be sent."""


@contextmanager
def served(path: Path, *, demo: bool) -> Iterator[str]:
    """The pages of a new book, with the demo job or empty: their address."""
    with new_book(str(path)) as book, listen(Wanted(port=0)) as opened:
        if demo:
            take_in_demo(book)
        port = int(opened.getsockname()[1])
        photos = DEMO if demo else None
        app = make_app(book, Sessions("Mara"), let_in=True, port=port, photos=photos)
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [opened]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield f"http://localhost:{port}"
        server.should_exit = True
        thread.join(10)


def take_in_demo(book: Book) -> None:
    """Import the demo job."""
    read = read_folder(DEMO)
    with book.writing(Writer("Mara", "demo")) as writing:
        carry_out(writing, plan_import(writing.connection, read, Answers()), read)


@dataclass
class Visits:
    """Opens pages of one server; ``said`` gathers what a page must not say: errors on its console."""

    browser: "Browser"
    address: str
    said: list[str] = field(default_factory=list)
    contexts: "list[BrowserContext]" = field(default_factory=list)
    cut: bool = False
    refused: bool = False
    """True where a test means to be refused, or to be cut off: the browser itself notes that on the console."""

    def open(
        self,
        path: str = "/",
        *,
        width: int = 1440,
        height: int = 900,
        scheme: Literal["light", "dark"] = "light",
        touch: bool = False,
    ) -> "Page":
        """A page in a browser of its own."""
        context = self.browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, has_touch=touch, reduced_motion="reduce"
        )
        self.contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("console", lambda message: self._note(message.text))
        page.on("dialog", lambda dialog: self.said.append(dialog.message))
        page.goto(self.address + path)
        return page

    def _note(self, text: str) -> None:
        cut = self.cut and any(words in text for words in CUT_OFF)
        refused = self.refused and "status of 422" in text
        if not (cut or refused):
            self.said.append(text)

    def close(self) -> None:
        """Close all; nothing may have been said."""
        for context in self.contexts:
            context.close()
        assert self.said == [], self.said
