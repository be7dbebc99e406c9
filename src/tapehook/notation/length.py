"""Lengths: circles of confusion, pupils, charts. Also the grammar that distances share.

A text is cut into quantities and units, its shape is spelt with one letter for each ("qfqi": a quantity,
feet, a quantity, inches), and the shape decides how it is read. What has no entry is refused.
"""

import math
from fractions import Fraction
from typing import Literal, NamedTuple

from tapehook.notation.clean import Token, read, spliced, tokens
from tapehook.notation.errors import RefusedError
from tapehook.notation.number import Quantity, quantities, significant_text, split_sign, to_float

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

_LENGTH_EXPECTED = """a length with its unit, such as 0.025 mm, 41 mm or 1/1000\""""
_SIGNED_EXPECTED = "a length with its unit, with a minus sign if it is negative, such as 41 mm or -12.5 mm"


class Grammar(NamedTuple):
    """What differs between the readers of lengths and distances."""

    bare_unit: LengthUnit | None
    decimal_comma: bool
    any_fraction: bool
    """True: 1/1000 is read; False: only fractions that a tape shows."""


def parse_length(text: str, *, bare_unit: LengthUnit | None = None, decimal_comma: bool = False) -> float:
    """A finite length of more than zero, in metres: "0.025mm", "25 µm", '1/1000"', "41 mm", "1 thou".

    ``bare_unit`` is the unit of a number that has none; without it such a number is refused.
    ``decimal_comma``: see ``parse_number``. Raises NotationError.
    """
    grammar = Grammar(bare_unit, decimal_comma, any_fraction=True)
    return read(text, _LENGTH_EXPECTED, lambda cleaned: positive_length(cleaned, grammar))


def parse_signed_length(
    text: str, *, bare_unit: LengthUnit | None = None, decimal_comma: bool = False
) -> float:
    """A finite length in metres that may be negative or zero: "-12.5 mm", "0 mm", "41 mm".

    Options and errors as for ``parse_length``.
    """
    grammar = Grammar(bare_unit, decimal_comma, any_fraction=True)

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


def positive_length(cleaned: str, grammar: Grammar) -> float:
    """The length in metres that a cleaned text gives; refuses zero and negative ones."""
    pieces = tokens(cleaned)
    if pieces[0].raw == "-":
        raise RefusedError("is not more than zero")
    exact_m = _exact_length(cleaned, pieces, grammar)
    if exact_m <= 0:
        raise RefusedError("is not more than zero")
    return to_float(exact_m)


def _exact_length(cleaned: str, pieces: list[Token], grammar: Grammar) -> Fraction:
    """The exact length in metres of the tokens after any sign."""
    items = quantities(cleaned, pieces, decimal_comma=grammar.decimal_comma)
    found = [item for item in items if isinstance(item, Quantity)]
    shape = "".join("q" if isinstance(item, Quantity) else _letter(item) for item in items)
    if not grammar.any_fraction:
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
    raise RefusedError("", _what_it_could_mean(shape, found))


def _letter(token: Token) -> str:
    """The letter of a unit, a sign that may stand between quantities as itself, and "?" for anything else."""
    if token.raw in ("-", ",", ":", "/"):
        return token.raw
    return _LETTER.get(token.raw.removesuffix("."), "?")


def _bare(quantity: Quantity, grammar: Grammar) -> Fraction:
    """A quantity without a unit. In feet, 6.6 may stand for 6'6", so decimals need the mark."""
    if grammar.bare_unit is None:
        raise RefusedError("has no unit", _bare_readings(quantity))
    in_feet_with_decimals = grammar.bare_unit == "ft" and quantity.kind == "decimal"
    if in_feet_with_decimals and quantity.value.denominator != 1:
        raise RefusedError("has no unit", (f"{quantity.raw} ft", *_point_for_feet(quantity)))
    return quantity.value * _UNIT_M[_BARE_LETTER[grammar.bare_unit]]


def _bare_readings(quantity: Quantity) -> tuple[str, ...]:
    """What a number without a unit could mean."""
    units = ("m", "ft") if quantity.value < 60 else ("m", "ft", "cm", "in")
    return (*(f"{quantity.raw} {unit}" for unit in units), *_point_for_feet(quantity))


def _point_for_feet(quantity: Quantity) -> tuple[str, ...]:
    """6'6" for 6.6 and 5'11" for 5.11: the point is often written between feet and inches."""
    whole, _, inches = quantity.raw.replace(",", ".").partition(".")
    is_inches = inches in ("10", "11") or (len(inches) == 1 and inches.isdecimal())
    return (f"{whole}'{inches}\"",) if whole and is_inches and inches != "0" else ()


def _feet_and_inches(cleaned: str, feet: Quantity, inches: Quantity, *, inch_mark: bool) -> Fraction:
    """Feet and inches put together. Refuses what the two cannot mean side by side."""
    if feet.kind != "whole":
        raise RefusedError("has feet that are not whole, and inches beside them")
    if inches.kind == "fraction" and not inch_mark:
        halves = (f"{feet.raw}'0 {inches.raw}\"", f"{feet.raw} {inches.raw} ft")
        raise RefusedError("has a fraction without a unit", halves)
    if inches.value >= 12:
        raise RefusedError(
            "has twelve inches or more beside the feet", _too_many_inches(cleaned, feet, inches)
        )
    return feet.value * FOOT_M + inches.value * INCH_M


def _too_many_inches(cleaned: str, feet: Quantity, inches: Quantity) -> tuple[str, ...]:
    """6'2" or 5'1.4" for 5'14": the inches carried over, or a lost decimal point."""
    if inches.kind != "whole" or inches.value >= 120:
        return ()
    carried, rest = divmod(int(inches.value), 12)
    lost_point = spliced(cleaned, inches.token, (f"{inches.raw[:-1]}.{inches.raw[-1]}",))
    return (f"{int(feet.value) + carried}'{rest}\"", *lost_point)


def _metres_and_centimetres(metres: Quantity, centimetres: Quantity) -> Fraction:
    """1 m 68 cm. Whole metres, and less than a hundred centimetres."""
    if metres.kind != "whole" or centimetres.value >= 100:
        raise RefusedError("has metres and centimetres that do not go together")
    return metres.value + centimetres.value / 100


def _is_trailing_fraction(inches: Quantity, fraction: Quantity) -> bool:
    """True for 6" 1/2: the fraction written after the mark."""
    return inches.kind == "whole" and fraction.kind == "fraction"


def _refuse_odd_fractions(found: list[Quantity]) -> None:
    """Refuses 5/6 of something: no tape shows it, and it may stand for 5'6"."""
    for quantity in found:
        if quantity.kind in ("fraction", "mixed"):
            above, below = quantity.raw.replace(" /", "/").replace("/ ", "/").split(" ")[-1].split("/")
            if int(below) not in _TAPE_DENOMINATORS:
                alone = quantity.kind == "fraction" and len(found) == 1 and int(below) < 12
                readings = (f"{int(above)}'{int(below)}\"",) if alone else ()
                raise RefusedError("has a fraction no tape shows", readings)


def _what_it_could_mean(shape: str, found: list[Quantity]) -> tuple[str, ...]:
    """The readings of a shape that is not read, best first; empty when there is none worth offering."""
    if len(found) != 2 or found[0].kind != "whole" or found[1].kind not in ("whole", "mixed", "decimal"):
        return ()
    first, second = (quantity.raw for quantity in found)
    feet_and_inches = (f"{first}'{second}\"",) if found[1].value < 12 else ()
    decimal = (f"{first}.{second} m", f"{first}.{second} ft") if found[1].kind == "whole" else ()
    match shape:
        case "qq" | "q-q" | "q:q" | "q/q" | "q,q":
            return (*feet_and_inches, *decimal)
        case "qqi" | "q-qi" | "q:qi" | "qfqf" | "qf:qi" | "q/qi":
            return feet_and_inches
        case "qf-q":
            return (*feet_and_inches, f"{first}'", f"{second}'")
        case "qqf" | "q-qf" | "qf-qf":
            return f"{first} ft", f"{second} ft"
        case "qqm" | "q-qm" | "qm-qm":
            return f"{first} m", f"{second} m"
        case "qmq":
            return decimal[:1]
    return ()
