"""Numbers as people write them: decimal point or comma, thousands marks, fractions, signs.

Everything is read into exact fractions and rounded to a float once, at the end, so that 5'7" is the float
nearest to 1.7018 and "1.68" is ``float("1.68")``.
"""

import math
import re
from fractions import Fraction
from typing import Literal, NamedTuple

from tapehook.notation.clean import Token, read, spliced, tokens
from tapehook.notation.errors import Refused

_LARGEST_EXPONENT = 400
"""Beyond the range of floats in either direction, and small enough to compute with."""

_EXPECTED = "a number such as 12.5"
_GROUPED = r"[1-9][0-9]{0,2}((,[0-9]{3})+(\.[0-9]+)?|(\.[0-9]{3})+(,[0-9]+)?)"
_GROUPED_BY_SPACES = r"[+-]? ?[1-9][0-9]{0,2}( [0-9]{3})+"

QuantityKind = Literal["whole", "decimal", "fraction", "mixed"]


class Quantity(NamedTuple):
    """An exact value and how it was written: 6 whole, 6.5 decimal, 1/2 fraction, 6 1/2 mixed."""

    value: Fraction
    kind: QuantityKind
    token: Token

    @property
    def raw(self) -> str:
        """The digits as they were written."""
        return self.token.raw


def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """A finite number, without a unit: "12.5", "-0.3", "12,5", "1e-3", "1,234,567", "1,234.5".

    ``decimal_comma`` tells which of "1,680" and "1.680" may stand for a thousand: without it the comma, with
    it the point. A number with just that mark and three digits after it is refused, as it has two readings.
    Raises NotationError.
    """

    def reader(cleaned: str) -> float:
        sign, rest = split_sign(tokens(cleaned))
        if re.fullmatch(_GROUPED_BY_SPACES, cleaned):
            raise Refused("has spaces in it", (cleaned.replace(" ", ""),))
        if len(rest) != 1 or rest[0].kind != "number":
            raise Refused
        return to_float(sign * exact_number(cleaned, rest[0], decimal_comma=decimal_comma))

    return read(text, _EXPECTED, reader)


def write_number(value: float, *, decimal_comma: bool = False) -> str:
    """The shortest text that reads back to the same float: "1.68", "12034", "1e-07". For files.

    With ``decimal_comma`` the text has a comma and is to be read with it. Raises ValueError when the value is
    not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"a number to be written must be finite, not {value}")
    text = repr(float(value)).removesuffix(".0")
    return text.replace(".", ",") if decimal_comma else text


def decimal_text(value: float, decimals: int) -> str:
    """The value with at most so many decimals, trailing zeros left out, and never "-0"."""
    text = f"{value:.{max(decimals, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def significant_text(value: float, digits: int) -> str:
    """The value with so many significant digits, trailing zeros left out; an exponent below 0.0001 only."""
    if abs(value) < 1e-4:
        return f"{value + 0.0:.{digits}g}"
    return decimal_text(value, digits - 1 - math.floor(math.log10(abs(value))))


def split_sign(pieces: list[Token]) -> tuple[int, list[Token]]:
    """+1 or -1, and the tokens after the sign, if there is one."""
    if pieces and pieces[0].raw in ("+", "-"):
        return (-1 if pieces[0].raw == "-" else 1), pieces[1:]
    return 1, pieces


def to_float(value: Fraction) -> float:
    """The nearest float. Refuses what is beyond the range of floats, and what would vanish in it."""
    try:
        result = float(value)
    except OverflowError:
        raise Refused("is too large") from None
    if result == 0 and value != 0:
        raise Refused("is too small")
    return result


def exact_number(cleaned: str, token: Token, *, decimal_comma: bool) -> Fraction:
    """The exact value of a number token. Refuses a thousands mark that could be a decimal mark."""
    mantissa, _, exponent_digits = token.raw.partition("e")
    exponent = int(exponent_digits or "0")
    if abs(exponent) > _LARGEST_EXPONENT:
        raise Refused("has an exponent out of range")
    whole, decimals = _mantissa_parts(cleaned, token, mantissa, decimal_comma=decimal_comma)
    digits, exponent = int(whole + decimals), exponent - len(decimals)
    return Fraction(digits * 10**exponent) if exponent >= 0 else Fraction(digits, 10**-exponent)


def exact_fraction(cleaned: str, token: Token) -> Fraction:
    """The exact value of a fraction token, between 0 and 1. Refuses 61/2, which may be 6 1/2 run together."""
    above, below = above_and_below(token)
    if above == 0 or below == 0:
        raise Refused("has a fraction with a nought in it")
    if above < below:
        return Fraction(above, below)
    whole, rest = divmod(above, 10)
    readings = (f"{whole} {rest}/{below}",) if whole and 0 < rest < below else ()
    raise Refused("has a fraction that is not less than one", spliced(cleaned, token, readings))


def above_and_below(token: Token) -> tuple[int, int]:
    """Numerator and denominator of a token that ends in a fraction: 1 and 2 for "1/2" and for "6 1/2"."""
    above, _, below = token.raw.partition("/")
    return int(re.split("[ -]", above.strip())[-1]), int(below)


def quantities(cleaned: str, pieces: list[Token], *, decimal_comma: bool) -> list[Quantity | Token]:
    """Number and fraction tokens read, "6 1/2" and "6-1/2" joined to one; the other tokens as they are."""
    found: list[Quantity | Token] = []
    for token in pieces:
        if token.kind == "number":
            value = exact_number(cleaned, token, decimal_comma=decimal_comma)
            # A grouped number counts as decimal: "1,234" beside inches or a fraction is no plain number.
            found.append(Quantity(value, "whole" if token.raw.isdecimal() else "decimal", token))
        elif token.kind == "fraction":
            _add_fraction(cleaned, found, token)
        else:
            found.append(token)
    return found


def spelt(items: list[Quantity | Token]) -> list[str]:
    """The items as words to match: "Q" for a quantity (no cleaned text has capitals), others without a stop."""
    return ["Q" if isinstance(item, Quantity) else item.raw.removesuffix(".") for item in items]


def _add_fraction(cleaned: str, found: list[Quantity | Token], token: Token) -> None:
    """Joins a fraction to the whole number before it, or adds it as a quantity of its own."""
    fraction = Quantity(exact_fraction(cleaned, token), "fraction", token)
    # In 6-1/2 the dash joins, as in 6 1/2; in "6 - 1/2" it does not.
    joined_by_dash = len(found) > 1 and cleaned[token.start - 1] == "-" and cleaned[token.start - 2] != " "
    whole = found[-2] if joined_by_dash else found[-1] if found else None
    if not isinstance(whole, Quantity) or whole.kind != "whole":
        found.append(fraction)
        return
    del found[-2 if joined_by_dash else -1 :]
    start = whole.token.start
    joined = Token("number", cleaned[start : token.end], start, token.end)
    found.append(Quantity(whole.value + fraction.value, "mixed", joined))


def _mantissa_parts(cleaned: str, token: Token, mantissa: str, *, decimal_comma: bool) -> tuple[str, str]:
    """The digits before and after the decimal mark, thousands marks taken out."""
    marks = [sign for sign in mantissa if sign in ".,"]
    if not marks:
        return mantissa, ""
    if len(marks) == 1:
        whole, _, decimals = mantissa.partition(marks[0])
        if not decimals:
            raise Refused("ends in a decimal mark")
        if len(decimals) == 3 and whole.strip("0") and marks[0] == ("." if decimal_comma else ","):
            decimal = f"{whole}{',' if decimal_comma else '.'}{decimals}"
            raise Refused("", spliced(cleaned, token, (decimal, whole + decimals)))
        return whole, decimals
    if not re.fullmatch(_GROUPED, mantissa):
        raise Refused
    # The first mark groups thousands; the other, which can stand only once and last, is the decimal mark.
    whole, _, decimals = mantissa.replace(marks[0], "").replace(",", ".").partition(".")
    return whole, decimals
