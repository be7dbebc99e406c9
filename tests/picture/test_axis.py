"""Ticks: round values inside the range, written in house style."""

import itertools
import math
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import parse_distance, parse_stop
from tapehook.picture.axis import distance_ticks, focal_ticks, linear_ticks, stop_ticks


@given(st.floats(0.1, 5), st.sampled_from(["metric", "imperial"]))
def test_distance_ticks_say_where_they_are(near_m: float, system: Literal["metric", "imperial"]) -> None:
    """Each label reads back as its distance, to half the last digit of house style; infinity comes first."""
    ticks = distance_ticks(near_m, math.inf, system)
    assert ticks[0].text == "∞"
    assert all(near_m * (1 - 1e-8) <= tick.value for tick in ticks)
    assert all(parse_distance(tick.text) == pytest.approx(tick.value, rel=1e-3) for tick in ticks[1:])
    assert len({tick.text for tick in ticks}) == len(ticks)


def test_stop_ticks_are_the_engraved_numbers() -> None:
    """Both ends and whole stops between, as engraved: a ring is read at 2.8, not at the exact 2.83."""
    ticks = sorted(stop_ticks(2.8, 22.0))
    assert [tick.text for tick in ticks] == ["T2.8", "T4", "T5.6", "T8", "T11", "T16", "T22"]
    assert [tick.value for tick in ticks] == [parse_stop(tick.text).number for tick in ticks]


def test_focal_ticks_are_millimetres() -> None:
    """Both ends of a zoom and round lengths between."""
    assert [tick.text for tick in sorted(focal_ticks(22.0, 58.0))][::6] == ["22 mm", "58 mm"]
    assert all(tick.text == f"{tick.value:g} mm" for tick in focal_ticks(22.0, 58.0))


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_linear_ticks_are_even_and_inside(low: float, span: float) -> None:
    """One to six multiples of one step inside the range; at least two where the range is wide enough."""
    high = low + span
    ticks = linear_ticks(low, high)
    assert 1 <= len(ticks) <= 6
    assert all(low - 1e-6 * span <= tick <= high + 1e-6 * span for tick in ticks)
    steps = [b - a for a, b in itertools.pairwise(ticks)]
    assert all(step == pytest.approx(steps[0], rel=1e-3) for step in steps)


@pytest.mark.parametrize("low, high", [(1.0, 1.0), (2.0, 1.0), (math.nan, 1.0), (0.0, math.inf)])
def test_an_axis_runs_from_low_to_high(low: float, high: float) -> None:
    """What is no range is refused."""
    with pytest.raises(ValueError, match="from low to high"):
        linear_ticks(low, high)
