"""Depth of field: symmetric in vergence, equal to the handbook for a thin lens, honest at its limits."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tapehook.optics import (
    Pupil,
    blur_diameter_m,
    breathing,
    depth_limits,
    depth_of_field,
    focus_state,
    half_width_as_set_dpt,
    half_width_dpt,
    hyperfocal_m,
    nearest_possible_m,
    sharp_blur_m,
    thin_pupil,
    working_f_number,
)
from tests.optics.strategies import Setting, blurs_m, f_numbers, focal_lengths_m, pupils, settings

WIDE = Pupil(to_sensor_m=0.3, magnification=0.5)
"""A pupil far in front of the sensor: life size is then nearer than the pupil stands from it."""


@given(settings())
def test_depth_is_symmetric_in_vergence(s: Setting) -> None:
    """From the entrance pupil as set, 1/near - 1/focus and 1/focus - 1/far are both the half-width."""
    depth = depth_of_field(*s.everything)
    pupil_m, q, w = (float(x) for x in (depth.state.pupil_to_sensor_m, depth.vergence_dpt, depth.half_width_dpt))
    assert 1.0 / (float(depth.near_m) - pupil_m) == pytest.approx(q + w, rel=1e-6)
    if q > w * 1.0001:
        assert 1.0 / (float(depth.far_m) - pupil_m) == pytest.approx(q - w, rel=1e-3, abs=1e-9)
    elif q < w:
        assert float(depth.far_m) == math.inf


@given(settings())
def test_near_focus_far_keep_their_order(s: Setting) -> None:
    """Near is nearer than the focus, far beyond it, and both lie in front of the entrance pupil."""
    depth = depth_of_field(*s.everything)
    assert float(depth.state.pupil_to_sensor_m) < float(depth.near_m) < s.distance_m < float(depth.far_m)


@given(settings(farthest_m=200.0), st.floats(1.001, 3.0))
def test_limits_move_out_with_the_focus(s: Setting, factor: float) -> None:
    """Focused farther away, neither limit comes nearer, for anything short of a macro lens or a pinhole.

    Near life size, or where N c is no longer small beside f, the lens draws back by more than the limits move out.
    """
    assume(float(focus_state(s.distance_m, s.focal_m, s.pupil).magnification) < 0.2)
    assume(s.f_number * s.blur_m / s.focal_m < 0.1 * min(float(np.asarray(s.pupil.magnification)), 1.0))
    here, there = depth_of_field(*s.everything), depth_of_field(s.distance_m * factor, *s.lens)
    assert float(there.near_m) > float(here.near_m)
    assert float(there.far_m) >= float(here.far_m)


@given(settings(), st.floats(0.0, 0.95))
def test_blur_at_the_limits_is_c(s: Setting, part: float) -> None:
    """An object at the near or the far limit makes a disc of exactly c, whatever floor of it is there at best focus."""
    floor = part * s.blur_m
    depth = depth_of_field(s.distance_m, s.focal_m, s.f_number, sharp_blur_m(s.blur_m, floor), s.pupil)
    assume(float(depth.half_width_dpt) > 1e-5 * float(depth.vergence_dpt))  # else rounding of metres is what is seen
    ends = [
        float(depth.near_m),
        *([float(depth.far_m)] if float(depth.vergence_dpt) > float(depth.half_width_dpt) else []),
    ]
    blur = blur_diameter_m(ends, s.distance_m, s.focal_m, s.f_number, s.pupil, floor)
    np.testing.assert_allclose(blur, s.blur_m, rtol=1e-3)


@given(settings(), st.floats(0.01, 100.0))
def test_scaling_all_lengths(s: Setting, k: float) -> None:
    """Everything k times as large, the blur allowed too: the limits are k times as far away."""
    assume(s.distance_m > 1.01 * float(nearest_possible_m(s.focal_m, s.pupil)))
    pupil = Pupil(np.asarray(s.pupil.to_sensor_m) * k, s.pupil.magnification)
    small = depth_of_field(*s.everything)
    large = depth_of_field(k * s.distance_m, k * s.focal_m, s.f_number, k * s.blur_m, pupil)
    assert float(large.near_m) == pytest.approx(k * float(small.near_m), rel=1e-9)
    assert float(large.half_width_dpt) == pytest.approx(float(small.half_width_dpt) / k, rel=1e-9)


@given(settings(), st.floats(1.1, 4.0))
def test_only_n_times_c_counts(s: Setting, k: float) -> None:
    """Twice the f-number and half the blur allowed is the same depth."""
    one = depth_of_field(*s.everything)
    other = depth_of_field(s.distance_m, s.focal_m, s.f_number * k, s.blur_m / k, s.pupil)
    assert float(other.near_m) == pytest.approx(float(one.near_m), rel=1e-12)
    assert float(other.half_width_dpt) == pytest.approx(float(one.half_width_dpt), rel=1e-12)


@given(focal_lengths_m, st.floats(4.0, 1e4), f_numbers, blurs_m)
def test_thin_lens_equals_the_handbook(focal_m: float, ratio: float, n: float, c: float) -> None:
    """With the thin pupil, near and far from the lens are s f^2/(f^2 +- N c (s - f)).

    Source of the form: D. Jacobson, Photographic Lenses Tutorial, item 4.
    """
    s = ratio * focal_m
    image = s * focal_m / (s - focal_m)
    depth = depth_of_field(s + image, focal_m, n, c, thin_pupil(focal_m))
    near = s * focal_m**2 / (focal_m**2 + n * c * (s - focal_m))
    far_below = focal_m**2 - n * c * (s - focal_m)
    assert float(depth.near_m) - image == pytest.approx(near, rel=1e-9)
    if far_below > 1e-6 * focal_m**2:
        assert float(depth.far_m) - image == pytest.approx(s * focal_m**2 / far_below, rel=1e-5)
    elif far_below < 0:
        assert float(depth.far_m) == math.inf


@given(focal_lengths_m, f_numbers, blurs_m, pupils)
def test_hyperfocal_parts_finite_from_infinite(focal_m: float, n: float, c: float, pupil: Pupil) -> None:
    """At the hyperfocal distance the far limit is infinite, a little inside it is not; near is half as far away."""
    from_image, from_pupil = (float(x) for x in hyperfocal_m(focal_m, n, c, pupil))
    assume(from_image > 1.01 * float(nearest_possible_m(focal_m, pupil)))
    at, inside = (depth_of_field(from_image + part * from_pupil, focal_m, n, c, pupil) for part in (1e-6, -1e-6))
    assert float(at.far_m) == math.inf
    assert math.isfinite(float(inside.far_m))
    assert float(at.near_m - at.state.pupil_to_sensor_m) == pytest.approx(from_pupil / 2.0, rel=1e-5)
    assert float(at.state.pupil_distance_m) == pytest.approx(from_pupil, rel=1e-5)


def test_hyperfocal_without_any_blur_is_infinite() -> None:
    """Where no blur is allowed no focus reaches infinity but infinity itself."""
    assert [float(x) for x in hyperfocal_m(0.05, 2.0, 0.0, thin_pupil(0.05))] == [math.inf, math.inf]


@given(focal_lengths_m, f_numbers, blurs_m, pupils)
def test_infinity(focal_m: float, n: float, c: float, pupil: Pupil) -> None:
    """Set to infinity, far is infinite and near is f^2/(N c) from the entrance pupil."""
    depth = depth_of_field(math.inf, focal_m, n, c, pupil)
    assert float(depth.far_m) == math.inf
    expected = focal_m**2 / (n * c) + float(np.asarray(pupil.to_sensor_m))
    assert float(depth.near_m) == pytest.approx(expected, rel=1e-12)
    assert float(depth.vergence_dpt) == 0.0
    assert float(depth.working_f_number) == n


@given(settings())
def test_no_blur_no_depth(s: Setting) -> None:
    """With no blur left to allow, near and far are the focus itself."""
    depth = depth_of_field(s.distance_m, s.focal_m, s.f_number, 0.0, s.pupil)
    assert float(depth.half_width_dpt) == 0.0
    assert float(depth.near_m) == pytest.approx(s.distance_m, rel=1e-9)
    assert float(depth.far_m) == pytest.approx(s.distance_m, rel=1e-9)


def test_no_blur_at_infinity() -> None:
    """At infinity with no blur allowed, only infinity is sharp."""
    depth = depth_of_field(math.inf, 0.05, 2.0, 0.0, thin_pupil(0.05))
    assert (float(depth.near_m), float(depth.far_m)) == (math.inf, math.inf)


def test_too_near_and_nan_give_nan() -> None:
    """What cannot be focused on has no depth: NaN in both limits, in its own place only."""
    depth = depth_of_field([0.05, 0.2, 0.36, math.nan, 1.0], 0.02, 2.0, 2.5e-5, WIDE)
    assert np.isnan(depth.near_m).tolist() == [True, True, True, True, False]
    assert np.isnan(depth.far_m).tolist() == [True, True, True, True, False]


@given(blurs_m, st.floats(0.0, 2.0))
def test_blur_floor(c: float, part: float) -> None:
    """The floor takes its share in squares: sqrt(c^2 - b0^2) is left, nothing once it reaches c."""
    left = float(sharp_blur_m(c, part * c))
    assert 0.0 <= left <= c
    if part < 1.0:
        assert left**2 + (part * c) ** 2 == pytest.approx(c**2, rel=1e-9)
    else:
        assert left == pytest.approx(0.0, abs=1e-7 * c)


def test_blur_floor_at_its_ends() -> None:
    """No floor leaves c whole; a floor of c or more leaves nothing, and never a negative or imaginary disc."""
    assert sharp_blur_m([2.5e-5] * 3, [0.0, 2.5e-5, 1.0]).tolist() == [2.5e-5, 0.0, 0.0]


@given(settings(farthest_m=100.0), st.floats(0.3, 3.0))
def test_blur_of_any_object(s: Setting, part: float) -> None:
    """The disc is c = m A u |1/u' - 1/u| by similar triangles through the pupil, worked out apart from the function."""
    state = focus_state(s.distance_m, s.focal_m, s.pupil)
    u = float(state.pupil_distance_m)
    other = part * u
    shadow = s.focal_m / s.f_number * abs(u - other) / other
    expected = shadow * float(state.magnification)
    found = blur_diameter_m(other + float(state.pupil_to_sensor_m), s.distance_m, s.focal_m, s.f_number, s.pupil)
    assert float(found) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_blur_floor_adds_in_squares() -> None:
    """In focus the floor is what is left; out of focus it adds to the disc in squares."""
    given_ = (2.0, 0.05, 2.0, thin_pupil(0.05))
    assert float(blur_diameter_m(2.0, *given_, 1e-5)) == pytest.approx(1e-5)
    plain, with_floor = (float(blur_diameter_m(3.0, *given_, floor)) for floor in (0.0, 1e-5))
    assert with_floor == pytest.approx(math.hypot(plain, 1e-5))


def test_blur_behind_the_pupil_is_nan() -> None:
    """An object at or behind the entrance pupil, or a focus that cannot be, has no blur to speak of."""
    assert np.isnan(blur_diameter_m([0.1, 0.31], 2.0, 0.02, 2.0, WIDE)).tolist() == [True, False]
    assert math.isnan(float(blur_diameter_m(1.0, 0.1, 0.02, 2.0, WIDE)))


def test_blur_to_and_from_infinity() -> None:
    """Infinity seen from a near focus and the other way round: both finite, both f^2/N times the vergence between."""
    pupil = thin_pupil(0.05)
    near_focus = focus_state(3.0, 0.05, pupil)
    expected = 0.05**2 / 2.0 * float(near_focus.pupil_factor) / float(near_focus.pupil_distance_m)
    assert float(blur_diameter_m(math.inf, 3.0, 0.05, 2.0, pupil)) == pytest.approx(expected, rel=1e-12)
    assert float(blur_diameter_m(3.0, math.inf, 0.05, 2.0, pupil)) == pytest.approx(0.05**2 / 2.0 / 2.95, rel=1e-12)
    assert float(blur_diameter_m(math.inf, math.inf, 0.05, 2.0, pupil)) == 0.0


@given(st.lists(settings(), min_size=1, max_size=12), st.lists(settings(), min_size=1, max_size=3))
def test_fast_limits_equal_the_plain_ones(many: list[Setting], few: list[Setting]) -> None:
    """``depth_limits`` gives what ``depth_of_field`` gives, to 1e-12, on shapes that broadcast."""
    pupil = Pupil(
        to_sensor_m=np.array([[float(np.asarray(s.pupil.to_sensor_m))] for s in few]),
        magnification=np.array([[float(np.asarray(s.pupil.magnification))] for s in few]),
    )
    given_ = (
        np.array([s.distance_m for s in many] + [math.inf, math.nan, 0.0]),
        np.array([[s.focal_m] for s in few]),
        np.array([[s.f_number] for s in few]),
        many[0].blur_m,
        pupil,
    )
    near, far = depth_limits(*given_)
    plain = depth_of_field(*given_)
    assert near.shape == far.shape == (len(few), len(many) + 3)
    np.testing.assert_array_equal(np.isnan(near), np.isnan(plain.near_m))
    np.testing.assert_allclose(near, plain.near_m, rtol=1e-12)
    # At the hyperfocal distance far jumps from huge to infinite on the last digit of q - w.
    clear = np.abs(plain.vergence_dpt - plain.half_width_dpt) > 1e-6 * plain.half_width_dpt
    np.testing.assert_allclose(far[clear], plain.far_m[clear], rtol=1e-9)


def test_fast_limits_over_many_blocks() -> None:
    """More elements than one block holds, of every input its own: still the plain figures, none skipped or doubled."""
    rng = np.random.default_rng(4)
    count = 40_001
    given_ = (rng.uniform(0.2, 40, count), rng.uniform(0.01, 0.2, count), rng.uniform(1, 22, count), 2.5e-5)
    pupil = Pupil(rng.uniform(0.0, 0.3, count), rng.uniform(0.4, 4, count))
    near, far = depth_limits(*given_, pupil)
    plain = depth_of_field(*given_, pupil)
    assert 0 < np.isnan(near).sum() < count
    np.testing.assert_allclose(near, plain.near_m, rtol=1e-12)
    np.testing.assert_allclose(far, plain.far_m, rtol=1e-7)


def test_fast_limits_know_what_is_too_near() -> None:
    """Far inside life size the fast way gives NaN too, where its square root has two negative factors."""
    distances = [0.0, 0.05, 0.2, 0.3, 0.36]
    near, far = depth_limits(distances, 0.02, 2.0, 2.5e-5, WIDE)
    assert np.isnan(near).all()
    assert np.isnan(far).all()
    assert np.isnan(depth_limits(0.0, 0.05, 2.0, 2.5e-5, thin_pupil(0.05))[0])


def test_fast_limits_shapes() -> None:
    """Scalars, nothing and one element come back in the shape they came in."""
    pupil = thin_pupil(0.05)
    assert [x.shape for x in depth_limits(2.0, 0.05, 2.0, 2.5e-5, pupil)] == [(), ()]
    assert [x.shape for x in depth_limits([], 0.05, 2.0, 2.5e-5, pupil)] == [(0,), (0,)]
    assert [x.shape for x in depth_limits([[2.0]], 0.05, 2.0, 2.5e-5, pupil)] == [(1, 1), (1, 1)]
    alone, first = depth_limits(2.0, 0.05, 2.0, 2.5e-5, pupil), depth_limits([2.0], 0.05, 2.0, 2.5e-5, pupil)
    assert [float(x) for x in alone] == [float(x[0]) for x in first]


def test_depth_shapes() -> None:
    """Every array of a depth has the shape the inputs broadcast to; empty stays empty."""
    pupil = thin_pupil(0.05)
    grid = depth_of_field([2.0, 3.0, math.inf], 0.05, [[1.4], [2.8]], 2.5e-5, pupil)
    assert grid.near_m.shape == grid.far_m.shape == grid.half_width_dpt.shape == (2, 3)
    assert depth_of_field([], 0.05, 2.0, 2.5e-5, pupil).near_m.shape == (0,)
    assert depth_of_field(2.0, 0.05, 2.0, 2.5e-5, pupil).near_m.shape == ()


@given(settings())
def test_breathing_and_working_stop_are_the_same_factor(s: Setting) -> None:
    """Breathing is 1/(1 + m/P), the working f-number N (1 + m/P): their product is N."""
    depth = depth_of_field(*s.everything)
    scale = float(breathing(s.distance_m, s.focal_m, s.pupil))
    assert 0.0 < scale < 1.0
    assert float(depth.working_f_number) * scale == pytest.approx(s.f_number, rel=1e-12)
    assert float(working_f_number(s.f_number, depth.state.pupil_factor)) == float(depth.working_f_number)


def test_breathing_ends_at_infinity() -> None:
    """At infinity the field is its own measure."""
    assert float(breathing(math.inf, 0.05, WIDE)) == 1.0


@given(settings())
def test_half_width_from_the_lens_as_set(s: Setting) -> None:
    """c/(m u A) is the half-width of the depth, given m u and A = f/N."""
    depth = depth_of_field(*s.everything)
    mu = float(depth.state.magnification * depth.state.pupil_distance_m)
    as_set = half_width_as_set_dpt(s.blur_m, mu, s.focal_m / s.f_number)
    assert float(as_set) == pytest.approx(float(depth.half_width_dpt), rel=1e-9)


def test_half_width_at_infinity_is_n_c_over_f_squared() -> None:
    """50 mm, f/2, 0.025 mm: 0.02 dioptres, by hand."""
    assert float(half_width_dpt(2.0, 0.05, 0.025e-3)) == pytest.approx(0.02, rel=1e-12)
