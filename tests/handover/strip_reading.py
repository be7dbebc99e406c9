"""Strips read back from the PDF: each line, where it is drawn, each text, by a reader that knows nothing of ours."""

from dataclasses import dataclass, field
from typing import Any

import pymupdf

MM = 25.4 / 72.0
"""Millimetres to the point of a PDF."""
CUT_LINE = "[ 3 2 ] 0"


@dataclass
class ReadPiece:
    """One piece between its cut lines: its box (left, top, right, bottom), upright lines and texts, millimetres."""

    box: tuple[float, float, float, float]
    lines: list[tuple[float, float, float]] = field(default_factory=list)
    """(x, top, bottom) of each upright line."""
    texts: list[tuple[str, float, float, float, float]] = field(default_factory=list)
    """(text, left, right, size, baseline) of each piece of text; the size in points."""

    @property
    def width(self) -> float:
        """Length of the piece."""
        return self.box[2] - self.box[0]

    def holds(self, x: float, y: float) -> bool:
        """True for a point on the piece, or within a line's width of it."""
        left, top, right, bottom = self.box
        return left - 0.2 <= x <= right + 0.2 and top - 0.2 <= y <= bottom + 0.2


@dataclass
class ReadSheet:
    """A sheet read: its pieces from top to bottom, page after page, and the bars of each page."""

    pieces: list[ReadPiece]
    bars_mm: list[float]
    """Length of the one level line between the two tallest ticks at the head of each page."""


def read_sheet(data: bytes) -> ReadSheet:
    """Read all pages. The file must not need repair."""
    document: Any = pymupdf.open(stream=data, filetype="pdf")
    assert not document.is_repaired
    found: list[ReadPiece] = []
    bars = []
    for number in range(document.page_count):
        page = document[number]
        drawings = page.get_drawings()
        bars.append(_bar(drawings))
        pieces = [_piece(d) for d in drawings if d["dashes"] == CUT_LINE]
        for drawing in drawings:
            _sort_lines(drawing, pieces)
        for span in _spans(page):
            _sort_text(span, pieces)
        found += sorted(pieces, key=lambda piece: piece.box[1])
    return ReadSheet(found, bars)


def _piece(drawing: dict[str, Any]) -> ReadPiece:
    box = drawing["rect"]
    return ReadPiece((box.x0 * MM, box.y0 * MM, box.x1 * MM, box.y1 * MM))


def _sort_lines(drawing: dict[str, Any], pieces: list[ReadPiece]) -> None:
    if drawing["dashes"] == CUT_LINE:
        return
    for item in drawing["items"]:
        if item[0] != "l" or abs(item[1].x - item[2].x) > 1e-3:
            continue
        x, low, high = item[1].x * MM, min(item[1].y, item[2].y) * MM, max(item[1].y, item[2].y) * MM
        for piece in pieces:
            if piece.holds(x, (low + high) / 2.0):
                piece.lines.append((x, low, high))


def _sort_text(span: dict[str, Any], pieces: list[ReadPiece]) -> None:
    left, _, right, _ = (value * MM for value in span["bbox"])
    baseline = span["origin"][1] * MM
    for piece in pieces:
        if piece.holds((left + right) / 2.0, baseline):
            piece.texts.append((span["text"].strip(), left, right, span["size"], baseline))


def _spans(page: Any) -> list[dict[str, Any]]:  # noqa: ANN401 - the reader has no types
    """Pieces of text; all must run from left to right, upright."""
    found = []
    for block in page.get_text("dict")["blocks"]:
        for line in block.get("lines", []):
            assert line["dir"] == (1.0, 0.0)
            found += line["spans"]
    return found


def _bar(drawings: list[dict[str, Any]]) -> float:
    """The level line at the head of the page."""
    level = [
        abs(item[1].x - item[2].x) * MM
        for drawing in drawings
        for item in drawing["items"]
        if item[0] == "l" and abs(item[1].y - item[2].y) < 1e-3 and item[1].y * MM < 20.0
    ]
    assert len(level) == 1
    return float(level[0])
