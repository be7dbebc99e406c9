"""The coordinates that rings are mapped in, and back."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens import FocalScale, FocusScale, StopScale
from tapehook.lens.scale import focus_places

distances_m = st.lists(st.floats(0.2, 500.0), min_size=1, max_size=12)
focal_lengths_m = st.one_of(st.none(), st.floats(0.01, 0.4))


@given(distances_m, focal_lengths_m)
def test_focus_scale_comes_back(distances: list[float], focal_m: float | None) -> None:
    """Distance to place and back is the same distance; infinity too."""
    scale = FocusScale.of(distances, focal_m)
    np.testing.assert_allclose(scale.value(scale.place(distances)), distances, rtol=1e-9)
    assert float(scale.value(scale.place(math.inf))) == math.inf


@given(distances_m, focal_lengths_m)
def test_focus_scale_runs_from_infinity_to_the_nearest_mark(distances: list[float], focal_m: float | None) -> None:
    """Infinity stands at 0.05, the nearest mark at 1.05, and nearer is larger."""
    scale = FocusScale.of([*distances, math.inf], focal_m)
    assert float(scale.place(math.inf)) == 0.05
    assert float(scale.place(min(distances))) == pytest.approx(1.05)
    ordered = sorted({round(d, 6) for d in distances})
    assert np.all(np.diff(scale.place(ordered)) < 0)


@pytest.mark.parametrize(
    "nearest, focal_m, datum",
    [(2.0, 0.05, 0.15), (0.2, 0.05, 0.12), (1.0, None, 0.15), (5.0, 0.2, 0.45)],
)
def test_focus_datum(nearest: float, focal_m: float | None, datum: float) -> None:
    """The datum is 2 f + 50 mm, 50 mm standing in for no focal length, and at most 0.6 of the nearest mark."""
    assert FocusScale.of([nearest, 10.0], focal_m).datum_m == pytest.approx(datum)


def test_focus_scale_at_its_ends() -> None:
    """At or behind the datum there is no vergence; at and beyond infinity the distance is infinite."""
    scale = FocusScale.of([1.0], 0.05)
    assert np.isnan(scale.vergence([scale.datum_m, 0.0])).all()
    assert float(scale.vergence(math.inf)) == 0.0
    assert np.isinf(scale.value([0.05, 0.04, -3.0])).all()


@given(st.lists(st.floats(0.7, 45.0), min_size=2, max_size=10, unique=True))
def test_stop_scale(stops: list[float]) -> None:
    """T-numbers come back, and equal ratios take equal places, from 0.05 to 1.05."""
    scale = StopScale.of(stops)
    if max(stops) / min(stops) < 1.0001:
        return
    np.testing.assert_allclose(scale.value(scale.place(stops)), stops, rtol=1e-9)
    ends = scale.place([min(stops), max(stops)])
    np.testing.assert_allclose(ends, [0.05, 1.05])
    ladder = min(stops) * 1.2 ** np.arange(5)
    np.testing.assert_allclose(np.diff(scale.place(ladder), 2), 0.0, atol=1e-6)


def test_focal_scale_by_hand() -> None:
    """25 to 100 mm: 50 mm is half way in octaves."""
    scale = FocalScale.of([0.025, 0.1])
    assert float(scale.place(0.05)) == pytest.approx(0.55)
    assert float(scale.value(0.55)) == pytest.approx(0.05)


@given(st.lists(st.tuples(st.lists(st.floats(0.3, 50.0), min_size=4, max_size=4), st.floats(0.0, 0.3)), min_size=1))
def test_places_of_many_lists_are_those_of_each(lists: list[tuple[list[float], float]]) -> None:
    """Each list of marks on the scale it would have alone; a focal length of 0 is one that is not known."""
    distances = np.array([marks for marks, _ in lists])
    places, near_dpt = focus_places(distances, np.array([focal_m for _, focal_m in lists]))
    for own, near, (marks, focal_m) in zip(places, near_dpt, lists, strict=True):
        scale = FocusScale.of(marks, focal_m or None)
        np.testing.assert_allclose(own, scale.place(marks), rtol=1e-12)
        assert near == pytest.approx(scale.near_vergence_dpt, rel=1e-12)
