"""The rows of a scale: readings kept apart by their way, centres by the median play, and what no ring does."""

import math
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens.noise import USUAL_NOISE_DEG
from tapehook.lens.rows import (
    LOG_OUT_OF_ORDER,
    LOG_TOO_NEAR,
    Rows,
    State,
    centres_of,
    gather_rows,
    half_play,
    half_plays,
    log_impossible,
    read_that_way,
    span_deg,
    taping_variance,
    without_reading,
)
from tests.lens.listed import METRES, NEAR_M, listed


def _state(rows: Rows) -> State:
    return State(rows, np.ones(rows.values.size, dtype=np.bool_))


def _impossible(rows: Rows) -> float:
    values, y, _, differences = _state(rows).centres()
    return float(log_impossible(np.array([rows.close_focus_m or 0.0]), values[None], y[None], differences[None])[0])


def test_one_row_for_each_number_and_distance() -> None:
    """Two marks with one distance but two numbers stay two rows; readings of one mark are one; each knows its row."""
    rows, members = gather_rows(
        [1.0, 1.0, 1.0, math.inf],
        ["1 m", "1 m", "1 m", "inf"],
        [10.0, 12.0, 30.0, 50.0],
        [-1, -1, 1, 0],
        [False, True, False, False],
        [1, 1, 2, None],
        degrees_per_unit=2.0,
        step=0.5,
        turn=180.0,
        focal_m=None,
    )
    assert rows.values.tolist() == [1.0, 1.0, math.inf]
    assert members.tolist() == [0, 0, 1, 2]
    assert rows.down.tolist()[0] == 22.0  # the mean of 10 and 12, in degrees
    assert rows.up.tolist()[1] == 60.0
    assert rows.free.tolist()[2] == 100.0
    assert rows.counts.tolist() == [[2, 0, 0], [0, 0, 1], [0, 1, 0]]
    assert rows.step_deg == 1.0
    assert span_deg(rows) == 78.0


@given(st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=9))
def test_half_play_is_half_the_median(differences: list[float]) -> None:
    """The median of the pairs, NaN or not beside them, halved; a reading moved by it costs 0.5 over their number."""
    half, cost = half_play(np.array([*differences, math.nan]))
    assert half == pytest.approx(float(np.median(differences)) / 2.0)
    assert cost == 0.5 / len(differences)


def test_no_pairs_no_play() -> None:
    """Read one way, nothing is moved and nothing is paid."""
    assert half_play(np.array([math.nan, math.nan])) == (0.0, 0.0)
    assert half_play(np.array([])) == (0.0, 0.0)


def test_one_slip_in_a_pair_does_not_move_the_rest() -> None:
    """A reading 40 degrees off moves the centre of its own row by 20, and of a row read one way by nothing."""
    plain = listed(noise_deg=0.0, step=1e-6)
    bad = listed(noise_deg=0.0, step=1e-6, moved={(3, 1): 40.0})
    bad_up = bad.up.copy()
    bad_up[5] = np.nan
    centres = [_state(rows).centres()[1] for rows in (plain, replace(bad, up=bad_up))]
    np.testing.assert_allclose(np.delete(centres[1], 3), np.delete(centres[0], 3), atol=1e-5)
    assert centres[1][3] - centres[0][3] == pytest.approx(20.0, abs=1e-5)


def test_variances_of_centres() -> None:
    """By hand: both ways 1/4 + 1/4; one way beside thirteen pairs 1 + 0.5/13; way unknown, read twice, 1/2."""
    rows = listed()
    up, free, counts = rows.up.copy(), rows.free.copy(), rows.counts.copy()
    up[2], counts[2, 2] = np.nan, 0
    down = rows.down.copy()
    down[7], up[7], free[7], counts[:, 7] = np.nan, np.nan, 50.0, [0, 2, 0]
    variance = _state(replace(rows, down=down, up=up, free=free, counts=counts)).centres()[2]
    assert variance[0] == 0.5
    assert variance[2] == pytest.approx(1.0 + 0.5 / 12)
    assert variance[7] == 0.5


def test_a_state_is_never_changed() -> None:
    """Every step gives a new state; the rows before it stay as they were read."""
    rows = listed()
    before = [part.copy() for part in (rows.values, rows.down, rows.up, rows.free, rows.counts)]
    state = _state(rows).settled()
    state.without(2).with_values(rows.values[::-1].copy())
    without_reading(state, 3, 1)
    without_reading(state, 3, -1)
    for part, was in zip((rows.values, rows.down, rows.up, rows.free, rows.counts), before, strict=True):
        np.testing.assert_array_equal(part, was)
    assert state.there.all()


def test_one_reading_given_up() -> None:
    """The other way of that row stays, and so do all other rows."""
    state = without_reading(_state(listed()), 4, 1)
    assert np.flatnonzero(np.isnan(state.rows.up)).tolist() == [4]
    assert np.isfinite(state.rows.down).all()
    assert np.isfinite(read_that_way(state.rows, -1)).all()
    assert np.isnan(read_that_way(state.rows, 0)).all()


def test_a_settled_state_keeps_its_centres() -> None:
    """Centres worked out once are those worked out again, also at other distances."""
    state = _state(listed())
    for mine, again in zip(state.settled().centres(), state.centres(), strict=True):
        np.testing.assert_array_equal(mine, again)
    moved = state.settled().with_values(state.rows.values * 2.0)
    assert moved.centres()[0].tolist() == (state.rows.values * 2.0).tolist()
    assert moved.centres()[1].tolist() == state.centres()[1].tolist()


def test_many_states_at_once_are_each_their_own() -> None:
    """Centres, play and what is impossible of states together are those of each alone, settled or not."""
    states = [_state(listed(seed=1)), _state(listed(seed=2, play_deg=0.8)).settled(), _state(listed(ways=(-1,)))]
    together = centres_of(states)
    for k, state in enumerate(states):
        for part, own in zip(together, state.centres(), strict=True):
            np.testing.assert_array_equal(part[k], own)
        half, cost = half_plays(together[3])
        assert (half[k], cost[k]) == half_play(together[3][k])


@pytest.mark.parametrize("turn_deg", [240.0, -240.0])
def test_a_tidy_scale_asks_for_nothing_impossible(turn_deg: float) -> None:
    """Whichever way positions run."""
    assert _impossible(listed(turn_deg=turn_deg)) == 0.0


def test_a_mark_nearer_than_close_focus() -> None:
    """One mark well nearer than close focus costs once, two twice; a hair nearer costs nothing, nor does no figure."""
    assert _impossible(listed(close_focus_m=0.64)) == LOG_TOO_NEAR  # 0.60 is under 0.95 of it, 0.65 is not
    assert _impossible(listed(close_focus_m=0.69)) == 2 * LOG_TOO_NEAR
    assert _impossible(listed(close_focus_m=0.61)) == 0.0
    assert _impossible(listed(close_focus_m=None)) == 0.0


@pytest.mark.parametrize("turn_deg", [240.0, -240.0])
def test_positions_out_of_order(turn_deg: float) -> None:
    """A mark thirty degrees off stands beyond one neighbour: one step the wrong way. Half a degree is just noise."""
    off = {(5, -1): 30.0, (5, 1): 30.0}
    assert _impossible(listed(turn_deg=turn_deg, moved=off)) == LOG_OUT_OF_ORDER
    close = listed((*METRES[:-2], 29.0, 30.0, math.inf), moved={(12, way): -0.5 for way in (-1, 1)}, turn_deg=turn_deg)
    assert _impossible(close) == 0.0


def test_tape_adds_to_taped_rows_only() -> None:
    """Nothing on an engraved scale; on a taped one more near the lens, nothing at infinity."""
    for taped in (False, True):
        state = _state(listed(taped=taped))
        values, y, _, _ = state.centres()
        extra = taping_variance(state, values, y)
        assert (extra[:-1] > 0).all() == taped
        assert extra[-1] == 0.0
    assert extra[0] > extra[6]


def test_tape_by_hand() -> None:
    """A ring straight in vergence, a degree for 0.01 dpt: at 1 m the tape's 4.24 mm are (100 q^2 0.00424 / 0.18)^2."""
    datum = 0.15  # two focal lengths of 50 mm and 50 mm, and under 0.6 of the nearest mark
    values = np.array([0.6, 0.8, 1.0, 2.0, math.inf])
    y = 100.0 / (values - datum)
    rows, _ = gather_rows(
        values, ["x"] * 5, y, [0] * 5, [True] * 5, [None] * 5, degrees_per_unit=1, step=0.1, turn=None, focal_m=0.05
    )
    extra = taping_variance(_state(rows), values, y)
    q = 1.0 / (1.0 - datum)
    assert extra[2] == pytest.approx((100.0 * q * q * math.hypot(3e-3, 3e-3) / USUAL_NOISE_DEG) ** 2)


@given(st.randoms(use_true_random=False))
def test_order_of_readings_does_not_matter(random: Random) -> None:
    """Rows come by distance, whatever the order of the list."""
    order = list(range(len(METRES)))
    random.shuffle(order)
    plain = listed(noise_deg=0.0)
    shuffled = listed([METRES[i] for i in order], noise_deg=0.0)
    assert shuffled.values.tolist() == plain.values.tolist()
    assert shuffled.written == plain.written
    np.testing.assert_allclose(shuffled.down, plain.down)
    assert plain.values[0] == NEAR_M
