"""Dew point and warming, against published tables and by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.dew import dew_point_c, frost_point_c, saturation_hpa, time_to_reach_s

HPA = {0: 6.113, 5: 8.726, 10: 12.281, 15: 17.056, 20: 23.388, 25: 31.690, 30: 42.455, 35: 56.267, 40: 73.814}
"""Wikipedia, Vapour pressure of water, the table in kilopascal."""


def test_saturation_against_the_published_table() -> None:
    """Within the 0.4 % its authors state."""
    assert saturation_hpa(list(HPA)) == pytest.approx(list(HPA.values()), rel=4e-3)


@pytest.mark.parametrize("air_c, dew_c", [(20, 10), (30, 15), (35, 25), (15, 0)])
def test_dew_point_from_the_table(air_c: int, dew_c: int) -> None:
    """The humidity at which the published table gives that dew point, e(dew)/e(air), gives it back to 0.1 K."""
    assert dew_point_c(air_c, HPA[dew_c] / HPA[air_c]) == pytest.approx(dew_c, abs=0.1)


def murphy_koop_hpa(t_c: float, *, ice: bool) -> float:
    """Saturation over water or ice: D. Murphy, T. Koop, Q. J. Royal Meteorological Society 131 (2005), their fits."""
    t = t_c + 273.15
    if ice:
        return math.exp(9.550426 - 5723.265 / t + 3.53068 * math.log(t) - 0.00728332 * t) / 100.0
    left = 54.842763 - 6763.22 / t - 4.21 * math.log(t) + 0.000367 * t
    right = 53.878 - 1331.22 / t - 9.44523 * math.log(t) + 0.014025 * t
    return math.exp(left + math.tanh(0.0415 * (t - 218.8)) * right) / 100.0


@pytest.mark.parametrize("t_c", range(-40, 51, 5))
def test_saturation_against_a_later_formula_also_below_freezing(t_c: int) -> None:
    """Within the 0.4 % its authors state, over water, from -40 to 50 degrees, against the fit of Murphy and Koop."""
    assert float(saturation_hpa(t_c)) == pytest.approx(murphy_koop_hpa(t_c, ice=False), rel=4e-3)


@pytest.mark.parametrize("frost_c", [-30, -20, -10, -3])
def test_frost_forms_above_the_dew_point(frost_c: int) -> None:
    """Air as full as ice at that temperature keeps it by Murphy and Koop: frost there to 0.1 K, dew a tenth lower."""
    air_c = 5.0
    dew = dew_point_c(air_c, murphy_koop_hpa(frost_c, ice=True) / murphy_koop_hpa(air_c, ice=False))
    assert float(frost_point_c(dew)) == pytest.approx(frost_c, abs=0.1)
    assert float(dew) == pytest.approx(1.11 * frost_c, abs=0.35)


def test_above_freezing_frost_is_no_matter() -> None:
    """There it is dew that settles."""
    assert frost_point_c([0.0, 5.0, 20.0]).tolist() == [0.0, 5.0, 20.0]


@given(st.floats(-40, 50), st.floats(0.05, 1.0))
def test_dew_point_is_where_the_air_is_full(air_c: float, humidity: float) -> None:
    """The vapour there is saturates at the dew point, which never lies above the air's temperature."""
    dew = dew_point_c(air_c, humidity)
    assert saturation_hpa(dew) == pytest.approx(humidity * saturation_hpa(air_c), rel=1e-9)
    assert dew <= air_c + 1e-9


def test_warming_by_hand() -> None:
    """From -5 into 22 degrees: to 11 in 30 min x ln(27/11); there at once where it is there; never past the air."""
    assert time_to_reach_s(-5, 22, 11, 1800) == pytest.approx(1800 * math.log(27 / 11))
    assert time_to_reach_s(30, 5, 6, 1800) == pytest.approx(1800 * math.log(25))
    assert time_to_reach_s([15, 22, 22], [22, 22, 22], [11, 22, 11], 1800).tolist() == [0.0, 0.0, 0.0]
    assert time_to_reach_s([-5, -5], [22, 22], [22, 23], 1800).tolist() == [np.inf, np.inf]


@pytest.mark.parametrize("humidity", [0.0, -0.1, 1.2, math.nan])
def test_no_humidity_is_refused(humidity: float) -> None:
    """A share of one above nought."""
    with pytest.raises(ValueError, match="humidity"):
        dew_point_c(20, humidity)
