"""The geometric f-number behind a photometric T-stop, and the f-number as set close up.

Depth follows N, exposure follows T: T = N / sqrt(transmission). Source: OpenLensIO Lens Model 1.0.0, section 4.3;
Proposed American Standard PH22.90, J. SMPTE 59 (1952), section 5.5. Using T for depth makes it too wide.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ASSUMED_TRANSMISSION = 0.85
"""Share of light a cine lens passes, when nobody has measured it. Common practice, no source: about 0.7 to 0.95."""


def f_number_from_t(t_stop: npt.ArrayLike, transmission: npt.ArrayLike) -> Floats:
    """f-number N = T sqrt(transmission); T-number and transmission (0 to 1] of any shapes that broadcast.

    Raises ValueError when a T-number is not positive or a transmission is not in (0, 1].
    """
    t = np.asarray(t_stop, dtype=np.float64)
    tau = np.asarray(transmission, dtype=np.float64)
    if not np.all(t > 0):
        raise ValueError(f"T-number must be positive, got {t}")
    if not np.all((tau > 0) & (tau <= 1)):
        raise ValueError(f"transmission must be above 0 and at most 1, got {tau}")
    n: Floats = t * np.sqrt(tau)
    return n


def t_from_f_number(f_number: npt.ArrayLike, transmission: npt.ArrayLike) -> Floats:
    """T-number T = N / sqrt(transmission): the inverse of ``f_number_from_t``, same shapes, same errors."""
    n = np.asarray(f_number, dtype=np.float64)
    one: Floats = f_number_from_t(1.0, transmission)
    if not np.all(n > 0):
        raise ValueError(f"f-number must be positive, got {n}")
    t: Floats = n / one
    return t


def working_f_number(f_number: npt.ArrayLike, pupil_factor: npt.ArrayLike) -> Floats:
    """f-number as set close up, N (1 + m/P); ``pupil_factor`` from ``FocusState``.

    Source: D. Jacobson, Photographic Lenses Tutorial, item 4 (Ne = N (1 + M/p)).
    """
    n: Floats = np.asarray(f_number, dtype=np.float64) * np.asarray(pupil_factor, dtype=np.float64)
    return n
