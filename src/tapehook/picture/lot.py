"""The lot from above: cameras, hand units and other senders at their places, links labelled by their margin in dB."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import shortened, text_width
from tapehook.picture.svg import Element, drawing, element, line, path, rect, strokes, words

_SIZE = 9.0
_EDGE = 26.0
_LEGEND = "square: camera, ring: hand unit, triangle: others"
_ALONG = (0.5, 0.36, 0.64, 0.24, 0.76, 0.43, 0.57)
"""Where along a link its margin may stand, best first."""
_Box = tuple[float, float, float, float]
"""Left, right, top, bottom."""
_LEAST_M = 10.0
_STEPS_M = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)


@dataclass(frozen=True, slots=True)
class Spot:
    """Somebody who sends: "camera", "hand" or "other", a label, and the place in metres; ``key`` names it to a page."""

    kind: str
    label: str
    x_m: float
    y_m: float
    key: str = ""


@dataclass(frozen=True, slots=True)
class LotLink:
    """A link from one place to another, with its worse margin of both ways, dB."""

    from_m: tuple[float, float]
    to_m: tuple[float, float]
    margin_db: float


@dataclass(frozen=True, slots=True)
class _Frame:
    left: float
    bottom: float
    per_m: float
    x0: float
    y0: float

    def at(self, x_m: float, y_m: float) -> tuple[float, float]:
        return self.left + (x_m - self.x0) * self.per_m, self.bottom - (y_m - self.y0) * self.per_m


def lot(
    spots: Sequence[Spot],
    links: Sequence[LotLink],
    *,
    width: float,
    height: float,
    title: str,
    thin_db: float = 10.0,
    theme: Theme = PAPER,
) -> str:
    """The picture as SVG text, ``width`` by ``height`` points, x to the right and y upwards, to scale.

    A link below ``thin_db`` is dashed with "!", below 0 dB dotted with a cross. Spots with a key carry ``data-key``,
    and the ground how metres lie on it, for a page that moves them. Raises ValueError without spots.
    """
    if not spots:
        raise ValueError("a lot needs somebody who sends")
    frame = _frame(spots, width, height)
    parts = [_ground(frame, width, height, theme)]
    parts += [shape for one in links for shape in _link(frame, one, thin_db, theme)]
    taken: list[_Box] = []
    parts += [_spot(frame, one, width, taken, theme) for one in spots]
    labels: list[_Box] = []
    parts += [shape for one in links for shape in _margin(frame, one, thin_db, labels, theme)]
    parts += _scale(frame, width, height, theme)
    return drawing(width, height, title, _description(spots, links), *parts)


def _frame(spots: Sequence[Spot], width: float, height: float) -> _Frame:
    """A scale that holds all places, and their middle in the middle."""
    xs, ys = [one.x_m for one in spots], [one.y_m for one in spots]
    wide, high = max(max(xs) - min(xs), _LEAST_M), max(max(ys) - min(ys), _LEAST_M)
    top, bottom = _EDGE, _EDGE + 1.6 * _SIZE
    per_m = min((width - 2 * _EDGE) / wide, (height - top - bottom) / high)
    middle_x, middle_y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    x0 = middle_x - (width - 2 * _EDGE) / 2 / per_m
    y0 = middle_y - (height - top - bottom) / 2 / per_m
    return _Frame(_EDGE, height - bottom, per_m, x0, y0)


def _ground(frame: _Frame, width: float, height: float, theme: Theme) -> Element:
    return element(
        "rect", x=0.3, y=0.3, width=width - 0.6, height=height - 0.6, fill="none", stroke=theme.line, stroke_width=0.6,
        data_per=f"{frame.per_m:.6g}", data_left=f"{frame.left:.6g}", data_bottom=f"{frame.bottom:.6g}",
        data_west=f"{frame.x0:.6g}", data_south=f"{frame.y0:.6g}",
    )  # fmt: skip


def _meet(one: _Box, other: _Box) -> bool:
    return one[0] < other[1] and one[1] > other[0] and one[2] < other[3] and one[3] > other[2]


def _link(frame: _Frame, one: LotLink, thin_db: float, theme: Theme) -> list[Element]:
    (x1, y1), (x2, y2) = frame.at(*one.from_m), frame.at(*one.to_m)
    if one.margin_db >= thin_db:
        return [line(x1, y1, x2, y2, stroke=theme.accent, stroke_width=1.4)]
    dashes = "1.5 3" if one.margin_db < 0.0 else "6 3"
    return [line(x1, y1, x2, y2, stroke=theme.fault, stroke_width=1.6, stroke_dasharray=dashes)]


def _margin(frame: _Frame, one: LotLink, thin_db: float, taken: list[_Box], theme: Theme) -> list[Element]:
    """The margin near the middle of the link, where no other stands, on a ground of its own."""
    (x1, y1), (x2, y2) = frame.at(*one.from_m), frame.at(*one.to_m)
    sign = "× " if one.margin_db < 0.0 else "! " if one.margin_db < thin_db else ""
    text = f"{sign}{one.margin_db:.0f} dB".replace("-", "−")
    wide = text_width(text, _SIZE, bold=True) + 6
    along = ((x1 + part * (x2 - x1), y1 + part * (y2 - y1)) for part in _ALONG)
    boxes = [(x - wide / 2, x + wide / 2, y - 0.7 * _SIZE, y + 0.7 * _SIZE) for x, y in along]
    box = next((one for one in boxes if not any(_meet(one, other) for other in taken)), boxes[0])
    taken.append(box)
    x, y = (box[0] + box[1]) / 2, (box[2] + box[3]) / 2
    fill = theme.fault if sign else theme.ink
    return [
        rect(x - wide / 2, y - 0.7 * _SIZE, wide, 1.4 * _SIZE, fill=theme.paper, stroke=theme.line, stroke_width=0.6),
        words(x, y + 0.36 * _SIZE, text, size=_SIZE, fill=fill, anchor="middle", bold=True),
    ]


def _spot(frame: _Frame, one: Spot, width: float, taken: list[_Box], theme: Theme) -> Element:
    """A square for a camera, a circle for a hand unit, a triangle for others, and the label where there is room."""
    x, y = frame.at(one.x_m, one.y_m)
    if one.kind == "camera":
        shape = rect(x - 5, y - 5, 10, 10, fill=theme.accent, stroke=theme.paper, stroke_width=1.0)
    elif one.kind == "hand":
        shape = element("circle", cx=x, cy=y, r=5.0, fill=theme.paper, stroke=theme.accent, stroke_width=2.0)
    else:
        points = [(x, y - 6), (x + 6, y + 5), (x - 6, y + 5)]
        shape = path(points, closed=True, fill=theme.sharp, stroke=theme.sharp_edge, stroke_width=1.2)
    text = shortened(one.label, _SIZE, 110.0)
    long = text_width(text, _SIZE)
    right = x + 9 + long <= width - 2
    label_x, anchor = (x + 9, "start") if right else (x - 9, "end")
    left = label_x if right else label_x - long
    label_y = y + 3
    while any(_meet((left, left + long, label_y - _SIZE, label_y), box) for box in taken):
        label_y += 1.15 * _SIZE
    taken.append((left, left + long, label_y - _SIZE, label_y))
    inside = [shape, words(label_x, label_y, text, size=_SIZE, fill=theme.ink, anchor=anchor)]
    return element("g", *inside, **({"data_key": one.key, "class_": "spot"} if one.key else {}))


def _scale(frame: _Frame, width: float, height: float, theme: Theme) -> list[Element]:
    """A bar of round metres, at most a third of the picture."""
    metres = max((one for one in _STEPS_M if one * frame.per_m <= width / 4), default=_STEPS_M[0])
    left, y, long = 8.0, height - 7.0, metres * frame.per_m
    return [
        strokes(
            [(left, y, left + long, y), (left, y - 3, left, y + 3), (left + long, y - 3, left + long, y + 3)],
            stroke=theme.ink,
            stroke_width=1.0,
        ),
        words(left + long + 5, y + 3, f"{metres:g} m", size=_SIZE, fill=theme.ink),
        words(width - 6, y + 3, _LEGEND, size=_SIZE, fill=theme.quiet, anchor="end"),
    ]


def _description(spots: Sequence[Spot], links: Sequence[LotLink]) -> str:
    names = {"camera": "camera ", "hand": "hand unit of camera "}
    told = [f"{names.get(one.kind, '')}{one.label} at {one.x_m:g}, {one.y_m:g} m" for one in spots]
    told += [
        f"a link over {math.dist(one.from_m, one.to_m):.0f} m with {one.margin_db:.1f} dB of margin" for one in links
    ]
    return "; ".join(told)
