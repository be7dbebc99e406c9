"""The pack read back: what stands on its pages, line by line."""

from functools import cached_property
from typing import Any

import pymupdf

BOX = "\x01"
"""What the reader makes of U+FFFD, the sign that stands for those the font lacks."""


def plain(text: str) -> str:
    """Text with single spaces, and without the places to break a long word."""
    return " ".join(text.replace("\u200b", "").replace(BOX, "\ufffd").split())


class Pack:
    """A PDF, opened, with its pages read once."""

    def __init__(self, data: bytes) -> None:
        self.document: Any = pymupdf.open(stream=data, filetype="pdf")
        self.pages: list[Any] = [self.document[i] for i in range(self.document.page_count)]

    def __len__(self) -> int:
        """Number of pages."""
        return len(self.pages)

    @cached_property
    def texts(self) -> list[str]:
        """All text of each page in one line."""
        return [plain(page.get_text()) for page in self.pages]

    @cached_property
    def lines(self) -> list[list[str]]:
        """Texts of each page that stand on one baseline, left to right, as lines."""
        return [_lines(spans) for spans in self.spans]

    @cached_property
    def spans(self) -> list[list[dict[str, Any]]]:
        """Pieces of text of one font and size, for each page."""
        return [
            [
                span
                for block in page.get_text("dict")["blocks"]
                for line in block.get("lines", [])
                for span in line["spans"]
            ]
            for page in self.pages
        ]

    @cached_property
    def heads(self) -> list[str | None]:
        """The large heading at the top of each page; None on a page that carries another one on."""
        large = [[s["text"] for s in spans if s["size"] > 18 and s["bbox"][1] < 200] for spans in self.spans]
        return [plain("".join(texts)) if texts else None for texts in large]

    def pages_of(self, title: str) -> list[int]:
        """Indices of the pages of a lens or camera: the one its title heads, and those it flows on to."""
        start = self.heads.index(plain(title))
        end = next((i for i in range(start + 1, len(self)) if self.heads[i] is not None), len(self))
        return list(range(start, end))

    def lines_of(self, title: str) -> str:
        """All lines on those pages, between bars."""
        return " | ".join(line for page in self.pages_of(title) for line in self.lines[page])

    def text_of(self, title: str) -> str:
        """All text on those pages."""
        return " ".join(self.texts[page] for page in self.pages_of(title))

    @property
    def cover(self) -> str:
        """The text up to the page of the first lens."""
        end = next((i for i in range(1, len(self)) if self.heads[i] is not None), len(self))
        return " ".join(self.texts[:end])

    @property
    def cover_lines(self) -> list[str]:
        """The lines up to the page of the first lens."""
        end = next((i for i in range(1, len(self)) if self.heads[i] is not None), len(self))
        return [line for page in self.lines[:end] for line in page]


def _lines(spans: list[dict[str, Any]]) -> list[str]:
    rows: dict[float, list[tuple[float, str]]] = {}
    for span in spans:
        x, baseline = span["origin"]
        key = next((k for k in rows if abs(k - baseline) < 1.0), baseline)
        rows.setdefault(key, []).append((x, span["text"]))
    return [plain(" ".join(text for _, text in sorted(row))) for _, row in sorted(rows.items())]
