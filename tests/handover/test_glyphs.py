"""What the font can print, against another reader of fonts; and texts that never ask for more."""

import struct
import unicodedata

import pymupdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.handover.glyphs import FONTS, MISSING, breakable, code_points, printable


@pytest.mark.parametrize("weight", ["Regular", "SemiBold"])
def test_covered_signs_are_those_another_reader_finds(weight: str) -> None:
    """MuPDF reads the same map of characters from the same file."""
    path = FONTS / f"IBMPlexSans-{weight}.ttf"
    assert set(code_points(path.read_bytes())) == set(pymupdf.Font(fontfile=str(path)).valid_codepoints())


@given(st.text())
def test_printable_text_has_a_glyph_for_each_sign(text: str) -> None:
    """Whatever is written, only signs that the font has are left, in one line, and no unseen ones."""
    known = set(code_points((FONTS / "IBMPlexSans-Regular.ttf").read_bytes()))
    clean = printable(text)
    assert {ord(sign) for sign in clean} <= known
    assert not {unicodedata.category(sign) for sign in clean} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert printable(clean) == clean


@pytest.mark.parametrize(
    "text, expected",
    [
        ("a\nb\tc", "a b c"),
        ("e\u0301", "é"),
        ("5'6½\" ∞ ± −", "5'6½\" ∞ ± −"),
        ("a\u202eb\u200dc\x07", "abc"),
        ("😀", MISSING),
        ("\ud800", MISSING),
    ],
)
def test_what_becomes_of_a_sign(text: str, expected: str) -> None:
    """Line ends become spaces, accents are joined, unseen signs go, unknown ones become a box."""
    assert printable(text) == expected


@given(st.text())
def test_breaking_changes_nothing_that_is_seen(text: str) -> None:
    """Only spaces of no width are added, and only inside words of 18 signs and more."""
    text = text.replace("\u200b", "")
    broken = breakable(text)
    assert broken.replace("\u200b", "") == text
    assert all(len(word) < 18 or "\u200b" in broken for word in text.split())


def test_a_font_without_a_map_is_refused() -> None:
    """A file that is no font does not read as one that covers nothing."""
    with pytest.raises(ValueError, match="no map"):
        list(code_points(struct.pack(">IHHHH", 0x00010000, 0, 0, 0, 0)))
