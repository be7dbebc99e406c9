"""How far a depth of field can be trusted when data are missing."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field, depth_uncertainty, thin_pupil
from tapehook.optics.trust import RETROFOCUS_REACH_M, WIDE_FOCAL_M


def test_steps_of_an_ordinary_lens() -> None:
    """5 % beyond 60 focal lengths, 10 % from 15 to 60, 20 % below, for a lens that is not wide."""
    found = depth_uncertainty(np.array([14.9, 15.0, 60.0, 60.1, math.inf]) * 0.075, 0.075, pupil_known=False)
    assert found.tolist() == pytest.approx([0.20, 0.10, 0.10, 0.05, 0.05])


def test_pupil_data_leave_no_uncertainty() -> None:
    """With pupil data it is nothing, in the shape of the inputs; the light's share stays."""
    assert depth_uncertainty([1.0, 2.0], 0.025, pupil_known=True).tolist() == [0.0, 0.0]
    assert depth_uncertainty([1.0, 2.0], [[0.025], [0.05]], pupil_known=True, t_over_n=1.1).shape == (2, 2)
    assert float(depth_uncertainty(1.0, 0.025, pupil_known=True, t_over_n=1.1)) == pytest.approx(0.1)


@given(st.floats(0.012, 0.3), st.floats(0.3, 1e4), st.floats(1.0, 1.3))
def test_never_less_than_the_light(focal_m: float, distance_m: float, t_over_n: float) -> None:
    """T/N - 1 is the least of it, and it adds whole."""
    plain = float(depth_uncertainty(distance_m, focal_m, pupil_known=False))
    with_light = float(depth_uncertainty(distance_m, focal_m, pupil_known=False, t_over_n=t_over_n))
    assert plain >= 0.05
    assert with_light == pytest.approx(plain + t_over_n - 1.0) or math.isinf(plain)


@given(st.floats(0.012, 0.3), st.floats(0.3, 100.0), st.floats(1.0, 3.0))
def test_farther_is_never_worse(focal_m: float, distance_m: float, factor: float) -> None:
    """The uncertainty never grows with distance."""
    near, far = depth_uncertainty([distance_m, distance_m * factor], focal_m, pupil_known=False)
    assert far <= near


@given(st.floats(0.012, WIDE_FOCAL_M * 0.999), st.floats(0.5, 20.0), st.floats(0.0, 1.0))
def test_wide_lenses_are_covered_as_far_as_the_pupil_may_reach(focal_m: float, distance_m: float, part: float) -> None:
    """For a wide lens the band holds what a pupil up to 130 mm farther forward does to the width, to a fifth of itself.

    P being 1, and the depth small, where its width is proportional to w u^2. A fifth, as the band counts u without the
    extension of the lens.
    """
    band = float(depth_uncertainty(distance_m, focal_m, pupil_known=False))
    if not math.isfinite(band):
        assert distance_m - focal_m <= RETROFOCUS_REACH_M
        return
    pupil = Pupil(focal_m + part * RETROFOCUS_REACH_M, 1.0)
    widths = []
    for candidate in (thin_pupil(focal_m), pupil):
        depth = depth_of_field(distance_m, focal_m, 2.0, 1e-9, candidate)
        widths.append(float(depth.half_width_dpt * depth.state.pupil_distance_m**2))
    assert abs(widths[0] / widths[1] - 1.0) <= 1.2 * band


def test_a_wide_lens_at_its_front_glass_is_not_trusted_at_all() -> None:
    """Where the pupil might stand beyond the subject the uncertainty is infinite, not a large number."""
    assert float(depth_uncertainty(0.15, 0.02, pupil_known=False)) == math.inf
