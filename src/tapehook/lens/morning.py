"""A few lenses checked after a night tell for the kit: how far focus has moved, and how far that of any other may have.

Each check gives a shift of the sensor that would move focus alike. Lenses of one kit that went through one night are
taken as one population: mean m and deviation s of k checks say of one more lens m +- t s sqrt(1 + 1/k), the prediction
interval for a further value (G. Hahn, W. Meeker, Statistical Intervals, 1991, chapter 4; t of k - 1 degrees of freedom
from the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2). Where the checks agree better than each is sure,
what each is sure to counts in place of s.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

T95 = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228)
"""Student's t, 97.5 %, of 1 to 10 degrees of freedom; beyond, that of 10, which is a little wide."""
Z95 = 1.959963984540054
FEWEST = 3
"""Lenses that can tell for a kit: two say nothing of how far lenses differ."""


@dataclass(frozen=True, slots=True)
class KitShift:
    """What a kit has moved by, metres of sensor; positive: as if it lay too far back.

    ``shift_m`` +- ``mean_plus_minus_m`` for the kit as a whole, +- ``plus_minus_m`` for one lens that was not checked
    (95 % each), from ``checks`` lenses. ``spread_m`` is their standard deviation as used.
    """

    shift_m: float
    mean_plus_minus_m: float
    plus_minus_m: float
    spread_m: float
    checks: int

    @property
    def moved(self) -> bool:
        """True where the mean cannot be nought."""
        return abs(self.shift_m) > self.mean_plus_minus_m


def kit_shift(shift_m: npt.ArrayLike, sd_m: npt.ArrayLike, shared_sd_m: float = 0.0) -> KitShift:
    """The shift of the kit from those of k lenses with their standard deviations, (k,) each.

    ``shared_sd_m`` is what their mean may be off by besides, all alike, as by the tape to the one chart that all were
    found on: however many lenses agree, that stays. Raises ValueError for fewer than three.
    """
    shifts, sds = np.asarray(shift_m, dtype=np.float64), np.asarray(sd_m, dtype=np.float64)
    k = shifts.size
    if k < FEWEST:
        raise ValueError(f"at least {FEWEST} lenses, not {k}")
    spread = max(float(shifts.std(ddof=1)), float(np.sqrt(np.mean(sds**2))))
    t = T95[min(k - 1, len(T95)) - 1]
    mean = float(shifts.mean())
    own, next_one = t * spread / k**0.5, t * spread * (1.0 + 1.0 / k) ** 0.5
    shared = Z95 * shared_sd_m
    return KitShift(mean, float(np.hypot(own, shared)), float(np.hypot(next_one, shared)), spread, k)
