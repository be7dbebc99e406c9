"""The findings on one lens: each one sentence with its figure, its stop, and what to do next."""

import math
from collections.abc import Iterator

import numpy as np

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Job, Lens, PositionUnit
from tapehook.lens import LensMap
from tapehook.notation import format_distance, format_stop
from tapehook.prep.backlash import backlash_findings
from tapehook.prep.basis import Basis, job_shooting_t
from tapehook.prep.ends import ends_findings
from tapehook.prep.focus import FocusRing
from tapehook.prep.forgiveness import room_words
from tapehook.prep.pupil_findings import pupil_findings
from tapehook.prep.results import AxisPrep, BudgetView
from tapehook.prep.suspect_findings import suspect_findings
from tapehook.prep.wording import Maker, depth_used, percent, width_text

SOFT = 1.0
"""From this share of the depth on a figure must be acted on: the budget eats all the room there is."""
TIGHT = 0.6
"""From this share on a figure is worth knowing before the shot: common practice, no source."""
REACH = 0.06
"""How far, as a part of the whole scale, the nearest mark may stay from the end of the map."""
WORST_TERMS = 3

LONGEST_TURN: dict[PositionUnit, float] = {"deg": 720.0, "percent": 110.0}
"""A scale that runs over more was not read in this unit: common practice, no source."""
_UNIT_NAME: dict[PositionUnit, str] = {"deg": "deg", "count": "count", "percent": "%", "mm": "mm"}


def lens_findings(
    lens: Lens,
    title: str,
    job: Job,
    basis: Basis,
    ring: FocusRing,
    budgets: tuple[BudgetView, ...],
    others: tuple[AxisPrep, ...],
    *,
    serials_read: bool,
) -> Iterator[Finding]:
    """All findings on one lens, in the order they were looked for; ``serials_read``: some lens of the job has one."""
    make = Maker(lens, title)
    yield from _data(make, lens, basis, ring, serials_read=serials_read)
    yield from suspect_findings(make, lens, basis, ring)
    yield from _shape(make, lens, ring)
    yield from _ends(make, lens, basis, ring)
    yield from ends_findings(make, lens, basis, ring)
    yield from _ways(make, ring)
    yield from backlash_findings(make, lens, ring, budgets)
    yield from pupil_findings(make, lens, job, basis)
    yield from _stops(make, job, basis)
    yield from _budget(make, basis, ring, budgets)
    yield from _other_rings(make, others)


def _data(make: Maker, lens: Lens, basis: Basis, ring: FocusRing, *, serials_read: bool) -> Iterator[Finding]:
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
    if lens.serial is None and serials_read:
        yield make(
            "lens.serial_not_read",
            "info",
            "Serial not read: this map belongs to a copy nobody can tell from its twin.",
            "Read the serial off the barrel or put a label of your own on it.",
        )


def _shape(make: Maker, lens: Lens, ring: FocusRing) -> Iterator[Finding]:
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
    yield from _long_turn(make, lens, lens_map)


def _long_turn(make: Maker, lens: Lens, lens_map: LensMap) -> Iterator[Finding]:
    """A scale longer than any ring turns: points were lost, or it was read in another unit than is said."""
    span, longest = float(np.ptp(lens_map.marks.positions)), LONGEST_TURN.get(lens.unit, math.inf)
    if span > longest:
        yield make(
            "map.long_turn",
            "watch",
            f"The marks run over {width_text(span, lens)}, more than {longest:g} "
            f"{'degrees, which no focus ring turns' if lens.unit == 'deg' else 'per cent of the travel'}: "
            "decimal points were lost, or they were read in another unit.",
            "Hold the list against the read-out, and check the column unit in lenses.csv.",
            Figure(span, _UNIT_NAME[lens.unit]),
        )


def _ends(make: Maker, lens: Lens, basis: Basis, ring: FocusRing) -> Iterator[Finding]:
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
            f"Infinity was not read: beyond {far} the map is carried on, at infinity +- {width_text(half, lens)}.",
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
            f"+- {width_text(half, lens)}.",
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


def _ways(make: Maker, ring: FocusRing) -> Iterator[Finding]:
    lens_map = ring.axis.lens_map
    if lens_map is None or not lens_map.marks.one_way:
        return
    way = {-1: "from near to far", 1: "from far to near", 0: "one way"}[lens_map.marks.way]
    unsaid = "" if lens_map.marks.way else "; which way nobody wrote down"
    yield make(
        "map.one_way",
        "watch",
        f"Read {way} only{unsaid}: the map holds when the ring arrives that way, and the play is not known.",
        "Read every mark the other way too, or always arrive the same way on set.",
    )


def _stops(make: Maker, job: Job, basis: Basis) -> Iterator[Finding]:
    wanted = job_shooting_t(job)
    if wanted is not None and basis.widest is not None and basis.widest.t_number > wanted * 1.01:
        yield make(
            "stop.wider_than_lens",
            "watch",
            f"The job shoots at {format_stop(wanted)}, this lens opens only to {basis.widest.text}.",
            f"Plan light for {basis.widest.text} on this lens; figures for it are given there.",
        )


def _budget(make: Maker, basis: Basis, ring: FocusRing, budgets: tuple[BudgetView, ...]) -> Iterator[Finding]:
    """One finding per lens on its budget: at the shooting stop if there is one, else at the widest."""
    if ring.axis.lens_map is None or not ring.axis.lens_map.monotone or not budgets:
        return
    view = budgets[-1]
    own, stop = view.budget.worst_own, view.stop.text
    terms = [(term, share) for term, share in view.budget.at_worst() if term.source == "lens"]
    largest = ", ".join(f"{term.name} {percent(share)}" for term, share in terms[:WORST_TERMS])
    message = (
        f"The lens itself uses {percent(own)} of the depth at {stop}, worst at {view.worst_text} "
        f"({room_words(view, basis.system)}; {largest}); "
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
    "flange": "Settle the flange first: see what its chart tests say.",
    "scale": "Settle the scale first: see what its chart tests say.",
    "glass behind the lens": "Make the marks with the glass in place that the job is shot with.",
    "stopping down": "Find focus by the picture at the shooting stop, or make the marks there.",
    "doubt of moves": "Find best focus on the charts again, three times each: they leave much unsure.",
    "two directions": "Set focus between the two, or stop down; see what is said of the two directions.",
    "zooming": "Print a strip for each focal length, or find focus by the picture after each zoom.",
}


def _other_rings(make: Maker, others: tuple[AxisPrep, ...]) -> Iterator[Finding]:
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
