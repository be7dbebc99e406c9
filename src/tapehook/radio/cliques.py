"""What excludes what under a worst shortfall, in cliques: of options that exclude each other at most one may stand.

Each option of each network is a node; two nodes are joined where they cannot stand together. Cliques say more than
pairs: eight cameras that must all differ do not fit into seven channels, which no pair shows. A linear program over
them bounds how many networks can be served.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from tapehook.radio.choosing import Table

_SURE = 1e-3
"""How far below the number of networks the program must end before that is taken as proof."""


@dataclass(frozen=True)
class Cliques:
    """The nodes, as (network, option), and what excludes what.

    ``own[i]`` are the nodes of network i, one of which must stand; of each of ``rows`` at most one may.
    """

    nodes: list[tuple[int, int]]
    own: list[list[int]]
    rows: list[list[int]]


def cliques(table: Table, most: int) -> Cliques:
    """Cliques that hold every pair of nodes that cannot stand together when no shortfall may exceed ``most``."""
    standing = [np.flatnonzero(row <= most) for row in table.alone]
    nodes = [(i, int(k)) for i, ks in enumerate(standing) for k in ks]
    ends = np.cumsum([0, *(ks.size for ks in standing)])
    joined = np.zeros((len(nodes), len(nodes)), dtype=bool)
    for (i, j), pair in table.pairs.items():
        bad = pair[np.ix_(standing[i], standing[j])] > most
        joined[ends[i] : ends[i + 1], ends[j] : ends[j + 1]] = bad
        joined[ends[j] : ends[j + 1], ends[i] : ends[i + 1]] = bad.T
    own = [list(range(int(a), int(b))) for a, b in pairwise(ends)]
    beside = joined.copy()
    for members in own:
        beside[np.ix_(members, members)] = True
    np.fill_diagonal(beside, val=False)
    return Cliques(nodes, own, _covered(_bits(beside), _bits(joined)))


def _bits(rows: npt.NDArray[np.bool_]) -> list[int]:
    return [int.from_bytes(np.packbits(row, bitorder="little").tobytes(), "little") for row in rows]


def _covered(beside: list[int], open_: list[int]) -> list[list[int]]:
    """Cliques until no pair of ``open_`` is left, each grown as far as it goes, by pairs still open first."""
    found = []
    for node in range(len(beside)):
        while open_[node]:
            members, common = [node], beside[node]
            while common:
                wanted = common & open_[node] or common
                one = (wanted & -wanted).bit_length() - 1
                members.append(one)
                common &= beside[one]
            taken = sum(1 << one for one in members)
            for one in members:
                open_[one] &= ~taken
            found.append(members)
    return found


def serves_all(table: Table, most: int) -> bool:
    """False when it is proven that not every network finds an option under ``most``; True says nothing."""
    found = cliques(table, most)
    if not all(found.own):
        return False
    from scipy import optimize
    from scipy.sparse import csr_array

    rows = [*found.rows, *found.own]
    at = np.repeat(np.arange(len(rows)), [len(row) for row in rows])
    nodes = np.concatenate([np.array(row) for row in rows])
    matrix = csr_array((np.ones(len(nodes)), (at, nodes)), shape=(len(rows), len(found.nodes)))
    count = len(found.nodes)
    linear: Any = optimize.linprog  # its types know dense matrices only
    answer = linear(-np.ones(count), A_ub=matrix, b_ub=np.ones(len(rows)), bounds=(0.0, 1.0), method="highs")
    return not (answer.status == 0 and -float(answer.fun) < len(found.own) - _SURE)
