"""A lens on its way to the temperature of the air: how warm it is when, until when it fogs, and when it has settled."""

import math
from dataclasses import dataclass

from tapehook.notation import format_temperature
from tapehook.picture.axis import linear_ticks
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, spaced, text_width
from tapehook.picture.svg import Element, drawing, hatch, line, path, rect, words

_SIZE = 9.0
_POINTS = 81
_SHORTEST_S = 1_800.0
_LEAST_ROOM = 130.0
"""Points that the longest words beside a level take."""
_PAST = 1.15
"""How far the axis runs past the moment it has settled."""


@dataclass(frozen=True, slots=True)
class WarmingChart:
    """A lens at ``lens_c`` comes into air of ``air_c``; what is no warmer than ``fogs_at_c`` fogs, by ``frost`` or dew.

    ``clear_s`` is when it no longer fogs (0: it never does, inf: it does for good), ``settled_s`` when it has the
    temperature of the air. ``later`` is what its barrel showed then: seconds and °C. The time constant is in seconds.
    """

    lens_c: float
    air_c: float
    fogs_at_c: float
    time_constant_s: float
    clear_s: float
    settled_s: float
    later: tuple[float, float] | None = None
    frost: bool = False

    def at_c(self, seconds: float) -> float:
        """The temperature of the lens after so many seconds, by Newton's law of cooling."""
        return self.air_c + (self.lens_c - self.air_c) * math.exp(-seconds / self.time_constant_s)

    @property
    def end_s(self) -> float:
        """Where the axis ends."""
        clear = self.clear_s if math.isfinite(self.clear_s) else 0.0
        later = self.later[0] if self.later else 0.0
        return max(_SHORTEST_S, _PAST * max(self.settled_s, clear, later))


@dataclass(frozen=True, slots=True)
class _Frame:
    left: float
    right: float
    top: float
    bottom: float
    end_s: float
    low_c: float
    high_c: float

    def x(self, seconds: float) -> float:
        return self.left + min(max(seconds / self.end_s, 0.0), 1.0) * (self.right - self.left)

    def y(self, celsius: float) -> float:
        part = (celsius - self.low_c) / (self.high_c - self.low_c)
        return self.bottom - min(max(part, 0.0), 1.0) * (self.bottom - self.top)


def warming_chart(chart: WarmingChart, *, width: float, height: float, title: str, theme: Theme = PAPER) -> str:
    """The chart as SVG text, ``width`` by ``height`` points."""
    temperatures = (chart.lens_c, chart.air_c, chart.fogs_at_c)
    low, high = min(temperatures), max(temperatures)
    room = max(0.12 * (high - low), 2.0)
    top = 2.6 * _SIZE + 4.0
    frame = _Frame(38.0, width - 8.0, top, height - 1.6 * _SIZE - 4.0, chart.end_s, low - room, high + room)
    parts = [*_fog(chart, frame, theme), *_axes(frame, theme), *_levels(chart, frame, theme)]
    parts += [*_curve(chart, frame, theme), *_moments(chart, frame, theme)]
    return drawing(width, height, title, _description(chart), *parts)


def _fog(chart: WarmingChart, frame: _Frame, theme: Theme) -> list[Element]:
    """The while it fogs, hatched."""
    if chart.clear_s <= 0:
        return []
    right = frame.x(min(chart.clear_s, chart.end_s))
    across, down = right - frame.left, frame.bottom - frame.top
    return [
        rect(frame.left, frame.top, across, down, fill=theme.sharp),
        hatch(frame.left, frame.top, across, down, gap=6.0, stroke=theme.sharp_edge, weight=0.35),
    ]


def _axes(frame: _Frame, theme: Theme) -> list[Element]:
    parts: list[Element] = []
    for celsius in linear_ticks(frame.low_c, frame.high_c, 6):
        y = frame.y(celsius)
        parts.append(line(frame.left, y, frame.right, y, stroke=theme.line, stroke_width=0.4))
        text = f"{celsius:g}°".replace("-", "−")
        parts.append(words(frame.left - 5, y + 3.2, text, size=_SIZE, fill=theme.quiet, anchor="end"))
    hours = frame.end_s > 4 * 3600.0
    per, unit = (3600.0, "h") if hours else (60.0, "min")
    ticks = [value for value in linear_ticks(0.0, frame.end_s / per, 7) if value > 0]
    labels = [Label(frame.x(value * per), f"{value:g}") for value in ticks]
    for name in spaced(labels, _SIZE, gap=6.0, left=frame.left + 4.0, right=frame.right - 26.0):
        parts.append(line(name.x, frame.bottom, name.x, frame.bottom + 3, stroke=theme.ink, stroke_width=0.6))
        parts.append(words(name.x, frame.bottom + _SIZE + 4, name.text, size=_SIZE, fill=theme.ink, anchor="middle"))
    parts.append(words(frame.right, frame.bottom + _SIZE + 4, unit, size=_SIZE, fill=theme.quiet, anchor="end"))
    parts.append(line(frame.left, frame.bottom, frame.right, frame.bottom, stroke=theme.ink, stroke_width=0.7))
    return parts


def _levels(chart: WarmingChart, frame: _Frame, theme: Theme) -> list[Element]:
    """The air and what fogs in it, each with its words before the lens has settled there; the words keep apart."""
    air, dew = frame.y(chart.air_c), frame.y(chart.fogs_at_c)
    settled = frame.x(chart.settled_s) if chart.settled_s > 0 else frame.right
    right = min(frame.right, settled - 4.0) if settled > frame.left + _LEAST_ROOM else frame.right
    above, below = -3.0, _SIZE + 2.0
    crossed = chart.lens_c > chart.air_c
    return [
        line(frame.left, air, frame.right, air, stroke=theme.ink, stroke_width=0.7),
        words(
            right,
            air + (below if crossed and abs(dew - air) > 3 * _SIZE else above),
            f"air {format_temperature(chart.air_c)}",
            size=_SIZE,
            fill=theme.ink,
            anchor="end",
        ),
        line(frame.left, dew, frame.right, dew, stroke=theme.ink, stroke_width=0.7, stroke_dasharray="4 3"),
        words(
            right,
            dew + below,
            f"{_word(chart)} {format_temperature(chart.fogs_at_c)}",
            size=_SIZE,
            fill=theme.ink,
            anchor="end",
        ),
    ]


def _curve(chart: WarmingChart, frame: _Frame, theme: Theme) -> list[Element]:
    times = [frame.end_s * k / (_POINTS - 1) for k in range(_POINTS)]
    points = [(frame.x(seconds), frame.y(chart.at_c(seconds))) for seconds in times]
    parts = [path(points, fill="none", stroke=theme.accent, stroke_width=2.0)]
    if chart.later is not None:
        x, y = frame.x(chart.later[0]), frame.y(chart.later[1])
        parts.append(rect(x - 2.5, y - 2.5, 5.0, 5.0, fill=theme.accent))
    return parts


def _moments(chart: WarmingChart, frame: _Frame, theme: Theme) -> list[Element]:
    """When it is clear and when it has settled, each in a row of its own over the picture."""
    named = []
    if 0 < chart.clear_s < math.inf:
        named.append((chart.clear_s, f"clear after {_span(chart.clear_s)}"))
    if chart.settled_s > 0:
        named.append((chart.settled_s, f"settled after {_span(chart.settled_s)}"))
    parts: list[Element] = []
    for row, (seconds, text) in enumerate(named):
        x, y = frame.x(seconds), _SIZE + 1.2 * _SIZE * row
        half = text_width(text, _SIZE, bold=True) / 2.0
        middle = min(max(x, half), frame.right - half)
        parts.append(line(x, y + 3.0, x, frame.bottom, stroke=theme.ink, stroke_width=0.7))
        parts.append(words(middle, y, text, size=_SIZE, fill=theme.ink, anchor="middle", bold=True))
    return parts


def _word(chart: WarmingChart) -> str:
    return "frost at" if chart.frost else "dew point"


def _span(seconds: float) -> str:
    minutes = seconds / 60.0
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60.0:.1f} h"


def _description(chart: WarmingChart) -> str:
    """The picture in words."""
    lens, air, dew = (format_temperature(one) for one in (chart.lens_c, chart.air_c, chart.fogs_at_c))
    said = [f"A lens at {lens} comes into air of {air}, {_word(chart)} {dew}"]
    if chart.clear_s > 0:
        said.append(f"clear after {_span(chart.clear_s)}" if math.isfinite(chart.clear_s) else "it does not clear")
    if chart.settled_s > 0:
        said.append(f"settled after {_span(chart.settled_s)}")
    return "; ".join(said) + "."
