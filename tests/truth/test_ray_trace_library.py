"""Depth against lenses that a public ray-tracing library traces itself (optional: `make test-trace`).

The library (optiland, MIT licence) builds its own sample design from its own glass data; nothing of the stored tables
goes in but the focal length, the f-numbers' iris radii and the distances. Its first-order data give the depth, its real
rays the blur.
"""

import importlib
from typing import Any

import numpy as np
import pytest

from tapehook.optics import Pupil, depth_of_field
from tests.truth import tables
from tests.truth.ray_trace import solve
from tests.truth.tables import UNIT_FOCUSING, Row, design

pytestmark = [
    pytest.mark.trace,
    pytest.mark.filterwarnings("ignore"),  # what the library's own dependencies warn of is not ours to mend
]


class LibraryLens:
    """A sample of the library, scaled to the focal length of the design that was made from it."""

    def __init__(self, name: str) -> None:
        module, sample = design(name)["source"]["library_sample"].rsplit(".", 1)
        self._lens: Any = getattr(importlib.import_module(module), sample)()
        self._lens.scale_system(tables.focal_m(name) * 1e3 / float(self._lens.paraxial.f2()))
        self._wavelength_um: float = design(name)["source"]["wavelength_um"]
        self._count = len(design(name)["prescription_at_infinity"])
        # Wider than the widest stop, as the library aims rays at parts of this pupil only.
        widest = min(row["f_number"] for row in design(name)["depth_of_field"])
        self._lens.set_aperture(aperture_type="EPD", value=1.5e3 * tables.focal_m(name) / widest)
        self._lens.image_solve()
        self._at_infinity = self._gap(self._count)
        self.travel_mm = 0.0

    def _gap(self, number: int) -> float:
        return float(np.ravel(self._lens.surfaces.get_thickness(number))[0])

    @property
    def length_mm(self) -> float:
        """First vertex to sensor as set."""
        return sum(self._gap(number) for number in range(1, self._count + 1))

    def focus_by(self, travel_mm: float) -> None:
        """Move the whole lens away from the sensor."""
        self.travel_mm = travel_mm
        self._lens.set_thickness(self._at_infinity + travel_mm, self._count)

    def pupil(self) -> tuple[float, Pupil]:
        """Focal length in metres and pupil data at infinity."""
        paraxial = self._lens.paraxial
        to_sensor_mm = self.length_mm - float(paraxial.EPL())
        magnification = float(paraxial.XPD()) / float(paraxial.EPD())
        return float(paraxial.f2()) * 1e-3, Pupil(to_sensor_m=to_sensor_mm * 1e-3, magnification=magnification)

    def marginal_height_mm(self, distance_mm: float, iris_mm: float) -> float:
        """Height on the sensor of the real ray from an object on the axis through the edge of the iris."""
        self._lens.set_thickness(distance_mm - self.length_mm, 0)
        iris = self._lens.surfaces.stop_index

        def heights(part: float) -> tuple[float, float]:
            ray = self._lens.trace_generic(0.0, 0.0, 0.0, part, self._wavelength_um)
            return float(np.ravel(self._lens.surfaces.y[iris])[0]), float(np.ravel(ray.y)[0])

        part = solve(lambda p: heights(p)[0] - iris_mm, 0.3, 0.5)
        return heights(part)[1]


def _width_dpt(lens: LibraryLens, name: str, row: Row, pupil: Pupil) -> float:
    """Half-width in vergence from the library's marginal rays, with the lens focused by them."""
    iris_mm = design(name)["iris_radius_mm"][f"N{row['f_number']:g}"]
    focus_mm, blur_mm = tables.distance_m(row) * 1e3, design(name)["blur_diameter_mm"]

    def missed(travel_mm: float) -> float:
        lens.focus_by(travel_mm)
        return lens.marginal_height_mm(focus_mm, iris_mm)

    def object_of(height_mm: float) -> float:
        return solve(lambda x: lens.marginal_height_mm(x, iris_mm) - height_mm, focus_mm, focus_mm * 1.001)

    paraxial = tables.as_set(name, row)["focus_travel_mm"]
    travel_mm = solve(missed, paraxial, paraxial + 0.05)
    lens.focus_by(travel_mm)
    assert travel_mm == pytest.approx(row["exact"]["marginal"]["focus_travel_mm"], rel=1e-5)
    near_mm, far_mm = object_of(blur_mm / 2), object_of(-blur_mm / 2)
    pupil_mm = float(np.asarray(pupil.to_sensor_m)) * 1e3 + travel_mm
    return 500.0 * (1.0 / (near_mm - pupil_mm) - 1.0 / (far_mm - pupil_mm))


@pytest.mark.parametrize("name", UNIT_FOCUSING)
def test_depth_against_the_library(name: str) -> None:
    """Half-width in vergence within 1.5 % of what the library's marginal rays give, from the library's pupil data."""
    lens = LibraryLens(name)
    focal_m, pupil = lens.pupil()
    rows = [row for row in design(name)["depth_of_field"] if not row["exact"]["marginal"]["far_is_infinite"]]
    for row in rows[:2]:
        depth = depth_of_field(tables.distance_m(row), focal_m, row["f_number"], tables.blur_m(name), pupil)
        assert float(depth.half_width_dpt) == pytest.approx(_width_dpt(lens, name, row, pupil), rel=0.015)
