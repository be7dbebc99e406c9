"""Exposure: each quantity follows from the others, and stops add up."""

from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.exposure import (
    Quantity,
    density_of_stops,
    shutter_angle_deg,
    shutter_time_s,
    solve_exposure,
    stops_of_density,
    stops_over,
)

VALUES = {
    "t_stop": st.floats(0.5, 128),
    "ei": st.floats(1, 1e6),
    "time_s": st.floats(1e-5, 10),
    "density": st.floats(0, 6),
    "light_lux": st.floats(1e-3, 1e6),
}


@given(solved=st.sampled_from(get_args(Quantity)), given_values=st.fixed_dictionaries(VALUES))
def test_what_is_solved_makes_the_exposure_right(solved: Quantity, given_values: dict[str, float]) -> None:
    """Put back with the others, the quantity found leaves nothing over, whichever it is."""
    others = {name: value for name, value in given_values.items() if name != solved}
    found = solve_exposure(solved, **others)
    assert float(stops_over(**{**others, solved: found})) == pytest.approx(0.0, abs=1e-9)


@given(values=st.fixed_dictionaries(VALUES), stops=st.floats(-5, 5))
def test_a_stop_is_a_stop_everywhere(values: dict[str, float], stops: float) -> None:
    """So many stops of light, time, EI, filter or iris change the exposure by so many stops."""
    base = float(stops_over(**values))
    changes = {
        "light_lux": values["light_lux"] * 2.0**stops,
        "time_s": values["time_s"] * 2.0**stops,
        "ei": values["ei"] * 2.0**stops,
        "density": values["density"] - float(density_of_stops(stops)),
        "t_stop": values["t_stop"] * 2.0 ** (-stops / 2.0),
    }
    for name, value in changes.items():
        assert float(stops_over(**{**values, name: value})) == pytest.approx(base + stops, abs=1e-9)


@given(angle=st.floats(0.1, 360), fps=st.floats(0.1, 1e4), stops=st.floats(-10, 10))
def test_angles_and_densities_go_there_and_back(angle: float, fps: float, stops: float) -> None:
    """Angle to time to angle, stops to density to stops."""
    assert float(shutter_angle_deg(shutter_time_s(angle, fps), fps)) == pytest.approx(angle, rel=1e-12)
    assert float(stops_of_density(density_of_stops(stops))) == pytest.approx(stops, abs=1e-12)


def test_arrays_go_through() -> None:
    """Many stops at once, as a page draws them."""
    over = stops_over(np.array([2.0, 4.0, 8.0]), 800.0, 1 / 48, 0.0, 258.33385)
    assert over == pytest.approx([2.0, 0.0, -2.0], abs=1e-6)


@pytest.mark.parametrize("name", ["t_stop", "ei", "time_s", "light_lux", "meter_lx_s"])
def test_nothing_is_solved_from_nought(name: str) -> None:
    """A quantity of nought or less has no answer."""
    with pytest.raises(ValueError, match="above zero"):
        solve_exposure("density", **{name: 0.0})
