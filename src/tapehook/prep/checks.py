"""The findings on one lens: each one sentence with its figure, its stop, and what to do next."""

import math
from collections.abc import Iterator

import numpy as np

from tapehook.finding import DEPTH_USED_UNIT, Figure, Finding, Severity
from tapehook.job.records import Job, Lens, PositionUnit
from tapehook.notation import format_distance, format_position, format_stop
from tapehook.prep.basis import Basis, job_shooting_t
from tapehook.prep.focus import FocusRing
from tapehook.prep.results import AxisPrep, BudgetView, MarkRow

SOFT = 1.0
"""From this share of the depth on a figure must be acted on: the budget eats all the room there is."""
TIGHT = 0.6
"""From this share on a figure is worth knowing before the shot: common practice, no source."""
REACH = 0.06
"""How far, as a part of the whole scale, the nearest mark may stay from the end of the map."""
WORST_TERMS = 3

_UNIT_NAME: dict[PositionUnit, str] = {"deg": "deg", "count": "count", "percent": "%", "mm": "mm"}


def lens_findings(
    lens: Lens,
    title: str,
    job: Job,
    basis: Basis,
    ring: FocusRing,
    marks: tuple[MarkRow, ...],
    budgets: tuple[BudgetView, ...],
    others: tuple[AxisPrep, ...],
) -> Iterator[Finding]:
    """All findings on one lens, in the order they were looked for."""
    make = _Maker(lens, title)
    yield from _data(make, lens, job, basis, ring)
    yield from _marks(make, lens, basis, marks)
    yield from _shape(make, lens, ring)
    yield from _ends(make, lens, basis, ring)
    yield from _ways(make, ring)
    yield from _stops(make, job, basis)
    yield from _budget(make, ring, budgets)
    yield from _other_rings(make, others)


class _Maker:
    """Writes findings that all name the same lens."""

    def __init__(self, lens: Lens, title: str) -> None:
        self._lens = lens
        self._subject = f"lens {lens.id}" if title.startswith(lens.id) else f"lens {lens.id}, {title}"

    def __call__(
        self, code: str, severity: Severity, message: str, next_step: str, figure: Figure | None = None
    ) -> Finding:
        return Finding(code, severity, self._subject, message, next_step, figure, lens_id=self._lens.id)


def depth_used(share: float, stop: str, plus_minus: float | None = None) -> Figure:
    """A share of the depth as a figure in per cent, with its stop."""
    return Figure(100.0 * share, DEPTH_USED_UNIT, None if plus_minus is None else 100.0 * plus_minus, stop)


def percent(share: float) -> str:
    """A share for a sentence: "47 %"; beyond ten times the depth only that."""
    return f"{100.0 * share:.0f} %" if share < 10.0 else "over 1000 %"


def _data(make: _Maker, lens: Lens, job: Job, basis: Basis, ring: FocusRing) -> Iterator[Finding]:
    if ring.axis.readings == 0:
        yield make(
            "lens.no_readings",
            "fix",
            "No focus readings yet: no distance can be called on this lens.",
            "Read at least six marks both ways, close focus and infinity among them.",
        )
    if basis.optics is None:
        yield make(
            "lens.no_focal_length",
            "fix",
            "No focal length: depth of field and depth used cannot be worked out.",
            "Write the focal length into lenses.csv, column focal_mm.",
        )
    if basis.widest is None and basis.shooting is None:
        yield make(
            "lens.no_stop",
            "watch",
            "Neither the lens's widest T-stop nor a shooting stop is known, so no depth used can be given.",
            "Write t_stop into lenses.csv, or shooting_stop into job.toml.",
        )
    if basis.optics is not None and basis.optics.blur_m == 0.0:
        yield make(
            "lens.blur_floor",
            "fix",
            f"The blur left at best focus, {basis.blur_floor_m * 1e3:.3f} mm, already reaches the "
            f"{basis.coc_m * 1e3:.3f} mm that pass as sharp: there is no depth of field.",
            "Stop down, or choose another lens or criterion.",
            Figure(basis.blur_floor_m * 1e3, "mm"),
        )
    if lens.serial is None and any(other.serial for other in job.lenses):
        yield make(
            "lens.serial_not_read",
            "info",
            "Serial not read: this map belongs to a copy nobody can tell from its twin.",
            "Read the serial off the barrel or put a label of your own on it.",
        )


def _marks(make: _Maker, lens: Lens, basis: Basis, marks: tuple[MarkRow, ...]) -> Iterator[Finding]:
    stop = basis.widest or basis.shooting
    for row in marks:
        if not row.suspect:
            continue
        # What the other marks say includes how sure they are: the sd of the shift counts this mark's noise too.
        off = row.used_widest if basis.widest else row.used_shooting
        share = f", {percent(off)} of the depth at {stop.text}" if off is not None and stop else ""
        yield make(
            "map.suspect_mark",
            "fix",
            f"The mark {row.text} reads {_position(row.position, lens)}, the other marks say "
            f"{_position(row.map_position, lens)} +- {_width(1.96 * row.held_out_sd, lens)}{share}. "
            "It is left out of the map.",
            f"Read {row.text} again, both ways, and check that the distance was written down as it is engraved.",
            depth_used(off, stop.text) if off is not None and stop else None,
        )


def _position(value: float, lens: Lens) -> str:
    return format_position(value, lens.unit, step=lens.reading_step)


def _width(value: float, lens: Lens) -> str:
    """A width of position to two significant figures."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1) if value > 0 and math.isfinite(value) else 0.01
    return format_position(value, lens.unit, step=step)


def _shape(make: _Maker, lens: Lens, ring: FocusRing) -> Iterator[Finding]:
    if ring.axis.readings and ring.axis.lens_map is None:
        yield make(
            "map.refused",
            "fix",
            f"No focus map: {ring.axis.refusal}.",
            "Read more marks: close focus, infinity, and three or more between, both ways.",
        )
    lens_map = ring.axis.lens_map
    if lens_map is None:
        return
    if not lens_map.monotone:
        yield make(
            "map.not_monotone",
            "fix",
            "The readings turn back on themselves: one ring position would mean two distances. "
            "Some of them cannot be right.",
            "Check the list against the scale from near to far: a skipped mark, a mistyped distance, a full turn.",
        )
    direction = "near" if lens_map.toward_near > 0 else "far"
    if lens.rises_toward and lens.rises_toward != direction:
        yield make(
            "map.direction",
            "watch",
            f"lenses.csv says positions rise toward {lens.rises_toward}, the readings rise toward {direction}.",
            "Trust the readings, correct lenses.csv, and check the direction set in the hand unit.",
        )


def _ends(make: _Maker, lens: Lens, basis: Basis, ring: FocusRing) -> Iterator[Finding]:
    lens_map = ring.axis.lens_map
    if lens_map is None or ring.near_m is None:
        return
    values = lens_map.marks.values
    if not np.isinf(values).any():
        far = format_distance(float(values.max()), basis.system)
        half = float(lens_map.position_band(np.inf)[1][0])
        yield make(
            "map.no_infinity",
            "watch",
            f"Infinity was not read: beyond {far} the map is carried on, at infinity +- {_width(half, lens)}.",
            "Read the infinity mark, or focus on something beyond 50 m at the long end.",
            Figure(half, _UNIT_NAME[lens.unit]),
        )
    nearest = float(values.min())
    missing = float(lens_map.scale.place(ring.near_m) - lens_map.scale.place(nearest))
    if missing > REACH:
        half = float(lens_map.position_band(ring.near_m)[1][0])
        near, read = format_distance(ring.near_m, basis.system), format_distance(nearest, basis.system)
        yield make(
            "map.no_close_focus",
            "watch",
            f"Nothing was read nearer than {read}, the lens goes to {near}: there the map is carried on, "
            f"+- {_width(half, lens)}.",
            f"Read the mark at close focus, {near}.",
            Figure(half, _UNIT_NAME[lens.unit]),
        )
    if lens.close_focus_m and nearest < lens.close_focus_m * 0.98:
        read, near = format_distance(nearest, basis.system), format_distance(lens.close_focus_m, basis.system)
        yield make(
            "map.nearer_than_close_focus",
            "watch",
            f"A mark at {read} is nearer than the close focus written down, {near}.",
            "Check both: distances run from the image plane, not from the front of the lens.",
        )


def _ways(make: _Maker, ring: FocusRing) -> Iterator[Finding]:
    lens_map = ring.axis.lens_map
    if lens_map is None or not lens_map.marks.one_way:
        return
    way = {-1: "from near to far", 1: "from far to near", 0: "one way, which nobody wrote down"}[lens_map.marks.way]
    yield make(
        "map.one_way",
        "watch",
        f"Read {way} only: the map holds when the ring arrives that way, and the play is not known.",
        "Read every mark the other way too, or always arrive the same way on set.",
    )


def _stops(make: _Maker, job: Job, basis: Basis) -> Iterator[Finding]:
    wanted = job_shooting_t(job)
    if wanted is not None and basis.widest is not None and basis.widest.t_number > wanted * 1.01:
        yield make(
            "stop.wider_than_lens",
            "watch",
            f"The job shoots at {format_stop(wanted)}, this lens opens to {basis.widest.text}.",
            f"Plan light for {basis.widest.text} on this lens; figures for it are given there.",
        )


def _budget(make: _Maker, ring: FocusRing, budgets: tuple[BudgetView, ...]) -> Iterator[Finding]:
    """One finding per lens on its budget: at the shooting stop if there is one, else at the widest."""
    if ring.axis.lens_map is None or not ring.axis.lens_map.monotone or not budgets:
        return
    view = budgets[-1]
    own, stop = view.budget.worst_own, view.stop.text
    terms = [(term, share) for term, share in view.budget.at_worst() if term.source == "lens"]
    largest = ", ".join(f"{term.name} {percent(share)}" for term, share in terms[:WORST_TERMS])
    message = (
        f"The lens itself uses {percent(own)} of the depth at {stop}, worst at {view.worst_text} ({largest}); "
        f"with a taped distance {percent(view.budget.worst_total)}."
    )
    severity: Severity = "fix" if own >= SOFT else "watch" if own >= TIGHT else "info"
    remedy = _REMEDY[terms[0][0].name] if own >= TIGHT else "Nothing; keep it true."
    code = {"fix": "budget.soft", "watch": "budget.tight", "info": "budget.good"}[severity]
    yield make(code, severity, message, remedy, depth_used(own, stop))


_REMEDY = {
    "map": "Read more marks round that distance, both ways; read each twice.",
    "reading": "Read positions in a finer step, or shoot at a smaller stop.",
    "backlash": "Always arrive from the same side, or have the gears seen to by a technician.",
}


def _other_rings(make: _Maker, others: tuple[AxisPrep, ...]) -> Iterator[Finding]:
    for axis in others:
        if axis.lens_map is None:
            yield make(
                f"{axis.axis}.refused",
                "watch",
                f"No {axis.axis} map: {axis.refusal}.",
                f"Read at least four marks of the {axis.axis} ring.",
            )
        elif not axis.lens_map.monotone:
            yield make(
                f"{axis.axis}.not_monotone",
                "fix",
                f"The {axis.axis} readings turn back on themselves.",
                f"Check the {axis.axis} readings one by one against the scale.",
            )
