"""The page Radio in a real browser: places and channels dragged, set by keyboard, replanned, and tried."""

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def _open(visits: Visits, width: int = 1440) -> "Page":
    page = visits.open(width=width, height=900)
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/radio"))
    page.locator(f".lot {_picture(width)} svg").wait_for()
    return page


def _picture(width: int) -> str:
    """The picture that a screen of this width shows."""
    return ".narrow-picture" if width <= 600 else ".wide-picture"


def _margin(page: "Page", letter: str) -> float:
    text = page.locator("tr", has=page.locator(f"select[data-letter={letter}]")).locator(".figure").inner_text()
    return float(text.replace("−", "-").replace("!", "").replace("×", "").removesuffix("dB"))


def _channel(page: "Page", letter: str) -> str:
    return str(page.locator(f"select[data-letter={letter}]").input_value())


def _drag(page: "Page", selector: str, across: float, down: float) -> None:
    box = page.locator(selector).bounding_box()
    assert box is not None
    x, y = box["x"] + min(8, box["width"] / 2), box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + across / 2, y + down / 2)
    page.mouse.move(x + across, y + down)
    page.mouse.up()


@pytest.mark.parametrize("width", [1440, 360])
def test_a_hand_unit_dragged_to_its_camera_has_more_margin(demo_pages: Visits, width: int) -> None:
    """Its place stands in its field, the plan follows, and the address keeps it."""
    page = _open(demo_pages, width)
    before = _margin(page, "C")
    lot = f".lot {_picture(width)}"
    hand, camera_at = f"{lot} [data-key='C hand 0'] circle", f"{lot} [data-key='C receiver 0'] rect"
    page.locator(hand).scroll_into_view_if_needed()
    box, camera = page.locator(hand).bounding_box(), page.locator(camera_at).bounding_box()
    assert box is not None
    assert camera is not None
    _drag(page, hand, 4.0, (camera["y"] - box["y"]) * 0.7)
    page.wait_for_function("() => location.search.includes('place=')")
    assert _margin(page, "C") > before + 5
    field = page.locator("[name=place][data-key='C hand 0']")
    x, y = (float(one) for one in field.input_value().split(","))
    assert x == pytest.approx(10.0, abs=3.0)
    assert y == pytest.approx(9.0, abs=3.0)
    page.reload()
    assert field.input_value() != ""


def test_a_channel_dragged_onto_another_is_judged_and_replanned(demo_pages: Visits) -> None:
    """A on B's channel: both lose their margin, which is said; keeping what is set, only as few as needed move."""
    page = _open(demo_pages)
    before, other = _margin(page, "A"), _channel(page, "B")
    a, b = (f".spectrum {_picture(1440)} [data-letter={one}] rect" for one in "AB")
    page.locator(a).scroll_into_view_if_needed()
    box, target = page.locator(a).bounding_box(), page.locator(b).bounding_box()
    assert box is not None
    assert target is not None
    _drag(page, a, target["x"] - box["x"], 0.0)
    page.wait_for_function("() => location.search.includes('mode=judge')")
    assert _channel(page, "A") == other
    assert _margin(page, "A") < before - 10
    page.get_by_text("share channel").wait_for()
    page.get_by_label("keep these, move as few as can be").check()
    page.wait_for_function("() => location.search.includes('mode=keep')")
    page.get_by_text("Moved: ").wait_for()
    assert len(page.get_by_text("Moved: ").inner_text().split("Moved: ")[1].split(".")[0].split(",")) == 1
    assert _margin(page, "A") > 0


def test_a_channel_is_set_and_a_frequency_taken_by_keyboard(demo_pages: Visits) -> None:
    """The list by arrow keys keeps its focus; a frequency typed as taken moves who stands on it."""
    page = _open(demo_pages)
    first = _channel(page, "A")
    page.locator("select[data-letter=A]").focus()
    page.keyboard.press("ArrowDown")
    page.wait_for_function("() => location.search.includes('mode=judge')")
    page.wait_for_function("() => document.activeElement.dataset.letter === 'A'")
    assert _channel(page, "A") != first
    page.get_by_role("button", name="as the job says").click()
    page.wait_for_function("() => location.search === ''")
    assert _channel(page, "A") == first
    page.locator("[name=taken]").focus()
    page.keyboard.type("2400-2420")
    page.wait_for_function("() => location.search.includes('taken=')")
    page.get_by_text("hatched: taken").first.wait_for()
    assert _channel(page, "A") != first
    page.fill("[name=taken]", "everything")
    page.get_by_role("alert").filter(has_text="such as 2450").wait_for()


def test_a_device_that_may_only_look_may_try(demo_pages: Visits) -> None:
    """What if asks and writes nothing: the page has no token to spend and follows all the same."""
    page = _open(demo_pages)
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.method))
    page.fill("[name=more]", "Wi-Fi 1")
    page.fill("[name=more_at]", "0, 1")
    page.wait_for_function("() => location.search.includes('more_at=')")
    page.locator("td", has_text="what if: Wi-Fi 1").first.wait_for()
    assert set(sent) == {"GET"}
    assert demo_pages.said == []
