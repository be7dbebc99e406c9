"""Polarisers: the law backwards is exact away from the ends, and at the ends the sensitivity is told."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.polariser import MALUS, PolariserPair, stops_below_aligned

pairs = st.builds(PolariserPair, k0=st.floats(0.2, 1.0), k90=st.sampled_from([0.0, 1e-6, 5e-5, 1e-3, 0.02]))


@given(pair=pairs, angle=st.floats(1.0, 89.0))
def test_the_inverse_is_exact_away_from_the_ends(pair: PolariserPair, angle: float) -> None:
    """From a degree inside the ends an angle comes back from its density to 1e-9 degrees, Malus's law among them."""
    assert float(pair.angle_deg(pair.density(angle))) == pytest.approx(angle, abs=1e-9)
    assert float(MALUS.angle_deg(MALUS.density(angle))) == pytest.approx(angle, abs=1e-9)


@given(pair=pairs)
def test_the_ends_are_aligned_and_crossed(pair: PolariserPair) -> None:
    """The ends of the density range are 0 and 90 degrees; what lies beyond has no angle."""
    least, most = pair.density_range
    assert float(pair.angle_deg(least)) == pytest.approx(0.0, abs=1e-5)
    assert math.isnan(float(pair.angle_deg(least - 0.01)))
    if math.isfinite(most):
        assert float(pair.angle_deg(most)) == pytest.approx(90.0, abs=1e-3)
        assert math.isnan(float(pair.angle_deg(most + 0.01)))


@given(pair=pairs, angle=st.floats(0.5, 89.0))
def test_the_answer_for_a_degree_is_the_slope(pair: PolariserPair, angle: float) -> None:
    """Stops for a degree against differences of the law itself."""
    step = 1e-4
    slope = np.diff(stops_below_aligned(pair, np.array([angle - step, angle + step])))[0] / (2 * step)
    assert float(pair.stops_per_degree(angle)) == pytest.approx(float(slope), rel=1e-4, abs=1e-7)


def test_the_steepest_answer_is_before_crossing() -> None:
    """For Smith's pair it lies at 89.28 degrees and is the most of a fine search; the ends answer with nothing."""
    pair = PolariserPair(0.32, 0.00005)
    most, angle = pair.most_stops_per_degree()
    angles = np.linspace(0.0, 90.0, 90_001)
    assert most == pytest.approx(float(pair.stops_per_degree(angles).max()), rel=1e-6)
    assert angle == pytest.approx(float(angles[np.argmax(pair.stops_per_degree(angles))]), abs=2e-3)
    assert pair.stops_per_degree([0.0, 90.0]) == pytest.approx([0.0, 0.0], abs=1e-9)
    assert MALUS.most_stops_per_degree() == (math.inf, 90.0)


def test_near_aligned_a_small_error_of_density_is_many_degrees() -> None:
    """By cos^2 a = 10^-0.01 a hundredth of density is 8.7 degrees at the aligned end, and a third of one at 60."""
    by_hand = math.degrees(math.acos(10**-0.005))
    assert float(MALUS.angle_spread_deg(0.0, 0.01)) == pytest.approx(by_hand, rel=1e-6)
    assert float(MALUS.angle_spread_deg(MALUS.density(60.0), 0.01)) == pytest.approx(0.38, abs=0.02)


@pytest.mark.parametrize("k0, k90", [(0.3, 0.3), (0.2, 0.4), (1.2, 0.0), (0.5, -0.1), (0.0, 0.0)])
def test_constants_that_cannot_be_are_refused(k0: float, k90: float) -> None:
    """Crossed must pass less than aligned, and neither more than all light."""
    with pytest.raises(ValueError, match="K90 < K0"):
        PolariserPair(k0, k90)
