"""A lens that is also used with an extender: what its focus budget becomes behind it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Lens
from tapehook.notation import FocalRange, format_focal_length
from tapehook.optics import sharp_blur_m
from tapehook.optics.extender import Extender
from tapehook.prep.basis import MM, Basis, Optics, stop_view
from tapehook.prep.results import BudgetView, LensPrep, StopView
from tapehook.prep.room import optics_of, safe_from
from tapehook.prep.wording import Maker, depth_used, percent
from tapehook.shot import BudgetTerm, FocusBudget, budget_over

WATCH_FROM, FIX_FROM = 0.25, 1.0
"""As for every share: under a quarter is good, from the whole on the lens is soft. Common practice, no source."""
BEHIND = ("glass behind the lens",)
"""Terms of a budget that lie between extender and sensor."""


@dataclass(frozen=True, slots=True)
class Extended:
    """A lens on an extender: what its ring is set to, the stop it then works at, and its budget there.

    ``bare`` is the lens's own share of the depth without it, at the stop its budget was worked out for.
    """

    extender: Extender
    focal_m: float
    set_to: StopView
    works_at: StopView
    budget: FocusBudget
    bare: float
    bare_stop: StopView

    @property
    def own(self) -> float:
        """The lens's own share of the depth with it, at its worst distance."""
        return self.budget.worst_own


def extender_of(lens: Lens) -> Extender | None:
    """The extender that a lens is also used with; None without one."""
    if lens.extender is None:
        return None
    return Extender(lens.extender, (lens.extender_length_mm or 0.0) * MM)


def ring_stop(entry: LensPrep, factor: float = 1.0) -> StopView | None:
    """What the iris ring is set to for the shooting stop, or the widest: opened by what an extender takes."""
    wanted = entry.shooting or entry.widest
    if wanted is None or factor == 1.0:
        return wanted
    number = max(wanted.t_number / factor, entry.widest.t_number if entry.widest else 0.0)
    return stop_view(number, entry.transmission)


def optics_on(entry: LensPrep, extender: Extender | None) -> Optics | None:
    """What the depth of the bare lens is computed with, the blur behind it being what an extender makes of it."""
    optics = optics_of(entry)
    if optics is None or extender is None:
        return optics
    blur_m = float(sharp_blur_m(extender.blur_before_m(entry.coc_m), entry.blur_floor_m))
    return replace(optics, blur_m=blur_m)


def said_at(stop: StopView, extender: Extender | None) -> StopView:
    """A stop of the ring, said as it works behind an extender: "T4 (ring at T2)"; numbers stay those of the ring."""
    if extender is None:
        return stop
    works = stop_view(float(extender.stop(stop.t_number)), 1.0)
    return replace(stop, text=f"{works.text} (ring at {stop.text})")


def extended(
    lens: Lens, basis_stops: tuple[StopView | None, StopView | None], floor: "Floor", budgets: Sequence[BudgetView]
) -> Extended | None:
    """The budget of ``lens`` on its extender, worked out from that of the bare lens; None without either.

    ``basis_stops`` are its widest and its shooting stop. The ring is opened by the stops the extender takes, as far as
    it goes.
    """
    extender = extender_of(lens)
    widest, shooting = basis_stops
    wanted = shooting or widest
    if extender is None or not budgets or wanted is None or floor.focal_m is None:
        return None
    transmission = (wanted.f_number / wanted.t_number) ** 2
    number = max(wanted.t_number / extender.factor, widest.t_number if widest else 0.0)
    set_to, works_at = stop_view(number, transmission), stop_view(float(extender.stop(number)), transmission)
    view = budgets[0] if widest is not None and number < 1.2 * widest.t_number else budgets[-1]
    before, behind = (
        float(sharp_blur_m(blur, floor.blur_floor_m)) for blur in (floor.coc_m, floor.coc_m / extender.factor)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        width = (
            view.budget.half_width_dpt * (set_to.f_number / view.stop.f_number) * (behind / before if before else 0.0)
        )
    terms = [_behind(term, extender) for term in view.budget.terms]
    budget = budget_over(view.budget.distance_m, width, terms)
    bare = budgets[-1]
    focal_m = float(extender.focal_m(floor.focal_m))
    return Extended(extender, focal_m, set_to, works_at, budget, bare.budget.worst_own, bare.stop)


@dataclass(frozen=True, slots=True)
class Floor:
    """What of a lens decides how much blur may pass behind it: metres; its focal length as engraved or found."""

    focal_m: float | None
    coc_m: float
    blur_floor_m: float


def extended_lens(entry: LensPrep) -> Extended | None:
    """The same for a prepared lens."""
    floor = Floor(entry.depth_focal_m, entry.coc_m, entry.blur_floor_m)
    return extended(entry.lens, (entry.widest, entry.shooting), floor, entry.budgets)


def _behind(term: BudgetTerm, extender: Extender) -> BudgetTerm:
    """What lies behind the extender moves the lens's own image by 1/x squared of what it moves the sensor's."""
    if term.name not in BEHIND:
        return term
    return replace(term, shift_dpt=term.shift_dpt / extender.factor**2)


def extender_findings(make: Maker, lens: Lens, basis: Basis, budgets: Sequence[BudgetView]) -> Iterator[Finding]:
    """What is said of a lens that is also used with an extender; nothing without one."""
    focal_m = basis.optics.focal_m if basis.optics else None
    floor = Floor(focal_m, basis.coc_m, basis.blur_floor_m)
    found = extended(lens, (basis.widest, basis.shooting), floor, budgets)
    if found is not None:
        yield _share(make, lens, found)


def _share(make: Maker, lens: Lens, found: Extended) -> Finding:
    own, stop = found.own, found.works_at.text
    severity: Severity = "fix" if own >= FIX_FROM else "watch" if own >= WATCH_FROM else "info"
    focal = format_focal_length(FocalRange(found.focal_m, found.focal_m))
    length = f"{1e3 * found.extender.length_m:.0f} mm" if lens.extender_length_mm else "the extender's length"
    message = (
        f"With the {found.extender.factor:g}x extender it is {focal}, and {found.set_to.text} on its ring works at "
        f"{stop}: the lens alone uses {percent(own)} of the depth at {stop}, without it {percent(found.bare)} at "
        f"{found.bare_stop.text}; its marks count from {length} nearer the subject than the sensor."
    )
    if severity == "info":
        step = (
            f"Take {length} off each taped distance; check infinity and one near mark on a chart through it, on the "
            "body it is used on."
        )
        return make("extender.share", severity, message, step, depth_used(own, stop))
    safe = safe_from(own, found.works_at)
    close = "" if safe is None else f"Under a quarter from {safe.text} on. "
    step = (
        f"{close}Tape marks through the extender, on the body it is used on; an error of flange ahead of it takes "
        f"{found.extender.factor:g} times its share, so have the lens checked with it."
    )
    return make("extender.share", severity, message, step, depth_used(own, stop))


def extended_as_json(entry: LensPrep) -> dict[str, Any] | None:
    """The lens on its extender as plain JSON values; None without one, or without a budget."""
    found = extended_lens(entry)
    if found is None:
        return None
    own = float(found.own)
    return {
        "factor": found.extender.factor,
        "focal_mm": 1e3 * found.focal_m,
        "set_to": found.set_to.text,
        "stop": found.works_at.text,
        "lens_depth_used_percent": 100.0 * own if np.isfinite(own) else None,
    }
