"""From single readings to marks: both ways averaged, so that the play of the gears drops out.

A reading runs ahead of the glass by half the play. Read both ways, the mean stands at the centre and the
difference is the play; read one way only, nobody can know the centre.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

NEAR_TO_FAR, FAR_TO_NEAR = -1, 1
"""Signs of the way the ring was turned when it was read; 0 when nobody wrote it down."""


@dataclass(frozen=True, slots=True)
class Play:
    """Backlash between the read-out and the glass, in the unit of the positions.

    ``value`` is how far apart the two ways read, positive when the reading runs ahead in the direction turned
    (it may come out slightly negative by chance), ``sd`` how sure, ``pairs`` the marks read both ways.
    """

    value: float
    sd: float
    pairs: int


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks of one ring, in order of rising place u; all arrays of n marks.

    ``values`` as set on the ring, ``positions`` at the centre of the play, ``relative_variance`` of each against one
    reading, ``taped`` where the distance was taped. ``one_way`` when no mark was read both ways or the way was
    never written down; ``way`` is then the way it was read, 0 if not known. ``members`` gives, for each reading that
    went in, its mark.
    """

    values: Floats
    positions: Floats
    relative_variance: Floats
    taped: npt.NDArray[np.bool_]
    one_way: bool
    way: Literal[-1, 0, 1]
    members: npt.NDArray[np.intp]
    pair_differences: Floats
    """Far-to-near minus near-to-far position of each mark, NaN where it was not read both ways."""

    def without(self, left_out: "frozenset[int] | set[int]") -> "Marks":
        """The same marks less those at the indices ``left_out``; ``members`` then names marks of the whole."""
        keep = np.array([i not in left_out for i in range(self.values.size)], dtype=np.bool_)
        return replace(
            self,
            values=self.values[keep],
            positions=self.positions[keep],
            relative_variance=self.relative_variance[keep],
            taped=self.taped[keep],
            pair_differences=self.pair_differences[keep],
        )

    def play(self, toward_near: int, noise: float) -> Play | None:
        """Backlash from the pairs, None without any.

        ``toward_near`` is +1 when positions rise toward near, else -1; ``noise`` the sd of one reading. The mean of k
        differences, each with variance 2 sigma^2, has sd sigma sqrt(2/k).
        """
        differences = self.pair_differences[np.isfinite(self.pair_differences)]
        pairs = differences.size
        if pairs == 0:
            return None
        value = float(differences.mean()) * toward_near
        return Play(value, noise * float(np.sqrt(2.0 / pairs)), pairs)


def gather_marks(
    values: npt.ArrayLike,
    positions: npt.ArrayLike,
    ways: npt.ArrayLike,
    taped: npt.ArrayLike,
) -> Marks:
    """Average the readings (n,) of each value into marks.

    ``ways`` holds -1 (near to far), +1 (far to near) or 0 (not known); ``taped`` booleans. Readings of equal value are
    one mark. Where some marks were read both ways, a mark read one way is moved to the centre by half the mean
    difference of the pairs, and its variance grows by what that costs. Marks come back from infinity (or the
    smallest value for other rings) outward, by rising vergence: pass values so that larger means farther.
    """
    v = np.asarray(values, dtype=np.float64)
    y = np.asarray(positions, dtype=np.float64)
    way = np.asarray(ways, dtype=np.int64)
    tape = np.asarray(taped, dtype=np.bool_)
    distinct, members = np.unique(v, return_inverse=True)
    means = {sign: _mean_per_mark(members, y, way == sign, distinct.size) for sign in (-1, 0, 1)}
    differences = means[1][0] - means[-1][0]
    pairs = np.isfinite(differences)
    half = float(np.mean(differences[pairs])) / 2.0 if pairs.any() else 0.0
    centre, variance = _centres(means, half, int(pairs.sum()))
    known = set(way.tolist())
    single: Literal[-1, 0, 1] = 0
    if not pairs.any() and known == {-1}:
        single = -1
    elif not pairs.any() and known == {1}:
        single = 1
    taped_mark = np.zeros(distinct.size, dtype=np.bool_)
    np.logical_or.at(taped_mark, members, tape)
    return Marks(distinct, centre, variance, taped_mark, not pairs.any(), single, members, differences)


def _mean_per_mark(
    members: npt.NDArray[np.intp], y: Floats, chosen: npt.NDArray[np.bool_], count: int
) -> tuple[Floats, Floats]:
    """Mean position and number of the chosen readings of each mark; NaN and 0 where there are none."""
    n = np.bincount(members[chosen], minlength=count).astype(np.float64)
    total = np.bincount(members[chosen], weights=y[chosen], minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: Floats = np.where(n > 0, total / n, np.nan)
    return mean, n


def _centres(means: dict[int, tuple[Floats, Floats]], half: float, pairs: int) -> tuple[Floats, Floats]:
    """Centre and relative variance of each mark from its near-to-far, unknown and far-to-near means."""
    (down, n_down), (free, n_free), (up, n_up) = means[-1], means[0], means[1]
    both = (n_down > 0) & (n_up > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        pair_variance = 0.25 / n_down + 0.25 / n_up
        one_sided = np.where(n_down > 0, down + half, up - half)
        # Moving to the centre costs a quarter of the variance of the mean difference, 2/pairs.
        one_variance = 1.0 / (n_down + n_up) + (0.5 / pairs if pairs else 0.0)
        centre = np.where(both, (down + up) / 2.0, np.where(n_free > 0, free, one_sided))
        variance = np.where(both, pair_variance, np.where(n_free > 0, 1.0 / n_free, one_variance))
    return centre, variance
