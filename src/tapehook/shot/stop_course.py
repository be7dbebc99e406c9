"""A course of stops over time: from mark to mark, evenly or with easing, in stops and not in T-numbers."""

from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Easing = Literal["even", "eased"]


def stop_course(times_s: npt.ArrayLike, at_s: npt.ArrayLike, t_stops: npt.ArrayLike, easing: Easing) -> Floats:
    """T-numbers at ``times_s`` (n,), through ``t_stops`` (m,) at the moments ``at_s`` (m,), held before and after.

    "even" changes so many stops a second from one to the next; "eased" starts and ends each stretch at rest, 3 s^2 -
    2 s^3 of the way, and is half as fast again in its middle. Raises ValueError unless m is 2 or more and the moments
    rise.
    """
    times, at = np.asarray(times_s, dtype=np.float64), np.asarray(at_s, dtype=np.float64)
    stops = 2.0 * np.log2(np.asarray(t_stops, dtype=np.float64))
    if at.size < 2 or at.size != stops.size or not np.all(np.diff(at) > 0):
        raise ValueError("a course needs two or more stops at rising moments")
    k = np.clip(np.searchsorted(at, times, side="right") - 1, 0, at.size - 2)
    s = np.clip((times - at[k]) / (at[k + 1] - at[k]), 0.0, 1.0)
    way = s if easing == "even" else s * s * (3.0 - 2.0 * s)
    course: Floats = np.exp2((stops[k] + way * (stops[k + 1] - stops[k])) / 2.0)
    return course


def scaled_course(t_stops: npt.ArrayLike, part: float) -> Floats:
    """The same course with every change from its first stop made ``part`` as large."""
    t = np.asarray(t_stops, dtype=np.float64)
    scaled: Floats = t[0] * (t / t[0]) ** part
    return scaled
