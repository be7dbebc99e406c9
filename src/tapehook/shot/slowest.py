"""The slowest pull: the least peak speed with which a ring can follow a tube, exactly.

A line through the tube that is never faster than v exists when, and only when, for every two moments i < j

    low_j - high_i <= v (t_j - t_i)   and   low_i - high_j <= v (t_j - t_i)

(E. McShane, Extension of range of functions, 1934: a function that is v-Lipschitz between what binds it can be
extended). So the least v is the largest of these ratios, found without going through the pairs by Dinkelbach's method:
with a guess v, the pair with the largest low_j - v t_j - (high_i - v t_i) gives the next v, until no pair asks for more
(W. Dinkelbach, On nonlinear fractional programming, Management Science 13, 1967). Each round is one pass.
"""

import numpy as np
import numpy.typing as npt

from tapehook.shot.tube import Tube

Floats = npt.NDArray[np.float64]

_MOST_ROUNDS = 200


def slowest_peak_speed(tube: Tube) -> float:
    """The least peak speed that stays in the tube, degrees a second; 0 where one position is sharp throughout."""
    time = tube.time_s
    speed = 0.0
    for low, high in ((tube.low, tube.high), (-tube.high, -tube.low)):
        speed = _rising(time, low, high, speed)
    return speed


def _rising(time: Floats, low: Floats, high: Floats, speed: float) -> float:
    """The least speed, at least ``speed``, that climbs as fast as the tube asks."""
    for _ in range(_MOST_ROUNDS):
        start = high - speed * time
        first = np.minimum.accumulate(start)
        need = (low - speed * time)[1:] - first[:-1]
        j = int(np.argmax(need)) + 1
        if not need[j - 1] > 0:
            break
        i = int(np.argmin(start[:j]))
        nxt = float((low[j] - high[i]) / (time[j] - time[i]))
        if nxt <= speed:  # no more than rounding
            break
        speed = nxt
    return speed


def slow_line(tube: Tube, speed: float) -> Floats:
    """A line (K,) through the tube that is never faster than ``speed``, at least ``slowest_peak_speed``.

    Half way between the highest and the lowest such lines, each the envelope of cones over the bounds.
    """
    highest = _envelope(tube.high, speed * tube.step_s)
    lowest = -_envelope(-tube.low, speed * tube.step_s)
    line: Floats = np.clip((highest + lowest) / 2.0, tube.low, tube.high)
    return line


def _envelope(high: Floats, rise: float) -> Floats:
    """min over i of high_i + rise |j - i|, (K,)."""
    slope = rise * np.arange(high.size)
    forward = np.minimum.accumulate(high - slope) + slope
    backward = np.minimum.accumulate((high + slope)[::-1])[::-1] - slope
    lowest: Floats = np.minimum(forward, backward)
    return lowest
