"""Light that falls on a subject: 24 fc, 250 lx."""

from fractions import Fraction

from tapehook.notation.clean import read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import Quantity, quantities, spelt, to_float

LUX_PER_FOOT_CANDLE = float(1 / Fraction(3048, 10000) ** 2)
"""Lumens per square metre in one per square foot: 1/0.3048^2, as the foot is 0.3048 m (NIST SP 811, B.8)."""

_EXPECTED = "light in foot-candles or lux, such as 24 fc or 250 lx"
_FOOT_CANDLES = {"fc", "ftc", "footcandle", "footcandles"}
_LUX = {"lx": 1, "lux": 1, "klx": 1000, "klux": 1000}


def parse_light(text: str, *, decimal_comma: bool = False) -> float:
    """Lux, from "24fc", "24 foot-candles", "250 lx", "2.5 klx". ``decimal_comma``: see ``parse_number``.

    Raises NotationError, also for a number without a unit, which could be either.
    """

    def reader(cleaned: str) -> float:
        items = quantities(cleaned, tokens(cleaned), decimal_comma=decimal_comma)
        words = spelt(items)
        first = items[0]
        if not isinstance(first, Quantity) or "Q" in words[1:]:
            raise Refused
        unit = "".join(words[1:]).replace("-", "")
        if not unit:
            raise Refused("has no unit", (f"{first.raw} fc", f"{first.raw} lx"))
        if unit in _FOOT_CANDLES:
            lux = to_float(first.value / Fraction(3048, 10000) ** 2)
        elif unit in _LUX:
            lux = to_float(first.value * _LUX[unit])
        else:
            raise Refused
        if not 1e-4 <= lux <= 1e7:
            raise Refused("is out of range")
        return lux

    return read(text, _EXPECTED, reader)
