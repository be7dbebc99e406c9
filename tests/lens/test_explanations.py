"""How rows may have come about: every slip in every row it may sit in, with its share of the prior."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.integrate import quad

from tapehook.lens.explanations import (
    PRIOR,
    STRAY_SHARE,
    WORSE_SD_DEG,
    WORSE_SHARE,
    Explanation,
    Suspect,
    log_misread,
    log_prior_of,
    of_row,
    other_distances,
    skipped,
    stray,
)
from tapehook.lens.rows import Rows, State, span_deg
from tests.lens.listed import FEET, FOOT_M, METRES, listed, row_of


def _state(rows: Rows) -> State:
    return State(rows, np.ones(rows.values.size, dtype=np.bool_))


def _feet(**instead: object) -> Rows:
    return listed([d * FOOT_M for d in FEET], feet=True, close_focus_m=0.6, **instead)  # type: ignore[arg-type]  # by name


def _of_kind(found: Sequence[Explanation], kind: str) -> list[Explanation]:
    return [e for e in found if e.suspect.kind == kind]


@pytest.mark.parametrize("sd", WORSE_SD_DEG)
def test_a_misread_density_is_a_density(sd: float) -> None:
    """It integrates to one, is even, and falls away from nothing."""
    total, _ = quad(lambda x: float(np.exp(log_misread(x, sd))), -12.0 * max(sd, 1.0), 12.0 * max(sd, 1.0), limit=200)
    assert total == pytest.approx(1.0, abs=1e-6)
    assert float(log_misread(1.0, sd)) == float(log_misread(-1.0, sd)) < float(log_misread(0.0, sd))


def test_shares_of_a_worse_row_make_one() -> None:
    """The standard deviations of a row that is merely worse share its prior."""
    assert sum(WORSE_SHARE) == pytest.approx(1.0)


def test_prior_of_a_slip_over_all_places_it_may_sit_in() -> None:
    """Half of it for whole rows; a quarter for each of two readings: together what the table says, no more."""
    state = _state(listed())
    n = len(METRES)
    whole = n * math.exp(log_prior_of("wrong_turn", state))
    single = 2 * n * math.exp(log_prior_of("wrong_turn", state, single=True))
    assert whole + single == pytest.approx(PRIOR["wrong_turn"])


def test_prior_of_distances_is_spent_once() -> None:
    """Over all rows the candidates of swapped digits share what that slip has: a distance has no single readings."""
    state = _state(listed())
    total = sum(
        math.exp(e.log_prior)
        for row in range(len(METRES))
        for e in _of_kind(other_distances(state, row), "digits_swapped_distance")
    )
    rows_with_two_digits = sum(
        bool(_of_kind(other_distances(state, row), "digits_swapped_distance")) for row in range(len(METRES))
    )
    assert total == pytest.approx(PRIOR["digits_swapped_distance"] * rows_with_two_digits / len(METRES))


def test_other_distances_move_one_row() -> None:
    """Each puts that row, and no other, at another distance; readings and rows given up stay as they are."""
    rows = _feet()
    row = row_of(rows, "4'")
    for explanation in other_distances(_state(rows), row):
        changed = np.flatnonzero(explanation.state.rows.values != rows.values)
        assert changed.tolist() == [row]
        assert explanation.suspect.distance_m == explanation.state.rows.values[row]
        np.testing.assert_array_equal(explanation.state.rows.up, rows.up)
        assert explanation.state.there.all()
    assert {e.suspect.kind for e in other_distances(_state(rows), row)} == {"feet_for_metres", "inches_dropped"}


def test_positions_may_be_wrong_in_one_reading_or_in_both() -> None:
    """A row read both ways has explanations for either reading and for both by the same slip."""
    found = [e for e in of_row(_state(listed()), 4) if e.suspect.kind == "wrong_turn"]
    assert {e.suspect.way for e in found} == {-1, 0, 1}
    for explanation in found:
        down, up = explanation.state.rows.down, explanation.state.rows.up
        moved = [not math.isclose(a[4], b[4]) for a, b in ((down, listed().down), (up, listed().up))]
        assert moved == {-1: [True, False], 1: [False, True], 0: [True, True]}[explanation.suspect.way]


def test_read_one_way_a_slip_is_the_rows() -> None:
    """With one reading a row there is no slip in one of two."""
    found = of_row(_state(listed(ways=(-1,))), 4)
    assert {e.suspect.way for e in found} == {0}


def test_neighbours_are_the_rows_beside() -> None:
    """Two neighbours in the middle, one at an end; the row, or its one reading, is given up for them."""
    state = _state(listed())
    middle = [e for e in _of_kind(of_row(state, 5), "neighbour_position") if e.suspect.way == 0]
    end = [e for e in _of_kind(of_row(state, 0), "neighbour_position") if e.suspect.way == 0]
    assert (len(middle), len(end)) == (2, 1)
    assert all(not e.state.there[5] for e in middle)
    ways = [e for e in _of_kind(of_row(state, 5), "neighbour_position") if e.suspect.way == 1]
    assert all(np.isnan(e.state.rows.up[5]) and np.isfinite(e.state.rows.down[5]) for e in ways)


def test_a_copied_position_is_dense_where_it_is_the_neighbours() -> None:
    """The density of "copied" is far higher when the position is the neighbour's than when it lies between."""
    rows = listed(moved={(5, way): float(listed().down[6] - listed().down[5]) for way in (-1, 1)})
    copied = max(e.density for e in _of_kind(of_row(_state(rows), 5), "neighbour_position") if e.suspect.way == 0)
    plain = max(e.density for e in _of_kind(of_row(_state(listed()), 5), "neighbour_position") if e.suspect.way == 0)
    assert copied > plain + 20.0


def test_skipped_towards_infinity_and_towards_near() -> None:
    """Read from near with infinity on the list, the last row is left without a place; so it is read from far."""
    state = _state(listed())
    found = skipped(state)
    n = len(METRES)
    assert len(found) == 2 * (n - 3)
    first = next(e for e in found if e.suspect.row == 4 and len(e.suspect.rows) == n - 4)
    assert first.suspect.distance_m == METRES[5]
    assert first.suspect.rows == tuple(range(4, n))
    values = first.state.rows.values[first.state.there]
    assert values.tolist() == [*METRES[:4], *METRES[5:]]
    assert not first.state.there[n - 1]
    assert first.density == pytest.approx(-math.log(span_deg(state.rows)))
    back = next(e for e in found if e.suspect.row == n - 3 and e.suspect.rows[-1] == 0)
    assert back.suspect.distance_m == METRES[n - 4]


def test_skipped_without_infinity_ends_at_infinity() -> None:
    """A list that lost its last line, infinity, gives its last position to infinity: no row drops out."""
    found = skipped(_state(listed(METRES[:-1])))
    towards = next(e for e in found if e.suspect.row == 4 and e.suspect.rows[-1] == len(METRES) - 2)
    assert towards.state.there.all()
    assert towards.state.rows.values.tolist() == [*METRES[:4], *METRES[5:]]
    assert towards.density == 0.0


def test_a_stray_row_may_be_anywhere() -> None:
    """It is given up, its density that of any place on the scale, its prior a part of "worse"."""
    state = _state(listed())
    found = stray(state, 0)
    assert not found.state.there[0]
    assert found.density == pytest.approx(-math.log(span_deg(state.rows)))
    assert found.log_prior == pytest.approx(log_prior_of("worse_row", state, STRAY_SHARE))


def test_a_suspect_names_itself_when_nothing_follows() -> None:
    """``rows`` holds the row itself unless more are given."""
    assert Suspect(3, 0, "worse_row", 0.5).rows == (3,)
    assert Suspect(3, 0, "skipped_mark", 0.5, rows=(3, 4)).rows == (3, 4)
