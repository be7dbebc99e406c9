"""The safe stop of a lens: from which usual stop on what the lens itself uses is under a quarter of the depth."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95
from tapehook.lens.next_mark import ENOUGH
from tapehook.notation import FULL_STOPS
from tapehook.prep.basis import Optics, stop_view
from tapehook.prep.focus import moved_terms, shift_term
from tapehook.prep.results import BudgetView, LensPrep, StopView
from tapehook.prep.room import SMALLEST_T, optics_of
from tapehook.prep.shifts import DOUBT, STOPPING_DOWN, shifts_at
from tapehook.shot import BudgetTerm, budget_over

Floats = npt.NDArray[np.float64]


def safe_stop(entry: LensPrep) -> StopView | None:
    """From which stop on a lens is good enough at its worst distance; None without a budget, or for no stop to T22.

    Worked out from its budget at the widest stop known: every share falls as the f-number rises, but for the move of
    best focus. Of that counts what charts tell of each stop beyond what the marks on paper are moved by, which hold for
    the shooting stop. Every smaller stop to T22 is as safe.
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
    terms = [term for term in view.budget.terms if term.name not in (STOPPING_DOWN, DOUBT)]
    if optics is not None:
        terms += _moving(entry, stop, optics, distance)
        others = [one for one in entry.shifts if one.role is None]
        terms += [term for term in moved_terms(others, optics, distance) if term.name == DOUBT]
    width = view.budget.half_width_dpt * (stop.f_number / view.stop.f_number)
    return budget_over(distance, width, terms).worst_own


def _moving(entry: LensPrep, stop: StopView, optics: Optics, distance_m: Floats) -> Iterator[BudgetTerm]:
    """What the move to a stop leaves beside the paper of the shooting stop, and the doubt of both."""
    paper = entry.shooting or entry.widest or stop
    here, there = (next((x for x in shifts_at(entry, s) if x.name == STOPPING_DOWN), None) for s in (stop, paper))
    moved = there if there is not None and there.kept is None else None
    left_m = (here.shift_m if here else 0.0) - (moved.shift_m if moved else 0.0)
    yield shift_term(STOPPING_DOWN, left_m, optics, distance_m)
    sd_m = max(one.sd_m if one else 0.0 for one in (moved, here))
    if sd_m > 0:
        doubt = shift_term(STOPPING_DOWN, Z95 * sd_m, optics, distance_m)
        yield BudgetTerm(doubt.name, "scatter", doubt.shift_dpt)
