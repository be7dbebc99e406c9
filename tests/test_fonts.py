"""The fonts we ship: complete for what the trade writes, and found under the names we use."""

from importlib.resources import files

import pymupdf
import pytest
import typst

FONTS = files("tapehook") / "handover" / "fonts"
SIGNS = "′″∞¼½¾⅓⅔⅛⅜⅝⅞←→≤≥≈±×÷−✓°µ√δκ"
WEIGHTS = ("Regular", "SemiBold")


@pytest.mark.parametrize("weight", WEIGHTS)
def test_signs_of_the_trade_are_there(weight: str) -> None:
    """Each sign we write has a glyph: a missing one would print as an empty box."""
    font = pymupdf.Font(fontbuffer=(FONTS / f"IBMPlexSans-{weight}.ttf").read_bytes())
    assert [sign for sign in SIGNS if not font.has_glyph(ord(sign))] == []


@pytest.mark.parametrize("weight", WEIGHTS)
def test_digits_have_one_width(weight: str) -> None:
    """Columns of figures line up, and a figure that changes does not jump."""
    font = pymupdf.Font(fontbuffer=(FONTS / f"IBMPlexSans-{weight}.ttf").read_bytes())
    assert len({font.glyph_advance(ord(sign)) for sign in "0123456789+−"}) == 1


def test_typesetter_knows_both_weights_by_family_name() -> None:
    """The names to ask for, as ORIGIN.md gives them: a wrong name or weight falls back without a word."""
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)])
    found = {(font.family, font.weight) for font in fonts.fonts()}
    assert found == {("IBM Plex Sans", 400), ("IBM Plex Sans SmBld", 600)}


def test_licence_travels_with_the_fonts() -> None:
    """The Open Font License asks that its text and the copyright line go with every copy."""
    text = (FONTS / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in text
    assert "Copyright © 2017 IBM Corp." in text
