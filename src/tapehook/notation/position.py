"""Ring positions, in the unit the hand unit shows: degrees, counts, percent of travel, millimetres of arc."""

import math
from fractions import Fraction
from typing import Literal

from tapehook.notation.clean import read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import Quantity, quantities, spelt, split_sign, to_float

PositionUnit = Literal["deg", "count", "percent", "mm"]

_EXPECTED: dict[PositionUnit, str] = {
    "deg": "a position in degrees, such as 131.8 or 131.8°",
    "count": "a position in counts, such as 25551",
    "percent": "a position in percent of travel, such as 45.2 or 45.2 %",
    "mm": "a position in millimetres, such as 13.5 or 13.5 mm",
}
_IN_UNIT: dict[PositionUnit, dict[str, Fraction]] = {
    "deg": dict.fromkeys(("°", "deg", "degree", "degrees"), Fraction(1)),
    "count": dict.fromkeys(("count", "counts", "cts", "ct"), Fraction(1)),
    "percent": dict.fromkeys(("%", "percent", "pct"), Fraction(1)),
    "mm": {"mm": Fraction(1), "cm": Fraction(10), "in": Fraction(254, 10), '"': Fraction(254, 10)},
}
_SUFFIX: dict[PositionUnit, str] = {"deg": "°", "count": "", "percent": " %", "mm": " mm"}
_DECIMALS: dict[PositionUnit, int] = {"deg": 1, "count": 0, "percent": 1, "mm": 1}
_MOST_DECIMALS = 6


def parse_position(text: str, unit: PositionUnit, *, decimal_comma: bool = False) -> float:
    """A finite position in ``unit``, which a bare number is in: "12.5", "12.5°", "12° 30'", "45 %", "-3".

    Zero may be anywhere on the ring, so positions may be negative. Another unit than ``unit`` is refused;
    only millimetres may also be written as centimetres or inches. ``decimal_comma``: see ``parse_number``.
    Raises NotationError.
    """

    def reader(cleaned: str) -> float:
        sign, pieces = split_sign(tokens(cleaned))
        items = quantities(cleaned, pieces, decimal_comma=decimal_comma)
        found = [item for item in items if isinstance(item, Quantity)]
        words = spelt(items)
        return to_float(sign * _position(found, words, unit))

    return read(text, _EXPECTED[unit], reader)


def format_position(value: float, unit: PositionUnit, *, step: float | None = None) -> str:
    """A position in house style: "131.8°", "25551", "45.2 %", "13.5 mm".

    ``step`` is the step of the read-out, in ``unit``: the value is rounded to it and given as many decimals
    as it has. Without one: one decimal, none for counts. Raises ValueError when the value is not finite or
    the step is not more than zero.
    """
    if not math.isfinite(value):
        raise ValueError(f"a position to be written must be finite, not {value}")
    decimals = _DECIMALS[unit]
    if step is not None:
        value, decimals = _on_step(value, step), _decimals_of(step)
    text = f"{value:.{decimals}f}"
    return (text.removeprefix("-") if float(text) == 0 else text) + _SUFFIX[unit]


def _position(found: list[Quantity], words: list[str], unit: PositionUnit) -> Fraction:
    """The position that quantities and words make, sign apart."""
    match words:
        case ["Q"]:
            return found[0].value
        case ["Q", word] if word in _IN_UNIT[unit]:
            return found[0].value * _IN_UNIT[unit][word]
        case ["Q", "per", "cent"] if unit == "percent":
            return found[0].value
        case ["Q", "°", "Q", "'"] if unit == "deg":
            return _degrees(found[0], found[1])
        case ["Q", "°", "Q", "'", "Q", '"'] if unit == "deg":
            return _degrees(found[0], found[1], found[2])
        case ["Q", "°", "Q"] if unit == "deg":
            raise Refused("has a number without a unit", (f"{found[0].raw}° {found[1].raw}'",))
        case ["Q", "Q"] if found[0].kind == found[1].kind == "whole" and len(found[1].raw) == 3:
            raise Refused("", (found[0].raw + found[1].raw,))
    raise Refused


def _degrees(degrees: Quantity, minutes: Quantity, seconds: Quantity | None = None) -> Fraction:
    """Degrees, minutes and seconds put together; only the last may have decimals."""
    parts = [part for part in (degrees, minutes, seconds) if part is not None]
    if any(part.kind != "whole" for part in parts[:-1]) or any(part.value >= 60 for part in parts[1:]):
        raise Refused("has degrees and minutes that do not go together")
    return sum((part.value / 60**power for power, part in enumerate(parts)), Fraction(0))


def _on_step(value: float, step: float) -> float:
    """The value rounded to a multiple of the step; as it is when the step is lost in its last digit."""
    if not (math.isfinite(step) and step > 0):
        raise ValueError(f"the step of a read-out must be finite and more than zero, not {step}")
    steps = value / step
    return round(steps) * step if abs(steps) < 2**52 else value


def _decimals_of(step: float) -> int:
    """How many decimals the step has, six at most."""
    text = f"{step:.{_MOST_DECIMALS}f}".rstrip("0")
    return len(text.partition(".")[2])
