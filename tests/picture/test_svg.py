"""The SVG writer: text stays text, numbers are finite, equal input gives equal text."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.picture.svg import drawing, element, escape, hatch, number, path, rect, words
from tests.picture.reading import SVG, parse

finite = st.floats(-1e4, 1e4)


@given(st.text())
def test_any_text_stays_text(text: str) -> None:
    """Whatever a file holds comes back as the same text from an XML reader, and makes no element."""
    root = parse(drawing(10, 10, text, text, words(1, 1, text, size=9, fill="#000000")))
    written = root.find(f"{SVG}text")
    assert written is not None
    expected = re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)
    # An XML reader turns line ends into \n (XML 1.0, section 2.11).
    assert (written.text or "") == expected.replace("\r\n", "\n").replace("\r", "\n")
    assert [child.tag for child in root] == [f"{SVG}title", f"{SVG}desc", f"{SVG}text"]


@given(st.text())
def test_attributes_cannot_be_left(text: str) -> None:
    """A quote in an attribute does not end it."""
    root = parse(f'<g fill="{escape(text)}"/>')
    assert set(root.attrib) == {"fill"}


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_numbers_must_be_finite(value: float) -> None:
    """A coordinate that is no number would draw nothing, and say nothing."""
    with pytest.raises(ValueError, match="finite"):
        rect(0, 0, value, 1)


@given(finite)
def test_numbers_keep_two_decimals(value: float) -> None:
    """Half of the last digit is 0.005 points, 0.002 mm; and there is no minus zero."""
    text = number(value)
    assert abs(float(text) - value) <= 0.005 + 1e-9
    assert re.fullmatch(r"-?\d+\.\d\d", text)
    assert text != "-0.00"


@pytest.mark.parametrize("name", ["on click", "x=1", "Fill", "", "a/b"])
def test_names_are_names(name: str) -> None:
    """What is no attribute's or element's name is refused."""
    with pytest.raises(ValueError, match="is called"):
        element("rect", **{name: "1"})
    with pytest.raises(ValueError, match="is called"):
        element(name)


def test_a_path_needs_points() -> None:
    """An empty path is a fault of the caller."""
    with pytest.raises(ValueError, match="points"):
        path([])


@given(st.floats(0, 100), st.floats(0, 100), st.floats(0.5, 200), st.floats(0.5, 200), st.floats(1, 20))
def test_hatch_stays_inside(x: float, y: float, width: float, height: float, gap: float) -> None:
    """No line of a hatch leaves its rectangle."""
    text = str(hatch(x, y, width, height, gap=gap, stroke="#000000", weight=1))
    d = re.search(r' d="([^"]*)"', text)
    assert d is not None
    if d.group(1) == "M0 0":
        return
    numbers = [float(part) for part in re.findall(r"-?\d+\.\d+", d.group(1))]
    assert all(x - 0.01 <= value <= x + width + 0.01 for value in numbers[0::2])
    assert all(y - 0.01 <= value <= y + height + 0.01 for value in numbers[1::2])
