"""Three lenses tell for a kit: the interval against its closed form and against many kits drawn at random."""

import numpy as np
import pytest
from scipy.stats import t

from tapehook.lens.morning import T95, kit_shift


def test_three_lenses_by_hand() -> None:
    """8, 10 and 12 micrometres: mean 10, s 2, t(2) 4.303 (NIST): 10 +- 4.97, one more lens +- 9.94."""
    kit = kit_shift([8e-6, 10e-6, 12e-6], [0.1e-6] * 3)
    assert kit.shift_m == pytest.approx(10e-6)
    assert kit.mean_plus_minus_m == pytest.approx(4.303 * 2e-6 / 3**0.5)
    assert kit.plus_minus_m == pytest.approx(4.303 * 2e-6 * (4 / 3) ** 0.5)
    assert kit.moved


def test_no_surer_than_each_check() -> None:
    """Three that agree by luck are no surer than what each is sure to."""
    kit = kit_shift([1e-6, 1e-6, 1e-6], [5e-6] * 3)
    assert kit.spread_m == pytest.approx(5e-6)
    assert not kit.moved


@pytest.mark.parametrize("count", [3, 5, 11, 20])
def test_the_next_lens_lies_within(count: int) -> None:
    """Of 4,000 kits drawn at random the next lens lies within its 95 % in 94 to 97 %."""
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(4000):
        shifts = rng.normal(6e-6, 4e-6, count + 1)
        kit = kit_shift(shifts[:-1], np.full(count, 1e-9))
        inside += abs(shifts[-1] - kit.shift_m) <= kit.plus_minus_m
    assert 0.94 <= inside / 4000 <= 0.97


def test_what_all_checks_share_no_number_of_lenses_averages_away() -> None:
    """Of 4,000 kits of 12, all off by one tape of 5 um besides 4 um of each: the mean lies within in 93 to 98 %.

    Without the shared part it does in fewer than 60 %.
    """
    rng = np.random.default_rng(8)
    inside = [0, 0]
    for _ in range(4000):
        shifts = rng.normal(0.0, 4e-6, 12) + rng.normal(0.0, 5e-6)
        for k, shared_m in enumerate((5e-6, 0.0)):
            kit = kit_shift(shifts, np.full(12, 1e-9), shared_m)
            inside[k] += abs(kit.shift_m) <= kit.mean_plus_minus_m
    assert 0.93 <= inside[0] / 4000 <= 0.98
    assert inside[1] / 4000 < 0.6


def test_the_t_values_are_those_of_students_distribution() -> None:
    """97.5 % of 1 to 10 degrees of freedom, to the three decimals of the printed table, against SciPy."""
    assert pytest.approx([t.ppf(0.975, k) for k in range(1, 11)], abs=5e-4) == T95


def test_two_say_nothing() -> None:
    """Of how far lenses differ."""
    with pytest.raises(ValueError, match="at least 3"):
        kit_shift([1e-6, 2e-6], [1e-6, 1e-6])
