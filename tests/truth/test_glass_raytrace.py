"""A plate put behind the ray-traced lenses: where their rays meet then, against the formula of `optics.glass`.

Each design of ``raytrace/`` (README.md beside this file) gets a plane plate into its last gap and is traced exactly.
"""

import copy
import math

import pytest

from tapehook.optics.glass import glass_shift_m
from tests.truth import tables
from tests.truth.ray_trace import PARAXIAL, Ray, TracedLens


def _with_plate(name: str, thickness_mm: float, index: float) -> tables.Row:
    """The design with a plate behind its last surface, as long as before."""
    made = copy.deepcopy(tables.design(name))
    rows = made["prescription_at_infinity"]
    room = rows[-1]["gap_behind_mm"] - thickness_mm - 0.1
    assert room > 0
    rows[-1]["gap_behind_mm"] = 0.1
    plane = {"radius_mm": None, "is_iris": False, "surface_number": 0}
    rows.append({**plane, "gap_behind_mm": thickness_mm, "index_behind": index})
    rows.append({**plane, "gap_behind_mm": room, "index_behind": 1.0})
    return made


def _behind_sensor_mm(design: tables.Row, height_mm: float) -> float:
    """How far behind the sensor a ray from infinity crosses the axis."""
    ray = TracedLens(design).at_sensor(Ray(height_mm, 0.0))
    return -ray.height_mm / math.tan(ray.angle)


@pytest.mark.parametrize("name", tables.DESIGNS)
@pytest.mark.parametrize("thickness_mm, index", [(0.1, 1.5), (1.0, 1.52), (3.0, 1.7)])
def test_the_image_goes_back_as_the_formula_says(name: str, thickness_mm: float, index: float) -> None:
    """Rays near the axis are moved by t (n - 1)/n to a ten-millionth of a millimetre, through any lens."""
    moved_mm = _behind_sensor_mm(_with_plate(name, thickness_mm, index), PARAXIAL)
    moved_mm -= _behind_sensor_mm(tables.design(name), PARAXIAL)
    assert moved_mm == pytest.approx(1e3 * float(glass_shift_m(thickness_mm * 1e-3, index)), abs=1e-7)


def test_rim_rays_of_a_fast_lens_are_moved_a_little_more() -> None:
    """At N 2 (35 mm, ray at 8.75 mm) the rim is moved by 1 to 5 per cent more than the axis: the formula's limit."""
    name = "fast-prime-35"
    moved_mm = _behind_sensor_mm(_with_plate(name, 1.0, 1.5), 8.75) - _behind_sensor_mm(tables.design(name), 8.75)
    assert 1.01 < moved_mm / (1e3 * float(glass_shift_m(1e-3, 1.5))) < 1.05
