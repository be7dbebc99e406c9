"""T-number and f-number: one is light, the other geometry."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import ASSUMED_TRANSMISSION, f_number_from_t, t_from_f_number, working_f_number

stops = st.floats(0.5, 64.0)
transmissions = st.floats(0.01, 1.0)


@given(stops, transmissions)
def test_there_and_back(t: float, tau: float) -> None:
    """N from T and T from N undo each other, and N is never more than T."""
    n = float(f_number_from_t(t, tau))
    assert n <= t
    assert float(t_from_f_number(n, tau)) == pytest.approx(t, rel=1e-14)


def test_known_values() -> None:
    """T2 at 81 % is f/1.8; a lens that loses nothing has N = T."""
    assert f_number_from_t([2.0, 2.0], [0.81, 1.0]).tolist() == pytest.approx([1.8, 2.0], rel=1e-15)


@pytest.mark.parametrize("function", [f_number_from_t, t_from_f_number])
@pytest.mark.parametrize(
    "stop, tau, complaint",
    [
        (0.0, 0.9, "positive"),
        (-2.0, 0.9, "positive"),
        (math.nan, 0.9, "positive"),
        ([2.0, 0.0], 0.9, "positive"),
        (2.0, 0.0, "transmission"),
        (2.0, 1.01, "transmission"),
        (2.0, math.nan, "transmission"),
    ],
)
def test_what_cannot_be_is_refused(function: object, stop: float, tau: float, complaint: str) -> None:
    """Stops that are not positive and transmissions outside (0, 1] raise, in both directions."""
    assert callable(function)
    with pytest.raises(ValueError, match=complaint):
        function(stop, tau)


def test_working_f_number_broadcasts() -> None:
    """N times the pupil factor, over any shapes."""
    assert working_f_number([2.0, 4.0], [[1.0], [1.5]]).tolist() == [[2.0, 4.0], [3.0, 6.0]]
    assert working_f_number(2.0, np.array([])).shape == (0,)


def test_assumed_transmission_is_a_share() -> None:
    """What is assumed when nobody measured lies among what lenses have (common practice, no source: 0.7 to 0.95)."""
    assert 0.7 <= ASSUMED_TRANSMISSION <= 0.95
