"""Chart tests typed at the bench in a real browser: the fields a lens calls for, by keyboard and on a phone."""

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

pytestmark = pytest.mark.browser


def _bench_of(page: "Page", lens: str) -> None:
    """The demo job taken in, at the bench of one of its lenses, come for a chart test."""
    page.get_by_role("button", name="Take the demo job in").click()
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/bench"))
    value = page.locator("#lens-choice option", has_text=f"{lens} ·").get_attribute("value") or ""
    page.goto(page.url.partition("/job/")[0] + value + "?test=chart")


def _tests(page: "Page") -> "Locator":
    return page.locator("table", has_text="chart tests").locator("tbody tr")


def test_an_anamorphic_lens_by_keyboard(own_pages: Visits) -> None:
    """Two tests without a pointer: way, camera and glass stay as typed, lines must be chosen anew, and the cursor is
    back at the chart's distance. Nothing is sent before lines are chosen. Undo takes the last one back."""
    page = own_pages.open()
    _bench_of(page, "L23")
    there = _tests(page).count()
    assert page.evaluate("document.activeElement.name") == "distance"
    page.keyboard.type("3 m")
    for text in ("Tab", "-62.5", "Tab", "Tab", "near", "Tab", "Tab", "c", "Tab", "none", "Enter"):
        page.keyboard.press(text) if text in {"Tab", "Enter"} else page.keyboard.type(text)
    assert page.evaluate("document.activeElement.name") == "lines"
    page.keyboard.type("level")
    page.locator("#chart-test [name=stop]").press("Enter")
    row = _tests(page).filter(has_text="3 m")
    row.get_by_text("level lines, near→far, on C, no glass behind").wait_for()
    page.wait_for_function("() => document.activeElement.name === 'distance'")
    form = page.locator("#chart-test form")
    kept = {name: form.locator(f"[name={name}]").input_value() for name in ("approach", "camera", "glass", "lines")}
    assert kept == {"approach": "near_to_far", "camera": "c", "glass": "none", "lines": ""}
    assert form.locator("[name=focal]").count() == 0
    page.keyboard.type("3 m")
    for text in ("Tab", "-64", "Tab", "upright", "Tab", "Tab", "Enter"):
        page.keyboard.press(text) if text in {"Tab", "Enter"} else page.keyboard.type(text)
    row.get_by_text("upright lines").wait_for()
    assert _tests(page).count() == there + 2
    page.keyboard.press("Control+Alt+z")
    row.get_by_text("upright lines").wait_for(state="detached")
    assert _tests(page).count() == there + 1


def test_a_zoom_on_a_phone(own_pages: Visits) -> None:
    """At 360 px: the focal length is asked for and stays, lines are not asked for; what the zoom has not is refused in
    words; a test is withdrawn by one tap, undone by another. Nothing is wider than the screen."""
    page = own_pages.open(width=360, height=780, scheme="dark", touch=True)
    own_pages.refused = True
    _bench_of(page, "L19")
    form = page.locator("#chart-test form")
    assert form.locator("[name=lines]").count() == 0
    form.locator("[name=distance]").fill("5'")
    form.locator("[name=position]").fill("130")
    form.locator("[name=approach]").select_option(label="far→near")
    form.locator("[name=focal]").fill("85")
    form.get_by_role("button", name="keep").tap()
    form.get_by_text("one focal length of the lens, 22 to 58 mm").wait_for()
    form.locator("[name=focal]").fill("35")
    form.get_by_role("button", name="keep").tap()
    row = _tests(page).filter(has_text="5'")
    row.get_by_text("far→near, 35 mm").wait_for()
    assert form.locator("[name=focal]").input_value() == "35"
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    row.get_by_role("button", name=re.compile("withdraw the chart test at 5', far→near, 35 mm")).tap()
    row.wait_for(state="detached")
    page.locator("#undo").tap()
    row.get_by_text("far→near, 35 mm").wait_for()
