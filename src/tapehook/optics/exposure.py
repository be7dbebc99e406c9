"""Exposure: stop, EI, shutter, filters and the light on the subject, each from the others.

For an incident meter T^2/t = E S/C: T the T-number, t the time in seconds, E the light in lux, S the EI, C the
constant of the meter in lux seconds (Wikipedia, Light meter, citing ISO 2720:1974). The trade's own form,
foot-candles = 25 T^2/(S t) (credited to D. Mullen), has C = 25 foot-candle seconds = 269 lx s. A filter of density D
lets 10^-D through. A shutter of angle a at a frame rate r is open for a/(360 r) (Wikipedia, Shutter speed, citing
B. Brown, Cinematography, 2002). Exposure follows T, never N. All arguments broadcast unless said otherwise.
"""

import math
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

CINE_METER_LX_S = 25.0 / 0.3048**2
"""Constant of the trade's rule, 25 foot-candle seconds in lux seconds, 269.1."""
ISO_METER_LX_S = 250.0
"""The constant C that many tables use, within ISO 2720 for a flat receptor (240 to 400; from memory)."""
REFLECTED_CD_S_M2 = 12.5
"""K of a reflected-light meter (ISO 2720: 10.6 to 13.4; 12.5 and 14 in use)."""
DENSITY_PER_STOP = math.log10(2.0)

Quantity = Literal["t_stop", "ei", "time_s", "density", "light_lux"]
"""What can be solved for."""


def shutter_time_s(angle_deg: npt.ArrayLike, frame_rate_fps: npt.ArrayLike) -> Floats:
    """Seconds a shutter of ``angle_deg`` is open at ``frame_rate_fps``: angle/(360 rate)."""
    t: Floats = np.asarray(angle_deg, dtype=np.float64) / (360.0 * np.asarray(frame_rate_fps, dtype=np.float64))
    return t


def shutter_angle_deg(time_s: npt.ArrayLike, frame_rate_fps: npt.ArrayLike) -> Floats:
    """Angle that is open for ``time_s``: the inverse of ``shutter_time_s``; above 360 no shutter can give it."""
    a: Floats = 360.0 * np.asarray(time_s, dtype=np.float64) * np.asarray(frame_rate_fps, dtype=np.float64)
    return a


def density_of_stops(stops: npt.ArrayLike) -> Floats:
    """Density that takes so many stops: 0.30103 each."""
    d: Floats = np.asarray(stops, dtype=np.float64) * DENSITY_PER_STOP
    return d


def stops_of_density(density: npt.ArrayLike) -> Floats:
    """Stops that a density takes, D/0.30103: an ND 0.3 takes 0.997."""
    s: Floats = np.asarray(density, dtype=np.float64) / DENSITY_PER_STOP
    return s


def stops_of_factor(factor: npt.ArrayLike) -> Floats:
    """Stops that a filter factor takes, log2 of it (Kodak, Cinematographer's Field Guide)."""
    s: Floats = np.log2(np.asarray(factor, dtype=np.float64))
    return s


def exposure_value(f_number: npt.ArrayLike, time_s: npt.ArrayLike) -> Floats:
    """EV = log2(N^2/t): 0 for f/1 and 1 s (Wikipedia, Exposure value)."""
    n = np.asarray(f_number, dtype=np.float64)
    ev: Floats = np.log2(n * n / np.asarray(time_s, dtype=np.float64))
    return ev


def light_of_ev_lux(ev: npt.ArrayLike, iso: float = 100.0, meter_lx_s: float = ISO_METER_LX_S) -> Floats:
    """Light on the subject in lux that an incident meter of constant C reads as ``ev``: 2^EV C/S."""
    lux: Floats = np.exp2(np.asarray(ev, dtype=np.float64)) * meter_lx_s / iso
    return lux


def luminance_of_ev_cd_m2(ev: npt.ArrayLike, iso: float = 100.0, meter_cd_s_m2: float = REFLECTED_CD_S_M2) -> Floats:
    """Luminance in cd/m2 that a reflected-light meter of constant K reads as ``ev``: 2^EV K/S."""
    luminance: Floats = np.exp2(np.asarray(ev, dtype=np.float64)) * meter_cd_s_m2 / iso
    return luminance


def implied_grey(
    meter_cd_s_m2: npt.ArrayLike = REFLECTED_CD_S_M2, meter_lx_s: npt.ArrayLike = ISO_METER_LX_S
) -> Floats:
    """Reflectance of a matt card on which both meters agree, pi K/C (S. Yedlin, Exposure Equation)."""
    grey: Floats = np.pi * np.asarray(meter_cd_s_m2, dtype=np.float64) / np.asarray(meter_lx_s, dtype=np.float64)
    return grey


def stops_over(
    t_stop: npt.ArrayLike,
    ei: npt.ArrayLike,
    time_s: npt.ArrayLike,
    density: npt.ArrayLike,
    light_lux: npt.ArrayLike,
    meter_lx_s: float = CINE_METER_LX_S,
) -> Floats:
    """Stops by which the exposure is over what the meter asks for, negative when under: log2(E S t 10^-D/(C T^2))."""
    t, s, time, light = (np.asarray(value, dtype=np.float64) for value in (t_stop, ei, time_s, light_lux))
    over: Floats = np.log2(light * s * time / (meter_lx_s * t * t)) - stops_of_density(density)
    return over


def solve_exposure(
    solved: Quantity,
    *,
    t_stop: float = 1.0,
    ei: float = 1.0,
    time_s: float = 1.0,
    density: float = 0.0,
    light_lux: float = 1.0,
    meter_lx_s: float = CINE_METER_LX_S,
) -> float:
    """The one quantity that makes the exposure right, from the others; its own argument is left at its default.

    A density may come out negative: that much light is missing. Raises ValueError unless all others are above zero.
    """
    if min(t_stop, ei, time_s, light_lux, meter_lx_s) <= 0:
        raise ValueError("stop, EI, time, light and constant must be above zero")
    over = float(stops_over(t_stop, ei, time_s, density, light_lux, meter_lx_s))
    match solved:
        case "t_stop":
            return float(t_stop * 2.0 ** (over / 2.0))
        case "density":
            return over * DENSITY_PER_STOP
    found = {"ei": ei, "time_s": time_s, "light_lux": light_lux}[solved]
    return float(found * 2.0**-over)


def speed_change_stops(
    from_fps: npt.ArrayLike, to_fps: npt.ArrayLike, *, keep: Literal["angle", "time"] = "angle"
) -> Floats:
    """Stops of light lost by going from one frame rate to another: log2 of their ratio, 0 when the time is kept.

    Negative when slowing down, which gains light. To hold the exposure through a ramp, open up by so much.
    """
    ratio = np.asarray(to_fps, dtype=np.float64) / np.asarray(from_fps, dtype=np.float64)
    lost: Floats = np.log2(ratio) if keep == "angle" else np.zeros_like(ratio)
    return lost
