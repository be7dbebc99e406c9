"""Which few strips cover a kit best: the exact answer, by trying every set."""

from itertools import combinations
from math import comb

import numpy as np
import numpy.typing as npt

_MOST_SETS = 200_000


def best_pins(depth_used: npt.ArrayLike, most: int, limit: float = 1.0) -> tuple[int, ...]:
    """Up to ``most`` strips that serve the most lenses; ``depth_used`` (lenses, strips) is each one's worst mark.

    A lens is served by a set when one of its strips uses at most ``limit`` of the depth there; NaN means that the
    strip cannot be laid on the lens. Among sets that serve as many lenses the smaller wins, then the one whose lenses
    use less depth in all, then the one named first. Empty when no strip serves any lens.
    Raises ValueError when there are more sets to try than can be tried, or ``most`` is below 1.
    """
    used = np.asarray(depth_used, dtype=np.float64)
    strips = used.shape[1]
    _check(strips, most)
    served = np.where(used <= limit, used, np.inf)
    best: tuple[int, ...] = ()
    best_rank = (0, 0, 0.0)
    for size in range(1, min(most, strips) + 1):
        for chosen in combinations(range(strips), size):
            least = served[:, chosen].min(axis=1)
            inside = np.isfinite(least)
            rank = (-int(inside.sum()), size, float(least[inside].sum()))
            if rank < best_rank:
                best, best_rank = chosen, rank
    return best


def _check(strips: int, most: int) -> None:
    if most < 1:
        message = f"at least one strip must be chosen, and {most} were asked for"
        raise ValueError(message)
    sets = sum(comb(strips, size) for size in range(1, most + 1))
    if sets > _MOST_SETS:
        message = f"{strips} strips make {sets} sets of up to {most}, and at most {_MOST_SETS} are tried"
        raise ValueError(message)
