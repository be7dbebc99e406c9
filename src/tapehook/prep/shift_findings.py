"""What is said of glass behind a lens and of best focus that moves on stopping down."""

from collections.abc import Iterator, Sequence

from tapehook.finding import Finding, Severity
from tapehook.job.records import Job, Lens, Reading
from tapehook.lens import LensMap
from tapehook.lens.map import Z95
from tapehook.lens.stop_shift import SAME_STOP, StopShift
from tapehook.notation import format_distance
from tapehook.prep.basis import Basis, Optics, stop_view
from tapehook.prep.flange_findings import side
from tapehook.prep.focus import FocusRing, vergence_slope
from tapehook.prep.results import FlangePrep, FlangeUnusable, SensorShift, StopView
from tapehook.prep.shifts import (
    GLASS,
    NOTICEABLE_M,
    STOPPING_DOWN,
    UM,
    Behind,
    behind,
    glass_shift_of,
    made_with,
    shot_with,
    state_of,
)
from tapehook.prep.wording import Maker, depth_used, percent, width_text

WATCH_FROM = 0.25
"""What uses less of the depth than a quarter need not be acted on. Common practice, no source."""
FIX_FROM = 1.0
NEARER = 0.7
"""A lens that focuses nearer than this part of the nearest chart may move by more there: ray-traced designs do."""


def shift_findings(
    make: Maker,
    lens: Lens,
    job: Job,
    basis: Basis,
    ring: FocusRing,
    readings: Sequence[Reading],
    flange: FlangePrep | FlangeUnusable | None,
    shifts: Sequence[SensorShift],
) -> Iterator[Finding]:
    """All that is said of both on one lens; nothing where no glass is named and no chart was found at two stops.

    ``shifts`` are those of the lens, as its budgets take them.
    """
    yield from _unknown(make, lens, job, readings)
    yield from _mixed(make, job, readings)
    if basis.optics is not None and readings:
        yield from _glass(make, lens, job, basis, basis.optics, readings, shifts)
    if basis.optics is not None and isinstance(flange, FlangePrep) and flange.stop_shift is not None:
        yield from _stopping_down(make, basis, basis.optics, ring.axis.lens_map, flange, flange.stop_shift, shifts)


def _unknown(make: Maker, lens: Lens, job: Job, readings: Sequence[Reading]) -> Iterator[Finding]:
    states = [made_with(readings), *shot_with(lens, job)]
    states += [test.rear_filter or "" for test in job.charts if test.lens_id == lens.id]
    lacking = sorted({name for state in states for name in behind(state, job.filters).without_thickness})
    if lacking:
        yield make(
            "glass.no_thickness",
            "watch",
            f"How thick {' and '.join(lacking)} is nobody wrote down: what it does to focus behind the lens cannot be "
            "told, and charts made with it are left out.",
            "Measure it with a calliper at the rim and write thickness_mm under the filter in job.toml.",
        )


def _mixed(make: Maker, job: Job, readings: Sequence[Reading]) -> Iterator[Finding]:
    """Taped marks of one map made with different glass behind the lens; an engraved mark moves with its ring."""
    states = {state_of(one.rear_filter) for one in readings if one.method == "taped"}
    shifts = [shift for state in states if (shift := glass_shift_of(state, readings, job.filters)) is not None]
    if shifts and max(shifts) - min(shifts) >= NOTICEABLE_M:
        yield make(
            "glass.mixed",
            "watch",
            "Its taped marks were made with different glass behind the lens, by "
            f"{UM * (max(shifts) - min(shifts)):.0f} µm of image shift: the map mixes them and holds for none exactly.",
            "Tape all marks again with the glass in place that the job is shot with.",
        )


def _stop(basis: Basis) -> StopView | None:
    return basis.shooting or basis.widest


def _used(shift_m: float, optics: Optics, stop: StopView) -> float:
    """A sensor off by so much as a share of the depth: |delta| / (N c), the same at every distance."""
    return abs(shift_m) / (stop.f_number * optics.blur_m) if optics.blur_m > 0 else float("inf")


def _severity(share: float, left: float | None = None) -> Severity:
    """How bad a shift is; where the marks on paper are moved for it, only what is ``left`` of it can need mending."""
    soft = share if left is None else left
    return "fix" if soft >= FIX_FROM else "watch" if share >= WATCH_FROM else "info"


def _of(shifts: Sequence[SensorShift], name: str, roles: tuple[str | None, ...]) -> SensorShift | None:
    return next((one for one in shifts if one.name == name and one.role in roles), None)


BY_PAPER = "Strip, tables and pulls are moved for it: focus by these, not by the engraved ring"


def _glass(
    make: Maker,
    lens: Lens,
    job: Job,
    basis: Basis,
    optics: Optics,
    readings: Sequence[Reading],
    shifts: Sequence[SensorShift],
) -> Iterator[Finding]:
    """Marks made in one state and shot in another, with the share that takes."""
    stop, there = _stop(basis), behind(made_with(readings), job.filters)
    known = {state: glass_shift_of(state_of(state), readings, job.filters) for state in shot_with(lens, job)}
    told = {state: shift for state, shift in known.items() if shift is not None and abs(shift) >= NOTICEABLE_M}
    if stop is None or not told:
        return
    state = max(told, key=lambda one: abs(told[one]))
    shift_m, here = told[state], behind(state, job.filters)
    share = _used(shift_m, optics, stop)
    said = "" if any(one.rear_filter for one in readings) else " (no mark names any)"
    paper = _of(shifts, GLASS, (None,))
    left = _used(Z95 * paper.sd_m, optics, stop) if paper is not None and paper.kept is None else None
    sure = "" if left is None else f" +- {percent(left)}"
    message = (
        f"Its marks were made with {there.text} behind the lens{said} and are shot with {here.text}: "
        f"{_moved(shift_m)}, {percent(share)}{sure} of the depth at {stop.text} at every distance"
        f"{_assumed(here, there)}."
    )
    step = "Make the marks again with that glass in place; a back focus set for it is a lens technician's work."
    if left is not None:
        step = f"{BY_PAPER}; check infinity on a chart with the glass in."
    elif paper is not None:
        step = f"Strip and ring positions are not moved for it: {paper.kept}. {step}"
    yield make("glass.marks", _severity(share, left), message, step, depth_used(share, stop.text, left))


def _moved(shift_m: float) -> str:
    way = "nearer the lens" if shift_m > 0 else "farther back"
    return f"the image lies {abs(shift_m) * UM:.0f} µm {way}, as if the sensor were {side(shift_m)}"


def _assumed(*states: Behind) -> str:
    return " (an index is assumed)" if any(state.assumed for state in states) else ""


def _stopping_down(
    make: Maker,
    basis: Basis,
    optics: Optics,
    lens_map: LensMap | None,
    flange: FlangePrep,
    shift: StopShift,
    shifts: Sequence[SensorShift],
) -> Iterator[Finding]:
    """How far best focus moves from the widest stop tested to the shooting stop, or to the smallest tested."""
    widest, smallest = (_view(n, basis) for n in (shift.f_number[0], shift.f_number[-1]))
    shooting = basis.shooting
    stop = shooting if shooting is not None and shooting.f_number > widest.f_number * (1.0 + SAME_STOP) else smallest
    shift_m, sd_m = shift.at(stop.f_number)
    share, spread = _used(shift_m, optics, stop), _used(Z95 * sd_m, optics, stop)
    tested = shift.tested(stop.f_number)
    said = f"{UM * abs(shift_m):.0f} +- {UM * Z95 * sd_m:.0f} µm"
    rests = f"{shift.tests} chart tests at {_distances(flange, basis)}"
    if abs(shift_m) < Z95 * sd_m:
        message = (
            f"No move of best focus from {widest.text} to {stop.text} can be told from {rests} "
            f"({said}): {percent(share)} +- {percent(spread)} of the depth at {stop.text}."
        )
        step = "Nothing to do." if spread < WATCH_FROM else "Find best focus at both stops again, three times each."
        yield make("stopping_down.none", "info", message, step, depth_used(share, stop.text, spread))
        return
    on_ring = _on_ring(shift_m, optics, lens_map, make)
    carried = "" if tested else ", carried over from the stops tested beside it"
    message = (
        f"Marks made wide open do not hold at {stop.text}: against {widest.text} it is as if the sensor lay "
        f"{said} {side(shift_m)}{on_ring}, {percent(share)} +- {percent(spread)} of the depth at {stop.text}"
        f"{carried} ({rests}){_left_open(basis, lens_map, flange, widest)}."
    )
    step = "Find focus by the picture at the stop of the shot, or make the marks there; nobody should shim for it."
    paper = _of(shifts, STOPPING_DOWN, ("shooting",)) if stop is shooting else None
    if paper is not None and paper.kept is None:
        opened = percent(_used(shift_m, optics, widest))
        step = (
            f"{BY_PAPER}; at {widest.text} they are {opened} of the depth out: opened up, by a strip for that stop. Do "
            "not shim for it."
        )
    elif paper is not None:
        step = f"Strip and ring positions are not moved for it: {paper.kept}. {step}"
    if not tested:
        step = f"Find best focus on one chart at {widest.text} and at {stop.text}. {step}"
    left = spread if paper is not None and paper.kept is None else None
    yield make("stopping_down.moves", _severity(share, left), message, step, depth_used(share, stop.text, spread))


def _distances(flange: FlangePrep, basis: Basis) -> str:
    """The distances of the charts, "1 m to 8 m"."""
    ends = (pick(test.chart_distance_m for test in flange.tests) for pick in (min, max))
    near, far = (format_distance(end, basis.system) for end in ends)
    return near if near == far else f"{near} to {far}"


def _left_open(basis: Basis, lens_map: LensMap | None, flange: FlangePrep, widest: StopView) -> str:
    """What the charts leave open: stops wider than any of them, and distances much nearer than all."""
    found = ""
    if basis.widest is not None and widest.f_number > basis.widest.f_number * (1.0 + SAME_STOP):
        found += f"; what it moves from {basis.widest.text} to {widest.text} nobody tested"
    near_m = min(test.chart_distance_m for test in flange.tests)
    if lens_map is not None and lens_map.near_value < NEARER * near_m:
        found += f"; nearer than {format_distance(near_m, basis.system)} it may be more"
    return found


def _on_ring(shift_m: float, optics: Optics, lens_map: LensMap | None, make: Maker) -> str:
    """How far the ring has to go at infinity for it, and which way; nothing without a map."""
    if lens_map is None or not lens_map.monotone:
        return ""
    turn = abs(shift_m) / optics.focal_m**2 * float(vergence_slope(lens_map, optics, float("inf"))[0])
    way = "farther" if shift_m > 0 else "nearer"
    return f" (at infinity {width_text(turn, make.lens)} of ring {way})"


def _view(f_number: float, basis: Basis) -> StopView:
    return stop_view(f_number / basis.transmission**0.5, basis.transmission)
