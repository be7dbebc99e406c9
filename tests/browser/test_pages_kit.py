"""Two people at the page Kit of one job: each sees what the other keeps, and neither writes over it unawares."""

from typing import TYPE_CHECKING

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def _kit(pages: Visits) -> "Page":
    page = pages.open("/")
    if page.get_by_label("name of the job").count():  # an empty book
        page.get_by_label("name of the job").fill("Harbour")
        page.get_by_role("button", name="Begin").click()
    else:
        page.get_by_role("navigation").get_by_role("link", name="Kit").click()
    page.locator("#facts").wait_for()
    return page


def _keep(page: "Page", stop: str) -> None:
    page.locator("#facts [name=shooting_stop]").fill(stop)
    page.locator("#facts button").click()


def test_the_other_page_shows_what_was_kept(own_pages: Visits) -> None:
    """The field that nobody touched follows, and so does the line above it; a save then is no conflict."""
    one, other = _kit(own_pages), _kit(own_pages)
    _keep(one, "T5.6")
    other.locator("#facts-now", has_text="T5.6").wait_for()
    other.wait_for_function("document.querySelector('#facts').elements.shooting_stop.value === 'T5.6'")
    _keep(other, "T8")
    one.locator("#facts-now", has_text="T8").wait_for()


def test_what_is_being_typed_stays_and_the_newer_is_told(own_pages: Visits) -> None:
    """Ben is typing T11 when Mara keeps T5.6: his text stays, and beside it stands what she kept."""
    one, other = _kit(own_pages), _kit(own_pages)
    other.locator("#facts [name=shooting_stop]").fill("T11")
    _keep(one, "T5.6")
    other.locator("#facts .said", has_text="somebody else kept T5.6 meanwhile").wait_for()
    assert other.locator("#facts [name=shooting_stop]").input_value() == "T11"
    other.locator("#facts button").click()
    one.locator("#facts-now", has_text="T11").wait_for()
