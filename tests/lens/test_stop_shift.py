"""The move of best focus on stopping down, from charts at several stops of one lens."""

import numpy as np
import numpy.typing as npt
import pytest

from tapehook.lens.stop_shift import StopShift, stop_shift

Floats = npt.NDArray[np.float64]

F_M = 0.05
STOPS = np.array([1.4, 2.0, 2.8])
TRUE_M = np.array([0.0, -20e-6, -32e-6])
"""As if the sensor came to lie too near: the outer rays meet nearer the lens."""


def _tests(
    rng: np.random.Generator, *, noise_used: float = 0.15, repeats: int = 2, settings: int = 3
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Charts at each stop and setting, a setting's own error shared by its stops; and their sds in dioptres."""
    group = np.repeat(np.arange(settings), STOPS.size * repeats)
    which = np.tile(np.arange(STOPS.size), settings * repeats)
    sd = noise_used * STOPS[which] * 25e-6 / F_M**2
    own = rng.normal(0.0, 0.02, settings)[group]
    dq = own - TRUE_M[which] / F_M**2 + rng.normal(0.0, 1.0, sd.size) * sd
    return group.astype(float), STOPS[which], dq, np.full(sd.size, F_M), sd


def test_without_noise_the_shift_comes_back() -> None:
    """Whatever map, flange and tape are off by drops out."""
    found = stop_shift(*_tests(np.random.default_rng(1), noise_used=1e-6))
    assert found is not None
    assert found.f_number == (1.4, 2.0, 2.8)
    assert found.shift_m == pytest.approx(TRUE_M, abs=1e-9)


def test_its_standard_deviation_is_honest() -> None:
    """Over 400 draws the errors over their sds have an rms of 1 within 10 per cent (4 sd of a rms of 400)."""
    rng = np.random.default_rng(7)
    scores = []
    for _ in range(400):
        found = stop_shift(*_tests(rng, repeats=6))
        assert found is not None
        scores.append((found.shift_m[2] - TRUE_M[2]) / found.sd_m[2])
    assert float(np.sqrt(np.mean(np.square(scores)))) == pytest.approx(1.0, abs=0.15)


def test_what_is_carried_on_is_no_surer_than_the_step_it_rests_on() -> None:
    """Tested at N 1.4 and 2, asked at N 8, without any shift: errors over their sds have an rms of 1.

    1.9 steps lie between. Over 400 draws; the step's own error grows with how far it is carried.
    """
    rng = np.random.default_rng(5)
    scores = []
    for _ in range(400):
        group, n, dq, f, sd = _tests(rng, repeats=4)
        near = n < 2.5
        found = stop_shift(group[near], n[near], (dq + np.interp(n, STOPS, TRUE_M) / F_M**2)[near], f[near], sd[near])
        assert found is not None
        moved, doubt = found.at(8.0)
        scores.append(moved / doubt)
    assert 0.8 < float(np.sqrt(np.mean(np.square(scores)))) < 1.1


def test_settings_that_differ_are_told_as_one_of_them_may_be() -> None:
    """Settings that each move their own way by 15 um about the mean: any one lies within 2 sds in 90 of 100 or more."""
    rng = np.random.default_rng(9)
    inside, count = 0, 0
    for _ in range(100):
        group, n, dq, f, sd = _tests(rng, noise_used=0.05, settings=6)
        own = rng.normal(0.0, 15e-6, (6, STOPS.size))
        which = np.searchsorted(STOPS, n)
        found = stop_shift(group, n, dq - own[group.astype(int), which] / F_M**2, f, sd)
        assert found is not None
        true_m = TRUE_M[2] + own[:, 2] - own[:, 0]
        inside += int(np.sum(np.abs(found.shift_m[2] - true_m) < 2.0 * found.sd_m[2]))
        count += 6
    assert inside / count > 0.9


def test_stops_that_no_setting_joins_say_nothing() -> None:
    """One chart wide open and another, elsewhere, stopped down: the map's error and the shift cannot be told apart."""
    assert stop_shift([0, 1], [1.4, 2.8], [0.0, 0.01], [F_M, F_M], [0.001, 0.001]) is None


def test_a_lone_test_does_not_disturb() -> None:
    """A test joined to no other is left out; the others still tell."""
    found = stop_shift([0, 0, 1], [1.4, 2.8, 4.0], [0.0, 0.01, 5.0], [F_M] * 3, [0.001] * 3)
    assert found is not None
    assert found.f_number == (1.4, 2.8)
    assert found.shift_m[1] == pytest.approx(-0.01 * F_M**2)


def test_between_the_stops_it_lies_between_and_is_less_sure() -> None:
    """Straight in 1/N^2 between two stops, with a twelfth of the squared step as variance; tested stops as they are."""
    shift = StopShift((1.4, 2.8), (0.0, -30e-6), (0.0, 2e-6), 4)
    assert shift.at(2.8) == (-30e-6, 2e-6)
    assert shift.at(1.4) == (0.0, 0.0)
    assert shift.at(1.0) == (0.0, 0.0)
    moved, sd = shift.at(2.0)
    assert moved == pytest.approx(-30e-6 * (1 / 1.96 - 1 / 4) / (1 / 1.96 - 1 / 7.84))
    assert sd == pytest.approx(np.hypot(2e-6, 30e-6 / np.sqrt(12)))
    beyond, doubt = shift.at(5.6)
    assert -40e-6 < beyond < -30e-6
    assert 2e-6 < doubt < sd
