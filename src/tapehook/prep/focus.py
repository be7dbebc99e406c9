"""The focus ring of one lens: its map, its marks as shares of the depth, its budget."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.records import Axis, Lens, Reading
from tapehook.lens import (
    FocalScale,
    FocusScale,
    LensMap,
    MapRefusal,
    Marks,
    Scale,
    StopScale,
    fit_map,
    gather_marks,
)
from tapehook.lens.map import Z95
from tapehook.lens.taping import taping_sd_m
from tapehook.notation import System, format_distance
from tapehook.optics import depth_of_field, focus_state, half_width_dpt
from tapehook.prep.basis import Basis, Optics
from tapehook.prep.flange import front_vergence, off_by_charts
from tapehook.prep.results import (
    AxisPrep,
    BudgetView,
    FlangePrep,
    FlangeUnusable,
    MarkRow,
    SensorShift,
    StopView,
)
from tapehook.prep.shifts import DOUBT
from tapehook.prep.suspects import WAYS, SuspectRow, listed, split_suspects
from tapehook.prep.usual import UsualPlay
from tapehook.shot import BudgetTerm, budget_over

Floats = npt.NDArray[np.float64]

USUAL_TURN_DEG = 270.0
"""Ring rotation taken for the whole scale when the units per turn are not known. Common practice, no source."""
USUAL_STEP_DEG = 0.1
"""Read-out step taken when none is given."""
FARTHEST_PLACE = 2.0
"""A map runs from place 0.05 at infinity to 1.05 at the nearest mark; what lies about twice as far is not on it."""
BUDGET_POINTS = 61


@dataclass(frozen=True, slots=True)
class FocusRing:
    """The focus ring mapped: the map without suspect readings, and what was left out of it."""

    axis: AxisPrep
    everything: Marks | None
    suspects: tuple[SuspectRow, ...]
    left_out: frozenset[float]
    """Values of the marks of which no reading went into the map."""
    near_m: float | None
    assumptions: tuple[str, ...]


def degrees_per_unit(lens: Lens, readings: Sequence[Reading], assumptions: list[str]) -> float:
    """Degrees of ring for one unit of the read-out, with a sentence when it had to be assumed."""
    if lens.units_per_turn:
        return 360.0 / lens.units_per_turn
    if lens.unit == "deg":
        return 1.0
    positions = [reading.position for reading in readings]
    span = max(positions) - min(positions)
    assumptions.append(
        f"Units per turn of the read-out not given: the scale is taken to turn {USUAL_TURN_DEG:.0f}° in all, "
        "which only guides how much reading noise is expected."
    )
    return USUAL_TURN_DEG / span if span > 0 else 1.0


def map_ring(axis: Axis, lens: Lens, readings: Sequence[Reading]) -> AxisPrep:
    """Map an iris or zoom ring; the values are T-numbers or millimetres of focal length."""
    if not readings:
        return AxisPrep(axis, None, "no readings", 0)
    marks = gather(readings)
    scale: Scale = (StopScale if axis == "iris" else FocalScale).of(marks.values) if _spread(marks) else StopScale(1, 2)
    try:
        ring = fit_map(
            marks,
            scale,
            degrees_per_unit=degrees_per_unit(lens, readings, []),
            far_value=float(marks.values.min()),
            near_value=float(marks.values.max()),
        )
    except MapRefusal as refusal:
        return AxisPrep(axis, None, str(refusal), len(readings))
    return AxisPrep(axis, ring, None, len(readings))


def _spread(marks: Marks) -> bool:
    return bool(np.ptp(marks.values) > 0)


def gather(readings: Sequence[Reading]) -> Marks:
    """Marks from the readings of one ring."""
    return gather_marks(
        [reading.value for reading in readings],
        [reading.position for reading in readings],
        [WAYS[reading.approach] for reading in readings],
        [reading.method == "taped" for reading in readings],
    )


@dataclass(frozen=True, slots=True)
class FocusReadings:
    """The focus readings of a lens, what a unit of its read-out is, and what of them cannot be right."""

    readings: Sequence[Reading]
    degrees_per_unit: float = 1.0
    suspects: tuple[SuspectRow, ...] = ()
    usable: tuple[Reading, ...] = ()
    assumptions: tuple[str, ...] = ()


def focus_readings(lenses: Sequence[tuple[Lens, Sequence[Reading], System]]) -> list[FocusReadings]:
    """The focus readings of many lenses, each with the system its distances are told in, without those that are wrong.

    Together, because what one slip weighs is worked out for all lenses in one pass.
    """
    units, lists = [], []
    for lens, readings, system in lenses:
        assumptions: list[str] = []
        turn = degrees_per_unit(lens, readings, assumptions) if readings else 1.0
        units.append((turn, tuple(assumptions)))
        if readings:
            step = lens.reading_step or USUAL_STEP_DEG / turn
            lists.append(listed(lens, readings, system, degrees_per_unit=turn, step=step))
    split = iter(split_suspects(lists))
    return [
        FocusReadings(readings, turn, *next(split), assumptions) if readings else FocusReadings(readings)
        for (_, readings, _), (turn, assumptions) in zip(lenses, units, strict=True)
    ]


def map_focus(lens: Lens, focus: FocusReadings, basis: Basis, usual: UsualPlay) -> FocusRing:
    """Map the focus ring without the readings that cannot be right."""
    if not focus.readings:
        return FocusRing(AxisPrep("focus", None, "no readings", 0), None, (), frozenset(), lens.close_focus_m, ())
    near_m, lens_map, refusal = lens.close_focus_m, None, None
    try:
        lens_map, near_m = _fit(focus.usable, lens, basis, focus.degrees_per_unit, usual)
    except MapRefusal as reason:
        refusal = str(reason)
    axis = AxisPrep("focus", lens_map, refusal, len(focus.readings))
    left_out = {reading.value for reading in focus.readings} - {reading.value for reading in focus.usable}
    return FocusRing(axis, gather(focus.readings), focus.suspects, frozenset(left_out), near_m, focus.assumptions)


def _fit(readings: Sequence[Reading], lens: Lens, basis: Basis, turn: float, usual: UsualPlay) -> tuple[LensMap, float]:
    """Fit the map from infinity to close focus, or to the nearest mark where close focus is not usable."""
    if not readings:
        raise MapRefusal("too_few_marks", "no reading is left that could be right")
    marks = gather(readings)
    scale = FocusScale.of(marks.values, basis.optics.focal_m if basis.optics else None)
    nearest = float(marks.values.min())
    near_m = nearest
    if lens.close_focus_m and lens.close_focus_m > scale.datum_m * 1.05:
        near_m = min(nearest, lens.close_focus_m)
    lens_map = fit_map(
        marks,
        scale,
        degrees_per_unit=turn,
        far_value=np.inf,
        near_value=near_m,
        taping_sd_m=taping_sd_m(marks.values),
        half_play_rms_deg=usual.rms_deg / 2.0,
    )
    return lens_map, near_m


def vergence_slope(lens_map: LensMap, optics: Optics, distance_m: npt.ArrayLike) -> Floats:
    """Change of position per dioptre at the entrance pupil, (G,), always positive; NaN where no focus exists.

    By differences over a small step of place, taken towards near so that infinity has a neighbour.
    """
    d = np.atleast_1d(np.asarray(distance_m, dtype=np.float64))
    stepped = lens_map.scale.value(lens_map.scale.place(d) + 1e-4)
    q_here, q_there = pupil_vergence(optics, d), pupil_vergence(optics, stepped)
    moved = lens_map.curve(stepped) - lens_map.curve(d)
    slope: Floats = np.abs(moved / (q_there - q_here))
    return slope


def pupil_vergence(optics: Optics, distance_m: npt.ArrayLike) -> Floats:
    """Vergence 1/u at the entrance pupil, dioptres, of distances (G,) in focus."""
    q: Floats = 1.0 / focus_state(distance_m, optics.focal_m, optics.pupil).pupil_distance_m
    return q


def width_dpt(optics: Optics, stop: StopView, distance_m: npt.ArrayLike) -> Floats:
    """Half-width of the depth of field in dioptres at distances (G,)."""
    factor = focus_state(np.atleast_1d(np.asarray(distance_m)), optics.focal_m, optics.pupil).pupil_factor
    return half_width_dpt(stop.f_number, optics.focal_m, optics.blur_m, factor)


def shares(
    lens_map: LensMap, optics: Optics, stops: Sequence[StopView], distance_m: npt.ArrayLike, shift: npt.ArrayLike
) -> Floats:
    """Shifts of position (G,) as fractions of the room on one side of the focus at each of S stops, (S, G)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        dq = np.abs(np.asarray(shift)) / vergence_slope(lens_map, optics, distance_m)
        return np.stack([dq / width_dpt(optics, stop, distance_m) for stop in stops])


def mark_rows(ring: FocusRing, readings: Sequence[Reading], basis: Basis) -> tuple[MarkRow, ...]:
    """Every mark against the map, nearest first. A suspect mark is held against the map made without it."""
    lens_map, everything = ring.axis.lens_map, ring.everything
    if lens_map is None or everything is None:
        return ()
    positions, variance, both = _as_used(everything, lens_map.marks)
    values = everything.values
    within = within_reach(lens_map, values)
    mapped, band_sd = lens_map.position(within)
    error = positions - mapped
    held = dict(zip(lens_map.marks.values.tolist(), zip(*lens_map.held_out(), strict=True), strict=True))
    noise = lens_map.noise * np.sqrt(variance)
    used = _used_or_none(lens_map, basis, within, error)
    written = _written(readings)
    rows = []
    for i in np.argsort(values):
        value = float(values[i])
        out, out_sd = held.get(value, (float(error[i]), float(np.hypot(band_sd[i], noise[i]))))
        rows.append(
            MarkRow(
                written.get(value) or format_distance(value, basis.system),
                value,
                float(positions[i]),
                float(mapped[i]),
                float(error[i]),
                used[0][i],
                used[1][i],
                float(out),
                float(out_sd),
                bool(everything.taped[i]),
                bool(both[i]),
                value in ring.left_out,
            )
        )
    return tuple(rows)


def _as_used(everything: Marks, kept: Marks) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Position, relative variance and "read both ways" of each mark, (n,): as the map took it, where it did."""
    at = {value: i for i, value in enumerate(kept.values.tolist())}
    positions, variance = everything.positions.copy(), everything.relative_variance.copy()
    both = np.isfinite(everything.pair_differences)
    for i, value in enumerate(everything.values.tolist()):
        if value in at:
            k = at[value]
            positions[i], variance[i] = kept.positions[k], kept.relative_variance[k]
            both[i] = np.isfinite(kept.pair_differences[k])
    return positions, variance, both


def within_reach(lens_map: LensMap, values: Floats) -> Floats:
    """The values a map can be asked about: its near end stands for marks far nearer than that, which no lens has.

    Only a suspect mark can lie there, such as one whose distance lost a digit; the map has no place for it.
    """
    within: Floats = np.where(lens_map.scale.place(values) <= FARTHEST_PLACE, values, lens_map.near_value)
    return within


def _used_or_none(lens_map: LensMap, basis: Basis, values: Floats, error: Floats) -> list[Sequence[float | None]]:
    """Shares of the marks at the widest and at the shooting stop; None for each where a stop is not known.

    None at both for a map that turns back: it bends until every mark is near it, which says nothing good of any.
    """
    stops = [stop for stop in (basis.widest, basis.shooting) if stop is not None]
    optics = basis.optics if lens_map.monotone else None
    known = iter(shares(lens_map, optics, stops, values, error).tolist() if optics and stops else [])
    nothing = [None] * values.size
    return [nothing if stop is None else next(known, nothing) for stop in (basis.widest, basis.shooting)]


def _written(readings: Sequence[Reading]) -> dict[float, str]:
    """How each value was written down, first spelling."""
    texts: dict[float, str] = {}
    for reading in readings:
        if reading.written and np.isfinite(reading.value):
            texts.setdefault(reading.value, reading.written)
    return texts


def focus_budgets(
    ring: FocusRing,
    lens: Lens,
    basis: Basis,
    usual: UsualPlay,
    flange: FlangePrep | FlangeUnusable | None = None,
    shifts: Sequence[SensorShift] = (),
    zooming: Callable[[Floats], Floats] | None = None,
) -> tuple[tuple[BudgetView, ...], tuple[str, ...]]:
    """Budget at the widest and at the shooting stop over the range that was read, and what was assumed in it."""
    lens_map, optics = ring.axis.lens_map, basis.optics
    if lens_map is None or ring.near_m is None or optics is None:
        return (), ()
    assumptions: list[str] = []
    # Only between the outermost marks: what lies beyond has findings of its own.
    far, near = float(lens_map.marks.values.max()), float(lens_map.marks.values.min())
    ends = lens_map.scale.place([far, near])
    distance = lens_map.scale.value(np.linspace(ends[0], ends[1], BUDGET_POINTS))
    distance[0], distance[-1] = far, near
    terms = _terms(lens_map, lens, optics, distance, usual, assumptions)
    if isinstance(flange, FlangePrep):
        terms += _charted(flange, optics, distance)
    if zooming is not None:
        terms.append(BudgetTerm("zooming", "bias", zooming(distance)))
    roles: list[tuple[Literal["widest", "shooting"], StopView | None]] = [
        ("widest", basis.widest),
        ("shooting", basis.shooting),
    ]
    views = []
    for role, stop in roles:
        if stop is not None:
            moved = moved_terms([one for one in shifts if one.role in (None, role)], optics, distance)
            budget = budget_over(distance, width_dpt(optics, stop, distance), [*terms, *moved])
            at_m = float(budget.distance_m[budget.worst])
            depth = depth_of_field(at_m, optics.focal_m, stop.f_number, optics.blur_m, optics.pupil)
            worst = format_distance(at_m, basis.system)
            views.append(BudgetView(role, stop, budget, worst, float(depth.near_m), float(depth.far_m)))
    return tuple(views), tuple(assumptions)


def _terms(
    lens_map: LensMap, lens: Lens, optics: Optics, distance: Floats, usual: UsualPlay, assumptions: list[str]
) -> list[BudgetTerm]:
    """Map band, read-out step, backlash and tape, each as a shift in dioptres at every distance."""
    slope = vergence_slope(lens_map, optics, distance)
    # The curve alone: where the centre of the play is not known, the backlash term stands for that.
    band = Z95 * lens_map.position(distance)[1]
    step, step_assumed = _step(lens, lens_map, assumptions)
    play, play_assumed = _half_play(lens_map, usual, assumptions)
    q = pupil_vergence(optics, distance)
    assumptions.append("The tape on set is taken to be good to 3 mm and 3 mm a metre (one standard deviation).")
    return [
        BudgetTerm("map", "scatter", band / slope),
        # A step read to the nearest is uniform over its width: sd = step/sqrt(12).
        BudgetTerm("reading", "scatter", Z95 * step / np.sqrt(12.0) / slope, assumed=step_assumed),
        BudgetTerm("backlash", "bias", play / slope, assumed=play_assumed),
        BudgetTerm("tape", "scatter", Z95 * taping_sd_m(distance) * q * q, source="set", assumed=True),
    ]


def _charted(flange: FlangePrep, optics: Optics, distance_m: Floats) -> list[BudgetTerm]:
    """What the charts of the lens are sure it is off by, as a lasting error; nothing where they are sure of nothing."""
    found = off_by_charts(flange, optics.focal_m, front_vergence(distance_m, optics.focal_m, optics.pupil))
    if found is None:
        return []
    name, off = found
    unit = shift_term(name, optics.focal_m**2, optics, distance_m)  # one dioptre at the front focal point
    return [replace(unit, shift_dpt=np.abs(off) * unit.shift_dpt)]


def moved_terms(shifts: Sequence[SensorShift], optics: Optics, distance_m: Floats) -> list[BudgetTerm]:
    """What each shift leaves, and the doubt of all those that the marks are not moved by, where charts leave any."""
    terms = [_moved_term(one, optics, distance_m) for one in shifts]
    doubt_m = Z95 * math.hypot(*(one.sd_m for one in shifts if one.kept is not None))
    if doubt_m > 0:
        terms.append(BudgetTerm(DOUBT, "scatter", shift_term(DOUBT, doubt_m, optics, distance_m).shift_dpt))
    return terms


def _moved_term(shift: SensorShift, optics: Optics, distance_m: Floats) -> BudgetTerm:
    """What a shift leaves: all of it, or its doubt where the marks are moved by it (see ``shooting_map``)."""
    if shift.kept is not None:
        return shift_term(shift.name, shift.shift_m, optics, distance_m)
    left = shift_term(shift.name, Z95 * shift.sd_m, optics, distance_m)
    return BudgetTerm(shift.name, "scatter", left.shift_dpt)


def shift_term(name: str, shift_m: float, optics: Optics, distance_m: Floats) -> BudgetTerm:
    """A sensor off by delta: delta/f^2 at the front focal point, times (x/u)^2 at the entrance pupil."""
    shift = abs(shift_m) / optics.focal_m**2
    front = front_vergence(distance_m, optics.focal_m, optics.pupil)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(front > 0, pupil_vergence(optics, distance_m) / front, 1.0)
    return BudgetTerm(name, "bias", shift * ratio**2)


def _step(lens: Lens, lens_map: LensMap, assumptions: list[str]) -> tuple[float, bool]:
    if lens.reading_step:
        return lens.reading_step, False
    assumptions.append(f"Step of the read-out not given: {USUAL_STEP_DEG}° of ring assumed.")
    return USUAL_STEP_DEG / lens_map.degrees_per_unit, True


def _half_play(lens_map: LensMap, usual: UsualPlay, assumptions: list[str]) -> tuple[float, bool]:
    """Half the backlash: how far either way of arriving is from the centre, or from the other centre."""
    play = lens_map.play()
    if play is not None:
        return abs(play.value) / 2.0, False
    assumptions.append(
        f"Read one way only: the centre of the play is not known, and a usual backlash of {usual.mean_deg:.1f}° of "
        f"ring ({usual.source}) is assumed in the budget and in the +- of the map."
    )
    return usual.mean_deg / 2.0 / lens_map.degrees_per_unit, True
