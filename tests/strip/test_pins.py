"""Strips to pin: the set that serves the most lenses, the smaller one where both serve as many."""

import numpy as np
import pytest

from tapehook.strip import best_pins


def test_pair_beats_the_best_single_and_its_partner() -> None:
    """The strip that serves most lenses alone need not be in the best pair, so a greedy choice would miss it."""
    used = np.full((6, 3), 2.0)
    used[1:5, 0] = 0.1  # serves four of six; with either other strip, five
    used[:3, 1] = 0.5
    used[3:, 2] = 0.5
    assert best_pins(used, 1) == (0,)
    assert best_pins(used, 2) == (1, 2)


def test_no_more_strips_than_needed() -> None:
    """A second strip that serves no further lens is not pinned, even where it fits better."""
    assert best_pins([[0.5, 0.1], [0.5, 2.0]], 2) == (0,)


def test_equal_service_goes_to_the_closer_fit() -> None:
    """Of two strips that serve the same lenses the one that uses less depth is pinned."""
    assert best_pins([[0.9, 0.2], [0.8, 0.3]], 1) == (1,)


def test_nothing_serves() -> None:
    """Strips that use all the depth, or cannot be laid on the lens, are not pinned."""
    assert best_pins([[1.01, np.nan]], 2) == ()


def test_refusals() -> None:
    """No strip to choose, or more sets than can be tried, is refused with the figure."""
    with pytest.raises(ValueError, match="at least one"):
        best_pins([[0.1]], 0)
    with pytest.raises(ValueError, match="200 strips make"):
        best_pins(np.zeros((1, 200)), 3)
