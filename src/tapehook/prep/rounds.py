"""Round distances a crew calls: chosen so that they stand at even visual density on the ring."""

from collections.abc import Sequence
from typing import Literal

import numpy as np

from tapehook.lens import LensMap, Scale
from tapehook.notation import format_distance
from tapehook.prep.results import RoundRow

FOOT = 0.3048

_METRIC: tuple[tuple[float, int], ...] = tuple(
    [(d, 0) for d in (0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0)]
    + [(d, 1) for d in (0.4, 0.6, 0.8, 1.5, 4.0, 7.0, 15.0, 30.0, 50.0)]
    + [(d, 2) for d in (0.3, 0.35, 0.45, 0.55, 0.7, 0.9, 1.2, 1.75, 2.5, 6.0, 8.0)]
    + [(d, 3) for d in (0.25, 0.65, 0.75, 0.85, 1.1, 1.3, 1.4, 1.6, 2.2, 3.5, 4.5)]
)
_IMPERIAL: tuple[tuple[float, int], ...] = tuple(
    [(d, 0) for d in (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0)]
    + [(d, 1) for d in (1.5, 2.5, 7.0, 12.0, 30.0, 50.0, 100.0)]
    + [(d, 2) for d in (1.0, 1.25, 1.75, 3.5, 9.0, 25.0, 40.0)]
    + [(d, 3) for d in (1 + 1 / 6, 2.25, 2.75, 3.25, 4.5, 5.5, 6.5, 11.0, 14.0)]
)


def round_distances(
    system: Literal["metric", "imperial"], near_m: float, scale: Scale, *, most: int = 16
) -> tuple[float, ...]:
    """Round distances from ``near_m`` to infinity, metres, nearest first, infinity always among them.

    The roundest come first; each further one only where it keeps 1/``most`` of the scale from those chosen.
    """
    table = _METRIC if system == "metric" else tuple((feet * FOOT, rank) for feet, rank in _IMPERIAL)
    inside = [d for _, d in sorted((rank, d) for d, rank in table if d >= near_m * (1 - 1e-9))]
    far, near, *where = scale.place([np.inf, near_m, *inside]).tolist()
    gap = (near - far) / most
    chosen, places = [np.inf], [far]
    for distance, place in zip(inside, where, strict=True):
        if min(abs(place - other) for other in places) >= gap:
            chosen.append(distance)
            places.append(place)
    return tuple(sorted(chosen))


def round_rows(lens_map: LensMap, near_m: float) -> tuple[RoundRow, ...]:
    """Ring positions for round distances in both systems, with the half-width of the 95 % band."""
    return tuple(row for system in ("metric", "imperial") for row in _rows(lens_map, near_m, system))


def _rows(lens_map: LensMap, near_m: float, system: Literal["metric", "imperial"]) -> Sequence[RoundRow]:
    distances = round_distances(system, near_m, lens_map.scale)
    positions, half_widths = lens_map.position_band(distances)
    return [
        RoundRow(format_distance(d, system), d, system, float(position), float(half))
        for d, position, half in zip(distances, positions, half_widths, strict=True)
    ]
