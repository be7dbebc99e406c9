"""How far a depth of field can be trusted when data of the lens are missing.

Thin-lens depth from the image plane stays within a few per cent of the width for ordinary lenses and fails for
wide retrofocus lenses close up, whose entrance pupil stands far in front of the sensor. The steps below 35 times
the focal length come from tracing five published designs (docs/optics.md); the reach of the pupil of wide lenses
is common practice, no source.
"""

import numpy as np
import numpy.typing as npt

from tapehook.optics.pupil import focus_state, thin_pupil

Floats = npt.NDArray[np.float64]

WIDE_FOCAL_M = 0.045
"""Below this focal length a cine lens is taken to be a retrofocus design unless pupil data say otherwise."""
RETROFOCUS_REACH_M = 0.13
"""How much farther from the sensor than its focal length such a lens may have its entrance pupil."""


def depth_uncertainty(
    distance_m: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    *,
    pupil_known: bool,
    t_over_n: float = 1.0,
) -> Floats:
    """Uncertainty of the width of the depth of field, as a fraction of that width (0.1 = +-10 %).

    0 with pupil data; otherwise 0.05 beyond 60 f, 0.10 from 15 to 60 f, 0.20 below, and for wide lenses at least
    what a pupil ``RETROFOCUS_REACH_M`` farther forward would do: (u_thin/u)^2 - 1 with u_thin from the pupil of the
    thin lens as set, inf if that pupil would stand beyond the object. ``t_over_n`` is T/N as assumed when the
    transmission is not known: T/N - 1 is added, because depth follows N. ``distance_m`` from the image plane, shapes
    broadcast.
    """
    d = np.asarray(distance_m, dtype=np.float64)
    f = np.asarray(focal_m, dtype=np.float64)
    light = t_over_n - 1.0
    if pupil_known:
        return np.full(np.broadcast_shapes(d.shape, f.shape), light)
    ratio = d / f
    steps = np.where(ratio > 60.0, 0.05, np.where(ratio >= 15.0, 0.10, 0.20))
    u_far_forward = focus_state(d, f, thin_pupil(f)).pupil_distance_m - RETROFOCUS_REACH_M
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(u_far_forward > 0, (1.0 + RETROFOCUS_REACH_M / u_far_forward) ** 2 - 1.0, np.inf)
    spread: Floats = np.where(f < WIDE_FOCAL_M, np.maximum(steps, reach), steps) + light
    return spread
