"""The sharp lane in distance, and the ways people walk."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field, thin_pupil
from tapehook.shot.lane import depth_used, settings_m
from tapehook.shot.path import distances_m, places_at

PUPIL = Pupil(0.041, 1.15)
BLUR_M = 25e-6


@given(st.floats(0.6, 60.0), st.floats(1.0, 22.0), st.sampled_from([0.018, 0.05, 0.135]))
@settings(max_examples=150)
def test_settings_are_those_whose_depth_ends_at_the_subject(subject_m: float, f_number: float, focal_m: float) -> None:
    """At the nearest setting the far limit is the subject, at the farthest the near limit: as the depth has it."""
    pupil = thin_pupil(focal_m)
    if subject_m < 8 * focal_m:
        return
    near, far = (float(x[0]) for x in settings_m([subject_m], focal_m, f_number, BLUR_M, pupil))
    assert near < subject_m < far
    assert float(depth_of_field(near, focal_m, f_number, BLUR_M, pupil).far_m) == pytest.approx(subject_m, rel=1e-6)
    if np.isfinite(far):
        assert float(depth_of_field(far, focal_m, f_number, BLUR_M, pupil).near_m) == pytest.approx(subject_m, rel=1e-6)
    assert float(depth_used([subject_m], [near], focal_m, f_number, BLUR_M, pupil)[0]) == pytest.approx(1.0, rel=1e-6)


def test_what_cannot_be_in_focus_has_no_setting() -> None:
    """Nearer than any lens of that focal length: not a number, and never a curve."""
    assert np.isnan(settings_m([0.05], 0.05, 2.0, BLUR_M, PUPIL)[1][0])


def test_infinity_is_held_from_the_hyperfocal_distance_on() -> None:
    """A subject at infinity: settings from the hyperfocal distance to infinity."""
    near, far = settings_m([np.inf], 0.05, 2.0, BLUR_M, PUPIL)
    assert far[0] == np.inf
    assert float(depth_of_field(near[0], 0.05, 2.0 * (1 + 1e-9), BLUR_M, PUPIL).far_m) > 1e6


@given(st.lists(st.floats(-20.0, 20.0), min_size=2, max_size=8), st.integers(0, 1000))
@settings(max_examples=80)
def test_people_pass_their_marks_and_never_overshoot(xs: list[float], seed: int) -> None:
    """At each waypoint they are there; between two they stay between; before and after they stand."""
    at = np.cumsum(np.random.default_rng(seed).uniform(0.1, 3.0, len(xs)))
    places = np.column_stack([xs, np.zeros(len(xs)), np.full(len(xs), 1.7)])
    assert places_at(at, at, places) == pytest.approx(places, abs=1e-9)
    for k in range(len(xs) - 1):
        between = places_at(np.linspace(at[k], at[k + 1], 20), at, places)[:, 0]
        assert between.min() >= min(xs[k], xs[k + 1]) - 1e-9
        assert between.max() <= max(xs[k], xs[k + 1]) + 1e-9
    outside = places_at([at[0] - 5.0, at[-1] + 5.0], at, places)
    assert outside == pytest.approx(places[[0, -1]], abs=1e-9)


def test_standing_still_is_still() -> None:
    """Two waypoints at one place: no sway between."""
    found = places_at(np.linspace(0, 3, 50), [0.0, 1.0, 2.0, 3.0], [[0, 0, 0], [1, 0, 0], [1, 0, 0], [0, 0, 0]])
    assert np.all(found[17:33, 0] == pytest.approx(1.0))


@pytest.mark.parametrize("at, places", [([], []), ([0.0, 0.0], [[0, 0, 0], [1, 1, 1]]), ([0.0], [[0, 0]])])
def test_ways_without_sense_are_refused(at: list[float], places: list[list[float]]) -> None:
    """No waypoint, two at one moment, two coordinates."""
    with pytest.raises(ValueError, match="waypoints"):
        places_at([0.0], at, places)


def test_the_tape_runs_straight() -> None:
    """3, 4 and 12 metres apart are 13 (Euclid)."""
    assert distances_m(np.array([[3.0, 4.0, 12.0]]), np.zeros((1, 3)))[0] == pytest.approx(13.0)
