"""The best choice of a table: the least worst shortfall proven, then the least sum under it, with what bounds them."""

from dataclasses import dataclass

import numpy as np

from tapehook.radio import solving
from tapehook.radio.choosing import BARRED, Choice, Chosen, Table, bounds, levels
from tapehook.radio.cliques import serves_all
from tapehook.radio.mending import mended
from tapehook.radio.searching import ROUNDING, Allowed, Costs, LeastSum, OutOfSteps, greedy

STARTS = 12
ASKS = 2
"""So often the solver is asked whether a level can be reached."""
NEXT_UP_TO = 12
"""Up to so many networks the next-best choice is looked for among all."""


@dataclass(frozen=True, slots=True)
class LeastWorst:
    """A choice of small worst shortfall, and what none is better than; ``solved`` where the solver was asked."""

    choice: Choice
    worst: int
    bound: int
    solved: bool = False

    @property
    def proven(self) -> bool:
        """True when it is the least."""
        return self.worst == self.bound


def choose(table: Table, *, slack: int = 0, solver: bool = True, seconds: float = solving.SECONDS) -> Chosen:
    """The best choice: worst first, then the sum among choices at most ``slack`` dB worse than the best worst.

    Settled by search; what it cannot settle goes to the constraint solver (extra ``radio``) when that is installed and
    ``solver`` says so, for ``seconds`` at most, else to local search with bounds. Raises ValueError when a network has
    no option.
    """
    if any(row.size == 0 for row in table.alone):
        raise ValueError("a network without any option")
    if not table.count:
        return Chosen((), 0, 0, 0, 0)
    least = least_worst(table, solver=solver)
    return _least_sum(table, least, least.worst + slack, seconds if solver else 0.0)


def least_worst(table: Table, *, solver: bool = True) -> LeastWorst:
    """The smallest worst shortfall: levels between what bounds it and what is reached, halved.

    Where nobody can tell of a level, the higher ones are looked at for a choice, then the lower ones for the bound.
    """
    found = _tidied(table, greedy(table))
    every, asked = levels(table), 0
    floor = bounds(table)[0]
    spans = [every]
    while spans:
        steps = [level for level in spans.pop() if floor <= level < table.worst(found)]
        if not steps:
            continue
        middle = len(steps) // 2
        better, used = _under(table, steps[middle], solver=solver and asked < ASKS)
        asked += used
        if better:
            found = better
            spans.append(steps[:middle])
        elif better is None:
            spans += [steps[:middle], steps[middle + 1 :]]
        else:
            floor = next(level for level in every if level > steps[middle])
            spans.append(steps[middle + 1 :])
    return LeastWorst(found, table.worst(found), min(floor, table.worst(found)), solved=asked > 0)


def _under(table: Table, most: int, *, solver: bool) -> tuple[Choice | None, bool]:
    """A choice whose worst is at most ``most``, empty when there is none, None where nobody can tell; solver asked."""
    try:
        return Allowed(table, most).choice() or (), False
    except OutOfSteps:
        if not serves_all(table, most):
            return (), False
        if (choice := mended(table, most)) is not None:
            return choice, False
    if solver and solving.installed():
        return solving.feasible(table, most), True
    return None, False


def _tidied(table: Table, start: Choice) -> Choice:
    """The best of some starts, single networks moved while that lowers the worst, then the sum; always the same."""
    chance = np.random.default_rng(7)
    costs = Costs(table, BARRED)
    best = costs.lowered(start)
    for _ in range(STARTS if table.count > 1 else 0):
        other = costs.lowered(tuple(int(chance.integers(row.size)) for row in table.alone))
        best = min(best, other, key=lambda one: (table.worst(one), table.total(one)))
    return best


def _least_sum(table: Table, least: LeastWorst, most: int, seconds: float) -> Chosen:
    """The least sum of choices whose worst is at most ``most``; without proof after some steps, with its bound."""
    costs = Costs(table, most)
    known = costs.lowered(least.choice)
    known = min(known, least.choice, key=table.total) if table.worst(known) <= most else least.choice
    plain = costs.bound()
    low = max(plain, costs.moved())
    search = LeastSum(costs, known)
    engine = "solver" if least.solved else "search"
    try:
        found = search.run()
        low = float(table.total(found))
    except OutOfSteps:
        found, engine = search.choice, "local"
        if seconds > 0.0 and solving.installed():
            found, solver_low = solving.least_sum(table, most, seconds, found)
            low, engine = max(low, float(solver_low)), "solver"
    total = table.total(found)
    total_bound = min(total, int(np.ceil(low - ROUNDING)))
    if not least.proven:
        # The sum was sought under a worst that may not be the least.
        most = least.bound + most - least.worst
    return Chosen(found, table.worst(found), total, least.bound, total_bound, most, engine)


def next_best(table: Table, chosen: Chosen) -> Choice | None:
    """The best choice that is not ``chosen``, worst first, then the sum; None when there is no other.

    Every other choice leaves the option of at least one network, so the best is that of the tables without one. Beyond
    ``NEXT_UP_TO`` networks only single moves are looked at.
    """
    if table.count > NEXT_UP_TO:
        return _best_move(table, chosen.choice)
    free = [(i, k) for i, k in enumerate(chosen.choice) if table.alone[i].size > 1]
    others = [choose(table.without(i, k), solver=False).choice for i, k in free]
    return min(others, key=lambda one: (table.worst(one), table.total(one)), default=None)


def _best_move(table: Table, choice: Choice) -> Choice | None:
    """The best choice in which one network stands elsewhere."""
    count = table.count
    now = np.diag([int(table.alone[i][k]) for i, k in enumerate(choice)])
    for (i, j), pair in table.pairs.items():
        now[i, j] = now[j, i] = pair[choice[i], choice[j]]
    found = []
    for i in range(count):
        worst, cost = table.alone[i].copy(), table.cost(i).copy()
        for j in range(count):
            if j != i:
                first = i < j
                shortfall, more = table.pairs[min(i, j), max(i, j)], table.pair_cost(min(i, j), max(i, j))
                worst = np.maximum(worst, shortfall[:, choice[j]] if first else shortfall[choice[j]])
                cost += more[:, choice[j]] if first else more[choice[j]]
        rest = int(np.delete(np.delete(now, i, axis=0), i, axis=1).max(initial=0))
        moves = [k for k in range(worst.size) if k != choice[i]]
        found += [(max(rest, int(worst[k])), int(cost[k]) - int(cost[choice[i]]), i, k) for k in moves]
    if not found:
        return None
    _, _, i, k = min(found)
    return (*choice[:i], k, *choice[i + 1 :])
