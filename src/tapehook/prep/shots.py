"""A shot planned: from people on a floor plan to the sharp lane of a lens and the pull through it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.records import Job
from tapehook.job.shots import Shot, Waypoint
from tapehook.lens import LensMap
from tapehook.notation import parse_stop
from tapehook.optics import Pupil
from tapehook.optics.extender import Extender
from tapehook.prep.basis import Optics, stop_view
from tapehook.prep.extender import optics_on, ring_stop, said_at
from tapehook.prep.monitor_delay import monitor_delay_s, said_of_delay
from tapehook.prep.results import CameraPrep, LensPrep, Prep, StopView
from tapehook.prep.room import SMALLEST_T
from tapehook.prep.shooting_map import map_at, move_words
from tapehook.prep.shot_lens import NoPlan, extender_on, fitted, said_of_lens
from tapehook.prep.shot_ring import Lane, Ring
from tapehook.shot.path import distances_m, places_at, s_curve
from tapehook.shot.pull import Limits, NoPull, slowest_pull, smoothest_pull
from tapehook.shot.rescue import Demand, fewest_soft_frames, least_softness, widest_stop
from tapehook.shot.tube import Tube

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

EXACT_S = 3.0
EXACT_FRAMES = 240
"""Up to so many frames the fewest soft ones are looked for exactly."""
LEAST_TURN_DEG, MOST_TURN_DEG = 0.1, 1e5
"""A ring that turns less or more is none: its units per turn are wrong."""
USUAL_HEIGHT_M = 1.5
"""Where the camera stands when nobody says: at the origin of the plan, so high."""


@dataclass(frozen=True, slots=True)
class Held:
    """One person through a shot: distance (K,), when to be sharp, when given up for others, what depth is used.

    ``used`` (K,) at the line of the plan, at its worst within the lag; 1 at the end of the depth.
    """

    name: str
    distance_m: Floats
    wanted: Bools
    dropped: Bools
    unreachable: Bools
    used: Floats

    @property
    def soft(self) -> Bools:
        """The frames at which this person should be sharp and is not."""
        found: Bools = self.wanted & ~(self.used <= 1.0 + 1e-6)
        return found


@dataclass(frozen=True, slots=True)
class ShotPlan:
    """A shot planned. Positions in the unit of the lens; ``low`` and ``high`` (K,) are the sharp lane of those held.

    ``feasible``: everybody is sharp when wanted and the motor can do it. ``objective`` is the roughness of the line,
    deg^2/s^3, ``peak_speed`` its speed in degrees of ring a second. ``widest`` is the widest stop at which all could
    be held, None where there is none to T22. ``soft_proven``: no line has fewer soft frames.
    """

    shot: Shot
    entry: LensPrep
    stop: StopView
    time_s: Floats
    position: Floats
    setting_m: Floats
    low: Floats
    high: Floats
    people: tuple[Held, ...]
    feasible: bool
    objective: float
    peak_speed: float
    least_peak_speed: float | None
    widest: StopView | None
    soft_proven: bool
    lag_s: float
    limits: Limits
    why: str | None
    assumptions: tuple[str, ...]
    ring: Ring
    cameras: tuple[CameraPrep, ...]
    extender: Extender | None = None
    """The extender that the lens stands on; stops are then said as they work, and their numbers are the ring's."""

    @property
    def factor(self) -> float:
        """How many times larger than the bare lens's the picture is."""
        return 1.0 if self.extender is None else self.extender.factor

    @property
    def in_focus_m(self) -> Floats:
        """What is in focus at each frame, metres from the image plane, (K,): with a close-up lens not what is set."""
        return self.ring.fittings.subject_m(self.setting_m)

    def pupil_at(self, frame: int) -> Pupil:
        """The pupil at one frame, which is another at each focal length of a zoom."""
        pupil, shape = self.ring.pupil, self.time_s.shape
        at = [float(np.broadcast_to(part, shape)[frame]) for part in (pupil.to_sensor_m, pupil.magnification)]
        return Pupil(*at)

    @property
    def soft(self) -> Bools:
        """The frames at which anybody is soft who should be sharp, (K,)."""
        found: Bools = np.any([one.soft for one in self.people], axis=0)
        return found

    @property
    def tightest(self) -> tuple[float, float, str] | None:
        """Moment, depth used and name where the most is used of somebody held; None when nobody is to be held."""
        used = np.stack([np.where(one.wanted & ~one.dropped, one.used, -1.0) for one in self.people])
        who, when = np.unravel_index(int(np.argmax(used)), used.shape)
        worst = float(used[who, when])
        return None if worst < 0 else (float(self.time_s[when]), worst, self.people[int(who)].name)


@dataclass(frozen=True, slots=True)
class _Scene:
    """A shot with a prepared lens before any line is drawn: who is where, when to be sharp, what the ring can do."""

    entry: LensPrep
    ring: Ring
    time_s: Floats
    distances: list[Floats]
    wanted: list[Bools]
    rank: Floats
    within: float
    lag_s: float
    limits: Limits
    unknown: tuple[str, ...]
    extender: Extender | None

    @property
    def factor(self) -> float:
        """How many times larger than the bare lens's the picture is."""
        return 1.0 if self.extender is None else self.extender.factor

    def lane(self, f_number: float) -> Lane:
        """The sharp lane at an f-number. Depth goes with it, so a part of the depth is that of a wider stop."""
        return self.ring.lane(self.distances, self.wanted, self.rank, f_number * self.within)


def _scene(prep: Prep, shot: Shot) -> _Scene:
    entry, read, optics = _lens(prep, shot)
    extender = extender_on(entry, shot)
    factor = 1.0 if extender is None else extender.factor
    lens_map = map_at(entry, _asked(entry, shot, factor), factor) or read
    time = np.arange(int(np.floor(shot.length_s * shot.frames_per_second + 1e-9)) + 1) / shot.frames_per_second
    camera = _camera(shot, time)
    lag_s, limits, unknown = _motor(prep.job, shot)
    return _Scene(
        entry,
        fitted(entry, lens_map, optics, shot, time),
        time,
        [distances_m(_through(person.path, time), camera) for person in shot.people],
        [_wanted(shot, person.name, time) for person in shot.people],
        _priorities(shot, time),
        shot.within,
        lag_s,
        limits,
        tuple(unknown),
        extender,
    )


def widest_of(prep: Prep, shot: Shot) -> StopView | None:
    """The widest stop at which a shot could be held with its lens, None where none is to T22. Raises NoPlan."""
    return _widest(_scene(prep, shot))


def plan_shot(
    prep: Prep,
    shot: Shot,
    pull: Literal["smoothest", "slowest"] = "smoothest",
    made: Sequence[tuple[float, float]] | None = None,
    *,
    exact: bool = True,
) -> ShotPlan:
    """The pull of a shot with a prepared lens; or one ``made`` by hand, moments and positions of the ring, judged.

    Not ``exact``, the fewest soft frames are not looked for, which can take seconds. Raises NoPlan where the lens or
    its stop do not allow a plan.
    """
    scene = _scene(prep, shot)
    entry, ring, rate = scene.entry, scene.ring, shot.frames_per_second
    stop, unit = said_at(_stop(entry, shot), scene.extender), ring.lens_map.degrees_per_unit
    lane = scene.lane(stop.f_number)
    if made is None:
        line, why, proven = _line(scene, lane, pull, exact=exact)
    else:
        line = s_curve(scene.time_s, *np.array(made).T) * unit
        why, proven = _too_much(line, scene.limits, rate), False
    people = tuple(
        Held(person.name, distance, want, dropped, far, ring.used(distance, line, stop.f_number, scene.lag_s))
        for person, distance, want, dropped, far in zip(
            shot.people, scene.distances, scene.wanted, lane.dropped, lane.unreachable, strict=True
        )
    )
    whole = bool(not any(one.soft.any() for one in people) and why is None)
    return ShotPlan(
        shot,
        entry,
        stop,
        scene.time_s,
        line / unit,
        ring.setting(line),
        lane.tube.low / unit,
        lane.tube.high / unit,
        people,
        whole,
        float(np.sum(np.diff(line, 2) ** 2) * rate**3),
        float(np.abs(np.diff(line)).max(initial=0.0) * rate),
        _least_speed(lane, scene.lag_s),
        _widest(scene),
        proven or whole,
        scene.lag_s,
        scene.limits,
        why,
        (*_ASSUMED, *move_words(entry, stop, scene.factor), *said_of_lens(entry, shot, ring), *scene.unknown),
        ring,
        prep.cameras,
        scene.extender,
    )


def field_deg(plan: ShotPlan) -> Floats:
    """How much the camera of a shot sees in width at each frame, (K,) degrees; NaN where its recorded area is unknown.

    2 atan(s b/(2 f (1 + m/P))) with the recorded width b and the squeeze s.
    """
    known = {view.camera.letter: view.camera.sensor_width_mm for view in plan.cameras}
    letters = [plan.shot.camera] if plan.shot.camera else (plan.entry.lens.camera or "").split()
    width_mm = next((known[letter] for letter in letters if known.get(letter)), None)
    if width_mm is None:
        return np.full(plan.time_s.shape, np.nan)
    focal = plan.factor * plan.ring.focal_m * plan.ring.state(plan.setting_m).pupil_factor
    field: Floats = np.degrees(2.0 * np.arctan(plan.shot.squeeze * width_mm / 1e3 / 2.0 / focal))
    return field


_ASSUMED = (
    "Distances run straight from the image plane to the eyes.",
    "The map's own +- and the play are not taken off the sharp lane: they count in the chance to be sharp.",
    "How far people stand from where they were drawn is common practice, no source, unless the file of the shot says.",
)


def _lens(prep: Prep, shot: Shot) -> tuple[LensPrep, LensMap, Optics]:
    known = {entry.lens.id: entry for entry in prep.lenses}
    if shot.lens not in known:
        raise NoPlan("lens", shot.lens, f"a lens of the job: {', '.join(list(known)[:12]) or 'there is none'}")
    entry = known[shot.lens]
    lens_map, optics = entry.focus_map, optics_on(entry, extender_on(entry, shot))
    if lens_map is None or not lens_map.monotone:
        raise NoPlan("lens", shot.lens, "a lens with a focus map that runs one way: read its marks first")
    ends = lens_map.curve([lens_map.near_value, lens_map.far_value]) * lens_map.degrees_per_unit
    turn = float(np.ptp(ends))
    if not LEAST_TURN_DEG < turn < MOST_TURN_DEG:
        raise NoPlan("lens", shot.lens, f"a ring that turns as rings do; this one turns {turn:.3g} degrees")
    if optics is None or optics.blur_m <= 0:
        raise NoPlan("lens", shot.lens, "a lens with a known focal length and a blur that may pass")
    return entry, lens_map, optics


def _stop(entry: LensPrep, shot: Shot) -> StopView:
    """The stop of the shot, else the job's, else the widest: never wider than the lens opens."""
    if shot.stop is not None:
        asked = parse_stop(shot.stop).number
        if entry.widest is not None and asked < entry.widest.t_number * 0.999:
            raise NoPlan("stop", shot.stop, f"{entry.widest.text} or more: the lens opens no wider")
        return stop_view(asked, entry.transmission)
    extender = extender_on(entry, shot)
    stop = ring_stop(entry, 1.0 if extender is None else extender.factor)
    if stop is None:
        raise NoPlan("stop", None, "a T-stop, here or in job.toml, as the lens has none")
    return stop


def _asked(entry: LensPrep, shot: Shot, factor: float) -> StopView | None:
    """The stop of the ring that the shot asks for, whether the lens opens so wide or not; else the job's."""
    if shot.stop is None:
        return ring_stop(entry, factor)
    return stop_view(parse_stop(shot.stop).number, entry.transmission)


def _through(path: Sequence[Waypoint], time: Floats) -> Floats:
    return places_at(time, [point.at_s for point in path], [point.place_m for point in path])


def _camera(shot: Shot, time: Floats) -> Floats:
    if shot.camera_path:
        return _through(shot.camera_path, time)
    return np.broadcast_to(np.array([0.0, 0.0, USUAL_HEIGHT_M]), (time.size, 3))


def _wanted(shot: Shot, name: str, time: Floats) -> Bools:
    """The moments at which somebody must be sharp; without holds all, throughout."""
    wanted = np.full(time.size, not shot.hold)
    for hold in shot.hold:
        if name in hold.who:
            wanted |= (time >= hold.from_s - 1e-9) & (time <= hold.to_s + 1e-9)
    return wanted


def _priorities(shot: Shot, time: Floats) -> Floats:
    """Rank of each person (P, K), 0 the most important: by place in the hold, else in the list of people."""
    names = [person.name for person in shot.people]
    rank = np.tile(np.arange(len(names), dtype=np.float64)[:, None] + 100.0, (1, time.size))
    for hold in shot.hold:
        here = (time >= hold.from_s - 1e-9) & (time <= hold.to_s + 1e-9)
        for place, name in enumerate(hold.who):
            own = names.index(name)
            rank[own, here] = np.minimum(rank[own, here], place)
    return rank


def _motor(job: Job, shot: Shot) -> tuple[float, Limits, list[str]]:
    """Lag in seconds, that of the picture with it, limits of the motor, and what is not known of them."""
    motors = [m for m in job.motors if m.axis == "focus" and (shot.camera is None or m.camera == shot.camera)]
    known = [motor.lag_ms for motor in motors if motor.lag_ms is not None]
    lag_ms = shot.lag_ms if shot.lag_ms is not None else max(known, default=None)
    said = []
    if lag_ms is None:
        said.append("No lag is known of the focus motor: none is assumed.")
    said += said_of_delay(job.cameras, shot)
    limits = Limits(shot.speed_deg_s, shot.acceleration_deg_s2)
    if limits.speed is None and limits.acceleration is None:
        said.append("Nothing is known of how fast the motor turns: the pull is only told, not held to it.")
    return (lag_ms or 0.0) / 1e3 + monitor_delay_s(job.cameras, shot), limits, said


def _line(
    scene: _Scene, lane: Lane, pull: Literal["smoothest", "slowest"], *, exact: bool
) -> tuple[Floats, str | None, bool]:
    """The line, why it is not wholly sharp, and whether no line has fewer soft frames."""
    lag_s, limits = scene.lag_s, scene.limits
    left = lane.tube.late(lag_s)
    why = None if left is not None else f"A lag of {1e3 * lag_s:.0f} ms alone is more than the lane allows."
    tube = left or lane.tube
    try:
        found = slowest_pull(tube, limits) if pull == "slowest" else smoothest_pull(tube, limits)
    except NoPull as trouble:
        demand = Demand(scene.ring.step_s, tube.low, tube.high, lane.room)
        looked = exact and tube.low.size <= EXACT_FRAMES
        fewest = fewest_soft_frames(demand, limits, most_seconds=EXACT_S) if looked else None
        text = str(trouble)
        said = f"{text[0].upper()}{text[1:]}."
        if fewest is not None:
            return fewest.position, why or said, lag_s == 0.0
        ends = (float(scene.ring.ends[0]), float(scene.ring.ends[1]))
        return least_softness(demand, limits, ends).position, why or said, False
    return found.position, why, False


def _too_much(line: Floats, limits: Limits, frames_per_second: float) -> str | None:
    """What a line made by hand asks of the motor that it cannot do; None where it can."""
    speed = float(np.abs(np.diff(line)).max(initial=0.0)) * frames_per_second
    force = float(np.abs(np.diff(line, 2)).max(initial=0.0)) * frames_per_second**2
    if limits.speed is not None and speed > limits.speed:
        return f"It takes {speed:.4g} degrees a second, the motor has {limits.speed:.4g}."
    if limits.acceleration is not None and force > limits.acceleration:
        return f"It takes {force:.4g} degrees a second squared, the motor has {limits.acceleration:.4g}."
    return None


def _least_speed(lane: Lane, lag_s: float) -> float | None:
    left = lane.tube.late(lag_s)
    return None if left is None else slowest_pull(left).peak_speed


def _widest(scene: _Scene) -> StopView | None:
    """The widest stop at which everybody is held, to T22."""
    entry = scene.entry
    t_over_n = 1.0 / math.sqrt(entry.transmission)
    widest_t = entry.widest.t_number if entry.widest else 1.0

    def tube_of(f_number: float) -> Tube | None:
        lane = scene.lane(f_number)
        if any(part.any() for part in (*lane.dropped, *lane.unreachable)):
            return None
        return lane.tube.late(scene.lag_s)

    found = widest_stop(tube_of, scene.limits, widest_t / t_over_n, max(SMALLEST_T, widest_t) / t_over_n)
    return None if found is None else said_at(stop_view(found * t_over_n, entry.transmission), scene.extender)
