"""Plain numbers: points, commas, thousands, and nothing that is not a number."""

import math

import pytest
from hypothesis import given

from tapehook.notation import NotationError, parse_number, write_number
from tapehook.notation.number import decimal_text, significant_text
from tests.notation.strategies import numbers


@pytest.mark.parametrize(
    "text, value",
    [
        ("12.5", 12.5),
        ("12,5", 12.5),
        (" 12 ", 12.0),
        ("-0.3", -0.3),
        ("−0,3", -0.3),
        ("+4", 4.0),
        ("- 4", -4.0),
        (".5", 0.5),
        ("-.5", -0.5),
        ("0,680", 0.68),
        ("1.680", 1.68),
        ("1234,5678", 1234.5678),
        ("1,234,567", 1234567.0),
        ("1.234.567", 1234567.0),
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1e-3", 0.001),
        ("2.5E+2", 250.0),
        ("007", 7.0),
        ("0", 0.0),
    ],
)
def test_numbers_are_read_to_the_nearest_float(text: str, value: float) -> None:
    """Each spelling gives the float that the plain decimal gives."""
    assert parse_number(text) == value


@pytest.mark.parametrize(
    "text, decimal_comma, readings",
    [
        ("1,680", False, ("1.680", "1680")),
        ("-12,034", False, ("-12.034", "-12034")),
        ("1234,567", False, ("1234.567", "1234567")),
        ("1.680", True, ("1,680", "1680")),
        ("12 034", False, ("12034",)),
        ("-1 234 567", False, ("-1234567",)),
    ],
)
def test_a_mark_for_thousands_that_may_be_decimal_is_refused(
    text: str, decimal_comma: bool, readings: tuple[str, ...]
) -> None:
    """Three digits after one mark have two readings; which mark is in doubt depends on the file."""
    with pytest.raises(NotationError) as refusal:
        parse_number(text, decimal_comma=decimal_comma)

    assert refusal.value.readings == readings
    for reading in readings:
        assert math.isfinite(parse_number(reading, decimal_comma=decimal_comma))


@pytest.mark.parametrize(
    "text",
    [
        *("", "-", "+", "--1", "abc", "5 m", "1/2", "½", "5.", "5,", ",", "1.2.3", "1,23,456", "01,234,567"),
        *("1,234.567.8", "nan", "inf", "∞", "1e400", "1e-400", "1e99999999999", "e5", "1_000", "0x10", "٣", "५"),
        *("1 2", "1.5 000", "12 0345"),
    ],
)
def test_what_is_no_number_is_refused(text: str) -> None:
    """No guess is made; infinities and overflows are no numbers here."""
    with pytest.raises(NotationError) as refusal:
        parse_number(text)

    assert refusal.value.readings == ()


@given(value=numbers)
def test_what_is_written_reads_back_to_the_same_float(value: float) -> None:
    """Files lose nothing, with a point or a comma."""
    assert parse_number(write_number(value)) == value
    assert parse_number(write_number(value, decimal_comma=True), decimal_comma=True) == value


@given(value=numbers)
def test_any_python_number_is_read_as_python_reads_it(value: float) -> None:
    """An independent reader, float(), agrees on all it writes itself."""
    for text in (repr(value), f"{value:.3f}", f"{value:.17e}"):
        if len(text) <= 200:
            assert parse_number(text) == float(text)


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_only_finite_numbers_can_be_written(value: float) -> None:
    """A file never gets an infinity or a NaN where a number belongs."""
    with pytest.raises(ValueError, match="finite"):
        write_number(value)


@pytest.mark.parametrize(
    "value, decimals, text",
    [(1.6, 2, "1.6"), (2.0, 2, "2"), (1.678, 2, "1.68"), (-0.001, 2, "0"), (120.0, 0, "120"), (0.5, -3, "0")],
)
def test_zeros_that_say_nothing_are_left_out(value: float, decimals: int, text: str) -> None:
    """Trailing zeros go, zeros before the point stay, and there is no minus nought."""
    assert decimal_text(value, decimals) == text


@pytest.mark.parametrize(
    "value, text",
    [(0.0, "0"), (-0.0, "0"), (12.3456, "12.35"), (12345.6, "12346"), (0.0254, "0.0254"), (1e-7, "1e-07")],
)
def test_significant_digits(value: float, text: str) -> None:
    """Four digits, whole numbers whole, an exponent only for what is very small."""
    assert significant_text(value, 4) == text
