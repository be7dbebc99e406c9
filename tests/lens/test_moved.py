"""A map moved by a known move with a doubt, and one seen through an extender or a port."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens import LensMap
from tapehook.lens.map import Z95
from tapehook.lens.moved import moved_map
from tapehook.lens.seen import seen_map
from tapehook.optics.extender import Extender
from tapehook.optics.port import Port
from tapehook.optics.through import Through
from tapehook.prep import prepare
from tests.prep.jobs import a_job, read_off


def _map() -> LensMap:
    lens_map = prepare(a_job(readings=read_off(noise_deg=0.02))).lens("L1").focus_map
    assert lens_map is not None
    return lens_map


MAP = _map()
PLACES = np.linspace(0.05, 1.05, 201)


@given(st.floats(-5.0, 5.0), st.floats(-5.0, 5.0), st.floats(0.0, 2.0), st.floats(0.65, 1e4))
def test_positions_are_moved_and_bands_take_the_doubt(
    at_far: float, at_near: float, sd: float, distance: float
) -> None:
    """A move straight over the places of the scale stands in curve, position and grid alike, its doubt in squares."""
    moved = moved_map(MAP, PLACES, np.linspace(at_far, at_near, 201), np.full(201, sd))
    place = float(MAP.scale.place(distance)) - 0.05
    move = at_far + (at_near - at_far) * place
    assert float(moved.curve(distance)[0]) == pytest.approx(float(MAP.curve(distance)[0]) + move, abs=1e-9)
    position, half = moved.position_band(distance)
    assert float(position[0]) == pytest.approx(float(MAP.curve(distance)[0]) + move, abs=1e-9)
    assert float(half[0]) == pytest.approx(math.hypot(float(MAP.position_band(distance)[1][0]), Z95 * sd), abs=1e-9)
    values, positions, band = moved.grid(25)
    assert positions == pytest.approx(moved.curve(values))
    assert band == pytest.approx(moved.position_band(values)[1])


def test_the_inverse_is_that_of_the_moved_map() -> None:
    """What the ring sets at a moved position is the distance it was moved for; the ends of the map move along."""
    moved = moved_map(MAP, PLACES, np.full(201, 3.0), np.zeros(201))
    distances = np.array([0.7, 1.3, 4.0, math.inf])
    assert moved.value(moved.curve(distances)) == pytest.approx(distances)
    assert moved.monotone
    assert moved.residuals() == pytest.approx(MAP.residuals())


@given(st.floats(1.0, 3.0), st.floats(0.0, 0.2), st.floats(0.9, 1e3))
def test_on_an_extender_marks_count_from_the_sensor(factor: float, length_m: float, distance: float) -> None:
    """Somebody at D stands where the scale says D less the length, whatever the factor; infinity stays."""
    seen = seen_map(MAP, Through(Extender(factor, length_m)))
    assert seen is not None
    assert float(seen.curve(distance)[0]) == pytest.approx(float(MAP.curve(distance - length_m)[0]), abs=1e-9)
    assert float(seen.curve(math.inf)[0]) == pytest.approx(float(MAP.curve(math.inf)[0]))
    assert seen.near_value == pytest.approx(MAP.near_value + length_m)
    assert seen.marks.values.min() == pytest.approx(MAP.marks.values.min() + length_m)


@given(st.floats(1.2, 50.0))
def test_behind_a_flat_port_everything_looks_nearer(distance: float) -> None:
    """What stands at D in the water is seen at the port and 1/n of the rest; the inverse gives it back."""
    seen = seen_map(MAP, Through(None, Port(0.2, 1.333)))
    assert seen is not None
    apparent = 0.2 + (distance - 0.2) / 1.333
    assert float(seen.curve(distance)[0]) == pytest.approx(float(MAP.curve(apparent)[0]), abs=1e-9)
    assert float(seen.value(seen.curve(distance))[0]) == pytest.approx(distance, rel=1e-6)


def test_behind_a_dome_infinity_lies_within_the_scale() -> None:
    """Infinity in the water is seen at 0.2 + R/(n - 1); behind a small dome the lens reaches nothing."""
    seen = seen_map(MAP, Through(None, Port(0.2, 1.333, radius_m=0.25)))
    assert seen is not None
    assert math.isinf(seen.far_value)
    assert float(seen.curve(math.inf)[0]) == pytest.approx(float(MAP.curve(0.2 + 0.25 / 0.333)[0]), abs=1e-6)
    assert seen_map(MAP, Through(None, Port(0.2, 1.333, radius_m=0.05))) is None
    assert seen_map(MAP, Through()) is MAP
