"""The focus budget in one bar: what each error takes, the total, and the line where all the room is gone.

Biases add as they are. Scatter adds in squares: total = sum of biases + r, r = sqrt(sum of s^2). To make the segments
add up to the total, a scatter of share s is drawn with the length s^2/r, its part of the squares; these parts sum to
r. So a segment shows what a term adds, which for scatter is less than what it would take alone.

The lens's own terms come first and sum to its own total. What the way of working on set adds (the tape) follows,
hatched: together it reaches from the lens's own total to the total of all, and its scatter parts share, by their
squares, what they add to the root.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import shortened, text_width
from tapehook.picture.svg import Element, drawing, hatch, line, path, rect, words

_SIZE = 9.0
_BAR = 13.0
_LINE = 12.0
_TOP = 17.0
_SHOWN = 1.6
"""A bar shows at most this share; a longer one is torn off and only its figure tells."""
_SOFT = "100 % = soft"
_ON_COLOUR = "#1A1A1A"


class BarTerm(NamedTuple):
    """A term of the budget: name, kind of error, what brings it (lens or set), share of the depth taken alone."""

    name: str
    kind: Literal["bias", "scatter"]
    source: Literal["lens", "set"]
    share: float


@dataclass(frozen=True, slots=True)
class BudgetBar:
    """One bar: the stop ("T2.8"), where the worst is ("1.2 m"), terms, and totals as worked out elsewhere.

    ``own`` is the total of the lens's own terms, ``total`` that of all; fractions of the room on one side of the focus,
    infinite when no depth is left.
    """

    stop_text: str
    worst_text: str
    terms: tuple[BarTerm, ...]
    own: float
    total: float

    @property
    def finite(self) -> bool:
        """False when the stop leaves no depth at all."""
        return math.isfinite(self.total) and all(math.isfinite(term.share) for term in self.terms)


class Segment(NamedTuple):
    """A piece of the bar: the term, and how much it adds to the total."""

    term: BarTerm
    adds: float


def segments_of(bar: BudgetBar) -> list[Segment]:
    """Pieces of the bar, the lens's own first, larger before smaller; own pieces sum to ``own``, all to ``total``.

    Raises ValueError when a share is infinite.
    """
    if not bar.finite:
        raise ValueError("a bar without depth has no segments")
    own_root, root = (
        math.sqrt(sum(term.share**2 for term in bar.terms if term.kind == "scatter" and term.source in sources))
        for sources in (("lens",), ("lens", "set"))
    )
    set_squares = root**2 - own_root**2
    adds = {"lens": 1 / own_root if own_root else 0.0, "set": (root - own_root) / set_squares if set_squares else 0.0}
    pieces = [
        Segment(term, term.share if term.kind == "bias" else term.share**2 * adds[term.source]) for term in bar.terms
    ]
    return sorted(pieces, key=lambda piece: (piece.term.source, -piece.adds, piece.term.name))


def whole_percents(shares: Sequence[float]) -> list[int]:
    """Shares as whole per cents that sum to the rounded sum: the largest remainders are rounded up."""
    floors = [math.floor(share * 100) for share in shares]
    missing = math.floor(sum(shares) * 100 + 0.5) - sum(floors)
    by_rest = sorted(range(len(shares)), key=lambda i: (floors[i] - shares[i] * 100, i))
    for i in by_rest[: max(missing, 0)]:
        floors[i] += 1
    return floors


def percent_text(share: float) -> str:
    """A share as a whole per cent: "47 %"; beyond ten times the depth only that, "no depth" when it is infinite."""
    if math.isinf(share):
        return "no depth"
    return f"{share * 100:.0f} %" if share < 10.0 else "over 1000 %"


def budget_bar(bar: BudgetBar, *, width: float, title: str, theme: Theme = PAPER) -> str:
    """The bar as SVG text ``width`` points wide: heading with the own total, bar, then what each term adds."""
    pieces = segments_of(bar) if bar.finite else []
    rows = max(1, math.ceil(len(pieces) / 2))
    height = _TOP + _BAR + _LINE + _LINE * rows + 2.0
    parts = _heading(bar, width, theme)
    parts += _body(bar, pieces, width, theme) if bar.finite else _no_depth(width, theme)
    parts += _legend(pieces, width, theme)
    return drawing(width, height, title, _description(bar, pieces), *parts)


def _heading(bar: BudgetBar, width: float, theme: Theme) -> list[Element]:
    own = percent_text(bar.own if bar.finite else math.inf)
    colour = theme.fault if not bar.finite or bar.own > 1.0 else theme.ink
    text = f"{bar.stop_text} · lens itself, worst at {bar.worst_text}"
    room = width - text_width(own, 13, bold=True) - 8.0
    return [
        words(0, 12, shortened(text, _SIZE, room), size=_SIZE, fill=theme.ink),
        words(width, 12, own, size=13, fill=colour, anchor="end", bold=True),
    ]


def _body(bar: BudgetBar, pieces: Sequence[Segment], width: float, theme: Theme) -> list[Element]:
    """The bar: outline to 100 %, segments from the left, the 100 % line with its word."""
    reach = min(max(1.0, bar.total), _SHOWN)
    scale = (width - 1.0) / max(reach, 1.1)
    parts = [rect(0.5, _TOP, scale, _BAR, fill="none", stroke=theme.quiet, stroke_width=0.7)]
    x = 0.5
    for i, piece in enumerate(pieces):
        end = min(x + piece.adds * scale, 0.5 + reach * scale)
        parts += _piece(i, piece, x, end, theme)
        x = end
    if bar.total > _SHOWN:
        parts.append(_tear(0.5 + reach * scale, theme))
    full = 0.5 + scale
    below = _TOP + _BAR + _SIZE + 1
    fits = full + text_width(_SOFT, _SIZE) + 3.0 <= width
    parts.append(line(full, _TOP - 2, full, _TOP + _BAR + 3, stroke=theme.fault, stroke_width=1.3))
    place = (full + 2.0, "start") if fits else (full, "end")
    parts.append(words(place[0], below, _SOFT, size=_SIZE, fill=theme.fault, anchor=place[1]))
    taped = f"with a taped distance {percent_text(bar.total)}"
    parts.append(words(0, below, taped, size=_SIZE, fill=theme.quiet))
    return parts


def _piece(i: int, piece: Segment, x: float, end: float, theme: Theme) -> list[Element]:
    """One segment with its number; what the set brings is hatched."""
    parts = [rect(x, _TOP, end - x, _BAR, fill=theme.series[i % len(theme.series)])]
    if piece.term.source == "set" and end - x > 1.0:
        parts = [
            rect(x, _TOP, end - x, _BAR, fill=theme.paper),
            hatch(x, _TOP, end - x, _BAR, gap=3.5, stroke=theme.quiet, weight=0.5),
        ]
    if end - x >= 10.0:
        middle = (x + end) / 2
        parts.append(rect(middle - 3.5, _TOP + 2, 7, _BAR - 4, fill=_swatch(i, piece, theme)))
        parts.append(
            words(middle, _TOP + 9.8, str(i + 1), size=_SIZE, fill=_number_colour(piece, theme), anchor="middle")
        )
    return parts


def _swatch(i: int, piece: Segment, theme: Theme) -> str:
    return theme.paper if piece.term.source == "set" else theme.series[i % len(theme.series)]


def _number_colour(piece: Segment, theme: Theme) -> str:
    return theme.ink if piece.term.source == "set" else _ON_COLOUR


def _tear(x: float, theme: Theme) -> Element:
    """A torn end: the bar goes on beyond the picture."""
    steps = [(x - (4 if i % 2 else 0), _TOP + _BAR * i / 4) for i in range(5)]
    return path([*steps, (x + 2, _TOP + _BAR), (x + 2, _TOP)], closed=True, fill=theme.paper)


def _no_depth(width: float, theme: Theme) -> list[Element]:
    """A bar for a stop at which nothing is sharp."""
    return [
        hatch(0.5, _TOP, width - 1, _BAR, gap=5, stroke=theme.fault, weight=0.6),
        rect(0.5, _TOP, width - 1, _BAR, fill="none", stroke=theme.fault, stroke_width=0.8),
    ]


def _legend(pieces: Sequence[Segment], width: float, theme: Theme) -> list[Element]:
    """Number, swatch, name and what it adds; in brackets what it would take alone, where that differs."""
    parts: list[Element] = []
    column = width / 2
    own = [piece.adds for piece in pieces if piece.term.source == "lens"]
    percents = whole_percents([piece.adds for piece in pieces]) if not own else []
    percents = percents or whole_percents(own) + _rest_percents(pieces, own)
    for i, piece in enumerate(pieces):
        x, y = column * (i % 2), _TOP + _BAR + 2 * _LINE - 1 + _LINE * (i // 2)
        border = theme.quiet if piece.term.source == "set" else "none"
        parts.append(rect(x + 0.5, y - 8.2, 10, 10, fill=_swatch(i, piece, theme), stroke=border, stroke_width=0.5))
        parts.append(words(x + 5.5, y, str(i + 1), size=_SIZE, fill=_number_colour(piece, theme), anchor="middle"))
        figure = f" {percents[i]} %"
        if round(piece.term.share * 100) != percents[i] and piece.term.kind == "scatter":
            figure += f" ({percent_text(piece.term.share)})"
        # A long name gives way to its figure.
        name = shortened(piece.term.name, _SIZE, column - 15 - text_width(figure, _SIZE))
        parts.append(words(x + 13, y, name + figure, size=_SIZE, fill=theme.ink))
    return parts


def _rest_percents(pieces: Sequence[Segment], own: Sequence[float]) -> list[int]:
    """Whole per cents of what the set adds, so that all sum to the rounded total."""
    rest = [piece.adds for piece in pieces if piece.term.source == "set"]
    target = math.floor(sum([*own, *rest]) * 100 + 0.5) - math.floor(sum(own) * 100 + 0.5)
    shown = whole_percents(rest)
    if shown:
        shown[0] += target - sum(shown)
    return shown


def _description(bar: BudgetBar, pieces: Sequence[Segment]) -> str:
    """The picture in words."""
    if not bar.finite:
        return f"No depth is left at {bar.stop_text}."
    parts = ", ".join(f"{piece.term.name} adds {percent_text(piece.adds)}" for piece in pieces)
    return (
        f"The lens itself uses {percent_text(bar.own)} of the room on one side of the focus at {bar.stop_text}, "
        f"worst at {bar.worst_text}; {percent_text(bar.total)} in all with a taped distance: {parts}."
    )
