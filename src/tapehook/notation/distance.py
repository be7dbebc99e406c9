"""Focus distances, from the image plane: 5'6", 1.68 m, infinity.

House style, for people: metres with two decimals below 10 m, one below 100 m, none beyond; feet and inches
to the quarter inch below 6 ft, the half inch below 20 ft, the inch below 50 ft, whole feet beyond. Zeros that
say nothing are left out, as on an engraved scale: 1.6 m, 7'.
"""

import math
from typing import Literal

from tapehook.notation.clean import read
from tapehook.notation.length import Grammar, LengthUnit, positive_length
from tapehook.notation.number import decimal_text, significant_text, write_number

System = Literal["metric", "imperial"]

_EXPECTED = """a distance with its unit, such as 1.68 m, 5'6" or inf"""
_INFINITY_WORDS = frozenset({"inf", "inf.", "infinity", "infinite", "∞"})

_FOOT_M = 0.3048
_INCH_M = 0.0254
_FARTHEST_PLAIN_M = 1e9
"""From here on a distance is written in metres with an exponent in either system; nobody will tape it."""

_INCH_STEPS = ((6 * 12, 4), (20 * 12, 2), (50 * 12, 1))
"""Below so many inches, so many steps to the inch."""
_QUARTERS = ("", "¼", "½", "¾")


def parse_distance(text: str, *, bare_unit: LengthUnit | None = None, decimal_comma: bool = False) -> float:
    """A distance of more than zero, in metres; ``math.inf`` for "inf", "infinity" or "∞".

    ``bare_unit`` is the unit of a number that has none; without it such a number is refused, and with feet a
    number with decimals is refused still, as 6.6 may mean 6'6". ``decimal_comma``: see ``parse_number``.
    Raises NotationError for what cannot be read, and for what has more than one reading.
    """
    grammar = Grammar(bare_unit, decimal_comma, is_distance=True)

    def reader(cleaned: str) -> float:
        return math.inf if cleaned in _INFINITY_WORDS else positive_length(cleaned, grammar)

    return read(text, _EXPECTED, reader)


def write_distance(distance_m: float, *, decimal_comma: bool = False) -> str:
    """A distance for files, in metres: "1.68 m", "inf". ``parse_distance`` gives back the same float.

    Raises ValueError unless the distance is more than zero.
    """
    _check(distance_m)
    if math.isinf(distance_m):
        return "inf"
    return write_number(distance_m, decimal_comma=decimal_comma) + " m"


def format_distance(distance_m: float, system: System, *, exact: bool = False) -> str:
    """A distance in metres as people read it: "1.68 m", 5'6½", "∞".

    House style (see the module) unless ``exact``: then all digits are given, enough to be read back to 1e-12
    of the distance. Raises ValueError unless the distance is more than zero.
    """
    _check(distance_m)
    if math.isinf(distance_m):
        return "∞"
    if distance_m >= _FARTHEST_PLAIN_M:
        return f"{distance_m:.13g} m" if exact else f"{distance_m:.4g} m"
    if exact:
        return f"{distance_m:.13g} m" if system == "metric" else _exact_imperial(distance_m)
    return _metric(distance_m) if system == "metric" else _imperial(distance_m)


def _metric(distance_m: float) -> str:
    """Metres in house style; below 0.1 m millimetres with three significant digits."""
    if distance_m < 0.1:
        return significant_text(distance_m * 1000, 3) + " mm"
    return decimal_text(distance_m, 2 if distance_m < 10 else 1 if distance_m < 100 else 0) + " m"


def _imperial(distance_m: float) -> str:
    """Feet and inches in house style; below an inch decimals with three significant digits."""
    inches = distance_m / _INCH_M
    if inches < 1:
        return significant_text(inches, 3) + '"'
    for limit, steps in _INCH_STEPS:
        if inches < limit:
            return _feet_and_inches(math.floor(inches * steps + 0.5) * (4 // steps))
    return decimal_text(distance_m / _FOOT_M, 0) + "'"


def _feet_and_inches(quarter_inches: int) -> str:
    """5'6½" from quarter inches; feet or inches that are zero are left out, but 5'0½" keeps its zero."""
    inches, quarters = divmod(quarter_inches, 4)
    feet, inches = divmod(inches, 12)
    zero = "0" if feet and quarters else ""
    small = f"{inches or zero}{_QUARTERS[quarters]}"
    return (f"{feet}'" if feet else "") + (f'{small}"' if small else "")


def _exact_imperial(distance_m: float) -> str:
    """Feet and decimal inches with 14 significant digits in all."""
    inches = distance_m / _INCH_M
    if inches < 1:
        return f'{inches:.13g}"'
    decimals = 13 - math.floor(math.log10(inches))
    # In whole steps of the last digit, so that 11.99... inches carry into the feet before they are printed.
    steps_per_inch = 10**decimals
    feet, steps = divmod(round(inches * steps_per_inch), 12 * steps_per_inch)
    whole, rest = divmod(steps, steps_per_inch)
    digits = f"{rest:0{decimals}d}".rstrip("0")
    small = f"{whole}.{digits}" if digits else f"{whole or ''}"
    return (f"{feet}'" if feet else "") + (f'{small}"' if small else "")


def _check(distance_m: float) -> None:
    """Raises ValueError for a distance that is zero, negative or not a number."""
    if not distance_m > 0:
        raise ValueError(f"a distance must be more than zero, not {distance_m}")
