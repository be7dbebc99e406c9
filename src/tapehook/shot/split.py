"""Two or more subjects held by one setting of the ring: where to focus, and the stop it takes.

In vergence from the entrance pupil the depth of field is symmetric, so the setting that holds near and far with the
least depth is the middle of their vergences, 2 u_n u_f/(u_n + u_f) in distance (US Navy, NAVEDTRA 14209, the split
focus rule), and the half-width it takes is half their difference. The pupil moves with focus, so both are found for
the lens as it is set.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics import Pupil, focus_state

Floats = npt.NDArray[np.float64]

_ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Split:
    """A focus split.

    ``focus_m`` from the image plane (inf allowed) and the ``f_number`` that just holds all subjects: 0 where they stand
    at one distance, inf where no blur is left to allow. ``half_width_dpt`` is what they take of vergence on either side
    of ``vergence_dpt``.
    """

    focus_m: float
    f_number: float
    half_width_dpt: float
    vergence_dpt: float


def split_focus(distances_m: npt.ArrayLike, focal_m: float, blur_m: float, pupil: Pupil) -> Split:
    """The setting that holds subjects at ``distances_m`` (S,) from the image plane with the least depth.

    ``blur_m`` is the largest disc that passes (``sharp_blur_m``). Raises ValueError without subjects, and when one
    stands nearer than the lens can focus or beside its entrance pupil.
    """
    distances = np.atleast_1d(np.asarray(distances_m, dtype=np.float64))
    if distances.size == 0:
        raise ValueError("no subject")
    ends = np.array([distances.min(), distances.max()])
    focus = float(ends[0])
    for _ in range(_ROUNDS):  # the pupil moves by a part m of what the focus does: each round gains a digit or more
        behind = float(focus_state(focus, focal_m, pupil).pupil_to_sensor_m)
        vergence = 1.0 / (ends - behind)
        middle = float(vergence.mean())
        nxt = behind + 1.0 / middle if middle > 0 else np.inf
        if not np.all(np.isfinite(vergence)) or np.any(vergence < 0) or np.isnan(nxt):
            raise ValueError("a subject stands nearer than the lens can focus")
        done = nxt == focus or abs(nxt - focus) <= 1e-15 * abs(nxt)
        focus = float(nxt)
        if done:
            break
    state = focus_state(focus, focal_m, pupil)
    half = float(np.ptp(1.0 / (ends - float(state.pupil_to_sensor_m)))) / 2.0
    if np.isnan(half):
        raise ValueError("a subject stands nearer than the lens can focus")
    needed = half * focal_m**2 * float(state.pupil_factor)
    f_number = 0.0 if half == 0.0 else needed / blur_m if blur_m > 0 else np.inf
    middle = 0.0 if np.isinf(focus) else 1.0 / (focus - float(state.pupil_to_sensor_m))
    return Split(focus, float(f_number), half, middle)
