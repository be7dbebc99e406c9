"""A lens with its extender in a real browser: the switch at the bench, and On set depth, ring and shares with it."""

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

from tapehook.optics import depth_of_field, sharp_blur_m
from tapehook.optics.extender import Extender
from tapehook.prep import Prep
from tapehook.prep.extender import extended_lens, extender_of
from tapehook.prep.room import optics_of
from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def _extender(demo: Prep) -> Extender:
    found = extender_of(demo.lens("L03").lens)
    assert found is not None
    assert found.length_m > 0
    return found


def _on_set(visits: Visits) -> "Page":
    """On set on a phone with the lens that has an extender."""
    page = visits.open(width=360, height=780, scheme="dark", touch=True)
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/onset"))
    page.evaluate("localStorage.clear()")
    page.locator("#swap").tap()
    page.fill("#shelf-search", "25108")
    page.locator("#shelf-list button").first.tap()
    page.locator("#lens-line", has_text="25108").wait_for()
    return page


def test_depth_with_the_extender_is_that_of_python(own_pages: Visits, demo: Prep) -> None:
    """At any stop and distance: what is sharp on the lens's own scale for the smaller blur, and its length on top."""
    page = _demo_on_set(own_pages)
    entry, extender = demo.lens("L03"), _extender(demo)
    length_m = extender.length_m
    optics = optics_of(entry)
    assert optics is not None
    settings = [(t, d) for t in (1.3, 2.0, 5.6) for d in (0.4, 0.6, 1.0, 2.5, 8.0)]
    script = """(settings) => settings.map(([t, d]) => {
      const lens = tapehook.job.lenses.find((one) => one.id === "L03");
      const found = tapehook.depthThrough(lens.optics, lens.extender, t, d);
      return [found.nearM, found.farM === Infinity ? null : found.farM, found.halfWidthDpt];
    })"""
    for (t, distance_m), (near, far, half) in zip(settings, page.evaluate(script, settings), strict=True):
        blur_m = sharp_blur_m(extender.blur_before_m(entry.coc_m), entry.blur_floor_m)
        number = t * entry.transmission**0.5
        want = depth_of_field(distance_m - length_m, optics.focal_m, number, blur_m, optics.pupil)
        assert near == pytest.approx(float(want.near_m) + length_m, rel=1e-9)
        assert half == pytest.approx(float(want.half_width_dpt), rel=1e-9)
        if far is None:
            assert np.isinf(want.far_m)
        else:
            assert far == pytest.approx(float(want.far_m) + length_m, rel=1e-9)


def _demo_on_set(visits: Visits) -> "Page":
    page = visits.open()
    page.get_by_role("button", name="Take the demo job in").click()
    page.wait_for_url(re.compile("/prep$"))
    page.goto(page.url.replace("/prep", "/onset"))
    page.locator("#near", has_text=re.compile(r"\d")).wait_for()
    return page


def test_the_switch_changes_depth_ring_and_stop(own_pages: Visits, demo: Prep) -> None:
    """On a phone: less in all, the ring a little farther, shares at the stop it works at; off again all is as it was,
    and the camera comes back as it was left. The share at the worst distance is that of prep."""
    first = own_pages.open()
    first.get_by_role("button", name="Take the demo job in").click()
    first.wait_for_url(re.compile("/prep$"))
    page = _on_set(own_pages)
    assert page.locator("#extender-row").is_visible()
    page.fill("#distance", "3'")
    page.press("#distance", "Enter")
    shown = (
        "() => ['ring', 'near', 'total', 'far', 'budget-title'].map((id) => document.getElementById(id).textContent)"
    )
    bare = page.evaluate(shown)
    extender = _extender(demo)
    works_at = f"T{2 * extender.factor:g}"
    page.locator("#extender").check()
    page.get_by_text(f"T2 on the ring works at {works_at}").wait_for()
    assert f"{25 * extender.factor:.0f} mm" in page.locator("#extender-words").inner_text()
    with_it = page.evaluate(shown)
    assert all(one != other for one, other in zip(bare, with_it, strict=True))
    assert with_it[4] == f"focus budget at {works_at}"
    lens_map = demo.lens("L03").focus_map
    assert lens_map is not None
    at = float(lens_map.position(3 * 0.3048 - extender.length_m)[0][0])
    assert float(with_it[0].removesuffix("°")) == pytest.approx(at, abs=0.06)
    page.reload()
    page.get_by_text(f"T2 on the ring works at {works_at}").wait_for()
    assert page.evaluate(shown) == with_it
    page.locator("#extender").uncheck()
    assert page.evaluate(shown) == bare
    page.locator("#swap").tap()
    page.fill("#shelf-search", "50417")
    page.locator("#shelf-list button").first.tap()
    page.locator("#lens-line", has_text="50417").wait_for()
    assert not page.locator("#extender-row").is_visible()


def test_the_share_with_it_is_that_of_prep(own_pages: Visits, demo: Prep) -> None:
    """At each distance of the budget, ring at the stop prep sets it to: the page's own share is prep's."""
    page = _demo_on_set(own_pages)
    found = extended_lens(demo.lens("L03"))
    assert found is not None
    distances = [float(one) for one in found.budget.distance_m if np.isfinite(one)]
    script = """([t, distances]) => {
      const lens = tapehook.job.lenses.find((one) => one.id === "L03");
      const turned = { ...lens.budget, terms: lens.budget.terms };
      return distances.map((scale) => {
        const found = tapehook.depthThrough(lens.optics, lens.extender, t, scale + lens.extender.lengthM);
        const datum = found.state.pupilToSensorM - lens.extender.lengthM;
        return tapehook.budgetAt(turned, datum, scale, found.halfWidthDpt).own;
      });
    }"""
    own = page.evaluate(script, [found.set_to.t_number, distances])
    want = [float(one) for one in found.budget.own[np.isfinite(found.budget.distance_m)]]
    assert own == pytest.approx(want, rel=2e-3)


def test_the_bench_switches_between_bare_and_with_it(demo_pages: Visits) -> None:
    """By keys: one way shows, the others do not; it opens with the extender."""
    page = demo_pages.open()
    page.wait_for_url(re.compile("/prep$"))
    page.locator("table.lenses tr", has_text="25108").locator("a").first.click()
    page.wait_for_url(re.compile("/bench/"))
    views = page.locator("[data-view]")
    assert [views.nth(k).is_visible() for k in range(2)] == [False, True]
    page.locator(".through input").nth(1).focus()
    page.keyboard.press("ArrowLeft")
    assert [views.nth(k).is_visible() for k in range(2)] == [True, False]
    assert views.nth(0).get_by_text("25 mm", exact=True).is_visible()
