"""The slips people make when they write down a scale, and what a row would have said without them.

Each candidate is what one row may have been before one slip, with how usual that form of the slip is. Which slip it
was, if any, the readings decide (``suspects``).
"""

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from tapehook.notation import NotationError, format_position, parse_distance

SlipKind = Literal[
    "feet_for_metres",
    "digits_swapped_distance",
    "digits_swapped_position",
    "inches_dropped",
    "decimal_feet",
    "neighbour_position",
    "skipped_mark",
    "wrong_turn",
    "worse_row",
]

FOOT_M = 0.3048
INCH_M = 0.0254

_WHOLE_FEET = re.compile(r"^\s*(\d+)\s*(?:'|′|ft\.?|feet|foot)\s*$", re.IGNORECASE)
_DECIMAL_FEET = re.compile(r"^\s*(\d+)[.,](\d{1,2})\s*(?:'|′|ft\.?|feet)?\s*$", re.IGNORECASE)
_INCHES_USUAL = {6: 0.4, 3: 0.15, 9: 0.15}
"""How often a scale has so many inches beside whole feet; the rest share what is left. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """What a row may have been: a distance in metres or a position, and its part of the slip's prior."""

    kind: SlipKind
    value: float
    weight: float


def distance_candidates(written: str, distance_m: float) -> list[Candidate]:
    """What a written distance may have been before a slip; nothing for infinity."""
    if not math.isfinite(distance_m):
        return []
    found = [*_feet_for_metres(written, distance_m), *_swapped_distance(written, distance_m)]
    whole = _WHOLE_FEET.match(written)
    if whole:
        rest = (1.0 - sum(_INCHES_USUAL.values())) / (11 - len(_INCHES_USUAL))
        feet = int(whole.group(1))
        found += [
            Candidate("inches_dropped", feet * FOOT_M + k * INCH_M, _INCHES_USUAL.get(k, rest)) for k in range(1, 12)
        ]
    decimal = _DECIMAL_FEET.match(written)
    if decimal and 1 <= int(decimal.group(2)) <= 11:
        value = int(decimal.group(1)) * FOOT_M + int(decimal.group(2)) * INCH_M
        found.append(Candidate("decimal_feet", value, 1.0))
    return [c for c in found if c.value > 0 and not math.isclose(c.value, distance_m, rel_tol=1e-9)]


def _feet_for_metres(written: str, distance_m: float) -> list[Candidate]:
    """The number was right, its unit was not: metres that were feet, or feet that were metres."""
    if re.search(r"['′\"″]|ft|feet|foot|in", written, re.IGNORECASE):
        return [Candidate("feet_for_metres", distance_m / FOOT_M, 1.0)]
    return [Candidate("feet_for_metres", distance_m * FOOT_M, 1.0)]


def _swapped(text: str) -> list[str]:
    """The text with two neighbouring digits changed over, every way there is; signs between them stay."""
    digits = [i for i, sign in enumerate(text) if sign.isdigit()]
    swaps = []
    for i, j in pairwise(digits):
        if text[i] != text[j]:
            swaps.append(text[:i] + text[j] + text[i + 1 : j] + text[i] + text[j + 1 :])
    return swaps


def _swapped_distance(written: str, distance_m: float) -> list[Candidate]:
    """Two neighbouring digits of the distance changed over."""
    values = []
    for text in _swapped(written):
        try:
            values.append(parse_distance(text, bare_unit="m"))
        except NotationError:  # such as 5'21": nobody wrote that
            continue
    values = [value for value in values if not math.isclose(value, distance_m, rel_tol=1e-9)]
    return [Candidate("digits_swapped_distance", value, 1.0 / len(values)) for value in values]


def position_candidates(position: float, step: float, turn: float | None) -> dict[str, Candidate]:
    """What a position, in the unit of the read-out, may have been before a slip; keys name the slip's place.

    ``step`` is the read-out's, which tells how many digits it shows; ``turn`` what one turn of the ring counts, None
    where that is not known. The wrong side of zero is a sign lost or added. Both readings of a row that went through
    one slip share its key.
    """
    swapped = _swapped_position(format_position(position, "count", step=step))
    found = {
        f"digits {place}": Candidate("digits_swapped_position", value, 1.0 / len(swapped))
        for place, value in swapped.items()
    }
    turns = {"sign": -position} if position else {}
    if turn:
        turns |= {"turn more": position + turn, "turn less": position - turn}
    return found | {place: Candidate("wrong_turn", value, 1.0 / len(turns)) for place, value in turns.items()}


def _swapped_position(text: str) -> dict[int, float]:
    """Positions with two neighbouring digits changed over, by the place of the first from the right.

    A leading zero is not shown: 15.4 may be 105.4.
    """
    text = text.replace("-", "-0") if text.startswith("-") else f"0{text}"
    digits = [i for i, sign in enumerate(text) if sign.isdigit()]
    return {
        len(digits) - k: float(text[:i] + text[j] + text[i + 1 : j] + text[i] + text[j + 1 :])
        for k, (i, j) in enumerate(pairwise(digits))
        if text[i] != text[j]
    }
