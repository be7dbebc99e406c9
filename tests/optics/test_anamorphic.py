"""Two directions of an anamorphic lens, against a lens built from thin cylinders and traced by its matrices."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field, thin_pupil
from tapehook.optics.anamorphic import Anamorphic, across_pupil, gap_used, widest_f_number

Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

F_M, N, C_M = 0.05, 2.8, 0.025e-3
FRONT_M = (-0.1, 0.2)
"""Two thin cylinders 100 mm apart, afocal: angular magnification one half, so that the squeeze is 2."""
GAP_M, TO_LENS_M = 0.1, 0.03
IRIS_M = F_M / N


def _lens(power: float) -> Floats:
    return np.array([[1.0, 0.0], [-power, 1.0]])


def _space(length: float) -> Floats:
    return np.array([[1.0, length], [0.0, 1.0]])


def _front() -> Floats:
    """Across: first cylinder, gap, second cylinder, gap, up to the thin spherical lens with the iris in it."""
    first, second = (_lens(1.0 / f) for f in FRONT_M)
    return np.asarray(_space(TO_LENS_M) @ second @ _space(GAP_M) @ first)


def test_the_front_is_a_squeeze_of_two() -> None:
    """Matrices: no power, and a focal length across of half the engraved one (W. J. Smith, chapter 9)."""
    whole = _lens(1.0 / F_M) @ _front()
    assert _front()[1, 0] == pytest.approx(0.0, abs=1e-12)
    assert -1.0 / whole[1, 0] == pytest.approx(F_M / 2.0)


def _blur_across_m(subject_m: float) -> float:
    """Blur on the sensor across, focused at infinity: marginal rays of an axis point through the edges of the iris.

    ``subject_m`` from the first cylinder.
    """
    before = _front() @ _space(subject_m)
    angle = IRIS_M / 2.0 / before[0, 1]  # the ray that meets the edge of the iris
    ray = _space(F_M) @ _lens(1.0 / F_M) @ before @ np.array([0.0, angle])
    return 2.0 * abs(float(ray[0]))


def _pupil_across() -> Pupil:
    """The iris as seen from before the front: where a ray through its middle crosses the axis, and how large it is.

    Places run from the sensor, F_M behind the lens; the first cylinder is TO_LENS_M + GAP_M before it.
    """
    a, b = _front()[0]
    behind_first_m = b / a  # the ray (h, -h a/b) meets the middle
    to_sensor = F_M + TO_LENS_M + GAP_M - behind_first_m
    return Pupil(to_sensor, a)  # the entrance pupil is 1/a of the iris, the exit pupil the iris itself


@pytest.mark.parametrize("subject_m", [2.0, 5.0, 20.0])
def test_the_blur_across_is_that_of_the_matrices(subject_m: float) -> None:
    """Half the focal length, the same f-number, the pupil where the front puts it: blur m A u |1/u' - 1/u| to 1e-9."""
    pupil = _pupil_across()
    first_m = F_M + TO_LENS_M + GAP_M
    u = subject_m + first_m - float(np.asarray(pupil.to_sensor_m))
    lens = Anamorphic(F_M, 2.0, thin_pupil(F_M), pupil)
    blur = lens.focal_across_m**2 / N / u
    assert _blur_across_m(subject_m) == pytest.approx(blur, rel=1e-9)
    assert float(np.asarray(pupil.magnification)) == pytest.approx(2.0)


def test_widened_the_blur_across_is_half_as_wide_as_high() -> None:
    """The tall oval of anamorphic highlights: across, widened by two, it is 1/S of its height far away."""
    far_m = 1e4
    height_m = F_M**2 / N / far_m
    assert 2.0 * _blur_across_m(far_m) / height_m == pytest.approx(0.5, rel=1e-3)


@given(st.floats(1.0, 2.0), st.floats(0.8, 100), st.floats(1.4, 16))
def test_across_has_squeeze_times_the_room(squeeze: float, distance_m: float, f_number: float) -> None:
    """Far from the pupil the half-width across is S times that along; both together are then that along."""
    lens = Anamorphic(F_M, squeeze, thin_pupil(F_M), across_pupil(thin_pupil(F_M), squeeze))
    along, across = lens.depths(distance_m, f_number, C_M)
    assert float(across.half_width_dpt / along.half_width_dpt) == pytest.approx(squeeze, rel=0.15)
    near, far = lens.both(distance_m, f_number, C_M)
    assert near == pytest.approx(float(along.near_m), rel=1e-2)
    assert far == pytest.approx(float(along.far_m), rel=1e-2) or float(along.far_m) > 500


def test_without_squeeze_it_is_any_lens() -> None:
    """S = 1 gives the depth of a spherical lens, near and far."""
    lens = Anamorphic(F_M, 1.0, thin_pupil(F_M), thin_pupil(F_M))
    plain = depth_of_field([1.0, 3.0, 9.0], F_M, N, C_M, thin_pupil(F_M))
    near, far = lens.both([1.0, 3.0, 9.0], N, C_M)
    assert near == pytest.approx(plain.near_m)
    assert far == pytest.approx(plain.far_m)


@pytest.mark.parametrize("gap_dpt", [0.02, -0.02])
def test_both_resolve_from_the_widest_stop_on_and_not_before(gap_dpt: float) -> None:
    """At the stop of ``widest_f_number`` the depth of both shrinks to a point: a little wider there is none."""
    lens = Anamorphic(F_M, 2.0, thin_pupil(F_M), across_pupil(thin_pupil(F_M), 2.0))
    widest = float(widest_f_number(gap_dpt, F_M, 2.0, C_M))
    assert float(gap_used(gap_dpt, F_M, 2.0, widest, C_M)) == pytest.approx(1.0)
    assert widest == pytest.approx(abs(gap_dpt) * F_M**2 / (3 * C_M))
    at_m = 40.0
    near, far = lens.both(at_m, widest * 1.02, C_M, gap_dpt)
    assert near <= at_m <= far
    assert np.isnan(lens.both(at_m, widest * 0.98, C_M, gap_dpt)[0])


def test_a_gap_that_uses_half_leaves_half_on_the_tighter_side() -> None:
    """A gap of 1.5 w with S 2: along -1.5 w to 0.5 w, across -w to 3 w, so that 1.5 w of 2 w is left, by hand."""
    lens = Anamorphic(F_M, 2.0, thin_pupil(F_M), across_pupil(thin_pupil(F_M), 2.0))
    gap = 0.5 * 3.0 * N * C_M / F_M**2
    near, far = lens.both(5.0, N, C_M, gap)
    whole_near, whole_far = lens.both(5.0, N, C_M)
    assert (1 / near - 1 / far) / (1 / whole_near - 1 / whole_far) == pytest.approx(0.75, abs=0.02)
    assert float(gap_used(gap, F_M, 2.0, N, C_M)) == pytest.approx(0.5)


def test_what_is_no_squeeze_is_refused() -> None:
    """A squeeze below 1 is the wrong way round."""
    with pytest.raises(ValueError, match="squeeze"):
        Anamorphic(F_M, 0.5, thin_pupil(F_M), thin_pupil(F_M))
