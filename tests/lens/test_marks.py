"""From readings to marks: both ways centred, one way said to be one way, and the play between them."""

import math
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens import gather_marks
from tapehook.lens.marks import FAR_TO_NEAR, NEAR_TO_FAR

values = st.lists(st.sampled_from([0.5, 0.6, 0.8, 1.0, 1.5, 3.0, 10.0, math.inf]), min_size=1, max_size=8, unique=True)
positions = st.floats(-360.0, 360.0)


@given(values, st.floats(0.0, 2.0), st.sampled_from([-1.0, 1.0]))
def test_pairs_are_centred(distances: list[float], play: float, toward_near: float) -> None:
    """Marks read both ways stand half way between, whatever the play and whichever way positions rise."""
    true = np.arange(len(distances)) * 7.0
    shift = toward_near * play / 2.0
    ways = [NEAR_TO_FAR] * len(distances) + [FAR_TO_NEAR] * len(distances)
    marks = gather_marks([*distances] * 2, [*(true - shift), *(true + shift)], ways, [False] * len(ways))
    order = np.argsort(distances)
    np.testing.assert_allclose(marks.values, np.sort(distances))
    np.testing.assert_allclose(marks.positions, true[order], atol=1e-9)
    assert not marks.one_way
    assert marks.relative_variance.tolist() == [0.5] * len(distances)
    found = marks.play(int(toward_near), 0.2)
    assert found is not None
    assert found.value == pytest.approx(play, abs=1e-9)
    assert found.sd == pytest.approx(0.2 * math.sqrt(2 / len(distances)))
    assert found.pairs == len(distances)


@pytest.mark.parametrize("way", [NEAR_TO_FAR, FAR_TO_NEAR, 0])
def test_one_way_sets_are_said_to_be_one_way(way: int) -> None:
    """Read one way, or nobody wrote down which: positions as read, no play, and the way kept."""
    marks = gather_marks([1.0, 2.0, 3.0], [10.0, 20.0, 30.0], [way] * 3, [False] * 3)
    assert marks.one_way
    assert marks.way == way
    assert marks.positions.tolist() == [10.0, 20.0, 30.0]
    assert marks.relative_variance.tolist() == [1.0, 1.0, 1.0]
    assert marks.play(1, 0.2) is None
    assert np.isnan(marks.pair_differences).all()


def test_both_ways_on_different_marks_are_no_pair() -> None:
    """Some marks read one way, others the other way, none both ways: the centre cannot be known."""
    marks = gather_marks([1.0, 2.0], [10.0, 20.0], [NEAR_TO_FAR, FAR_TO_NEAR], [False, False])
    assert marks.one_way
    assert marks.way == 0
    assert marks.play(1, 0.2) is None


def test_single_sided_marks_move_to_the_centre() -> None:
    """Beside pairs with a play of 0.6, a mark read one way moves by 0.3 to the centre, and is the less sure for it.

    By hand: two pairs, so moving costs a quarter of 2/2 readings' variance: 1 + 0.25.
    """
    marks = gather_marks(
        [1.0, 1.0, 2.0, 2.0, 3.0, 4.0],
        [9.7, 10.3, 19.7, 20.3, 29.7, 40.3],
        [NEAR_TO_FAR, FAR_TO_NEAR, NEAR_TO_FAR, FAR_TO_NEAR, NEAR_TO_FAR, FAR_TO_NEAR],
        [False] * 6,
    )
    np.testing.assert_allclose(marks.positions, [10.0, 20.0, 30.0, 40.0])
    np.testing.assert_allclose(marks.relative_variance, [0.5, 0.5, 1.25, 1.25])
    assert not marks.one_way
    assert np.isfinite(marks.pair_differences).tolist() == [True, True, False, False]


def test_readings_with_no_way_written_down() -> None:
    """A mark with readings of unknown way keeps their mean; the more of them the surer; pairs elsewhere still count."""
    marks = gather_marks([1.0, 1.0, 2.0, 2.0], [9.7, 10.3, 20.0, 21.0], [NEAR_TO_FAR, FAR_TO_NEAR, 0, 0], [False] * 4)
    np.testing.assert_allclose(marks.positions, [10.0, 20.5])
    np.testing.assert_allclose(marks.relative_variance, [0.5, 0.5])
    assert not marks.one_way


def test_repeated_readings_count() -> None:
    """Two readings one way and one the other: the centre of the two means, variance (1/2 + 1)/4."""
    marks = gather_marks([1.0, 1.0, 1.0], [9.0, 11.0, 12.0], [NEAR_TO_FAR, NEAR_TO_FAR, FAR_TO_NEAR], [False] * 3)
    assert marks.positions.tolist() == [11.0]
    assert marks.relative_variance.tolist() == [0.375]
    assert marks.pair_differences.tolist() == [2.0]


@given(st.lists(st.tuples(st.sampled_from([1.0, 2.0, math.inf]), positions), min_size=1, max_size=9), st.randoms())
def test_order_of_readings_does_not_matter(readings: list[tuple[float, float]], random: Random) -> None:
    """Readings come in any order; marks come out by rising value, and each reading knows its mark."""
    ways = [(-1, 0, 1)[i % 3] for i in range(len(readings))]
    order = list(range(len(readings)))
    random.shuffle(order)
    first = gather_marks([v for v, _ in readings], [p for _, p in readings], ways, [False] * len(readings))
    again = gather_marks(
        [readings[i][0] for i in order], [readings[i][1] for i in order], [ways[i] for i in order], [False] * len(order)
    )
    np.testing.assert_allclose(first.positions, again.positions, atol=1e-9)
    np.testing.assert_allclose(first.relative_variance, again.relative_variance)
    assert first.values.tolist() == sorted({v for v, _ in readings})
    assert first.values[first.members].tolist() == [v for v, _ in readings]


def test_a_mark_is_taped_when_any_reading_of_it_was() -> None:
    """Taped once is taped."""
    marks = gather_marks([1.0, 1.0, 2.0], [1.0, 2.0, 3.0], [0, 0, 0], [False, True, False])
    assert marks.taped.tolist() == [True, False]


def test_leaving_marks_out() -> None:
    """``without`` drops those marks everywhere and keeps the rest as they were."""
    marks = gather_marks([1.0, 2.0, 3.0, 3.0], [1.0, 2.0, 3.0, 4.0], [0, -1, -1, 1], [True, False, True, True])
    fewer = marks.without({1})
    assert fewer.values.tolist() == [1.0, 3.0]
    assert fewer.positions.tolist() == [marks.positions[0], marks.positions[2]]
    assert fewer.taped.tolist() == [True, True]
    assert fewer.relative_variance.size == fewer.pair_differences.size == 2
    assert marks.without(set()).values.tolist() == marks.values.tolist()


def test_play_by_chance_may_be_negative() -> None:
    """With no play the mean of the differences falls either side of nothing, and says so with its sd."""
    marks = gather_marks([1.0, 1.0], [10.1, 10.0], [NEAR_TO_FAR, FAR_TO_NEAR], [False, False])
    found = marks.play(1, 0.1)
    assert found is not None
    assert found.value == pytest.approx(-0.1)
    assert abs(found.value) < 2 * found.sd
