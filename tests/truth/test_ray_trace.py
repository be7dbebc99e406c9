"""Lenses traced anew by our own few lines, so that the stored tables are not taken on trust.

From the stored prescriptions: the first-order data, then for each distance and f-number the focus at which the real
marginal ray crosses the axis on the sensor, and the near and far object for which twice its height is the blur allowed.
"""

import math

import pytest

from tapehook.optics import Pupil, depth_of_field, half_width_as_set_dpt
from tests.truth import tables
from tests.truth.ray_trace import TracedLens, solve
from tests.truth.tables import DESIGNS, FRONT_ELEMENT, UNIT_FOCUSING, Row, design


def _focused(name: str, row: Row) -> tuple[TracedLens, float]:
    """The lens as set so that the marginal ray of the object in focus ends on the axis, and its iris radius."""
    iris_mm = design(name)["iris_radius_mm"][f"N{row['f_number']:g}"]
    distance_mm = tables.distance_m(row) * 1e3

    def missed(travel_mm: float) -> float:
        lens = TracedLens(design(name), travel_mm)
        return lens.at_sensor(lens.marginal(distance_mm, iris_mm)).height_mm

    paraxial = tables.as_set(name, row)["focus_travel_mm"]
    travel_mm = solve(missed, paraxial, paraxial + 0.05)
    return TracedLens(design(name), travel_mm), iris_mm


def _limits_mm(lens: TracedLens, iris_mm: float, focus_mm: float, blur_mm: float) -> tuple[float, float]:
    """Near and far object distance from the sensor at which the marginal ray is half the blur off the axis."""

    def height(per_mm: float) -> float:
        distance_mm = math.inf if per_mm == 0 else 1.0 / per_mm
        return lens.at_sensor(lens.marginal(distance_mm, iris_mm)).height_mm

    q = 0.0 if math.isinf(focus_mm) else 1.0 / focus_mm
    near = solve(lambda x: height(x) - blur_mm / 2, q + 1e-6, q + 1.1e-6)
    if q == 0.0 or height(0.0) > -blur_mm / 2:
        return 1.0 / near, math.inf
    far = solve(lambda x: height(x) + blur_mm / 2, q, q * 0.999)
    return 1.0 / near, 1.0 / far


@pytest.mark.parametrize("name", DESIGNS)
def test_first_order_data_are_those_stored(name: str) -> None:
    """Focal length, place of the entrance pupil and pupil magnification come out of the prescription as stored."""
    lens, first = TracedLens(design(name)), design(name)["first_order_at_infinity"]
    assert lens.focal_length_mm() == pytest.approx(first["focal_length_mm"], rel=1e-7)
    assert lens.entrance_pupil_mm() == pytest.approx(first["entrance_pupil_to_sensor_mm"], rel=1e-7)
    assert lens.pupil_magnification() == pytest.approx(first["pupil_magnification"], rel=1e-7)
    assert lens.length_mm == pytest.approx(first["front_vertex_to_sensor_mm"], rel=1e-8)


@pytest.mark.parametrize("name", DESIGNS)
def test_marginal_limits_are_those_stored(name: str) -> None:
    """Near, far and focus travel of the marginal ray agree with the stored truth in every row where it is reached."""
    blur_mm, traced = design(name)["blur_diameter_mm"], 0
    for row in design(name)["depth_of_field"]:
        truth = row["exact"]["marginal"]
        if not truth["reached"]:
            continue
        lens, iris_mm = _focused(name, row)
        near, far = _limits_mm(lens, iris_mm, tables.distance_m(row) * 1e3, blur_mm)
        assert near == pytest.approx(truth["near_mm"], rel=1e-6)
        assert math.isinf(far) == truth["far_is_infinite"]
        assert far == pytest.approx(tables.limit_m(truth, "far") * 1e3, rel=1e-5)
        traced += 1
    assert traced >= 18


@pytest.mark.parametrize("name", UNIT_FOCUSING)
def test_depth_from_a_prescription_alone(name: str) -> None:
    """Depth from first-order data we traced is within 1.5 % of the width our own marginal rays give, no table between.

    Width in vergence, at the nearest and a middle distance, at each f-number.
    """
    bare = TracedLens(design(name))
    focal_m = bare.focal_length_mm() * 1e-3
    pupil = Pupil(bare.entrance_pupil_mm() * 1e-3, bare.pupil_magnification())
    blur_mm = design(name)["blur_diameter_mm"]
    finite = [row for row in design(name)["depth_of_field"] if not row["exact"]["marginal"]["far_is_infinite"]]
    for row in finite[:6]:
        lens, iris_mm = _focused(name, row)
        near, far = _limits_mm(lens, iris_mm, tables.distance_m(row) * 1e3, blur_mm)
        pupil_mm = lens.entrance_pupil_mm()
        width = 500.0 * (1.0 / (near - pupil_mm) - 1.0 / (far - pupil_mm))
        depth = depth_of_field(tables.distance_m(row), focal_m, row["f_number"], blur_mm * 1e-3, pupil)
        assert float(depth.half_width_dpt) == pytest.approx(width, rel=0.015)


def test_depth_of_the_front_element_lens_as_set() -> None:
    """For the triplet m u and the pupil as set, traced here, give the width of its marginal rays within 3.5 %."""
    blur_mm = design(FRONT_ELEMENT)["blur_diameter_mm"]
    for row in design(FRONT_ELEMENT)["depth_of_field"][:9]:
        lens, iris_mm = _focused(FRONT_ELEMENT, row)
        distance_mm = tables.distance_m(row) * 1e3
        near, far = _limits_mm(lens, iris_mm, distance_mm, blur_mm)
        pupil_mm = lens.entrance_pupil_mm()
        width = 500.0 * (1.0 / (near - pupil_mm) - 1.0 / (far - pupil_mm))
        now = tables.as_set(FRONT_ELEMENT, row)
        as_set = half_width_as_set_dpt(
            blur_mm * 1e-3,
            now["magnification_times_pupil_distance_mm"] * 1e-3,
            row["entrance_pupil_diameter_now_mm"] * 1e-3,
        )
        assert float(as_set) == pytest.approx(width, rel=0.035)
