"""Lengths of circles of confusion, pupils and charts."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import (
    LengthUnit,
    NotationError,
    format_length_mm,
    format_small_length,
    parse_length,
    parse_signed_length,
)


@pytest.mark.parametrize(
    "text, metres",
    [
        ("0.025mm", 0.000025),
        ("0,025 mm", 0.000025),
        ("25 µm", 0.000025),
        ("25 μm", 0.000025),
        ("25um", 0.000025),
        ("25 microns", 0.000025),
        ('1/1000"', 0.0000254),
        ("1/1000 in", 0.0000254),
        ("0.001 inch", 0.0000254),
        ("1 thou", 0.0000254),
        ("1/30 mm", 1 / 30000),
        ("41 mm", 0.041),
        ("2'6\"", 0.762),
        ("1.2 m", 1.2),
    ],
)
def test_lengths_are_read_exactly(text: str, metres: float) -> None:
    """Fractions that no tape shows are read too, as sharpness criteria are written so."""
    assert parse_length(text) == metres
    assert parse_signed_length(text) == metres
    assert parse_signed_length("-" + text) == -metres
    assert parse_signed_length("− " + text) == -metres


@pytest.mark.parametrize(
    "text, bare_unit, metres", [("0.025", "mm", 0.000025), ("1/1000", "in", 0.0000254), ("1/30", "mm", 1 / 30000)]
)
def test_a_bare_length_takes_the_stated_unit(text: str, bare_unit: LengthUnit, metres: float) -> None:
    """A column or an option may state the unit."""
    assert parse_length(text, bare_unit=bare_unit) == metres


@pytest.mark.parametrize(
    "text, readings",
    [
        ("0.025", ("0.025 mm", "0.025 in", "0.025 m")),
        ("1/1000", ("1/1000 mm", "1/1000 in", "1/1000 m")),
        ("12,500 mm", ("12.500 mm", "12500 mm")),
        ("61/2 in", ("6 1/2 in",)),
        ("inf", ()),
        ("0 mm", ()),
        ("-3 mm", ()),
        ("3 mil", ()),
        ("", ()),
    ],
)
def test_unclear_and_impossible_lengths_are_refused(text: str, readings: tuple[str, ...]) -> None:
    """A length is finite, of more than zero, and has a unit; the readings offered are themselves clear."""
    with pytest.raises(NotationError) as refusal:
        parse_length(text)

    assert refusal.value.readings == readings
    assert all(parse_length(reading) > 0 for reading in readings)


def test_a_signed_length_may_be_zero_or_negative() -> None:
    """A pupil may lie at or behind the image plane."""
    assert parse_signed_length("0 mm") == 0
    assert parse_signed_length("-12.5 mm") == -0.0125
    assert parse_signed_length("+41", bare_unit="mm") == 0.041

    for text in ("--3 mm", "-", "-inf", "3- mm"):
        with pytest.raises(NotationError):
            parse_signed_length(text)


@pytest.mark.parametrize(
    "metres, text",
    [
        (0.000025, "0.025 mm"),
        (0.0000254, "0.0254 mm"),
        (0.041, "41 mm"),
        (-0.0125, "-12.5 mm"),
        (0.0, "0 mm"),
        (1.23456, "1235 mm"),
        (12.3456, "12346 mm"),
    ],
)
def test_house_style_in_millimetres(metres: float, text: str) -> None:
    """Four significant digits, whole millimetres from a metre on."""
    assert format_length_mm(metres) == text


@given(metres=st.floats(1e-9, 1e3) | st.floats(-1e3, -1e-9) | st.just(0.0))
def test_a_written_length_reads_back_within_half_of_its_last_digit(metres: float) -> None:
    """Four digits: within 5e-4 of the length, whatever its sign."""
    back = parse_signed_length(format_length_mm(metres))
    assert abs(back - metres) <= 5.001e-4 * abs(metres)


@pytest.mark.parametrize("metres", [math.inf, math.nan])
def test_only_finite_lengths_can_be_written(metres: float) -> None:
    """An infinite or undefined length is a mistake of the program."""
    with pytest.raises(ValueError, match="finite"):
        format_length_mm(metres)


@pytest.mark.parametrize(
    "metres, metric, imperial",
    [
        (0.0042, "4.2 mm", '0.17"'),
        (0.0305, "3 cm", '1.2"'),
        (-0.42, "42 cm", '17"'),
        (1.23, "1.2 m", "4'"),
        (25.0, "25 m", "82'"),
        (math.inf, "∞", "∞"),
        (None, "∞", "∞"),
    ],
)
def test_a_short_stretch_is_said_as_a_crew_says_it(metres: float | None, metric: str, imperial: str) -> None:
    """Two significant figures in the unit at hand; nothing beyond infinity."""
    assert (format_small_length(metres, "metric"), format_small_length(metres, "imperial")) == (metric, imperial)
