"""The smoothest pull through a tube: least acceleration in all, within the speed and acceleration of the motor.

min of the sum over the moments of ((x_{k-1} - 2 x_k + x_{k+1})/h^2)^2 h, with low <= x <= high and, where the motor has
limits, |x_{k+1} - x_k| <= v h and |x_{k-1} - 2 x_k + x_{k+1}| <= a h^2: a convex quadratic program with three
diagonals, solved by PIQP's interior point method (R. Schwan, Y. Jiang, D. Kuhn, C. Jones, PIQP: A Proximal
Interior-Point Quadratic Programming Solver, 2023).
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tapehook.shot.slowest import slow_line, slowest_peak_speed
from tapehook.shot.tube import Tube

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

Floats = npt.NDArray[np.float64]

TOLERANCE = 1e-9
ALMOST = 1e-9
"""A speed within this part of the least possible one leaves no choice: the slowest line is taken."""


class NoPull(ValueError):
    """No line stays in the tube within the limits of the motor."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the ring can do, degrees a second and degrees a second squared; None where nothing is known."""

    speed: float | None = None
    acceleration: float | None = None


@dataclass(frozen=True, slots=True)
class Pull:
    """A line (K,) through a tube, degrees; ``roughness`` is the integral of its squared acceleration, deg^2/s^3."""

    tube: Tube
    position: Floats

    @property
    def roughness(self) -> float:
        """Sum of squared accelerations times the step."""
        return float(np.sum(self.acceleration**2) * self.tube.step_s)

    @property
    def speed(self) -> Floats:
        """Degrees a second between the moments, (K - 1,)."""
        found: Floats = np.diff(self.position) / self.tube.step_s
        return found

    @property
    def acceleration(self) -> Floats:
        """Degrees a second squared at the moments but the first and last, (K - 2,)."""
        found: Floats = np.diff(self.position, 2) / self.tube.step_s**2
        return found

    @property
    def peak_speed(self) -> float:
        """The largest speed, either way."""
        return float(np.abs(self.speed).max())


def smoothest_pull(tube: Tube, limits: Limits | None = None) -> Pull:
    """The smoothest line through ``tube`` that the motor can follow. Raises NoPull when there is none."""
    asked = limits or Limits()
    if tube.low.size == 2:
        return slowest_pull(tube, asked)
    if asked.speed is not None:
        least = slowest_peak_speed(tube)
        if least > asked.speed * (1.0 + ALMOST):
            raise NoPull(f"it takes {least:.4g} degrees a second, the motor has {asked.speed:.4g}")
        if asked.acceleration is None and least > asked.speed * (1.0 - ALMOST):
            return Pull(tube, slow_line(tube, least))
    return Pull(tube, _solve(tube, asked))


def slowest_pull(tube: Tube, limits: Limits | None = None) -> Pull:
    """A line with the least peak speed there is. Raises NoPull when that is faster than the motor."""
    least = slowest_peak_speed(tube)
    if limits and limits.speed is not None and least > limits.speed * (1.0 + ALMOST):
        raise NoPull(f"it takes {least:.4g} degrees a second, the motor has {limits.speed:.4g}")
    return Pull(tube, slow_line(tube, least))


def _solve(tube: Tube, limits: Limits) -> Floats:
    import piqp  # type: ignore[import-untyped]
    from scipy import sparse

    n, h = tube.low.size, tube.step_s
    # In widths of the tube and from its middle, seconds left out: numbers the solver's tolerances are made for.
    middle = float(np.median(_finite((tube.low + tube.high) / 2.0)))
    unit = max(float(np.median(_finite(tube.high - tube.low))), 1e-6)
    rows, ends = [], []
    if limits.speed is not None:
        rows.append(sparse.diags([-1.0, 1.0], [0, 1], shape=(n - 1, n), format="csc"))
        ends.append(np.full(n - 1, limits.speed * h / unit))
    if limits.acceleration is not None:
        rows.append(sparse.diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(n - 2, n), format="csc"))
        ends.append(np.full(n - 2, limits.acceleration * h * h / unit))
    solver = piqp.SparseSolver()
    settings = solver.settings
    settings.eps_abs = settings.eps_rel = TOLERANCE
    settings.check_duality_gap = True
    settings.eps_duality_gap_abs = settings.eps_duality_gap_rel = TOLERANCE
    bound = np.concatenate(ends) if ends else None
    solver.setup(
        _roughness_rows(n),
        np.zeros(n),
        None,
        None,
        sparse.vstack(rows, format="csc") if rows else None,
        -bound if bound is not None else None,
        bound,
        (tube.low - middle) / unit,
        (tube.high - middle) / unit,
    )
    status = solver.solve()
    if status != piqp.PIQP_SOLVED:
        raise NoPull("no line stays in the tube within the speed and acceleration of the motor")
    found: Floats = np.clip(solver.result.x * unit + middle, tube.low, tube.high)
    return found


def _roughness_rows(n: int) -> "csc_matrix":
    """Twice the product of second differences with themselves, five diagonals (n, n), written down as they come."""
    from scipy.sparse import csc_matrix

    beside = np.zeros((n, 5))  # column j: its rows j - 2 to j + 2
    for at, one in enumerate((1.0, -2.0, 1.0)):
        for other, two in enumerate((1.0, -2.0, 1.0)):
            beside[at : n - 2 + at, 2 + other - at] += 2.0 * one * two
    rows = np.arange(n)[:, None] + np.arange(-2, 3)
    there = (rows >= 0) & (rows < n)
    starts = np.concatenate([[0], np.cumsum(there.sum(axis=1))])
    return csc_matrix((beside[there], rows[there], starts), shape=(n, n))


def _finite(values: Floats) -> Floats:
    """The finite ones, or nil where there is none."""
    found = values[np.isfinite(values)]
    return found if found.size else np.zeros(1)
