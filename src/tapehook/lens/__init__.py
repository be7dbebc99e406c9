"""What one lens does: from readings of its rings to a map, and how sure that map is.

May live here: pure functions and frozen results on NumPy arrays; positions in the lens's own unit or in degrees,
distances in metres, vergence in dioptres. May not: files, records of a job, severity, or text for people.
"""

from tapehook.lens.map import LensMap, MapRefusal, fit_map
from tapehook.lens.marks import Marks, Play, gather_marks
from tapehook.lens.scale import FocalScale, FocusScale, Scale, StopScale
from tapehook.lens.spline import SplineFit, fit_splines

__all__ = [
    "FocalScale",
    "FocusScale",
    "LensMap",
    "MapRefusal",
    "Marks",
    "Play",
    "Scale",
    "SplineFit",
    "StopScale",
    "fit_map",
    "fit_splines",
    "gather_marks",
]
