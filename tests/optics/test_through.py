"""A lens behind a port and on an extender: the same as each alone, one after the other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field, thin_pupil
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


def _blur_m(port: Port, subject_m: float, focal_m: float, f_number: float, lens_m: float) -> float:
    """Blur of a subject in the water, by a marginal ray carried face by face to a thin lens and on to the sensor."""
    inner_m = port.radius_m - port.glass_m
    faces = np.array([[1.0, subject_m - port.front_m], [0.0, 1.0]])
    for radius, before, behind, gap in (
        (port.radius_m, port.water_index, port.glass_index, port.glass_m),
        (inner_m, port.glass_index, 1.0, port.front_m - port.glass_m - lens_m),
    ):
        bend = np.array([[1.0, 0.0], [-(behind - before) / (radius * behind), before / behind]])
        faces = np.array([[1.0, gap], [0.0, 1.0]]) @ bend @ faces
    at_lens = faces @ np.array([0.0, 1.0])
    height, angle = at_lens * (focal_m / f_number / 2.0 / at_lens[0])
    return 2.0 * abs(float(height + (angle - height / focal_m) * lens_m))


@pytest.mark.parametrize("radius_m", [np.inf, 0.15, 0.11])
@pytest.mark.parametrize("subject_m", [0.5, 1.5, 4.0])
def test_at_the_ends_of_the_depth_in_the_water_the_blur_is_what_passes(subject_m: float, radius_m: float) -> None:
    """A thin 35 mm at N 2.8 behind 8 mm of acrylic: 25 um at near and far, none at the subject, by matrices."""
    focal_m, f_number, blur_m = 0.035, 2.8, 25e-6
    port = Port(0.2, radius_m=radius_m, glass_m=0.008)
    depth = depth_of_field(port.seen_m(subject_m), focal_m, f_number, blur_m, thin_pupil(focal_m))
    lens_m = float(depth.state.pupil_to_sensor_m)
    assert _blur_m(port, subject_m, focal_m, f_number, lens_m) == pytest.approx(0.0, abs=1e-12)
    for end in (depth.near_m, depth.far_m):
        place = float(port.subject_m(end))
        if np.isfinite(place):
            assert _blur_m(port, place, focal_m, f_number, lens_m) == pytest.approx(blur_m, rel=1e-9)


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
