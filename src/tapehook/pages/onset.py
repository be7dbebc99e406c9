"""What the On set page carries along, so that it goes on without the server: figures of every lens of the job.

The page computes depth by the ES module of the pocket page, from the same figures. Budgets travel as shifts in
dioptres, so that the page can show them at any stop and distance.
"""

import math
import re
from typing import Any

from tapehook.book.jobs import CameraBuild
from tapehook.handover.pocket import job_data
from tapehook.handover.pocket_moves import moving_terms
from tapehook.job import Motor
from tapehook.pages.desk import JobNow
from tapehook.prep import LensPrep, Prep
from tapehook.prep.extender import BEHIND, extender_of

_SCALE = re.compile(r"^\s*([-+]?\d+(?:[.,]\d+)?)\s*(.*?)\s*$")


def onset_data(now: JobNow, prep: Prep, builds: list[CameraBuild]) -> dict[str, Any]:
    """All the page needs, as plain JSON values: lenses as the pocket page has them, cameras, and who carries what."""
    data = job_data(prep)
    for entry, lens in zip(prep.lenses, data["lenses"], strict=True):
        lens["key"] = now.lens_key(entry.lens.id)
        lens["on"] = now.mounted_on(entry.lens.id)
        own = now.lens_ids[entry.lens.id]
        lens["startsAt"] = {camera: there[own] for camera, there in now.starts.items() if own in there}
        lens["budget"] = _budget(entry)
        lens["extender"] = _extender(entry)
        lens["measuredAt"] = max((one.when for one in now.rows["reading"] if one.row_id == entry.lens.id), default=None)
        lens["stopMapped"] = "iris" in entry.axes
    cameras = [
        {"letter": one.camera.letter, "name": one.camera.name, "colour": _colour(one.camera.colour)}
        for one in prep.cameras
    ]
    motors = [_motor(motor, builds) for motor in now.job.motors]
    motors += [
        _motor(one.motor, builds)
        for build in builds
        for one in build.motors
        if one.motor.id not in {motor.id for motor in now.job.motors}
    ]
    return {**data, "cameras": cameras or [{"letter": "A", "name": None, "colour": None}], "motors": motors}


_COLOURS = {
    "red": "red", "blue": "blue", "yellow": "yellow", "green": "green", "orange": "orange", "purple": "purple",
    "white": "white", "pink": "pink",
}  # fmt: skip


def _colour(said: str | None) -> str | None:
    """The colour of a camera's tape where the job names one of those we can draw."""
    return _COLOURS.get((said or "").strip().casefold())


def _motor(motor: Motor, builds: list[CameraBuild]) -> dict[str, Any]:
    """One motor; of an extra motor its named positions, as a scale in its own unit where the names are figures."""
    named: dict[str, float] = {}
    for build in builds:
        for one in build.motors:
            if one.motor.id == motor.id and build.camera == motor.camera:
                named |= one.positions
    read = [(_SCALE.match(name), name, part) for name, part in named.items()]
    units = {found.group(2) for found, _, _ in read if found}
    in_unit = len(named) >= 2 and all(found for found, _, _ in read) and len(units) == 1
    places = [
        {"name": name, "percent": part, "value": float(found.group(1).replace(",", ".")) if found and in_unit else None}
        for found, name, part in sorted(read, key=lambda one: one[2])
    ]
    unit = units.pop() if in_unit else ""
    return {"id": motor.id, "camera": motor.camera, "axis": motor.axis, "places": places, "unit": unit}


def _budget(entry: LensPrep) -> dict[str, Any] | None:
    """The terms of the budget as shifts over distance, from the stop the job is shot at, else the widest."""
    view = entry.budget("shooting") or entry.budget("widest")
    if view is None:
        return None
    distances = view.budget.distance_m.tolist()
    terms = [
        {
            "name": term.name,
            "kind": term.kind,
            "source": term.source,
            "assumed": term.assumed,
            "shiftDpt": [_shown(value) for value in _shifts(term.shift_dpt, len(distances))],
        }
        for term in view.budget.terms
    ]
    shown: dict[str, Any] = {
        "distanceM": [value if math.isfinite(value) else None for value in distances],
        "terms": terms,
    }
    moving = moving_terms(entry, view.budget.distance_m)
    return shown if moving is None else {**shown, "moving": moving}


def _extender(entry: LensPrep) -> dict[str, Any] | None:
    """The extender it is also used with; ``behind`` names the terms of its budget between it and the sensor."""
    found = extender_of(entry.lens)
    return None if found is None else {"factor": found.factor, "lengthM": found.length_m, "behind": list(BEHIND)}


def _shifts(shift: Any, count: int) -> list[float]:  # noqa: ANN401 - an array or one value
    import numpy as np

    return [abs(float(value)) for value in np.broadcast_to(np.asarray(shift, dtype=np.float64), (count,))]


def _shown(value: float) -> float:
    return float(f"{value:.5g}") if math.isfinite(value) else 1e9
