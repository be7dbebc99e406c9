"""Numbers as people write them: decimal point or comma, thousands marks, fractions, signs.

Everything is read into exact fractions and rounded to a float once, at the end, so that 5'7" is the float
nearest to 1.7018 and "1.68" is ``float("1.68")``.
"""

import math
import re
from fractions import Fraction
from typing import Literal, NamedTuple

from tapehook.notation.clean import Token, read, spliced, tokens
from tapehook.notation.errors import RefusedError

_LARGEST_EXPONENT = 400
"""Beyond the range of floats in either direction, and small enough to compute with."""

_GROUPED = re.compile(r"[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+(?:\.[0-9]+)?|(?:\.[0-9]{3})+(?:,[0-9]+)?)")
_ONE_MARK = re.compile(r"[0-9]*[.,][0-9]+")

_EXPECTED = "a number such as 12.5"

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
    """A finite number: "12.5", "-0.3", "12,5", "1e-3", "1,234,567", "1,234.5".

    ``decimal_comma`` tells which of "1,680" and "1.680" may stand for a thousand: without it the comma, with
    it the point. A number with just that mark and three digits after it is refused, as it has two readings.
    Raises NotationError.
    """

    def reader(cleaned: str) -> float:
        sign, rest = split_sign(tokens(cleaned))
        if len(rest) == 2 and all(token.kind == "number" for token in rest):
            raise RefusedError("", (cleaned.replace(" ", ""),) if _is_grouped_by_spaces(cleaned) else ())
        if len(rest) != 1 or rest[0].kind != "number":
            raise RefusedError
        return to_float(sign * exact_number(cleaned, rest[0], decimal_comma=decimal_comma))

    return read(text, _EXPECTED, reader)


def write_number(value: float, *, decimal_comma: bool = False) -> str:
    """The shortest text that reads back to the same float: "1.68", "12034", "1e-07". For files.

    Raises ValueError when the value is not finite.
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
    """The value with so many significant digits, trailing zeros left out, no exponent."""
    if value == 0:
        return "0"
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
        raise RefusedError("is too large") from None
    if result == 0 and value != 0:
        raise RefusedError("is too small")
    return result


def exact_number(cleaned: str, token: Token, *, decimal_comma: bool) -> Fraction:
    """The exact value of a number token. Refuses a thousands mark that could be a decimal mark."""
    mantissa, _, exponent_digits = token.raw.partition("e")
    exponent = int(exponent_digits or "0")
    if abs(exponent) > _LARGEST_EXPONENT:
        raise RefusedError("has an exponent out of range")
    whole, fraction = _mantissa_parts(cleaned, token, mantissa, decimal_comma=decimal_comma)
    digits, exponent = int(whole + fraction), exponent - len(fraction)
    return Fraction(digits * 10**exponent) if exponent >= 0 else Fraction(digits, 10**-exponent)


def exact_fraction(cleaned: str, token: Token) -> Fraction:
    """The exact value of a fraction token, between 0 and 1. Refuses 61/2, which may be 6 1/2 run together."""
    above, below = token.raw.replace(" ", "").split("/")
    if int(below) == 0 or int(above) == 0:
        raise RefusedError("has a fraction with a nought in it")
    if int(above) < int(below):
        return Fraction(int(above), int(below))
    parted = f"{above[:-1]} {above[-1]}/{below}"
    sensible = len(above) > 1 and 0 < int(above[-1]) < int(below)
    readings = spliced(cleaned, token, (parted,)) if sensible else ()
    raise RefusedError(f"has the fraction {above}/{below}, which is not less than one,", readings)


def is_decimal(token: Token) -> bool:
    """True when the number token was written with a decimal mark or an exponent."""
    return not token.raw.isdecimal()


def quantities(cleaned: str, pieces: list[Token], *, decimal_comma: bool) -> list[Quantity | Token]:
    """Number and fraction tokens read, "6 1/2" joined to one quantity; the other tokens as they are."""
    found: list[Quantity | Token] = []
    for token in pieces:
        before = found[-1] if found else None
        if token.kind == "number":
            value = exact_number(cleaned, token, decimal_comma=decimal_comma)
            found.append(Quantity(value, "decimal" if is_decimal(token) else "whole", token))
        elif token.kind != "fraction":
            found.append(token)
        elif isinstance(before, Quantity) and before.kind == "whole":
            found[-1] = _mixed(cleaned, before, token)
        else:
            found.append(Quantity(exact_fraction(cleaned, token), "fraction", token))
    return found


def _mixed(cleaned: str, whole: Quantity, token: Token) -> Quantity:
    """A whole number and the fraction written after it."""
    start = whole.token.start
    joined = Token("number", cleaned[start : token.end], start, token.end)
    return Quantity(whole.value + exact_fraction(cleaned, token), "mixed", joined)


def _mantissa_parts(cleaned: str, token: Token, mantissa: str, *, decimal_comma: bool) -> tuple[str, str]:
    """The digits before and after the decimal mark, thousands marks taken out."""
    if mantissa.isdecimal():
        return mantissa, ""
    if _ONE_MARK.fullmatch(mantissa):
        mark = "," if "," in mantissa else "."
        whole, _, fraction = mantissa.partition(mark)
        if mark == ("." if decimal_comma else ",") and len(fraction) == 3 and whole.strip("0"):
            decimal = f"{whole}{'.,'[decimal_comma]}{fraction}"
            raise RefusedError("", spliced(cleaned, token, (decimal, whole + fraction)))
        return whole, fraction
    if not _GROUPED.fullmatch(mantissa):
        raise RefusedError
    # The first mark groups thousands; the other, which can stand only once and last, is the decimal mark.
    thousands = next(sign for sign in mantissa if sign in ".,")
    whole, _, fraction = mantissa.replace(thousands, "").replace(",", ".").partition(".")
    return whole, fraction


def _is_grouped_by_spaces(cleaned: str) -> bool:
    """True for "12 034": one number to some, two to others."""
    return re.fullmatch(r"[+-]? ?[1-9][0-9]{0,2} [0-9]{3}", cleaned) is not None
