"""The constraint solver behind large choices: CP-SAT, an optional part (``tapehook[radio]``), loaded when needed."""

import math
from typing import Any

import numpy as np

from tapehook.radio.choosing import Choice, Ints, Table
from tapehook.radio.cliques import cliques

SECONDS = 2.0
"""So long it may look for the least sum before its bound is given instead of a proof."""
FEASIBLE_SECONDS = 1.0
"""So long it may look for a choice under one level of the worst shortfall."""


def installed() -> bool:
    """True when the solver can be loaded."""
    try:
        import ortools.sat.python.cp_model  # noqa: F401
    except ImportError:
        return False
    return True


def feasible(table: Table, most: int, seconds: float = FEASIBLE_SECONDS) -> Choice | None:
    """A choice whose worst is at most ``most``; empty when there is none, None when time ran out."""
    from ortools.sat.python import cp_model

    model, picks = _model(table, most)
    solver, status = _run(model, seconds)
    if status in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return _picked(solver, picks)
    return () if status == cp_model.INFEASIBLE else None


def least_sum(table: Table, most: int, seconds: float, known: Choice) -> tuple[Choice, int]:
    """The choice of the least sum whose worst is at most ``most``, from ``known``, and the bound of that sum."""
    from ortools.sat.python import cp_model

    model, picks = _model(table, most)
    terms, fixed = [], 0
    for i, pick in enumerate(picks):
        cost = table.cost(i)
        terms += [int(cost[k]) * one for k, one in pick.items() if cost[k]]
        for k, one in pick.items():
            model.add_hint(one, k == known[i])
    for (i, j), shortfall in table.pairs.items():
        rows, columns = list(picks[i]), list(picks[j])
        cost = table.pair_cost(i, j)[np.ix_(rows, columns)]
        allowed = shortfall[np.ix_(rows, columns)] <= most
        least, top = int(cost[allowed].min()), int(cost[allowed].max())
        fixed += least
        if top > least:
            terms.append(_pair_term(model, picks[i], picks[j], np.where(allowed, cost - least, 0), top - least))
    model.minimize(sum(terms))
    solver, status = _run(model, seconds)
    low = math.ceil(solver.best_objective_bound - 1e-6) + fixed if status != cp_model.UNKNOWN else 0
    if status not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return known, low
    return min(known, _picked(solver, picks), key=table.total), low


def _pair_term(model: Any, rows: dict[int, Any], columns: dict[int, Any], over: Ints, top: int) -> Any:  # noqa: ANN401 - the solver's own types, loaded late
    """A variable that is at least what the pair costs over its least."""
    cost = model.new_int_var(0, top, "")
    for row, pick in zip(over, rows.values(), strict=True):
        more = sum(int(value) * one for value, one in zip(row, columns.values(), strict=True) if value)
        if not isinstance(more, int):
            model.add(cost >= more).only_enforce_if(pick)
    return cost


def _model(table: Table, most: int) -> tuple[Any, list[dict[int, Any]]]:
    """One yes or no for each option that may stand at all; of those that exclude each other at most one."""
    from ortools.sat.python import cp_model

    found, model = cliques(table, most), cp_model.CpModel()
    variables = [model.new_bool_var("") for _ in found.nodes]
    for row in found.own:
        model.add_exactly_one([variables[node] for node in row])
    for row in found.rows:
        model.add_at_most_one([variables[node] for node in row])
    return model, [{found.nodes[node][1]: variables[node] for node in row} for row in found.own]


def _picked(solver: Any, picks: list[dict[int, Any]]) -> Choice:  # noqa: ANN401 - the solver's own types, loaded late
    return tuple(next(k for k, one in pick.items() if solver.value(one)) for pick in picks)


def _run(model: Any, seconds: float) -> tuple[Any, Any]:  # noqa: ANN401 - the solver's own types, loaded late
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    solver.parameters.random_seed = 7
    return solver, solver.solve(model)
