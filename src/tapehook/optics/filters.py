"""Filters stacked for a density, and close-up lenses in front of a lens.

Densities add up: what passes one falls on the next (each pair of glass surfaces reflects a little besides, which is in
a measured density and not in a label).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from tapehook.optics.exposure import DENSITY_PER_STOP

Floats = npt.NDArray[np.float64]

MOST_STACKED = 3
"""Filters in front of a lens at once. Common practice, no source: trays hold two or three."""


@dataclass(frozen=True, slots=True)
class Stack:
    """Filters put together: indices into the tray, their density, and stops over (+) or under what was wanted."""

    filters: tuple[int, ...]
    density: float
    stops_off: float


def stacks_for(
    wanted_density: float, densities: Sequence[float], counts: Sequence[int], most_stacked: int = MOST_STACKED
) -> list[Stack]:
    """Ways to make a density from a tray, nearest first; of equal ones, those with less glass first.

    ``densities`` and ``counts`` describe the kinds of filter in the tray. No filter at all is one of the ways.
    Combinations that differ only in which of equal filters is taken are listed once.
    """
    pieces = [at for at, count in enumerate(counts) for _ in range(min(count, most_stacked))]
    chosen = {pick for size in range(most_stacked + 1) for pick in combinations(pieces, size)}
    stacks = []
    for pick in chosen:
        density = float(sum(densities[at] for at in pick))
        stacks.append(Stack(pick, density, (density - wanted_density) / DENSITY_PER_STOP))
    return sorted(stacks, key=lambda stack: (round(abs(stack.stops_off), 9), len(stack.filters), stack.filters))


def through_close_up_m(set_distance_m: npt.ArrayLike, power_dpt: float, front_m: float) -> Floats:
    """Where a lens set to ``set_distance_m`` is sharp with a close-up lens on, metres from the image plane.

    The close-up lens, ``front_m`` in front of the image plane, adds its power to the vergence there: 1/x = 1/X + P, X
    the distance set and x the new one, both from the close-up lens (Wikipedia, Close-up lens: X/(1 + P X)). A map of
    the lens is shifted by P in vergence, and the half-width of the depth in vergence stays. NaN where X is behind it.
    """
    from_front = np.asarray(set_distance_m, dtype=np.float64) - front_m
    with np.errstate(divide="ignore", invalid="ignore"):
        vergence = np.where(from_front > 0, 1.0 / from_front + power_dpt, np.nan)
        x: Floats = np.where(vergence > 0, 1.0 / vergence, np.where(vergence == 0, np.inf, np.nan)) + front_m
    return x


def setting_for_close_up_m(subject_m: npt.ArrayLike, power_dpt: float, front_m: float) -> Floats:
    """What to set the ring to for a subject with a close-up lens on: the inverse; NaN where no setting can do it."""
    return through_close_up_m(subject_m, -power_dpt, front_m)


@dataclass(frozen=True, slots=True)
class CloseUpRange:
    """Where a lens focuses with a close-up lens on: metres from the image plane, ``magnified`` at its own close focus.

    ``magnified`` says by how much the image is larger than without it at the same setting of the ring: 1 + P X.
    """

    near_m: float
    far_m: float
    magnified: float


def close_up_range(close_focus_m: float, power_dpt: float, front_m: float) -> CloseUpRange:
    """The focus range with a close-up lens: at infinity 1/P in front of it, near by the formula above.

    Stacked close-up lenses count as one with the sum of their powers. Raises ValueError when close focus lies behind
    the close-up lens or the power is not above zero.
    """
    if not (power_dpt > 0 and close_focus_m > front_m):
        raise ValueError("a close-up lens needs a power above 0 and a lens that focuses in front of it")
    near, far = through_close_up_m([close_focus_m, np.inf], power_dpt, front_m)
    return CloseUpRange(float(near), float(far), 1.0 + power_dpt * (close_focus_m - front_m))


def split_dioptre_pair_m(set_distance_m: float, power_dpt: float, front_m: float) -> tuple[float, float]:
    """With half a close-up lens on: where the covered and the open half of the picture are sharp, metres."""
    return float(through_close_up_m(set_distance_m, power_dpt, front_m)), set_distance_m


def split_dioptre_setting(near_m: float, far_m: float, front_m: float) -> float:
    """Power, dioptres, of a split dioptre that holds a near and a far subject at once, the ring set to the far one.

    Raises ValueError unless front < near < far.
    """
    if not front_m < near_m < far_m:
        raise ValueError("a split dioptre needs a near subject in front of it and a far one behind that")
    far = 0.0 if np.isinf(far_m) else 1.0 / (far_m - front_m)
    return 1.0 / (near_m - front_m) - far
