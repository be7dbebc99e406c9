"""Which distances, stops and positions get a tick and a label on an axis, most useful first."""

import math
from typing import Literal, NamedTuple

from tapehook.notation import FULL_STOPS, format_distance, format_stop

System = Literal["metric", "imperial"]

_FOOT_M = 0.3048
_METRES = (
    (1, 2, 5, 10, 3, 20, 0.5, 50, 100),
    (4, 1.5, 7, 0.7, 6, 8, 15, 30, 0.3, 0.4, 0.6, 2.5),
    (0.8, 1.2, 0.9, 1.8, 3.5, 9, 12, 4.5, 0.2, 0.1),
    (0.35, 0.45, 0.55, 0.65, 0.75, 0.25, 1.1, 1.3, 1.4, 1.6, 1.7, 1.9, 2.2, 2.8, 5.5, 40, 0.15),
)
_FEET = (
    (1, 2, 3, 5, 10, 4, 20, 50),
    (6, 7, 8, 15, 30, 1.5, 2.5, 12, 100),
    (9, 3.5, 4.5, 5.5, 25, 40, 0.75, 6.5, 1.75, 1.25),
    (2.25, 2.75, 11, 0.5, 7.5, 8.5, 14, 16, 18, 70, 200, 3.25, 3.75),
)
"""Distances people set, in ranks: the first rank gets its labels first."""
_FOCAL_MM = (50, 100, 35, 75, 25, 200, 150, 20, 30, 40, 60, 85, 120, 300, 400, 500, 600, 15, 250)
"""Focal lengths people set on a zoom, the commonest first."""


class Tick(NamedTuple):
    """A place on an axis: its value, what is written there, and its rank (0 matters most)."""

    value: float
    text: str
    rank: int


def distance_ticks(near_m: float, far_m: float, system: System) -> list[Tick]:
    """Round distances from ``near_m`` to ``far_m`` (inf allowed, then "∞" comes first), most useful first."""
    unit, ranks = (1.0, _METRES) if system == "metric" else (_FOOT_M, _FEET)
    ticks = [Tick(math.inf, "∞", 0)] if math.isinf(far_m) else []
    for rank, values in enumerate(ranks):
        inside = [value * unit for value in values if near_m * (1 - 1e-9) <= value * unit <= far_m]
        ticks += [Tick(distance, format_distance(distance, system), rank) for distance in inside]
    return ticks


def stop_ticks(widest: float, smallest: float) -> list[Tick]:
    """Both ends and the whole stops between two T-numbers, as "T2.8"."""
    ends = [Tick(widest, format_stop(widest), 0), Tick(smallest, format_stop(smallest), 0)]
    numbers = [float(label) for label, _ in FULL_STOPS]  # what is engraved, and so what was read
    inside = [number for number in numbers if widest * 1.03 < number < smallest / 1.03]
    return ends + [Tick(number, format_stop(number), 1) for number in inside]


def focal_ticks(short_mm: float, long_mm: float) -> list[Tick]:
    """Both ends and round focal lengths between them, as "50 mm"; values in millimetres."""
    ends = [Tick(end, f"{end:g} mm", 0) for end in (short_mm, long_mm)]
    inside = [mm for mm in _FOCAL_MM if short_mm * 1.05 < mm < long_mm / 1.05]
    return ends + [Tick(float(mm), f"{mm} mm", 1) for mm in inside]


def linear_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten within [low, high], ``most`` at most.

    Raises ValueError unless low < high and both are finite.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ValueError(f"an axis must run from low to high, not from {low} to {high}")
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    for factor in (1, 2, 5, 10, 20):
        step = factor * power
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last - first + 1 <= most:
            break
    return [i * step for i in range(first, last + 1)]
