"""Which rows cannot be right: each slip in its row, two of them, few marks, and scales with nothing wrong."""

import math
from collections.abc import Sequence
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.lens.explanations import Suspect
from tapehook.lens.rows import Rows
from tapehook.lens.slips import SlipKind
from tapehook.lens.suspects import ACCUSED_FROM, FEWEST_ROWS, MOST_ROWS, MOST_SUSPECTS, find_suspects, find_suspects_of
from tests.lens.listed import BOTH, FEET, FOOT_M, METRES, listed, row_of, text, turn

FEET_M = tuple(feet * FOOT_M for feet in FEET)


def _off(row: int, by_deg: float, ways: Sequence[int] = BOTH) -> dict[tuple[int, int], float]:
    return {(row, way): by_deg for way in ways}


def _skipped(start: int) -> Rows:
    """From this row on, nearest first, every row holds the position of the next; the list has no infinity."""
    written = METRES[:-1]
    held = [*METRES[:start], *METRES[start + 1 :]]
    return listed(held, instead={i: (text(d), d) for i, d in enumerate(written)})


def _only(rows: Rows) -> Suspect:
    (suspect,) = find_suspects(rows)
    return suspect


COPIED = float(turn(METRES[6]) - turn(METRES[5]))
PLANTED: dict[SlipKind, tuple[Rows, str, int, float]] = {
    "feet_for_metres": (listed(instead={6: ("1.2'", 1.2 * FOOT_M)}), "1.2'", 0, 1.2),
    "digits_swapped_distance": (listed(instead={7: ("5.1 m", 5.1)}), "5.1 m", 0, 1.5),
    "digits_swapped_position": (listed(moved=_off(4, -45.0, (1,))), "0.9 m", 1, float(turn(0.9)) + 0.15),
    "inches_dropped": (listed(FEET_M, feet=True, instead={8: ("5'", 5 * FOOT_M)}), "5'", 0, 5.5 * FOOT_M),
    "decimal_feet": (listed(FEET_M, feet=True, instead={8: ("5.6'", 5.6 * FOOT_M)}), "5.6'", 0, 5.5 * FOOT_M),
    "neighbour_position": (listed(moved=_off(5, COPIED)), "1 m", 0, float(turn(1.0))),
    "skipped_mark": (_skipped(5), "1 m", 0, 1.2),
    "wrong_turn": (listed(moved=_off(3, 360.0, (1,))), "0.8 m", 1, float(turn(0.8)) + 0.15),
    "worse_row": (listed(moved=_off(9, 12.3)), "2.2 m", 0, float(turn(2.2))),
}
"""Each kind of slip: rows that hold it, the text of the bad row, which reading, and what would have been right."""


# --- one slip ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", PLANTED)
def test_each_slip_is_named(kind: SlipKind) -> None:
    """The right row, the right reading, the right kind, and the value it should have had; and no other row."""
    rows, written, way, right = PLANTED[kind]
    suspect = _only(rows)
    assert (suspect.row, suspect.way, suspect.kind) == (row_of(rows, written), way, kind)
    if suspect.distance_m is not None:
        assert suspect.distance_m == pytest.approx(right, rel=1e-6)
        assert suspect.position is None
    else:
        assert suspect.position == pytest.approx(right, abs=0.4)
    assert suspect.confidence <= 1.0


def test_digits_of_one_reading_changed_over() -> None:
    """172.8 written as 127.8 in one of two readings: that reading, those digits, and 172.8."""
    plain = listed(noise_deg=0.0)
    row = row_of(plain, "0.9 m")
    right = float(plain.up[row])
    swapped = f"{right:.1f}"[0] + f"{right:.1f}"[2] + f"{right:.1f}"[1] + f"{right:.1f}"[3:]
    suspect = _only(listed(noise_deg=0.0, moved=_off(row, float(swapped) - right, (1,))))
    assert (suspect.row, suspect.way, suspect.kind) == (row, 1, "digits_swapped_position")
    assert suspect.position == pytest.approx(right, abs=1e-6)


def test_a_position_that_two_slips_explain_is_right_by_either() -> None:
    """156.2 + 360 = 516.2 is a turn out and two digits changed over alike: half sure of the slip, sure of the value."""
    suspect = _only(listed(moved=_off(5, 360.0, (1,))))
    assert suspect.kind in {"digits_swapped_position", "wrong_turn"}
    assert suspect.position == pytest.approx(156.2)
    assert suspect.confidence < 0.6


def test_a_skipped_mark_names_all_that_follow() -> None:
    """From 1 m on, which holds the position of 1.2 m, every row to the end of the list is wrong with it."""
    suspect = _only(_skipped(5))
    assert suspect.rows == tuple(range(5, 13))
    assert suspect.confidence > 0.99


@pytest.mark.parametrize("turn_deg", [240.0, -240.0])
@pytest.mark.parametrize("units_per_deg, step", [(1.0, 0.1), (65536.0 / 360.0, 1.0), (100.0 / 300.0, 0.1)])
def test_unit_and_direction_do_not_matter(turn_deg: float, units_per_deg: float, step: float) -> None:
    """Degrees, counts or per cent, positions rising toward near or toward far: the same row is worse."""
    options = {"turn_deg": turn_deg, "units_per_deg": units_per_deg, "step": step}
    suspect = _only(listed(moved=_off(9, 17.3), **options))  # type: ignore[arg-type]  # by name
    assert (suspect.row, suspect.way) == (9, 0)
    assert find_suspects(listed(**options)) == ()  # type: ignore[arg-type]  # by name


@settings(max_examples=25)
@given(st.integers(1, 12), st.sampled_from([-1.0, 1.0]), st.floats(9.0, 30.0), st.integers(0, 99))
def test_any_row_far_off_is_found(row: int, sign: float, by_deg: float, seed: int) -> None:
    """Nine degrees and more, in any row but the two ends, whatever the noise: that row is accused, and no other."""
    rows = listed(moved=_off(row, sign * by_deg), seed=seed)
    assert [suspect.row for suspect in find_suspects(rows)] == [row]


# --- two slips ---------------------------------------------------------------------------------------------------


def test_two_slips_are_found_one_after_the_other() -> None:
    """A turn out in one row and a row that is worse: both named, the plainer one first."""
    found = find_suspects(listed(moved=_off(3, 360.0, (1,)) | _off(9, 12.0)))
    assert [(s.row, s.way, s.kind) for s in found] == [(3, 1, "wrong_turn"), (9, 0, "worse_row")]


def test_two_slips_in_different_columns() -> None:
    """A distance with its digits changed over, and one reading of another row off."""
    rows = listed(instead={7: ("5.1 m", 5.1)}, moved=_off(10, -25.0, (1,)))
    found = {s.row: s for s in find_suspects(rows)}
    assert set(found) == {row_of(rows, "5.1 m"), row_of(rows, "3 m")}
    assert found[row_of(rows, "5.1 m")].distance_m == 1.5
    assert found[row_of(rows, "3 m")].way == 1


def test_never_more_than_four() -> None:
    """A list where every other row is wrong is not corrected row by row: at most four are named."""
    wild = {(row, way): 35.0 * (-1) ** row for row in range(0, 14, 2) for way in BOTH}
    assert len(find_suspects(listed(moved=wild))) <= MOST_SUSPECTS


# --- nothing wrong -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("distances_m", [METRES, METRES[:-1], FEET_M], ids=["metres", "no infinity", "feet"])
@pytest.mark.parametrize("taped", [True, False], ids=["taped", "engraved"])
@pytest.mark.parametrize("ways", [BOTH, (-1,), (1,), (0,)], ids=["both ways", "from far", "from near", "way unknown"])
def test_a_clean_scale_accuses_nobody(ways: Sequence[int], taped: bool, distances_m: Sequence[float]) -> None:
    """Fifty scales of each make, read with 0.05 to 0.25 deg of noise: at most one is accused, for chance is never nil.

    Which fifty is fixed: over thousands of scales one in some 1,400 is accused (goal: one in 200), so a search for
    one that is accused would find it one day.
    """
    assert sum(bool(find_suspects(_clean(seed, ways, taped, distances_m))) for seed in range(50)) <= 1


def _clean(seed: int, ways: Sequence[int], taped: bool, distances_m: Sequence[float]) -> Rows:
    rng = np.random.default_rng(seed)
    true = [d + rng.normal(0.0, math.hypot(3e-3, 3e-3 * d)) if taped and math.isfinite(d) else d for d in distances_m]
    return listed(
        true,
        instead={i: (text(d, feet=distances_m is FEET_M), d) for i, d in enumerate(distances_m)},
        ways=ways,
        taped=taped,
        noise_deg=0.05 + 0.05 * (seed % 5),
        seed=seed,
    )


def test_many_lenses_at_once_are_each_as_alone() -> None:
    """Slips, clean scales, few rows and other read-outs in one pass: every lens gets the answer it gets alone."""
    many = [rows for rows, *_ in PLANTED.values()]
    many += [_clean(seed, BOTH, True, METRES) for seed in range(5)]
    many += [listed(METRES[:4]), listed(units_per_deg=65536.0 / 360.0, step=1.0, moved=_off(9, 17.3))]
    alone = [find_suspects(rows) for rows in many]
    together = find_suspects_of(many)
    for one, same in zip(alone, together, strict=True):
        assert [(s.row, s.way, s.kind, s.rows, s.distance_m) for s in one] == [
            (s.row, s.way, s.kind, s.rows, s.distance_m) for s in same
        ]
        assert [s.confidence for s in one] == pytest.approx([s.confidence for s in same], rel=1e-9)
    assert find_suspects_of([]) == []


def test_backlash_is_no_slip() -> None:
    """Two degrees of play in every pair is how this lens is, and no row's fault."""
    assert find_suspects(listed(play_deg=2.0)) == ()


def test_tape_excuses_what_an_engraving_cannot() -> None:
    """A degree and a half at 0.65 m: an engraved mark is accused, a taped one may be its tape."""
    moved = _off(1, 1.5)
    assert [s.row for s in find_suspects(listed(moved=moved))] == [1]
    assert find_suspects(listed(moved=moved, taped=True)) == ()


# --- few marks, and what is no scale -----------------------------------------------------------------------------


@pytest.mark.parametrize("count", range(1, FEWEST_ROWS))
def test_with_few_rows_nothing_is_said(count: int) -> None:
    """One mark, two, up to five: the curve bends to any slip, and nobody can tell."""
    assert find_suspects(listed(METRES[:count], moved=_off(count // 2, 40.0))) == ()


def test_from_six_rows_on_a_gross_slip_is_seen() -> None:
    """Six marks and one forty degrees off."""
    assert [s.row for s in find_suspects(listed(METRES[:FEWEST_ROWS], moved=_off(3, 40.0)))] == [3]


def test_one_way_and_no_infinity() -> None:
    """Neither is needed: read one way the row is accused as a whole, and so without infinity."""
    for rows in (listed(ways=(-1,), moved=_off(5, 12.0)), listed(METRES[:-1], moved=_off(5, 12.0))):
        suspect = _only(rows)
        assert (suspect.row, suspect.way) == (5, 0)
        assert suspect.position == pytest.approx(float(turn(1.0)), abs=0.5)


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(listed(np.linspace(0.6, 9.0, MOST_ROWS + 1).tolist(), moved=_off(5, 99.0)), id="too many"),
        pytest.param(listed(moved=_off(5, 1e9)), id="farther than a ring turns"),
        pytest.param(listed(moved=_off(5, 1e300)), id="beyond numbers"),
        pytest.param(listed(turn_deg=0.0, noise_deg=0.0, play_deg=0.0), id="never turned"),
    ],
)
def test_what_is_no_scale_is_left_alone(rows: Rows) -> None:
    """Nothing is weighed, nothing breaks, nobody is accused."""
    assert find_suspects(rows) == ()


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(st.sampled_from([0.01, 0.3, 1.0, 1.0, 3.0, 50.0, 1e6, math.inf]), st.floats(-1e6, 1e6)),
        min_size=6,
        max_size=9,
        unique_by=lambda pair: pair[0],
    )
)
def test_nonsense_never_breaks_it(pairs: list[tuple[float, float]]) -> None:
    """Any distances with any positions give suspects with finite proposals, or none."""
    moved = {(i, 1): position - float(turn(distance)) for i, (distance, position) in enumerate(pairs)}
    for suspect in find_suspects(listed([distance for distance, _ in pairs], ways=(1,), moved=moved)):
        assert 0.0 < suspect.confidence <= 1.0
        assert suspect.position is None or math.isfinite(suspect.position)


# --- promises ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", PLANTED)
def test_no_reading_is_ever_changed(kind: SlipKind) -> None:
    """Rows come out of the search as they went in, to the last bit, and cannot be written to by name."""
    rows = PLANTED[kind][0]
    before = {field.name: np.copy(getattr(rows, field.name)) for field in fields(rows)}
    first = find_suspects(rows)
    for name, was in before.items():
        np.testing.assert_array_equal(getattr(rows, name), was)
    assert find_suspects(rows) == first


def test_confidence_is_that_of_the_slip_not_of_the_accusation() -> None:
    """A row may be accused for certain while its slip is not: what is printed is the part of that slip alone."""
    found = find_suspects(listed(moved=_off(5, 360.0, (1,))))
    assert found[0].confidence < ACCUSED_FROM


def test_the_nearest_row_can_be_told() -> None:
    """The row everything is measured from: 0.6 m written as feet at the near end is seen like any other.

    So it is only because every explanation is measured by one measure: places are counted from the nearest mark, and
    a mark written far too near crowds all others together at the far end.
    """
    suspect = _only(listed(instead={0: ("0.6'", 0.6 * FOOT_M)}))
    assert (suspect.row, suspect.kind) == (0, "feet_for_metres")
    assert suspect.distance_m == pytest.approx(0.6)
