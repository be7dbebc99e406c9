"""Rows of a scale as a tidy person writes them down, for the tests of slips: a cam near to straight, small noise."""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tapehook.lens.rows import Rows, gather_rows

Floats = npt.NDArray[np.float64]

FOCAL_M = 0.05
NEAR_M = 0.6
METRES = (0.6, 0.65, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 1.8, 2.2, 3.0, 4.5, 8.0, math.inf)
FEET = (2.0, 2.25, 2.5, 2.75, 3.0, 3.5, 4.0, 4.5, 5.5, 7.0, 10.0, 15.0, 25.0, math.inf)
FOOT_M = 0.3048
BOTH = (-1, 1)


def turn(distance_m: npt.ArrayLike, turn_deg: float = 240.0, zero_deg: float = 20.0) -> Floats:
    """Where the ring stands, degrees, at the centre of the play: a cam a little off straight in vergence."""
    q = (NEAR_M - 0.15) / (np.asarray(distance_m, dtype=np.float64) - 0.15)
    angle: Floats = zero_deg + turn_deg * (q + 0.15 * q * (1.0 - q))
    return angle


def text(distance_m: float, *, feet: bool = False) -> str:
    """A distance in metres as it is written down."""
    if math.isinf(distance_m):
        return "inf"
    if not feet:
        return f"{distance_m:g} m"
    inches = round(distance_m / FOOT_M * 12)
    return f"{inches // 12}'{inches % 12}\"" if inches % 12 else f"{inches // 12}'"


def listed(
    distances_m: Sequence[float] = METRES,
    *,
    moved: dict[tuple[int, int], float] | None = None,
    instead: dict[int, tuple[str, float]] | None = None,
    ways: Sequence[int] = BOTH,
    play_deg: float = 0.3,
    noise_deg: float = 0.08,
    turn_deg: float = 240.0,
    zero_deg: float = 20.0,
    units_per_deg: float = 1.0,
    step: float = 0.1,
    taped: bool = False,
    feet: bool = False,
    close_focus_m: float | None = NEAR_M,
    seed: int = 11,
) -> Rows:
    """The rows, nearest first. Positions ``moved`` by so many degrees, by (row, way); rows with ``instead`` of their
    distance a text and a distance in metres."""
    rng = np.random.default_rng(seed)
    values, texts, positions, turned, numbers = [], [], [], [], []
    for way in ways:
        for row, distance in enumerate(distances_m):
            at = float(turn(distance, turn_deg, zero_deg)) + math.copysign(way * play_deg / 2.0, way * turn_deg)
            at += rng.normal(0.0, noise_deg) + (moved or {}).get((row, way), 0.0)
            written, value = (instead or {}).get(row, (text(distance, feet=feet), distance))
            values.append(value)
            texts.append(written)
            positions.append(round(at * units_per_deg / step) * step)
            turned.append(way)
            numbers.append(row + 1)
    return gather_rows(
        values,
        texts,
        positions,
        turned,
        [taped and math.isfinite(value) for value in values],
        numbers,
        degrees_per_unit=1.0 / units_per_deg,
        step=step,
        turn=360.0 * units_per_deg,
        focal_m=FOCAL_M,
        close_focus_m=close_focus_m,
    )[0]


def row_of(rows: Rows, written: str) -> int:
    """Index of the row with that text."""
    return rows.written.index(written)
