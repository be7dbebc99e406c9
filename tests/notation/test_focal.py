"""Focal lengths and zoom ranges."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import FocalRange, NotationError, format_focal_length, parse_focal_length


@pytest.mark.parametrize(
    "text, short_m, long_m",
    [
        *((text, 0.05, 0.05) for text in ("50", "50mm", "50 mm", "50 MM", "5 cm", "50.0mm", "0.05 m")),
        ("18,5 mm", 0.0185, 0.0185),
        ("2 in", 0.0508, 0.0508),
        ('2"', 0.0508, 0.0508),
        *(
            (text, 0.024, 0.075)
            for text in ("24-75", "24–75 mm", "24 - 75mm", "24mm-75mm", "24 to 75 mm", "24 mm to 75 mm", "2.4-7.5 cm")
        ),
    ],
)
def test_primes_and_zooms_are_read_exactly(text: str, short_m: float, long_m: float) -> None:
    """Millimetres unless a unit is written; a unit at the end counts for both ends."""
    focal = parse_focal_length(text)

    assert focal == FocalRange(short_m, long_m)
    assert focal.is_zoom == (short_m < long_m)


@pytest.mark.parametrize(
    "text, readings",
    [
        ("75-24", ("24 mm-75 mm",)),
        ("50-50", ("50 mm",)),
        ("24 75", ("24-75 mm",)),
        ("24:75 mm", ("24-75 mm",)),
        ("24/75", ("24-75 mm",)),
        ("24,290 mm", ("24.290 mm",)),
        ("0.05", ("0.05 m",)),
        ("24-75-100", ()),
        ("", ()),
        ("50 ft", ()),
        ("mm", ()),
        ("-50", ()),
        ("0", ()),
        ("0.0005 mm", ()),
        ("20000", ()),
        ("1e400", ()),
        ("inf", ()),
        ("٥٠", ()),
    ],
)
def test_unclear_and_impossible_focal_lengths_are_refused(text: str, readings: tuple[str, ...]) -> None:
    """A range in doubt is offered in order; a length in the wrong unit is not let through."""
    with pytest.raises(NotationError) as refusal:
        parse_focal_length(text)

    assert refusal.value.readings == readings
    assert all(parse_focal_length(reading).short_m > 0 for reading in readings)


def test_a_decimal_comma_file_may_have_three_decimals() -> None:
    """The file says that its comma is decimal, so 24,290 mm is one focal length."""
    assert parse_focal_length("24,290 mm", decimal_comma=True).long_m == 0.02429


@given(ends_um=st.lists(st.integers(1000, 5_000_000), min_size=2, max_size=2).map(sorted))
def test_a_written_range_reads_back_within_half_of_its_last_digit(ends_um: list[int]) -> None:
    """Two decimals of a millimetre: within 5 um of either end."""
    focal = FocalRange(ends_um[0] / 1e6, ends_um[1] / 1e6)
    back = parse_focal_length(format_focal_length(focal))

    assert abs(back.short_m - focal.short_m) <= 5.001e-6
    assert abs(back.long_m - focal.long_m) <= 5.001e-6


def test_house_style_of_focal_lengths() -> None:
    """One number for a prime, two with a dash for a zoom."""
    assert format_focal_length(FocalRange(0.05, 0.05)) == "50 mm"
    assert format_focal_length(FocalRange(0.0185, 0.055)) == "18.5-55 mm"

    for wrong in (0.0, -0.05, math.inf, math.nan):
        with pytest.raises(ValueError, match="more than zero"):
            format_focal_length(FocalRange(0.01, wrong))
