"""The choice of channels as a table of whole decibels: smallest worst shortfall first, then the least sum.

Networks are numbered, options too. ``alone[i][k]`` is the shortfall of network i on its option k, ``pairs[i, j][k][l]``
that of the pair i < j. Every value is a whole number of dB, 0 where there is margin enough. ``extra`` adds to the sum
only. Small choices are settled here by search with bounds; large ones by a constraint solver where it is installed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Choice = tuple[int, ...]
NODES = 60_000
"""So many steps the search takes before it gives up proving; about half a second."""


@dataclass(frozen=True)
class Table:
    """The shortfalls of a choice, and ``extra[i]``, further cost of options in the sum."""

    alone: tuple[Ints, ...]
    pairs: dict[tuple[int, int], Ints] = field(default_factory=dict)
    extra: tuple[Ints, ...] = ()

    @property
    def count(self) -> int:
        """How many networks."""
        return len(self.alone)

    def pair(self, i: int, j: int) -> Ints:
        """Shortfalls of the pair with rows for the options of i."""
        return self.pairs[i, j] if i < j else self.pairs[j, i].T

    def worst(self, choice: Choice) -> int:
        """The largest shortfall of a full choice."""
        alone = [int(self.alone[i][k]) for i, k in enumerate(choice)]
        return max([0, *alone, *(int(table[choice[i], choice[j]]) for (i, j), table in self.pairs.items())])

    def total(self, choice: Choice) -> int:
        """The sum of shortfalls and extras of a full choice."""
        alone = sum(int(self.alone[i][k]) for i, k in enumerate(choice))
        extra = sum(int(self.extra[i][k]) for i, k in enumerate(choice)) if self.extra else 0
        return alone + extra + sum(int(table[choice[i], choice[j]]) for (i, j), table in self.pairs.items())


@dataclass(frozen=True, slots=True)
class Chosen:
    """A choice with its worst and sum, and what no choice can be better than."""

    choice: Choice
    worst: int
    total: int
    worst_bound: int
    total_bound: int

    @property
    def proven(self) -> bool:
        """True when neither the worst nor the sum under it can be better."""
        return self.worst == self.worst_bound and self.total == self.total_bound


class OutOfSteps(Exception):
    """The search used up its steps."""


class _Search:
    """Depth first, fewest options first, with the options left of each network as a mask."""

    def __init__(self, table: Table, most: int, steps: int = NODES) -> None:
        self.table, self.most, self.left = table, most, steps
        extra = table.extra or tuple(np.zeros_like(row) for row in table.alone)
        self.cost = [row + more for row, more in zip(table.alone, extra, strict=True)]
        self.best: int | None = None
        self.choice: Choice | None = None

    def run(self, *, first_only: bool) -> Choice | None:
        """The choice with the least sum whose worst is at most ``most``; any such with ``first_only``."""
        allowed = [row <= self.most for row in self.table.alone]
        self._deeper({}, allowed, [row.copy() for row in self.cost], 0, first_only=first_only)
        return self.choice

    def _deeper(
        self,
        made: dict[int, int],
        allowed: list[npt.NDArray[np.bool_]],
        cost: list[Ints],
        spent: int,
        *,
        first_only: bool,
    ) -> None:
        self.left -= 1
        if self.left < 0:
            raise OutOfSteps
        open_ = [i for i in range(self.table.count) if i not in made]
        if not open_:
            if self.best is None or spent < self.best:
                self.best, self.choice = spent, tuple(made[i] for i in range(self.table.count))
            return
        if any(not allowed[i].any() for i in open_):
            return
        least = {i: int(cost[i][allowed[i]].min()) for i in open_}
        if self.best is not None and spent + sum(least.values()) >= self.best:
            return
        i = min(open_, key=lambda one: (int(allowed[one].sum()), -least[one]))
        for k in sorted(np.flatnonzero(allowed[i]).tolist(), key=lambda one: int(cost[i][one])):
            next_allowed, next_cost = list(allowed), list(cost)
            for j in open_:
                if j != i:
                    row = self.table.pair(i, j)[k]
                    next_allowed[j], next_cost[j] = allowed[j] & (row <= self.most), cost[j] + row
            self._deeper({**made, i: k}, next_allowed, next_cost, spent + int(cost[i][k]), first_only=first_only)
            if first_only and self.choice is not None:
                return


def levels(table: Table) -> list[int]:
    """The values a worst shortfall can take, rising."""
    values = {0, *(int(v) for row in table.alone for v in row)}
    for pair in table.pairs.values():
        values |= set(np.unique(pair).tolist())
    return sorted(values)


def choose(table: Table, *, slack: int = 0, solver: bool = True) -> Chosen:
    """The best choice: worst first, then the sum among choices at most ``slack`` dB worse than the best worst.

    Settled by search; what it cannot settle goes to the constraint solver (extra ``radio``) when that is installed and
    ``solver`` says so, else to local search with bounds. Raises ValueError when a network has no option.
    """
    if any(row.size == 0 for row in table.alone):
        raise ValueError("a network without any option")
    if not table.count:
        return Chosen((), 0, 0, 0, 0)
    try:
        worst = _least_worst(table)
        found = _Search(table, worst + slack).run(first_only=False)
        assert found is not None  # noqa: S101 - the least worst was reached by a choice
        total = table.total(found)
        return (
            Chosen(found, table.worst(found), total, min(worst, table.worst(found)), total)
            if not slack
            else _kept(table, found)
        )
    except OutOfSteps:
        pass
    if solver:
        from tapehook.radio import solving

        if solving.installed():
            return solving.solve(table, slack=slack)
    return local_choice(table)


def _kept(table: Table, found: Choice) -> Chosen:
    """A choice settled with slack: its worst is what was asked for, so it is its own bound."""
    return Chosen(found, table.worst(found), table.total(found), table.worst(found), table.total(found))


def _least_worst(table: Table) -> int:
    """The smallest worst shortfall, by halving the levels. Raises OutOfSteps."""
    steps = levels(table)
    low, high = 0, len(steps) - 1
    while low < high:
        middle = (low + high) // 2
        if _Search(table, steps[middle], NODES // 4).run(first_only=True) is None:
            low = middle + 1
        else:
            high = middle
    return steps[low]


def bounds(table: Table) -> tuple[int, int]:
    """What no choice can be better than, worst and sum, from single networks and pairs alone."""
    alone = max(int(row.min()) for row in table.alone)
    extra = table.extra or tuple(np.zeros_like(row) for row in table.alone)
    total = sum(int((row + more).min()) for row, more in zip(table.alone, extra, strict=True))
    worst = alone
    for (i, j), pair in table.pairs.items():
        both = np.maximum(pair, np.maximum(table.alone[i][:, None], table.alone[j][None]))
        worst = max(worst, int(both.min()))
        total += int(pair.min())
    return worst, total


def local_choice(table: Table, starts: int = 12) -> Chosen:
    """A good choice by moving one network at a time from several starts, with its bounds; the same at every run."""
    chance = np.random.default_rng(7)
    best: Choice | None = None
    for start in range(starts):
        choice = [int(row.argmin()) if start == 0 else int(chance.integers(row.size)) for row in table.alone]
        found = _descend(table, choice)
        if best is None or (table.worst(found), table.total(found)) < (table.worst(best), table.total(best)):
            best = found
    assert best is not None  # noqa: S101 - there is at least one start
    worst, total = bounds(table)
    return Chosen(best, table.worst(best), table.total(best), worst, min(total, table.total(best)))


def _descend(table: Table, choice: list[int]) -> Choice:
    """Move single networks while that helps."""
    here = (table.worst(tuple(choice)), table.total(tuple(choice)))
    moved = True
    while moved:
        moved = False
        for i, row in enumerate(table.alone):
            for k in range(row.size):
                there = (*choice[:i], k, *choice[i + 1 :])
                value = (table.worst(there), table.total(there))
                if value < here:
                    choice, here, moved = list(there), value, True
    return tuple(choice)


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
