"""The constraint solver behind large choices: CP-SAT, an optional part (``tapehook[radio]``), loaded when needed."""

from typing import Any

from tapehook.radio.choosing import Chosen, Table, bounds, levels, local_choice

SECONDS = 4.0
"""So long it may look for the least sum before its bound is given instead of a proof."""


def installed() -> bool:
    """True when the solver can be loaded."""
    try:
        import ortools.sat.python.cp_model  # noqa: F401
    except ImportError:
        return False
    return True


def solve(table: Table, *, slack: int = 0, seconds: float = SECONDS) -> Chosen:
    """As ``choose``: halve the levels of the worst shortfall, then the least sum under it with its bound."""
    start = local_choice(table, starts=3)
    steps = [level for level in levels(table) if bounds(table)[0] <= level <= start.worst] or [start.worst]
    low, high, proven = 0, len(steps) - 1, True
    while low < high:
        middle = (low + high) // 2
        answer = _feasible(table, steps[middle], seconds)
        proven = proven and answer is not None
        low, high = (low, middle) if answer else (middle + 1, high)
    worst_bound = steps[low] if proven else bounds(table)[0]
    found, total_bound = _least_sum(table, steps[low] + slack, seconds)
    if found is None:
        return Chosen(start.choice, start.worst, start.total, worst_bound, min(total_bound, start.total))
    worst = table.worst(found)
    kept_bound = worst if slack and proven else min(worst, worst_bound)
    return Chosen(found, worst, table.total(found), kept_bound, total_bound)


def _model(table: Table, most: int) -> tuple[Any, list[list[Any]]]:
    """One yes or no for each option; what is worse than ``most`` is forbidden."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    picks = [[model.new_bool_var("") for _ in row] for row in table.alone]
    for row, pick in zip(table.alone, picks, strict=True):
        model.add_exactly_one(pick)
        for value, one in zip(row.tolist(), pick, strict=True):
            if value > most:
                model.add(one == 0)
    for (i, j), pair in table.pairs.items():
        for k in range(pair.shape[0]):
            bad = [picks[j][m] for m in range(pair.shape[1]) if pair[k, m] > most]
            for one in bad:
                model.add_bool_or([picks[i][k].negated(), one.negated()])
    return model, picks


def _run(model: Any, seconds: float) -> tuple[Any, Any]:  # noqa: ANN401 - the solver's own types, loaded late
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    solver.parameters.random_seed = 7
    return solver, solver.solve(model)


def _feasible(table: Table, most: int, seconds: float) -> bool | None:
    """Whether a choice exists whose worst is at most ``most``; None when time ran out."""
    from ortools.sat.python import cp_model

    model, _ = _model(table, most)
    _, status = _run(model, seconds)
    if status in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return True
    return False if status == cp_model.INFEASIBLE else None


def _least_sum(table: Table, most: int, seconds: float) -> tuple[tuple[int, ...] | None, int]:
    """The choice of the least sum under ``most`` and the bound of that sum."""
    from ortools.sat.python import cp_model

    model, picks = _model(table, most)
    terms = []
    for i, pick in enumerate(picks):
        extra = table.extra[i] if table.extra else table.alone[i] * 0
        terms += [int(value) * one for value, one in zip(table.alone[i] + extra, pick, strict=True) if value]
    for (i, j), pair in table.pairs.items():
        if not pair.any():
            continue
        cost = model.new_int_var(int(pair.min()), int(pair.max()), "")
        for k in range(pair.shape[0]):
            over = sum(int(value) * one for value, one in zip(pair[k], picks[j], strict=True) if value)
            model.add(cost >= over).only_enforce_if(picks[i][k])
        terms.append(cost)
    model.minimize(sum(terms))
    solver, status = _run(model, seconds)
    if status not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return None, bounds(table)[1]
    found = tuple(next(k for k, one in enumerate(pick) if solver.value(one)) for pick in picks)
    total = table.total(found)
    return found, total if status == cp_model.OPTIMAL else min(total, int(solver.best_objective_bound + 0.999))
