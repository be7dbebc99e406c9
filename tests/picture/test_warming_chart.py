"""A lens on its way to the temperature of the air, drawn."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.dew import dew_point_c, time_to_reach_s
from tapehook.picture.colours import DARK
from tapehook.picture.warming_chart import WarmingChart, warming_chart
from tests.picture.reading import SVG, parse

TAU_S = 1800.0


def chart(lens_c: float, air_c: float, humidity: float, later: tuple[float, float] | None = None) -> WarmingChart:
    """What the dew of the air does to a lens, with the usual time constant."""
    dew = float(dew_point_c(air_c, humidity))
    clear = float(time_to_reach_s(lens_c, air_c, dew, TAU_S)) if lens_c <= dew else 0.0
    settled_c = air_c + math.copysign(min(1.0, abs(lens_c - air_c)), lens_c - air_c)
    settled = float(time_to_reach_s(lens_c, air_c, settled_c, TAU_S))
    return WarmingChart(lens_c, air_c, dew, TAU_S, clear, settled, later)


def drawn(one: WarmingChart, width: float = 330.0) -> str:
    """The picture of the usual size."""
    return warming_chart(one, width=width, height=200.0, title="A <lens>")


def test_the_curve_meets_the_dew_point_when_it_is_clear() -> None:
    """At the moments named the lens has the temperatures they are named for: 27 min and 99 min, by hand.

    30 ln((22 + 5)/(22 - 11.10)) = 27.2 and 30 ln(27/1) = 98.9.
    """
    one = chart(-5.0, 22.0, 0.5)
    assert one.at_c(one.clear_s) == pytest.approx(one.fogs_at_c, abs=1e-9)
    assert one.at_c(one.settled_s) == pytest.approx(21.0, abs=1e-9)
    text = drawn(one)
    assert "clear after 27 min" in text
    assert "settled after 99 min" in text
    assert "dew point 11.1 °C" in text


def test_what_never_clears_is_hatched_to_the_end_and_has_no_moment() -> None:
    """In saturated air a cold lens stays foggy: said in words, and no moment is named."""
    one = WarmingChart(-5.0, 22.0, 22.0, TAU_S, math.inf, 5934.0)
    text = drawn(one)
    assert "it does not clear" in text
    assert "clear after" not in text


def test_a_lens_that_is_settled_has_neither() -> None:
    """Nothing to wait for: no moment, no hatch."""
    text = drawn(chart(22.0, 22.0, 0.5))
    assert "settled after" not in text
    assert "clear after" not in text


def test_frost_is_called_frost() -> None:
    """Below freezing it is no dew."""
    one = WarmingChart(-20.0, -5.0, -9.0, TAU_S, 1200.0, 4874.0, frost=True)
    assert "frost at -9 °C" in drawn(one)
    assert "dew point" not in drawn(one)


def test_a_second_reading_is_marked() -> None:
    """What the barrel showed later is a mark on the picture."""
    with_it, without = drawn(chart(-5.0, 22.0, 0.5, (900.0, 6.0))), drawn(chart(-5.0, 22.0, 0.5))
    assert with_it.count("<rect") == without.count("<rect") + 1


@given(
    st.floats(-100, 200),
    st.floats(-40, 50),
    st.floats(0.001, 1.0),
    st.floats(6.0, 6e5),
    st.sampled_from([200.0, 520.0]),
)
def test_whatever_the_weather_it_is_a_picture(
    lens_c: float, air_c: float, humidity: float, tau_s: float, width: float
) -> None:
    """Any lens in any air: a whole picture, and every word inside it."""
    dew = float(dew_point_c(air_c, humidity))
    clear = float(time_to_reach_s(lens_c, air_c, dew, tau_s)) if lens_c <= dew else 0.0
    one = WarmingChart(lens_c, air_c, dew, tau_s, clear, tau_s * 3.0)
    root = parse(warming_chart(one, width=width, height=200.0, title="A lens", theme=DARK))
    for text in root.iter(f"{SVG}text"):
        assert -1.0 <= float(text.get("x", "nan")) <= width + 1.0
        assert 0.0 <= float(text.get("y", "nan")) <= 201.0
