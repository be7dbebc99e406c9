"""Ring positions and shares."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import NotationError, PositionUnit, format_position, parse_position, parse_share

UNITS: tuple[PositionUnit, ...] = ("deg", "count", "percent", "mm")


@pytest.mark.parametrize(
    "text, unit, value",
    [
        *((text, "deg", 12.5) for text in ("12.5", "12,5", "12.5°", "12.5 º", "12½°", "12.5 deg", "12.5 Degrees")),
        *((text, "deg", 12.5) for text in ("12° 30'", "12°30′", "12° 29' 60\"".replace("29' 60", "30' 0"))),
        ("-12° 30'", "deg", -12.5),
        ("12° 30' 36\"", "deg", 12.51),
        ("−3.2°", "deg", -3.2),
        ("+3.2", "deg", 3.2),
        *((text, "count", 12034.0) for text in ("12034", "12034 counts", "12034.00", "12034 cts")),
        *((text, "percent", 45.0) for text in ("45 %", "45%", "45", "45 percent", "45 per cent")),
        *((text, "mm", 13.5) for text in ("13.5 mm", "13.5", "1.35 cm")),
        ("1/2 in", "mm", 12.7),
    ],
)
def test_positions_are_read_in_their_unit(text: str, unit: PositionUnit, value: float) -> None:
    """A bare number is in the unit of the read-out; the unit may be written; zero may be anywhere."""
    assert parse_position(text, unit) == value


@pytest.mark.parametrize(
    "text, unit, readings",
    [
        ("12,034", "count", ("12.034", "12034")),
        ("12 034", "count", ("12034",)),
        ("12° 30", "deg", ("12° 30'",)),
        ("45 %", "deg", ()),
        ("12.5°", "count", ()),
        ("12° 30'", "count", ()),
        ("12° 75'", "deg", ()),
        ("12.5° 30'", "deg", ()),
        ("", "deg", ()),
        ("deg", "deg", ()),
        ("nan", "deg", ()),
        ("inf", "count", ()),
        ("1e999", "mm", ()),
        ("--3", "deg", ()),
        ("५", "count", ()),
    ],
)
def test_unclear_positions_and_other_units_are_refused(
    text: str, unit: PositionUnit, readings: tuple[str, ...]
) -> None:
    """A position in another unit is a mistake in the table, not something to convert."""
    with pytest.raises(NotationError) as refusal:
        parse_position(text, unit)

    assert refusal.value.readings == readings
    assert all(math.isfinite(parse_position(reading, unit)) for reading in readings)


@pytest.mark.parametrize(
    "value, unit, step, text",
    [
        (131.84, "deg", None, "131.8°"),
        (131.0, "deg", None, "131.0°"),
        (131.84, "deg", 0.25, "131.75°"),
        (25551.4, "count", None, "25551"),
        (25551.4, "count", 1.0, "25551"),
        (45.23, "percent", 0.05, "45.25 %"),
        (13.46, "mm", None, "13.5 mm"),
        (-0.04, "deg", None, "0.0°"),
        (-3.26, "deg", 0.1, "-3.3°"),
        (1e300, "count", 0.1, f"{1e300:.1f}"),
    ],
)
def test_house_style_of_positions(value: float, unit: PositionUnit, step: float | None, text: str) -> None:
    """As many decimals as the read-out's step has, zeros kept, so that a column lines up."""
    assert format_position(value, unit, step=step) == text


@given(value=st.floats(-1e6, 1e6), unit=st.sampled_from(UNITS), step=st.sampled_from([None, 1.0, 0.1, 0.25, 0.05]))
def test_a_written_position_reads_back_within_half_a_step(value: float, unit: PositionUnit, step: float | None) -> None:
    """Rounding to the step of the read-out is all that is lost."""
    back = parse_position(format_position(value, unit, step=step), unit)
    assert abs(back - value) <= (step or (1.0 if unit == "count" else 0.1)) / 2 + 1e-9


def test_only_finite_positions_and_real_steps_can_be_used() -> None:
    """An undefined position or a step of nought is a mistake of the program."""
    for value, step in ((math.nan, None), (math.inf, 0.1), (1.0, 0.0), (1.0, -0.1), (1.0, math.nan)):
        with pytest.raises(ValueError, match="finite"):
            format_position(value, "deg", step=step)


@pytest.mark.parametrize(
    "text, share",
    [("0.85", 0.85), ("0,85", 0.85), ("85 %", 0.85), ("85%", 0.85), ("85 percent", 0.85), ("1", 1.0), ("100 %", 1.0)],
)
def test_shares_are_read_with_or_without_percent(text: str, share: float) -> None:
    """A share is a part of one, or a percentage."""
    assert parse_share(text) == share


@pytest.mark.parametrize(
    "text, readings",
    [("85", ("85 %",)), ("0", ()), ("-0.5", ()), ("120 %", ()), ("1.2", ("1.2 %",)), ("", ()), ("%", ()), ("a", ())],
)
def test_what_is_no_share_is_refused(text: str, readings: tuple[str, ...]) -> None:
    """Nothing above one, and the percent sign is offered when it was probably left out."""
    with pytest.raises(NotationError) as refusal:
        parse_share(text)

    assert refusal.value.readings == readings
    assert all(0 < parse_share(reading) <= 1 for reading in readings)
