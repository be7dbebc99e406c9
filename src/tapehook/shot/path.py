"""Ways through a shot: where somebody is between waypoints, and how far from the image plane.

Between waypoints people move as a monotone cubic has it: no coordinate overshoots, standing still is still, and the
pace changes without a jerk (F. Fritsch, R. Carlson, Monotone Piecewise Cubic Interpolation, SIAM Journal on Numerical
Analysis 17, 1980).
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def places_at(time_s: npt.ArrayLike, at_s: npt.ArrayLike, places_m: npt.ArrayLike) -> Floats:
    """Places (K, 3) at moments (K,) from waypoints (W,) and (W, 3); before the first and after the last: there.

    Waypoints in rising order of time. Raises ValueError otherwise, and without any.
    """
    time, at = np.atleast_1d(np.asarray(time_s, dtype=np.float64)), np.asarray(at_s, dtype=np.float64)
    places = np.asarray(places_m, dtype=np.float64)
    if at.size == 0 or places.shape != (at.size, 3) or np.any(np.diff(at) <= 0):
        raise ValueError("waypoints need rising times and three coordinates each")
    held = np.clip(time, at[0], at[-1])
    if at.size == 1:
        return np.broadcast_to(places[0], (time.size, 3)).copy()
    from scipy.interpolate import PchipInterpolator

    # What moves by less than a nanometre stands: slopes so small have no reciprocal.
    found: Floats = np.asarray(PchipInterpolator(at, np.round(places, 9), axis=0)(held), dtype=np.float64)
    return found


def s_curve(time_s: npt.ArrayLike, at_s: npt.ArrayLike, values: npt.ArrayLike) -> Floats:
    """Values (K,) of a pull made by hand: from mark to mark by an S-curve, 3 s^2 - 2 s^3, at rest on each.

    Marks (W,) in rising order of time, else ValueError; before the first and after the last the ring stands.
    """
    time, at = np.atleast_1d(np.asarray(time_s, dtype=np.float64)), np.asarray(at_s, dtype=np.float64)
    marks = np.asarray(values, dtype=np.float64)
    if at.size == 0 or marks.shape != at.shape or np.any(np.diff(at) <= 0):
        raise ValueError("marks need rising times and a value each")
    if at.size == 1:
        return np.full(time.size, marks[0])
    k = np.clip(np.searchsorted(at, time, side="right") - 1, 0, at.size - 2)
    s = np.clip((time - at[k]) / (at[k + 1] - at[k]), 0.0, 1.0)
    found: Floats = marks[k] + (marks[k + 1] - marks[k]) * s * s * (3.0 - 2.0 * s)
    return found


def distances_m(people_m: Floats, camera_m: Floats) -> Floats:
    """Straight from the image plane to the eyes, as a tape runs: (K,) from places (K, 3)."""
    found: Floats = np.linalg.norm(people_m - camera_m, axis=1)
    return found
