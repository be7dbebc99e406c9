"""The page of light in a real browser: sliders, a stop pull dragged, moved by keys and by touch, kept, and its card."""

import re
import statistics
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

ANSWER_MS = 100.0
MOVES = 30


def _open(visits: Visits, path: str = "/light", **device: Any) -> "Page":  # noqa: ANN401 - what a device is
    page = visits.open(**device)
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", path))
    return page


def _take_demo(visits: Visits) -> str:
    """Take the demo job into an empty book, by its button; the address of the job."""
    page = visits.open()
    page.get_by_role("button", name="Take the demo job in").click()
    page.wait_for_url(re.compile("/prep$"))
    return page.url.replace("/prep", "")


def test_sliders_give_the_exposure(demo_pages: Visits) -> None:
    """The page opens right; EI two steps lower is 2/3 stop under, and the ways out give it back."""
    page = _open(demo_pages)
    answer = page.locator("[data-part=exposure]")
    assert answer.locator("strong").inner_text() == "right"
    slider = page.get_by_label("EI, slider")
    slider.press("ArrowLeft")
    slider.press("ArrowLeft")
    answer.locator("strong", has_text="2/3 stop under").wait_for()
    assert page.locator("#light-ei").input_value() == "500"
    assert slider.get_attribute("aria-valuetext") == "500"
    answer.get_by_text("EI 800, the depth as it is").wait_for()
    page.locator(".light-slider", has=page.locator("#light-nd")).get_by_role("radio").check()
    answer.locator("strong", has_text="no ND: the light is 2/3 stop short").wait_for()
    assert page.locator("#light-nd").is_disabled()
    page.fill("#light-light", "bright")
    answer.get_by_role("alert").wait_for()
    page.fill("#light-light", "100 fc")
    answer.locator("strong", has_text="ND 1").wait_for()


def test_a_mark_moved_by_keys(demo_pages: Visits) -> None:
    """Arrow keys on the picture: a third of a stop down, a tenth of a second left; field and picture follow."""
    page = _open(demo_pages)
    last = page.get_by_role("slider", name=re.compile("mark at 6.5"))
    assert last.get_attribute("aria-valuetext") == "T8 at 6.5 s"
    last.focus()
    page.keyboard.press("ArrowDown")
    page.get_by_role("slider", name=re.compile("mark at 6.5")).and_(
        page.locator('[aria-valuetext="T8 1/3 at 6.5 s"]')
    ).wait_for()
    page.keyboard.press("ArrowLeft")
    page.locator('[aria-valuetext="T8 1/3 at 6.4 s"]').wait_for()
    assert page.evaluate("document.activeElement.getAttribute('aria-valuetext')") == "T8 1/3 at 6.4 s"
    figures = page.locator("#marks li").nth(1).locator("input")
    assert [figures.nth(k).input_value() for k in (0, 1)] == ["6.4", "T8 1/3"]


def _drag(page: "Page", to: tuple[float, float]) -> None:
    """Drag the last mark to a place in the picture, as parts of its width and height."""
    mark = page.locator(".handles circle").last
    mark.scroll_into_view_if_needed()
    box, room = mark.bounding_box(), page.locator(".pull-room").bounding_box()
    assert box is not None
    assert room is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(room["x"] + to[0] * room["width"], room["y"] + to[1] * room["height"], steps=5)
    page.mouse.up()


def test_a_dragged_mark_that_asks_too_much_is_refused(demo_pages: Visits) -> None:
    """Far too fast by a drag to the left: no positions, and the time over which all of it works."""
    page = _open(demo_pages)
    _drag(page, (0.16, 0.4))
    page.get_by_text("cannot be done as planned", exact=True).wait_for()
    page.get_by_text("All of it works over").first.wait_for()
    assert page.locator(".pull-room").inner_text().count("no positions") >= 2


def test_answers_follow_a_drag_within_a_tenth_of_a_second(demo_pages: Visits) -> None:
    """From moving a slider or a mark until the answer stands on the page, over loopback: the median within 100 ms.

    The best of three runs, as other work on the machine only adds; the 95th percentile is shown with -s.
    """
    page = _open(demo_pages)
    script = """async ([part, moves]) => {
      const place = document.querySelector(`[data-part="${part}"]`);
      const taken = [];
      for (let k = 0; k < moves; k += 1) {
        const done = new Promise((seen) => new MutationObserver((_, one) => { one.disconnect(); seen(); })
          .observe(place, { childList: true }));
        const start = performance.now();
        if (part === "exposure") {
          const slider = document.querySelector("[data-for=stop]");
          slider.value = String(3 + (k % 12));
          slider.dispatchEvent(new Event("input", { bubbles: true }));
        } else {
          const field = document.querySelector("#marks li:last-child input");
          field.value = String(5 + k / 20);
          field.dispatchEvent(new Event("input", { bubbles: true }));
        }
        await done;
        taken.push(performance.now() - start);
      }
      return taken;
    }"""
    for part in ("exposure", "pull"):
        runs: list[list[float]] = []
        while len(runs) < 3 and (not runs or statistics.median(runs[-1]) > ANSWER_MS):
            runs.append(page.evaluate(script, [part, MOVES]))
        best = min(runs, key=statistics.median)
        median, p95 = statistics.median(best), statistics.quantiles(best, n=20)[-1]
        print(f"light, {part}: median {median:.0f} ms, p95 {p95:.0f} ms")  # noqa: T201
        assert median <= ANSWER_MS, part


def test_a_stop_pull_from_nothing_by_touch_is_kept(own_pages: Visits) -> None:
    """On a phone: a new one, a third mark, kept under a name; its card follows the watch with no network."""
    job = _take_demo(own_pages)
    page = own_pages.open(
        job.removeprefix(own_pages.address) + "/light", width=360, height=780, scheme="dark", touch=True
    )
    page.locator("#shot").select_option("")
    page.wait_for_url(re.compile(r"/light\?shot=$"))
    page.get_by_role("button", name="add a mark").tap()
    row = page.locator("#marks li").nth(2)
    row.locator("input").nth(0).fill("8")
    row.locator("input").nth(1).fill("T4")
    page.locator('.handles [aria-valuetext="T4 at 8 s"]').wait_for()
    page.locator("#name").fill("porch")
    page.get_by_role("button", name="keep").tap()
    page.get_by_text("Kept in shot porch.").wait_for()
    page.get_by_role("link", name="card").tap()
    page.wait_for_url(re.compile("stop-pull-card"))
    assert page.locator("#now-stop").inner_text() == "T2"
    page.context.set_offline(True)
    own_pages.cut = True
    page.get_by_role("button", name="start").tap()
    page.locator("#watch", has_text=re.compile(r"^0\.[5-9]|^[1-9]")).wait_for()
    page.get_by_role("button", name="stop", exact=True).tap()
    page.get_by_role("button", name="back to 0").tap()
    assert page.locator("#watch").inner_text() == "0.0"
    assert page.locator("#moments tr").count() == 13


def test_the_card_is_dim_by_itself(demo_pages: Visits) -> None:
    """On a light device too, until another theme is pinned: on set a bright screen lights a face."""
    page = _open(demo_pages, "/stop-pull-card?shot=window", scheme="light")
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ground) == "rgb(17, 17, 15)"
    assert page.locator("#moments tr").count() == 13


def test_two_people_keep_one_shot(own_pages: Visits) -> None:
    """Who keeps second is told that the shot was changed meanwhile, and nothing is overwritten."""
    own_pages.refused = True
    job = _take_demo(own_pages)
    pages = [own_pages.open(job.removeprefix(own_pages.address) + "/light?shot=window") for _ in range(2)]
    for page, stop in zip(pages, ("T5.6", "T11"), strict=True):
        page.locator("#marks li").nth(1).locator("input").nth(1).fill(stop)
        page.get_by_role("button", name="keep").click()
        page.locator("#kept", has_text="shot").wait_for()
    assert "Kept in shot window" in pages[0].locator("#kept").inner_text()
    assert "was changed meanwhile" in pages[1].locator("#kept").inner_text()
