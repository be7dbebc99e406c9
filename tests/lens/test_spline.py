"""The curve behind the maps: against a second way of computing it, and under every change that must not matter."""

from random import Random

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.lens import SplineFit, fit_splines
from tapehook.lens import spline as module
from tests.lens import slow_spline
from tests.lens.strategies import Ring, ring, rings

Floats = npt.NDArray[np.float64]

PLACES = np.linspace(0.02, 1.15, 23)
"""Between the marks, on their ends, and a little beyond both."""


def _fit(r: Ring, usual_noise: float = 0.18) -> SplineFit:
    return fit_splines(r.u, r.y, r.v, usual_noise)


@given(st.floats(1e-3, 3.0), st.floats(1e-3, 3.0))
def test_kernel_is_the_integral_it_stands_for(s: float, t: float) -> None:
    """The closed form of the kernel equals the integral of the process, found by quadrature, and is symmetric."""
    found = module._gram(np.array([s]), np.array([t]))[0, 0]
    assert found == pytest.approx(slow_spline.kernel(s, t), rel=1e-9)
    assert found == module._gram(np.array([t]), np.array([s]))[0, 0]


@settings(max_examples=25)
@given(rings)
def test_mean_and_band_equal_the_dense_way(r: Ring) -> None:
    """Mean, standard deviation and noise equal those of dense universal kriging summed over the same grid."""
    fit = _fit(r)
    mean, sd = fit.predict(PLACES)
    slow_mean, slow_sd, slow_noise = slow_spline.predict(r.u, r.y, r.v, 0.18, PLACES)
    # The dense matrices are the worse conditioned of the two ways: hence the tolerances.
    np.testing.assert_allclose(mean[0], slow_mean, rtol=1e-6, atol=1e-5)
    np.testing.assert_allclose(sd[0], slow_sd, rtol=2e-3, atol=1e-5)
    assert float(fit.noise[0]) == pytest.approx(slow_noise, rel=1e-5)


@settings(max_examples=10)
@given(rings, st.lists(st.floats(-8.0, 0.0), min_size=9, max_size=9))
def test_what_else_is_known_of_the_noise_counts(r: Ring, known: list[float]) -> None:
    """A likelihood of sigma from elsewhere enters each grid point, as in the dense way."""
    fit = fit_splines(r.u, r.y, r.v, 0.18, np.array([known]))
    mean, _ = fit.predict(PLACES)
    slow_mean, _, slow_noise = slow_spline.predict(r.u, r.y, r.v, 0.18, PLACES, known=np.array(known))
    np.testing.assert_allclose(mean[0], slow_mean, rtol=1e-6, atol=1e-5)
    assert float(fit.noise[0]) == pytest.approx(slow_noise, rel=1e-5)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_grid_is_fine_enough(seed: int) -> None:
    """A grid three times as fine, and wider, moves the curve by less than a tenth of its sd, the sd by under 5 %."""
    r = ring(seed, 11)
    fine = slow_spline.predict(r.u, r.y, r.v, 0.18, PLACES, np.linspace(-1.8, 3.8, 31), np.linspace(-2.5, 2.5, 26))
    mean, sd = _fit(r).predict(PLACES)
    assert np.max(np.abs(mean[0] - fine[0]) / fine[1]) < 0.1
    np.testing.assert_allclose(sd[0], fine[1], rtol=0.05)


@given(rings)
def test_curve_is_the_mean_of_predict(r: Ring) -> None:
    """The quick way to the curve gives the mean of the full one."""
    fit = _fit(r)
    np.testing.assert_allclose(fit.curve(PLACES), fit.predict(PLACES)[0], rtol=1e-12, atol=1e-9)


@given(rings, st.floats(-1e3, 1e3), st.floats(0.01, 100.0), st.sampled_from([-1.0, 1.0]))
def test_shifted_scaled_reversed_positions(r: Ring, shift: float, scale: float, sign: float) -> None:
    """Zero anywhere, any unit, either direction: the curve follows and its sd is scaled, nothing else happens."""
    factor = scale * sign
    plain = _fit(r).predict(PLACES)
    moved = fit_splines(r.u, shift + factor * r.y, r.v, 0.18 * scale).predict(PLACES)
    np.testing.assert_allclose(moved[0], shift + factor * plain[0], rtol=1e-8, atol=1e-8 * scale)
    np.testing.assert_allclose(moved[1], scale * plain[1], rtol=1e-5, atol=1e-9 * scale)


@given(rings, st.randoms(use_true_random=False))
def test_order_of_marks_does_not_matter(r: Ring, random: Random) -> None:
    """Marks written down in another order make the same map."""
    order = list(range(r.u.size))
    random.shuffle(order)
    shuffled = fit_splines(r.u[order], r.y[order], r.v[order], 0.18)
    np.testing.assert_allclose(shuffled.predict(PLACES)[0], _fit(r).predict(PLACES)[0], rtol=1e-8, atol=1e-8)


@settings(max_examples=25)
@given(rings, st.floats(-2.0, 1.5), st.floats(-1.5, 1.5))
def test_leave_one_out_equals_refitting(r: Ring, tau_step: float, sigma_step: float) -> None:
    """At one (tau, sigma) each held-out residual and sd is what a fit without that mark gives, made anew each time."""
    if r.u.size == module.TREND + 1:
        r = ring(7, 5)  # without one of four marks nothing is left to fit
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_TAU_STEPS", np.array([tau_step]))
        patch.setattr(module, "_SIGMA_STEPS", np.array([sigma_step]))
        patch.setattr(module, "LOG_PRIOR", np.zeros(1))
        residual, sd = _fit(r).leave_one_out()
    mean, prior_sd = module.LOG_TAU_PRIOR
    tau, sigma = np.exp(mean + prior_sd * tau_step) * np.ptp(r.y), np.exp(sigma_step * module.LOG_SIGMA_PRIOR_SD) * 0.18
    slow_residual, slow_sd = slow_spline.held_out(r.u, r.y, r.v, float(tau), float(sigma))
    np.testing.assert_allclose(residual[0], slow_residual, rtol=1e-5, atol=1e-6)
    np.testing.assert_allclose(sd[0], slow_sd, rtol=1e-5)


@settings(max_examples=10)
@given(st.integers(0, 2**31))
def test_leave_one_out_at_the_average_stays_close(seed: int) -> None:
    """With the average over the grid in place of one point, held-out residuals stay close to those of real refits.

    Close: within 0.6 of an sd, and the sd within a factor of 1.6, for the inner ten of a dozen marks.
    """
    r = ring(seed, 12)
    residual, sd = (x[0] for x in _fit(r).leave_one_out())
    for i in range(1, 11):
        rest = np.arange(12) != i
        mean, band = fit_splines(r.u[rest], r.y[rest], r.v[rest], 0.18).predict(r.u[[i]])
        noise = float(_fit(r).noise[0]) * np.sqrt(r.v[i])
        assert residual[i] == pytest.approx(float(r.y[i] - mean[0, 0]), abs=0.6 * sd[i])
        assert 1 / 1.6 < sd[i] / np.hypot(band[0, 0], noise) < 1.6


def test_many_lenses_at_once_equal_one_by_one() -> None:
    """300 lenses, more than one block: each comes out as it does alone, fit, band, noise and held-out marks."""
    lenses = [ring(seed, 9) for seed in range(300)]
    together = fit_splines([r.u for r in lenses], [r.y for r in lenses], [r.v for r in lenses], 0.18)
    mean, sd = together.predict(PLACES)
    curve, (held, held_sd) = together.curve(PLACES), together.leave_one_out()
    assert mean.shape == sd.shape == curve.shape == (300, PLACES.size)
    for i, r in enumerate(lenses):
        alone = _fit(r)
        for found, expected in (
            (mean[i], alone.predict(PLACES)[0][0]),
            (sd[i], alone.predict(PLACES)[1][0]),
            (curve[i], alone.curve(PLACES)[0]),
            (held[i], alone.leave_one_out()[0][0]),
            (held_sd[i], alone.leave_one_out()[1][0]),
            (together.noise[i], alone.noise[0]),
        ):
            np.testing.assert_allclose(found, expected, rtol=1e-7, atol=1e-8)


def test_each_lens_may_have_its_own_places_and_noise() -> None:
    """Places per lens (B, G) and usual noise per lens (B,) go to their own lens."""
    lenses = [ring(seed, 8) for seed in (1, 2)]
    places = np.array([[0.1, 0.5], [0.3, 0.9]])
    both = fit_splines([r.u for r in lenses], [r.y for r in lenses], [r.v for r in lenses], [0.1, 0.4])
    for i, (r, noise) in enumerate(zip(lenses, [0.1, 0.4], strict=True)):
        np.testing.assert_allclose(both.predict(places)[0][i], _fit(r, noise).predict(places[i])[0][0], rtol=1e-9)


@given(rings)
def test_band_grows_away_from_the_marks(r: Ring) -> None:
    """Beyond the last mark the sd grows with the distance from it, and it is never zero or undefined."""
    _, sd = _fit(r).predict(1.05 + np.linspace(0.0, 0.5, 12))
    assert np.all(sd > 0)
    assert np.all(np.diff(sd[0]) > 0)


@given(st.integers(0, 2**31))
def test_a_parabola_comes_back(seed: int) -> None:
    """Marks on a parabola leave nothing to smooth: the parabola comes back, between the marks and beyond."""
    r = ring(seed, 8)
    curve = np.polynomial.Polynomial(np.random.default_rng(seed).normal(0.0, 50.0, 3))
    found = fit_splines(r.u, curve(r.u), r.v, 0.18).predict(PLACES)[0][0]
    np.testing.assert_allclose(found, curve(PLACES), rtol=1e-9, atol=1e-8)


@given(rings)
def test_small_noise_goes_through_the_marks(r: Ring) -> None:
    """When readings are known to be almost free of noise, the curve goes through them."""
    found = _fit(r, usual_noise=1e-5).predict(r.u)[0][0]
    np.testing.assert_allclose(found, r.y, atol=2e-3 * np.ptp(r.y))


def test_a_surer_mark_pulls_harder() -> None:
    """The curve passes nearer to a mark the surer it is, all else equal."""
    r = ring(5, 9)
    bumped = r.y + np.where(np.arange(9) == 4, 2.0, 0.0)
    misses = []
    for variance in (0.1, 1.0, 10.0):
        v = np.where(np.arange(9) == 4, variance, 1.0)
        misses.append(abs(float(fit_splines(r.u, bumped, v, 0.18).predict(r.u[[4]])[0][0, 0] - bumped[4])))
    assert misses[0] < misses[1] < misses[2]


def test_coverage_of_the_band_on_fresh_cams() -> None:
    """Over 200 simulated cams with 0.18 degree noise the 95 % band holds the true cam at 93 to 98 % of the places."""
    rng = np.random.default_rng(11)
    u = np.tile(np.linspace(0.05, 1.05, 12), (200, 1))
    bend = rng.uniform(-0.6, 0.6, (200, 2, 1))
    turn = rng.uniform(90.0, 330.0, (200, 1))

    def cam(at: Floats) -> Floats:
        true: Floats = turn * (at + bend[:, 0] * at * (1 - at) + 0.3 * bend[:, 1] * np.sin(4 * at))
        return true

    fit = fit_splines(u, cam(u) + rng.normal(0.0, 0.18, u.shape), 1.0, 0.18)
    places = np.linspace(0.05, 1.05, 41)
    mean, sd = fit.predict(places)
    covered = float(np.mean(np.abs(mean - cam(np.tile(places, (200, 1)))) <= 1.96 * sd))
    assert 0.93 <= covered <= 0.98
    assert np.median(fit.noise) == pytest.approx(0.18, rel=0.1)


@pytest.mark.parametrize(
    "u, y",
    [
        ([0.1, 0.5, 1.0], [1.0, 2.0, 3.0]),
        ([0.1, 0.4, 0.7, 1.0], [1.0, 2.0, 3.0]),
        ([], []),
    ],
)
def test_too_few_marks_are_refused(u: list[float], y: list[float]) -> None:
    """Fewer than four marks, or unequal numbers of places and positions, raise and say what was given."""
    with pytest.raises(ValueError, match="need at least 4 marks"):
        fit_splines(u, y, 1.0, 0.18)


def test_no_lenses_give_no_maps() -> None:
    """An empty batch of lenses is an empty batch of fits."""
    empty = fit_splines(np.empty((0, 6)), np.empty((0, 6)), 1.0, 0.18)
    assert empty.predict(PLACES)[0].shape == (0, PLACES.size)


def test_positions_all_equal_stay_finite() -> None:
    """Positions without any span give that position everywhere, with a finite band."""
    mean, sd = fit_splines(np.linspace(0.05, 1.05, 6), np.full(6, 42.0), 1.0, 0.18).predict(PLACES)
    np.testing.assert_allclose(mean, 42.0)
    assert np.all(np.isfinite(sd))
