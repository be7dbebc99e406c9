"""How the map of a lens drifted: earlier sessions against the newest, as depth used, over the tape in vergence."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapehook.picture.axis import System, distance_ticks
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, spaced, text_width
from tapehook.picture.svg import Element, drawing, hatch, line, path, rect, words

_SIZE = 9.0
_MOST_SHOWN = 2.5
"""Curves are cut at this share."""
_DATUM = 0.8
"""Vergence is counted from here, as a part of the nearest distance: a lens's own datum lies in front of its sensor."""
_DASHES = ("", "5 3", "1.5 2.5", "8 3 2 3")


@dataclass(frozen=True, slots=True)
class SessionCurve:
    """One earlier session: distances in metres (inf allowed), and shares of the depth with their half-widths (95 %)."""

    title: str
    distance_m: Sequence[float]
    share: Sequence[float]
    half_width: Sequence[float]


@dataclass(frozen=True, slots=True)
class _Frame:
    left: float
    right: float
    top: float
    bottom: float
    near_m: float
    limit: float

    def x(self, distance_m: float) -> float:
        """Near on the left, infinity on the right, even in vergence."""
        datum = self.near_m * (1.0 - _DATUM)
        part = 0.0 if math.isinf(distance_m) else (self.near_m - datum) / (distance_m - datum)
        return self.right - min(max(part, 0.0), 1.0) * (self.right - self.left)

    def y(self, share: float) -> float:
        """Larger shares higher up, cut at the limit."""
        held = min(max(share, -self.limit), self.limit)
        return (self.top + self.bottom) / 2 - held / self.limit * (self.bottom - self.top) / 2


def history_chart(
    curves: Sequence[SessionCurve],
    *,
    newest: str,
    stop_text: str,
    system: System,
    width: float,
    height: float,
    title: str,
    theme: Theme = PAPER,
) -> str:
    """The chart as SVG text, ``width`` by ``height`` points; ``stop_text`` is the stop that the shares hold for.

    Raises ValueError without a curve: there is nothing to hold against the newest session.
    """
    if not curves:
        raise ValueError("a history needs an earlier session with a map")
    near_m = min(min(curve.distance_m) for curve in curves)
    most = max(abs(s) + h for curve in curves for s, h in zip(curve.share, curve.half_width, strict=True))
    rows = _SIZE * 1.4 * len(curves)
    frame = _Frame(44.0, width - 14.0, _SIZE + 8.0, height - _SIZE - 10.0 - rows, near_m, _limit(most))
    parts = [*_field(frame, newest, stop_text, theme), *_axis(frame, system, theme)]
    for at, curve in enumerate(curves):
        parts += _curve(frame, curve, at, theme)
        parts += _legend(frame, curve, at, height - rows + _SIZE * 1.4 * (at + 0.75), theme)
    return drawing(width, height, title, _description(curves, newest, stop_text), *parts)


def _limit(most: float) -> float:
    return min(max(1.25, 1.08 * most if math.isfinite(most) else _MOST_SHOWN), _MOST_SHOWN)


def _field(frame: _Frame, newest: str, stop_text: str, theme: Theme) -> list[Element]:
    """The sharp zone about the newest map, its edges hatched, and what the upward axis is."""
    top, bottom = frame.y(1.0), frame.y(-1.0)
    across = frame.right - frame.left
    heading = f"earlier maps off that of {newest}, depth used at {stop_text} (shaded: still sharp)"
    parts = [
        words(0, _SIZE, heading, size=_SIZE, fill=theme.quiet),
        rect(frame.left, top, across, bottom - top, fill=theme.sharp),
        hatch(frame.left, top, across, 3.0, gap=3.0, stroke=theme.sharp_edge, weight=0.35),
        hatch(frame.left, bottom - 3.0, across, 3.0, gap=3.0, stroke=theme.sharp_edge, weight=0.35),
        line(frame.left, frame.y(0.0), frame.right, frame.y(0.0), stroke=theme.ink, stroke_width=0.7),
    ]
    for share, label in ((1.0, "+100 %"), (0.0, "0"), (-1.0, "−100 %")):
        y = frame.y(share)
        parts.append(words(frame.left - 5, y + 3.2, label, size=_SIZE, fill=theme.quiet, anchor="end"))
    return parts


def _axis(frame: _Frame, system: System, theme: Theme) -> list[Element]:
    ticks = distance_ticks(frame.near_m, math.inf, system)
    wanted = [Label(frame.x(tick.value), tick.text) for tick in ticks]
    parts: list[Element] = []
    for name in spaced(wanted, _SIZE, gap=5.0, left=0.0, right=frame.right + 14.0):
        parts.append(line(name.x, frame.top, name.x, frame.bottom, stroke=theme.line, stroke_width=0.4))
        parts.append(words(name.x, frame.bottom + _SIZE + 3, name.text, size=_SIZE, fill=theme.ink, anchor="middle"))
    return parts


def _curve(frame: _Frame, curve: SessionCurve, at: int, theme: Theme) -> list[Element]:
    xs = [frame.x(distance) for distance in curve.distance_m]
    pairs = list(zip(xs, curve.share, curve.half_width, strict=True))
    upper = [(x, frame.y(share + half)) for x, share, half in pairs]
    lower = [(x, frame.y(share - half)) for x, share, half in reversed(pairs)]
    return [
        path(upper + lower, closed=True, fill="none", stroke=_colour(at, theme), stroke_width=0.3),
        path([(x, frame.y(share)) for x, share, _ in pairs], closed=False, fill="none", **_stroke(at, theme)),
    ]


def _colour(at: int, theme: Theme) -> str:
    return theme.series[at % len(theme.series)]


def _stroke(at: int, theme: Theme) -> dict[str, str]:
    dash = _DASHES[at % len(_DASHES)]
    return {"stroke": _colour(at, theme), "stroke_width": "1.5"} | ({"stroke_dasharray": dash} if dash else {})


def _legend(frame: _Frame, curve: SessionCurve, at: int, y: float, theme: Theme) -> list[Element]:
    """One line: the curve's stroke and its session; long names are cut."""
    text, room = curve.title, frame.right - frame.left - 34.0
    while len(text) > 1 and text_width(text, _SIZE) > room:
        text = f"{text[:-2]}…"
    return [
        line(frame.left, y - 3.0, frame.left + 26.0, y - 3.0, **_stroke(at, theme)),
        words(frame.left + 32.0, y, text, size=_SIZE, fill=theme.ink),
    ]


def _description(curves: Sequence[SessionCurve], newest: str, stop_text: str) -> str:
    """The picture in words."""
    said = [f"{curve.title}: at most {100 * max(map(abs, curve.share)):.0f} %" for curve in curves]
    return f"Maps of earlier sessions against that of {newest}, in depth used at {stop_text}. {'; '.join(said)}."
