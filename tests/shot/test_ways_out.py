"""Ways out: each, taken, makes the exposure right or leaves what it says, and the depth is what it says."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import half_width_dpt
from tapehook.optics.exposure import shutter_time_s, stops_over
from tapehook.shot.ways_out import AsItStands, WayOut, ways_out

settings = st.fixed_dictionaries(
    {
        "t_stop": st.floats(1, 22),
        "ei": st.floats(100, 6400),
        "frame_rate_fps": st.floats(12, 120),
        "angle_deg": st.floats(11, 360),
        "density": st.floats(0, 2),
        "light_lux": st.floats(1, 1e5),
    }
)


def over(values: dict[str, float]) -> float:
    """Stops over with these settings."""
    time = shutter_time_s(values["angle_deg"], values["frame_rate_fps"])
    return float(stops_over(values["t_stop"], values["ei"], time, values["density"], values["light_lux"]))


FIELD = {
    "light": "light_lux",
    "ei": "ei",
    "speed": "frame_rate_fps",
    "shutter": "angle_deg",
    "nd": "density",
    "stop": "t_stop",
    "lens": None,
    "distance": None,
}


@given(values=settings)
def test_each_way_does_what_it_says(values: dict[str, float]) -> None:
    """Put in place of what was set, each way leaves what it says, over or under; those that do all come first."""
    off = over(values)
    found = ways_out(AsItStands(**values, over_stops=off))
    for way in found:
        field = FIELD[way.way]
        if field is not None:
            assert abs(over({**values, field: way.value})) == pytest.approx(way.left, abs=1e-6)
        assert way.stops + way.left == pytest.approx(abs(off), abs=1e-6)
    lefts = [way.left > 1e-9 for way in found]
    assert lefts == sorted(lefts)


def by_name(found: list[WayOut]) -> dict[str, WayOut]:
    """Ways out by what they change."""
    return {way.way: way for way in found}


def test_depth_at_t56_with_light_for_t2() -> None:
    """Three stops short: T2 has 0.354 of the depth; a lens 0.595 as long, or 1.68 times as far, has it again."""
    now = AsItStands(4 * math.sqrt(2), 800, 24, 180, 0.3, 64.6, -3.0)
    ways = by_name(ways_out(now))
    assert ways["light"].value == pytest.approx(516.8)
    assert ways["ei"].value == pytest.approx(6400)
    assert ways["speed"].value == pytest.approx(3.0)
    assert (ways["shutter"].value, ways["shutter"].left) == pytest.approx((360.0, 2.0))
    assert (ways["nd"].value, ways["nd"].left) == pytest.approx((0.0, 3 - 0.3 / math.log10(2)))
    assert (ways["stop"].value, ways["stop"].depth_ratio) == pytest.approx((2.0, 2.0 / now.t_stop))
    assert (ways["lens"].value, ways["distance"].value) == pytest.approx((0.5946, 1.6818), abs=1e-4)


def test_the_lens_and_the_distance_keep_the_depth() -> None:
    """With the shorter lens the half-width is that of the wanted stop; farther off, near to far is (2 w u^2)."""
    ways = by_name(ways_out(AsItStands(5.6, 800, 24, 180, 0.0, 50.0, -2.0)))
    wanted, opened = 5.6, ways["stop"].value
    focal = 0.05
    w = float(half_width_dpt(wanted, focal, 25e-6))
    assert float(half_width_dpt(opened, focal * ways["lens"].value, 25e-6)) == pytest.approx(w)
    farther = float(half_width_dpt(opened, focal, 25e-6)) * ways["distance"].value ** 2
    assert farther == pytest.approx(w)


def test_too_much_light_and_a_lens_that_ends() -> None:
    """Two stops over: ND 0.6 more, or T8 for T4, of which a lens that ends at T5.6 does half; no lens is named."""
    now = AsItStands(4.0, 800, 24, 180, 0.3, 1000.0, 2.0, smallest_t=4 * math.sqrt(2))
    ways = by_name(ways_out(now))
    assert ways["nd"].value == pytest.approx(0.3 + 2 * math.log10(2))
    assert (ways["stop"].stops, ways["stop"].left) == pytest.approx((1.0, 1.0))
    assert "lens" not in ways
    assert ways_out(AsItStands(4.0, 800, 24, 180, 0.0, 258.0, 0.0)) == []


def test_what_brings_nothing_is_left_out() -> None:
    """Without an ND there is none to take out; a shutter wide open cannot open more; a lens wide open neither."""
    now = AsItStands(2.0, 800, 24, 360, 0.0, 10.0, -1.0, widest_t=2.0)
    assert set(by_name(ways_out(now))) == {"light", "ei", "speed"}
