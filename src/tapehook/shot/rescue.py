"""When no pull stays sharp: how little softness is enough, which frames go soft, and the widest stop that works.

All linear programs over the line itself, solved by HiGHS (Q. Huangfu, J. Hall, Parallelizing the dual revised simplex
method, Mathematical Programming Computation 10, 2018); the fewest soft frames are a mixed-integer one, and exact.
"""

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from tapehook.shot.pull import Limits, NoPull, smoothest_pull
from tapehook.shot.slowest import slowest_peak_speed
from tapehook.shot.tube import Tube

if TYPE_CHECKING:
    from scipy.sparse import csc_array

Floats = npt.NDArray[np.float64]

STOP_TOLERANCE = 0.002
"""Stops, in powers of the square root of two, to which the widest one is found."""


@dataclass(frozen=True, slots=True)
class Demand:
    """What a shot asks for, which may be impossible: (K,) each, degrees, ``step_s`` seconds apart.

    ``low`` may lie above ``high`` where two people cannot both be sharp. ``room`` is how many degrees half the depth of
    field takes, by which softness is measured.
    """

    step_s: float
    low: Floats
    high: Floats
    room: Floats

    @property
    def tube(self) -> Tube | None:
        """The tube, None where some moment has nothing sharp."""
        return None if np.any(self.low > self.high) else Tube(self.step_s, self.low, self.high)


@dataclass(frozen=True, slots=True)
class Softness:
    """The least softness: the most, at any moment, that the line (K,) lies outside, in half depths; 0 is sharp."""

    used_beyond: float
    position: Floats


@dataclass(frozen=True, slots=True)
class SoftFrames:
    """The frames (K,) that go soft, as few as can be, and a line (K,) that is sharp at all others."""

    soft: npt.NDArray[np.bool_]
    position: Floats


def can_follow(tube: Tube, limits: Limits) -> bool:
    """True when the motor can follow some line through the tube."""
    if limits.speed is not None and slowest_peak_speed(tube) > limits.speed * (1.0 + 1e-9):
        return False
    if limits.acceleration is None or tube.low.size < 3:
        return True
    # The smoothest line is found in a quarter of the time; that there is none only the linear program may say.
    if np.all(np.isfinite(tube.low) & np.isfinite(tube.high)):
        with suppress(NoPull):
            smoothest_pull(tube, limits)
            return True
    from scipy import optimize

    linprog: Any = optimize.linprog  # its stubs know nothing of sparse rows
    motor, most = _motor(tube.low.size, tube.step_s, limits)
    bounds = np.column_stack([tube.low, tube.high])
    found = linprog(np.zeros(tube.low.size), A_ub=motor, b_ub=most, bounds=bounds, method="highs")
    return bool(found.status == 0)


def least_softness(
    demand: Demand, limits: Limits | None = None, reach: tuple[float, float] = (-np.inf, np.inf)
) -> Softness:
    """The line whose worst moment is the least soft: min s with low - s room <= x <= high + s room.

    ``reach`` are the ends of the ring, which no line leaves.
    """
    from scipy import optimize
    from scipy.sparse import csc_array, eye_array, hstack, vstack

    linprog: Any = optimize.linprog
    n = demand.low.size
    motor, most = _motor(n, demand.step_s, limits or Limits())
    own, room = eye_array(n, format="csc"), csc_array(demand.room[:, None])
    rows = vstack([hstack([-own, -room]), hstack([own, -room]), hstack([motor, csc_array((motor.shape[0], 1))])])
    ends = np.concatenate([-demand.low, demand.high, most])
    cost = np.append(np.zeros(n), 1.0)
    found = linprog(cost, A_ub=rows, b_ub=ends, bounds=[reach] * n + [(0.0, np.inf)], method="highs")
    if found.status != 0:  # standing still is always allowed: with room at every moment there is an answer
        raise ValueError("softness has no measure: a moment without room")
    return Softness(float(found.x[-1]), np.asarray(found.x[:-1]))


def fewest_soft_frames(
    demand: Demand, limits: Limits | None = None, *, most_seconds: float = 10.0
) -> SoftFrames | None:
    """The fewest frames that must go soft; None when that could not be proven within ``most_seconds``."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csc_array, diags_array, eye_array, hstack, vstack

    n = demand.low.size
    motor, most = _motor(n, demand.step_s, limits or Limits())
    reach = (min(demand.low.min(), demand.high.min()), max(demand.low.max(), demand.high.max()))
    # A soft frame may be anywhere the others ask for: it never needs to leave their range.
    up, down = np.maximum(demand.low - reach[0], 0.0), np.maximum(reach[1] - demand.high, 0.0)
    own = eye_array(n, format="csc")
    rows = vstack(
        [
            hstack([-own, -diags_array(up)]),
            hstack([own, -diags_array(down)]),
            hstack([motor, csc_array(motor.shape)]),
        ],
        format="csc",
    )
    ends = np.concatenate([-demand.low, demand.high, most])
    found = milp(
        np.concatenate([np.zeros(n), np.ones(n)]),
        integrality=np.concatenate([np.zeros(n), np.ones(n)]),
        bounds=Bounds(np.repeat([reach[0], 0.0], n), np.repeat([reach[1], 1.0], n)),
        constraints=LinearConstraint(rows, ub=ends),
        options={"time_limit": most_seconds, "mip_rel_gap": 0.0},
    )
    if found.status != 0:
        return None
    return SoftFrames(found.x[n:] > 0.5, np.asarray(found.x[:n]))


def widest_stop(
    tube_of: Callable[[float], Tube | None], limits: Limits, widest: float, smallest: float
) -> float | None:
    """The smallest f-number between ``widest`` and ``smallest`` at which the motor can follow; None when none is.

    ``tube_of`` gives the tube at an f-number, None where it is empty somewhere. Tubes grow with the f-number, so the
    answer is found by halving, to a fiftieth of a third of a stop.
    """

    def works(f_number: float) -> bool:
        tube = tube_of(f_number)
        return tube is not None and can_follow(tube, limits)

    if works(widest):
        return widest
    if not works(smallest):
        return None
    low, high = 2.0 * math.log2(widest), 2.0 * math.log2(smallest)
    while high - low > STOP_TOLERANCE:
        middle = (low + high) / 2.0
        low, high = (low, middle) if works(2.0 ** (middle / 2.0)) else (middle, high)
    return float(2.0 ** (high / 2.0))


def _motor(n: int, step_s: float, limits: Limits) -> tuple["csc_array", Floats]:
    """What the motor asks of a line (n,): rows and their upper ends."""
    from scipy import sparse
    from scipy.sparse import csc_array, vstack

    diags_array: Any = sparse.diags_array  # its stubs ask for plain lists
    rows: list[csc_array] = []
    ends: list[Floats] = []
    if limits.speed is not None and n > 1:
        first = csc_array(diags_array([-np.ones(n - 1), np.ones(n - 1)], offsets=[0, 1], shape=(n - 1, n)))
        rows += [first, -first]
        ends += [np.full(2 * (n - 1), limits.speed * step_s)]
    if limits.acceleration is not None and n > 2:
        ones = np.ones(n - 2)
        second = csc_array(diags_array([ones, -2.0 * ones, ones], offsets=[0, 1, 2], shape=(n - 2, n)))
        rows += [second, -second]
        ends += [np.full(2 * (n - 2), limits.acceleration * step_s**2)]
    if not rows:
        return csc_array((0, n)), np.zeros(0)
    return csc_array(vstack(rows, format="csc")), np.concatenate(ends)
