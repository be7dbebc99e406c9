"""People near aerials: power density in the open, and the US limit for the public. Nothing here is for effects.

47 CFR 1.1310 table 1, averaged over 30 minutes: f/1500 mW/cm2 from 300 to 1500 MHz, 1.0 mW/cm2 from there to 100 GHz.
"""

import math

PORTABLE_M = 0.2
"""Nearer than this another rule holds (SAR, 47 CFR 2.1093)."""


def density_mw_cm2(eirp_mw: float, distance_m: float) -> float:
    """EIRP over the sphere: eirp / (4 pi d^2), mW/cm2."""
    return eirp_mw / (4.0 * math.pi * (100.0 * distance_m) ** 2)


def public_limit_mw_cm2(frequency_mhz: float) -> float:
    """The limit. Raises ValueError outside 300 MHz to 100 GHz."""
    if not 300.0 <= frequency_mhz <= 100_000.0:
        raise ValueError("300 MHz to 100 GHz")
    return frequency_mhz / 1500.0 if frequency_mhz <= 1500.0 else 1.0


def met_from_m(eirp_mw: float, frequency_mhz: float) -> float:
    """Distance from which the general public's limit is met, metres."""
    return math.sqrt(eirp_mw / (4.0 * math.pi * public_limit_mw_cm2(frequency_mhz))) / 100.0
