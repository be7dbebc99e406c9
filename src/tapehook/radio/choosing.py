"""The choice of channels as a table of whole decibels: smallest worst shortfall first, then the least sum.

Networks are numbered, options too. ``alone[i][k]`` is the shortfall of network i on its option k, ``pairs[i, j][k][l]``
that of the pair i < j. Every value is a whole number of dB, 0 where there is margin enough. ``extra`` and
``pair_extra`` add to the sum only.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Choice = tuple[int, ...]
Pairs = dict[tuple[int, int], Ints]


@dataclass(frozen=True)
class Table:
    """The shortfalls of a choice; ``extra[i]`` and ``pair_extra[i, j]`` are further cost in the sum."""

    alone: tuple[Ints, ...]
    pairs: Pairs = field(default_factory=dict)
    extra: tuple[Ints, ...] = ()
    pair_extra: Pairs = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many networks."""
        return len(self.alone)

    def cost(self, i: int) -> Ints:
        """What each option of network i adds to the sum by itself."""
        return self.alone[i] + self.extra[i] if self.extra else self.alone[i]

    def pair_cost(self, i: int, j: int) -> Ints:
        """What a pair i < j adds to the sum, rows for the options of i."""
        more = self.pair_extra.get((i, j))
        return self.pairs[i, j] if more is None else self.pairs[i, j] + more

    def worst(self, choice: Choice) -> int:
        """The largest shortfall of a full choice."""
        alone = [int(self.alone[i][k]) for i, k in enumerate(choice)]
        return max([0, *alone, *(int(table[choice[i], choice[j]]) for (i, j), table in self.pairs.items())])

    def total(self, choice: Choice) -> int:
        """The sum of shortfalls and extras of a full choice."""
        alone = sum(int(self.cost(i)[k]) for i, k in enumerate(choice))
        return alone + sum(int(self.pair_cost(i, j)[choice[i], choice[j]]) for i, j in self.pairs)

    def without(self, i: int, k: int) -> "Table":
        """The same with option k of network i priced beyond reach: no choice that has another takes it."""
        barred = self.alone[i].copy()
        barred[k] = BARRED
        return Table((*self.alone[:i], barred, *self.alone[i + 1 :]), self.pairs, self.extra, self.pair_extra)


BARRED = 10_000
"""A shortfall no real option has, dB."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A choice with its worst and sum, and what no choice can be better than.

    ``worst_bound`` is of every choice there is. ``total_bound`` is of those whose worst is at most ``most``: the best
    worst, or that and the slack asked for. ``engine`` says what settled it: "search", "solver", or "local" for neither.
    """

    choice: Choice
    worst: int
    total: int
    worst_bound: int
    total_bound: int
    most: int = 0
    engine: str = "search"

    @property
    def worst_proven(self) -> bool:
        """True when the best worst is known, and this choice is within it or the slack allowed."""
        return self.worst <= self.most

    @property
    def proven(self) -> bool:
        """True when the best worst is known and no choice as good, or within the slack, has a smaller sum."""
        return self.worst_proven and self.total == self.total_bound


def levels(table: Table) -> list[int]:
    """The values a worst shortfall can take, rising."""
    every = [np.zeros(1, dtype=np.int64), *table.alone, *(pair.ravel() for pair in table.pairs.values())]
    found: list[int] = np.unique(np.concatenate(every)).tolist()
    return found


def bounds(table: Table) -> tuple[int, int]:
    """What no choice can be better than, worst and sum, from single networks and pairs alone."""
    worst = max(int(row.min()) for row in table.alone)
    total = sum(int(table.cost(i).min()) for i in range(table.count))
    for (i, j), pair in table.pairs.items():
        both = np.maximum(pair, np.maximum(table.alone[i][:, None], table.alone[j][None]))
        worst = max(worst, int(both.min()))
        total += int(table.pair_cost(i, j).min())
    return worst, total


def rounded_up(shortfall_db: npt.ArrayLike) -> Ints:
    """Shortfalls in whole dB, rounded up, nothing below 0."""
    return np.maximum(0, np.ceil(np.asarray(shortfall_db, dtype=np.float64) - 1e-9)).astype(np.int64)


def same_or_moved(keep: Sequence[int | None], sizes: Sequence[int], price: int) -> tuple[Ints, ...]:
    """Extra cost of ``price`` for each option that is not the one kept; none for networks without one."""
    rows = []
    for kept, size in zip(keep, sizes, strict=True):
        row = np.full(size, 0 if kept is None else price, dtype=np.int64)
        if kept is not None:
            row[kept] = 0
        rows.append(row)
    return tuple(rows)
