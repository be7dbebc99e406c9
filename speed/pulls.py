"""Pulls of two minutes at 24 frames a second, beside a modelling layer with its own solver and with another."""

import importlib
from collections.abc import Callable
from typing import Any

import numpy as np

from speed.harness import Case, Contender, case
from tapehook.shot.pull import Limits, smoothest_pull
from tapehook.shot.slowest import slowest_peak_speed
from tapehook.shot.tube import Tube

MOMENTS = 2880
LIMITS = Limits(speed=6.0, acceleration=8.0)
DEFAULT, CLARABEL = "CVXPY, its default solver", "CVXPY with Clarabel"


def tube() -> Tube:
    """Two minutes of marks walked to and fro, rounded where they turn, with a degree or so of room; invented."""
    rng = np.random.default_rng(0)
    time = np.arange(MOMENTS) / 24.0
    line = np.interp(time, np.linspace(0.0, time[-1], 8), rng.normal(0.0, 40.0, 8).cumsum())
    line = np.convolve(np.pad(line, 96, mode="edge"), np.ones(193) / 193, "valid")
    room = 1.0 + 0.5 * np.sin(time / 7.0)
    return Tube(1.0 / 24.0, line - room, line + room)


@case(f"The smoothest pull, {MOMENTS:,} moments")
def smoothest() -> Case:
    """Least acceleration within the tube, motor without limits."""
    return _case(Limits(), 0.010)


@case(f"The smoothest pull within the motor's limits, {MOMENTS:,} moments")
def smoothest_limited() -> Case:
    """The same with rows for speed and acceleration."""
    return _case(LIMITS, 0.025)


@case(f"The slowest pull, {MOMENTS:,} moments")
def slowest() -> Case:
    """The least peak speed, by ratios, beside going through all pairs of moments."""
    lane = tube()
    return Case(
        ours=Contender("tapehook", lambda: slowest_peak_speed(lane)),
        peers=(Contender("all pairs, NumPy", lambda: _all_pairs(lane)),),
        note="The least peak speed with which a ring can follow a tube.",
    )


def _case(limits: Limits, at_most_s: float) -> Case:
    lane = tube()
    ours = smoothest_pull(lane, limits)
    ways: dict[str, Callable[[], float]] = {
        DEFAULT: lambda: _modelled(lane, limits, None),
        CLARABEL: lambda: _modelled(lane, limits, "CLARABEL"),
    }
    # The objective in deg^2/s^3: how far each is from ours, in parts of ours; below nil would be smoother than ours.
    apart = ", ".join(f"{name} {(way() - ours.roughness) / ours.roughness:+.1e}" for name, way in ways.items())
    outside = max(float((lane.low - ours.position).max()), float((ours.position - lane.high).max()), 0.0)
    return Case(
        ours=Contender("tapehook", lambda: smoothest_pull(lane, limits)),
        peers=tuple(Contender(name, way, rounds=3) for name, way in ways.items()),
        at_most_s=at_most_s,
        at_most_times={DEFAULT: 0.01, CLARABEL: 0.2},
        note=f"From the tube to the line. Roughness against ours: {apart}. Ours leaves the tube by {outside:.1e}°.",
    )


def _modelled(lane: Tube, limits: Limits, solver: str | None) -> float:
    """The same problem written down for a modelling layer; returns its roughness."""
    cp: Any = importlib.import_module("cvxpy")
    x, h = cp.Variable(lane.low.size), lane.step_s
    asked = [x >= lane.low, x <= lane.high]
    if limits.speed is not None:
        asked.append(cp.abs(cp.diff(x)) <= limits.speed * h)
    if limits.acceleration is not None:
        asked.append(cp.abs(cp.diff(x, 2)) <= limits.acceleration * h * h)
    problem = cp.Problem(cp.Minimize(cp.sum_squares(cp.diff(x, 2)) / h**3), asked)
    problem.solve(solver=solver)
    return float(problem.value)


def _all_pairs(lane: Tube) -> float:
    time, least = lane.time_s, 0.0
    for i in range(time.size - 1):
        apart = time[i + 1 :] - time[i]
        up, down = lane.low[i + 1 :] - lane.high[i], lane.low[i] - lane.high[i + 1 :]
        least = max(least, float((up / apart).max()), float((down / apart).max()))
    return least
