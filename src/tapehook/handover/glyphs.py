"""Which signs our font can print: all others are replaced before they reach the typesetter, which refuses them."""

import re
import struct
import unicodedata
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

FONTS = Path(__file__).parent / "fonts"
MISSING = "\ufffd"
"""Stands for every sign the font lacks; the font has it, as a box with a question mark."""

_NO_ROOM = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Unicode categories that print nothing, or turn the writing round: never passed on."""
_UNUSUAL = re.compile(r"[^\x20-\x7e]")
_PIECE = 5
_LONG_WORD = re.compile(r"\S{18,}")
_LINE_ENDS = frozenset("\t\n\r\x0b\x0c\x85\u2028\u2029")


def printable(text: str) -> str:
    """The text with what cannot be printed taken out: line ends become spaces, unknown signs ``MISSING``.

    Signs are composed first (NFC), so that a letter with its accent written apart finds its glyph.
    """
    composed = text if text.isascii() else unicodedata.normalize("NFC", text)
    return _UNUSUAL.sub(lambda found: _replaced(found.group()), composed)


def breakable(text: str) -> str:
    """The text with places to break in its longest words: spaces of no width that print nothing."""
    return _LONG_WORD.sub(lambda word: "\u200b".join(_pieces(word.group())), text)


def all_printable(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """The same JSON value with every text in it made printable and breakable, "+-" as the sign."""
    if isinstance(value, str):
        return breakable(printable(value.replace("+-", "±")))
    if isinstance(value, dict):
        return {key: all_printable(inner) for key, inner in value.items()}
    return [all_printable(inner) for inner in value] if isinstance(value, list | tuple) else value


def _pieces(word: str) -> list[str]:
    return [word[i : i + _PIECE] for i in range(0, len(word), _PIECE)]


def _replaced(sign: str) -> str:
    if sign in _LINE_ENDS:
        return " "
    if unicodedata.category(sign) in _NO_ROOM:
        return MISSING if unicodedata.category(sign) == "Cs" else ""
    return sign if ord(sign) in _covered() else MISSING


@cache
def _covered() -> frozenset[int]:
    """Code points that both weights of the font have."""
    weights = [
        frozenset(code_points((FONTS / f"IBMPlexSans-{name}.ttf").read_bytes())) for name in ("Regular", "SemiBold")
    ]
    return weights[0] & weights[1]


def code_points(font: bytes) -> Iterator[int]:
    """Code points of a TrueType font's Unicode map, formats 4 and 12.

    Source: OpenType specification 1.9, "cmap - Character to Glyph Index Mapping Table". Raises ValueError without
    such a map.
    """
    count = struct.unpack_from(">H", font, 4)[0]
    records = (struct.unpack_from(">4sIII", font, 12 + 16 * i) for i in range(count))
    start = next((offset for tag, _, offset, _ in records if tag == b"cmap"), None)
    if start is None:
        raise ValueError("the font has no map of characters")
    subtables = struct.unpack_from(">H", font, start + 2)[0]
    offsets = {start + struct.unpack_from(">HHI", font, start + 4 + 8 * i)[2] for i in range(subtables)}
    for offset in sorted(offsets):
        kind = struct.unpack_from(">H", font, offset)[0]
        if kind == 4:
            yield from _format_4(font, offset)
        elif kind == 12:
            yield from _format_12(font, offset)


def _format_4(font: bytes, at: int) -> Iterator[int]:
    """Segments of 16-bit code points; those that lead to glyph 0 are not there."""
    segments = struct.unpack_from(">H", font, at + 6)[0] // 2
    ends_at, starts_at = at + 14, at + 16 + 2 * segments
    deltas_at, ranges_at = starts_at + 2 * segments, starts_at + 4 * segments
    for i in range(segments):
        end, start, delta, step = (
            struct.unpack_from(">H", font, base + 2 * i)[0] for base in (ends_at, starts_at, deltas_at, ranges_at)
        )
        for code in range(start, min(end, 0xFFFE) + 1):
            glyph = code
            if step:
                glyph = struct.unpack_from(">H", font, ranges_at + 2 * i + step + 2 * (code - start))[0]
            if (glyph + delta) & 0xFFFF and (glyph or not step):
                yield code


def _format_12(font: bytes, at: int) -> Iterator[int]:
    """Groups of 32-bit code points."""
    groups = struct.unpack_from(">I", font, at + 12)[0]
    for i in range(groups):
        start, end, glyph = struct.unpack_from(">III", font, at + 16 + 12 * i)
        yield from (code for code in range(start, end + 1) if glyph + code - start)
