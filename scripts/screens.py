"""Make pictures of every page at three widths in both themes, from the demo job: `make screens`.

The result is committed under docs/pictures/pages, so that the documentation can be read without running anything.
"""

import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from tapehook.book.folders import read_folder
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Book, Writer, new_book
from tapehook.pages.app import make_app
from tapehook.pages.serving import Wanted, listen
from tapehook.pages.sessions import Sessions

ROOT = Path(__file__).resolve().parents[1]
PICTURES = ROOT / "docs" / "pictures" / "pages"
WIDTHS = {360: 780, 820: 1100, 1440: 900}
THEMES = ("paper", "dim")
TALLEST = 1_600
"""Pixels; what a page has below that is more of the same."""
FLAGS = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync"]
ROOT_FLAGS = [] if os.geteuid() else ["--no-sandbox"]


@contextmanager
def served(book: Book) -> Iterator[str]:
    """The pages of a book on a free port of this machine: their address."""
    opened = listen(Wanted(port=0))
    port = int(opened.getsockname()[1])
    app = make_app(book, Sessions("Mara"), port=port, let_in=True)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [opened]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    try:
        yield f"http://localhost:{port}"
    finally:
        server.should_exit = True
        thread.join(5)
        opened.close()


def demo_book(folder: Path) -> Book:
    """A book with the demo job in it."""
    book = new_book(str(folder / "demo.book"))
    read = read_folder(Path(str(files("tapehook") / "demo_job")))
    with book.writing(Writer("Mara", "demo")) as writing:
        carry_out(writing, plan_import(writing.connection, read, Answers()), read)
    return book


def main() -> int:
    """Take all pictures; 1 when a page met an error."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    chromium = subprocess.run(["bash", str(ROOT / "scripts/browser.sh")], check=True, capture_output=True, text=True)
    only = sys.argv[1:]
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium.stdout.strip(), args=[*FLAGS, *ROOT_FLAGS])
        with demo_book(Path(scratch)) as book, served(book) as address:
            errors = [error for theme in THEMES for error in _theme(browser, address, theme, only)]
        browser.close()
    for error in errors:
        print(error)
    return 1 if errors else 0


def _theme(browser: Browser, address: str, theme: str, only: list[str]) -> list[str]:
    errors: list[str] = []
    for width, height in WIDTHS.items():
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if theme == "dim" else "light",
            reduced_motion="reduce",
        )
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda message: errors.append(f"{message.location.get('url')}: {message.text}"))
        for name, path in _addresses(page, address).items():
            if (only and name not in only) or (name == "card" and theme != "dim"):  # the card is dim in any case
                continue
            page.goto(address + path)
            if name == "onset":
                _people(page)
            if name == "shots":
                page.locator("#lane svg").wait_for()
            page.wait_for_timeout(250)
            _take(page, PICTURES / f"{name}-{width}-{theme}.png", width)
            _scrolls_sideways(page, name, width, errors)
        context.close()
    return errors


def _take(page: Page, path: Path, width: int) -> None:
    """The page from its top, at most a few screens of it: the pictures are committed."""
    tall = int(page.evaluate("document.documentElement.scrollHeight"))
    page.set_viewport_size({"width": width, "height": max(min(tall, TALLEST), WIDTHS[width])})
    page.screenshot(path=path)
    page.set_viewport_size({"width": width, "height": WIDTHS[width]})


def _addresses(page: Page, address: str) -> dict[str, str]:
    """The pages by name."""
    page.goto(address)
    job = page.url.removeprefix(address).rsplit("/", 1)[0]
    bench = page.locator("table.lenses a").first.get_attribute("href") or ""
    return {
        "prep": f"{job}/prep",
        "left": f"{job}/left",
        "bench": bench,
        "onset": f"{job}/onset",
        "shots": f"{job}/shots?shot=window",
        "card": f"{job}/card?shot=window",
        "light": f"{job}/light?shot=window",
        "stop-card": f"{job}/stop-pull-card?shot=window",
        "weather": f"{job}/weather",
        "radio": f"{job}/radio",
        "strips": f"{job}/strips",
        "swap": bench.replace("/bench/", "/swap/"),
        "lenses": "/lenses",
        "lens": f"/lens/{bench.rsplit('/', 1)[1]}",
        "kit": f"{job}/kit",
        "handover": f"{job}/handover",
        "help": "/help",
        "let-in": "/let-in",
        "jobs": "/jobs",
    }


def _people(page: Page) -> None:
    """Two people in the shot, so that the ladder has something on it."""
    if page.locator("#ladder li").count() == 0:
        for name, distance in (("Ada", "6'11"), ("Ivo", "9'4")):
            page.fill("#tag-name", name)
            page.fill("#tag-distance", distance)
            page.click("#tag button")
        page.fill("#distance", "7'")
        page.press("#distance", "Enter")


def _scrolls_sideways(page: Page, name: str, width: int, errors: list[str]) -> None:
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    if over > 0:
        errors.append(f"{name} at {width} px is {over} px too wide")


if __name__ == "__main__":
    sys.exit(main())
