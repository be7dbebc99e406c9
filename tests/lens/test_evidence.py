"""The evidence of a curve: against dense matrices, one grid point after the other."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from tapehook.lens.evidence import log_evidence, log_pair_evidence, log_sum_exp, mark_evidence
from tapehook.lens.noise import USUAL_NOISE_DEG, pair_evidence
from tapehook.lens.spline import LOG_PRIOR, SIGMA_COUNT, _gram, _trend, variance_grid
from tests.lens.strategies import Ring, ring, rings

Floats = npt.NDArray[np.float64]

STEP_DEG = 0.1


def _pairs(r: Ring) -> Floats:
    """Differences of pairs, every third mark without one."""
    d = np.random.default_rng(r.u.size).normal(0.3, 0.2, r.u.size)
    d[::3] = np.nan
    return d


def _dense(r: Ring, differences: Floats, extra: Floats | None = None) -> float:
    """ln p(y) with C and C^-1 written out: Rasmussen and Williams (2006), equation 2.45 for a vague trend."""
    trend, gram, n = _trend(r.u), _gram(r.u, r.u), r.u.size
    tau2, sigma2 = variance_grid(np.ptp(r.y, keepdims=True), np.array([USUAL_NOISE_DEG]))
    prior = LOG_PRIOR - np.log(np.exp(LOG_PRIOR).sum())
    pairs = np.tile(pair_evidence(differences[None], STEP_DEG)[0], LOG_PRIOR.size // SIGMA_COUNT)
    terms = []
    for t2, s2, log_prior, log_pair in zip(tau2[0], sigma2[0], prior, pairs, strict=True):
        cov = t2 * gram + np.diag(s2 * r.v + (0.0 if extra is None else extra))
        inverse = np.linalg.inv(cov)
        normal = trend.T @ inverse @ trend
        off = inverse - inverse @ trend @ np.linalg.solve(normal, trend.T @ inverse)
        fit = -0.5 * (np.linalg.slogdet(cov)[1] + np.linalg.slogdet(normal)[1] + r.y @ off @ r.y)
        terms.append(fit - 0.5 * (n - 3) * np.log(2 * np.pi) + log_prior + log_pair)
    return float(log_sum_exp(np.array(terms)))


def test_sum_of_exponentials_neither_over_nor_underflows() -> None:
    """ln(e^1000 + e^1000) = 1000 + ln 2, and as far below zero; along any axis."""
    assert float(log_sum_exp(np.array([1000.0, 1000.0]))) == pytest.approx(1000.0 + np.log(2.0))
    assert float(log_sum_exp(np.array([-1000.0, -1000.0]))) == pytest.approx(-1000.0 + np.log(2.0))
    np.testing.assert_allclose(log_sum_exp(np.log([[1.0, 2.0], [3.0, 4.0]]), axis=0), np.log([4.0, 6.0]))


@settings(max_examples=20)
@given(rings)
def test_evidence_equals_the_dense_way(r: Ring) -> None:
    """One lens or many, with its trend and noise integrated out: the density of dense matrices, pairs included."""
    differences = _pairs(r)
    wanted = _dense(r, differences)
    u, y, v, pairs = (np.stack([part, part]) for part in (r.u, r.y, r.v, differences))
    found = log_evidence(u, y, v, pairs, USUAL_NOISE_DEG, STEP_DEG)
    np.testing.assert_allclose(found, wanted, rtol=1e-5, atol=1e-4)
    np.testing.assert_allclose(mark_evidence(u, y, v, pairs, USUAL_NOISE_DEG, STEP_DEG).total, found)


@settings(max_examples=10)
@given(st.integers(0, 2**31), st.sampled_from([0.36, 4.0, 36.0, 3600.0]))
def test_a_worse_mark_weighs_what_the_dense_way_says(seed: int, variance: float) -> None:
    """The rank-one update for each mark equals the whole sum made anew with that mark's variance grown."""
    both = ring(seed, 8), ring(seed + 1, 8)
    u, y, v, pairs = (np.stack(part) for part in zip(*((r.u, r.y, r.v, _pairs(r)) for r in both), strict=True))
    found = mark_evidence(u, y, v, pairs, USUAL_NOISE_DEG, STEP_DEG).worse([variance])
    assert found.shape == (2, 1, 8)
    for r, own in zip(both, found, strict=True):
        for mark in (0, 3, 7):
            wanted = _dense(r, _pairs(r), variance * np.eye(8)[mark])
            assert float(own[0, mark]) == pytest.approx(wanted, rel=1e-5, abs=1e-4)


def test_no_more_variance_is_no_change() -> None:
    """With nothing added a worse mark is the mark as it was."""
    r = ring(4, 9)
    evidence = mark_evidence(r.u[None], r.y[None], r.v[None], _pairs(r)[None], USUAL_NOISE_DEG, STEP_DEG)
    np.testing.assert_allclose(evidence.worse(0.0), np.full((1, 1, 9), evidence.total[0]))


@given(rings, st.floats(-1e3, 1e3), st.sampled_from([1.0, -1.0]))
def test_zero_and_direction_of_the_read_out_do_not_matter(r: Ring, shift: float, sign: float) -> None:
    """The trend takes up any constant, and a density does not know the sign of what it is of."""
    nothing = np.full((1, r.u.size), np.nan)
    plain = log_evidence(r.u[None], r.y[None], r.v[None], nothing, USUAL_NOISE_DEG, 0.0)
    moved = log_evidence(r.u[None], sign * r.y[None] + shift, r.v[None], nothing, USUAL_NOISE_DEG, 0.0)
    np.testing.assert_allclose(moved, plain, rtol=1e-6, atol=1e-4)


def test_a_mark_out_of_place_has_less_evidence() -> None:
    """Five degrees off in the middle of a smooth ring costs many e-folds, and that mark gains most by being worse."""
    r = ring(2, 12, 0.1)
    y = r.y.copy()
    y[5] += 5.0
    nothing = np.full((2, 12), np.nan)
    evidence = mark_evidence(
        np.stack([r.u, r.u]), np.stack([r.y, y]), np.stack([r.v, r.v]), nothing, USUAL_NOISE_DEG, 0.0
    )
    good, bad = evidence.total.tolist()
    assert bad < good - 10.0
    assert int(np.argmax(evidence.worse(36.0)[1, 0])) == 5


def test_density_of_one_pair_is_a_density() -> None:
    """Averaged over the noise the density of one difference integrates to one."""
    total, _ = quad(lambda d: float(np.exp(log_pair_evidence(np.array([[d]]), STEP_DEG)[0])), -8.0, 8.0, limit=200)
    assert total == pytest.approx(1.0, abs=1e-6)


def test_no_pairs_no_evidence() -> None:
    """A lens read one way only is neither for nor against anything by its pairs."""
    assert log_pair_evidence(np.full((1, 5), np.nan), STEP_DEG)[0] == pytest.approx(0.0, abs=1e-12)
