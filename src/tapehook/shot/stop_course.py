"""A course of stops over time: from mark to mark, evenly or with easing, in stops and not in T-numbers.

A mark may also be wanted as a depth or as the blur of a background; both ask for one f-number at a given focus.
"""

from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.optics import Pupil, focus_state

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


def f_number_for_depth(depth_m: float, focus_m: float, focal_m: float, blur_m: float, pupil: Pupil) -> float:
    """The f-number that gives so many metres from near to far, focused at ``focus_m`` from the image plane.

    Near to far is 2 w/(q^2 - w^2), q the vergence and w the half-width, so w = (sqrt(1 + (depth q)^2) - 1)/depth, and
    N = w f^2 (1 + m/P)/c. NaN where the lens cannot focus so near; inf where no blur is left to allow.
    """
    state = focus_state(focus_m, focal_m, pupil)
    q = 1.0 / float(state.pupil_distance_m)
    w = (float(np.sqrt(1.0 + (depth_m * q) ** 2)) - 1.0) / depth_m
    needed = w * focal_m**2 * float(state.pupil_factor)
    return needed / blur_m if blur_m > 0 else float("inf")


def f_number_for_blur(
    blur_diameter_m: float, background_m: float, focus_m: float, focal_m: float, pupil: Pupil
) -> float:
    """The f-number at which a background at ``background_m`` (inf allowed) blurs to discs of that diameter, in metres.

    By the blur disc c = f^2 (1 + m/P)/N |1/u' - 1/u| (``tapehook.optics.depth``). NaN where either cannot be.
    """
    state = focus_state(focus_m, focal_m, pupil)
    behind = background_m - float(state.pupil_to_sensor_m)
    offset = abs((1.0 / behind if behind > 0 else np.nan) - 1.0 / float(state.pupil_distance_m))
    return float(focal_m**2 * float(state.pupil_factor) * offset / blur_diameter_m)
