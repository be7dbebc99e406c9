"""Where a lens stands when it is focused: conjugates, limits, and the pupil from one chart."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, focus_state, nearest_possible_m, pupil_from_chart, thin_pupil
from tests.optics.strategies import Setting, focal_lengths_m, pupils, settings

SOME = Pupil(to_sensor_m=0.041, magnification=1.15)


@given(settings())
def test_parts_add_up_to_the_distance(s: Setting) -> None:
    """Object to entrance pupil plus entrance pupil to image plane is the distance the lens was set to."""
    state = focus_state(s.distance_m, s.focal_m, s.pupil)
    assert float(state.pupil_distance_m + state.pupil_to_sensor_m) == pytest.approx(s.distance_m, rel=1e-12)


@given(settings())
def test_one_factor_behind_all(s: Setting) -> None:
    """m u = f (1 + m/P), the identity that depth, breathing and the working f-number share."""
    state = focus_state(s.distance_m, s.focal_m, s.pupil)
    assert float(state.magnification * state.pupil_distance_m) == pytest.approx(
        s.focal_m * float(state.pupil_factor), rel=1e-12
    )


@given(settings())
def test_the_lens_moves_by_its_extension(s: Setting) -> None:
    """The pupil as set is farther from the image plane by f m, the extension of the whole lens."""
    state = focus_state(s.distance_m, s.focal_m, s.pupil)
    assert float(state.extension_m) == pytest.approx(s.focal_m * float(state.magnification), rel=1e-12)
    moved = float(state.pupil_to_sensor_m) - float(np.asarray(s.pupil.to_sensor_m))
    assert moved == pytest.approx(float(state.extension_m), abs=1e-12)


@given(focal_lengths_m, pupils, st.floats(1e-4, 1.0))
def test_magnification_comes_back(focal_m: float, pupil: Pupil, m: float) -> None:
    """The distance that images at m by the conjugate equation D = f/m + f/P + e + f m is set to m again.

    Near life size the equation has a double root, so the last digits are lost there: half of them at m = 1.
    """
    p, e = float(np.asarray(pupil.magnification)), float(np.asarray(pupil.to_sensor_m))
    state = focus_state((focal_m / m + focal_m / p + e + focal_m * m) * (1 + 1e-15), focal_m, pupil)
    if not math.isnan(float(state.magnification)):
        assert float(state.magnification) == pytest.approx(m, rel=1e-6)
    else:
        assert m > 1 - 1e-6


@given(focal_lengths_m, st.floats(2.001, 1e5))
def test_thin_lens_obeys_the_lens_equation(focal_m: float, ratio: float) -> None:
    """With the thin pupil 1/u + 1/v = 1/f holds, u = (D + sqrt(D^2 - 4 f D))/2, and P is 1."""
    distance = 2.0 * focal_m * ratio
    state = focus_state(distance, focal_m, thin_pupil(focal_m))
    u, v = float(state.pupil_distance_m), float(state.pupil_to_sensor_m)
    assert 1.0 / u + 1.0 / v == pytest.approx(1.0 / focal_m, rel=1e-12)
    assert u == pytest.approx((distance + math.sqrt(distance**2 - 4.0 * focal_m * distance)) / 2.0, rel=1e-9)
    assert float(state.pupil_factor) == pytest.approx(1.0 + float(state.magnification))


@given(focal_lengths_m, pupils)
def test_infinity_is_the_lens_at_rest(focal_m: float, pupil: Pupil) -> None:
    """At infinity nothing is extended or magnified, the factor is 1, and the pupil is where the data say."""
    state = focus_state(math.inf, focal_m, pupil)
    assert (float(state.magnification), float(state.extension_m), float(state.pupil_factor)) == (0.0, 0.0, 1.0)
    assert float(state.pupil_distance_m) == math.inf
    assert float(state.pupil_to_sensor_m) == np.asarray(pupil.to_sensor_m)


@given(focal_lengths_m, pupils)
def test_life_size_is_the_end(focal_m: float, pupil: Pupil) -> None:
    """At the nearest possible distance m is 1 (object and image equally large); nearer there is NaN, not a figure."""
    nearest = float(nearest_possible_m(focal_m, pupil))
    assert float(focus_state(nearest + 1e-9, focal_m, pupil).magnification) == pytest.approx(1.0, abs=1e-2)
    nearer = focus_state([nearest - 1e-6, nearest - focal_m, nearest - 10 * focal_m], focal_m, pupil)
    for field in (nearer.magnification, nearer.extension_m, nearer.pupil_distance_m, nearer.pupil_factor):
        assert np.isnan(field).all()


@given(settings(), st.floats(0.01, 100.0))
def test_scaling_all_lengths(s: Setting, k: float) -> None:
    """A lens k times as large, k times as far away: the same magnification, k times the lengths."""
    p = Pupil(np.asarray(s.pupil.to_sensor_m) * k, s.pupil.magnification)
    small, large = focus_state(s.distance_m, s.focal_m, s.pupil), focus_state(k * s.distance_m, k * s.focal_m, p)
    # Near life size the last digits go into a square root, hence the tolerance.
    assert float(large.magnification) == pytest.approx(float(small.magnification), rel=1e-5)
    assert float(large.pupil_distance_m) == pytest.approx(k * float(small.pupil_distance_m), rel=1e-5)


@given(settings(farthest_m=100.0))
def test_nearer_is_larger(s: Setting) -> None:
    """Set nearer, a lens magnifies more and extends farther."""
    here, beyond = (focus_state(d, s.focal_m, s.pupil) for d in (s.distance_m, s.distance_m * 1.01))
    assert float(here.magnification) > float(beyond.magnification)
    assert float(here.extension_m) > float(beyond.extension_m)


def test_shapes_follow_the_inputs() -> None:
    """Scalars give arrays of no dimension, arrays broadcast, empty stays empty, NaN stays NaN in its own place."""
    assert focus_state(2.0, 0.05, SOME).magnification.shape == ()
    assert focus_state([2.0, 3.0, math.inf], [[0.05], [0.035]], SOME).pupil_factor.shape == (2, 3)
    assert focus_state([], 0.05, SOME).pupil_distance_m.shape == (0,)
    mixed = focus_state([math.nan, 2.0], 0.05, SOME).magnification
    assert np.isnan(mixed).tolist() == [True, False]
    one = focus_state([2.0], 0.05, SOME).magnification
    assert one.tolist() == [float(focus_state(2.0, 0.05, SOME).magnification)]


@given(settings(farthest_m=50.0), st.floats(0.05, 3.0))
def test_chart_gives_the_pupil_back(s: Setting, chart_m: float) -> None:
    """A chart imaged at the magnification of a known lens gives that magnification and the place of its pupil."""
    m = float(focus_state(s.distance_m, s.focal_m, s.pupil).magnification)
    found_m, found = pupil_from_chart(s.focal_m, s.distance_m, chart_m, chart_m * m, s.pupil.magnification)
    assert float(found_m) == pytest.approx(m, rel=1e-12)
    # f/m carries the digits of the distance, so that is what the place is good to.
    assert float(np.asarray(found.to_sensor_m)) == pytest.approx(
        float(np.asarray(s.pupil.to_sensor_m)), abs=1e-6 * s.distance_m
    )


@given(settings(farthest_m=20.0))
def test_wrong_pupil_magnification_moves_only_the_split(s: Setting) -> None:
    """Whatever P is assumed, the lens found focuses on the chart's distance at the chart's magnification."""
    m = float(focus_state(s.distance_m, s.focal_m, s.pupil).magnification)
    _, found = pupil_from_chart(s.focal_m, s.distance_m, 1.0, m)
    state = focus_state(s.distance_m * (1 + 1e-12), s.focal_m, found)
    assert float(state.magnification) == pytest.approx(m, rel=1e-3)


@pytest.mark.parametrize(
    "wrong",
    [
        {"focal_m": 0.0},
        {"distance_m": -1.0},
        {"distance_m": math.inf},
        {"chart_width_m": 0.0},
        {"image_width_m": math.nan},
        {"chart_width_m": [1.0, -1.0]},
    ],
)
def test_chart_refuses_what_cannot_be(wrong: dict[str, float]) -> None:
    """Widths, distances and focal lengths that are not positive and finite are refused by name."""
    given_ = {"focal_m": 0.05, "distance_m": 2.0, "chart_width_m": 1.0, "image_width_m": 0.024, **wrong}
    with pytest.raises(ValueError, match=next(iter(wrong))):
        pupil_from_chart(**given_)
