"""The sharp lane of a shot over time, and the pull through it: vergence upwards, so that the lane keeps its width."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapehook.picture.axis import System, distance_ticks, linear_ticks
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, spaced, text_width
from tapehook.picture.svg import Element, drawing, line, path, rect, words

_SIZE = 9.0
_DASHES = ("5 3", "1.5 2.5", "8 3 2 3", "3 1.5")
_MOST_POINTS = 500
_SPARE = 0.12
"""Of the range of what is drawn, left free above and below it."""


@dataclass(frozen=True, slots=True)
class PersonLine:
    """Somebody's distance at each moment, metres, and the moments at which they should be sharp and are not."""

    name: str
    distance_m: Sequence[float]
    soft: Sequence[bool]


@dataclass(frozen=True, slots=True)
class LaneChart:
    """A shot over its K moments: what is in focus at the near and at the far end of the lane, and on the line.

    Distances in metres from the image plane, inf allowed; ``near_m`` and ``far_m`` span the whole ring where nobody is
    to be sharp. ``marks`` are the moments of the marks.
    """

    time_s: Sequence[float]
    near_m: Sequence[float]
    far_m: Sequence[float]
    focus_m: Sequence[float]
    people: Sequence[PersonLine]
    marks: Sequence[float]
    stop_text: str


@dataclass(frozen=True, slots=True)
class _Frame:
    left: float
    right: float
    top: float
    bottom: float
    end_s: float
    low: float
    high: float

    def x(self, time_s: float) -> float:
        return self.left + (self.right - self.left) * time_s / self.end_s

    def y(self, distance_m: float) -> float:
        """Near at the top, infinity below, even in vergence, cut at the ends."""
        part = (_vergence(distance_m) - self.low) / (self.high - self.low)
        return self.bottom - min(max(part, 0.0), 1.0) * (self.bottom - self.top)


def _vergence(distance_m: float) -> float:
    return 0.0 if math.isinf(distance_m) or distance_m <= 0 else 1.0 / max(distance_m, 0.05)


def lane_chart(
    chart: LaneChart, *, system: System, width: float, height: float, title: str, theme: Theme = PAPER
) -> str:
    """The chart as SVG text, ``width`` by ``height`` points. Raises ValueError with fewer than two moments."""
    if len(chart.time_s) < 2:
        raise ValueError("a shot needs two moments")
    every = -(-len(chart.time_s) // _MOST_POINTS)
    at = sorted({*range(0, len(chart.time_s), every), len(chart.time_s) - 1})
    low, high = _span(chart)
    rows = _SIZE * 1.5
    frame = _Frame(44.0, width - 12.0, _SIZE + 8.0, height - _SIZE - 10.0 - rows, chart.time_s[-1], low, high)
    parts = [*_ground(frame, chart, theme), *_lane(frame, chart, at, theme), *_axes(frame, system, theme)]
    for place, person in enumerate(chart.people):
        parts += _person(frame, chart, person, place, at, theme)
    parts.append(path([(frame.x(chart.time_s[k]), frame.y(chart.focus_m[k])) for k in at], fill="none",
                      stroke=theme.accent, stroke_width=2.0))  # fmt: skip
    for moment in chart.marks:
        k = min(range(len(chart.time_s)), key=lambda i: abs(chart.time_s[i] - moment))
        parts.append(_diamond(frame.x(moment), frame.y(chart.focus_m[k]), theme))
    parts += _legend(frame, chart, height - 3.0, theme)
    return drawing(width, height, title, _description(chart), *parts)


def _span(chart: LaneChart) -> tuple[float, float]:
    """The range of vergence that matters: the line and the people, with room about them."""
    shown = [_vergence(distance) for person in chart.people for distance in person.distance_m]
    shown += [_vergence(distance) for distance in chart.focus_m]
    low, high = min(shown), max(shown)
    spare = max(_SPARE * (high - low), 0.06 * high, 1e-3)
    return max(low - spare, 0.0), high + spare


def _ground(frame: _Frame, chart: LaneChart, theme: Theme) -> list[Element]:
    heading = f"what is in focus over time (shaded: sharp at {chart.stop_text}); seconds below"
    across, high = frame.right - frame.left, frame.bottom - frame.top
    return [
        words(0, _SIZE, heading, size=_SIZE, fill=theme.quiet),
        rect(frame.left, frame.top, across, high, fill="none", stroke=theme.line, stroke_width=0.6),
    ]


def _lane(frame: _Frame, chart: LaneChart, at: Sequence[int], theme: Theme) -> list[Element]:
    """The lane, its ends drawn as thin lines, so that it is told without its colour."""
    near = [(frame.x(chart.time_s[k]), frame.y(chart.near_m[k])) for k in at]
    far = [(frame.x(chart.time_s[k]), frame.y(chart.far_m[k])) for k in at]
    return [
        path(near + far[::-1], closed=True, fill=theme.sharp),
        path(near, fill="none", stroke=theme.sharp_edge, stroke_width=0.6),
        path(far, fill="none", stroke=theme.sharp_edge, stroke_width=0.6),
    ]


def _axes(frame: _Frame, system: System, theme: Theme) -> list[Element]:
    nearest = 1.0 / frame.high
    farthest = math.inf if frame.low <= 0 else 1.0 / frame.low
    parts: list[Element] = []
    taken: list[float] = []
    for tick in distance_ticks(nearest, farthest, system):
        y = frame.y(tick.value)
        if all(abs(y - other) >= 1.6 * _SIZE for other in taken):
            taken.append(y)
            parts.append(line(frame.left, y, frame.right, y, stroke=theme.line, stroke_width=0.4))
            parts.append(words(frame.left - 5, y + 3.2, tick.text, size=_SIZE, fill=theme.ink, anchor="end"))
    seconds = [Label(frame.x(value), f"{value:g}") for value in linear_ticks(0.0, frame.end_s, 10)]
    for name in spaced(seconds, _SIZE, gap=5.0, left=frame.left - 8.0, right=frame.right + 12.0):
        parts.append(line(name.x, frame.bottom, name.x, frame.bottom + 3, stroke=theme.ink, stroke_width=0.6))
        parts.append(words(name.x, frame.bottom + _SIZE + 3, name.text, size=_SIZE, fill=theme.ink, anchor="middle"))
    return parts


def _person(
    frame: _Frame, chart: LaneChart, person: PersonLine, place: int, at: Sequence[int], theme: Theme
) -> list[Element]:
    """Their distance as a broken line, and crosses where they are soft."""
    points = [(frame.x(chart.time_s[k]), frame.y(person.distance_m[k])) for k in at]
    dash = _DASHES[place % len(_DASHES)]
    parts = [path(points, fill="none", stroke=theme.ink, stroke_width=0.9, stroke_dasharray=dash)]
    soft = [k for k in at if person.soft[k]]
    for k in soft[:: max(1, len(soft) // 12)]:
        x, y = frame.x(chart.time_s[k]), frame.y(person.distance_m[k])
        parts.append(path([(x - 3, y - 3), (x + 3, y + 3)], fill="none", stroke=theme.fault, stroke_width=1.3))
        parts.append(path([(x - 3, y + 3), (x + 3, y - 3)], fill="none", stroke=theme.fault, stroke_width=1.3))
    return parts


def _diamond(x: float, y: float, theme: Theme) -> Element:
    corners = [(x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)]
    return path(corners, closed=True, fill=theme.paper, stroke=theme.accent, stroke_width=1.4)


def _legend(frame: _Frame, chart: LaneChart, y: float, theme: Theme) -> list[Element]:
    parts: list[Element] = []
    x = frame.left
    entries = [("the pull", None), *((one.name, _DASHES[at % len(_DASHES)]) for at, one in enumerate(chart.people))]
    if any(any(one.soft) for one in chart.people):
        entries.append(("x: soft", ""))
    for text, dash in entries:
        room = 26.0 if dash != "" else 0.0
        if x + room + text_width(text, _SIZE) > frame.right + 10:
            break
        if dash is None:
            parts.append(line(x, y - 3, x + 20, y - 3, stroke=theme.accent, stroke_width=2.0))
        elif dash:
            parts.append(line(x, y - 3, x + 20, y - 3, stroke=theme.ink, stroke_width=0.9, stroke_dasharray=dash))
        parts.append(words(x + room, y, text, size=_SIZE, fill=theme.ink))
        x += room + text_width(text, _SIZE) + 14.0
    return parts


def _description(chart: LaneChart) -> str:
    """The picture in words."""
    soft = {one.name: sum(one.soft) for one in chart.people if any(one.soft)}
    said = "; ".join(f"{name} soft in {count} frames" for name, count in soft.items()) or "nobody is soft"
    return f"The sharp lane at {chart.stop_text} over {chart.time_s[-1]:g} s with the pull through it: {said}."
