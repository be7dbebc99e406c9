"""The safe stop of a lens: from which usual stop on what the lens itself uses is under a quarter of the depth."""

from collections.abc import Iterator

from tapehook.lens.next_mark import ENOUGH
from tapehook.notation import FULL_STOPS
from tapehook.prep.basis import stop_view
from tapehook.prep.focus import shift_term
from tapehook.prep.results import BudgetView, LensPrep, StopView
from tapehook.prep.room import SMALLEST_T, optics_of
from tapehook.prep.shifts import STOPPING_DOWN, shifts_at
from tapehook.shot import budget_over


def safe_stop(entry: LensPrep) -> StopView | None:
    """From which stop on a lens is good enough at its worst distance; None without a budget, or for no stop to T22.

    Worked out from its budget at the widest stop known: every share falls as the f-number rises, but for the move of
    best focus, which is taken at each stop as charts tell it. Every smaller stop to T22 is as safe.
    """
    if not entry.budgets:
        return None
    view, safe = entry.budgets[0], None
    for stop in reversed(list(_stops(view))):
        if not _own(entry, view, stop) < ENOUGH:
            break
        safe = stop
    return safe


def _stops(view: BudgetView) -> Iterator[StopView]:
    """The stop of the budget and the usual ones that are smaller, widest first."""
    yield view.stop
    transmission = (view.stop.f_number / view.stop.t_number) ** 2
    for label, _ in FULL_STOPS:
        if view.stop.t_number < float(label) <= SMALLEST_T:
            yield stop_view(float(label), transmission)


def _own(entry: LensPrep, view: BudgetView, stop: StopView) -> float:
    """What the lens itself uses at a stop, at its worst distance there."""
    optics, distance = optics_of(entry), view.budget.distance_m
    terms = [term for term in view.budget.terms if term.name != STOPPING_DOWN]
    if optics is not None:
        moved = [one for one in shifts_at(entry, stop) if one.name == STOPPING_DOWN]
        terms += [shift_term(one.name, one.shift_m, optics, distance) for one in moved]
    width = view.budget.half_width_dpt * (stop.f_number / view.stop.f_number)
    return budget_over(distance, width, terms).worst_own
