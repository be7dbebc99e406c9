"""Finding a lens on the pocket page: forgiving, narrowing, and quick among hundreds."""

import time
from typing import TYPE_CHECKING

import pytest

from tapehook.job.records import Job
from tapehook.prep import Prep, prepare
from tests.browser.pocket_jobs import OpenPocket, lens, readings, said

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

LARGEST_JOB = 300


def found_ids(page: "Page") -> list[str]:
    """Ids of the lenses in the list, in its order."""
    ids: list[str] = page.evaluate(
        "[...document.querySelectorAll('#lenses button')].map((b) => tapehook.job.lenses[b.dataset.index].id)"
    )
    return ids


def look_for(page: "Page", query: str) -> list[str]:
    """What the search gives."""
    page.fill("#search", query)
    return found_ids(page)


@pytest.mark.parametrize(
    "query, first",
    [
        ("50", "L05"),
        ("50mm", "L05"),
        ("50 mm", "L05"),
        ("serial 50422", "L24"),
        ("50422", "L24"),
        ("5042", "L24"),
        ("50 442", "L24"),  # two digits swapped
        ("h0404", "L12"),
        ("H-0404", "L12"),
        ("dk 118", "L19"),
        ("l09", "L09"),
        ("L09", "L09"),
        ("heddle 40", "L12"),
        ("HEDDLE40", "L12"),
        ("hedle 40", "L12"),
        ("40 B", "L12"),
        ("camera b 40", "L12"),
        ("32", "L21"),
        ("drawknife", "L19"),
    ],
)  # fmt: skip
def test_search_forgives(demo: Prep, open_pocket: OpenPocket, query: str, first: str) -> None:
    """By focal length, serial, model, id or camera; spaces, dashes, case and one slip do not matter."""
    assert look_for(open_pocket(demo), query)[0] == first


def test_search_narrows_and_says_how_far(demo: Prep, open_pocket: OpenPocket) -> None:
    """A camera's letter gives that camera's lenses; a focal length gives zooms that reach it too; nothing is said."""
    page = open_pocket(demo)
    assert look_for(page, "") == [entry.lens.id for entry in demo.lenses]
    by_camera = {entry.lens.id for entry in demo.lenses if entry.lens.camera == "B"}
    assert set(look_for(page, "cam B")[: len(by_camera)]) == by_camera
    assert look_for(page, "25")[:2] == ["L03", "L19"]
    assert look_for(page, "zzzz") == []
    assert said(page, "found") == ["0 of 24 lenses"]


def many_lenses() -> Prep:
    """A job with more lenses than any truck carries."""
    focals = (14, 18, 21, 25, 29, 32, 35, 40, 50, 65, 75, 85, 100, 135, 180)
    lenses = [
        lens(
            id=f"X{n:03}",
            focal_mm=focals[n % 15],
            serial=f"S{7919 * n % 100_003:05}",
            close_focus_m=None,
            camera="ABC"[n % 3],
        )
        for n in range(LARGEST_JOB)
    ]
    return prepare(Job(title="Whole house", lenses=tuple(lenses), readings=readings("X000")))


def test_search_among_300_lenses_is_quick(open_pocket: OpenPocket) -> None:
    """Typing a serial narrows 300 lenses to the one with each key; the time for a key is printed."""
    prep = many_lenses()
    page = open_pocket(prep)
    wanted = prep.lenses[211].lens
    took = page.evaluate(
        """word => [...word].map((_, i) => {
          const field = document.getElementById("search");
          const start = performance.now();
          field.value = word.slice(0, i + 1);
          field.dispatchEvent(new Event("input"));
          document.body.getBoundingClientRect();
          return performance.now() - start;
        })""",
        wanted.serial,
    )
    print(f"\nsearch among {LARGEST_JOB} lenses: slowest key {max(took):.1f} ms")  # noqa: T201
    assert found_ids(page) == [wanted.id]
    start = time.perf_counter()
    assert look_for(page, f"{wanted.focal_mm:g}")[0] in {
        e.lens.id for e in prep.lenses if e.lens.focal_mm == wanted.focal_mm
    }
    assert time.perf_counter() - start < 5
