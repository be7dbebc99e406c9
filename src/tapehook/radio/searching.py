"""The two searches behind a plan: is there a choice whose worst is at most so much, and which has the least sum.

The first goes through the options as bits of whole numbers, a few microseconds a step: it is a colouring with a
forbidden list for each pair. The second is a search with bounds in which pair costs were first moved to single options
where that raises the bound (message passing; V. Kolmogorov, Convergent tree-reweighted message passing for energy
minimization, IEEE PAMI 28, 2006).
"""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from tapehook.radio.choosing import Choice, Ints, Table

Floats = npt.NDArray[np.float64]
FEASIBLE_STEPS = 8_000
"""So many steps the first search takes before it gives up; about a tenth of a second."""
SUM_STEPS = 8_000
"""So many steps the second takes; about half a second."""
PASSES = 6
_WORD = 32
_FORBIDDEN = 1e8
ROUNDING = 1e-4
_WHOLE = 1.0 - ROUNDING
"""Sums are whole, so a better one is better by one."""


class OutOfSteps(Exception):
    """The search used up its steps."""


class Allowed:
    """Which options stand beside each other when no shortfall may exceed ``most``.

    ``domain[i]`` has a bit for each option of network i, ``beside[i][j][k]`` one for each option of j that option k of
    i leaves to it.
    """

    def __init__(self, table: Table, most: int) -> None:
        self.domain = [_as_bits((row <= most)[None])[0] for row in table.alone]
        self.beside: list[list[list[int]]] = [[[] for _ in table.alone] for _ in table.alone]
        for (i, j), pair in table.pairs.items():
            good = pair <= most
            self.beside[i][j], self.beside[j][i] = _as_bits(good), _as_bits(good.T)

    def choice(self, steps: int = FEASIBLE_STEPS) -> Choice | None:
        """Any choice that stands; None when there is none. Raises OutOfSteps."""
        made: dict[int, int] = {}
        self._left = steps
        open_ = list(range(len(self.domain)))
        return tuple(made[i] for i in open_) if self._deeper(self.domain, open_, made) else None

    def _deeper(self, domain: list[int], open_: list[int], made: dict[int, int]) -> bool:
        self._left -= 1
        if self._left < 0:
            raise OutOfSteps
        if not open_:
            return True
        i = min(open_, key=lambda one: domain[one].bit_count())
        rest = [one for one in open_ if one != i]
        for k, left in self._ranked(domain, i, rest):
            made[i] = k
            if self._deeper(left, rest, made):
                return True
        return False

    def _ranked(self, domain: list[int], i: int, rest: list[int]) -> list[tuple[int, list[int]]]:
        """Options of network i with the domains they leave, those that leave the most first."""
        found = []
        for k in each_bit(domain[i]):
            left, count = list(domain), 0
            for j in rest:
                left[j] = domain[j] & self.beside[i][j][k]
                if not left[j]:
                    break
                count += left[j].bit_count()
            else:
                found.append((-count, k, left))
        return [(k, left) for _, k, left in sorted(found, key=lambda one: one[:2])]


def _as_bits(rows: npt.NDArray[np.bool_]) -> list[int]:
    """Each row as a whole number with a bit for each column, the first lowest."""
    found = [0] * len(rows)
    for start in range(0, rows.shape[1], _WORD):
        part = rows[:, start : start + _WORD]
        words = (part @ (1 << np.arange(part.shape[1], dtype=np.int64))).tolist()
        found = [bits | word << start for bits, word in zip(found, words, strict=True)]
    return found


def each_bit(bits: int) -> Iterator[int]:
    """The numbers of the bits that are set, rising."""
    while bits:
        lowest = bits & -bits
        yield lowest.bit_length() - 1
        bits ^= lowest


class Costs:
    """The sum as full arrays: ``single`` (networks, options) and ``pair`` (networks, networks, options, options).

    What exceeds ``most`` costs more than anything; so do options that a network does not have.
    """

    def __init__(self, table: Table, most: int) -> None:
        count, wide = table.count, max(row.size for row in table.alone)
        self.table, self.most = table, most
        self.single = np.full((count, wide), _FORBIDDEN)
        self.pair = np.zeros((count, count, wide, wide))
        for i, row in enumerate(table.alone):
            self.single[i, : row.size] = np.where(row <= most, table.cost(i), _FORBIDDEN)
        for (i, j), shortfall in table.pairs.items():
            value = np.where(shortfall <= most, table.pair_cost(i, j), _FORBIDDEN)
            self.pair[i, j, : value.shape[0], : value.shape[1]] = value
            self.pair[j, i, : value.shape[1], : value.shape[0]] = value.T

    def bound(self) -> float:
        """What no sum is below: the least of each network and each pair."""
        count = len(self.single)
        pairs = sum(float(self.pair[i, i + 1 :].min(axis=(1, 2)).sum()) for i in range(count - 1))
        return float(self.single.min(axis=1).sum()) + pairs

    def moved(self, passes: int = PASSES) -> float:
        """Move cost between pairs and single options, sums of whole choices unchanged; the bound that gives."""
        count = len(self.single)
        for turn in range(passes):
            order = list(range(count))[:: 1 if turn % 2 == 0 else -1]
            for at, i in enumerate(order):
                rest = order[at + 1 :]
                self._pass_on(i, rest, max(len(rest), at, 1))
        return self.bound()

    def _pass_on(self, i: int, rest: list[int], shares: int) -> None:
        """Take in what the pairs of network i cost at least, and give shares of all to the networks still to come."""
        taken = self.pair[i].min(axis=2)
        taken[i] = 0.0
        all_ = self.single[i] + taken.sum(axis=0)
        given = np.zeros_like(taken)
        given[rest] = all_ / shares
        self.single[i] = all_ - given.sum(axis=0)
        change = given - taken
        self.pair[i] += change[:, :, None]
        self.pair[:, i] += change[:, None, :]
        self.pair[i, i] = 0.0

    def lowered(self, choice: Choice) -> Choice:
        """Move single networks, the best move first, while the sum falls."""
        at, here = np.arange(len(choice)), np.array(choice)
        cost = self.single + sum((self.pair[j, :, m, :] for j, m in enumerate(choice)), start=0.0)
        while True:
            gain = cost - cost[at, here][:, None]
            i, k = np.unravel_index(int(gain.argmin()), gain.shape)
            if gain[i, k] > -0.5:
                return tuple(int(one) for one in here)
            cost += self.pair[i, :, k, :] - self.pair[i, :, here[i], :]
            here[i] = k


class LeastSum:
    """Depth first on costs that were moved: what stays to be decided costs at least its cheapest options."""

    def __init__(self, costs: Costs, known: Choice, steps: int = SUM_STEPS) -> None:
        self.costs, self.left = costs, steps
        self.choice, self.best = known, float(costs.table.total(known))

    def run(self) -> Choice:
        """The choice of the least sum. Raises OutOfSteps; ``choice`` is then the best seen."""
        start = self.costs
        shift = start.bound() - float(start.single.min(axis=1).sum())
        # Each pair's least counts once, at the start: what is left of the pairs is then nowhere below nothing.
        pair = start.pair - start.pair.min(axis=(2, 3), keepdims=True)
        self._deeper(list(range(len(self.choice))), start.single, pair, shift, {})
        return self.choice

    def _deeper(self, open_: list[int], single: Floats, pair: Floats, spent: float, made: dict[int, int]) -> None:
        self.left -= 1
        if self.left < 0:
            raise OutOfSteps
        if not open_:
            self._take(tuple(made[i] for i in range(len(made))))
            return
        rows = single[open_]
        least = rows.min(axis=1)
        room = self.best - _WHOLE - spent - float(least.sum())
        if room < 0:
            return
        at = int((rows - least[:, None] <= room).sum(axis=1).argmin())
        i, floor = open_[at], float(least[at])
        rest = [*open_[:at], *open_[at + 1 :]]
        for k in np.argsort(single[i], kind="stable").tolist():
            if single[i, k] - floor > self.best - _WHOLE - spent - float(least.sum()):
                return
            made[i] = k
            self._deeper(rest, single + pair[i, :, k, :], pair, spent + float(single[i, k]), made)
        made.pop(i, None)

    def _take(self, choice: Choice) -> None:
        total, worst = self.costs.table.total(choice), self.costs.table.worst(choice)
        if worst <= self.costs.most and total < self.best:
            self.choice, self.best = choice, float(total)


def greedy(table: Table) -> Choice:
    """A choice to start from: network after network on the option that adds the least."""
    choice: list[int] = []
    for i in range(table.count):
        cost: Ints = table.alone[i] + table.cost(i)
        for j, m in enumerate(choice):
            cost = cost + table.pair_cost(j, i)[m]
        choice.append(int(cost.argmin()))
    return tuple(choice)
