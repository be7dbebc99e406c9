"""The sheet of a shot: its marks with distance, ring position, what the strip says there, depth, and the moment."""

import math
from dataclasses import dataclass

import numpy as np

from tapehook.notation import format_distance
from tapehook.optics import depth_of_field
from tapehook.prep.shots import ShotPlan
from tapehook.prep.wording import position_text

LEAST_M = 1e-3
"""Nearer than this nothing is written: a person drawn on the image plane."""
MOST_MARKS = 40


@dataclass(frozen=True, slots=True)
class ShotMark:
    """One mark: when, on whom, and where the ring is then. Texts as they are printed.

    ``feet`` and ``metres`` are the distance in focus, ``strip`` what the scale and a strip say there, which with a
    close-up lens or a tube is another distance; with an extender what a strip made for it says. ``near`` and ``far``
    are the ends of the depth.
    """

    time_s: float
    who: str
    feet: str
    metres: str
    position: str
    strip: str
    near: str
    far: str
    soft: bool


def marks_of(plan: ShotPlan) -> tuple[ShotMark, ...]:
    """The marks of a shot in order of time: where somebody arrives or leaves while held, and where holds begin and end.

    ``MOST_MARKS`` at most; of more, every so many-th.
    """
    asked = sorted(_frames(plan))
    # Where one hold ends in the frame before the next begins, one mark says it.
    frames = [frame for at, frame in enumerate(asked) if at == 0 or frame - asked[at - 1] > 1]
    step = -(-len(frames) // MOST_MARKS)
    scale = plan.ring.scale(plan.position * plan.ring.lens_map.degrees_per_unit)
    return tuple(_mark(plan, frame, float(scale[frame]) + plan.ring.fittings.behind_m) for frame in frames[::step])


def _frames(plan: ShotPlan) -> set[int]:
    rate, last = plan.shot.frames_per_second, plan.time_s.size - 1
    frames = {0, last}
    for hold in plan.shot.hold:  # the first and the last frame in it
        frames |= {math.ceil(hold.from_s * rate - 1e-9), math.floor(hold.to_s * rate + 1e-9)}
    for person, held in zip(plan.shot.people, plan.people, strict=True):
        arrivals = [min(round(point.at_s * rate), last) for point in person.path]
        frames |= {frame for frame in arrivals if held.wanted[frame]}
    return {min(frame, last) for frame in frames}


def _mark(plan: ShotPlan, frame: int, scale_m: float) -> ShotMark:
    ring, system = plan.ring, plan.entry.system
    held = [one.name for one in plan.people if one.wanted[frame] and not one.dropped[frame]]
    focal = float(np.broadcast_to(ring.focal_m, plan.time_s.shape)[frame])
    pupil = plan.pupil_at(frame)
    depth = depth_of_field(plan.setting_m[frame], focal, plan.stop.f_number, ring.blur_m, pupil)
    ends = [float(ring.fittings.subject_m(end)) for end in (depth.near_m, depth.far_m)]
    # Past its infinity a close-up lens has nothing: what lies behind it is as far as it goes.
    near, far = ends[0], ends[1] if ends[1] > 0 else math.inf
    focus = max(float(plan.in_focus_m[frame]), LEAST_M)
    return ShotMark(
        float(plan.time_s[frame]),
        " and ".join(held) or "on the way",
        format_distance(focus, "imperial"),
        format_distance(focus, "metric"),
        position_text(float(plan.position[frame]), plan.entry.lens),
        format_distance(max(scale_m, LEAST_M), system),
        format_distance(max(near, LEAST_M), system),
        format_distance(max(far, LEAST_M), system),
        bool(plan.soft[frame]),
    )
