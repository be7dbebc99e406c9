"""What heat does to focus: a shift in vergence per kelvin, as if the sensor moved, from marks found warm and cold.

A barrel that grows by delta moves the image plane against the lens, dq = -delta/f^2, the same at every distance: like a
flange error. Only marks found on the picture or a collimator can show it; an engraved mark moves with its ring.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ALUMINIUM_PER_K = 23.1e-6
"""Linear expansion of aluminium near 20 degrees Celsius, 1/K. Books give 23.1 to 24: Wikipedia, Thermal expansion;
R. Serway, C. Vuille, College Physics, 9th ed. (2012), table of expansion."""
SAME_TEMPERATURE_K = 1.0
"""Temperatures closer than this are one: thermometers and barrels differ by as much. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Drift:
    """Drift of focus, dioptres per kelvin with one standard deviation: positive, the ring must go nearer when warmer.

    ``low_c`` and ``high_c`` are the outermost temperatures used, ``readings`` how many readings, ``misfit`` the mean
    square of what is left in standard deviations (``sd_dpt_per_k`` has been made larger where that is above 1).
    """

    dpt_per_k: float
    sd_dpt_per_k: float
    low_c: float
    high_c: float
    readings: int
    misfit: float


def drift_of(
    setting: npt.ArrayLike,
    temperature_c: npt.ArrayLike,
    position: npt.ArrayLike,
    slope_per_dpt: npt.ArrayLike,
    sd: npt.ArrayLike,
) -> Drift | None:
    """Drift from n readings (n,); None when no setting was read at two temperatures.

    ``setting`` numbers what is the same but for heat: a distance and a way of turning. ``position`` with its standard
    deviation ``sd``, and ``slope_per_dpt`` of the map there, positive where positions rise toward near, are in the
    unit of the read-out. Least squares of position within each setting on slope times temperature.
    """
    group = np.asarray(setting)
    t, y, s, e = (np.asarray(a, dtype=np.float64) for a in (temperature_c, position, slope_per_dpt, sd))
    weight = 1.0 / e**2
    x = s * t
    used = np.zeros(t.shape, dtype=bool)
    x_off, y_off = np.zeros_like(x), np.zeros_like(y)
    groups = 0
    for one in np.unique(group):
        here = group == one
        if np.ptp(t[here]) >= SAME_TEMPERATURE_K:
            used |= here
            groups += 1
            x_off[here] = x[here] - np.average(x[here], weights=weight[here])
            y_off[here] = y[here] - np.average(y[here], weights=weight[here])
    information = float((weight * x_off**2).sum())
    if information == 0.0:
        return None
    kappa = float((weight * x_off * y_off).sum() / information)
    free = int(used.sum()) - groups - 1
    left = float((weight * (y_off - kappa * x_off) ** 2)[used].sum()) / free if free > 0 else 0.0
    sd_kappa = float(np.sqrt(max(left, 1.0) / information))
    return Drift(kappa, sd_kappa, float(t[used].min()), float(t[used].max()), int(used.sum()), left)


def sensor_shift_m(dpt: npt.ArrayLike, focal_m: npt.ArrayLike) -> Floats:
    """The shift of the sensor that would move focus alike, -dq f^2 metres; positive: the sensor too far back."""
    f = np.asarray(focal_m, dtype=np.float64)
    shift: Floats = -np.asarray(dpt, dtype=np.float64) * f * f
    return shift


def barrel_growth_m(length_m: npt.ArrayLike, kelvin: npt.ArrayLike) -> Floats:
    """Growth of an aluminium barrel of ``length_m`` warmed by ``kelvin``, metres."""
    growth: Floats = ALUMINIUM_PER_K * np.asarray(length_m, dtype=np.float64) * np.asarray(kelvin, dtype=np.float64)
    return growth
