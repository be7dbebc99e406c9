"""The one depth rule of the pocket page: its sharp zone, the figures on it, the slider beneath."""

import itertools
from typing import TYPE_CHECKING, Any

import pytest

from tapehook.prep import Prep
from tests.browser.pocket_jobs import OpenPocket, said

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def test_sharp_zone_keeps_its_width(demo: Prep, open_pocket: OpenPocket) -> None:
    """On the one depth rule the sharp zone slides and keeps its width; near and far stand at its ends, apart."""
    page = open_pocket(demo, "L01")
    places, widths = [], []
    for text in ("1'6\"", "2'", "3'", "5'"):
        page.fill("#distance", text)
        page.press("#distance", "Enter")
        x, width = page.evaluate(
            "(z => [+z.getAttribute('x'), +z.getAttribute('width')])(document.querySelector('#rule .zone'))"
        )
        places.append(x)
        widths.append(width)
        ends = page.evaluate("[...document.querySelectorAll('#rule .zone-end')].map((e) => e.textContent)")
        assert ends == said(page, "near", "far")
    assert places == sorted(places)
    assert places[-1] > places[0] + 20
    assert max(widths) == pytest.approx(min(widths), rel=0.05)
    assert page.locator("svg .tape").count() == 1, "one depth rule, never a second"


def slid(page: "Page", value: int) -> dict[str, Any]:
    """The depth rule with the distance slider at ``value``: left and right edges of what stands on it, page pixels."""
    edges: dict[str, Any] = page.evaluate(
        """(value) => {
          const slider = document.getElementById("distance-slider");
          slider.value = value;
          slider.dispatchEvent(new Event("input"));
          const sides = (e) => { const r = e.getBoundingClientRect(); return [r.left, r.right]; };
          const all = (name) => [...document.querySelectorAll(`#rule ${name}`)].map(sides);
          return {
            value: Number(slider.value),
            slider: sides(slider),
            rule: all(".tape")[0],
            zone: all(".zone")[0],
            focus: all(".focus-line")[0],
            ends: all(".zone-end"),
            labels: all(".tick-label"),
          };
        }""",
        value,
    )
    return edges


def assert_apart(rule: list[float], texts: list[list[float]], least: float) -> None:
    """The texts lie inside the rule and at least so many pixels apart."""
    ordered = sorted(texts)
    assert rule[0] <= ordered[0][0]
    assert ordered[-1][1] <= rule[1]
    assert all(right[0] - left[1] >= least for left, right in itertools.pairwise(ordered))


@pytest.mark.parametrize("width", [320, 360, 820, 1440])
@pytest.mark.parametrize("system", ["imperial", "metric"])
def test_figures_on_the_rule_can_be_read(demo: Prep, open_pocket: OpenPocket, width: int, system: str) -> None:
    """Near and far lie inside the rule and apart wherever the focus stands, and so do the distances of the ticks."""
    page = open_pocket(demo, "L01", width=width)
    page.click(f"#{system}")
    for entry in demo.lenses:
        page.evaluate("id => { location.hash = '#' + encodeURIComponent(id) }", entry.lens.id)
        page.wait_for_function("id => tapehook.shown() === id", arg=entry.lens.id)
        for value in (0, 1, 30, 250, 500, 750, 930, 990, 999, 1000):
            seen = slid(page, value)
            assert len(seen["labels"]) >= 4, entry.lens.id
            assert_apart(seen["rule"], seen["labels"], 4)
            if seen["zone"]:
                near, far = seen["ends"]
                assert near < far
                assert_apart(seen["rule"], seen["ends"], 4)


@pytest.mark.parametrize("width", [320, 360, 820, 1440])
def test_thumb_stands_under_the_focus(demo: Prep, open_pocket: OpenPocket, width: int) -> None:
    """Rule and distance slider have the same ends, and the focus line runs down to the middle of the thumb."""
    page = open_pocket(demo, "L05", width=width)
    for value in (0, 200, 640, 1000):
        seen = slid(page, value)
        assert seen["rule"] == pytest.approx(seen["slider"], abs=0.6)
        # A thumb of 36 px (pocket.css) goes from end to end of the slider without leaving it.
        thumb = seen["slider"][0] + 18 + seen["value"] / 1000 * (seen["slider"][1] - seen["slider"][0] - 36)
        assert sum(seen["focus"]) / 2 == pytest.approx(thumb, abs=1)
    tape, slider = (page.locator(name).bounding_box() for name in ("#rule .tape", "#distance-slider"))
    assert tape is not None
    assert slider is not None
    assert 0 <= slider["y"] - tape["y"] - tape["height"] <= 10
    assert tape["height"] == pytest.approx(44, abs=1)


def test_thin_zone_is_seen_on_both_sides_of_the_focus(demo: Prep, open_pocket: OpenPocket) -> None:
    """The quarter of an inch a 200 mm lens has wide open, close up, shows left and right of the focus line."""
    page = open_pocket(demo, "L18", width=320)
    for value in (0, 100, 900):
        seen = slid(page, value)
        assert seen["focus"][0] - seen["zone"][0] >= 2
        assert seen["zone"][1] - seen["focus"][1] >= 2
        assert seen["zone"][1] - seen["zone"][0] <= 12
