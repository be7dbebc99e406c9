"""How well a distance is taped."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def taping_sd_m(distance_m: npt.ArrayLike) -> Floats:
    """Standard deviation of a taped distance, metres: sqrt(3^2 + (3 D/m)^2) mm; 0 at infinity, which is not taped.

    Common practice, no source: a careful tape to a chart, 3 mm of hook and chart, 3 mm a metre of sag and angle.
    """
    d = np.asarray(distance_m, dtype=np.float64)
    sd: Floats = np.where(np.isfinite(d), np.hypot(3e-3, 3e-3 * np.where(np.isfinite(d), d, 0.0)), 0.0)
    return sd
