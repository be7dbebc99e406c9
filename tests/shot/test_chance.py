"""The chance to be sharp: closed forms and limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from tapehook.shot.chance import chance_sharp, largest

SHARE = st.floats(-3.0, 3.0)


@given(SHARE, st.floats(0.0, 2.0), st.floats(0.01, 3.0))
def test_it_is_the_normal_within_the_depth(known: float, play: float, sd: float) -> None:
    """The mean of two normal distributions between -1 and 1, by SciPy."""
    expected = np.mean([norm.cdf(1, known + side, sd) - norm.cdf(-1, known + side, sd) for side in (play, -play)])
    assert chance_sharp(known, play, sd)[0] == pytest.approx(expected, abs=1e-12)


@given(SHARE, st.floats(0.0, 2.0), st.floats(0.01, 3.0), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_with_other_ends_it_is_the_normal_between_them(
    known: float, play: float, sd: float, low: float, high: float
) -> None:
    """As above, between other ends; nothing where they have crossed."""
    parts = [norm.cdf(high, known + side, sd) - norm.cdf(low, known + side, sd) for side in (play, -play)]
    assert chance_sharp(known, play, sd, low, high)[0] == pytest.approx(max(np.mean(parts), 0.0), abs=1e-12)


@pytest.mark.parametrize("known, play, chance", [(0.5, 0.0, 1.0), (1.5, 0.0, 0.0), (0.8, 0.5, 0.5), (0.0, 0.9, 1.0)])
def test_without_scatter_it_is_certain(known: float, play: float, chance: float) -> None:
    """All, nothing, or one way of arriving of two."""
    assert chance_sharp(known, play, 0.0)[0] == pytest.approx(chance)


@given(SHARE, st.floats(0.0, 1.0), st.floats(0.05, 2.0))
def test_more_of_anything_never_helps_from_the_middle(known: float, play: float, sd: float) -> None:
    """From the middle of the depth, anything that is off makes it less likely."""
    assert chance_sharp(0.0, 0.0, sd)[0] >= chance_sharp(known, play, sd)[0] - 1e-12


def test_a_usual_figure() -> None:
    """A scatter of half the depth (one sd) leaves 95.45 % within it: the two-sigma rule."""
    assert chance_sharp(0.0, 0.0, 0.5)[0] == pytest.approx(0.9545, abs=5e-5)


@pytest.mark.parametrize(
    "known, play, scatter, name",
    [
        ({"lag": 0.9}, 0.1, {"map": 0.1, "body": 0.2}, "lag"),
        ({"lag": 0.1}, 0.9, {"map": 0.1, "body": 0.2}, "backlash"),
        ({"lag": 0.1}, 0.1, {"map": 0.2, "body": 0.9}, "body"),
    ],
)
def test_the_culprit_is_what_costs_most(
    known: dict[str, float], play: float, scatter: dict[str, float], name: str
) -> None:
    """The term without which the chance would be the greatest."""
    assert largest(known, play, scatter) == name


def test_what_takes_off_an_end_can_cost_most() -> None:
    """Focused well but for a second direction that is sharp from 0.9 on only."""
    assert largest({"lag": 0.1}, 0.1, {"map": 0.1}, {"two directions": (0.9, 1.0)}) == "two directions"
    assert largest({"lag": 0.9}, 0.1, {"map": 0.1}, {"two directions": (-0.95, 1.0)}) == "lag"
