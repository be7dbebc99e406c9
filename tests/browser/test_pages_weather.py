"""The page Weather in a real browser: the answer follows the fields, and the morning is kept, live and undone."""

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def _weather(visits: Visits) -> "Page":
    """The page of a demo job of its own, on a phone in the dark."""
    page = visits.open(width=360, height=780, scheme="dark", touch=True)
    page.get_by_role("button", name="Take the demo job in").tap()
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/weather"))
    return page


def test_the_answer_follows_and_is_kept(own_pages: Visits) -> None:
    """Typed with no network but the laptop's: fogs, until when, and when it may be trusted; a second reading makes the
    times its own; kept in the job, taken out, and taken back."""
    page = _weather(own_pages)
    for name, text in (("air", "22 °C"), ("humidity", "50"), ("lens", "-5 °C")):
        page.fill(f"#air [name={name}]", text)
    figures = page.locator("[data-part=air] .figures")
    figures.get_by_text("after 30 min").wait_for()
    assert figures.get_by_text("11.1 °C").is_visible()
    page.locator("#air summary").tap()
    page.fill("#air [name=later]", "6 °C")
    page.locator("[data-part=air] [role=alert]").wait_for()
    page.fill("#air [name=after]", "15")
    figures.get_by_text("after 29 min").wait_for()
    page.get_by_role("button", name="keep in the job").tap()
    page.get_by_text("Kept in the job.").wait_for()
    page.reload()
    assert page.input_value("#air [name=after]") == "15 min"
    page.get_by_role("button", name="take it out").tap()
    page.get_by_text("Taken out of the job.").wait_for()
    assert page.input_value("#air [name=air]") == ""
    page.get_by_role("button", name="undo", exact=True).first.tap()
    page.get_by_text("As it was before.").wait_for()
    assert page.input_value("#air [name=air]") == "22 °C"
    page.goto(page.url.replace("/weather", "/prep"))
    page.locator(".finding", has_text="-5 °C fog").first.wait_for()


def test_three_lenses_are_checked_by_keys_and_another_sees_it(own_pages: Visits) -> None:
    """Distance, Enter, position, Enter: the third tells for the kit, also to somebody else; undo takes it back."""
    page = _weather(own_pages)
    other = own_pages.open(page.url.removeprefix(own_pages.address))
    page.fill("#check [name=date]", "2027-01-05")
    rows = page.locator(".checks li")
    for count, (lens, distance, position) in enumerate(
        (("L03", "inf", "4.9"), ("L05", "5 m", "66.3"), ("L01", "inf", "3.2")), 1
    ):
        option = page.locator("#check-lens option", has_text=lens).get_attribute("value")
        page.select_option("#check-lens", option)
        page.locator("#check [name=distance]").focus()
        page.keyboard.type(distance)
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.name") == "position"
        page.keyboard.type(position)
        page.keyboard.press("Enter")
        page.locator("[data-part=morning] h2", has_text="2027-01-05").wait_for()
        rows.filter(has_text=lens).wait_for()
        assert rows.count() == count
        assert page.input_value("#check [name=distance]") == ""
    kit = page.locator("[data-part=morning] .findings")
    kit.get_by_text("3 lenses cannot tell for the kit").wait_for()
    other.locator("[data-part=morning] .findings").get_by_text("3 lenses cannot tell for the kit").wait_for()
    page.locator("#check").get_by_role("button", name="undo").tap()
    kit.get_by_text("2 lenses checked").wait_for()
    page.get_by_role("button", name=re.compile("withdraw L05")).tap()
    kit.get_by_text("1 lens checked").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
