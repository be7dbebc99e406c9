"""Pocket pages opened in Chromium from a file, with the network off."""

from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tapehook.handover.pocket import render_pocket
from tapehook.job import read_job
from tapehook.prep import Prep, prepare
from tests.browser.pages_server import Visits, served
from tests.browser.pocket_jobs import OpenPocket, Theme

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page


@pytest.fixture(scope="session")
def demo() -> Prep:
    """The demo job, prepared."""
    return prepare(read_job(Path(str(files("tapehook") / "demo_job"))))


@pytest.fixture
def open_pocket(browser: "Browser", tmp_path: Path) -> Iterator[OpenPocket]:
    """Opens the pocket page of a prepared job: offline, at 360 px unless told otherwise, at one lens if given.

    When the test is over, no page may have asked for anything but itself, nor have met an error.
    """
    said: list[str] = []
    contexts: list[BrowserContext] = []

    def open_page(
        prep: Prep, lens_id: str | None = None, *, width: int = 360, height: int = 740, theme: Theme = "dark"
    ) -> "Page":
        path = tmp_path / f"pocket-{len(contexts)}.html"
        path.write_text(render_pocket(prep), encoding="utf-8")
        context = browser.new_context(offline=True, viewport={"width": width, "height": height}, color_scheme=theme)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", lambda message: said.append(message.text))
        page.on("dialog", lambda dialog: said.append(dialog.message))
        page.on("request", lambda request: said.append(request.url) if request.url != path.as_uri() else None)
        page.goto(path.as_uri())
        if lens_id is not None:
            page.evaluate("id => { location.hash = '#' + encodeURIComponent(id) }", lens_id)
            page.wait_for_function("id => tapehook.shown() === id", arg=lens_id)
        return page

    yield open_page
    for context in contexts:
        context.close()
    # Fonts inside the page are counted as requests, though nothing is asked of anyone.
    assert [line for line in said if not line.startswith("data:font/woff2;base64,") and line != "data:,"] == []


@pytest.fixture(scope="session")
def demo_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The pages of the demo job, shared by tests that leave it as it is."""
    with served(tmp_path_factory.mktemp("browser") / "demo.book", demo=True) as address:
        yield address


@pytest.fixture
def demo_pages(browser: "Browser", demo_address: str) -> Iterator[Visits]:
    """Opens pages of the demo job; no page may have met an error when the test is over."""
    visits = Visits(browser, demo_address)
    yield visits
    visits.close()


@pytest.fixture
def own_pages(browser: "Browser", tmp_path: Path) -> Iterator[Visits]:
    """The same on an empty book of the test's own."""
    with served(tmp_path / "own.book", demo=False) as address:
        visits = Visits(browser, address)
        yield visits
        visits.close()
