"""The map of a ring: position against what it sets, with its 95 % band, and below it what each mark is off by.

Distances are spaced by vergence, near on the left and infinity on the right; stops and focal lengths by equal ratios.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapehook.lens import FocalScale, FocusScale, LensMap, StopScale
from tapehook.notation import PositionUnit, format_position
from tapehook.picture.axis import System, Tick, distance_ticks, focal_ticks, linear_ticks, stop_ticks
from tapehook.picture.budget_bar import percent_text
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, spaced, text_width
from tapehook.picture.svg import Element, drawing, element, hatch, line, path, rect, words

_SIZE = 9.0
_GRID = 97
_PANEL = 74.0
"""Height of the lower panel with its heading, points."""
_BAR = 5.0
_MOST_SHOWN = 2.5
"""Bars are cut at this share, and say so with their figure."""


@dataclass(frozen=True, slots=True)
class ChartMark:
    """A mark on the chart: what it sets, where it was read, what to call it.

    ``used`` is its error against the map as a share of the depth, positive when it was read at a larger position;
    None where the depth is not known. ``suspect`` marks are crossed out and named.
    """

    value: float
    position: float
    text: str
    used: float | None = None
    suspect: bool = False


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a value and a position lie on the picture, points: left, right, top, bottom of the upper panel."""

    lens_map: LensMap
    unit: PositionUnit
    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float

    def xs(self, values: Sequence[float]) -> list[float]:
        """Places of values; the near end is on the left for distances, the small end for other rings."""
        scale = self.lens_map.scale
        far, near, *here = scale.place([self.lens_map.far_value, self.lens_map.near_value, *values]).tolist()
        # A mark nearer than the scale can place stands at the near edge, as any mark beyond it does.
        placed = [math.inf if math.isnan(place) else place for place in here]
        parts = [min(max((place - far) / (near - far), -0.05), 1.05) for place in placed]
        if isinstance(scale, FocusScale):
            return [self.right - part * self._span for part in parts]
        return [self.left + part * self._span for part in parts]

    def y(self, position: float) -> float:
        """Place of a position, larger ones higher up."""
        return self.bottom - (position - self.low) / (self.high - self.low) * (self.bottom - self.top)

    @property
    def _span(self) -> float:
        return self.right - self.left


def map_chart(
    lens_map: LensMap,
    marks: Sequence[ChartMark],
    *,
    unit: PositionUnit,
    system: System,
    stop_text: str | None,
    width: float,
    height: float,
    title: str,
    map_used: Sequence[tuple[float, float]] = (),
    theme: Theme = PAPER,
) -> str:
    """The chart as SVG text, ``width`` by ``height`` points.

    The lower panel appears when marks carry shares; ``stop_text`` ("T2.8") is then required, or ValueError is raised:
    a share without its stop means nothing. ``map_used`` are pairs of value and the share that the uncertainty of the
    map takes there, shown as a band in the lower panel.
    """
    with_panel = any(mark.used is not None for mark in marks)
    if with_panel and not stop_text:
        raise ValueError("depth used must name the stop it holds for")
    frame = _frame(lens_map, marks, unit, width, height - (_PANEL if with_panel else 0.0))
    ticks = _ticks(lens_map, system)
    places = zip(frame.xs([tick.value for tick in ticks]), ticks, strict=True)
    labels = [Label(x, tick.text) for x, tick in places]
    names = spaced(labels, _SIZE, gap=5.0, left=0.0, right=width)
    parts = [
        *_grid_lines(frame, names, theme),
        *_curve(frame, theme),
        *_dots(frame, marks, theme),
    ]
    if with_panel:
        parts += _panel(frame, marks, map_used, str(stop_text), height, theme)
    return drawing(width, height, title, _description(lens_map, marks, unit, stop_text if with_panel else None), *parts)


def _frame(lens_map: LensMap, marks: Sequence[ChartMark], unit: PositionUnit, width: float, height: float) -> _Frame:
    """The upper panel: wide enough for its labels, high enough for band and marks."""
    _, positions, band = lens_map.grid(_GRID)
    edges = [*(positions - band), *(positions + band), *(mark.position for mark in marks)]
    low, high = float(np.min(edges)), float(np.max(edges))
    pad = 0.04 * (high - low) or 1.0
    low, high = low - pad, high + pad
    labels = [text for _, text in _position_labels(low, high, unit)]
    left = max((text_width(label, _SIZE) for label in labels), default=0.0) + 7.0
    return _Frame(lens_map, unit, max(left, 36.0), width - 12.0, _SIZE + 7.0, height - _SIZE - 9.0, low, high)


def _position_labels(low: float, high: float, unit: PositionUnit) -> list[tuple[float, str]]:
    """Round positions with as many decimals as their step has."""
    ticks = linear_ticks(low, high)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    return [(tick, format_position(tick, unit, step=float(f"{step:.6g}"))) for tick in ticks]


def _ticks(lens_map: LensMap, system: System) -> list[Tick]:
    """Ticks of the axis of values."""
    ends = sorted((lens_map.far_value, lens_map.near_value))
    if isinstance(lens_map.scale, StopScale):
        return stop_ticks(*ends)
    if isinstance(lens_map.scale, FocalScale):
        return focal_ticks(*ends)
    return distance_ticks(ends[0], ends[1], system)


def _grid_lines(frame: _Frame, names: Sequence[Label], theme: Theme) -> list[Element]:
    """Ruled lines with their labels, and what the upward axis is."""
    parts = [words(0, _SIZE, "ring position", size=_SIZE, fill=theme.quiet)]
    for position, label in _position_labels(frame.low, frame.high, frame.unit):
        y = frame.y(position)
        parts.append(line(frame.left, y, frame.right, y, stroke=theme.line, stroke_width=0.5))
        parts.append(words(frame.left - 5, y + 3.2, label, size=_SIZE, fill=theme.quiet, anchor="end"))
    for name in names:
        parts.append(line(name.x, frame.top, name.x, frame.bottom, stroke=theme.line, stroke_width=0.5))
        parts.append(words(name.x, frame.bottom + _SIZE + 3, name.text, size=_SIZE, fill=theme.ink, anchor="middle"))
    return parts


def _curve(frame: _Frame, theme: Theme) -> list[Element]:
    """Band and curve."""
    values, positions, band = frame.lens_map.grid(_GRID)
    xs = frame.xs(values.tolist())
    upper = [(x, frame.y(float(p + b))) for x, p, b in zip(xs, positions, band, strict=True)]
    lower = [(x, frame.y(float(p - b))) for x, p, b in zip(xs, positions, band, strict=True)]
    middle = [(x, frame.y(float(p))) for x, p in zip(xs, positions, strict=True)]
    return [
        path(upper + lower[::-1], closed=True, fill=theme.band, stroke=theme.band, stroke_width=0.4),
        path(middle, fill="none", stroke=theme.accent, stroke_width=1.2),
    ]


def _dots(frame: _Frame, marks: Sequence[ChartMark], theme: Theme) -> list[Element]:
    """Marks as dots; suspect ones as crosses with a word."""
    parts: list[Element] = []
    for x, mark in zip(frame.xs([mark.value for mark in marks]), marks, strict=True):
        y = frame.y(mark.position)
        if mark.suspect:
            parts += _cross(x, y, f"check {mark.text}", frame, theme)
        else:
            parts.append(element("circle", cx=x, cy=y, r=2.4, fill=theme.ink))
    return parts


def _cross(x: float, y: float, text: str, frame: _Frame, theme: Theme) -> list[Element]:
    """A cross at (x, y), its word beside it on the side with more room."""
    style = {"stroke": theme.fault, "stroke_width": "1.8", "stroke_linecap": "round"}
    on_left = x > (frame.left + frame.right) / 2
    beside = x - 7 if on_left else x + 7
    place = min(max(y + 3.2, frame.top + _SIZE), frame.bottom - 2)
    return [
        line(x - 3.5, y - 3.5, x + 3.5, y + 3.5, **style),
        line(x - 3.5, y + 3.5, x + 3.5, y - 3.5, **style),
        words(beside, place, text, size=_SIZE, fill=theme.fault, anchor="end" if on_left else "start", bold=True),
    ]


def _panel(
    frame: _Frame,
    marks: Sequence[ChartMark],
    map_used: Sequence[tuple[float, float]],
    stop_text: str,
    height: float,
    theme: Theme,
) -> list[Element]:
    """What each mark is off by, as depth used at the stop; shaded where the picture is still sharp."""
    top, bottom = height - _PANEL + _SIZE + 5.0, height - 2.0
    shares = [abs(mark.used) for mark in marks if mark.used is not None]
    limit = min(max(1.25, 1.08 * max(shares, default=0.0)), _MOST_SHOWN)
    middle, scale = (top + bottom) / 2, (bottom - top) / 2 / limit
    heading = f"each mark off the map, depth used at {stop_text} (shaded: still sharp)"
    parts = [
        words(frame.left, top - 5, heading, size=_SIZE, fill=theme.quiet),
        *_still_sharp(frame, middle, scale, theme),
        *_map_share(frame, map_used, middle, scale, limit, theme),
        line(frame.left, middle, frame.right, middle, stroke=theme.ink, stroke_width=0.7),
    ]
    for share, label in ((1.0, "+100 %"), (0.0, "0"), (-1.0, "−100 %")):
        y = middle - share * scale + 3.2
        parts.append(words(frame.left - 4, y, label, size=_SIZE, fill=theme.quiet, anchor="end"))
    for x, mark in zip(frame.xs([mark.value for mark in marks]), marks, strict=True):
        if mark.used is not None:
            parts += _bar(x, frame.right, mark, middle, scale, limit, theme)
    return parts


def _still_sharp(frame: _Frame, middle: float, scale: float, theme: Theme) -> list[Element]:
    """The sharp zone from -100 % to 100 %, with hatched edges."""
    width, top, deep = frame.right - frame.left, middle - scale, 2 * scale
    edges = [
        hatch(frame.left, y, width, 3.0, gap=3.0, stroke=theme.sharp_edge, weight=0.35)
        for y in (top, middle + scale - 3.0)
    ]
    lines = [
        line(frame.left, y, frame.right, y, stroke=theme.sharp_edge, stroke_width=0.7) for y in (top, middle + scale)
    ]
    return [rect(frame.left, top, width, deep, fill=theme.sharp), *edges, *lines]


def _map_share(
    frame: _Frame,
    map_used: Sequence[tuple[float, float]],
    middle: float,
    scale: float,
    limit: float,
    theme: Theme,
) -> list[Element]:
    """The map's own uncertainty as a band about zero."""
    known = [(value, share) for value, share in map_used if not math.isnan(share)]
    xs = frame.xs([value for value, _ in known])
    pairs = [(x, min(share, limit) * scale) for x, (_, share) in zip(xs, known, strict=True)]
    if len(pairs) < 2:
        return []
    upper = [(x, middle - reach) for x, reach in pairs]
    lower = [(x, middle + reach) for x, reach in reversed(pairs)]
    return [path(upper + lower, closed=True, fill=theme.band)]


def _bar(
    x: float, right: float, mark: ChartMark, middle: float, scale: float, limit: float, theme: Theme
) -> list[Element]:
    """One bar; beyond the panel it is cut and its figure written beside it."""
    used = float(mark.used or 0.0)
    shown = math.copysign(min(abs(used), limit), used)
    parts = [
        rect(
            x - _BAR / 2,
            middle,
            _BAR,
            -shown * scale,
            fill=theme.fault if mark.suspect or abs(used) > 1.0 else theme.accent,
        )
    ]
    if abs(used) > 1.0:
        text = percent_text(abs(used))
        y = middle - shown * scale + (_SIZE * 0.9 if used > 0 else -2.0)
        fits = x + _BAR + text_width(text, _SIZE, bold=True) <= right + 10.0
        place, anchor = (x + _BAR, "start") if fits else (x - _BAR, "end")
        parts.append(words(place, y, text, size=_SIZE, fill=theme.fault, anchor=anchor, bold=True))
    return parts


def _description(lens_map: LensMap, marks: Sequence[ChartMark], unit: PositionUnit, stop_text: str | None) -> str:
    """The picture in words."""
    _, positions, _ = lens_map.grid(3)
    ends = " to ".join(format_position(float(p), unit) for p in (positions[-1], positions[0]))
    suspects = [mark.text for mark in marks if mark.suspect]
    text = f"Ring position from {ends} over {len(marks)} marks, with the 95 % band of the map."
    if suspects:
        text += f" To be checked: {', '.join(suspects)}."
    worst = max((abs(mark.used) for mark in marks if mark.used is not None), default=None)
    if worst is not None and stop_text and math.isfinite(worst):
        text += f" The worst mark is off by {worst * 100:.0f} % of the depth at {stop_text}."
    return text
