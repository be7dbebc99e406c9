"""The Strips page in a real browser: it follows its fields, knows the screen once told, prints at 1:1."""

import re
from typing import TYPE_CHECKING

import pymupdf
import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

MM = 72.0 / 25.4
CARD_MM = (85.60, 53.98)
"""ISO/IEC 7810, size ID-1."""


def _open(visits: Visits, width: int = 1440) -> "Page":
    page = visits.open(width=width, height=900)
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/strips"))
    page.locator(".strip-piece").first.wait_for()
    return page


def _follows(page: "Page") -> None:
    page.wait_for_function("() => location.search.includes('diameter=')")


def _piece(page: "Page") -> tuple[float, float]:
    """Width of the first piece on the screen, pixels, and what it measures, millimetres."""
    found = page.evaluate(
        """() => { const one = document.querySelector('.strip-piece');
          return [one.querySelector('svg').getBoundingClientRect().width, Number(one.dataset.mm)]; }"""
    )
    return float(found[0]), float(found[1])


def test_the_strip_follows_its_fields_by_keyboard(demo_pages: Visits) -> None:
    """A lens chosen with Space, a diameter and a stop typed: the strip changes, and the address can be kept."""
    page = _open(demo_pages)
    page.locator("[name=lens]").nth(1).focus()
    page.keyboard.press("Space")
    page.locator(".strip").nth(1).wait_for()
    page.locator("[name=diameter]").focus()
    page.keyboard.type("100mm")
    _follows(page)
    page.get_by_text("Ring 100 mm across").first.wait_for()
    shown = page.locator(".strip").count()
    page.reload()
    assert page.locator(".strip").count() == shown == 2
    assert page.input_value("[name=diameter]") == "100mm"
    page.fill("[name=diameter]", "wide")
    page.get_by_role("alert").filter(has_text='read "wide"').wait_for()


def test_a_strip_on_the_extender_by_keyboard(demo_pages: Visits) -> None:
    """Ticked with Space: the strip of L03 names focal length and stop as they work; lenses without one say so."""
    page = _open(demo_pages, width=360)
    for box in page.locator("[name=lens]:checked").all():
        box.uncheck()
    page.get_by_label(re.compile("L03 ")).check()
    page.locator("[name=extender]").focus()
    page.keyboard.press("Space")
    page.get_by_text("with the 2x extender: 50 mm").first.wait_for()
    page.get_by_label(re.compile("L12 ")).check()
    page.get_by_text("lenses.csv names no extender for it").first.wait_for()


@pytest.mark.parametrize("width, side", [(1440, 0), (360, 1)])
def test_true_size_follows_the_bank_card(demo_pages: Visits, width: int, side: int) -> None:
    """The outline has the card's proportions; when it was set, a strip is as many pixels as the card says, now and when
    the page is opened anew. On a phone the card is held upright."""
    page = _open(demo_pages, width)
    page.locator("[name=size][value=true]").focus()
    page.keyboard.press("Space")
    page.get_by_text("This screen is not set yet").wait_for()
    page.locator("#card-size").focus()
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    page.wait_for_function("() => Number(document.getElementById('card-size').value) > 3.9")
    outline = page.locator("#card-outline").bounding_box()
    assert outline is not None
    per_mm = outline["width"] / CARD_MM[side]
    assert outline["height"] == pytest.approx(CARD_MM[1 - side] * per_mm, abs=0.2)
    assert per_mm == pytest.approx(3.98, abs=0.01)
    page.locator("#card-fits").focus()
    page.keyboard.press("Enter")
    pixels, length = _piece(page)
    assert pixels == pytest.approx(length * per_mm, abs=0.5)
    page.reload()
    page.check("[name=size][value=true]")
    again, _ = _piece(page)
    assert again == pytest.approx(pixels, abs=0.5)
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0


def test_the_page_prints_at_true_size(demo_pages: Visits) -> None:
    """Printed from the browser the bar is 100 mm and the strip as long as it says, whatever the screen showed."""
    page = _open(demo_pages, 820)
    _, length = _piece(page)
    with pymupdf.open(stream=page.pdf(prefer_css_page_size=True)) as document:
        widths = [drawn["rect"].width / MM for drawn in document[0].get_drawings()]
        assert document[0].rect.width > document[0].rect.height
    assert any(abs(width - 100.0) < 0.2 for width in widths)
    assert any(abs(width - length) < 0.2 for width in widths)


def test_the_list_is_narrowed_by_typing(demo_pages: Visits) -> None:
    """Of many lenses those stay that have every word typed."""
    page = _open(demo_pages)
    page.fill("#filter", "25 mm")
    assert page.locator(".lens-list label:visible").count() == 1
