"""A balanced stop pull of a job: the plan of a shot, the lens's own iris map and the filter on hand, worked out.

What the plan leaves open is assumed, and every assumption is said. T-stops stand for their exact stops, on the iris
too: an engraved T2.8 is the place of T2.828, or the exposure would step at every rounded label.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.records import Filter, Job, Lens, Motor, Reading
from tapehook.job.stop_pulls import TABLE, CoursePoint, StopPullPlan
from tapehook.lens import MapRefusal
from tapehook.lens.filter_table import fit_filter_table
from tapehook.notation import NotationError, format_stop, format_stop_in_thirds, format_thirds, parse_stop
from tapehook.optics.exposure import DENSITY_PER_STOP
from tapehook.optics.polariser import PolariserPair
from tapehook.prep.basis import MM, Optics, basis_of
from tapehook.prep.focus import map_ring
from tapehook.prep.usual import USUAL_PLAY_DEG
from tapehook.shot.stop_course import f_number_for_blur, f_number_for_depth, scaled_course, stop_course
from tapehook.shot.stop_pull import (
    ExtraRing,
    IrisRing,
    PullLimit,
    StopPull,
    VariableFilter,
    balanced_pull,
    largest_part,
    shortest_stretch,
)

Floats = npt.NDArray[np.float64]

SMALLEST_T, LARGEST_T = 0.5, 128.0
SURE_PLAY_DEG = 0.1
"""How sure the measured play of a variable filter is taken to be, 95 %. No source."""
USUAL_LAG_S = 0.040
"""How far one motor is taken to be behind the other where nobody measured it: about a frame. No source."""
SURE_LAG_S = 0.010
"""How sure the measured lags of two motors are taken to be, 95 %: a quarter of a frame. No source."""
USUAL_DENSITY_PLUS_MINUS = 0.02
"""How sure stated constants of a pair are taken to be, 95 %. No source; a measured table says it of itself."""
_SEARCHED = 150
"""Samples of a course when it is searched for what works."""
_A_LITTLE_LESS = 0.999


@dataclass(frozen=True, slots=True)
class StopPullPrep:
    """A stop pull worked out: the ``lens`` and ``filter``, the ``pull``, and where it cannot be, what can.

    ``largest_stop`` is the last stop of the course when all its changes are made as small as needed, ``slowed_s`` the
    length at which the whole course works, None where slowing down does not help or is not needed. ``most_stops`` is
    what the filter gives in all, ``iris_range`` the widest and smallest T-number the iris was read at.
    """

    name: str
    lens: Lens
    filter: Filter
    pull: StopPull
    motors: tuple[Motor, ...]
    largest_stop: float | None
    slowed_s: float | None
    most_stops: float
    iris_range: tuple[float, float]
    conflicts: tuple[str, ...]
    cautions: tuple[str, ...]
    assumptions: tuple[str, ...]

    @property
    def iris_stops(self) -> float:
        """Stops between the ends of what the iris was read at."""
        return 2.0 * float(np.log2(self.iris_range[1] / self.iris_range[0]))

    @property
    def feasible(self) -> bool:
        """True when the pull works as planned."""
        return self.pull.feasible


def prepare_stop_pull(job: Job, plan: StopPullPlan, name: str) -> StopPullPrep:
    """Work out the stop pull of shot ``name``. Raises JobProblems where lens, iris map or filter are not there."""
    file, problems = f"shots/{name}.toml", list[Problem]()
    lens = next((one for one in job.lenses if one.id == plan.lens), None)
    on_hand = next((one for one in job.filters if one.id == plan.filter), None)
    said = list[str]()
    iris = _iris(job, plan, lens, file, problems, said)
    marks = _marks(job, plan, lens, file, problems, said)
    light = _variable(job, on_hand, file, plan.filter, problems)
    if problems or lens is None or on_hand is None or iris is None or light is None:
        raise JobProblems(problems)
    extra = _extra(plan, on_hand, light, said)
    motors = _motors(job, lens)
    lag = _lag(plan, motors, said)
    times = _times(plan)
    stops = stop_course(times, [point.at_s for point in plan.course], marks, plan.easing)
    tolerance = plan.tolerance_stops
    pull = balanced_pull(
        times,
        stops,
        iris,
        extra,
        lag_s=lag.left_s,
        tolerance_stops=tolerance,
        lag_assumed=lag.assumed,
        extra_ahead_s=lag.extra_ahead_s,
    )
    largest, slowed = (None, None) if pull.feasible else _what_works(times, stops, iris, extra)
    least, most = extra.densities
    notes = tuple(_conflicts(motors)), tuple(_cautions(on_hand)), tuple(said)
    span = (most - least) / DENSITY_PER_STOP
    ends = iris.lens_map.far_value, iris.lens_map.near_value
    return StopPullPrep(name, lens, on_hand, pull, motors, largest, slowed, span, ends, *notes)


def _iris(
    job: Job, plan: StopPullPlan, lens: Lens | None, file: str, problems: list[Problem], said: list[str]
) -> IrisRing | None:
    """The iris ring by its own map, at exact stops."""
    if lens is None:
        problems.append(Problem(file, None, f"{TABLE}.lens", plan.lens, "the id of a lens of lenses.csv"))
        return None
    readings = [_exact(one) for one in job.readings if one.lens_id == lens.id and one.axis == "iris"]
    found = map_ring("iris", lens, readings)
    if found.lens_map is None or not found.lens_map.monotone:
        why = found.refusal or "its map turns back on itself"
        expected = f"a lens with a map of its iris ({why})"
        problems.append(Problem(file, None, f"{TABLE}.lens", plan.lens, expected))
        return None
    if found.lens_map.play() is None:
        said.append(
            f"The iris was not read both ways: {USUAL_PLAY_DEG:g}° of backlash is assumed, and not taken up. "
            "Read a few stops both ways."
        )
    if plan.iris_speed_deg_s is None:
        said.append("No speed of the iris motor given: it is not checked.")
    return IrisRing(found.lens_map, USUAL_PLAY_DEG, plan.iris_speed_deg_s)


def _marks(
    job: Job, plan: StopPullPlan, lens: Lens | None, file: str, problems: list[Problem], said: list[str]
) -> list[float]:
    """The T-number of each mark of the course: exact stops, or what a depth or a blur asks for."""
    if lens is None:
        return []
    if all(point.stop is not None for point in plan.course):
        return [parse_stop(point.stop or "").exact for point in plan.course]
    basis = basis_of(lens, job)
    if basis.optics is None:
        problems.append(
            Problem(file, None, f"{TABLE}.lens", lens.id, "a lens with its focal length, for a depth or a blur")
        )
        return []
    found = [_mark(point, plan, basis.optics, basis.transmission) for point in plan.course]
    for at, t in enumerate(found, start=1):
        if not SMALLEST_T <= t <= LARGEST_T:
            read = f"T{t:.3g}" if np.isfinite(t) else "no stop"
            expected = (
                f"a depth or blur that a stop from T{SMALLEST_T:g} to T{LARGEST_T:g} gives, from where it can focus"
            )
            problems.append(Problem(file, None, f"{TABLE}.course[{at}]", read, expected))
    said += [f"Depth and blur: {sentence[0].lower()}{sentence[1:]}" for sentence in basis.assumptions]
    said.append(f"Depth and blur: {basis.coc_text} passes as sharp, focused at {plan.distance_m:g} m throughout.")
    return found


def _mark(point: CoursePoint, plan: StopPullPlan, optics: Optics, transmission: float) -> float:
    """The T-number of one mark; NaN where there is none."""
    if point.stop is not None:
        return parse_stop(point.stop).exact
    focus_m = plan.distance_m or np.nan
    if point.depth_m is not None:
        n = f_number_for_depth(point.depth_m, focus_m, optics.focal_m, optics.blur_m, optics.pupil)
    else:
        blur_m, behind_m = (point.blur_mm or np.nan) * MM, plan.background_m or np.nan
        n = f_number_for_blur(blur_m, behind_m, focus_m, optics.focal_m, optics.pupil)
    return n / float(np.sqrt(transmission))


def _exact(reading: Reading) -> Reading:
    """The reading at the exact stop behind its label: 2.8 is 2.828."""
    try:
        return reading.model_copy(update={"value": parse_stop(f"T{reading.value:g}").exact})
    except NotationError:
        return reading


def _variable(job: Job, on_hand: Filter | None, file: str, name: str, problems: list[Problem]) -> VariableFilter | None:
    """The filter as a function of its ring: by two constants, or by its measured table."""
    if on_hand is None or on_hand.kind not in {"pair", "variable"}:
        known = ", ".join(one.id for one in job.filters if one.kind in {"pair", "variable"}) or "none yet"
        expected = f"a filter of kind pair or variable in job.toml; there are: {known}"
        problems.append(Problem(file, None, f"{TABLE}.filter", name, expected))
        return None
    if on_hand.kind == "pair":
        return PolariserPair(on_hand.k0 or 1.0, on_hand.k90 or 0.0)
    try:
        return fit_filter_table(on_hand.positions_deg or [], on_hand.densities or [])
    except MapRefusal as refusal:
        problems.append(Problem(file, None, f"{TABLE}.filter", name, f"a filter whose table makes a curve ({refusal})"))
        return None


def _extra(plan: StopPullPlan, on_hand: Filter, light: VariableFilter, said: list[str]) -> ExtraRing:
    """The filter on its motor, with what was assumed of it."""
    if on_hand.kind == "pair":
        first, last = 0.0, 90.0
    else:
        first, last = min(on_hand.positions_deg or [0.0]), max(on_hand.positions_deg or [1.0])
    start = first if plan.extra_from_deg is None else plan.extra_from_deg
    end = last if plan.extra_to_deg is None else plan.extra_to_deg
    if plan.extra_from_deg is None or plan.extra_to_deg is None:
        said.append(f"The extra motor is taken to turn the filter from {start:g}° at 0 % to {end:g}° at 100 %.")
    backlash, left = _filter_play(plan, said)
    sure = plan.density_plus_minus
    if on_hand.kind == "pair" and sure is None:
        sure = USUAL_DENSITY_PLUS_MINUS
        said.append(
            f"The filter's densities are taken to be sure to +- {sure:g}: measure a table of the pair you have."
        )
    if plan.extra_speed_deg_s is None:
        said.append("No speed of the extra motor given: it is not checked.")
    if end == start:
        end = start + 1.0
    return ExtraRing(
        light,
        start,
        end,
        backlash,
        sure or 0.0,
        plan.extra_backlash_deg is None,
        on_hand.kind == "pair" and plan.density_plus_minus is None,
        plan.extra_speed_deg_s,
        plan.extra_set_from,
        left,
    )


def _filter_play(plan: StopPullPlan, said: list[str]) -> tuple[float, float]:
    """The play between extra motor and filter and how sure it is, degrees, with what is done about it."""
    play = plan.extra_backlash_deg
    if play is None:
        said.append(
            f"{USUAL_PLAY_DEG:g}° of backlash is assumed between extra motor and filter, and not taken up. "
            "Measure it: extra_backlash_deg."
        )
        return USUAL_PLAY_DEG, 0.0
    if play == 0.0:
        return 0.0, 0.0
    left = min(SURE_PLAY_DEG, play)
    said.append(
        f"The filter's {play:g}° of backlash is taken up in the way the extra motor turns, and taken to be sure to "
        f"+- {left:g}°."
    )
    if plan.extra_set_from is None:
        said.append(
            "From which side the filter was set to its motor is not said: half its backlash stays in the error. "
            'Set it from one side and say so: extra_set_from = "below", "above", or "both" for the middle.'
        )
    return play, left


def _motors(job: Job, lens: Lens) -> tuple[Motor, ...]:
    """The motors of the lens's cameras, all of them where lens or motor names none."""
    letters = set((lens.camera or "").split())
    return tuple(motor for motor in job.motors if not letters or motor.camera is None or motor.camera in letters)


@dataclass(frozen=True, slots=True)
class _Lag:
    """What is left of the lag between the motors, and by how much the extra motor is told ahead; seconds."""

    left_s: float
    extra_ahead_s: float = 0.0
    assumed: bool = False


def _lag(plan: StopPullPlan, motors: tuple[Motor, ...], said: list[str]) -> _Lag:
    """How far one motor may be behind the other: as planned, made up for where both lags are known, or assumed."""
    if plan.lag_between_ms is not None:
        return _Lag(plan.lag_between_ms * 1e-3)
    iris, extra = (
        [one.lag_ms for one in motors if one.axis == axis and one.lag_ms is not None] for axis in ("iris", "extra")
    )
    if len(iris) == 1 and len(extra) == 1:
        ahead_ms = (extra[0] or 0.0) - (iris[0] or 0.0)
        if ahead_ms:
            slower = "extra" if ahead_ms > 0 else "iris"
            said.append(
                f"The {slower} motor is told {abs(ahead_ms):g} ms ahead, as it lags so much more than the other; "
                f"both lags are taken to be sure to +- {SURE_LAG_S * 1e3:.0f} ms."
            )
        return _Lag(SURE_LAG_S, ahead_ms * 1e-3)
    said.append(f"{USUAL_LAG_S * 1e3:.0f} ms of lag are assumed between the two motors.")
    return _Lag(USUAL_LAG_S, assumed=True)


def _conflicts(motors: tuple[Motor, ...]) -> Iterator[str]:
    """What keeps the motors from doing it: one missing, or two on one ring of one camera."""
    for axis, what in (("iris", "an iris motor"), ("extra", "an extra motor")):
        if not any(one.axis == axis for one in motors):
            yield f"The job lists no {axis} motor on this camera: the pull takes {what}."
    seen = dict[tuple[str | None, str], str]()
    for motor in motors:
        first = seen.setdefault((motor.camera, motor.axis), motor.id)
        if first != motor.id and motor.axis != "extra":
            yield f"{first} and {motor.id} both drive {motor.axis} on camera {motor.camera or 'not named'}."


def _times(plan: StopPullPlan) -> Floats:
    """The moments of the samples: every frame from the first to the last stop."""
    first, last = plan.course[0].at_s, plan.course[-1].at_s
    frames = max(int(np.ceil((last - first) * plan.frames_per_second - 1e-9)), 1)
    return np.linspace(first, last, frames + 1)


def _what_works(times: Floats, stops: Floats, iris: IrisRing, extra: ExtraRing) -> tuple[float | None, float | None]:
    """Last stop of the largest change that works, and the length at which all of it does; None where nothing does."""
    few = np.linspace(0, times.size - 1, min(times.size, _SEARCHED)).round().astype(np.intp)
    part = largest_part(times[few], stops[few], iris, extra)
    for _ in range(100):  # fewer samples see a little less of the speed
        course = scaled_course(stops, part)
        if balanced_pull(times, course, iris, extra, lag_s=0.0, tolerance_stops=1.0).feasible:
            break
        part *= _A_LITTLE_LESS
    largest = float(scaled_course(stops, part)[-1]) if part > 1e-3 else None
    stretch = shortest_stretch(times[few], stops[few], iris, extra)
    slowed = None if stretch is None else float((times[-1] - times[0]) * stretch / _A_LITTLE_LESS)
    return largest, slowed


def _cautions(on_hand: Filter) -> Iterator[str]:
    """What the filter may do to the picture besides its light."""
    if on_hand.kind == "pair":
        yield (
            "Turn the polariser next to the lens and leave the outer one still: a polariser that turns in front "
            "changes skin, skies and reflections."
        )
    if on_hand.colour:
        yield f"Colour of the filter: {on_hand.colour}."
    if on_hand.stacking:
        yield f"Stacking: {on_hand.stacking}."
    yield "Arrive at the first stop from the side away from the pull, on both motors, and test on the day at both ends."


def limit_text(limit: PullLimit, prep: StopPullPrep) -> str:
    """A limit in one sentence, with its figures."""
    asks, allows = limit.asks, limit.allows
    match limit.kind:
        case "density":
            return f"The pull takes {format_thirds(asks)} of the filter, which gives {format_thirds(allows)}."
        case "iris_range":
            ends = f"{format_stop(float(prep.pull.t_stops.min()))} to {format_stop(float(prep.pull.t_stops.max()))}"
            if limit.holds:
                return f"The iris was read over all of {ends}."
            return f"The iris was not read over all of {ends}: {format_thirds(asks)} lie beyond its marks."
        case "error":
            return f"The exposure may be off by {asks:.2f} stop; {allows:.2f} passes."
    who = "iris" if limit.kind == "iris_speed" else "extra"
    return f"The {who} motor has to turn its ring at {asks:.0f}°/s; it can do {allows:.0f}°/s."


def advice(prep: StopPullPrep) -> list[str]:
    """What to do where the pull does not work as planned, best first; empty where it does."""
    if prep.feasible:
        return []
    first = float(prep.pull.t_stops[0])
    said = []
    if prep.largest_stop is not None:
        end = format_stop_in_thirds(prep.largest_stop)
        change = format_thirds(abs(2.0 * float(np.log2(prep.largest_stop / first))))
        said.append(f"The largest change that works from {format_stop_in_thirds(first)} is to {end}, {change}.")
    if prep.slowed_s is not None:
        said.append(f"All of it works over {prep.slowed_s:.1f} s.")
    said.append(f"This filter gives {format_thirds(prep.most_stops)} in all{_best_start(prep)}.")
    return said


def _best_start(prep: StopPullPrep) -> str:
    """From where all that a filter gives can be used: the iris has to have so many stops."""
    spare = prep.iris_stops - prep.most_stops
    widest, smallest = format_stop(prep.iris_range[0]), format_stop(prep.iris_range[1])
    if spare < 0:
        return f", more than the iris has from {widest} to {smallest}"
    last_start = format_stop_in_thirds(prep.iris_range[0] * 2.0 ** (spare / 2.0))
    return f": for the largest change start between {widest} and {last_start}, or end there"
