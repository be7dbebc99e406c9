"""How much a subject may be elsewhere than it was taped: the depth in metres, and the chance to be sharp all the same.

People miss marks, lean and sway, and each of that moves them along the axis by so many metres, not dioptres. With the
focus at u, a half-width w and a lens off by b, somebody delta farther away is sharp while
|1/(u + delta) - 1/u - b w| <= w. The chance is the mean of ``chance.chance_sharp`` over delta, normal with the root of
the summed squares of the three (JCGM 100:2008, section 5.1), by the midpoints of equal parts of its distribution.
"""

from dataclasses import dataclass
from functools import cache
from math import hypot, isinf
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from tapehook.shot.chance import chance_sharp

Floats = npt.NDArray[np.float64]

MISSED_MARK_M = 0.10
LEAN_M = 0.05
SWAY_M = 0.01
"""How far people stand from where they were taped, one standard deviation each. Common practice, no source."""

PARTS = 800
"""Equal parts of the normal distribution that stand for it: the figure is right to a tenth of a point."""


@dataclass(frozen=True, slots=True)
class Spreads:
    """How far a subject strays along the axis, one standard deviation each, metres."""

    missed_mark_m: float = MISSED_MARK_M
    lean_m: float = LEAN_M
    sway_m: float = SWAY_M

    @property
    def together_m(self) -> float:
        """All three, as independent errors."""
        return hypot(self.missed_mark_m, self.lean_m, self.sway_m)

    def times(self, factor: float) -> "Spreads":
        """So many times as far, as a lens sees somebody through a port."""
        return Spreads(factor * self.missed_mark_m, factor * self.lean_m, factor * self.sway_m)


def chance_of_body(
    pupil_distance_m: float,
    half_width_dpt: float,
    spreads: Spreads,
    *,
    known: float = 0.0,
    half_play: float = 0.0,
    scatter_sd: float = 0.0,
) -> float:
    """Chance to be sharp of somebody taped at ``pupil_distance_m`` from the entrance pupil (inf allowed).

    ``known``, ``half_play`` and ``scatter_sd`` are what lens and tape are off by besides, in half-widths of the depth,
    as for ``chance_sharp``; ``known`` positive: focused nearer. Who strays behind the pupil is not sharp. Without any
    depth it is nought.
    """
    if not half_width_dpt > 0:
        return 0.0
    place = pupil_distance_m + spreads.together_m * _normal()
    if isinf(pupil_distance_m):
        off = np.zeros(PARTS)
    else:
        off = (1.0 / pupil_distance_m - 1.0 / np.where(place > 0, place, np.nan)) / half_width_dpt
    return float(np.nan_to_num(chance_sharp(known + off, half_play, scatter_sd), nan=0.0).mean())


@cache
def _normal() -> Floats:
    """The midpoints of equal parts of the standard normal distribution, (PARTS,)."""
    return np.array([NormalDist().inv_cdf((k + 0.5) / PARTS) for k in range(PARTS)])
