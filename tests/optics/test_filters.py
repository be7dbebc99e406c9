"""Filters stacked, and close-up lenses: published figures and the algebra behind them."""

import math
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.exposure import DENSITY_PER_STOP
from tapehook.optics.filters import (
    close_up_range,
    setting_for_close_up_m,
    split_dioptre_pair_m,
    split_dioptre_setting,
    stacks_for,
    through_close_up_m,
)


def test_the_nearest_stack_comes_first() -> None:
    """1.2 from 0.3, 0.6 and 0.9, one each: 0.3 and 0.9, two pieces of glass, not three and not 0.9 alone."""
    best = stacks_for(1.2, [0.3, 0.6, 0.9], [1, 1, 1])[0]
    assert best.filters == (0, 2)
    assert best.stops_off == pytest.approx(0.0, abs=1e-9)


def test_less_glass_is_preferred() -> None:
    """0.9 as one filter, before 0.3 and 0.6; and what is not on hand is not used."""
    assert stacks_for(0.9, [0.3, 0.6, 0.9], [1, 1, 1])[0].filters == (2,)
    assert stacks_for(0.9, [0.3, 0.6, 0.9], [1, 1, 0])[0].filters == (0, 1)
    assert stacks_for(1.2, [0.6], [2])[0].filters == (0, 0)


@given(
    tray=st.lists(st.tuples(st.floats(0.05, 2), st.integers(0, 3)), max_size=5),
    wanted=st.floats(0, 4),
    most=st.integers(0, 3),
)
def test_the_list_is_complete_and_in_order(tray: list[tuple[float, int]], wanted: float, most: int) -> None:
    """As many ways as brute force counts, rising by how far they are off, no filter used more than there is."""
    densities, counts = [d for d, _ in tray], [n for _, n in tray]
    found = stacks_for(wanted, densities, counts, most)
    ways = [way for way in product(*(range(min(n, most) + 1) for n in counts)) if sum(way) <= most]
    assert len(found) == len(ways)
    off = [abs(stack.stops_off) for stack in found]
    assert all(a <= b + 1e-8 for a, b in pairwise(off))
    for stack in found:
        assert all(stack.filters.count(at) <= counts[at] for at in stack.filters)
        assert stack.stops_off == pytest.approx((stack.density - wanted) / DENSITY_PER_STOP)


@pytest.mark.parametrize("power, distance", [(2.0, 0.5), (4.0, 0.25), (7.0, 1 / 7)])
def test_at_infinity_a_close_up_lens_focuses_at_one_over_its_power(power: float, distance: float) -> None:
    """+2 at 0.5 m, +4 at 0.25 m, and +1 with +2 and +4 as +7 (Wikipedia, Close-up lens), from the close-up lens."""
    assert float(through_close_up_m(math.inf, power, 0.1)) == pytest.approx(0.1 + distance, rel=1e-12)


def test_with_the_lens_at_its_own_close_focus() -> None:
    """Close focus 1.5 m and +3: 0.2727 m and 5.5 times the image (Wikipedia, Close-up lens; figures from memory)."""
    found = close_up_range(1.5, 3.0, 0.0)
    assert found.near_m == pytest.approx(0.2727, abs=5e-5)
    assert found.magnified == pytest.approx(5.5)
    assert found.far_m == pytest.approx(1 / 3)


@given(distance=st.floats(0.3, 1e4), power=st.floats(0.1, 10), front=st.floats(0.0, 0.25))
def test_the_setting_comes_back(distance: float, power: float, front: float) -> None:
    """What the ring must be set to for where it is sharp is what it was set to; in vergence the shift is the power."""
    subject = float(through_close_up_m(distance, power, front))
    assert float(setting_for_close_up_m(subject, power, front)) == pytest.approx(distance, rel=1e-6)
    assert 1 / (subject - front) - 1 / (distance - front) == pytest.approx(power, rel=1e-9)


def test_what_no_setting_reaches_is_not_a_number() -> None:
    """A subject beyond 1/P, and one behind the close-up lens."""
    assert np.isnan(setting_for_close_up_m([3.0, 0.05], 1.0, 0.1)).all()
    with pytest.raises(ValueError, match="power"):
        close_up_range(0.5, -1.0, 0.1)


def test_a_split_dioptre_holds_two() -> None:
    """For 0.6 m and 3 m with the glass 0.1 m in front: 1/0.5 - 1/2.9 dioptres, and then both halves are sharp there."""
    power = split_dioptre_setting(0.6, 3.0, 0.1)
    assert power == pytest.approx(1 / 0.5 - 1 / 2.9)
    assert split_dioptre_pair_m(3.0, power, 0.1) == pytest.approx((0.6, 3.0))
    assert split_dioptre_setting(0.6, math.inf, 0.1) == pytest.approx(2.0)
    with pytest.raises(ValueError, match="near subject"):
        split_dioptre_setting(3.0, 0.6, 0.1)
