"""Depth from one chart of known width, against the ray-traced designs and against further published ones.

The chart is photographed by the tracer itself: its edge is the real chief ray, distortion and all, that lands a quarter
of the half height of the image from the axis, so that the whole chart fills a quarter of the image height. What moves
in each design when it focuses is told, as a crew can tell it; what happens when it is not told is a test of its own.
"""

import csv
import math
from collections.abc import Iterator
from functools import cache
from typing import cast

import numpy as np
import pytest

from tapehook.optics import depth_of_field, thin_pupil
from tapehook.optics.charts import (
    INVERSE_SD,
    ChartPupil,
    Focusing,
    magnification_sd,
    pupil_from_charts,
    usual_inverse_magnification,
    width_uncertainty,
)
from tests.truth import tables
from tests.truth.ray_trace import PARAXIAL, Ray, TracedLens, solve
from tests.truth.tables import DESIGNS, FRONT_ELEMENT, HERE, design

PARTS = (15, 20, 30, 45, 60)
"""Distances of charts and of depth, in focal lengths."""
QUARTER = 0.25
BLUR_MM = 0.025
F_NUMBERS = (2.8, 4.0, 5.6, 8.0)
ALLOWED = 0.03
"""Of the width: what the project asks for."""


@cache
def _set_to(name: str, distance_mm: float) -> TracedLens:
    """The design with its focus on the point of the axis at that distance, by paraxial rays."""

    def miss(travel_mm: float) -> float:
        lens = TracedLens(design(name), travel_mm)
        return lens.at_sensor(lens.from_axis(distance_mm, PARAXIAL)).height_mm / PARAXIAL

    return TracedLens(design(name), solve(miss, 0.0, 0.5))


def _image_mm(lens: TracedLens, distance_mm: float, height_mm: float) -> float:
    """Where the chief ray of an object point off the axis lands."""

    def ray(angle: float) -> Ray:
        return Ray(-height_mm + (distance_mm - lens.length_mm) * math.tan(angle), angle)

    aim = math.atan(height_mm / (distance_mm - lens.entrance_pupil_mm()))
    return lens.at_sensor(ray(solve(lambda angle: lens.at_iris(ray(angle)), aim, aim * 1.0001))).height_mm


@cache
def _magnification(name: str, distance_mm: float, part: float) -> float:
    """Image over object height of a chart edge that lands ``part`` of the half height from the axis; 0: paraxial."""
    lens = _set_to(name, distance_mm)
    first = _image_mm(lens, distance_mm, 1e-3) / 1e-3
    if part == 0:
        return abs(first)
    height = part * float(design(name)["focus_map"][0]["image_half_height_mm"])
    edge = solve(lambda y: _image_mm(lens, distance_mm, y) - height, height / first, 1.01 * height / first)
    return abs(height / edge)


def _focusing(name: str) -> Focusing:
    return "front" if name == FRONT_ELEMENT else "whole"


def _found(name: str, chart_mm: float, part: float, focusing: Focusing | None) -> ChartPupil:
    distance_m = chart_mm * 1e-3
    m = _magnification(name, chart_mm, part)
    return pupil_from_charts(
        tables.focal_m(name), distance_m, m, 3e-3 + 3e-3 * distance_m, magnification_sd(QUARTER), focusing
    )


def _true_limits(name: str, distance_mm: float, f_number: float) -> tuple[float, float]:
    """Traced near and far, metres, by m u A of the lens as set; far may be inf."""
    lens, rest = _set_to(name, distance_mm), TracedLens(design(name))
    e, m = lens.entrance_pupil_mm(), _magnification(name, distance_mm, 0)
    # The iris keeps its opening; the entrance pupil grows as its image does.
    grown = rest.at_iris(Ray(PARAXIAL, 0.0)) / lens.at_iris(Ray(PARAXIAL, 0.0))
    w = BLUR_MM / (m * (distance_mm - e) * grown * tables.focal_m(name) * 1e3 / f_number)
    q = 1.0 / (distance_mm - e)
    return (1.0 / (q + w) + e) * 1e-3, (1.0 / (q - w) + e) * 1e-3 if q > w else math.inf


def _errors(name: str, part: float, focusing: Focusing | None) -> Iterator[tuple[bool, ChartPupil, float, list[float]]]:
    """For each chart and depth with a finite far limit: (same place?, chart, distance, errors of width, near and far).

    Errors are shares of the true width.
    """
    focal_mm = tables.focal_m(name) * 1e3
    for chart in PARTS:
        found = _found(name, chart * focal_mm, part, focusing)
        for place in PARTS:
            for f_number in F_NUMBERS:
                near, far = _true_limits(name, place * focal_mm, f_number)
                if math.isinf(far):
                    continue
                depth = depth_of_field(place * focal_mm * 1e-3, found.focal_m, f_number, BLUR_MM * 1e-3, found.pupil)
                ends = [float(depth.near_m) - near, float(depth.far_m) - far]
                errors = [(ends[1] - ends[0]) / (far - near), *(end / (far - near) for end in ends)]
                yield chart == place, found, place * focal_mm * 1e-3, errors


def test_tracer_agrees_with_the_stored_rows() -> None:
    """Magnification and limits traced here are those of the stored tables, to their digits."""
    for name in DESIGNS:
        for row in design(name)["depth_of_field"]:
            if row["at_infinity"]:
                continue
            distance_mm = row["object_distance_from_sensor_mm"]
            now = tables.as_set(name, row)
            assert _magnification(name, distance_mm, 0) == pytest.approx(now["magnification"], rel=2e-6)
            near, far = _true_limits(name, distance_mm, row["f_number"])
            assert near == pytest.approx(tables.limit_m(row["exact"]["paraxial"], "near"), rel=1e-6)
            assert math.isinf(far) == row["exact"]["paraxial"]["far_is_infinite"]


@pytest.mark.parametrize("name", DESIGNS)
def test_depth_from_one_chart(name: str) -> None:
    """Width, near and far from one chart are within 3 % of the width at 15 to 60 f, wherever the chart stood there.

    Charts and depths at five distances each, four f-numbers; the chart fills a quarter of the image height.
    """
    errors = [max(map(abs, found)) for _, _, _, found in _errors(name, QUARTER, _focusing(name))]
    assert len(errors) > 40
    assert max(errors) < ALLOWED, f"{100 * max(errors):.2f} % of the width"


@pytest.mark.parametrize("name", DESIGNS)
def test_uncertainty_covers_the_ray_trace(name: str) -> None:
    """The +- printed covers every one of these errors, told or not told what moves in the lens."""
    for focusing in (_focusing(name), None):
        for _, found, distance_m, errors in _errors(name, QUARTER, focusing):
            assert abs(errors[0]) <= float(width_uncertainty(found, distance_m))


def test_front_element_untold() -> None:
    """Taken for a lens that moves as a whole, the front-element triplet is 4 to 8 % too wide close up.

    Near and far are off by half that. Its entrance pupil grows as its front moves out. No chart can tell; the printed
    +- allows for it.
    """
    worst = max(abs(errors[0]) for same, _, _, errors in _errors(FRONT_ELEMENT, QUARTER, None) if same)
    ends = max(max(map(abs, errors[1:])) for same, _, _, errors in _errors(FRONT_ELEMENT, QUARTER, None) if same)
    assert 0.04 < worst < 0.08
    assert ends < 0.045


def test_chart_beats_the_thin_lens() -> None:
    """At 15 f the widths of the thin lens are off by up to 14 % (the retrofocus lens), from a chart by up to 2 %."""
    worst = [0.0, 0.0]
    for name in DESIGNS:
        focal_m = tables.focal_m(name)
        near, far = _true_limits(name, PARTS[0] * focal_m * 1e3, 4.0)
        found = _found(name, PARTS[0] * focal_m * 1e3, QUARTER, _focusing(name))
        for i, (focal, pupil) in enumerate(((focal_m, thin_pupil(focal_m)), (found.focal_m, found.pupil))):
            depth = depth_of_field(PARTS[0] * focal_m, focal, 4.0, BLUR_MM * 1e-3, pupil)
            worst[i] = max(worst[i], abs(float(depth.far_m - depth.near_m) / (far - near) - 1.0))
    assert worst[0] > 0.1
    assert worst[1] < 0.02


@pytest.mark.parametrize("name", DESIGNS)
def test_chart_too_near_the_edge_is_worse(name: str) -> None:
    """A chart over half the image height is still within 3 % where it stood, but no longer everywhere (fast 35 mm)."""
    same = [max(map(abs, errors)) for same, _, _, errors in _errors(name, 2 * QUARTER, _focusing(name)) if same]
    other = [max(map(abs, errors)) for same, _, _, errors in _errors(name, 2 * QUARTER, _focusing(name)) if not same]
    assert max(same) < ALLOWED
    assert (max(other) > ALLOWED) == (name in {"fast-prime-35", "reverse-telephoto-25"})


def _published() -> list[tuple[str, float, float, float]]:
    """Design, focal length in metres, hiatus over focal length, 1/P: the designs the estimate was not made from."""
    with (HERE / "pupils.csv").open(encoding="utf-8", newline="") as file:
        return [
            (
                f"{row['design']}, {row['source']}",
                float(row["focal_mm"]) * 1e-3,
                float(row["hiatus_per_focal"]),
                1.0 / float(row["pupil_magnification"]),
            )
            for row in csv.DictReader(file)
        ]


def test_pupil_magnification_of_published_designs() -> None:
    """On 25 designs other than the five, 1/P is within 1.96 sd of the estimate but for three at most.

    95 % would be 24; the worst are a telephoto and a zoom whose iris stands far back. Up to 150 mm the error is 0.14
    rms, and with P taken as 1 it would be over 0.4.
    """
    rows = [(what, f, k, *usual_inverse_magnification(f, (2 + h) * f)) for what, f, h, k in _published()]
    assert len(rows) == 25
    outside = [what for what, _, true, inverse, sd in rows if abs(inverse - true) > 1.96 * sd]
    assert len(outside) <= 3
    usual = np.array([(inverse - true, 1.0 - true) for _, f, true, inverse, _ in rows if f <= 0.15])
    error, thin = np.sqrt((usual**2).mean(axis=0))
    assert error < 1.05 * INVERSE_SD
    assert thin > 2.5 * error


def test_five_designs_are_no_better_fitted_than_others() -> None:
    """The estimate was not bent to the five: its error on them is about that on the published rest up to 150 mm."""
    five = []
    for name in DESIGNS:
        first = cast("dict[str, float]", design(name)["first_order_at_infinity"])
        f = tables.focal_m(name)
        k = first["entrance_pupil_to_sensor_mm"] * 1e-3 + f / first["pupil_magnification"]
        five.append(usual_inverse_magnification(f, k)[0] - 1.0 / first["pupil_magnification"])
    rest = [usual_inverse_magnification(f, (2 + h) * f)[0] - true for _, f, h, true in _published() if f <= 0.15]
    assert float(np.std(rest)) / 3 < float(np.sqrt(np.mean(np.square(five)))) < float(np.std(rest)) * 1.5
