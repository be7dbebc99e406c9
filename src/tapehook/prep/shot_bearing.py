"""Who is behind the camera of a shot, or out of its picture beside somebody else who is held."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from tapehook.finding import Figure, Finding
from tapehook.prep.shots import USUAL_HEIGHT_M, ShotPlan, field_deg
from tapehook.shot.path import places_at

Floats = npt.NDArray[np.float64]

BEHIND_DEG = 90.0
"""Farther round than this from where the camera looks, somebody is behind it whatever the lens."""


def bearings_deg(plan: ShotPlan) -> Floats:
    """Where people are seen from the camera, (P, K) degrees round from the y of the plan; heights left out."""
    shot, time = plan.shot, plan.time_s
    camera = np.array([[0.0, 0.0, USUAL_HEIGHT_M]])
    if shot.camera_path:
        camera = places_at(time, [one.at_s for one in shot.camera_path], [one.place_m for one in shot.camera_path])
    found = []
    for person in shot.people:
        away = places_at(time, [one.at_s for one in person.path], [one.place_m for one in person.path]) - camera
        found.append(np.degrees(np.arctan2(away[:, 0], away[:, 1])))
    return np.stack(found)


def behind_findings(plan: ShotPlan) -> Iterator[Finding]:
    """A finding for each person who is held while out of the picture: it is turned to whoever is held first.

    The first of those held is taken to be in the middle of the picture. Alone they are always in it, but not if the
    camera would have to turn by more than ``BEHIND_DEG`` from where it looked first.
    """
    seen = bearings_deg(plan)
    wanted = np.stack([one.wanted for one in plan.people])
    first = np.argmax(wanted, axis=0)
    looks = np.take_along_axis(seen, first[None, :], axis=0)[0]
    held = np.flatnonzero(wanted.any(axis=0))
    if held.size == 0:
        return
    field = field_deg(plan) / 2.0
    allowed = np.where(np.isnan(field), BEHIND_DEG, np.minimum(field, BEHIND_DEG))
    for at, one in enumerate(plan.people):
        off = np.abs(_turn(seen[at] - looks))
        out = one.wanted & (first != at) & (off > allowed)
        if out.any():
            yield _beside(plan, at, int(first[out][0]), float(off[out].max()), out)
        turned = np.abs(_turn(seen[at] - looks[held[0]]))
        round_ = one.wanted & (first == at) & (turned > BEHIND_DEG)
        if round_.any():
            yield _turned(plan, at, float(turned[round_].max()), round_)


def _turn(degrees: Floats) -> Floats:
    """Angles from -180 to 180 degrees."""
    turned: Floats = (degrees + 180.0) % 360.0 - 180.0
    return turned


def _span(plan: ShotPlan, frames: npt.NDArray[Any]) -> str:
    at = np.flatnonzero(frames)
    return f"between {plan.time_s[at[0]]:.1f} and {plan.time_s[at[-1]]:.1f} s"


def _beside(plan: ShotPlan, at: int, other: int, off: float, out: npt.NDArray[np.bool_]) -> Finding:
    seen = field_deg(plan)[np.flatnonzero(out)[0]]
    sees = "" if np.isnan(seen) else f", and the camera sees {seen:.0f}° in width"
    where = "behind the camera" if off > BEHIND_DEG else "out of the picture"
    return Finding(
        "shot.behind",
        "watch",
        f"shot {plan.shot.title}, lens {plan.entry.lens.id}",
        f"{plan.people[at].name} is held and {where}, {_span(plan, out)}: {off:.0f}° round from "
        f"{plan.people[other].name} as seen from the camera{sees}.",
        "Look at the places in the plan, and at who is held when.",
        Figure(off, "degrees"),
        lens_id=plan.entry.lens.id,
    )


def _turned(plan: ShotPlan, at: int, turned: float, frames: npt.NDArray[np.bool_]) -> Finding:
    return Finding(
        "shot.behind",
        "watch",
        f"shot {plan.shot.title}, lens {plan.entry.lens.id}",
        f"{plan.people[at].name} is behind where the camera looked at first, {_span(plan, frames)}: it has to turn by "
        f"{turned:.0f}°.",
        "Look at the places in the plan; a camera that turns so far is right as it is.",
        Figure(turned, "degrees"),
        lens_id=plan.entry.lens.id,
    )
