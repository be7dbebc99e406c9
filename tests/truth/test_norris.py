"""The regression core of the maps against certified fits (NIST, Statistical Reference Datasets).

What is tested, and what is not. A map is a quadratic trend plus a smooth part, and no option switches the smooth part
off, so no certified figure exists for the whole. The trend alone is ordinary least squares by QR, kept in
``SplineFit.to_trend`` (data to coefficients) and ``SplineFit.contrasts`` (what the trend leaves). It is certified here:

- Pontius is a parabola and goes in as it is;
- Norris is a straight line. Each point goes in twice, as it is and mirrored through the mean of all points: a parabola
  through such data bends neither way and is the straight line of least squares, with twice its residual sum of squares.

The smooth part is held against a second way of computing it in tests/lens.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from tapehook.lens import SplineFit, fit_splines
from tests.truth.tables import Row, certified

Floats = npt.NDArray[np.float64]
DIGITS = 1e-10
CENTRE, SCALE = 0.55, 2000.0
"""Norris in places: its mean at 0.55, its thousand units over half of the scale."""


@pytest.fixture(name="norris")
def _norris() -> Row:
    return certified("norris")


@pytest.fixture(name="pontius")
def _pontius() -> Row:
    return certified("pontius")


def _mirrored(norris: Row) -> tuple[SplineFit, Floats, Floats]:
    """Norris and its mirror image in one fit, and the plain x and y."""
    x, y = np.array(norris["x"]), np.array(norris["y"])
    dx, dy = x - x.mean(), y - y.mean()
    places = CENTRE + np.concatenate([dx, -dx]) / SCALE
    return fit_splines(places, y.mean() + np.concatenate([dy, -dy]), 1.0, 0.2), x, y


def _trend(fit: SplineFit) -> Floats:
    """Coefficients of the trend by least squares alone, lowest power first."""
    trend: Floats = fit.to_trend[0] @ (fit.weight[0] * fit.y[0])
    return trend


def _squares(fit: SplineFit) -> float:
    """Residual sum of squares of the trend: the data in contrasts."""
    left = fit.contrasts[0].T @ (fit.weight[0] * fit.y[0])
    return float(left @ left)


def test_norris_line(norris: Row) -> None:
    """Slope and intercept agree with the certified ones to 1e-10, and nothing bends."""
    fit, x, _ = _mirrored(norris)
    curve = np.polynomial.Polynomial(_trend(fit))
    slope = float(curve.deriv()(CENTRE)) / SCALE
    intercept = float(curve(CENTRE)) - slope * x.mean()
    assert [intercept, slope] == pytest.approx(norris["coefficients"], rel=DIGITS)
    assert abs(float(curve.coef[2])) < 1e-9


def test_norris_spread(norris: Row) -> None:
    """Residual sum of squares and sd, R^2, F and the sds of slope and intercept agree to 1e-10 (R^2 to 1e-12)."""
    fit, x, y = _mirrored(norris)
    squares, freedom = _squares(fit) / 2.0, x.size - 2
    total = float(((y - y.mean()) ** 2).sum())
    variance = squares / freedom
    at_centre = np.array([0.0, 1.0, 2.0 * CENTRE]) / SCALE
    covariance = fit.to_trend[0] @ fit.to_trend[0].T
    of_slope = 2.0 * float(at_centre @ covariance @ at_centre)  # twice the points halve it
    sds = np.sqrt(variance * np.array([1.0 / x.size + x.mean() ** 2 * of_slope, of_slope]))
    assert squares == pytest.approx(norris["residual_sum_of_squares"], rel=DIGITS)
    assert np.sqrt(variance) == pytest.approx(norris["residual_sd"], rel=DIGITS)
    assert 1.0 - squares / total == pytest.approx(norris["r_squared"], rel=1e-12)
    assert (total - squares) / variance == pytest.approx(norris["f_statistic"], rel=DIGITS)
    np.testing.assert_allclose(sds, norris["coefficient_sds"], rtol=DIGITS)


def test_pontius_parabola(pontius: Row) -> None:
    """All three coefficients and their sds, residual sum of squares and sd agree to 1e-10, R^2 to 1e-12."""
    scale = 3e6
    fit = fit_splines(np.array(pontius["x"]) / scale, np.array(pontius["y"]), 1.0, 0.2)
    unit, y = scale ** np.arange(3), np.array(pontius["y"])
    squares, freedom = _squares(fit), y.size - 3
    sds = np.sqrt(squares / freedom * np.diag(fit.to_trend[0] @ fit.to_trend[0].T)) / unit
    np.testing.assert_allclose(_trend(fit) / unit, pontius["coefficients"], rtol=DIGITS)
    np.testing.assert_allclose(sds, pontius["coefficient_sds"], rtol=DIGITS)
    assert squares == pytest.approx(pontius["residual_sum_of_squares"], rel=DIGITS)
    assert np.sqrt(squares / freedom) == pytest.approx(pontius["residual_sd"], rel=DIGITS)
    assert 1.0 - squares / ((y - y.mean()) ** 2).sum() == pytest.approx(pontius["r_squared"], rel=1e-12)


def test_prediction_without_the_smooth_part_is_the_certified_parabola(pontius: Row) -> None:
    """With the bend taken out, prediction is the certified parabola, between the marks and beyond them."""
    fit = fit_splines(np.array(pontius["x"]) / 3e6, np.array(pontius["y"]), 1.0, 0.2)
    bare = replace(fit, bend=np.zeros_like(fit.bend), trend=_trend(fit)[None, :])
    x = np.linspace(1e5, 3.5e6, 35)
    expected = np.polynomial.polynomial.polyval(x, pontius["coefficients"])
    np.testing.assert_allclose(bare.predict(x / 3e6)[0][0], expected, rtol=DIGITS)


def test_a_certified_line_goes_through_the_whole_fit(norris: Row) -> None:
    """Marks on the certified line leave nothing for the smooth part: the whole fit gives the line back."""
    x = np.unique(norris["x"])
    line = np.polynomial.polynomial.polyval(x, norris["coefficients"])
    fit = fit_splines(x / 1e3, line, 1.0, 0.2)
    between = np.linspace(1.0, 990.0, 50)
    expected = np.polynomial.polynomial.polyval(between, norris["coefficients"])
    np.testing.assert_allclose(fit.predict(between / 1e3)[0][0], expected, rtol=DIGITS)
