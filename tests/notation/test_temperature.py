"""Temperatures read and written."""

import pytest

from tapehook.notation import NotationError, format_temperature, parse_temperature


@pytest.mark.parametrize(
    "text, celsius",
    [
        ("21.5 °C", 21.5),
        ("-5C", -5.0),
        ("\N{MINUS SIGN}5 c", -5.0),
        ("72 °F", 22.2222),
        ("32F", 0.0),
        ("20 deg C", 20.0),
    ],
)
def test_read(text: str, celsius: float) -> None:
    """Celsius and Fahrenheit: C = (F - 32)/1.8."""
    assert parse_temperature(text) == pytest.approx(celsius, abs=1e-4)


def test_a_comma_where_commas_are_decimal() -> None:
    """As everywhere."""
    assert parse_temperature("21,5 °C", decimal_comma=True) == 21.5


def test_a_bare_number_could_be_either() -> None:
    """22 in one country is a warm room, in another deep frost."""
    with pytest.raises(NotationError) as refusal:
        parse_temperature("22")
    assert refusal.value.readings == ("22 °C", "22 °F")


@pytest.mark.parametrize("text", ["", "warm", "C", "300 °C", "20 K", "1e99"])
def test_refused(text: str) -> None:
    """What no lens has been at."""
    with pytest.raises(NotationError):
        parse_temperature(text)


@pytest.mark.parametrize("value, text", [(21.5, "21.5 °C"), (-0.04, "0 °C"), (22.0, "22 °C"), (-5.26, "-5.3 °C")])
def test_written(value: float, text: str) -> None:
    """At most one decimal, never -0."""
    assert format_temperature(value) == text
