"""Dew on cold glass: at what temperature it forms, and how long until a lens has warmed past it.

The pressure of saturated water vapour by the Magnus formula, 6.1094 hPa exp(17.625 t/(243.04 + t)), with the constants
of O. Alduchov, R. Eskridge, Improved Magnus Form Approximation of Saturation Vapor Pressure, J. Applied Meteorology 35
(1996): within 0.4 % from -40 to 50 degrees Celsius, over water. Glass at or below the dew point of the air fogs.
Over ice the pressure is less, 6.1121 hPa exp(22.587 t/(273.86 + t)) of the same paper, so that below freezing frost
settles on glass that is still above the dew point.

A lens takes on the temperature of the air by Newton's law of cooling (Wikipedia, Newton's law of cooling): the
difference falls by e in each time constant, which depends on the lens and is an assumption unless measured.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_HPA, _SLOPE, _OFFSET_C = 6.1094, 17.625, 243.04
_ICE_HPA, _ICE_SLOPE, _ICE_OFFSET_C = 6.1121, 22.587, 273.86
LOWEST_C, HIGHEST_C = -40.0, 50.0
"""Where the constants hold."""
USUAL_TIME_CONSTANT_S = 30.0 * 60.0
"""How long a lens in still air takes for 63 % of the way. Common practice, no source: the glass inside lags."""
TAKEN_ON_K = 1.0
"""A lens this near the air has taken on its temperature."""


def saturation_hpa(temperature_c: npt.ArrayLike) -> Floats:
    """Pressure of saturated water vapour, hectopascal, at temperatures of any shape."""
    t = np.asarray(temperature_c, dtype=np.float64)
    found: Floats = _HPA * np.exp(_SLOPE * t / (_OFFSET_C + t))
    return found


def dew_point_c(air_c: npt.ArrayLike, humidity: npt.ArrayLike) -> Floats:
    """Dew point of air of a relative ``humidity`` (0 to 1], degrees Celsius. Shapes that broadcast.

    Raises ValueError for a humidity outside 0 to 1.
    """
    h = np.asarray(humidity, dtype=np.float64)
    if not (np.all(h > 0) and np.all(h <= 1)):
        raise ValueError("humidity must be above 0 and at most 1")
    t = np.asarray(air_c, dtype=np.float64)
    part = np.log(h) + _SLOPE * t / (_OFFSET_C + t)
    found: Floats = _OFFSET_C * part / (_SLOPE - part)
    return found


def frost_point_c(dew_c: npt.ArrayLike) -> Floats:
    """Where frost forms in air of a dew point, degrees Celsius, any shape: above it below freezing, else the same."""
    dew = np.asarray(dew_c, dtype=np.float64)
    part = np.log(saturation_hpa(dew) / _ICE_HPA)
    frost = _ICE_OFFSET_C * part / (_ICE_SLOPE - part)
    found: Floats = np.where(dew < 0.0, np.maximum(np.minimum(frost, 0.0), dew), dew)
    return found


def time_to_reach_s(
    from_c: npt.ArrayLike, air_c: npt.ArrayLike, to_c: npt.ArrayLike, time_constant_s: npt.ArrayLike
) -> Floats:
    """Seconds until something at ``from_c`` in air at ``air_c`` has come to ``to_c`` on its way to the air.

    time constant times ln((air - from)/(air - to)), shapes that broadcast: 0 where it is past that or has the air's
    temperature already, inf where the way ends before.
    """
    air = np.asarray(air_c, dtype=np.float64)
    start, end = (air - np.asarray(one, dtype=np.float64) for one in (from_c, to_c))
    there = start == 0
    left = end / np.where(there, 1.0, start)
    with np.errstate(divide="ignore", invalid="ignore"):
        time = -np.asarray(time_constant_s, dtype=np.float64) * np.log(left)
    found: Floats = np.where(there | (left >= 1.0), 0.0, np.where(left <= 0.0, np.inf, time))
    return found
