"""The pupil from charts of known width: what comes back, how sure it says it is, and how sure it may be."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field, focus_state, thin_pupil
from tapehook.optics.charts import (
    INVERSE_SD,
    ChartPupil,
    Focusing,
    field_scale,
    magnification_sd,
    pupil_from_charts,
    usual_inverse_magnification,
    width_uncertainty,
)
from tests.optics.strategies import Setting, settings

F = 0.05
K = 0.088
"""Front focal point to image plane of the lens of most tests, metres."""


def _charts(distance_m: list[float], focal_m: float = F, k: float = K) -> np.ndarray:
    """Magnifications of a lens that moves as a whole."""
    m: np.ndarray = focus_state(distance_m, focal_m, Pupil(k - focal_m, 1.0)).magnification
    return m


def _found(
    distance_m: list[float], m: np.ndarray, focusing: Focusing | None = "whole", fill: float = 0.25
) -> ChartPupil:
    return pupil_from_charts(F, distance_m, m, 3e-3 + 3e-3 * np.array(distance_m), magnification_sd(fill), focusing)


def _two_groups(spacing: float, iris_at_rear: bool, power: float) -> tuple[float, float]:
    """Hiatus and 1/P, focal length 1, of two thin groups traced ray by ray; the outer group of power ``power`` < 0.

    The negative group stands in front with the iris at the rear group (reversed telephoto) or the other way round.
    """
    # f = 1: power1 + power2 - d power1 power2 = 1.
    other = (1.0 - power) / (1.0 - spacing * power)
    first, second = (power, other) if iris_at_rear else (other, power)
    # Parallel ray from the front, and from behind, give the focal points; the chief ray gives 1/P.
    back = 1.0 - spacing * first
    front = 1.0 - spacing * second
    hiatus = front + back + spacing - 2.0
    inverse = 1.0 / back if iris_at_rear else front
    return hiatus, inverse


@given(settings())
def test_one_exact_chart_gives_the_depth_where_it_stood(s: Setting) -> None:
    """With 1/P known by luck, one exact chart gives the near and far limits of the pupil data."""
    m = float(focus_state(s.distance_m, s.focal_m, s.pupil).magnification)
    if not 1e-4 < m < 0.5:
        return
    found = pupil_from_charts(s.focal_m, s.distance_m, m, 1e-3, 1e-3)
    lucky = Pupil(
        found.front_focal_m - s.focal_m / np.asarray(s.pupil.magnification), np.asarray(s.pupil.magnification)
    )
    truth = depth_of_field(s.distance_m, s.focal_m, 2.8, 25e-6, s.pupil)
    answer = depth_of_field(s.distance_m, s.focal_m, 2.8, 25e-6, lucky)
    assert float(answer.near_m) == pytest.approx(float(truth.near_m), rel=1e-6)


def test_width_at_the_chart_needs_no_focal_length() -> None:
    """At the chart the width is 2 c N (1/m + 1/P)/m: a focal length engraved 2 % wrong leaves it as it was."""
    m = _charts([1.0])
    widths = []
    for engraved in (F, 1.02 * F):
        found = pupil_from_charts(engraved, [1.0], m, 3e-3, 5e-3, "whole")
        same = ChartPupil(found.focal_m, found.front_focal_m, 0.9, 0.9, found.covariance, 0.0, 1)
        depth = depth_of_field(1.0, found.focal_m, 2.8, 25e-6, same.pupil)
        widths.append(float(depth.far_m - depth.near_m))
    assert widths[1] == pytest.approx(widths[0], rel=1e-3)


def test_several_charts_find_the_focal_length() -> None:
    """Charts near and far pull a focal length that was engraved 2 % wrong to within 0.2 % of the truth."""
    distances = [0.6, 0.7, 0.8, 1.2, 2.5]
    m = _charts(distances, 0.98 * F)
    found = pupil_from_charts(F, distances, m, 1e-3, 1e-3)
    assert found.focal_m == pytest.approx(0.98 * F, rel=2e-3)
    assert found.front_focal_m == pytest.approx(K, abs=1e-3)


@given(st.integers(1, 6), st.floats(0.6, 3.0))
def test_more_charts_never_make_it_less_sure(count: int, nearest: float) -> None:
    """Each further exact chart leaves the uncertainty of the width the same or smaller, at any distance."""
    distances = [nearest * 1.3**i for i in range(count + 1)]
    m = _charts(distances)
    fewer, more = _found(distances[:-1], m[:-1]), _found(distances, m)
    at = [0.7, 1.0, 2.0, 10.0]
    assert (width_uncertainty(more, at) <= width_uncertainty(fewer, at) + 1e-6).all()


def test_uncertainty_covers_what_chance_does() -> None:
    """In 2,000 noisy tests of drawn lenses the width lies within the +- in 93 to 98 of 100, at three distances.

    Drawn as the module says it takes them: f about the engraved one, 1/P about its estimate, tape and reading noise.
    """
    rng = np.random.default_rng(7)
    chart_m, at, inside = np.array([0.7, 1.5]), np.array([0.6, 1.2, 3.0]), np.zeros(3)
    for _ in range(2000):
        f = F * (1 + 0.02 * rng.standard_normal())
        usual, sd = usual_inverse_magnification(f, K)
        truth = Pupil(K - f * (g := usual + sd * rng.standard_normal()), 1.0 / g)
        sd_d, sd_m = 3e-3 + 3e-3 * chart_m, float(magnification_sd(0.3))
        m = _charts(chart_m.tolist(), f) * np.exp(sd_m * rng.standard_normal(2))
        found = pupil_from_charts(F, chart_m + sd_d * rng.standard_normal(2), m, sd_d, sd_m, "whole")
        true = depth_of_field(at, f, 2.0, 25e-6, truth)
        seen = depth_of_field(at, found.focal_m, 2.0, 25e-6, found.pupil)
        off = np.abs(np.log((seen.far_m - seen.near_m) / (true.far_m - true.near_m)))
        inside += off <= width_uncertainty(found, at)
    share = inside / 2000
    assert ((share > 0.93) & (share < 0.98)).all(), share


def test_charts_that_do_not_fit_say_so() -> None:
    """A frame fill mistyped by a tenth among three charts is noticed, and makes the answer less sure."""
    distances = [0.7, 1.0, 2.0]
    m = _charts(distances)
    good = _found(distances, m)
    bad = _found(distances, m * [1.0, 1.1, 1.0])
    assert good.agrees
    assert not bad.agrees
    assert (width_uncertainty(bad, [0.7, 2.0]) > 2 * width_uncertainty(good, [0.7, 2.0])).all()


def test_way_of_focusing_sets_the_growth() -> None:
    """Said "front" the cone does not grow; "inner" is half way; unsaid is less sure than "whole"."""
    m = _charts([1.0])
    found = {kind: _found([1.0], m, kind) for kind in ("whole", "front", "inner", None)}
    assert found["front"].growth < 0.01
    assert found["inner"].growth == pytest.approx(found["whole"].growth / 2)
    assert found[None].growth == found["whole"].growth
    spread = {kind: float(width_uncertainty(one, 1.0)) for kind, one in found.items()}
    assert spread["whole"] < spread[None]
    assert abs(math.log1p(found["whole"].growth * m[0])) < spread[None], "a lens focused by its front is covered"


@given(st.floats(0.2, 5.0), st.floats(-2.0, -0.1), st.booleans())
def test_two_groups_obey_the_rule(spacing: float, power: float, iris_at_rear: bool) -> None:
    """k (k + d/f) = h (1 + k) for two thin groups traced ray by ray, P = 1 + k or 1/P = 1 + k, either way round."""
    hiatus, inverse = _two_groups(spacing, iris_at_rear, power)
    k = (1.0 / inverse if iris_at_rear else inverse) - 1.0
    assert k * (k + spacing) == pytest.approx(hiatus * (1.0 + k), rel=1e-9)


@pytest.mark.parametrize("focal_m", [0.014, 0.035, 0.05, 0.1, 0.3])
def test_estimate_is_tame(focal_m: float) -> None:
    """For any place of the front focal point 1/P stays between 0.1 and what two groups can do, and is smooth in it."""
    k = np.linspace(0.3 * focal_m, 2 * focal_m + 0.15, 400)
    inverse = np.array([usual_inverse_magnification(focal_m, place)[0] for place in k])
    assert inverse.min() >= 0.1
    assert np.isfinite(inverse).all()
    # Along the scale 1/P follows K/f with a slope of one at most, up to the telephoto's steeper root.
    assert np.abs(np.diff(inverse)).max() < 5 * (k[1] - k[0]) / focal_m
    assert usual_inverse_magnification(focal_m, 2 * focal_m)[1] >= INVERSE_SD


def test_far_away_all_lenses_are_thin() -> None:
    """At 100 m the chart's depth is the thin lens's, and the +- that of the focal length alone: 2 x 2 % x 1.96."""
    found = _found([1.0], _charts([1.0]))
    depth = depth_of_field(100.0, found.focal_m, 2.8, 25e-6, found.pupil)
    thin = depth_of_field(100.0, F, 2.8, 25e-6, thin_pupil(F))
    assert float(depth.half_width_dpt) == pytest.approx(float(thin.half_width_dpt), rel=2e-3)
    assert float(width_uncertainty(found, 1e9)) == pytest.approx(2 * 0.02 * 1.96, rel=1e-2)
    assert float(width_uncertainty(found, math.inf)) == pytest.approx(2 * 0.02 * 1.96, rel=1e-2)


def test_nearer_than_focus_is_not_known() -> None:
    """Where no focus exists the uncertainty is inf, not a figure."""
    assert math.isinf(float(width_uncertainty(_found([1.0], _charts([1.0])), 0.1)))


def test_a_large_chart_is_less_sure() -> None:
    """Reading asks for a chart that fills much of the picture, distortion for one that fills little."""
    sd = magnification_sd([0.05, 0.25, 0.45, 1.0])
    assert sd[0] > sd[1] > sd[2]
    assert sd[3] > sd[1]


def test_breathing_is_the_ratio_of_two_charts() -> None:
    """m u of two charts of a lens that moves as a whole has the ratio of 1 + m/P: the picture gets tighter by that."""
    pupil = Pupil(0.041, 1.15)
    state = focus_state([0.6, 3.0], F, pupil)
    scale = field_scale([0.6, 3.0], state.magnification, state.pupil_to_sensor_m)
    assert float(scale[0] / scale[1]) == pytest.approx(float(state.pupil_factor[0] / state.pupil_factor[1]), rel=1e-12)


@pytest.mark.parametrize("distance_m, m", [([], []), ([0.0], [0.1]), ([1.0], [0.0]), ([-1.0], [0.1])])
def test_nonsense_is_refused(distance_m: list[float], m: list[float]) -> None:
    """No charts, or charts without distance or width, raise ValueError."""
    with pytest.raises(ValueError, match="positive"):
        pupil_from_charts(F, distance_m, m, 1e-3, 1e-3)
