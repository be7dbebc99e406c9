"""How much room a text takes, against the font itself; and labels that never overlap."""

import itertools
from importlib.resources import files

import pymupdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.picture.lettering import Label, shortened, spaced, text_width

FONTS = files("tapehook") / "handover" / "fonts"
SIGNS = "".join(map(chr, range(32, 127))) + "½¼¾∞°±×−–·…⅓⅔"


@pytest.mark.parametrize("weight, bold", [("Regular", False), ("SemiBold", True)])
def test_widths_are_those_of_the_font(weight: str, bold: bool) -> None:
    """The estimate is never narrower than the font's advance widths by over 2 %, nor wider by over 20 %, in texts."""
    font = pymupdf.Font(fontbuffer=(FONTS / f"IBMPlexSans-{weight}.ttf").read_bytes())
    texts = ["12'6½\"", "0.75 m", "131.8°", "100 % = soft", "with a taped distance 215 %", "check 5'", "T2.8 1/3", "∞"]
    for text in texts:
        true = sum(font.glyph_advance(ord(sign)) for sign in text)
        assert 0.98 * true <= text_width(text, 1.0, bold=bold) <= 1.2 * true, text


def test_single_signs_are_not_underestimated() -> None:
    """Each sign in use has at least its advance width in the regular weight, to a thousandth."""
    font = pymupdf.Font(fontbuffer=(FONTS / "IBMPlexSans-Regular.ttf").read_bytes())
    short = [sign for sign in SIGNS if text_width(sign, 1.0) < font.glyph_advance(ord(sign)) - 0.03]
    assert short == []


@given(st.lists(st.tuples(st.floats(-50, 550), st.text(SIGNS, min_size=1, max_size=8)), max_size=40))
def test_labels_never_overlap(wanted: list[tuple[float, str]]) -> None:
    """Of any labels those kept lie apart and inside, and the first that fits at all is among them."""
    labels = [Label(x, text) for x, text in wanted]
    kept = spaced(labels, 9.0, gap=3.0, left=0.0, right=500.0)
    spans = sorted((x - text_width(t, 9.0) / 2, x + text_width(t, 9.0) / 2) for x, t in kept)
    assert all(end + 3.0 <= start + 1e-9 for (_, end), (start, _) in itertools.pairwise(spans))
    assert all(start >= 0 and end <= 500 for start, end in spans)
    inside = [
        label
        for label in labels
        if label.x - text_width(label.text, 9.0) / 2 >= 0 and label.x + text_width(label.text, 9.0) / 2 <= 500
    ]
    assert kept[:1] == inside[:1]


@given(st.text(SIGNS, max_size=60), st.floats(10, 200))
def test_a_shortened_text_fits(text: str, room: float) -> None:
    """It fits its room, and is the text itself or a beginning of it."""
    short = shortened(text, 9.0, room)
    assert text_width(short, 9.0) <= room
    assert short == text or text.startswith(short.removesuffix("…"))
