"""Pulls: the slowest against all pairs, the smoothest against a second solver, the impossible against brute force."""

import itertools
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from tapehook.shot.pull import Limits, NoPull, Pull, slowest_pull, smoothest_pull
from tapehook.shot.rescue import Demand, can_follow, fewest_soft_frames, least_softness, widest_stop
from tapehook.shot.slowest import slow_line, slowest_peak_speed
from tapehook.shot.tube import Tube
from tests.shot.tubes import long_tube, random_tube

Floats = npt.NDArray[np.float64]

# The stubs know less than the functions take.
linprog: Any = optimize.linprog
minimize: Any = optimize.minimize


def _all_pairs(tube: Tube) -> float:
    """The least peak speed by going through every pair of moments."""
    time, least = tube.time_s, 0.0
    for i in range(time.size - 1):
        apart = time[i + 1 :] - time[i]
        up, down = tube.low[i + 1 :] - tube.high[i], tube.low[i] - tube.high[i + 1 :]
        least = max(least, float((up / apart).max()), float((down / apart).max()))
    return least


def test_slowest_is_that_of_all_pairs() -> None:
    """On 3,000 random tubes within 1e-9, and a line of that speed lies in each."""
    rng = np.random.default_rng(1)
    for _ in range(3000):
        tube = random_tube(rng)
        speed = slowest_peak_speed(tube)
        assert speed == pytest.approx(_all_pairs(tube), rel=1e-9, abs=1e-9)
        line = slow_line(tube, speed)
        assert np.all((line >= tube.low) & (line <= tube.high))
        assert float(np.abs(np.diff(line)).max()) / tube.step_s <= speed * (1 + 1e-9) + 1e-9


def test_a_still_shot_needs_no_speed() -> None:
    """One position sharp throughout: nil, and the smoothest pull does not move."""
    tube = Tube(0.1, np.full(20, -1.0), np.full(20, 2.0))
    assert slowest_peak_speed(tube) == 0.0
    assert smoothest_pull(tube).roughness == pytest.approx(0.0, abs=1e-9)


def _violation(pull: Pull, limits: Limits) -> float:
    """The most that a line leaves its tube or its motor's limits, degrees a step."""
    tube, h = pull.tube, pull.tube.step_s
    worst = max(float((tube.low - pull.position).max()), float((pull.position - tube.high).max()))
    if limits.speed is not None:
        worst = max(worst, (pull.peak_speed - limits.speed) * h)
    if limits.acceleration is not None:
        worst = max(worst, float(np.abs(pull.acceleration).max() - limits.acceleration) * h * h)
    return worst


@pytest.mark.parametrize(
    "limits", [Limits(), Limits(speed=6.0), Limits(speed=3.2, acceleration=1.6)], ids=["free", "speed", "both"]
)
@pytest.mark.parametrize("width_deg", [0.3, 1.0, 8.0])
def test_smoothest_keeps_to_its_limits(limits: Limits, width_deg: float) -> None:
    """Two minutes, 2,880 frames: never outside by more than 1e-9 degrees, nor faster than the motor."""
    tube = long_tube(width_deg=width_deg)
    if not can_follow(tube, limits):
        pytest.fail("the test's own tube cannot be followed")
    assert _violation(smoothest_pull(tube, limits), limits) <= 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_smoothest_is_that_of_a_second_solver(seed: int) -> None:
    """Roughness within 1e-8 of SciPy's bounded quasi-Newton method, polished by the conditions of the optimum.

    At the optimum the gradient is nil where no bound binds, and points out of the tube where one does: no other line
    in the tube is smoother (S. Boyd, L. Vandenberghe, Convex Optimization, 2004, section 4.2.3, equation 4.21): with g
    the gradient, every line z in the tube is rougher by at least min g'(z - x), found by its bounds.
    """
    tube = long_tube(120, 1.0, seed)
    found = smoothest_pull(tube)
    h, second = tube.step_s, np.diff(np.eye(120), 2, axis=0)
    hessian = second.T @ second * (2.0 / h**3)
    gradient = hessian @ found.position
    gain = np.minimum(gradient * (tube.low - found.position), gradient * (tube.high - found.position)).sum()
    assert -gain <= 1e-8 * max(found.roughness, 1e-6)
    start = np.clip((tube.low + tube.high) / 2, tube.low, tube.high)
    other = minimize(
        lambda x: float(x @ hessian @ x) / 2.0,
        start,
        jac=lambda x: hessian @ x,
        bounds=list(zip(tube.low, tube.high, strict=True)),
        method="L-BFGS-B",
        options={"maxiter": 3000},
    )
    assert found.roughness <= float(other.fun) * (1.0 + 1e-8)


def test_too_slow_a_motor_is_told() -> None:
    """A motor under the least peak speed: refused with both figures; just above it, it works."""
    tube = long_tube(600)
    least = slowest_peak_speed(tube)
    with pytest.raises(NoPull, match="degrees a second"):
        smoothest_pull(tube, Limits(speed=least * 0.999))
    assert smoothest_pull(tube, Limits(speed=least * 1.001)).peak_speed <= least * 1.001 + 1e-7
    assert slowest_pull(tube).peak_speed == pytest.approx(least, rel=1e-9)


def test_exactly_the_least_speed_is_enough() -> None:
    """A motor that has just the least peak speed is given the slowest line."""
    tube = long_tube(600)
    least = slowest_peak_speed(tube)
    assert smoothest_pull(tube, Limits(speed=least)).peak_speed == pytest.approx(least, rel=1e-9)


def test_too_weak_a_motor_is_told() -> None:
    """An acceleration that cannot turn round in time: refused, as the linear program says too."""
    tube = long_tube(300, 0.05)
    limits = Limits(speed=50.0, acceleration=1e-3)
    assert not can_follow(tube, limits)
    with pytest.raises(NoPull):
        smoothest_pull(tube, limits)


@given(st.integers(0, 10_000), st.floats(0.0, 0.4))
@settings(max_examples=60)
def test_late_is_sharp_however_late(seed: int, lag_s: float) -> None:
    """A line through what is left of the tube for a lag is sharp at that lag, at none, and at all between."""
    tube = long_tube(100, 4.0, seed)
    left = tube.late(lag_s)
    if left is None:
        return
    line = smoothest_pull(left).position
    for k in range(int(np.ceil(lag_s / tube.step_s - 1e-9)) + 1):
        seen = line[: line.size - k]
        assert np.all(seen >= tube.low[k:] - 1e-9)
        assert np.all(seen <= tube.high[k:] + 1e-9)


def test_hugging_the_edge_is_what_lag_does() -> None:
    """Without regard to lag the smoothest line goes soft when it arrives late; with it, it does not."""
    tube = long_tube(600, 1.0)
    line = smoothest_pull(tube).position
    assert np.any((line[:-1] < tube.low[1:]) | (line[:-1] > tube.high[1:]))


def _demand(rng: np.random.Generator, n: int) -> Demand:
    centre = rng.normal(0.0, 4.0, n).cumsum()
    room = rng.uniform(0.3, 2.0, n)
    return Demand(0.1, centre - room, centre + room, room)


@pytest.mark.parametrize("seed", range(12))
def test_fewest_soft_frames_are_those_of_brute_force(seed: int) -> None:
    """Nine frames and a slow motor: as few soft ones as going through all sets of frames finds."""
    demand, limits = _demand(np.random.default_rng(seed), 9), Limits(speed=25.0, acceleration=400.0)
    found = fewest_soft_frames(demand, limits)
    assert found is not None
    assert int(found.soft.sum()) == _brute_force(demand, limits)
    inside = (found.position >= demand.low - 1e-6) & (found.position <= demand.high + 1e-6)
    assert np.all(inside | found.soft)


def _brute_force(demand: Demand, limits: Limits) -> int:
    n = demand.low.size
    for count in range(n + 1):
        for soft in itertools.combinations(range(n), count):
            low, high = demand.low.copy(), demand.high.copy()
            low[list(soft)], high[list(soft)] = -np.inf, np.inf
            if np.all(low <= high) and can_follow(Tube(demand.step_s, low, high), limits):
                return count
    raise AssertionError("a line that is soft everywhere always exists")


def test_sixty_frames_are_proven() -> None:
    """Sixty frames are within reach of the exact method."""
    found = fewest_soft_frames(_demand(np.random.default_rng(3), 60), Limits(speed=30.0))
    assert found is not None
    assert 0 < int(found.soft.sum()) < 60


@pytest.mark.parametrize("seed", range(8))
def test_least_softness_is_where_the_tube_just_opens(seed: int) -> None:
    """With every bound moved out by the least softness the motor can follow; with a thousandth less it cannot."""
    demand, limits = _demand(np.random.default_rng(seed), 40), Limits(speed=25.0, acceleration=500.0)
    soft = least_softness(demand, limits)
    assert soft.used_beyond > 0.0
    for factor, works in ((1.0 + 1e-6, True), (0.999, False)):
        move = soft.used_beyond * factor * demand.room
        assert can_follow(Tube(demand.step_s, demand.low - move, demand.high + move), limits) == works


def test_least_softness_of_two_people_is_half_their_gap() -> None:
    """Two people a gap apart at all times: the line stands between them, each soft by half the gap."""
    n = 10
    low, high = np.full(n, 12.0), np.full(n, 8.0)  # one needs at least 12, the other at most 8
    soft = least_softness(Demand(0.1, low, high, np.full(n, 4.0)))
    assert soft.used_beyond == pytest.approx(0.5)
    assert soft.position == pytest.approx(np.full(n, 10.0))


@pytest.mark.parametrize("limits", [Limits(speed=20.0), Limits(speed=20.0, acceleration=300.0)], ids=["speed", "both"])
def test_widest_stop_is_found(limits: Limits) -> None:
    """Within a hundredth of a stop of what stepping through stops finds."""
    rng = np.random.default_rng(5)
    centre = rng.normal(0.0, 1.5, 50).cumsum()

    def tube_of(f_number: float) -> Tube:
        room = np.full(50, 0.5 * f_number)
        return Tube(0.1, centre - room, centre + room)

    found = widest_stop(tube_of, limits, 1.4, 22.0)
    assert found is not None
    stops = 2 ** (np.arange(0.0, 8.0, 0.002) / 2.0) * 1.4
    stepped = next(float(f) for f in stops if can_follow(tube_of(float(f)), limits))
    assert abs(2.0 * np.log2(found / stepped)) < 0.01
    assert widest_stop(tube_of, limits, found * 1.01, 22.0) == pytest.approx(found * 1.01)
    assert widest_stop(tube_of, Limits(speed=1e-6), 1.4, 1.5) is None


def test_can_follow_agrees_with_a_plain_linear_program() -> None:
    """Feasibility on short tubes against SciPy's linprog on dense rows."""
    rng = np.random.default_rng(6)
    for _ in range(60):
        tube = random_tube(rng, 12)
        limits = Limits(speed=float(rng.uniform(0.2, 30.0)), acceleration=float(rng.uniform(1.0, 300.0)))
        first, second = np.diff(np.eye(12), axis=0) / tube.step_s, np.diff(np.eye(12), 2, axis=0) / tube.step_s**2
        rows = np.vstack([first, -first, second, -second])
        ends = np.concatenate([np.full(22, limits.speed), np.full(20, limits.acceleration)])
        plain = linprog(np.zeros(12), rows, ends, bounds=np.column_stack([tube.low, tube.high]), method="highs")
        assert can_follow(tube, limits) == (plain.status == 0)


@pytest.mark.parametrize(
    "step_s, low, high",
    [(0.1, [0.0], [1.0]), (0.0, [0.0, 0.0], [1.0, 1.0]), (0.1, [0.0, 2.0], [1.0, 1.0]), (0.1, [0.0, 0.0], [1.0] * 3)],
)
def test_no_tube_without_sense(step_s: float, low: list[float], high: list[float]) -> None:
    """One moment, no time, low above high, unlike lengths: refused."""
    with pytest.raises(ValueError, match=r"tube|time|moment"):
        Tube(step_s, np.array(low), np.array(high))


def test_two_moments_are_a_pull() -> None:
    """The shortest tube has a line, its slowest."""
    tube = Tube(0.5, np.array([0.0, 3.0]), np.array([1.0, 4.0]))
    assert smoothest_pull(tube).peak_speed == pytest.approx(4.0)


def _hand_over(room: float, lag_s: float) -> Demand:
    """Sixty frames at 24 a second: 20 degrees held, six free frames, 50 degrees held, each with ``room`` either way."""
    low, high = np.full(60, -300.0), np.full(60, 300.0)
    low[:27], high[:27] = 20.0 - room, 20.0 + room
    low[33:], high[33:] = 50.0 - room, 50.0 + room
    late = Tube(1.0 / 24.0, low, high).late(lag_s)
    assert late is not None
    return Demand(1.0 / 24.0, late.low, late.high, np.full(60, room))


@pytest.mark.parametrize("lag_s", [0.0, 0.1])
def test_a_hand_over_too_short_against_brute_force(lag_s: float) -> None:
    """A rack that the motor cannot make in its six frames, with and without lag: as few soft frames as trying every
    stretch of frames that might be let go finds; what is soft is one stretch, as both people stand still."""
    demand, limits = _hand_over(2.0, lag_s), Limits(speed=60.0)
    found = fewest_soft_frames(demand, limits)
    assert found is not None
    least = 60
    for start, end in itertools.combinations(range(61), 2):
        low, high = demand.low.copy(), demand.high.copy()
        low[start:end], high[start:end] = -300.0, 300.0
        if end - start < least and can_follow(Tube(demand.step_s, low, high), limits):
            # Frames in which the ring is free anyway are not soft.
            bound = demand.high[start:end] - demand.low[start:end] < 600.0
            least = min(least, int(bound.sum()))
    assert 0 < int(found.soft.sum()) == least


@pytest.mark.parametrize("lag_s", [0.0, 0.05])
def test_the_widest_stop_of_a_hand_over(lag_s: float) -> None:
    """Within a hundredth of a stop of stepping through stops, with lag and hand-over, for a motor with both limits."""
    limits = Limits(speed=80.0, acceleration=2500.0)

    def tube_of(f_number: float) -> Tube:
        demand = _hand_over(f_number, lag_s)
        return Tube(demand.step_s, demand.low, demand.high)

    found = widest_stop(tube_of, limits, 1.4, 22.0)
    assert found is not None
    stops = 2 ** (np.arange(0.0, 8.0, 0.005) / 2.0) * 1.4
    stepped = next(float(f) for f in stops if can_follow(tube_of(float(f)), limits))
    assert stepped > 1.5
    assert abs(2.0 * np.log2(found / stepped)) < 0.01
