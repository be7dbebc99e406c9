"""Path loss in dB over distances in metres at frequencies in MHz, with the spread where a model gives one.

Sources: ITU-R P.525 (free space), ITU-R P.1411 section 4.1.1 table 4 (short paths outdoors, both ends low), ITU-R
P.1238 (indoors); two rays and log-distance are textbook forms. P.1411 and P.1238 already hold clutter: none is added.
"""

import math
from dataclasses import dataclass
from typing import Literal

Surroundings = Literal["free_space", "in_sight", "no_sight", "homes"]
LIGHT_M_S = 299_792_458.0
NEAREST_M = 0.1
"""Distances below this count as this: the models are for the far field."""


@dataclass(frozen=True, slots=True)
class ShortPath:
    """One set of P.1411 figures: 10 a log10(d) + b + 10 g log10(f/GHz), normal spread ``spread_db``, valid range."""

    a: float
    b_db: float
    g: float
    spread_db: float
    low_ghz: float
    from_m: float
    to_m: float

    def loss_db(self, frequency_mhz: float, distance_m: float) -> float:
        """Median loss."""
        return (
            10.0 * self.a * math.log10(max(distance_m, NEAREST_M))
            + self.b_db
            + 10.0 * self.g * math.log10(frequency_mhz / 1e3)
        )


IN_SIGHT = ShortPath(2.12, 29.2, 2.11, 5.06, 0.8, 5.0, 660.0)
NO_SIGHT = ShortPath(4.00, 10.2, 2.36, 7.60, 0.8, 30.0, 715.0)
HOMES = ShortPath(3.01, 18.8, 2.07, 3.07, 0.8, 30.0, 170.0)
SHORT_PATHS: dict[str, ShortPath] = {"in_sight": IN_SIGHT, "no_sight": NO_SIGHT, "homes": HOMES}


def free_space_db(frequency_mhz: float, distance_m: float) -> float:
    """Free-space loss with the rounded constant of ITU-R P.525: 32.4 + 20 log10(f) + 20 log10(d/km)."""
    return 32.4 + 20.0 * math.log10(frequency_mhz) + 20.0 * math.log10(max(distance_m, NEAREST_M) / 1e3)


def free_space_exact_db(frequency_mhz: float, distance_m: float) -> float:
    """20 log10(4 pi d f / c), 0.05 dB above the rounded form."""
    return 20.0 * math.log10(4.0 * math.pi * max(distance_m, NEAREST_M) * frequency_mhz * 1e6 / LIGHT_M_S)


def two_ray_breakpoint_m(frequency_mhz: float, sender_height_m: float, receiver_height_m: float) -> float:
    """Distance from which the ray off the ground matters: 4 pi ht hr / lambda."""
    return 4.0 * math.pi * sender_height_m * receiver_height_m * frequency_mhz * 1e6 / LIGHT_M_S


def two_ray_db(frequency_mhz: float, distance_m: float, sender_height_m: float, receiver_height_m: float) -> float:
    """40 log10(d) - 20 log10(ht hr) beyond the breakpoint, free space below it."""
    if distance_m <= two_ray_breakpoint_m(frequency_mhz, sender_height_m, receiver_height_m):
        return free_space_db(frequency_mhz, distance_m)
    return 40.0 * math.log10(distance_m) - 20.0 * math.log10(sender_height_m * receiver_height_m)


def log_distance_db(loss_at_reference_db: float, exponent: float, distance_m: float, reference_m: float = 1.0) -> float:
    """Loss known at a reference distance, carried on with an exponent: 2 in free space, more with obstruction."""
    return loss_at_reference_db + 10.0 * exponent * math.log10(max(distance_m, NEAREST_M) / reference_m)


def indoor_db(frequency_mhz: float, distance_m: float, exponent_n: float = 30.0, floors_db: float = 0.0) -> float:
    """ITU-R P.1238: 20 log10(f) + N log10(d) + Lf - 28. N about 30 in offices at 2.4 GHz is from memory."""
    return 20.0 * math.log10(frequency_mhz) + exponent_n * math.log10(max(distance_m, NEAREST_M)) + floors_db - 28.0


def path_loss_db(surroundings: Surroundings, frequency_mhz: float, distance_m: float) -> float:
    """Median loss in the surroundings chosen; never less than in free space."""
    free = free_space_db(frequency_mhz, distance_m)
    if surroundings == "free_space":
        return free
    return max(free, SHORT_PATHS[surroundings].loss_db(frequency_mhz, distance_m))


def spread_db(surroundings: Surroundings) -> float:
    """sd of the loss about its median, dB; none in free space."""
    return 0.0 if surroundings == "free_space" else SHORT_PATHS[surroundings].spread_db


def field_eirp_mw(field_v_m: float, distance_m: float) -> float:
    """EIRP in milliwatts behind a field strength at a distance in free space: (E d)^2 / 30."""
    return (field_v_m * distance_m) ** 2 / 30.0 * 1e3


def dbm(milliwatts: float) -> float:
    """A power in dBm; minus infinity for none."""
    return 10.0 * math.log10(milliwatts) if milliwatts > 0.0 else -math.inf


def milliwatts(level_dbm: float) -> float:
    """A level as power."""
    return float(10.0 ** (level_dbm / 10.0))
