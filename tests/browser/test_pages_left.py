"""Minutes left in a real browser: follows the minutes typed, and what somebody else measures meanwhile."""

import re

import pytest

from tests.browser.pages_server import Visits

pytestmark = pytest.mark.browser


def test_the_list_follows_the_minutes(demo_pages: Visits) -> None:
    """Typed on a phone: what fits, and an address that says so; what cannot be read is said; nothing typed is all."""
    page = demo_pages.open(width=360, scheme="dark")
    page.wait_for_url(re.compile("/prep$"))
    page.get_by_role("link", name="minutes left").click()
    page.wait_for_url(re.compile("/left$"))
    status = page.locator("[data-part=tests] [role=status]")
    assert "for 32 tests" in status.inner_text()
    page.fill("#minutes", "12")
    page.locator("[data-part=tests] [role=status]", has_text=re.compile(r"of 32")).wait_for()
    total = re.match(r"([\d.]+) minutes", status.inner_text())
    assert total is not None
    assert float(total.group(1)) <= 12
    assert page.url.endswith("/left?minutes=12")
    page.fill("#minutes", "some")
    page.locator("[data-part=tests] [role=alert]").wait_for()
    page.fill("#minutes", "")
    page.locator("[data-part=tests] [role=status]", has_text="for 32 tests").wait_for()
    assert page.evaluate("document.activeElement.id") == "minutes"


def test_a_test_leads_to_its_fields_and_is_off_the_list_when_made(own_pages: Visits) -> None:
    """A chart test opens its own fields; a lens read both ways by somebody else is off the list, minutes as typed."""
    page = own_pages.open()
    page.get_by_role("button", name="Take the demo job in").click()
    page.wait_for_url(re.compile("/prep$"))
    left = page.url.replace("/prep", "/left?minutes=300")
    page.goto(left)
    ways = page.locator(".tests li", has_text="L06").filter(has_text="the other way too")
    page.locator(".tests li", has_text="L03").filter(has_text="charts").get_by_role("link").click()
    page.wait_for_url(re.compile("test=chart$"))
    assert page.locator("#chart-test").evaluate("one => one.open")
    assert page.evaluate("document.activeElement.closest('details').id") == "chart-test"
    page.goto(left)
    if not ways.first.is_visible():
        page.locator("[data-part=tests] summary").click()
    ways.wait_for()
    bench = own_pages.open(str(ways.get_by_role("link").get_attribute("href")))
    bench.locator("summary", has_text="paste a column").click()
    column = bench.locator("form", has=bench.locator("textarea[name=text]"))
    rows = bench.locator("table.marks").first.locator("tbody tr")
    marks = [
        (rows.nth(k).locator("th").inner_text(), rows.nth(k).locator("td").nth(0).inner_text()) for k in (1, 3, 5, 7)
    ]
    column.locator("input[name=approach]").evaluate("one => { one.value = 'far_to_near' }")
    column.locator("textarea").fill("\n".join(f"{distance}\t{position}" for distance, position in marks))
    column.get_by_role("button").click()
    bench.locator("table.marks td:nth-child(3) button").nth(3).wait_for()
    ways.wait_for(state="detached")
    assert page.url == left
    assert page.locator("#minutes").input_value() == "300"
