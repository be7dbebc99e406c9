"""Focal lengths of primes and zooms: 50 mm, 24-75 mm. Millimetres unless a unit is written."""

import math
from fractions import Fraction
from typing import NamedTuple

from tapehook.notation.clean import read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import Quantity, above_and_below, decimal_text, quantities, spelt, to_float

SHORTEST_M = Fraction(1, 1000)
LONGEST_M = Fraction(10)
"""Outside these a focal length is in the wrong unit; no lens in the trade comes near either end."""

_EXPECTED = "a focal length such as 50 mm, or a zoom range such as 24-75 mm"
_UNIT_M = {
    "mm": Fraction(1, 1000),
    "cm": Fraction(1, 100),
    "m": Fraction(1),
    "in": Fraction(254, 10000),
    '"': Fraction(254, 10000),
}


class FocalRange(NamedTuple):
    """Shortest and longest focal length in metres; the two are equal for a prime."""

    short_m: float
    long_m: float

    @property
    def is_zoom(self) -> bool:
        """True when the two ends differ."""
        return self.short_m != self.long_m


def parse_focal_length(text: str, *, decimal_comma: bool = False) -> FocalRange:
    """A focal length or a zoom range: "50", "50mm", "2 in", "24-75 mm", "24 mm to 75 mm".

    Without a unit the numbers are millimetres; a unit at the end counts for both. ``decimal_comma``: see
    ``parse_number``. Raises NotationError, also for a range that is not written short end first.
    """

    def reader(cleaned: str) -> FocalRange:
        pieces = tokens(cleaned)
        slashed = [above_and_below(piece) for piece in pieces if piece.kind == "fraction"]
        if slashed:
            raise Refused("", tuple(f"{short}-{long} mm" for short, long in slashed))
        items = quantities(cleaned, pieces, decimal_comma=decimal_comma)
        found = [item for item in items if isinstance(item, Quantity)]
        words = spelt(items)
        return _range(found, [_as_dash(word) for word in words])

    return read(text, _EXPECTED, reader)


def format_focal_length(focal: FocalRange) -> str:
    """House style: "50 mm", "24-75 mm", two decimals at most.

    Raises ValueError when an end is not finite and more than zero.
    """
    for end_m in (focal.short_m, focal.long_m):
        if not (math.isfinite(end_m) and end_m > 0):
            raise ValueError(f"a focal length must be finite and more than zero, not {end_m}")
    ends = [decimal_text(end_m * 1000, 2) for end_m in (focal.short_m, focal.long_m)]
    return ("-".join(ends) if ends[0] != ends[1] else ends[0]) + " mm"


def _as_dash(word: str) -> str:
    """The dash for "to": "24 to 75" is a range like "24-75"."""
    return "-" if word == "to" else word


def _range(found: list[Quantity], words: list[str]) -> FocalRange:
    """The range that quantities and words make."""
    match words:
        case ["Q"]:
            return _checked(found[0], found[0], "mm", "mm")
        case ["Q", unit] if unit in _UNIT_M:
            return _checked(found[0], found[0], unit, unit)
        case ["Q", "-", "Q"]:
            return _checked(found[0], found[1], "mm", "mm")
        case ["Q", "-", "Q", unit] if unit in _UNIT_M:
            return _checked(found[0], found[1], unit, unit)
        case ["Q", first, "-", "Q", second] if first in _UNIT_M and second in _UNIT_M:
            return _checked(found[0], found[1], first, second)
        case ["Q", *_, "Q"] | ["Q", *_, "Q", "mm"] if len(found) == 2 and found[0].value < found[1].value:
            raise Refused("", (f"{found[0].raw}-{found[1].raw} mm",))
    raise Refused


def _checked(first: Quantity, second: Quantity, first_unit: str, second_unit: str) -> FocalRange:
    """The range in metres. Refuses wrong order, equal ends, and lengths no lens has."""
    short_m, long_m = first.value * _UNIT_M[first_unit], second.value * _UNIT_M[second_unit]
    for quantity, length_m in ((first, short_m), (second, long_m)):
        if not SHORTEST_M <= length_m <= LONGEST_M:
            raise Refused("is no focal length in millimetres", (f"{quantity.raw} m",))
    if first is not second and short_m == long_m:
        raise Refused("is a range with no width", (f"{first.raw} {first_unit}",))
    if short_m > long_m:
        swapped = f"{second.raw} {second_unit}-{first.raw} {first_unit}"
        raise Refused("is a range with its long end first", (swapped,))
    return FocalRange(to_float(short_m), to_float(long_m))
