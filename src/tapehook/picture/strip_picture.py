"""A strip as a picture at 1:1: one point of the drawing is one point of paper, so that it can be cut out and laid on.

Index side first: a row's ticks start at its edge of the tape, labels stand behind them, upright whichever way the
scale runs. A firm tick is a full line; one outside the range that was read is broken and its label in brackets; one
where the map is not sure is broken too. A bar across a tick is the map's 95 % band, where that is wide enough to see;
wings are the depth of field at the stop named on the strip.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from tapehook.picture.colours import PAPER
from tapehook.picture.lettering import shortened, text_width
from tapehook.picture.svg import Element, drawing, element, line, path, rect, strokes, words
from tapehook.strip.layout import Row, Strip, Tick

PT = 72.0 / 25.4
"""Points to the millimetre."""
TAB_MM = 30.0
"""The longest white end, with the name on it."""
LEAST_TAB_MM = 14.0
"""The shortest that a name can still be read on."""
JOINT_MM = 0.5
"""What is left open where both ends meet."""
_JOINT_ROOM_MM = 4.0
"""Enough white to cut a strip in two."""
_SEEN_MM = 0.25
"""A band narrower than this, to one side, would not show beside its tick."""
_WING_GAP_MM = 0.6
_INK, _QUIET = PAPER.ink, PAPER.quiet
_UNIT_NAME = {"ft": "ft", "m": "m", "T": "T", "mm": "mm", "deg": "°", "percent": "%"}
_ARROW_MM = 8.0
"""Room the arrow with its words takes."""


@dataclass(frozen=True, slots=True)
class StripText:
    """What is written on the white end of a strip: its name, its serial number, and what it was made for."""

    name: str
    serial: str
    note: str


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a strip that fits the paper: millimetres of the whole, from its left end of the scale."""

    start_mm: float
    end_mm: float
    first: bool
    last: bool

    @property
    def width_mm(self) -> float:
        """Length on paper."""
        return self.end_mm - self.start_mm


def paper_ends_mm(strip: Strip) -> tuple[float, float]:
    """Left and right end of the strip as it is cut, from the left end of the scale: the scale with its white ends.

    Never longer than the ring is round, so that the ends meet and do not lie on each other.
    """
    spare = max(0.0, strip.round_mm - strip.length_mm - 2.0 * strip.margin_mm - JOINT_MM)
    left = min(TAB_MM, spare * 0.75)
    right = min(TAB_MM / 2.0, spare - left)
    return -strip.margin_mm - left, strip.length_mm + strip.margin_mm + right


def pieces(strip: Strip, longest_mm: float) -> tuple[Piece, ...]:
    """The parts to cut a strip in for paper that takes ``longest_mm``: as few as can be, cut between labels and ticks.

    One part when it fits, and when it does with shorter white ends: an end of white alone is no part worth butting.
    """
    start, end = _trimmed(strip, longest_mm)
    cuts = [start]
    while end - cuts[-1] > longest_mm:
        cuts.append(_cut(strip, cuts[-1] + longest_mm * 0.55, cuts[-1] + longest_mm))
    cuts.append(end)
    spans = list(pairwise(cuts))
    return tuple(Piece(a, b, a == start, b == end) for a, b in spans)


def _trimmed(strip: Strip, longest_mm: float) -> tuple[float, float]:
    """Both ends with as much white taken off, on the right first, as makes one part of it; else as they are."""
    start, end = paper_ends_mm(strip)
    over = end - start - longest_mm
    right = end - strip.length_mm - strip.margin_mm
    left = max(0.0, -strip.margin_mm - start - LEAST_TAB_MM)
    if not 0.0 < over <= right + left:
        return start, end
    off = min(over, right)
    return start + over - off, end - off


def _cut(strip: Strip, low_mm: float, high_mm: float) -> float:
    """The place farthest to the right between two places that lies in the widest gap there."""
    taken = sorted(span for tick in strip.ticks for span in _spans(tick, strip))
    best, best_room, reach = high_mm, -1.0, low_mm
    for left, right in [*taken, (high_mm, high_mm)]:
        gap_end = min(left, high_mm)
        if gap_end - reach >= min(best_room, _JOINT_ROOM_MM) and gap_end > reach:
            best, best_room = (reach + gap_end) / 2.0, gap_end - reach
        reach = max(reach, right)
    return best


def _spans(tick: Tick, strip: Strip) -> list[tuple[float, float]]:
    """What a tick and its label take along the strip."""
    found = [(tick.arc_mm, tick.arc_mm)]
    if tick.label:
        size = max(row.size_pt for row in strip.rows)
        half = text_width(_label(tick), size) / PT / 2.0
        left, right = min(tick.label_mm - half, tick.arc_mm), max(tick.label_mm + half, tick.arc_mm)
        found.append((left, right))
    return found


def strip_picture(strip: Strip, text: StripText, piece: Piece, *, cut: bool = True) -> str:
    """One piece of a strip, ``piece.width_mm`` by the tape's width, with a margin of half a point for the cut line.

    ``cut`` draws the line to cut along.
    """
    pen = _Pen(-piece.start_mm, strip.tape_mm, piece)
    parts: list[Element] = [_edge(pen, piece)] if cut else []
    for at, row in enumerate(strip.rows):
        # The upper or only row goes up from its edge, the lower one down.
        parts += _row(pen, row, _base(strip), upward=at == 0)
    parts += _ends(pen, strip, text, piece)
    title = f"Strip for {text.name}, {text.serial}"
    described = f"{strip.length_mm:.1f} mm of scale for a ring {strip.round_mm / math.pi:.1f} mm across"
    return drawing(piece.width_mm * PT, strip.tape_mm * PT, title, described, *parts)


@dataclass(frozen=True, slots=True)
class _Pen:
    """Turns millimetres of strip into points of the picture."""

    shift_mm: float
    tape_mm: float
    piece: Piece

    def x(self, arc_mm: float) -> float:
        return (arc_mm + self.shift_mm) * PT

    def on(self, arc_mm: float) -> bool:
        return self.piece.start_mm - 1e-6 <= arc_mm <= self.piece.end_mm + 1e-6


def _base(strip: Strip) -> float:
    """Where ticks start, points from the top: the lower edge, or the middle of a strip of two rows."""
    return (strip.tape_mm if len(strip.rows) == 1 else strip.tape_mm / 2.0) * PT


def _edge(pen: _Pen, piece: Piece) -> Element:
    width, height, dashes = piece.width_mm * PT, pen.tape_mm * PT, "3 2"
    return rect(
        0.0, 0.0, width, height, fill="none", stroke=PAPER.sharp_edge, stroke_width=0.4, stroke_dasharray=dashes
    )


def _row(pen: _Pen, row: Row, base: float, *, upward: bool) -> list[Element]:
    """Ticks, bands, wings and labels of one row."""
    way = -1.0 if upward else 1.0
    ticks = [tick for tick in row.ticks if pen.on(tick.arc_mm)]
    size = row.size_pt
    long, short = 1.05 * size, 0.55 * size

    def bars(chosen: Iterable[Tick], **style: str | float) -> Element:
        lines = [(pen.x(t.arc_mm), base, pen.x(t.arc_mm), base + way * (long if t.label else short)) for t in chosen]
        return strokes(lines, stroke=_INK, **style)

    firm, labelled = [t for t in ticks if t.doubt is None], [t for t in ticks if t.label]
    parts = [
        bars([t for t in firm if t.label], stroke_width=0.7),
        bars([t for t in firm if not t.label], stroke_width=0.4),
        bars([t for t in ticks if t.doubt], stroke_width=0.5, stroke_dasharray="1.2 1.2"),
        *_bands(pen, ticks, base + way * 0.4 * long),
        *_wings(pen, labelled, base + way * 0.16 * long, way * 0.12 * long),
    ]
    for tick in labelled:
        parts += _label_parts(pen, tick, base + way * long, way, size)
    return parts


def _label_parts(pen: _Pen, tick: Tick, end: float, way: float, size: float) -> list[Element]:
    """A label with its leader, as thin as a hair, where it stands aside."""
    x, centre = pen.x(tick.arc_mm), pen.x(tick.label_mm)
    lead = 0.32 * size
    # The font's figures are 0.70 of its size high.
    baseline = end + way * lead - (0.0 if way < 0 else -0.70 * size)
    bend = end + way * 0.85 * lead
    parts = [words(centre, baseline, _label(tick), size=size, fill=_INK if not tick.doubt else _QUIET, anchor="middle")]
    if tick.led:
        parts.append(line(x, end, centre, bend, stroke=_INK, stroke_width=0.3))
    return parts


def _label(tick: Tick) -> str:
    return f"({tick.label})" if tick.doubt == "outside" else tick.label


def _bands(pen: _Pen, ticks: Sequence[Tick], y: float) -> list[Element]:
    """A bar across each labelled tick as wide as the map's band, where it is wide enough to see."""
    seen = [t for t in ticks if t.label and t.plus_minus_mm >= _SEEN_MM]
    ends = [
        (
            pen.x(max(t.arc_mm - t.plus_minus_mm, pen.piece.start_mm)),
            pen.x(min(t.arc_mm + t.plus_minus_mm, pen.piece.end_mm)),
        )
        for t in seen
    ]
    return [strokes([(a, y, b, y) for a, b in ends], stroke=PAPER.fault, stroke_width=0.9)] if ends else []


def _wings(pen: _Pen, ticks: Sequence[Tick], y: float, height: float) -> list[Element]:
    """The depth of field of as many labelled marks as stay clear of each other, the two ends first."""
    drawn: list[tuple[float, float]] = []
    order = [*ticks[:1], *ticks[-1:], *ticks[1:-1]]
    parts = []
    for tick in order:
        if tick.wings_mm is None:
            continue
        left, right = tick.wings_mm
        if any(left < b + _WING_GAP_MM and right > a - _WING_GAP_MM for a, b in drawn):
            continue
        drawn.append((left, right))
        a, b = pen.x(max(left, pen.piece.start_mm)), pen.x(min(right, pen.piece.end_mm))
        parts.append(
            path([(a, y + height), (a, y), (b, y), (b, y + height)], fill="none", stroke=PAPER.accent, stroke_width=0.6)
        )
    return parts


# --- the white ends -------------------------------------------------------------------------------------------


def _ends(pen: _Pen, strip: Strip, text: StripText, piece: Piece) -> list[Element]:
    """Name, serial and what it is for on the left end; arrow, unit and zero line."""
    end = piece.end_mm if piece.last else paper_ends_mm(strip)[1]
    parts = _zero(pen, strip)
    if piece.first:
        parts += _name(pen, strip, text, piece.start_mm, -strip.margin_mm)
    if end - strip.length_mm - strip.margin_mm < _ARROW_MM:
        parts += _short_arrow(pen, strip)
    elif piece.last:
        parts += _arrow(pen, strip, strip.length_mm + strip.margin_mm, end)
    if not piece.first:
        parts += _joint(pen, piece.start_mm, 1.0)
    if not piece.last:
        parts += _joint(pen, piece.end_mm, -1.0)
    return parts


def _name(pen: _Pen, strip: Strip, text: StripText, left: float, right: float) -> list[Element]:
    """Name, serial and what it is for, in letters as large as all of them fit; nothing where none would."""
    room, height = (right - left - 1.5) * PT, strip.tape_mm * PT
    lines = [(text.name, True), (text.serial, False), (text.note, False)]
    size = min(6.5, height / (len(lines) * 1.4))
    widest = max(text_width(said, 1.0, bold=bold) for said, bold in lines)
    size = max(min(size, room / widest), 4.5)
    if room < 4 * size:
        return []
    x, pitch = pen.x(left) + 0.8 * PT, 1.2 * size
    top = (height - pitch * len(lines)) / 2.0
    return [
        words(x, top + (at + 0.8) * pitch, shortened(said, size, room, bold=bold), size=size, fill=_INK, bold=bold)
        for at, (said, bold) in enumerate(lines)
    ]


def _arrow(pen: _Pen, strip: Strip, left: float, right: float) -> list[Element]:
    """Which way nearer distances (or larger values) lie, with the units of the rows."""
    toward_near = -1.0 if strip.far_end == "right" else 1.0
    size = min(6.5, strip.tape_mm * PT / 4.0)
    middle, x0, x1 = strip.tape_mm * PT / 2.0, pen.x(left), pen.x(right - 1.5)
    y = middle + 0.55 * size
    units = " / ".join(_UNIT_NAME[row.kind] for row in strip.rows)
    said = ["near" if strip.rows[0].kind in ("m", "ft") else "", units]
    parts = _shaft(x0, x1, y, toward_near)
    places = (middle - 0.2 * size, y + 1.3 * size)
    for word, at in zip(said, places, strict=True):
        parts.append(words((x0 + x1) / 2.0, at, shortened(word, size, x1 - x0), size=size, fill=_INK, anchor="middle"))
    return parts


def _short_arrow(pen: _Pen, strip: Strip) -> list[Element]:
    """The arrow alone, in the white beside the near end; nothing where even that has no room."""
    half = min(1.8, strip.margin_mm / 2.0 - 0.3)
    at = -strip.margin_mm / 2.0 if strip.far_end == "right" else strip.length_mm + strip.margin_mm / 2.0
    if half < 0.8 or not pen.on(at):
        return []
    y = (strip.tape_mm / 2.0 if len(strip.rows) > 1 else 1.6) * PT
    return _shaft(pen.x(at - half), pen.x(at + half), y, -1.0 if strip.far_end == "right" else 1.0)


def _shaft(x0: float, x1: float, y: float, toward_near: float) -> list[Element]:
    tip, tail = (x0, x1) if toward_near < 0 else (x1, x0)
    barb = -toward_near * 3.0
    return [
        line(tail, y, tip, y, stroke=_INK, stroke_width=0.8),
        path([(tip + barb, y - 2.0), (tip, y), (tip + barb, y + 2.0)], fill="none", stroke=_INK, stroke_width=0.8),
    ]


def _zero(pen: _Pen, strip: Strip) -> list[Element]:
    """A small triangle at the edge opposite the ticks: the line the strip is laid by."""
    if strip.zero_mm is None or not pen.on(strip.zero_mm):
        return []
    # In two rows the labels stand close to the edge: what is left above them is the triangle's.
    left = strip.tape_mm / 2.0 - 2.1 * strip.rows[0].size_pt / PT if len(strip.rows) > 1 else 1.3
    x, h = pen.x(strip.zero_mm), min(1.3, max(0.5, left)) * PT
    return [element("path", d=_closed([(x - h * 0.6, 0.0), (x + h * 0.6, 0.0), (x, h)]), fill=_INK)]


def _closed(points: Sequence[tuple[float, float]]) -> str:
    return "M" + " ".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z"


def _joint(pen: _Pen, at_mm: float, inward: float) -> list[Element]:
    """Where two parts of a strip are butted: a full line with two short ones."""
    x = pen.x(at_mm)
    marks = [(x, y, x + inward * 1.2 * PT, y) for y in (0.35 * pen.tape_mm * PT, 0.65 * pen.tape_mm * PT)]
    return [strokes([(x, 0.0, x, pen.tape_mm * PT), *marks], stroke=_QUIET, stroke_width=0.4)]
