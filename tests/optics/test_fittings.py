"""Close-up lenses and extension tubes, against the conjugate equations of a thin lens."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, focus_state, thin_pupil
from tapehook.optics.fittings import Fittings

FOCAL = np.asarray(0.050)
THIN = thin_pupil(FOCAL)


def test_a_tube_of_a_quarter_of_the_focal_length_at_infinity() -> None:
    """m = t/f = 1/4: object f (1 + 4) and image f (1 + 1/4) from the lens (thin-lens conjugates): 312.5 mm in all."""
    fitted = Fittings(FOCAL, THIN, tube_m=0.0125)
    assert fitted.set_m(np.inf) == pytest.approx(0.25 + 0.0625, abs=1e-12)
    assert fitted.scale_m(0.3125) > 1e6
    assert fitted.scale_m(0.5) == np.inf


def test_half_a_dioptre_at_infinity_is_two_metres() -> None:
    """1/P in front of the close-up lens (Wikipedia, Close-up lens); what is farther is virtual, below 0."""
    fitted = Fittings(FOCAL, THIN, close_up_dpt=0.5, front_m=0.15)
    assert fitted.subject_m(np.inf) == pytest.approx(2.15)
    assert fitted.seen_m(2.15) == np.inf
    assert fitted.seen_m(3.15) == pytest.approx(1.0 / (1.0 / 3.0 - 0.5) + 0.15)
    assert fitted.seen_m(3.15) < 0


@given(st.floats(0.31, 100.0), st.floats(0.001, 0.03), st.floats(0.1, 3.0), st.floats(0.5, 2.0))
def test_there_and_back(scale_m: float, tube_m: float, power_dpt: float, magnification: float) -> None:
    """What the scale says, through tube and close-up lens to the subject, comes back as it was; the tube only nears."""
    pupil = Pupil(0.06, magnification)
    fitted = Fittings(FOCAL, pupil, power_dpt, 0.12, tube_m)
    set_m = fitted.set_m(scale_m)
    assert fitted.scale_m(set_m) == pytest.approx(scale_m, rel=1e-6)
    gained = focus_state(set_m, FOCAL, pupil).extension_m - focus_state(scale_m, FOCAL, pupil).extension_m
    assert gained == pytest.approx(tube_m, rel=1e-6)
    assert fitted.seen_m(fitted.subject_m(set_m)) == pytest.approx(float(set_m), rel=1e-6)


def test_nothing_added_changes_nothing() -> None:
    """Without a tube or a close-up lens every distance is itself."""
    fitted = Fittings(FOCAL, THIN)
    distances = np.array([0.5, 2.0, np.inf])
    for same in (fitted.seen_m, fitted.subject_m, fitted.scale_m, fitted.set_m):
        assert same(distances).tolist() == distances.tolist()
