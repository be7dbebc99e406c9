"""A lens behind a port and on an extender: the same as each alone, one after the other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil
from tapehook.optics.extender import Extender
from tapehook.optics.port import Port
from tapehook.optics.through import Through


def test_nothing_changes_nothing() -> None:
    """Without either every distance and every disc is itself."""
    plain = Through()
    assert plain.scale_m([1.0, np.inf]).tolist() == [1.0, np.inf]
    assert plain.subject_m([1.0, np.inf]).tolist() == [1.0, np.inf]
    assert (float(plain.blur_m(25e-6)), plain.factor, plain.farthest_m) == (25e-6, 1.0, np.inf)
    assert plain.stray(3.0) == 1.0


@given(st.floats(0.4, 100.0), st.floats(1.0, 2.5), st.sampled_from([np.inf, 0.1]))
def test_there_and_back(subject_m: float, factor: float, radius_m: float) -> None:
    """Through port and extender and back again."""
    through = Through(Extender(factor, 0.03), Port(0.2, radius_m=radius_m, glass_m=0.008))
    assert through.subject_m(through.scale_m(subject_m)) == pytest.approx(subject_m, rel=1e-6)


def test_a_port_stands_before_the_entrance_pupil() -> None:
    """Pupil 60 mm from the sensor, 90 with 30 mm of extender: a port at 80 mm is before the one, behind the other."""
    pupil = Pupil(0.06, 1.0)
    assert not Through(None, Port(0.08)).behind_pupil(pupil)
    assert Through(Extender(2.0, 0.03), Port(0.08)).behind_pupil(pupil)
    assert Through(None, Port(0.06)).behind_pupil(pupil)
    assert not Through(Extender(2.0, 0.03)).behind_pupil(pupil)


@given(st.floats(0.4, 20.0), st.sampled_from([np.inf, 0.1]))
def test_a_metre_in_the_water(subject_m: float, radius_m: float) -> None:
    """How far a subject seems to move is the slope of where it is seen."""
    through = Through(None, Port(0.2, radius_m=radius_m, glass_m=0.008))
    h = 1e-5
    slope = (through.scale_m(subject_m + h) - through.scale_m(subject_m - h)) / (2 * h)
    assert through.stray(subject_m) == pytest.approx(slope, rel=1e-4)
