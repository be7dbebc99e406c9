"""A small exact ray tracer of our own: spherical surfaces, rays in the plane of the axis, from a stored prescription.

Positions along the axis run from the first vertex towards the sensor, in millimetres. Snell's law in angles: a ray that
meets the sphere of radius R under I leaves under I' with n' sin I' = n sin I.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from tests.truth.tables import Row

PARAXIAL = 1e-6
"""Height in millimetres, or angle, of a ray that is as good as paraxial."""


@dataclass(frozen=True)
class Surface:
    """One surface with what lies behind it; curvature 0 for a plane."""

    curvature: float
    gap_mm: float
    index_before: float
    index_behind: float
    is_iris: bool


@dataclass(frozen=True)
class Ray:
    """Where a ray crosses the vertex plane of a surface, and its angle to the axis in radians."""

    height_mm: float
    angle: float


class TracedLens:
    """A stored prescription set to a focus travel."""

    def __init__(self, design: Row, travel_mm: float = 0.0) -> None:
        self._surfaces = list(_surfaces(design, travel_mm))
        self.length_mm = sum(surface.gap_mm for surface in self._surfaces)
        """First vertex to sensor."""

    def at_sensor(self, ray: Ray) -> Ray:
        """The ray where it meets the sensor."""
        return self._through(ray)[0]

    def at_iris(self, ray: Ray) -> float:
        """Height at which the ray passes the iris."""
        return self._through(ray)[1]

    def from_axis(self, distance_mm: float, angle: float) -> Ray:
        """A ray from the point of the axis so far from the sensor, at the first vertex plane."""
        return Ray((distance_mm - self.length_mm) * math.tan(angle), angle)

    def marginal(self, distance_mm: float, iris_radius_mm: float) -> Ray:
        """The ray from a point of the axis (or parallel to it, from infinity) through the edge of the iris."""

        def ray(part: float) -> Ray:
            return Ray(part, 0.0) if math.isinf(distance_mm) else self.from_axis(distance_mm, part)

        first = iris_radius_mm * PARAXIAL / self.at_iris(ray(PARAXIAL))
        return ray(solve(lambda part: self.at_iris(ray(part)) - iris_radius_mm, first, first * 1.01))

    def focal_length_mm(self) -> float:
        """Paraxial focal length."""
        return -PARAXIAL / self.at_sensor(Ray(PARAXIAL, 0.0)).angle

    def entrance_pupil_mm(self) -> float:
        """Paraxial entrance pupil to sensor: where a ray through the middle of the iris crosses the axis before it."""
        by_height, by_angle = (self.at_iris(ray) / PARAXIAL for ray in (Ray(PARAXIAL, 0.0), Ray(0.0, PARAXIAL)))
        return self.length_mm - by_angle / by_height

    def pupil_magnification(self) -> float:
        """Exit over entrance pupil diameter: the angles of the ray through their middles, the other way up."""
        from_vertex = self.length_mm - self.entrance_pupil_mm()
        return PARAXIAL / self.at_sensor(Ray(-from_vertex * PARAXIAL, PARAXIAL)).angle

    def _through(self, ray: Ray) -> tuple[Ray, float]:
        """The ray at the sensor, and its height where it met the iris."""
        iris = math.nan
        for surface in self._surfaces:
            ray, met = _refracted(ray, surface)
            iris = met if surface.is_iris else iris
            ray = Ray(ray.height_mm + surface.gap_mm * math.tan(ray.angle), ray.angle)
        return ray, iris


def _surfaces(design: Row, travel_mm: float) -> Iterator[Surface]:
    moved = {gap["behind"]: gap["change"] * travel_mm for gap in _moving_gaps(design)}
    before = 1.0
    for number, row in enumerate(design["prescription_at_infinity"], start=1):
        curvature = 0.0 if row["radius_mm"] is None else 1.0 / row["radius_mm"]
        gap = row["gap_behind_mm"] + moved.get(number, 0.0)
        yield Surface(curvature, gap, before, row["index_behind"], row["is_iris"])
        before = row["index_behind"]


def _moving_gaps(design: Row) -> list[Row]:
    return [
        {"behind": gap["gap_behind_surface_number"], "change": gap["gap_change_mm_per_travel_mm"]}
        for gap in design["focus_mechanism"]["moving_gaps"]
    ]


def _refracted(ray: Ray, surface: Surface) -> tuple[Ray, float]:
    """The ray behind a surface, back at its vertex plane, and the height at which it met the surface."""
    c, tangent = surface.curvature, math.tan(ray.angle)
    # The sphere z = c (z^2 + y^2)/2 on the line y = h + z tan: the root nearest the vertex, without cancellation.
    a, half_b, k = c * (1.0 + tangent**2), c * ray.height_mm * tangent - 1.0, c * ray.height_mm**2
    z = k / (-half_b + math.sqrt(half_b**2 - a * k))
    y = ray.height_mm + z * tangent
    normal = math.asin(c * y)  # the angle by which the normal leans towards the axis
    out = math.asin(surface.index_before * math.sin(ray.angle + normal) / surface.index_behind) - normal
    return Ray(y - z * math.tan(out), out), y


def solve(function: Callable[[float], float], first: float, second: float) -> float:
    """Where a smooth function is zero, by secants from two guesses."""
    here, there = function(first), function(second)
    for _ in range(60):
        if there == here or second == first:
            break
        first, second, here = second, second - there * (second - first) / (there - here), there
        there = function(second)
        if abs(there) < 1e-12:
            break
    assert abs(there) < 1e-9, "the ray could not be aimed"
    return second
