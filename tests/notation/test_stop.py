"""Stops: labels and the values behind them, fractions of a stop, splits that are refused."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import (
    FULL_STOPS,
    HALF_STOPS,
    THIRD_STOPS,
    NotationError,
    format_f_number,
    format_stop,
    parse_stop,
)
from tests.notation.strategies import apertures

ROOT_2 = math.sqrt(2)
T28_AND_A_THIRD = 2 * ROOT_2 * 2 ** (1 / 6)


@pytest.mark.parametrize(
    "text, number, exact, scale, label",
    [
        ("T2.8", 2.8, 2 * ROOT_2, "T", "T2.8"),
        ("t 2,8", 2.8, 2 * ROOT_2, "T", "T2.8"),
        ("T2.80", 2.8, 2 * ROOT_2, "T", "T2.8"),
        ("T/2.8", 2.8, 2 * ROOT_2, "T", "T2.8"),
        ("2.8", 2.8, 2 * ROOT_2, None, "2.8"),
        ("2,8", 2.8, 2 * ROOT_2, None, "2.8"),
        ("f/2", 2.0, 2.0, "f", "f/2"),
        ("F2", 2.0, 2.0, "f", "f/2"),
        ("f 2.0", 2.0, 2.0, "f", "f/2"),
        ("ƒ/5.6", 5.6, 4 * ROOT_2, "f", "f/5.6"),
        ("T2.8 1/3", T28_AND_A_THIRD, T28_AND_A_THIRD, "T", "T2.8 1/3"),
        ("2.8⅓", T28_AND_A_THIRD, T28_AND_A_THIRD, None, "2.8 1/3"),
        ("T2.8+1/3", T28_AND_A_THIRD, T28_AND_A_THIRD, "T", "T2.8 1/3"),
        ("T4½", 4 * 2**0.25, 4 * 2**0.25, "T", "T4 1/2"),
        ("f/8 2/3", 8 * 2 ** (1 / 3), 8 * 2 ** (1 / 3), "f", "f/8 2/3"),
        ("T5.6 7/10", 4 * ROOT_2 * 2**0.35, 4 * ROOT_2 * 2**0.35, "T", "T5.6 7/10"),
        ("T1.3", 1.3, 1.3, "T", "T1.3"),
        ("T0.95", 0.95, 0.95, "T", "T0.95"),
        ("T3.2", 3.2, T28_AND_A_THIRD, "T", "T3.2"),
        ("T3.3", 3.3, 2 * ROOT_2 * 2**0.25, "T", "T3.3"),
        ("T1.2", 1.2, 2**0.25, "T", "T1.2"),  # the half stop is nearer than the third, 1.26
        ("T13", 13.0, 2 ** (22 / 6), "T", "T13"),  # the third is nearer than the half stop, 13.45
        ("T0.5", 0.5, 0.5, "T", "T0.5"),
        ("T128", 128.0, 128.0, "T", "T128"),
    ],
)
def test_a_stop_keeps_what_was_written_and_what_stands_behind_it(
    text: str, number: float, exact: float, scale: str | None, label: str
) -> None:
    """The number is the one written, the exact value that of the standard scale; with a fraction both are."""
    stop = parse_stop(text)

    assert (stop.number, stop.exact) == pytest.approx((number, exact), rel=1e-15)
    assert (stop.scale, stop.label) == (scale, label)


@pytest.mark.parametrize(
    "text, readings",
    [
        *(
            (text, ("T2.8 1/2 (halfway)", "T2.8 to T4 (a range)"))
            for text in ("2.8/4", "T2.8-4", "T2.8/T4", "2.8–4", "2.8 4", "T2.8/4 split", "2.8 to 4", "4/2.8")
        ),
        ("f/8-11", ("f/8 1/2 (halfway)", "f/8 to f/11 (a range)")),
        ("8/11", ("T8 1/2 (halfway)", "T8 to T11 (a range)")),
        ("T41/3", ("T4 1/3",)),
        ("2.8 -1/3", ("2.8 1/3", "1/3 stop more light than 2.8")),
        ("2,828", ("2.828",)),
        ("T1/3", ("T1.7 (halfway)", "T1 to T3 (a range)")),
    ],
)
def test_two_stops_in_one_are_refused_with_their_readings(text: str, readings: tuple[str, ...]) -> None:
    """A split may mean the setting between two stops, or both of them."""
    with pytest.raises(NotationError) as refusal:
        parse_stop(text)

    assert refusal.value.readings == readings


@pytest.mark.parametrize(
    "text",
    [
        *("", "T", "f/", "/2", "two", "T-2.8", "-2.8", "T2.8 stop", "2.8 T", "T2.8 1/3 1/3", "1:2.8"),
        *("T0", "T0.49", "T128.1", "T128 1/3", "T1e400", "Tinf", "T2.8 3/3", "T2.8 1/7", "T2.8 0/3", "T3.2 1/3"),
        *("T2.8.4", "2.8 4 5.6", "4/4", "T٢", "T２"),
    ],
)
def test_what_is_no_stop_is_refused(text: str) -> None:
    """No stop outside 0.5 to 128, no fraction a scale does not show, none after a third-stop label."""
    with pytest.raises(NotationError) as refusal:
        parse_stop(text)

    assert refusal.value.readings == ()


@pytest.mark.parametrize(
    "number, text",
    [
        (2.8, "T2.8"),
        (2 * ROOT_2, "T2.8"),
        (2.81, "T2.8"),
        (T28_AND_A_THIRD, "T2.8 1/3"),
        (3.17, "T2.8 1/3"),
        (3.2, "T3.2"),
        (2.5, "T2.5"),
        (4 * 2**0.25, "T4 1/2"),
        (1.3, "T1.3"),
        (1.345, "T1.3"),
        (0.95, "T0.95"),
        (12.0, "T12"),
        (11.31, "T11"),
        (200.0, "T200"),
    ],
)
def test_house_style_of_stops(number: float, text: str) -> None:
    """Written labels stay; computed numbers become the step within 1 %, or are rounded."""
    assert format_stop(number) == text
    assert format_stop(number, "f") == text.replace("T", "f/")


@pytest.mark.parametrize(
    "number, text", [(2.0, "f/2"), (2.8284, "f/2.8"), (1.384, "f/1.38"), (12.345, "f/12.3"), (0.7071, "f/0.7")]
)
def test_house_style_of_computed_f_numbers(number: float, text: str) -> None:
    """Two decimals below 10, one from there on; a whole stop gets its label."""
    assert format_f_number(number) == text


@given(number=st.floats(0.5, 127))
def test_a_written_stop_reads_back_near_the_number(number: float) -> None:
    """Within the style's 1 % of a step, or half a last digit; labels stand for their exact value."""
    stop = parse_stop(format_stop(number))
    half_digit = 0.005 if number < 1 else 0.05 if number < 10 else 0.5

    within_a_step = abs(number / stop.exact - 1) <= 0.01 * (1 + 1e-9)
    assert within_a_step or abs(number - stop.number) <= half_digit * (1 + 1e-9)


@given(label=st.sampled_from([label for label, _ in (*FULL_STOPS, *HALF_STOPS, *THIRD_STOPS)]))
def test_standard_labels_survive_the_round_trip(label: str) -> None:
    """A label read from a ring is written as the same label."""
    assert format_stop(parse_stop(label).number) == "T" + label


@given(base=st.sampled_from([label for label, _ in FULL_STOPS[:-1]]), part=st.sampled_from(["", "1/3", "1/2", "2/3"]))
def test_whole_half_and_third_stops_survive_the_round_trip(base: str, part: str) -> None:
    """Stop, number and label belong together: reading, writing and reading again changes nothing."""
    stop = parse_stop(f"T{base} {part}")

    assert format_stop(stop.number) == stop.label
    assert parse_stop(stop.label) == stop


@given(first=apertures, second=apertures)
def test_decimal_stops_keep_their_order(first: float, second: float) -> None:
    """Reading keeps order: a larger number is a larger stop."""
    small, large = sorted((first, second))
    assert parse_stop(f"T{small!r}").number <= parse_stop(f"T{large!r}").number


@pytest.mark.parametrize("number", [0.0, -2.0, math.inf, math.nan])
def test_only_aperture_numbers_can_be_written(number: float) -> None:
    """Zero, negative and undefined numbers are mistakes of the program."""
    with pytest.raises(ValueError, match="finite and more than zero"):
        format_stop(number)
    with pytest.raises(ValueError, match="finite and more than zero"):
        format_f_number(number)
