"""The safe stop of a lens: the widest usual stop at which what the lens itself uses is under a quarter of the depth."""

from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import safe_from


def safe_stop(entry: LensPrep) -> StopView | None:
    """From which stop on a lens is good enough at its worst distance; None without a budget, or for no stop to T22.

    Worked out from its budget at the widest stop known: every share falls as the f-number rises. Where best focus moves
    on stopping down, that move is taken as it is there.
    """
    if not entry.budgets:
        return None
    view = entry.budgets[0]
    return safe_from(view.budget.worst_own, view.stop)
