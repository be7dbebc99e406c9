"""The four motors of a stop pull together: where focus, iris, zoom and the extra motor go, and where they conflict."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.shots import Shot
from tapehook.notation import format_distance, format_position
from tapehook.prep.shots import ShotPlan
from tapehook.prep.stop_pull import StopPullPrep

Floats = npt.NDArray[np.float64]
Axis = Literal["focus", "iris", "zoom", "extra"]
LETTERS: dict[Axis, str] = {"focus": "F", "iris": "I", "zoom": "Z", "extra": "X"}
_SLIGHT_MM = 1e-6


@dataclass(frozen=True, slots=True)
class MotorCourse:
    """Where one motor goes: ``said`` in words, ``values`` (n,) at ``time_s`` in the unit said; None: not driven."""

    axis: Axis
    said: str
    time_s: Floats
    values: Floats | None

    @property
    def letter(self) -> str:
        """F, I, Z or X."""
        return LETTERS[self.axis]


def motor_courses(prep: StopPullPrep, shot: ShotPlan | None) -> tuple[MotorCourse, ...]:
    """The four motors in the order F, I, Z, X; focus and zoom by the pull of the same ``shot``, None where it has none.

    Iris and extra motor have no values where the stop pull cannot be done: nobody is to drive them.
    """
    return _focus(prep, shot), _iris(prep), _zoom(prep, shot), _extra(prep)


def _focus(prep: StopPullPrep, shot: ShotPlan | None) -> MotorCourse:
    if shot is None:
        return MotorCourse("focus", "focus: no pull planned in this shot", np.empty(0), None)
    seen = [format_distance(max(float(shot.in_focus_m[at]), 1e-3), shot.entry.system) for at in (0, -1)]
    places = " to ".join(_place(float(shot.position[at]), prep) for at in (0, -1))
    return MotorCourse("focus", f"focus: {seen[0]} to {seen[1]}, {places}", shot.time_s, shot.position)


def _iris(prep: StopPullPrep) -> MotorCourse:
    pull = prep.pull
    if not prep.feasible:
        return MotorCourse("iris", "iris: no positions", np.empty(0), None)
    places = " to ".join(_place(float(pull.iris_positions[at]), prep) for at in (0, -1))
    return MotorCourse("iris", f"iris: {places}", pull.times_s, pull.iris_positions)


def _zoom(prep: StopPullPrep, shot: ShotPlan | None) -> MotorCourse:
    if prep.lens.kind != "zoom":
        return MotorCourse("zoom", "zoom: a prime, nothing to drive", np.empty(0), None)
    if shot is None or not shot.shot.focal_path:
        return MotorCourse("zoom", "zoom: stays where it is", np.empty(0), None)
    mm = np.broadcast_to(shot.ring.focal_m * 1e3, shot.time_s.shape).astype(np.float64)
    return MotorCourse("zoom", f"zoom: {mm[0]:.4g} to {mm[-1]:.4g} mm", shot.time_s, mm)


def _extra(prep: StopPullPrep) -> MotorCourse:
    pull = prep.pull
    if not prep.feasible:
        return MotorCourse("extra", f"{prep.filter.id}: no positions", np.empty(0), None)
    ends = " to ".join(f"{pull.extra_percent[at]:.1f} % ({pull.extra_deg[at]:.1f}°)" for at in (0, -1))
    return MotorCourse("extra", f"{prep.filter.id}: {ends}", pull.times_s, pull.extra_percent)


def _place(position: float, prep: StopPullPrep) -> str:
    return format_position(position, prep.lens.unit, step=prep.lens.reading_step)


def with_shot(prep: StopPullPrep, shot: Shot | None) -> StopPullPrep:
    """The stop pull with the conflicts that the rest of its shot makes; as it is where there is none."""
    return replace(prep, conflicts=(*prep.conflicts, *_conflicts_with(prep, shot)))


def _conflicts_with(prep: StopPullPrep, shot: Shot | None) -> Iterator[str]:
    """What the rest of the shot does not leave the stop pull: another lens, a zoom on the move, a shot that ends."""
    if shot is None:
        return
    first, last = float(prep.pull.times_s[0]), float(prep.pull.times_s[-1])
    if shot.lens != prep.lens.id:
        yield f"The shot is planned on {shot.lens}, the stop pull on {prep.lens.id}: one of them is wrong."
    if last > shot.length_s + 1e-9:
        yield f"The stop pull ends at {last:g} s, after the shot, which ends at {shot.length_s:g} s."
    if shot.focal_path:
        at, mm = zip(*((point.at_s, point.focal_mm) for point in shot.focal_path), strict=True)
        during = np.interp(np.linspace(first, last, 50), at, mm)
        if float(np.ptp(during)) > _SLIGHT_MM:
            ends = f"{during.min():.4g} to {during.max():.4g} mm"
            yield f"The zoom moves over {ends} in the stop pull: the iris was read at one focal length, and may ramp."
