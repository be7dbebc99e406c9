"""What a focus budget forgives where the lens uses most: the depth in centimetres, and the chance to be sharp."""

import math

from tapehook.notation import System, format_small_length
from tapehook.optics import focus_state
from tapehook.prep.basis import Optics
from tapehook.prep.results import BudgetView
from tapehook.shot.forgiveness import Spreads, chance_of_body

Z95 = 1.959964
"""Half-width of a 95 % interval in standard deviations: terms of a budget are such half-widths."""


def room_words(view: BudgetView, system: System) -> str:
    """The depth at the worst distance for a sentence: "4 cm nearer, 5 cm farther"; "from 12 m on" at infinity."""
    at_m = float(view.budget.distance_m[view.budget.worst])
    if math.isnan(view.near_m):
        return "nearer than it can focus at all"
    nearer, farther = at_m - view.near_m, view.far_m - at_m
    if math.isinf(at_m):
        return f"from {format_small_length(view.near_m, system)} on"
    near, far = (format_small_length(part, system) for part in (nearer, farther))
    return f"{near} either way" if near == far else f"{near} nearer, {far} farther"


def chance_at_worst(view: BudgetView, optics: Optics, spreads: Spreads | None = None) -> float:
    """Chance to be sharp of somebody at the worst distance who strays as usual, with all terms of the budget.

    Lasting errors but the backlash are taken to point one way, as in the budget, that which is worse for somebody who
    strays; the play may lie either way.
    """
    at_m = float(view.budget.distance_m[view.budget.worst])
    shares = view.budget.at_worst()
    known = sum(share for term, share in shares if term.kind == "bias" and term.name != "backlash")
    play = sum(share for term, share in shares if term.name == "backlash")
    scatter = math.hypot(*(share for term, share in shares if term.kind == "scatter")) / Z95
    if not all(map(math.isfinite, (known, play, scatter))):
        return 0.0
    width = float(view.budget.half_width_dpt[view.budget.worst])
    u = float(focus_state(at_m, optics.focal_m, optics.pupil).pupil_distance_m)
    return min(
        chance_of_body(u, width, spreads or Spreads(), known=side, half_play=play, scatter_sd=scatter)
        for side in (known, -known)
    )
