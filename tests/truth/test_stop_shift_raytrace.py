"""The move of best focus on stopping down, against the ``rms`` rows of the ray-traced lenses (README.md beside it).

``rms`` is the plane of smallest blur: what focusing by eye on the sharpest picture does. Charts "found" there at each
stop and distance of a design, without noise, give the shift; it must be that of the trace, and interpolate to a stop
nobody tested.
"""

import math

import numpy as np
import pytest

from tapehook.lens.stop_shift import StopShift, stop_shift
from tests.truth import tables

FAR_M = 3.0
"""From here on; nearer, spherical aberration itself changes with distance."""


def _rows(name: str) -> list[tables.Row]:
    rows = tables.design(name)["depth_of_field"]
    return [row for row in rows if tables.distance_m(row) >= FAR_M]


def _found(rows: list[tables.Row], f_m: float) -> StopShift:
    """Unit focusing turns a travel x into q = x/f^2: ring minus chart is the travel of best focus over f^2."""
    distance = [tables.distance_m(row) for row in rows]
    setting = [sorted(set(distance)).index(d) for d in distance]
    n = np.array([row["f_number"] for row in rows])
    paraxial = np.array([row["exact"]["paraxial"]["focus_travel_mm"] for row in rows])
    travel = np.array([row["exact"]["rms"]["focus_travel_mm"] for row in rows])
    dq = (travel - paraxial) * 1e-3 / f_m**2
    found = stop_shift(setting, n, dq, np.full(n.size, f_m), 0.15 * n * 25e-6 / f_m**2)
    assert found is not None
    return found


@pytest.mark.parametrize("name", tables.UNIT_FOCUSING)
def test_the_shift_is_that_of_the_trace(name: str) -> None:
    """At infinity the fitted shift is within 12 % of the depth at the stop, though each distance differs a little."""
    f_m = tables.focal_m(name)
    found = _found(_rows(name), f_m)
    at_infinity = {row["f_number"]: row["exact"]["rms"] for row in _rows(name) if math.isinf(tables.distance_m(row))}
    widest = min(at_infinity)
    for n, rms in at_infinity.items():
        # Best focus farther out means the sensor as if too near: the shift is minus the travel's growth.
        true_m = -(rms["focus_travel_mm"] - at_infinity[widest]["focus_travel_mm"]) * 1e-3
        assert abs(found.at(n)[0] - true_m) / (n * tables.blur_m(name)) < 0.12


@pytest.mark.parametrize("name", tables.UNIT_FOCUSING)
def test_wide_open_marks_would_be_out_when_stopped_down(name: str) -> None:
    """In each of these designs the shift to the second stop uses over 15 % of its depth, sensor as if too near."""
    found = _found(_rows(name), tables.focal_m(name))
    assert found.shift_m[1] < 0
    assert abs(found.shift_m[1]) / (found.f_number[1] * tables.blur_m(name)) > 0.15


@pytest.mark.parametrize("name", tables.UNIT_FOCUSING)
def test_a_stop_nobody_tested_lies_within_what_is_said(name: str) -> None:
    """Widest and smallest tested, the middle one foretold: the trace lies within 2 of the stated sds."""
    rows, f_m = _rows(name), tables.focal_m(name)
    stops = sorted({row["f_number"] for row in rows})
    found = _found([row for row in rows if row["f_number"] in (stops[0], stops[-1])], f_m)
    true_m = _found(rows, f_m).shift_m[1]
    foretold, sd = found.at(stops[1])
    assert abs(foretold - true_m) < 2.0 * sd
