"""Placing labels: as near to their ticks as their widths allow, against a plain quadratic search."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.strip.placing import Room, overlaps, place_labels

ROOM = Room(left=-5.0, right=105.0, gap=1.0, apart=1.0, push=3.0)

labels = st.lists(st.tuples(st.floats(0, 100), st.floats(1.0, 8.0)), min_size=1, max_size=10)


@given(labels)
def test_no_label_stands_over_another_nor_leaves_its_order(marks: list[tuple[float, float]]) -> None:
    """Whatever the ticks: labels keep their order and the gap, and stay between the ends of the room."""
    at, width = zip(*sorted(marks), strict=True)
    placed = place_labels(at, width, ROOM)
    assert overlaps(placed.tolist(), width) == 0
    gaps = np.diff(placed) - (np.array(width)[:-1] + np.array(width)[1:]) / 2.0
    assert np.all(gaps >= ROOM.gap - 1e-9)
    assert placed[0] - width[0] / 2.0 >= ROOM.left - 1e-9
    assert placed[-1] + width[-1] / 2.0 <= ROOM.right + 1e-9


@given(labels)
def test_labels_with_room_stay_at_their_ticks(marks: list[tuple[float, float]]) -> None:
    """Where they fit as they are, nothing moves."""
    at, width = zip(*sorted(marks), strict=True)
    placed = place_labels(at, width, ROOM)
    edges = np.diff(at) - (np.array(width)[:-1] + np.array(width)[1:]) / 2.0
    inside = at[0] - width[0] / 2.0 >= ROOM.left and at[-1] + width[-1] / 2.0 <= ROOM.right
    if inside and np.all(edges >= ROOM.gap):
        assert placed == pytest.approx(np.array(at), abs=1e-9)


def test_shifts_are_the_least_there_are() -> None:
    """Three labels on one spot: the middle one stays, the others move by what they must; two give way evenly."""
    assert place_labels([50, 50, 50], [4, 4, 4], ROOM) == pytest.approx([45, 50, 55])
    assert place_labels([50, 51], [4, 4], ROOM) == pytest.approx([48, 53])
    # Worked out by hand: 20 and 22 give way by 1.5 each, and 60 is left alone.
    assert place_labels([20, 22, 60], [4, 4, 4], ROOM) == pytest.approx([18.5, 23.5, 60])


def test_the_ends_of_the_room_hold() -> None:
    """Labels at an end are pushed in from it, and those after them give way."""
    assert place_labels([-5, -4], [4, 4], ROOM) == pytest.approx([-3, 2])
    assert place_labels([104, 105], [4, 4], ROOM) == pytest.approx([98, 103])


def test_overlaps_are_counted() -> None:
    """Pairs, not labels; touching is no overlap."""
    assert overlaps([0, 4], [4, 4]) == 0
    assert overlaps([0, 3], [4, 4]) == 1
    assert overlaps([0, 1, 2], [4, 4, 4]) == 3
