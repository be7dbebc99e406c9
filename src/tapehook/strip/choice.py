"""What a strip may name: round distances, stops and focal lengths in ranks, and the steps between two of them."""

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

from tapehook.notation import FULL_STOPS, format_distance, format_stop

RowKind = Literal["ft", "m", "T", "mm", "deg", "percent"]
"""What a row of marks is in: feet, metres, T-stops, focal lengths; degrees or per cent of turn on a blank strip."""

FOOT_M = 0.3048

_METRES = (
    (1.0, 2.0, 3.0, 5.0),
    (1.5, 4.0, 7.0),
    (1.2, 2.5, 6.0, 8.0),
    (1.1, 1.3, 1.4, 1.6, 1.8, 3.5, 4.5, 9.0),
    (1.7, 1.9, 2.2, 2.8, 5.5, 6.5, 7.5, 8.5),
    (2.1, 2.3, 2.4, 2.6, 2.7, 2.9, 3.2, 3.4, 3.6, 3.8, 4.2, 4.4, 4.6, 4.8, 5.2, 5.4, 5.6, 5.8),
)
"""Leading figures of the distances people set, in ranks; the same in each power of ten."""
_FEET = (
    (1, 2, 3, 4, 5, 6, 8, 10, 15, 20),
    (1.5, 2.5, 7, 12, 30, 50),
    (9, 3.5, 4.5, 25, 40, 100, 1.25, 1.75, 0.5),
    (5.5, 6.5, 7.5, 2.25, 2.75, 11, 14, 18, 0.75, 70),
    (3.25, 3.75, 4.25, 4.75, 8.5, 9.5, 13, 16, 1 + 1 / 12, 1 + 1 / 6, 1 + 1 / 3, 2 / 3, 5 / 6),
    tuple(inches / 12 for inches in range(7, 48) if inches % 3),
)
_FOCALS_MM = (
    (50, 100, 35, 75, 25, 200),
    (20, 30, 40, 60, 85, 150, 300, 400),
    (18, 28, 45, 70, 90, 120, 250, 500, 600),
    (15, 16, 21, 24, 32, 55, 65, 80, 110, 135, 180),
)
_FARTHEST_M = 100.0
_SAME = 1e-6
_STEPS: dict[RowKind, tuple[float, ...]] = {
    "m": (0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0),
    "ft": tuple(feet * FOOT_M for feet in (1 / 12, 1 / 6, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)),
    "T": (),
    "mm": (1.0, 2.0, 5.0, 10.0, 25.0, 50.0),
    "deg": (1.0, 2.0, 5.0, 10.0),
    "percent": (0.5, 1.0, 2.0, 5.0),
}
"""Steps that smaller ticks may count in, finest first, in the unit of the value."""


class Candidate(NamedTuple):
    """A mark that may be printed: its value (metres, T-number, millimetres), its label, its rank (0 matters most)."""

    value: float
    text: str
    rank: int


@dataclass(frozen=True, slots=True)
class Ends:
    """The values at the two ends of a scale: far (infinity, the widest stop, the wide end) and near."""

    far: float
    near: float


END_RANK = -1
"""Both ends of a scale come before everything else: they are always labelled."""


def candidates(kind: RowKind, ends: Ends) -> tuple[Candidate, ...]:
    """Both ends, then every round value between them, the most useful first."""
    low, high = sorted((ends.far, ends.near))
    first = [Candidate(end, label(kind, end), END_RANK) for end in (ends.far, ends.near)]
    inside = [
        Candidate(value, label(kind, value), rank)
        for rank, values in enumerate(_ranks(kind))
        for value in sorted(values)
        if low * (1 + _SAME) < value < high * (1 - _SAME)
    ]
    return (*first, *inside)


def label(kind: RowKind, value: float) -> str:
    """What is printed at a mark: the number alone, as the row names its unit."""
    if kind == "ft":
        return format_distance(value, "imperial")
    if kind == "m":
        return format_distance(value, "metric").removesuffix(" m")
    return format_stop(value).removeprefix("T") if kind == "T" else f"{value:g}"


def _ranks(kind: RowKind) -> list[list[float]]:
    if kind == "ft":
        return [[feet * FOOT_M for feet in values] for values in _FEET]
    if kind == "m":
        powers = (0.1, 1.0, 10.0, 100.0)
        every = [[round(figure * power, 6) for power in powers for figure in values] for values in _METRES]
        return [[metres for metres in values if metres <= _FARTHEST_M] for values in every]
    if kind == "T":
        # What is engraved, and so what was read: every second whole stop first.
        stops = [float(text) for text, _ in FULL_STOPS]
        return [stops[::2], stops[1::2]]
    return [[float(mm) for mm in values] for values in _FOCALS_MM]


def between(kind: RowKind, one: float, other: float) -> list[list[float]]:
    """Values that part the room between two labelled marks evenly, finest way first; none next to infinity.

    Distances, focal lengths and turns go in round steps, stops in thirds and then in halves.
    """
    low, high = sorted((one, other))
    if math.isinf(high) or low <= 0:
        return []
    if kind == "T":
        return [[low * (high / low) ** (i / parts) for i in range(1, parts)] for parts in (6, 3, 2)]
    return [found for step in _STEPS[kind] if (found := _multiples(step, low, high))]


def _multiples(step: float, low: float, high: float) -> list[float]:
    """Multiples of ``step`` between two marks, one of which is a multiple itself; none where they are too many."""
    if min(abs(end / step - round(end / step)) for end in (low, high)) > _SAME * max(1.0, high / step):
        return []
    if (high - low) / step > 24:
        return []
    first, last = math.floor(low / step + 1e-6) + 1, math.ceil(high / step - 1e-6) - 1
    return [i * step for i in range(first, last + 1)]
