"""A choice under a worst shortfall by mending one: networks that clash move, and may not move back for a while.

Where a level can be reached and the search for all choices gives up, this mostly finds one. It never proves that there
is none. (A. Hertz and D. de Werra, Using tabu search techniques for graph coloring, Computing 39, 1987.)
"""

import numpy as np
import numpy.typing as npt

from tapehook.radio.choosing import Choice, Table

STEPS = 6_000
"""So many moves before it gives up; about half a second for forty cameras."""
_STAY, _STAY_MORE, _STAY_A_CLASH = 7, 10, 0.6
"""Moves for which an option that was left is barred: at least, up to so many more by chance, and for each clash."""
_BARRED = 1e6


def mended(table: Table, most: int, steps: int = STEPS) -> Choice | None:
    """A choice whose worst is at most ``most``; None where none was found. Always the same."""
    free = _free(table, most)
    if not free.any(axis=1).all():
        return None
    chance, at = np.random.default_rng(7), np.arange(table.count)
    clash = _clashes(table, most, free.shape[1])
    here = np.array([int(chance.choice(np.flatnonzero(row))) for row in free])
    counts = clash[:, :, at, here].sum(axis=2) + np.where(free, 0.0, _BARRED)
    barred_until, fewest = np.zeros(free.shape), np.inf
    for step in range(steps):
        now = counts[at, here]
        clashing, total = now > 0, float(now.sum())
        if not total:
            return tuple(int(one) for one in here)
        fewest = min(fewest, total)
        gain = counts - now[:, None]
        # An option that was left may be taken again only where that leads to fewer clashes than were ever seen.
        held = (barred_until > step) & (total + 2.0 * gain >= fewest)
        gain = gain + 0.5 * chance.random(gain.shape) + np.where(held, _BARRED / 2.0, 0.0)
        gain[~clashing] = 2.0 * _BARRED
        gain[at, here] = 2.0 * _BARRED
        i, k = (int(one) for one in np.unravel_index(int(gain.argmin()), gain.shape))
        barred_until[i, here[i]] = (
            step + _STAY + int(chance.integers(_STAY_MORE)) + _STAY_A_CLASH * float(clashing.sum())
        )
        counts += clash[:, :, i, k] - clash[:, :, i, here[i]]
        here[i] = k
    return None


def _free(table: Table, most: int) -> npt.NDArray[np.bool_]:
    """(networks, options): True for an option that may stand by itself."""
    wide = max(row.size for row in table.alone)
    free = np.zeros((table.count, wide), dtype=bool)
    for i, row in enumerate(table.alone):
        free[i, : row.size] = row <= most
    return free


def _clashes(table: Table, most: int, wide: int) -> npt.NDArray[np.float64]:
    """(networks, options, networks, options): 1 for two options that cannot stand together."""
    found = np.zeros((table.count, wide, table.count, wide))
    for (i, j), pair in table.pairs.items():
        bad = pair > most
        found[i, : bad.shape[0], j, : bad.shape[1]] = bad
        found[j, : bad.shape[1], i, : bad.shape[0]] = bad.T
    return found
