"""Focus splits: the published rule, the limits of depth it must meet, and what is refused."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field, hyperfocal_m, thin_pupil
from tapehook.shot import split_focus

BLUR_M = 25e-6
PUPILS = (thin_pupil(0.05), Pupil(0.041, 1.15), Pupil(0.09, 0.7), Pupil(-0.02, 1.6))


@given(
    st.sampled_from(PUPILS),
    st.lists(st.floats(0.5, 40.0) | st.just(np.inf), min_size=1, max_size=5),
    st.sampled_from([0.018, 0.035, 0.05, 0.085]),
)
@settings(max_examples=200)
def test_the_stop_needed_just_holds_all(pupil: Pupil, distances_m: list[float], focal_m: float) -> None:
    """At the f-number needed the depth ends at the nearest and the farthest; a little wider it does not reach."""
    assume(max(distances_m) > min(distances_m) * 1.001)
    split = split_focus(distances_m, focal_m, BLUR_M, pupil)
    near, far = _limits(split.focus_m, focal_m, split.f_number, pupil)
    assert near == pytest.approx(min(distances_m), rel=1e-6)
    if np.isinf(max(distances_m)):
        assert far > 1e5
    else:
        assert far == pytest.approx(max(distances_m), rel=1e-5)
    tighter = _limits(split.focus_m, focal_m, split.f_number * 0.99, pupil)
    assert tighter[0] > min(distances_m)
    assert tighter[1] < max(distances_m)


def _limits(focus_m: float, focal_m: float, f_number: float, pupil: Pupil) -> tuple[float, float]:
    depth = depth_of_field(focus_m, focal_m, f_number, BLUR_M, pupil)
    return float(depth.near_m), float(depth.far_m)


@pytest.mark.parametrize("pupil", PUPILS)
def test_infinity_and_near_is_the_hyperfocal_distance(pupil: Pupil) -> None:
    """Held from a near subject to infinity, the setting is the hyperfocal distance of the stop it takes."""
    split = split_focus([2.0, np.inf], 0.05, BLUR_M, pupil)
    assert split.focus_m == pytest.approx(float(hyperfocal_m(0.05, split.f_number, BLUR_M, pupil)[0]), rel=1e-9)


@given(st.lists(st.floats(0.6, 30.0), min_size=2, max_size=6))
@settings(max_examples=50)
def test_only_nearest_and_farthest_count(distances_m: list[float]) -> None:
    """Subjects between them, and their order, change nothing."""
    ends = [min(distances_m), max(distances_m)]
    assert split_focus(distances_m[::-1], 0.05, BLUR_M, PUPILS[1]) == split_focus(ends, 0.05, BLUR_M, PUPILS[1])


def test_one_place_takes_no_depth() -> None:
    """Subjects at one distance are held by any stop."""
    split = split_focus([2.0, 2.0], 0.05, BLUR_M, PUPILS[1])
    assert split.focus_m == pytest.approx(2.0)
    assert split.f_number == 0.0


def test_all_at_infinity() -> None:
    """Two subjects at infinity: focus there, no depth taken."""
    split = split_focus([np.inf, np.inf], 0.05, BLUR_M, PUPILS[0])
    assert (split.focus_m, split.f_number, split.vergence_dpt) == (np.inf, 0.0, 0.0)


def test_without_blur_no_stop_holds() -> None:
    """Where the blur floor leaves nothing, the stop needed is infinite."""
    assert split_focus([2.0, 3.0], 0.05, 0.0, PUPILS[0]).f_number == np.inf


@pytest.mark.parametrize("distances_m", [[], [0.05, 2.0], [0.1, 0.12]])
def test_what_cannot_be_in_focus_is_refused(distances_m: list[float]) -> None:
    """No subject, or one nearer than any lens of that focal length can focus."""
    with pytest.raises(ValueError, match="subject"):
        split_focus(distances_m, 0.05, BLUR_M, thin_pupil(0.05))
