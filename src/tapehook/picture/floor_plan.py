"""A floor plan of a shot from above: the camera with what it sees in width, people, and their ways with times."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import text_width
from tapehook.picture.svg import Element, drawing, element, line, path, words

_SIZE = 9.0
_MARGIN = 26.0
_ONE_SPOT = 7.0
_DASHES = ("5 3", "1.5 2.5", "8 3 2 3", "3 1.5")


@dataclass(frozen=True, slots=True)
class Way:
    """Somebody's waypoints: moments, and places (x, y) in metres."""

    name: str
    at_s: Sequence[float]
    places_m: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class FloorPlan:
    """A plan: the camera's way, those of people, and how much the camera sees in width, degrees, None where unknown."""

    camera: Way
    people: Sequence[Way]
    field_deg: float | None


def floor_plan(plan: FloorPlan, *, width: float, height: float, title: str, theme: Theme = PAPER) -> str:
    """The plan as SVG text, ``width`` by ``height`` points, farther away higher up, one scale in both directions."""
    places = [place for way in (plan.camera, *plan.people) for place in way.places_m]
    left, right = min(x for x, _ in places), max(x for x, _ in places)
    near, far = min(y for _, y in places), max(y for _, y in places)
    scale = min((width - 2 * _MARGIN) / max(right - left, 1.0), (height - 2 * _MARGIN) / max(far - near, 1.0))

    def at(place: tuple[float, float]) -> tuple[float, float]:
        x = width / 2 + (place[0] - (left + right) / 2) * scale
        return x, height / 2 - (place[1] - (near + far) / 2) * scale

    parts = [*_bar(scale, width, height, theme), *_camera(plan, at(plan.camera.places_m[0]), at, theme)]
    room = _Room(width, height)
    for number, way in enumerate(plan.people):
        parts += _way(way, [at(place) for place in way.places_m], _DASHES[number % len(_DASHES)], room, theme)
    return drawing(width, height, title, _description(plan), *parts)


def _bar(scale: float, width: float, height: float, theme: Theme) -> list[Element]:
    """A metre, for scale."""
    y, x = height - 6.0, width - 10.0 - scale
    if scale > width / 2:
        return []
    return [
        line(x, y, x + scale, y, stroke=theme.quiet, stroke_width=1.0),
        words(x - 4, y + 3, "1 m", size=_SIZE, fill=theme.quiet, anchor="end"),
    ]


def _camera(plan: FloorPlan, here: tuple[float, float], at: object, theme: Theme) -> list[Element]:
    """A triangle that looks at the first person, its field as two thin lines, and its way when it moves."""
    assert callable(at)  # noqa: S101 - given above
    moved = [at(place) for place in plan.camera.places_m]
    target = at(plan.people[0].places_m[0]) if plan.people else (here[0], here[1] - 1.0)
    looks = math.atan2(target[1] - here[1], target[0] - here[0]) if target != here else -math.pi / 2
    parts: list[Element] = []
    if len(moved) > 1:
        parts.append(path(moved, fill="none", stroke=theme.quiet, stroke_width=0.8))
    if plan.field_deg is not None:
        far = math.hypot(target[0] - here[0], target[1] - here[1]) + 20.0
        for side in (-1, 1):
            turn = looks + side * math.radians(plan.field_deg) / 2
            end = (here[0] + far * math.cos(turn), here[1] + far * math.sin(turn))
            parts.append(line(*here, *end, stroke=theme.line, stroke_width=0.8))
    corners = [(here[0] + 9 * math.cos(looks + turn), here[1] + 9 * math.sin(looks + turn)) for turn in (0, 2.4, -2.4)]
    return [*parts, path(corners, closed=True, fill=theme.ink, stroke=theme.ink, stroke_width=0.6)]


@dataclass(slots=True)
class _Room:
    """A picture of ``width`` by ``height`` and the boxes of the words in it."""

    width: float
    height: float
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)

    def words(self, x: float, y: float, text: str, theme: Theme) -> Element:
        """Words beside the mark at (x, y), on the side and the line where they run over no others, if there is one."""
        long, places = text_width(text, _SIZE), []
        for down in (0.0, _SIZE, -_SIZE, 2 * _SIZE, -2 * _SIZE):
            for side in (7.0, -7.0):
                left, base = (x + side if side > 0 else x + side - long), y + 3 + down
                places.append((left, base - _SIZE, left + long, base + 2.0))
        left, top, right, bottom = next(filter(self._free, places), places[0])
        self.boxes.append((left, top, right, bottom))
        return words(left, bottom - 2.0, text, size=_SIZE, fill=theme.ink)

    def _free(self, box: tuple[float, float, float, float]) -> bool:
        left, top, right, bottom = box
        inside = left >= 0 and right <= self.width and top >= 0 and bottom <= self.height
        return inside and not any(left < r and x < right and top < b and y < bottom for x, y, r, b in self.boxes)


def _way(way: Way, points: list[tuple[float, float]], dash: str, room: _Room, theme: Theme) -> list[Element]:
    parts: list[Element] = []
    if len(points) > 1:
        parts.append(path(points, fill="none", stroke=theme.ink, stroke_width=0.9, stroke_dasharray=dash))
    for number, (x, y) in enumerate(points):
        parts.append(element("circle", cx=x, cy=y, r=4.0, fill=theme.paper, stroke=theme.accent, stroke_width=1.4))
        here = [math.dist((x, y), other) < _ONE_SPOT for other in points]
        if here.index(True) < number:  # marks on one spot share the words of the first of them
            continue
        moments = ", ".join(f"{moment:g} s" for moment, same in zip(way.at_s, here, strict=True) if same)
        text = f"{way.name}, {moments}" if number == 0 else moments
        parts.append(room.words(x, y, text, theme))
    return parts


def _description(plan: FloorPlan) -> str:
    """The picture in words."""
    said = [f"{way.name}: {', '.join(f'at {moment:g} s' for moment in way.at_s)}" for way in plan.people]
    return f"The shot from above. {'; '.join(said)}."
