"""A lens is swapped in a real browser, by an assistant on a phone: what it spoils is listed, and two marks clear it.

What it must list is worked out here from the plain files of the demo job, by other means than the program's.
"""

import csv
import re
import tomllib
from collections import defaultdict
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

DEMO = Path(str(files("tapehook") / "demo_job"))
GOES, SERIAL, COMES = "L05", "50417", "50431"


def _table(name: str) -> list[dict[str, str]]:
    with (DEMO / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _spoilt_by_files() -> dict[str, str]:
    """What was made for the lens that goes, by the files alone: name as the page has it, and what settles it."""
    places: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in _table("readings.csv"):
        places[row["lens_id"], row["axis"] or "focus"].add(row["distance_text"] or row["value"])
    found = {}
    if len(places[GOES, "focus"]) >= 3:
        found[f"focus strip of {GOES}"] = "two marks"
    for axis in ("iris", "zoom"):
        if len(places[GOES, axis]) >= 3:
            found[f"{axis} ring of {GOES}"] = "reading that ring"
    for shot in (DEMO / "shots").glob("*.toml"):
        text = tomllib.loads(shot.read_text(encoding="utf-8"))
        if GOES in {text.get("lens"), text.get("stop_pull", {}).get("lens")}:
            found[shot.stem] = "two marks"
    if any(row["lens_id"] == GOES for row in _table("charts.csv")):
        found[f"chart tests of {GOES}"] = "charts"
    for row in _table("lenses.csv"):
        if row["twin_of"] == GOES and 2 <= len(places[row["id"], "focus"]) < 6:
            found[row["id"]] = "two marks"
    return found


def _listed(page: "Page", rows: str = "tr") -> dict[str, str]:
    """What the page lists, and what it says settles each."""
    found = {}
    for row in page.locator(f"#spoilt tbody {rows}").all():
        name = row.locator("th bdi").first.inner_text()
        assert name not in found
        found[name] = row.locator("td").inner_text().split("\n")[0]
    return found


def _on_set_with(visits: Visits) -> "Page":
    """On set on a phone, in the dark, the lens that goes on camera A."""
    page = visits.open(width=360, height=780, scheme="dark", touch=True)
    page.get_by_role("button", name="Take the demo job in").tap()
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/onset"))
    page.locator("#swap").tap()
    page.fill("#shelf-search", SERIAL)
    page.locator("#shelf-list button").first.tap()
    page.locator("#lens-line", has_text=SERIAL).wait_for()
    return page


def test_lists_exactly_what_it_spoils_and_two_marks_clear_it(own_pages: Visits) -> None:
    """From On set: neither more nor less than the files and the signature say; two marks clear what marks can clear."""
    page = _on_set_with(own_pages)
    page.locator("#to-bench").tap()
    page.wait_for_url(re.compile("/bench/"))
    page.locator("#sign button").tap()
    page.get_by_text("signed off by").wait_for()
    page.go_back()
    page.locator("#lens-line", has_text=SERIAL).wait_for()
    page.locator("#to-swap").tap()
    page.wait_for_url(re.compile("/swap/"))
    expected = {**_spoilt_by_files(), f"sign-off of {GOES} (lens)": "a signature"}
    assert len(expected) >= 4
    assert _listed(page) == expected
    assert _listed(page, "tr.open") == expected

    page.get_by_label("its serial").fill(COMES)
    page.get_by_label("where it shows 5', near→far").fill("156.8")
    page.get_by_label("where it shows 2'3\", near→far").fill("275.4")
    page.get_by_role("button", name="Judge it").tap()
    page.locator("#spoilt tr.cleared").first.wait_for()
    cleared = {name for name, by in expected.items() if by == "two marks"}
    assert set(_listed(page, "tr.cleared")) == cleared
    assert set(_listed(page, "tr.open")) == set(expected) - cleared
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_marks_that_leave_much_say_from_which_stop_and_what_to_read_next(own_pages: Visits) -> None:
    """Over a quarter of the depth: the stop it is safe from, two marks to read next, and what they leave; each further
    mark brings it down, as read the other way does."""
    page = _on_set_with(own_pages)
    page.locator("#to-swap").tap()
    page.wait_for_url(re.compile("/swap/"))
    page.get_by_label("its serial").fill(COMES)
    page.get_by_label("where it shows 5', near→far").fill("156.8")
    page.get_by_label("where it shows 2'3\", near→far").fill("275.4")
    page.get_by_role("button", name="Judge it").tap()
    said = page.locator(".finding.watch", has_text="settle it with care")
    said.wait_for()
    two = _share(said.inner_text())
    assert two >= 25
    assert re.search(r"under a quarter from T[\d.]+ on\.", said.inner_text())
    step = re.search(r"Read (.+) and (.+) next, both ways: that leaves (\d+) % at T", said.inner_text())
    assert step is not None
    assert int(step.group(3)) < two
    further = page.get_by_label("further marks")
    assert step.group(1) in (further.get_attribute("placeholder") or "")
    further.fill("3' = 222.9")
    page.get_by_role("button", name="Judge it").tap()
    page.get_by_text("3 marks settle it").wait_for()
    three = _share(said.inner_text())
    page.get_by_label("where it shows 5', far→near").fill("157.0")
    page.get_by_label("where it shows 2'3\", far→near").fill("275.6")
    page.get_by_role("button", name="Judge it").tap()
    page.get_by_text("3 marks settle it").wait_for()
    assert _share(said.inner_text()) < three < two


def _share(text: str) -> int:
    found = re.search(r"uses (\d+) % of the depth", text)
    assert found is not None
    return int(found.group(1))


def test_what_is_typed_wrong_is_said_beside_it(own_pages: Visits) -> None:
    """A position in words and a mark without its position: told by name, the rest is judged."""
    page = _on_set_with(own_pages)
    page.locator("#to-swap").tap()
    page.get_by_label("where it shows 5', near→far").fill("at the stop")
    page.get_by_role("button", name="Judge it").tap()
    page.get_by_role("alert").get_by_text("5': ").wait_for()
    assert page.locator("#spoilt tbody tr").count() == len(_spoilt_by_files())
