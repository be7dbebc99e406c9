"""The bench in a real browser: by keyboard from nothing to signed off, by two at once, and through a cut network."""

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

pytestmark = pytest.mark.browser

MARKS = (
    ("2", "300"),
    ("2 1/2", "240.4"),
    ("3", "200.1"),
    ("4", "149.8"),
    ("5", "120.2"),
    ("7", "85.6"),
    ("10", "60.1"),
)
"""Feet and degrees: 600 over the distance, read to half a degree."""


def _type(page: "Page", *texts: str) -> None:
    """Each text and Enter, wherever the cursor is."""
    for text in texts:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def _tab_to(page: "Page", name: str) -> None:
    """Go on by the Tab key until a thing of that accessible name or text has the focus."""
    script = """() => {
      const here = document.activeElement;
      if (here === document.body || here.id === "main") return "";
      return [here.labels?.[0]?.textContent, here.getAttribute("aria-label"), here.textContent].join(" ");
    }"""
    for _ in range(120):
        if name in page.evaluate(script):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"no way to {name} by Tab")


def _new_lens(page: "Page") -> None:
    """Begin a job and a lens by keyboard alone; ends at its bench."""
    _tab_to(page, "name of the job")
    page.keyboard.type("Harbour")
    _tab_to(page, "distances in")
    page.keyboard.type("feet")
    _tab_to(page, "shooting stop")
    _type(page, "T2.8")
    page.wait_for_url(re.compile("/kit$"))
    _tab_to(page, "label")
    page.keyboard.type("L1")
    for name, text in (("focal length", "50 mm"), ("widest stop", "T1.4"), ("serial", "4711")):
        _tab_to(page, name)
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/bench/"))


def test_a_lens_from_nothing_to_signed_off_by_keyboard(own_pages: Visits) -> None:
    """An empty book; a job, a lens, seven marks, one of them with two digits swapped: it is named, put right, and the
    lens signed off with a name. No pointer is used at all."""
    page = own_pages.open()
    _new_lens(page)
    for distance, position in MARKS:
        _type(page, distance, "58.6" if distance == "7" else position)
    wrong = page.locator("tr.fix")
    wrong.wait_for()
    assert "7'" in wrong.inner_text()
    assert "digits" in page.locator(".findings .fix").first.inner_text()
    _tab_to(page, "58.6")
    page.keyboard.press("Enter")
    _type(page, "85.6")
    wrong.wait_for(state="detached")
    page.locator(".picture svg").first.wait_for()
    assert page.locator(".marks tbody tr").count() == len(MARKS)
    _tab_to(page, "name")
    page.keyboard.press("Control+a")
    _type(page, "Ben")
    page.get_by_text("signed off by Ben").wait_for()


def test_undo_by_keys(own_pages: Visits) -> None:
    """The keys take back the last reading, and say so."""
    page = own_pages.open()
    _new_lens(page)
    _type(page, "5", "120.2", "7", "85.6")
    page.locator(".marks tbody tr").nth(1).wait_for()
    page.keyboard.press("Control+Alt+z")
    page.get_by_text("Withdrawn").wait_for()
    assert page.locator(".marks tbody tr").count() == 1


def test_what_is_refused_comes_back_to_be_put_right(own_pages: Visits) -> None:
    """A distance that could mean two things is not kept: it stands in its field again, and why is said."""
    page = own_pages.open()
    own_pages.refused = True
    _new_lens(page)
    _type(page, "5 6", "120.2")
    page.get_by_text("expected").first.wait_for()
    assert page.locator("#distance").input_value() == "5 6"
    assert page.evaluate("document.activeElement.id") == "distance"
    page.keyboard.press("Control+a")
    _type(page, "5'6", "")
    page.keyboard.press("Enter")
    page.locator(".marks tbody tr").wait_for()


def test_two_at_one_bench(own_pages: Visits) -> None:
    """Another browser looks at the same lens and sees each reading appear, while its own typing stays untouched."""
    page = own_pages.open()
    _new_lens(page)
    other = own_pages.open(page.url.removeprefix(own_pages.address))
    other.locator("#distance").fill("half typed")
    _type(page, "5", "120.2")
    other.locator(".marks tbody tr").wait_for()
    assert "120.2" in other.locator(".marks").inner_text()
    assert other.locator("#distance").input_value() == "half typed"
    other.locator("#distance").fill("7")
    other.locator("#distance").press("Enter")
    _type(other, "85.6")
    page.locator(".marks tbody tr").nth(1).wait_for()


def _through_a_cut(own_pages: Visits, cut_ms: int) -> None:
    page = own_pages.open()
    _new_lens(page)
    _type(page, "5", "120.2")
    page.locator(".marks tbody tr").wait_for()
    other = own_pages.open(page.url.removeprefix(own_pages.address))
    own_pages.cut = True
    page.context.set_offline(True)
    _type(page, "7", "85.6", "10", "60.1")
    page.locator("#stale", has_text="may be old").wait_for()
    assert page.evaluate("document.body.dataset.stale") == "yes"
    assert page.locator("#waiting li").count() == 2
    _type(other, "4", "149.8")
    page.wait_for_timeout(cut_ms)
    assert page.locator("#waiting li").count() == 2
    page.context.set_offline(False)
    page.locator("#waiting li").first.wait_for(state="detached")
    page.locator(".marks tbody tr").nth(3).wait_for()
    page.locator("#stale").wait_for(state="hidden")
    rows = page.locator(".marks tbody tr").all_inner_texts()
    assert [row.split()[1] for row in rows] == ["149.8", "120.2", "85.6", "60.1"]


def test_a_cut_network_loses_no_reading(own_pages: Visits) -> None:
    """Cut for 2 s: the page says that it is stale, keeps what is typed, and sends it when the network is back, once."""
    _through_a_cut(own_pages, 2_000)


@pytest.mark.slow
def test_a_cut_of_twelve_seconds_loses_no_reading(own_pages: Visits) -> None:
    """The same for 12 s, as a lift or a cellar makes it."""
    _through_a_cut(own_pages, 12_000)


def test_readings_that_wait_outlive_the_page(own_pages: Visits) -> None:
    """The page is loaded again while a reading waits: it is sent then, once."""
    page = own_pages.open()
    _new_lens(page)
    own_pages.cut = True
    page.context.set_offline(True)
    _type(page, "7", "85.6")
    page.locator("#waiting li").wait_for()
    page.context.set_offline(False)
    page.reload()
    page.locator(".marks tbody tr").wait_for()
    page.locator("#waiting li").first.wait_for(state="detached")
    assert page.locator(".marks button.reading").count() == 1


def test_a_reading_typed_while_the_page_is_drawn_does_not_wait(own_pages: Visits) -> None:
    """Each part of the page takes half a second to come: readings typed meanwhile are sent all the same."""
    page = own_pages.open()
    _new_lens(page)

    def slowly(route: "Route") -> None:
        page.wait_for_timeout(500)
        route.continue_()

    page.route("**/part/bench/**", slowly)
    for distance, position in MARKS[:4]:
        _type(page, distance, position)
    page.locator(".marks tbody tr").nth(3).wait_for()
    assert page.locator("#waiting li").count() == 0
    page.unroute_all(behavior="ignoreErrors")


def test_what_is_refused_while_typing_goes_on_stays_on_the_list(own_pages: Visits) -> None:
    """A refused reading does not overwrite what is being typed, nor get lost: it can be taken back into the fields."""
    page = own_pages.open()
    own_pages.refused = True
    _new_lens(page)
    page.evaluate("""() => {
      const { distance, position } = document.getElementById("reading").elements;
      distance.value = "5 6";
      position.value = "120.2";
      document.getElementById("reading").requestSubmit();
      distance.value = "7";
    }""")
    page.locator("#waiting li", has_text="expected").wait_for()
    assert page.input_value("#distance") == "7"
    page.get_by_role("button", name="put right").click()
    assert [page.input_value("#distance"), page.input_value("#position")] == ["5 6", "120.2"]
    page.fill("#distance", "5'6")
    page.press("#position", "Enter")
    page.locator(".marks tbody tr").wait_for()
    assert page.locator("#waiting li").count() == 0
