"""The usual noise, and what pairs of readings say of it: against a normal distribution written out in full."""

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from tapehook.lens.noise import MARK_NOISE_DEG, USUAL_NOISE_DEG, USUAL_PLAY_SD_DEG, pair_evidence, reading_sd
from tapehook.lens.spline import noise_steps

Floats = npt.NDArray[np.float64]

SIGMAS = noise_steps(USUAL_NOISE_DEG)[0]
differences = st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=9)


def _dense(d: list[float], step_deg: float) -> Floats:
    """ln density of the differences at each sigma: reading noise twice, and one backlash for all."""
    found = []
    for sigma in SIGMAS:
        variance = 2.0 * (float(reading_sd(sigma)) ** 2 + step_deg**2 / 12.0)
        cov = variance * np.eye(len(d)) + USUAL_PLAY_SD_DEG**2
        found.append(multivariate_normal(np.zeros(len(d)), cov).logpdf(d))
    return np.array(found)


def test_reading_noise_is_what_the_mark_leaves() -> None:
    """By hand: the centre of a pair with sigma 0.2 has variance 0.02; the mark's own 0.0036 leaves 0.0164, twice."""
    assert MARK_NOISE_DEG == 0.06
    assert float(reading_sd(0.2)) == pytest.approx(math.sqrt(2.0 * 0.0164))


@given(st.floats(1e-3, 5.0))
def test_some_reading_noise_is_always_left(sigma: float) -> None:
    """Between 0.3 of the noise and all of it, however little there is."""
    assert 0.3 * sigma * (1 - 1e-12) <= float(reading_sd(sigma)) < sigma


@given(differences, st.sampled_from([0.0, 0.1, 0.5]))
def test_pair_evidence_is_that_of_the_normal(d: list[float], step_deg: float) -> None:
    """The closed form equals the density of a multivariate normal with one backlash for all pairs."""
    np.testing.assert_allclose(pair_evidence([d], step_deg)[0], _dense(d, step_deg), rtol=1e-9, atol=1e-9)


@given(differences, st.integers(0, 9))
def test_marks_without_a_pair_say_nothing(d: list[float], at: int) -> None:
    """NaN anywhere among the differences changes nothing, and NaN alone is no evidence for any noise."""
    holes = [*d[:at], math.nan, *d[at:], math.nan]
    np.testing.assert_allclose(pair_evidence([holes]), pair_evidence([d]), rtol=1e-12, atol=1e-12)
    assert np.all(pair_evidence([[math.nan, math.nan]]) == 0.0)


def test_each_lens_has_its_own_line() -> None:
    """Many lenses at once give what each gives alone."""
    d = np.array([[0.1, 0.2, math.nan], [0.5, -0.5, 0.3]])
    np.testing.assert_allclose(pair_evidence(d), np.concatenate([pair_evidence(d[:1]), pair_evidence(d[1:])]))


@pytest.mark.parametrize("play", [0.0, 0.4, -0.3])
def test_scatter_tells_the_noise_and_backlash_does_not(play: float) -> None:
    """Twenty pairs: the noise they point at grows with their scatter and does not know how large the backlash is."""
    rng = np.random.default_rng(3)
    unit = rng.normal(0.0, 1.0, 20)
    best = [SIGMAS[int(np.argmax(pair_evidence([play + s * unit])[0]))] for s in (0.05, 0.2, 0.6)]
    assert best == sorted(best)
    assert best[0] < 0.5 * best[2]
    without = [SIGMAS[int(np.argmax(pair_evidence([s * unit])[0]))] for s in (0.05, 0.2, 0.6)]
    assert best == without


def test_a_coarse_read_out_takes_the_blame_for_scatter() -> None:
    """Scatter of a third of a step asks for less noise where the step is known."""
    d = np.array([[0.2, -0.2, 0.0, 0.2, 0.0, -0.2, 0.2]])
    fine, coarse = (SIGMAS[int(np.argmax(pair_evidence(d, step)[0]))] for step in (0.0, 0.5))
    assert coarse < fine
