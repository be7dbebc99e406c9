"""The depth rule: the tape drawn in vergence, so that the sharp zone keeps its width wherever it slides.

Near is on the left, infinity on the right, as far from each other as dioptres say: x runs with -q, q = 1/(D - e), D
from the image plane and e the entrance pupil's place. The half-width w of the depth of field is the same number of
dioptres anywhere (docs/optics.md), hence the same length on the rule.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapehook.notation import format_distance
from tapehook.picture.axis import System, Tick, distance_ticks
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, spaced, text_width
from tapehook.picture.svg import Element, drawing, hatch, line, path, rect, strokes, words

_SIZE = 9.0
_TAPE = 15.0
_ROW = 15.0
_HATCH = 5.0


@dataclass(frozen=True, slots=True)
class SharpZone:
    """Depth of field at one setting: ``near_m`` and ``far_m`` from the image plane (far may be inf), and its name."""

    near_m: float
    far_m: float
    text: str


@dataclass(frozen=True, slots=True)
class RuleScale:
    """Where a distance lies on a rule: ``close_m`` at ``left``, infinity at ``right`` (points).

    ``datum_m`` is what vergence is measured from, the entrance pupil's place in front of the image plane. Raises
    ValueError unless ``close_m`` is beyond it.
    """

    close_m: float
    datum_m: float
    left: float
    right: float

    def __post_init__(self) -> None:
        if not self.datum_m < self.close_m < math.inf:
            raise ValueError(f"a rule must start beyond its datum {self.datum_m} m, not at {self.close_m} m")

    def x(self, distance_m: float) -> float:
        """Place of a distance in points, held between the two ends of the rule."""
        if math.isinf(distance_m):
            return self.right
        room = distance_m - self.datum_m
        part = (self.close_m - self.datum_m) / room if room > 0 else 1.0
        return self.right - min(part, 1.0) * (self.right - self.left)


def depth_rule(
    scale: RuleScale,
    zones: Sequence[SharpZone],
    *,
    focus_m: float | None,
    system: System,
    width: float,
    title: str,
    theme: Theme = PAPER,
) -> str:
    """The rule with the sharp zone of ``zones[0]`` on it, and all zones below it, one row each, when there are more.

    ``focus_m`` is where the focus stands. Each row carries its text on the left, near and far at the ends of its zone.
    Returns SVG text ``width`` points wide; its height follows from the number of rows.
    """
    rows = zones if len(zones) > 1 else ()
    top = 2.0
    foot = top + _TAPE + _SIZE + 4.0
    height = foot + _ROW * len(rows) + (3.0 if rows else 0.0)
    parts = [*_tape(scale, top, system, theme, zones[0] if len(zones) == 1 else None)]
    for i, zone in enumerate(rows):
        parts += _row(scale, zone, foot + _ROW * i, system, theme, width)
    if focus_m is not None:
        rows_end = height - 1.0 if rows else None
        parts += _focus_mark(scale.x(focus_m), top, foot, rows_end, theme)
    return drawing(width, height, title, _description(zones, focus_m, system), *parts)


def rule_ticks(scale: RuleScale, system: System) -> tuple[list[Tick], list[Tick]]:
    """Ticks of a rule: (with label, without), labels never nearer to each other than half a digit or so."""
    infinity, *others = distance_ticks(scale.close_m, math.inf, system)
    close = Tick(scale.close_m, format_distance(scale.close_m, system), 0)
    ticks = [infinity, close, *(tick for tick in others if tick.text != close.text)]
    edge = 22.0  # the label of close focus may stand out over the end of the tape
    wanted = [Label(scale.x(tick.value), tick.text) for tick in ticks]
    kept = set(spaced(wanted, _SIZE, gap=4.0, left=scale.left - edge, right=scale.right + edge))
    named = [tick for tick, label in zip(ticks, wanted, strict=True) if label in kept]
    places = [scale.x(tick.value) for tick in named]
    plain = []
    for tick in ticks:
        x = scale.x(tick.value)
        if all(abs(x - other) >= 2.5 for other in places):
            plain.append(tick)
            places.append(x)
    return named, plain


def _tape(scale: RuleScale, top: float, system: System, theme: Theme, zone: SharpZone | None) -> list[Element]:
    """The tape itself: its body, the one sharp zone on it, ticks and labels below."""
    bottom = top + _TAPE
    named, plain = rule_ticks(scale, system)
    body = rect(scale.left, top, scale.right - scale.left, _TAPE, fill="none", stroke=theme.ink, stroke_width=0.8)
    inside = _zone(scale, zone, top, _TAPE, theme) if zone else []
    long, short = (
        strokes(((x, bottom - length, x, bottom) for x in _xs(scale, ticks)), stroke=theme.ink, stroke_width=weight)
        for ticks, length, weight in ((named, 7.0, 1.0), (plain, 4.0, 0.6))
    )
    labels = [
        words(scale.x(tick.value), bottom + _SIZE, tick.text, size=_SIZE, fill=theme.ink, anchor="middle")
        for tick in named
    ]
    return [*inside, body, short, long, *labels]


def _xs(scale: RuleScale, ticks: list[Tick]) -> list[float]:
    return [scale.x(tick.value) for tick in ticks]


def _zone(scale: RuleScale, zone: SharpZone, top: float, height: float, theme: Theme) -> list[Element]:
    """The sharp zone: blue-grey, with hatched ends where it starts and stops on the rule."""
    near, far = scale.x(zone.near_m), scale.x(zone.far_m)
    parts = [rect(near, top, far - near, height, fill=theme.sharp)]
    band = min(_HATCH, (far - near) / 2)
    if band > 0.5:
        ends = [near] if math.isinf(zone.far_m) else [near, far - band]
        parts += [hatch(x, top, band, height, gap=2.5, stroke=theme.sharp_edge, weight=0.5) for x in ends]
    ends_at = [near] if math.isinf(zone.far_m) else [near, far]
    return parts + [line(x, top, x, top + height, stroke=theme.sharp_edge, stroke_width=1) for x in ends_at]


def _row(scale: RuleScale, zone: SharpZone, top: float, system: System, theme: Theme, width: float) -> list[Element]:
    """One zone below the rule: name at the left edge, near and far beside its ends, or where there is room."""
    baseline = top + _ROW / 2 + _SIZE * 0.36
    name = words(0.0, baseline, zone.text, size=_SIZE, fill=theme.ink, bold=True)
    texts = [
        words(x, baseline, text, size=_SIZE, fill=theme.ink, anchor=anchor)
        for x, text, anchor in _row_texts(scale, zone, system, width)
    ]
    return [name, *_zone(scale, zone, top + 2.0, _ROW - 5.0, theme), *texts]


def _row_texts(scale: RuleScale, zone: SharpZone, system: System, width: float) -> list[tuple[float, str, str]]:
    """Near and far of a row as (place, text, anchor): beside the ends, both on one side, or in the zone itself."""
    near, far = format_distance(zone.near_m, system), format_distance(zone.far_m, system)
    left, right = scale.x(zone.near_m) - 3.0, scale.x(zone.far_m) + 3.0
    room_left = left - text_width(zone.text, _SIZE, bold=True) - 4.0
    if text_width(near, _SIZE) <= room_left and right + text_width(far, _SIZE) <= width:
        return [(left, near, "end"), (right, far, "start")]
    both = f"{near} to {far}"
    if text_width(both, _SIZE) <= room_left:
        return [(left, both, "end")]
    if right + text_width(both, _SIZE) <= width:
        return [(right, both, "start")]
    return [((left + right) / 2, both, "middle")]


def _focus_mark(x: float, top: float, rows_top: float, rows_end: float | None, theme: Theme) -> list[Element]:
    """Where the focus stands: a line through tape and rows, not through the labels between; with a head above."""
    head = path([(x - 3.5, top - 2), (x + 3.5, top - 2), (x, top + 4)], closed=True, fill=theme.accent)
    spans = [(top, top + _TAPE)] + ([(rows_top, rows_end)] if rows_end is not None else [])
    return [*(line(x, start, x, end, stroke=theme.accent, stroke_width=1.2) for start, end in spans), head]


def _description(zones: Sequence[SharpZone], focus_m: float | None, system: System) -> str:
    """The picture in words."""
    focus = "" if focus_m is None else f"Focus at {format_distance(focus_m, system)}. "
    ends = [
        f"{zone.text}: sharp from {format_distance(zone.near_m, system)} to {format_distance(zone.far_m, system)}"
        for zone in zones
    ]
    return focus + "; ".join(ends) + "."
