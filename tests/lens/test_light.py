"""Levels in stops: the line through them, how well they repeat, and one lens against the rest."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens.light import TOLERANCE_STOPS, USUAL_SD_STOPS, against_the_rest, level_line, repeat_sd

levels = st.lists(st.floats(-3, 3), min_size=2, max_size=8)


def test_hand_checkable_line() -> None:
    """x 0 1 2 3, y 0 1 1 2: slope 0.6 (a public test file, star_linefit), level 1 at the middle, 1.5.

    With unit sd the mean's is 1/2 and the slope's 1/sqrt(5), by hand.
    """
    line = level_line([0, 1, 2, 3], [0, 1, 1, 2], 1.0)
    assert (line.level, line.slope, line.span) == pytest.approx((1.0, 0.6, 3.0))
    assert (line.level_sd, line.slope_sd) == pytest.approx((0.5, 5**-0.5))
    assert line.ramp == pytest.approx(1.8)


@given(levels, st.floats(-2, 2), st.floats(0.01, 1.0))
def test_line_agrees_with_lstsq(y: list[float], tilt: float, sd: float) -> None:
    """The same slope and mean as a general least-squares solver gives, a second route."""
    x = np.arange(len(y), dtype=float)
    values = np.array(y) + tilt * x
    line = level_line(x, values, sd)
    solved = np.linalg.lstsq(np.column_stack([np.ones_like(x), x - x.mean()]), values, rcond=None)[0]
    assert (line.level, line.slope) == pytest.approx(tuple(solved), abs=1e-9)


def test_one_setting_has_no_slope() -> None:
    """One level, or several at one x, give their mean and no slope."""
    line = level_line([2.0, 2.0], [0.1, 0.3], 0.1)
    assert line.level == pytest.approx(0.2)
    assert (line.slope, line.ramp) == (0.0, 0.0)
    assert np.isinf(line.ramp_sd)


def test_better_levels_count_more() -> None:
    """A level with half the sd weighs four times as much: (4 x 1 + 0)/5."""
    assert level_line([0, 0], [1.0, 0.0], [0.5, 1.0]).level == pytest.approx(0.8)


def test_no_level_is_refused() -> None:
    """No levels, no line."""
    with pytest.raises(ValueError, match="at least one"):
        level_line([], [], 1.0)


def test_repeats_say_how_well_levels_repeat() -> None:
    """Pooled by hand: groups (0, 0.2), (1, 1.2), (0, 0.1, 0.2): sum of squares 0.02 + 0.02 + 0.02 over 4."""
    sd, measured = repeat_sd([[0.0, 0.2], [1.0, 1.2], [0.0, 0.1, 0.2]])
    assert measured
    assert sd == pytest.approx((0.06 / 4) ** 0.5)


@pytest.mark.parametrize("groups", [[], [[0.1]], [[0.1], [0.2, 0.3]]])
def test_too_few_repeats_are_not_trusted(groups: list[list[float]]) -> None:
    """One repeat is no measure of scatter: the usual figure is taken, and said to be assumed."""
    assert repeat_sd(groups) == (USUAL_SD_STOPS, False)


def test_slopes_against_the_rest() -> None:
    """Of slopes 0.1 0.1 0.4 the third differs from the mean of the others by 0.3; a tilt all share goes away."""
    off, sd = against_the_rest([0.1, 0.1, 0.4], [0.1, 0.1, 0.1])
    assert off.tolist() == pytest.approx([-0.15, -0.15, 0.3])
    assert sd.tolist() == pytest.approx([(0.01 + 0.005) ** 0.5] * 3)
    assert against_the_rest([0.2], [0.1])[0].tolist() == [0.2]


@given(st.lists(st.floats(-1, 1), min_size=2, max_size=6), st.floats(-5, 5))
def test_a_shared_tilt_is_nobodys(slopes: list[float], tilt: float) -> None:
    """Adding the same slope to all lenses changes no lens's standing."""
    sds = [0.1] * len(slopes)
    plain, tilted = against_the_rest(slopes, sds)[0], against_the_rest(np.add(slopes, tilt), sds)[0]
    np.testing.assert_allclose(plain, tilted, atol=1e-12)


def test_tolerance_is_that_of_the_standard() -> None:
    """12 % of the area (PH22.90, J. SMPTE 59 (1952), 9.1) is 0.163 stop; a sixth is 0.167."""
    assert np.log2(1.12) == pytest.approx(TOLERANCE_STOPS, abs=0.005)
