"""Spans of a day, read."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import NotationError, parse_minutes


@pytest.mark.parametrize(
    "text, seconds",
    [("30", 1800.0), ("30 min", 1800.0), ("15min", 900.0), ("2 minutes", 120.0), ("1.5 h", 5400.0), ("1hour", 3600.0)],
)
def test_minutes_and_hours_are_read(text: str, seconds: float) -> None:
    """A bare number is minutes; a unit is taken at its word."""
    assert parse_minutes(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["", "min", "0", "-3", "3 days", "1e9", "inf", "nan", "30 s"])
def test_what_is_no_span_is_refused(text: str) -> None:
    """With what was expected; nothing of a second or less, nothing of a week or more."""
    with pytest.raises(NotationError) as caught:
        parse_minutes(text)
    assert "minutes" in caught.value.expected


@given(st.floats(0.1, 9999))
def test_a_number_of_minutes_comes_back(minutes: float) -> None:
    """Sixty seconds each, whatever the number."""
    assert parse_minutes(f"{minutes:.6f} min") == pytest.approx(60.0 * minutes, rel=1e-4)
