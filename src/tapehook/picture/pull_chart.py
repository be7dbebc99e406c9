"""A balanced stop pull over time: the course of the stop, all four motors below it, and the exposure error.

Each motor has a lane of its own from the least to the most of its travel in the pull; its letter and its words tell it,
not a colour.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapehook.picture.axis import linear_ticks, stop_ticks
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, shortened, spaced
from tapehook.picture.svg import Element, drawing, line, path, rect, words

_SIZE = 9.0
_LANE = 32.0
_ERROR = 52.0
_GAP = 7.0
LANE_PITCH = _LANE + _GAP
"""Height that one motor takes of a picture."""
_MOST_POINTS = 120


@dataclass(frozen=True, slots=True)
class MotorLane:
    """One motor: its letter, what is said beside it, and its position at ``time_s`` in any unit; None: not driven."""

    letter: str
    said: str
    time_s: Sequence[float] = ()
    values: Sequence[float] | None = None


@dataclass(frozen=True, slots=True)
class PullChart:
    """A pull over its n moments: T-numbers, the stops its axis runs over, and the exposure error either way in stops.

    ``error_stops`` is None where the pull cannot be done. ``marks`` are moments and T-numbers of the course.
    """

    time_s: Sequence[float]
    t_stops: Sequence[float]
    widest_t: float
    smallest_t: float
    motors: Sequence[MotorLane]
    error_stops: Sequence[float] | None
    tolerance_stops: float
    marks: Sequence[tuple[float, float]]
    end_s: float


@dataclass(frozen=True, slots=True)
class StopFrame:
    """Where the course lies in the picture: left and right at 0 s and ``end_s``, top and bottom at both end stops."""

    left: float
    right: float
    top: float
    bottom: float
    end_s: float
    widest_t: float
    smallest_t: float

    def x(self, time_s: float) -> float:
        """Place of a moment, held to the frame."""
        return self.left + (self.right - self.left) * min(max(time_s / self.end_s, 0.0), 1.0)

    def y(self, t_number: float) -> float:
        """Place of a stop, the widest at the top, even in stops and held to the frame."""
        span = math.log2(self.smallest_t / self.widest_t)
        part = min(max(math.log2(t_number / self.widest_t) / span, 0.0), 1.0)
        return self.top + part * (self.bottom - self.top)


def stop_frame(chart: PullChart, width: float, height: float) -> StopFrame:
    """The frame of the course in a picture of that size."""
    lanes = len(chart.motors) * (_LANE + _GAP)
    bottom = height - lanes - _ERROR - 2.0 * _GAP - _SIZE - 6.0
    return StopFrame(40.0, width - 10.0, _SIZE + 8.0, bottom, chart.end_s, chart.widest_t, chart.smallest_t)


def pull_chart(chart: PullChart, *, width: float, height: float, title: str, theme: Theme = PAPER) -> str:
    """The chart as SVG text, ``width`` by ``height`` points. Raises ValueError with fewer than two moments."""
    if len(chart.time_s) < 2 or not chart.end_s > 0:
        raise ValueError("a pull needs two moments and an end")
    frame = stop_frame(chart, width, height)
    parts = [*_course(frame, chart, theme)]
    top = frame.bottom + _GAP
    for motor in chart.motors:
        parts += _motor(frame, motor, top, theme)
        top += _LANE + _GAP
    parts += _error(frame, chart, top + _GAP, theme)
    parts += _seconds(frame, top + _GAP + _ERROR, theme)
    return drawing(width, height, title, _description(chart), *parts)


def _thinned(count: int) -> list[int]:
    every = -(-count // _MOST_POINTS)
    return sorted({*range(0, count, every), count - 1})


def _course(frame: StopFrame, chart: PullChart, theme: Theme) -> list[Element]:
    across, high = frame.right - frame.left, frame.bottom - frame.top
    parts = [
        words(0, _SIZE, "the stop over time; below it the motors", size=_SIZE, fill=theme.quiet),
        rect(frame.left, frame.top, across, high, fill="none", stroke=theme.line, stroke_width=0.6),
    ]
    taken: list[float] = []
    for tick in stop_ticks(frame.widest_t, frame.smallest_t):
        y = frame.y(tick.value)
        if all(abs(y - other) >= 1.3 * _SIZE for other in taken):
            taken.append(y)
            parts.append(line(frame.left, y, frame.right, y, stroke=theme.line, stroke_width=0.4))
            parts.append(words(frame.left - 4, y + 3.2, tick.text, size=_SIZE, fill=theme.ink, anchor="end"))
    points = [(frame.x(chart.time_s[k]), frame.y(chart.t_stops[k])) for k in _thinned(len(chart.time_s))]
    parts.append(path(points, fill="none", stroke=theme.accent, stroke_width=2.0))
    for moment, t in chart.marks:
        x, y = frame.x(moment), frame.y(t)
        corners = [(x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)]
        parts.append(path(corners, closed=True, fill=theme.paper, stroke=theme.accent, stroke_width=1.4))
    return parts


def _motor(frame: StopFrame, motor: MotorLane, top: float, theme: Theme) -> list[Element]:
    """The lane of a motor: its letter on the left, its words in the lane, its line from least to most."""
    room = frame.right - frame.left
    parts = [
        rect(frame.left, top, room, _LANE, fill="none", stroke=theme.line, stroke_width=0.6),
        words(frame.left - 12, top + _LANE / 2 + 4, motor.letter, size=12.0, fill=theme.ink, anchor="end", bold=True),
    ]
    if motor.values is not None and len(motor.values) > 1:
        values = np.asarray(motor.values, dtype=np.float64)
        low, span = float(values.min()), float(np.ptp(values))
        inner, foot = _LANE - _SIZE - 9.0, top + _LANE - 4.0
        points = [
            (frame.x(motor.time_s[k]), foot - (float(values[k] - low) / span * inner if span > 0 else 0.0))
            for k in _thinned(values.size)
        ]
        parts.append(path(points, fill="none", stroke=theme.ink, stroke_width=1.4))
    said = shortened(motor.said, _SIZE, room - 8.0)
    parts.append(words(frame.left + 4, top + _SIZE + 1, said, size=_SIZE, fill=theme.quiet))
    return parts


def _error(frame: StopFrame, chart: PullChart, top: float, theme: Theme) -> list[Element]:
    """The exposure error to either side of nought, with the tolerance as broken lines."""
    room, half = frame.right - frame.left, (_ERROR - _SIZE - 4.0) / 2
    middle = top + _ERROR - half
    most = max(chart.tolerance_stops * 1.2, *(chart.error_stops or [0.0]), 1e-3)
    scale = (half - 2.0) / most
    parts = [rect(frame.left, top, room, _ERROR, fill="none", stroke=theme.line, stroke_width=0.6)]
    if chart.error_stops is not None:
        at = _thinned(len(chart.time_s))
        x = [frame.x(chart.time_s[k]) for k in at]
        up = [(a, middle - chart.error_stops[k] * scale) for a, k in zip(x, at, strict=True)]
        down = [(a, middle + chart.error_stops[k] * scale) for a, k in zip(x, at, strict=True)]
        parts.append(path(up + down[::-1], closed=True, fill=theme.band))
        parts.append(path(up, fill="none", stroke=theme.accent, stroke_width=0.8))
        parts.append(path(down, fill="none", stroke=theme.accent, stroke_width=0.8))
    parts.append(line(frame.left, middle, frame.right, middle, stroke=theme.ink, stroke_width=0.6))
    for side in (-1, 1):
        y = middle + side * chart.tolerance_stops * scale
        parts.append(line(frame.left, y, frame.right, y, stroke=theme.ink, stroke_width=0.6, stroke_dasharray="4 3"))
    said = (
        "no positions: it cannot be done as planned"
        if chart.error_stops is None
        else f"exposure may be off by +- {max(chart.error_stops):.2f} stop; broken: {chart.tolerance_stops:g} passes"
    )
    words_at = frame.left + 4, top + _SIZE + 1
    parts.append(words(*words_at, shortened(said, _SIZE, room - 8.0), size=_SIZE, fill=theme.ink))
    return parts


def _seconds(frame: StopFrame, bottom: float, theme: Theme) -> list[Element]:
    parts: list[Element] = []
    labels = [Label(frame.x(value), f"{value:g}") for value in linear_ticks(0.0, frame.end_s, 10)]
    for name in spaced(labels, _SIZE, gap=5.0, left=frame.left - 8.0, right=frame.right + 10.0):
        parts.append(line(name.x, bottom, name.x, bottom + 3, stroke=theme.ink, stroke_width=0.6))
        parts.append(words(name.x, bottom + _SIZE + 3, name.text, size=_SIZE, fill=theme.ink, anchor="middle"))
    parts.append(words(frame.left - 12, bottom + _SIZE + 3, "s", size=_SIZE, fill=theme.quiet, anchor="end"))
    return parts


def _description(chart: PullChart) -> str:
    """The picture in words."""
    ends = f"T{chart.t_stops[0]:.3g} to T{chart.t_stops[-1]:.3g} from {chart.time_s[0]:g} to {chart.time_s[-1]:g} s"
    motors = "; ".join(f"{motor.letter}: {motor.said}" for motor in chart.motors)
    return f"The stop goes from {ends}. {motors}."
