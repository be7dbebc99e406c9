"""How much room a text takes, and which labels fit beside each other: pictures are drawn before any font is loaded."""

from collections.abc import Iterable
from typing import NamedTuple

_ADVANCES = {
    236: " ",
    250: "'ij",
    272: ",.l!",
    292: ":;",
    317: "|[]f·",
    343: "(){}",
    367: "tr",
    400: "/\\-I",
    419: '"',
    487: "*z°?s",
    510: "vyLcxJ",
    534: "kga",
    565: "eFo_hnu",
    583: "TZbdpqSE–",
    613: "Y$+0123456789<=>^`~±×−PVX",
    653: "CKRAB",
    713: "DU&GHNOQ#",
    824: "∞w…M¾",
    927: "¼½⅓⅔m@W%",
}
"""Advance widths of IBM Plex Sans, in thousandths of the size, rounded up in groups (a test compares them)."""

_WIDTHS = {sign: advance for advance, signs in _ADVANCES.items() for sign in signs}
_UNKNOWN = 1000
_BOLD = 1.06
"""The heavier weight takes up to so much more, single signs apart."""


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Upper estimate of the width of a text in the unit of ``size``; kerning left out."""
    thousandths = sum(_WIDTHS.get(sign, _UNKNOWN) for sign in text)
    return thousandths / 1000 * size * (_BOLD if bold else 1.0)


def shortened(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """The text, or as much of it as fits into ``room`` with "…" at its end."""
    if text_width(text, size, bold=bold) <= room:
        return text
    kept = text
    while kept and text_width(kept + "…", size, bold=bold) > room:
        kept = kept[:-1]
    return kept.rstrip() + "…"


class Label(NamedTuple):
    """A text centred at ``x``; among labels that collide the one given first is kept."""

    x: float
    text: str


def spaced(labels: Iterable[Label], size: float, *, gap: float, left: float, right: float) -> list[Label]:
    """Those labels, in the order given, that leave ``gap`` between each other and stay between left and right."""
    kept: list[tuple[float, float, Label]] = []
    for label in labels:
        half = text_width(label.text, size) / 2
        start, end = label.x - half, label.x + half
        if start < left or end > right:
            continue
        if all(end + gap <= other_start or start >= other_end + gap for other_start, other_end, _ in kept):
            kept.append((start, end, label))
    return [label for _, _, label in kept]
