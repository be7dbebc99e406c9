"""Lengths: circles of confusion, pupils, charts. Also the grammar that distances share.

A text is cut into quantities and units, its shape is spelt with one letter for each ("qfqi": a quantity,
feet, a quantity, inches), and the shape decides how it is read. What has no entry is refused.
"""

import math
from fractions import Fraction
from typing import Literal, NamedTuple

from tapehook.notation.clean import Token, read, spliced, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import (
    Quantity,
    above_and_below,
    quantities,
    significant_text,
    split_sign,
    to_float,
)

LengthUnit = Literal["m", "cm", "mm", "ft", "in"]

FOOT_M = Fraction(3048, 10000)
INCH_M = FOOT_M / 12
"""Exact by definition: the foot of 1959. NIST Special Publication 811 (2008), appendix B.8."""

_UNIT_M: dict[str, Fraction] = {
    "m": Fraction(1),
    "c": Fraction(1, 100),
    "k": Fraction(1, 1000),
    "u": Fraction(1, 1000000),
    "f": FOOT_M,
    "i": INCH_M,
    "t": INCH_M / 1000,
}
_SPELLINGS = {
    "m": "m metre metres meter meters",
    "c": "cm centimetre centimetres centimeter centimeters",
    "k": "mm millimetre millimetres millimeter millimeters",
    "u": "um μm micron microns micrometre micrometres micrometer micrometers",
    "f": "' ft foot feet",
    "i": '" in inch inches',
    "t": "thou",
}
_LETTER = {spelling: letter for letter, spellings in _SPELLINGS.items() for spelling in spellings.split()}
_BARE_LETTER: dict[LengthUnit, str] = {"m": "m", "cm": "c", "mm": "k", "ft": "f", "in": "i"}

_TAPE_DENOMINATORS = frozenset({2, 3, 4, 8, 16, 32, 64})
"""Fractions a tape or a focus scale shows; any other, as in 5/6, is more likely a slip for two numbers."""

_FEET_AND_INCHES = "{0}'{1}\""
_WITH_A_POINT = ("{0}.{1} m", "{0}.{1} ft")
_READINGS = {
    **dict.fromkeys(("qq", "q-q", "q:q", "q/q", "q,q"), (_FEET_AND_INCHES, *_WITH_A_POINT)),
    **dict.fromkeys(("qqi", "q-qi", "q:qi", "q/qi", "q,qi", "qf:qi", "qfqf"), (_FEET_AND_INCHES,)),
    **dict.fromkeys(("qf-q",), (_FEET_AND_INCHES, "{0} ft", "{1} ft")),
    **dict.fromkeys(("q-qf", "qf-qf"), ("{0} ft", "{1} ft")),
    **dict.fromkeys(("q-qm", "qm-qm"), ("{0} m", "{1} m")),
    **dict.fromkeys(("qqf",), ("{0}.{1} ft", "{0} ft", "{1} ft")),
    **dict.fromkeys(("qqm",), ("{0}.{1} m", "{0}{1} m", "{0} m", "{1} m")),
    **dict.fromkeys(("qmq",), ("{0}.{1} m",)),
}
"""What two quantities could mean in a shape that is not read; {0} and {1} stand for their digits."""

_LENGTH_EXPECTED = """a length with its unit, such as 0.025 mm, 41 mm or 1/1000\""""
_SIGNED_EXPECTED = "a length with its unit, with a minus sign if it is negative, such as 41 mm or -12.5 mm"


class Grammar(NamedTuple):
    """What differs between the readers of lengths and distances."""

    bare_unit: LengthUnit | None
    decimal_comma: bool
    is_distance: bool
    """True: only fractions that a tape shows, and never a fraction of a foot without its unit."""


def parse_length(text: str, *, bare_unit: LengthUnit | None = None, decimal_comma: bool = False) -> float:
    """A finite length of more than zero, in metres: "0.025mm", "25 µm", '1/1000"', "41 mm", "1 thou".

    ``bare_unit`` is the unit of a number that has none; without it such a number is refused.
    ``decimal_comma``: see ``parse_number``. Raises NotationError.
    """
    grammar = Grammar(bare_unit, decimal_comma, is_distance=False)
    return read(text, _LENGTH_EXPECTED, lambda cleaned: positive_length(cleaned, grammar))


def parse_signed_length(text: str, *, bare_unit: LengthUnit | None = None, decimal_comma: bool = False) -> float:
    """A finite length in metres that may be negative or zero: "-12.5 mm", "0 mm", "41 mm".

    Options and errors as for ``parse_length``.
    """
    grammar = Grammar(bare_unit, decimal_comma, is_distance=False)

    def reader(cleaned: str) -> float:
        sign, pieces = split_sign(tokens(cleaned))
        return to_float(sign * _exact_length(cleaned, pieces, grammar))

    return read(text, _SIGNED_EXPECTED, reader)


def format_length_mm(value_m: float) -> str:
    """A length in metres as millimetres with four significant digits: "0.0254 mm", "41 mm", "-12.5 mm".

    From ten metres on it is given to the millimetre. Raises ValueError when the value is not finite.
    """
    if not math.isfinite(value_m):
        raise ValueError(f"a length to be written must be finite, not {value_m}")
    return significant_text(value_m * 1000, 4) + " mm"


def format_small_length(value_m: float | None, system: Literal["metric", "imperial"]) -> str:
    """A short stretch as a crew says it: "4 mm", "3.5 cm", "42 cm", "1.2 m"; '1.4"', "3.5'" in feet; None is infinity.

    Two significant figures up to a hundred of a unit. Raises nothing for what is below nought: its size is told.
    """
    if value_m is None or not math.isfinite(value_m):
        return "∞"
    size = abs(value_m)
    units = [(1.0, " m", 1.0), (0.01, " cm", 0.01), (0.001, " mm", 0.0)]
    if system == "imperial":
        foot, inch = float(FOOT_M), float(INCH_M)
        units = [(foot, "'", 3 * foot), (inch, '"', 0.0)]
    unit_m, sign, _ = next(one for one in units if size >= one[2])
    count = size / unit_m
    shown = f"{count:.2f}" if count < 0.95 else f"{count:.1f}" if count < 9.95 else f"{count:.0f}"
    return f"{shown.removesuffix('.0')}{sign}"


def positive_length(cleaned: str, grammar: Grammar) -> float:
    """The length in metres that a cleaned text gives; refuses zero and negative ones."""
    pieces = tokens(cleaned)
    if pieces[0].raw == "-":
        raise Refused("is not more than zero")
    exact_m = _exact_length(cleaned, pieces, grammar)
    if exact_m <= 0:
        raise Refused("is not more than zero")
    return to_float(exact_m)


def _exact_length(cleaned: str, pieces: list[Token], grammar: Grammar) -> Fraction:
    """The exact length in metres of the tokens after any sign."""
    items = quantities(cleaned, pieces, decimal_comma=grammar.decimal_comma)
    found = [item for item in items if isinstance(item, Quantity)]
    shape = "".join("q" if isinstance(item, Quantity) else _letter(item) for item in items)
    if grammar.is_distance:
        _refuse_odd_fractions(found)
    match shape:
        case "q":
            return _bare(found[0], grammar)
        case "qf" | "qi" | "qm" | "qc" | "qk" | "qu" | "qt":
            return found[0].value * _UNIT_M[shape[1]]
        case "qiq" if _is_trailing_fraction(found[0], found[1]):
            return (found[0].value + found[1].value) * INCH_M
        case "qfqi" | "qf-qi" | "qf,qi" | "qfq":
            return _feet_and_inches(cleaned, found[0], found[1], inch_mark=shape.endswith("i"))
        case "qfqiq" if _is_trailing_fraction(found[1], found[2]):
            inches = found[1]._replace(value=found[1].value + found[2].value, kind="mixed")
            return _feet_and_inches(cleaned, found[0], inches, inch_mark=True)
        case "qmqc":
            return _metres_and_centimetres(found[0], found[1])
    raise Refused("", _what_it_could_mean(shape, found))


def _letter(token: Token) -> str:
    """The letter of a unit, a sign that may stand between quantities as itself, and "?" for anything else."""
    if token.raw in ("-", ",", ":", "/"):
        return token.raw
    return _LETTER.get(token.raw.removesuffix("."), "?")


def _bare(quantity: Quantity, grammar: Grammar) -> Fraction:
    """A quantity without a unit. Refused when its digits may stand for feet and inches: 6.6, 3/4."""
    unit = grammar.bare_unit
    if unit is None:
        raise Refused("has no unit", _bare_readings(quantity, grammar))
    if unit == "ft" and quantity.kind == "decimal" and quantity.value.denominator != 1:
        raise Refused("has decimals and no unit", (f"{quantity.raw} ft", *_point_for_feet(quantity)))
    if unit != "in" and quantity.kind == "fraction" and grammar.is_distance:
        raise Refused("has no unit", (f"{quantity.raw} {unit}", *_slash_for_feet(quantity)))
    return quantity.value * _UNIT_M[_BARE_LETTER[unit]]


def _bare_readings(quantity: Quantity, grammar: Grammar) -> tuple[str, ...]:
    """What a number without a unit could mean, the likeliest units first."""
    if not grammar.is_distance:
        return tuple(f"{quantity.raw} {unit}" for unit in ("mm", "in", "m"))
    if quantity.kind == "fraction":
        return (f"{quantity.raw} in", *_slash_for_feet(quantity))
    units = ("m", "ft") if quantity.value < 60 else ("m", "ft", "cm", "in")
    return (*(f"{quantity.raw} {unit}" for unit in units), *_point_for_feet(quantity))


def _point_for_feet(quantity: Quantity) -> tuple[str, ...]:
    """6'6" for 6.6 and 5'11" for 5.11: the point is often written between feet and inches."""
    whole, _, inches = quantity.raw.replace(",", ".").partition(".")
    is_inches = inches in ("10", "11") or (len(inches) == 1 and inches.isdecimal() and inches != "0")
    return (f"{whole}'{inches}\"",) if whole and is_inches else ()


def _slash_for_feet(quantity: Quantity) -> tuple[str, ...]:
    """5'6" for 5/6: so is the slash."""
    feet, inches = above_and_below(quantity.token)
    return (f"{feet}'{inches}\"",) if inches < 12 else ()


def _feet_and_inches(cleaned: str, feet: Quantity, inches: Quantity, *, inch_mark: bool) -> Fraction:
    """Feet and inches put together. Refuses what the two cannot mean side by side."""
    if feet.kind != "whole":
        raise Refused("has feet that are not whole, and inches beside them")
    if inches.kind == "fraction":
        _refuse_unclear_fraction(cleaned, feet, inches, inch_mark=inch_mark)
    if inches.value >= 12:
        readings = _too_many_inches(cleaned, feet, inches)
        raise Refused("has twelve inches or more beside the feet", readings)
    return feet.value * FOOT_M + inches.value * INCH_M


def _refuse_unclear_fraction(cleaned: str, feet: Quantity, inches: Quantity, *, inch_mark: bool) -> None:
    """Refuses 5' 1/2, half an inch or half a foot, and 5'11/16", which may be 5'1 1/16"."""
    no_inches = f"{feet.raw}'0 {inches.raw}\""
    if not inch_mark:
        raise Refused("has a fraction without a unit", (no_inches, f"{feet.raw} {inches.raw} ft"))
    above, below = above_and_below(inches.token)
    if above > 10 and above % 10 and cleaned[inches.token.start - 1] != " ":
        raise Refused("", (no_inches, f"{feet.raw}'{above // 10} {above % 10}/{below}\""))


def _too_many_inches(cleaned: str, feet: Quantity, inches: Quantity) -> tuple[str, ...]:
    """6'2" or 5'1.4" for 5'14": the inches carried over, or a lost decimal point."""
    if inches.kind != "whole" or inches.value >= 120:
        return ()
    carried, rest = divmod(int(inches.value), 12)
    tenths = f"{int(inches.value) // 10}.{int(inches.value) % 10}"
    return (f"{int(feet.value) + carried}'{rest}\"", *spliced(cleaned, inches.token, (tenths,)))


def _metres_and_centimetres(metres: Quantity, centimetres: Quantity) -> Fraction:
    """1 m 68 cm. Whole metres, and less than a hundred centimetres."""
    if metres.kind != "whole" or centimetres.value >= 100:
        raise Refused("has metres and centimetres that do not go together")
    return metres.value + centimetres.value / 100


def _is_trailing_fraction(inches: Quantity, fraction: Quantity) -> bool:
    """True for 6" 1/2: the fraction written after the mark."""
    return inches.kind == "whole" and fraction.kind == "fraction"


def _refuse_odd_fractions(found: list[Quantity]) -> None:
    """Refuses 5/6 of something: no tape shows it, and it may stand for 5'6"."""
    for quantity in found:
        if quantity.kind not in ("fraction", "mixed"):
            continue
        if above_and_below(quantity.token)[1] not in _TAPE_DENOMINATORS:
            alone = quantity.kind == "fraction" and len(found) == 1
            raise Refused("has a fraction no tape shows", _slash_for_feet(quantity) if alone else ())


def _what_it_could_mean(shape: str, found: list[Quantity]) -> tuple[str, ...]:
    """The readings of a shape that is not read, best first; empty when there is none worth offering."""
    if len(found) != 2 or found[0].kind != "whole" or found[1].kind == "fraction":
        return ()
    first, second = found
    wanted = _READINGS.get(shape, ())
    if second.value >= 12:
        wanted = tuple(reading for reading in wanted if reading != _FEET_AND_INCHES)
    if second.kind != "whole":
        wanted = tuple(reading for reading in wanted if "{0}.{1}" not in reading)
    if len(second.raw) != 3:
        wanted = tuple(reading for reading in wanted if "{0}{1}" not in reading)
    return tuple(reading.format(first.raw, second.raw) for reading in wanted)
