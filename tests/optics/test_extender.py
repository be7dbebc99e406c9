"""Extenders, against a bare lens and an extender traced as two thin lenses."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, blur_diameter_m, depth_of_field, thin_pupil
from tapehook.optics.extender import Extender

FOCAL_M, BLUR_M, N = 0.085, 0.025e-3, 2.0


def test_what_everybody_knows_of_one() -> None:
    """A 2x doubles focal length and stop and takes two stops; a 1.4x takes one (2 log2 1.4 = 0.97)."""
    assert Extender(2.0).focal_m(0.1) == pytest.approx(0.2)
    assert Extender(2.0).stop(2.8) == pytest.approx(5.6)
    assert Extender(2.0).stops_lost == pytest.approx(2.0)
    assert Extender(1.4).stops_lost == pytest.approx(0.9709, abs=1e-4)


def traced_image(object_m: float, lens_to_extender_m: float, power_dpt: float) -> float:
    """Where two thin lenses put the image, metres behind the second: 1/s' = 1/f - 1/s, twice."""
    first = 1.0 / (1.0 / FOCAL_M - 1.0 / object_m)
    return 1.0 / (power_dpt + 1.0 / (first - lens_to_extender_m))


@given(st.floats(1.0, 50.0), st.floats(1.2, 2.5))
def test_blur_against_two_thin_lenses(focus_m: float, factor: float) -> None:
    """Somebody off by 10 cm makes x times the bare lens's disc on the sensor, for any focus: traced by hand."""
    gap = 0.030  # from the extender to where the bare lens makes its image, whatever the focus
    power = 1.0 / (factor * gap) - 1.0 / gap
    image_m = 1.0 / (1.0 / FOCAL_M - 1.0 / focus_m)  # the lens moves as a whole, so that this plane stays
    place = image_m - gap
    sensor = traced_image(focus_m, place, power)
    assert sensor == pytest.approx(factor * gap, rel=1e-9)
    off = focus_m * 1.1
    other = traced_image(off, place, power)
    first = 1.0 / (1.0 / FOCAL_M - 1.0 / off)
    beam = FOCAL_M / N * (first - place) / first  # width of the beam where it meets the extender
    disc = abs(beam * (sensor - other) / other)
    bare = float(blur_diameter_m(off + image_m, focus_m + image_m, FOCAL_M, N, thin_pupil(FOCAL_M)))
    assert disc == pytest.approx(factor * bare, rel=1e-6)


def test_depth_is_that_of_a_smaller_blur() -> None:
    """At the ring's stop the depth in vergence is 1/x of the bare lens's; the sensor is farther off."""
    extender, pupil = Extender(2.0, 0.04), Pupil(0.06, 1.2)
    bare = depth_of_field(3.0, FOCAL_M, N, BLUR_M, pupil)
    with_it = depth_of_field(extender.before_m(3.04), FOCAL_M, N, extender.blur_before_m(BLUR_M), pupil)
    assert with_it.half_width_dpt == pytest.approx(bare.half_width_dpt / 2.0, rel=1e-12)
    assert extender.from_sensor_m(3.0) == pytest.approx(3.04)
    assert extender.before_m(np.inf) == np.inf


def test_flange_demands_through_the_axis() -> None:
    """Longitudinal magnification x squared (Hecht 5.2), room x N c: x times the share before it, 1/x behind it."""
    before, behind = Extender(2.0).flange_factors()
    bare = 10e-6 / (N * BLUR_M)
    assert before * bare == pytest.approx(2.0**2 * 10e-6 / (2.0 * N * BLUR_M))
    assert behind * bare == pytest.approx(10e-6 / (2.0 * N * BLUR_M))


@given(st.floats(1.2, 2.5), st.floats(2.0, 40.0), st.floats(-80e-6, 80e-6))
def test_an_error_of_flange_on_either_side_of_two_thin_lenses(factor: float, focus_m: float, error_m: float) -> None:
    """The lens pushed off by so much ahead of the extender, or the sensor behind it: blur over c, both traced.

    Against the bare lens's delta/(N c) at the same iris, to first order: 1 in 300 for 80 um of 30 mm.
    """
    gap = 0.030
    power = 1.0 / (factor * gap) - 1.0 / gap
    image_m = 1.0 / (1.0 / FOCAL_M - 1.0 / focus_m)
    bare = abs(error_m) / (image_m / (FOCAL_M / N))
    before, behind = Extender(factor).flange_factors()
    for place, moved_m, times in ((image_m - gap + error_m, 0.0, before), (image_m - gap, error_m, behind)):
        met = image_m - place  # how far behind the extender the lens's own image lies
        image = 1.0 / (power + 1.0 / met)
        beam = FOCAL_M / N * met / image_m
        disc = abs(beam * (factor * gap + moved_m - image) / image)
        assert disc == pytest.approx(times * bare, rel=1e-2, abs=1e-10)


@pytest.mark.parametrize("factor, length_m", [(0.7, 0.0), (2.0, -0.01), (float("nan"), 0.0)])
def test_what_is_no_extender_is_refused(factor: float, length_m: float) -> None:
    """A factor below 1 shortens; a length below nought is none."""
    with pytest.raises(ValueError, match="factor"):
        Extender(factor, length_m)
