"""Room at the ends of a ring, either way positions rise."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens.ends import End, inside_stop, past_mark, right_way_round

places = st.floats(-1e4, 1e4)
ends: st.SearchStrategy[End] = st.sampled_from(["near", "far"])


def test_by_hand() -> None:
    """Infinity at 12, near at 280: a far stop at 10 leaves 2 past infinity, a near stop at 275 is 5 short."""
    assert past_mark(10.0, 12.0, 1, "far") == 2.0
    assert past_mark(275.0, 280.0, 1, "near") == -5.0
    assert inside_stop(11.0, 10.0, 1, "far") == 1.0
    assert inside_stop(276.0, 275.0, 1, "near") == -1.0
    assert right_way_round(280.0, 12.0, 1)
    assert not right_way_round(12.0, 280.0, 1)


@given(places, places, ends, st.sampled_from([-1, 1]))
def test_turned_round_it_is_the_same(end_at: float, mark_at: float, end: End, toward_near: int) -> None:
    """A read-out that counts the other way gives the same room."""
    assert past_mark(end_at, mark_at, toward_near, end) == past_mark(-end_at, -mark_at, -toward_near, end)


@given(places, places, places, ends, st.sampled_from([-1, 1]))
def test_rooms_add_up(mark: float, motor: float, stop: float, end: End, toward_near: int) -> None:
    """Mark to motor end and motor end to hard stop make mark to hard stop."""
    whole = past_mark(stop, mark, toward_near, end)
    parts = past_mark(motor, mark, toward_near, end) + inside_stop(motor, stop, toward_near, end)
    assert whole == pytest.approx(parts, abs=1e-6)
