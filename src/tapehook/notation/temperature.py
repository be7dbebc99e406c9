"""Temperatures: 21.5 °C, -5C, 72 °F."""

import re

from tapehook.notation.errors import NotationError
from tapehook.notation.number import parse_number, write_number

_EXPECTED = "a temperature such as 21.5 °C, -5C or 72 °F"
_UNIT = re.compile(r"^(.*?)\s*(?:°|º|deg(?:rees?)?)?\s*(c|f|celsius|fahrenheit)?\.?$", re.IGNORECASE | re.DOTALL)
LOWEST_C, HIGHEST_C = -100.0, 200.0


def parse_temperature(text: str, *, decimal_comma: bool = False) -> float:
    """Degrees Celsius, from "21.5 °C", "-5C", "72F". ``decimal_comma``: see ``parse_number``.

    Raises NotationError, also for a number without a unit, which could be either, and outside -100 to 200 °C.
    """
    number, unit = _parts(text)
    try:
        value = parse_number(number, decimal_comma=decimal_comma)
    except NotationError:
        raise NotationError(text, _EXPECTED) from None
    if unit == "":
        shown = write_number(value)
        raise NotationError(text, _EXPECTED, _within(value, shown), "has no unit")
    celsius = value if unit == "c" else (value - 32.0) / 1.8
    if not LOWEST_C <= celsius <= HIGHEST_C:
        raise NotationError(text, _EXPECTED, (), "is out of range")
    return celsius


def format_temperature(temperature_c: float) -> str:
    """Degrees Celsius with at most one decimal: "21.5 °C"."""
    text = f"{temperature_c:.1f}".removesuffix(".0")
    return f"{'0' if text == '-0' else text} °C"


def _parts(text: str) -> tuple[str, str]:
    found = _UNIT.match(text.strip())
    if found is None:
        raise NotationError(text, _EXPECTED)
    return found[1].replace("\N{MINUS SIGN}", "-"), (found[2] or "").casefold()[:1]


def _within(value: float, shown: str) -> tuple[str, ...]:
    """What a bare number may have meant and could be read as."""
    celsius = (f"{shown} °C",) if LOWEST_C <= value <= HIGHEST_C else ()
    fahrenheit = (f"{shown} °F",) if LOWEST_C <= (value - 32.0) / 1.8 <= HIGHEST_C else ()
    return celsius + fahrenheit
