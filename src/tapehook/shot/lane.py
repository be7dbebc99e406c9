"""The sharp lane in distance: between which settings of the ring a subject is sharp at each moment."""

import numpy as np
import numpy.typing as npt

from tapehook.optics import Pupil, focus_state, half_width_dpt

Floats = npt.NDArray[np.float64]

_ROUNDS = 6


def settings_m(
    subject_m: npt.ArrayLike, focal_m: npt.ArrayLike, f_number: float, blur_m: float, pupil: Pupil
) -> tuple[Floats, Floats]:
    """Nearest and farthest setting, metres from the image plane, at which subjects (K,) are sharp: two (K,).

    A subject at vergence q is sharp for settings between q + w and q - w, with the half-width w and the pupil as the
    lens is set there: a few rounds find both. inf where the far setting is infinity or past it; NaN where the subject
    stands nearer than the lens can focus at all. ``focal_m`` may change with the subjects, (K,). A subject below 0 is
    virtual: farther than infinity, as through a close-up lens that does not reach so far.
    """
    subject = np.atleast_1d(np.asarray(subject_m, dtype=np.float64))
    found = []
    for side in (1.0, -1.0):
        setting = np.where(subject < 0.0, np.inf, subject)
        for _ in range(_ROUNDS):
            state = focus_state(setting, focal_m, pupil)
            width = half_width_dpt(f_number, focal_m, blur_m, state.pupil_factor)
            with np.errstate(divide="ignore", invalid="ignore"):
                vergence = 1.0 / (subject - state.pupil_to_sensor_m) + side * width
                setting = np.where(vergence > 0, state.pupil_to_sensor_m + 1.0 / vergence, np.inf)
                setting = np.where(np.isnan(vergence), np.nan, setting)
        found.append(setting)
    return found[0], found[1]


def depth_used(
    subject_m: npt.ArrayLike,
    setting_m: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    f_number: float,
    blur_m: float,
    pupil: Pupil,
) -> Floats:
    """What subjects (K,) use of the depth at settings (K,): |q_setting - q_subject| / w, 1 at the end of the depth."""
    state = focus_state(setting_m, focal_m, pupil)
    width = half_width_dpt(f_number, focal_m, blur_m, state.pupil_factor)
    with np.errstate(divide="ignore", invalid="ignore"):
        there = 1.0 / (np.asarray(subject_m, dtype=np.float64) - state.pupil_to_sensor_m)
        used: Floats = np.abs(there - 1.0 / state.pupil_distance_m) / width
    return used
