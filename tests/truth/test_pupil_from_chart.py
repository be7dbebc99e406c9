"""One chart of known width at one taped distance gives the pupil: held against the ray-traced designs."""

import numpy as np
import pytest

from tapehook.optics import Pupil, depth_of_field, pupil_from_chart, thin_pupil
from tests.truth import tables
from tests.truth.tables import FRONT_ELEMENT, UNIT_FOCUSING, Row, design

CHART_M = 0.6


def _finite_rows(name: str) -> list[Row]:
    return [row for row in design(name)["focus_map"] if not row["at_infinity"]]


def _from_chart(name: str, row: Row, pupil_magnification: float) -> tuple[float, Pupil]:
    """What a chart imaged at the traced magnification would say."""
    m, pupil = pupil_from_chart(
        tables.focal_m(name), tables.distance_m(row), CHART_M, CHART_M * row["magnification"], pupil_magnification
    )
    return float(m), pupil


@pytest.mark.parametrize("name", UNIT_FOCUSING)
def test_chart_finds_the_pupil(name: str) -> None:
    """With the pupil magnification known, each chart gives the traced place of the pupil to 0.1 micrometre a metre.

    The digits of the stored magnification limit it: f/m moves by 1e-9 of itself for 1e-9 of m.
    """
    first = design(name)["first_order_at_infinity"]
    for row in _finite_rows(name):
        m, pupil = _from_chart(name, row, first["pupil_magnification"])
        assert m == pytest.approx(row["magnification"], rel=1e-12)
        allowed = 1e-7 * tables.distance_m(row)
        assert float(np.asarray(pupil.to_sensor_m)) == pytest.approx(
            first["entrance_pupil_to_sensor_mm"] * 1e-3, abs=allowed
        )


@pytest.mark.parametrize("name", UNIT_FOCUSING)
def test_depth_from_one_chart_equals_depth_from_pupil_data(name: str) -> None:
    """A chart shot at the nearest distance serves all distances: depth from it is that of the pupil data."""
    nearest = min(_finite_rows(name), key=tables.distance_m)
    _, found = _from_chart(name, nearest, design(name)["first_order_at_infinity"]["pupil_magnification"])
    for row in design(name)["depth_of_field"]:
        given = (tables.distance_m(row), tables.focal_m(name), row["f_number"], tables.blur_m(name))
        truth = row["exact"]["paraxial"]
        assert float(depth_of_field(*given, found).near_m) == pytest.approx(tables.limit_m(truth, "near"), rel=1e-6)


@pytest.mark.parametrize("name", UNIT_FOCUSING)
def test_assumed_pupil_magnification_costs_what_is_documented(name: str) -> None:
    """Where P was taken as 1 the depth at the chart comes out (1 + m)/(1 + m/P) times as wide as the traced one.

    For the 35 mm with P = 7.2 that is 10 % at its nearest distance: one chart settles the pupil only if P is known.
    """
    p = design(name)["first_order_at_infinity"]["pupil_magnification"]
    for row in design(name)["depth_of_field"]:
        truth = row["exact"]["paraxial"]
        if row["at_infinity"] or truth["far_is_infinite"] or tables.distance_m(row) > 2.0:
            continue
        focus = tables.as_set(name, row)
        m, found = _from_chart(name, focus, 1.0)
        depth = depth_of_field(
            tables.distance_m(row), tables.focal_m(name), row["f_number"], tables.blur_m(name), found
        )
        width = tables.limit_m(truth, "far") - tables.limit_m(truth, "near")
        assert float(depth.far_m - depth.near_m) / width == pytest.approx((1.0 + m) / (1.0 + m / p), rel=0.01)


def test_chart_mends_the_wide_lens_close_up() -> None:
    """The retrofocus 25 mm at 10 focal lengths: a thin lens is 21 % off, one chart with P taken as 1 less than 7 %."""
    name = "reverse-telephoto-25"
    row = min(design(name)["depth_of_field"], key=tables.distance_m)
    truth = row["exact"]["paraxial"]
    width = tables.limit_m(truth, "far") - tables.limit_m(truth, "near")
    _, found = _from_chart(name, tables.as_set(name, row), 1.0)
    errors = []
    for pupil in (thin_pupil(tables.focal_m(name)), found):
        depth = depth_of_field(
            tables.distance_m(row), tables.focal_m(name), row["f_number"], tables.blur_m(name), pupil
        )
        errors.append(abs(float(depth.far_m - depth.near_m) / width - 1.0))
    assert errors[0] > 0.2
    assert errors[1] < 0.07


def test_chart_assumes_unit_focusing() -> None:
    """For the front-element triplet charts near and far give pupils 5 mm apart: the rule is for unit focusing only."""
    rows = sorted(_finite_rows(FRONT_ELEMENT), key=tables.distance_m)
    p = design(FRONT_ELEMENT)["first_order_at_infinity"]["pupil_magnification"]
    near, far = (float(np.asarray(_from_chart(FRONT_ELEMENT, row, p)[1].to_sensor_m)) for row in (rows[0], rows[-1]))
    assert abs(near - far) > 4e-3
