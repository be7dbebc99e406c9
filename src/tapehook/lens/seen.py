"""The map of a lens that looks through a port or stands on an extender, over the distances that people tape."""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import LensMap
from tapehook.lens.scale import Floats, Scale
from tapehook.optics.through import Through

LEAST_BEFORE_PORT_M = 0.05
"""Nearer before a port than this nothing is marked."""


@dataclass(frozen=True, slots=True)
class SeenScale:
    """The places of ``scale`` for distances from where the sensor is now, through what stands before or behind."""

    scale: Scale
    through: Through

    def place(self, value: npt.ArrayLike) -> Floats:
        """Place u of a distance in metres, inf allowed; NaN for what is not in front of a port."""
        return self.scale.place(self.through.scale_m(value))

    def value(self, place: npt.ArrayLike) -> Floats:
        """Distance in metres at a place; inf at and beyond what infinity takes."""
        return self.through.subject_m(self.scale.value(place))


def seen_map(lens_map: LensMap, through: Through) -> LensMap | None:
    """``lens_map`` over distances from the sensor as it stands, ring positions as before; None where it reaches none.

    Its far end is infinity, which behind a dome lies within the scale.
    """
    if through.extender is None and through.port is None:
        return lens_map
    if not through.farthest_m > lens_map.near_value:
        return None
    near_m = float(through.subject_m(lens_map.near_value))
    if through.port is not None:
        near_m = max(near_m, through.port.front_m + LEAST_BEFORE_PORT_M)
    if not math.isfinite(near_m):
        return None
    values: Floats = np.asarray(through.subject_m(lens_map.marks.values))
    marks = replace(lens_map.marks, values=values)
    far_m = float(through.subject_m(lens_map.far_value))
    return replace(lens_map, scale=SeenScale(lens_map.scale, through), marks=marks, far_value=far_m, near_value=near_m)
