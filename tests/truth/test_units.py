"""Units of length against their published definitions, through the public readers."""

import math
from fractions import Fraction

import pytest

from tapehook.notation import format_distance, parse_distance, parse_length
from tapehook.notation.length import FOOT_M, INCH_M


def test_the_foot_and_the_inch_are_exact() -> None:
    """1 ft = 3.048 E-01 m and 1 in = 2.54 E-02 m, both exact.

    NIST, Guide for the Use of the International System of Units, Special Publication 811 (2008), appendix B.8
    (bold there, which means exact).
    """
    assert Fraction("0.3048") == FOOT_M
    assert Fraction("0.0254") == INCH_M
    assert parse_distance("1 ft") == 0.3048
    assert parse_distance("1'") == 0.3048
    assert parse_length("1 in") == 0.0254
    assert parse_length('1"') == 0.0254


@pytest.mark.parametrize("text", ["5 ft 7 in", "5'7\"", "5’7”", "67in", "1.7018 m", "170.18 cm"])
def test_five_feet_seven(text: str) -> None:
    """5 ft 7 in = 1.7018 m: worked out from the definitions of SP 811 (2008), B.8, 5 x 0.3048 + 7 x 0.0254."""
    assert parse_distance(text) == 1.7018


@pytest.mark.parametrize(
    "text, metres",
    [("1/1000 in", 0.0000254), ("1/2000 in", 0.0000127), ("1/500 in", 0.0000508), ("0.002 in", 0.0000508)],
)
def test_inch_criteria_in_millimetres(text: str, metres: float) -> None:
    """1/1000, 1/2000 and 1/500 in are 0.0254, 0.0127 and 0.0508 mm.

    The criteria are from Kodak, Essential Reference Guide for Filmmakers, p. 70; the inch from SP 811 (2008), B.8.
    """
    assert parse_length(text) == metres


@pytest.mark.parametrize("feet", [1, 6, 20, 100])
def test_feet_are_written_by_the_same_definition(feet: int) -> None:
    """Whole feet, worked out from SP 811 (2008), B.8, come back as whole feet."""
    metres = math.fsum([0.3048] * feet)
    assert format_distance(metres, "imperial") == f"{feet}'"
