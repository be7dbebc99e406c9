"""Shares of a whole, such as the transmission of a lens."""

from fractions import Fraction

from tapehook.notation.clean import read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import Quantity, quantities, spelt, to_float

_EXPECTED = "a share of more than zero and at most one, such as 0.85 or 85 %"


def parse_share(text: str, *, decimal_comma: bool = False) -> float:
    """A share x with 0 < x <= 1: "0.85", "85 %", "1". ``decimal_comma``: see ``parse_number``.

    Raises NotationError, also for "85" without a percent sign.
    """

    def reader(cleaned: str) -> float:
        items = quantities(cleaned, tokens(cleaned), decimal_comma=decimal_comma)
        words = spelt(items)
        first = items[0]
        if not isinstance(first, Quantity):
            raise Refused
        match words[1:]:
            case []:
                return _checked(first.value, first)
            case ["%"] | ["percent"] | ["pct"] | ["per", "cent"]:
                return _checked(first.value / 100, None)
        raise Refused

    return read(text, _EXPECTED, reader)


def _checked(share: Fraction, bare: Quantity | None) -> float:
    """The share as a float. Refuses what is outside the range, and offers the percent sign."""
    if not 0 < share <= 1:
        as_percent = bare is not None and 1 < share <= 100
        raise Refused("is out of range", (f"{bare.raw} %",) if as_percent and bare else ())
    return to_float(share)
