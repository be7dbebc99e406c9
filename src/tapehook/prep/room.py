"""The room on a ring: the positions that half the depth of field takes, against which errors of a map are shares."""

import numpy as np
import numpy.typing as npt

from tapehook.lens import LensMap
from tapehook.lens.next_mark import ENOUGH
from tapehook.notation import FULL_STOPS
from tapehook.optics import sharp_blur_m
from tapehook.prep.basis import Optics, stop_view
from tapehook.prep.focus import vergence_slope, width_dpt
from tapehook.prep.results import LensPrep, StopView

Floats = npt.NDArray[np.float64]

RANGE_POINTS = 41
"""Places from infinity to close focus, even in vergence, at which a map is judged."""
SMALLEST_T = 22.0
"""The last of the usual stops."""


def optics_of(entry: LensPrep) -> Optics | None:
    """What the depth of a prepared lens was computed with; None where it could not be."""
    if entry.pupil is None or entry.pupil_source is None or entry.depth_focal_m is None:
        return None
    blur_m = float(sharp_blur_m(entry.coc_m, entry.blur_floor_m))
    return Optics(entry.depth_focal_m, entry.pupil, entry.pupil_source, blur_m)


def range_m(lens_map: LensMap, count: int = RANGE_POINTS) -> Floats:
    """Distances from infinity to close focus, even in vergence: (count,) metres."""
    ends = lens_map.scale.place([lens_map.far_value, lens_map.near_value])
    values = lens_map.scale.value(np.linspace(ends[0], ends[1], count))
    values[0], values[-1] = lens_map.far_value, lens_map.near_value
    return values


def room(lens_map: LensMap, optics: Optics | None, stop: StopView | None, distance_m: Floats) -> Floats | None:
    """Half the depth of field in positions of the map's read-out at distances (G,), always positive: (G,).

    None where it cannot be told, or where there is no depth at all: the blur floor, or nearer than a lens can focus.
    """
    if optics is None or stop is None:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        width = vergence_slope(lens_map, optics, distance_m) * width_dpt(optics, stop, distance_m)
    return width if bool(np.all(np.isfinite(width) & (width > 0))) else None


def safe_from(used: float, stop: StopView, limit: float = ENOUGH) -> StopView | None:
    """The first usual stop from which on a share ``used`` at ``stop`` is under ``limit``: that stop, or a whole one.

    The room grows with the f-number, so the share falls with it. None when it is not under the limit at any to T22.
    """
    if used < limit:
        return stop
    transmission = (stop.f_number / stop.t_number) ** 2
    for label, _ in FULL_STOPS:
        t_number = float(label)
        if stop.t_number < t_number <= SMALLEST_T and used * stop.t_number / t_number < limit:
            return stop_view(t_number, transmission)
    return None
