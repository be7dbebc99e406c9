"""What a filter takes: ND 0.6, x4, 1 1/3 stops; all brought to optical density."""

import math
import re

from tapehook.notation.clean import read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import Quantity, quantities, spelt, to_float

DENSITY_PER_STOP = math.log10(2.0)
"""Density that halves the light, 0.30103; the label 0.3 is a hundredth of a stop less."""

_EXPECTED = "a density such as ND 0.6, a factor such as x4, or stops such as 1 1/3 stops"
_DENSEST = 6.0


def parse_filter(text: str, *, bare_density: bool = False, decimal_comma: bool = False) -> float:
    """Optical density, from "ND 0.6", "x4", "4x", "1 1/3 stops"; with ``bare_density`` also from "0.6".

    Density is -log10 of the light let through; a filter factor x takes log10 x (Kodak, Cinematographer's Field Guide),
    a stop 0.30103. ``decimal_comma``: see ``parse_number``. Raises NotationError, also for "ND8", which is a factor on
    some filters, and for a bare number otherwise.
    """

    def reader(cleaned: str) -> float:
        # "nd.1" is 0.1: left as it is, its point would be taken for the end of an abbreviation.
        cleaned = re.sub(r"^nd ?\.(?=[0-9])", "nd 0.", cleaned)
        items = quantities(cleaned, tokens(cleaned), decimal_comma=decimal_comma)
        numbers = [item for item in items if isinstance(item, Quantity)]
        if len(numbers) != 1:
            raise Refused
        number = numbers[0]
        match spelt(items):
            case ["nd", "Q"] | ["nd", "-", "Q"]:
                return _density(number)
            case ["Q"] if bare_density:
                return _density(number)
            case ["Q"]:
                raise Refused("has no unit", (f"ND {number.raw}", f"x{number.raw}", f"{number.raw} stops"))
            case ["x" | "×", "Q"] | ["Q", "x" | "×"]:
                return _factor(to_float(number.value))
            case ["Q", "stop" | "stops"]:
                return _checked(to_float(number.value) * DENSITY_PER_STOP)
        raise Refused

    return read(text, _EXPECTED, reader)


def _density(number: Quantity) -> float:
    """A density. A whole number from 2 on is refused: ND8 on a filter is mostly a factor."""
    value = to_float(number.value)
    if number.kind == "whole" and value >= 2:
        raise Refused("", (f"ND {number.raw}.0", f"x{number.raw}"))
    return _checked(value)


def _factor(factor: float) -> float:
    if factor < 1:
        raise Refused("is a factor below 1")
    return _checked(math.log10(factor))


def _checked(density: float) -> float:
    if not 0 <= density <= _DENSEST:
        raise Refused("is out of range")
    return density


def format_density(density: float) -> str:
    """A density as on an ND: "0.6", "0.15", "1.2"; two decimals at most. Raises ValueError unless finite."""
    if not math.isfinite(density):
        raise ValueError(f"a density to be written must be finite, not {density}")
    return f"{density:.2f}".removesuffix("0")
