"""From the text of a cell to its value: thin readers over ``notation``, for what a column holds.

Each takes the text, which is never blank, and what is known about the row; each raises ValueError (a
NotationError where the text has several readings) and leaves limits to the records.
"""

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Literal

from tapehook import notation
from tapehook.job.sheets import PLAIN_NUMBER
from tapehook.notation import LengthUnit, PositionUnit

POSITION_UNITS: tuple[PositionUnit, ...] = ("deg", "count", "percent", "mm")


@dataclass(frozen=True, slots=True)
class Known:
    """What the reader of a cell may know about its row and its file.

    ``decimal_comma`` and ``decimal_point`` are those of the sheet; ``unit`` is the unit of the lens's
    positions, None when the lens is unknown; ``bare_unit`` the unit of a distance without one, None when
    such a distance is refused.
    """

    decimal_comma: bool = False
    decimal_point: bool = False
    unit: PositionUnit | None = "deg"
    bare_unit: LengthUnit | None = None

    def comma_in(self, text: str) -> bool:
        """True when a lone comma in ``text`` is a decimal mark, and a point may part thousands.

        Where points are seen to be decimal marks in the file, they are so in any cell without a comma.
        """
        return self.decimal_comma and not (self.decimal_point and "," not in text)


def number(text: str, known: Known) -> float:
    """A number, without unit."""
    if PLAIN_NUMBER.fullmatch(text) and not known.comma_in(text):
        return float(text)
    return notation.parse_number(text, decimal_comma=known.comma_in(text))


def whole_number(text: str, known: Known) -> int:
    """A whole number; a spreadsheet may have given it decimals that are nought."""
    value = number(text, known)
    if not value.is_integer():
        raise ValueError(text)
    return int(value)


def metres(text: str, known: Known) -> float:
    """A distance in metres, bare or with its unit; ``inf`` is infinity."""
    if PLAIN_NUMBER.fullmatch(text):
        return number(text, known)
    return notation.parse_distance(text, bare_unit="m", decimal_comma=known.comma_in(text))


def distance(text: str, known: Known) -> float:
    """A distance as it was written down, with its unit; metres."""
    return _distance(text, known.bare_unit, known.comma_in(text))


@lru_cache(maxsize=4096)
def _distance(text: str, bare_unit: LengthUnit | None, decimal_comma: bool) -> float:  # noqa: FBT001 - for the cache
    """Read once: a job writes the same few round distances over and over."""
    return notation.parse_distance(text, bare_unit=bare_unit, decimal_comma=decimal_comma)


def millimetres(text: str, known: Known) -> float:
    """A length, in millimetres when bare."""
    if PLAIN_NUMBER.fullmatch(text):
        return number(text, known)
    return _in_mm(notation.parse_length(text, bare_unit="mm", decimal_comma=known.comma_in(text)))


def signed_millimetres(text: str, known: Known) -> float:
    """A length that may be negative, in millimetres when bare."""
    if PLAIN_NUMBER.fullmatch(text):
        return number(text, known)
    return _in_mm(notation.parse_signed_length(text, bare_unit="mm", decimal_comma=known.comma_in(text)))


def chart_width(text: str, known: Known) -> float:
    """The width of a chart in metres: millimetres when bare."""
    return notation.parse_length(text, bare_unit="mm", decimal_comma=known.comma_in(text))


def focal_mm(text: str, known: Known) -> float:
    """One focal length, in millimetres."""
    if PLAIN_NUMBER.fullmatch(text):
        return number(text, known)
    short_mm, long_mm = focal_range_mm(text, known)
    if short_mm != long_mm:
        raise ValueError(text)
    return long_mm


def focal_range_mm(text: str, known: Known) -> tuple[float, float]:
    """The wide and the long end in millimetres; the same for one focal length."""
    if PLAIN_NUMBER.fullmatch(text):
        return (number(text, known),) * 2
    focal = notation.parse_focal_length(text, decimal_comma=known.comma_in(text))
    return _in_mm(focal.short_m), _in_mm(focal.long_m)


def t_stop(text: str, known: Known) -> float:
    """A T-number; an f-number is refused, for it says nothing about light."""
    if PLAIN_NUMBER.fullmatch(text):
        return number(text, known)
    stop = notation.parse_stop(text, decimal_comma=known.comma_in(text))
    if stop.scale == "f":
        raise ValueError(text)
    return stop.number


def share(text: str, known: Known) -> float:
    """A part of one: "0.85", "85 %"."""
    if PLAIN_NUMBER.fullmatch(text):
        return number(text, known)
    return notation.parse_share(text, decimal_comma=known.comma_in(text))


def position(text: str, known: Known) -> float:
    """A ring position in the unit of its lens; of an unknown lens, in whichever unit it makes sense."""
    if PLAIN_NUMBER.fullmatch(text) and not known.comma_in(text):
        return float(text)
    trouble: ValueError = ValueError(text)
    for unit in POSITION_UNITS if known.unit is None else (known.unit,):
        try:
            return notation.parse_position(text, unit, decimal_comma=known.comma_in(text))
        except ValueError as refused:
            trouble = refused
    raise trouble


def factor(text: str, known: Known) -> float:
    """How many times: "1.4x", "2"."""
    return number(text.replace("×", "x").removesuffix("x").removesuffix("X").strip(), known)


def port(text: str, known: Known) -> float | Literal["flat"]:
    """The shape of a port: "flat", or the radius of a dome in millimetres."""
    return "flat" if text.casefold() == "flat" else millimetres(text, known)


def degrees_celsius(text: str, known: Known) -> float:
    """A temperature; no unit but °C is read."""
    return number(text.removesuffix("C").removesuffix("°").strip(), known)


_DAY = re.compile(r"(\d{4}-\d\d-\d\d)(?: 00:00:00)?")


def day(text: str, known: Known) -> str:  # noqa: ARG001 - one form for all readers
    """A day, "2026-11-26"; a sheet gives it with midnight behind it."""
    found = _DAY.fullmatch(text)
    if found is None:
        raise ValueError(text)
    return date.fromisoformat(found[1]).isoformat()


def text(text: str, known: Known) -> str:  # noqa: ARG001 - one form for all readers
    """Free text."""
    return text


def _in_mm(length_m: float) -> float:
    """Millimetres without the dust of the multiplication: 29 mm, not 29.000000000000004."""
    return round(length_m * 1000, 9)
