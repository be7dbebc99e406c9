"""A lens is swapped in a real browser: from the bench, what it spoils is listed, and two marks clear it."""

import re

import pytest

from tests.browser.pages_server import Visits

pytestmark = pytest.mark.browser


def test_two_marks_clear_what_a_swap_spoils(demo_pages: Visits) -> None:
    """L05 goes: its strip, its shot and its iris ring are spoilt; after two marks of the copy only the iris is open."""
    page = demo_pages.open()
    page.wait_for_url(re.compile("/prep$"))
    page.locator("table.lenses tr", has_text="50417").locator("a").first.click()
    page.wait_for_url(re.compile("/bench/"))
    page.get_by_role("link", name="swap", exact=True).click()
    page.wait_for_url(re.compile("/swap/"))
    rows = page.locator("#spoilt tbody tr")
    names = [row.split("\n")[0] for row in page.locator("#spoilt tbody th").all_inner_texts()]
    assert {"focus strip of L05", "window", "iris ring of L05"} <= set(names)
    assert page.locator("#spoilt tr.cleared").count() == 0
    page.get_by_label("its serial").fill("50431")
    page.get_by_label("where it shows infinity").fill("15.4")
    page.get_by_label("where it shows 2'").fill("301.3")
    page.get_by_role("button", name="Judge it").click()
    page.locator("#spoilt tr.cleared").first.wait_for()
    left = [row.split("\n")[0] for row in page.locator("#spoilt tr.open th").all_inner_texts()]
    assert "iris ring of L05" in left
    assert not {"focus strip of L05", "window"} & set(left)
    assert rows.count() == len(names)
    page.get_by_text("2 marks settle it").wait_for()
