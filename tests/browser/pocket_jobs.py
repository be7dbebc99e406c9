"""Small jobs for the tests of the pocket page."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, Protocol

from tapehook.job.records import Job, Lens, Reading
from tapehook.prep import Prep, prepare

if TYPE_CHECKING:
    from playwright.sync_api import Page

Theme = Literal["dark", "light"]
Marks = Sequence[tuple[float, float]]

MARKS: Marks = ((0.6, 300.0), (0.8, 215.0), (1.0, 167.0), (1.5, 107.0), (2.0, 78.0), (4.0, 37.0), (math.inf, 0.0))
"""A plain 50 mm lens: distance in metres, position in degrees."""
TURNING: Marks = ((0.6, 300.0), (0.8, 200.0), (1.0, 260.0), (1.5, 100.0), (2.0, 150.0), (4.0, 30.0), (math.inf, 0.0))
"""Readings no ring can give: they turn back on themselves."""
HOSTILE = (
    "</script><script>globalThis.broken=1</script>",
    '"><img src=x onerror="globalThis.broken=1">',
    "<!--",
    "]]>&lt;b&gt;&amp;",
    "$title ${data} {{x}} `${1}`",
    "\u202etxet desrever\u2066",
    "a\u2028b\u2029c",
    "' onmouseover='globalThis.broken=1",
    "=1+1",
)
"""Names that would break a page which takes them for anything but text."""


class OpenPocket(Protocol):
    """Opens the pocket page of a prepared job, at a lens if one is named; see ``conftest.py``."""

    def __call__(
        self, prep: Prep, lens_id: str | None = None, *, width: int = 360, height: int = 740, theme: Theme = "dark"
    ) -> "Page":
        """The page, offline, in a device that asks for ``theme``."""
        ...


def readings(lens_id: str, marks: Marks = MARKS, *, both_ways: bool = True) -> tuple[Reading, ...]:
    """Readings of one lens without play, from near to far too unless ``both_ways`` is False."""
    ways = ("far_to_near", "near_to_far") if both_ways else ("far_to_near",)
    return tuple(
        Reading.model_validate({"lens_id": lens_id, "value": value, "position": position, "approach": way})
        for value, position in marks
        for way in ways
    )


def lens(**fields: object) -> Lens:
    """A 50 mm lens, with what ``fields`` say otherwise."""
    usual = {"id": "L1", "focal_mm": 50.0, "t_stop": 1.5, "close_focus_m": 0.6, "serial": "S1"}
    return Lens.model_validate(usual | fields)


def one_lens(marks: Marks = MARKS, title: str = "One lens", stop: str | None = None, **fields: object) -> Prep:
    """A prepared job with one lens, shot at ``stop``."""
    only = lens(**fields)
    return prepare(Job(title=title, shooting_stop=stop, lenses=(only,), readings=readings(only.id, marks)))


def said(page: "Page", *ids: str) -> list[str]:
    """Text of elements, by id; the value of a field."""
    texts: list[str] = page.evaluate(
        "ids => ids.map((id) => document.getElementById(id)).map((e) => (e.value ?? e.textContent).trim())", list(ids)
    )
    return texts
