"""An independent simulation of a stop pull: the positions told to the motors turned back into light.

Nothing of the code under test is used: the iris is a law of its own, the polarisers are Malus's law twice over, the
gears are a play that takes up slack, and one motor runs behind the other.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

TICK_S = 0.001


def ring_of_stops(stops: Floats) -> Floats:
    """A made-up iris ring: degrees for stops from T1, a little cramped at its small end."""
    return 5.0 + 9.0 * stops * (1.0 - 0.02 * stops)


def stops_of_ring(degrees: Floats) -> Floats:
    """Stops from T1 for degrees of that ring, by solving the square equation."""
    return (1.0 - np.sqrt(1.0 - 0.08 * (degrees - 5.0) / 9.0)) / 0.04


def pair_stops(k0: float, k90: float) -> Callable[[Floats], Floats]:
    """Stops a pair of polarisers takes at an angle: the light of the two directions added up."""

    def taken(angle_deg: Floats) -> Floats:
        along, across = np.cos(np.radians(angle_deg)) ** 2, np.sin(np.radians(angle_deg)) ** 2
        stops: Floats = -np.log2(k0 * along + k90 * across)
        return stops

    return taken


def behind_gears(told: Floats, play: float) -> Floats:
    """Where a ring is that follows with slack: it is pushed from one side or the other, and rests between.

    It comes to the first place from the side away from the first move.
    """
    moves = np.flatnonzero(np.diff(told))
    way = np.sign(np.diff(told)[moves[0]]) if moves.size else 0.0
    ring = np.empty_like(told)
    at = told[0] - way * play / 2.0
    for k, place in enumerate(told):
        at = min(max(at, place - play / 2.0), place + play / 2.0)
        ring[k] = at
    return ring


def exposure_drift(
    times_s: Floats,
    iris_deg: Floats,
    extra_deg: Floats,
    stops_of_iris: Callable[[Floats], Floats],
    stops_of_filter: Callable[[Floats], Floats],
    *,
    iris_play: float = 0.0,
    extra_play: float = 0.0,
    iris_lag_s: float = 0.0,
    extra_lag_s: float = 0.0,
) -> tuple[Floats, Floats]:
    """Moments a millisecond apart, and the exposure then in stops: what iris and filter take, below nought."""
    ticks = np.arange(times_s[0], times_s[-1] + 0.1, TICK_S)
    iris = behind_gears(np.interp(ticks - iris_lag_s, times_s, iris_deg), iris_play)
    extra = behind_gears(np.interp(ticks - extra_lag_s, times_s, extra_deg), extra_play)
    drift: Floats = -(stops_of_iris(iris) + stops_of_filter(extra))
    return ticks, drift
