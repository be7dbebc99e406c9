"""What a row may have been before a slip: each slip undone, nothing that nobody would have written."""

import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens.slips import FOOT_M, INCH_M, Candidate, SlipKind, distance_candidates, position_candidates


def _values(found: Sequence[Candidate], kind: SlipKind) -> list[float]:
    return [candidate.value for candidate in found if candidate.kind == kind]


def _feet(feet: int, inches: float = 0.0) -> float:
    return feet * FOOT_M + inches * INCH_M


# --- distances ---------------------------------------------------------------------------------------------------


def test_metres_may_have_been_feet_and_feet_metres() -> None:
    """The number stays, the unit goes: "1.75 m" may be 1.75 feet, "6'" may be 6 metres."""
    assert _values(distance_candidates("1.75 m", 1.75), "feet_for_metres") == pytest.approx([1.75 * 0.3048])
    assert _values(distance_candidates("6'", _feet(6)), "feet_for_metres") == pytest.approx([6.0])


@pytest.mark.parametrize("written", ["5'6\"", "5 ft 6 in", "5′6″"])
def test_feet_in_every_spelling_are_feet(written: str) -> None:
    """However feet are written, it is metres they may have been."""
    (value,) = _values(distance_candidates(written, _feet(5, 6)), "feet_for_metres")
    assert value == pytest.approx(5.5)


def test_neighbouring_digits_change_places() -> None:
    """81 feet may have been 18, with all of that slip's weight; 1.52 m may have been 5.12 or 1.25 m, half each."""
    swapped = [c for c in distance_candidates("81'", _feet(81)) if c.kind == "digits_swapped_distance"]
    assert [c.value for c in swapped] == pytest.approx([_feet(18)])
    assert [c.weight for c in swapped] == [1.0]
    swapped = [c for c in distance_candidates("1.52 m", 1.52) if c.kind == "digits_swapped_distance"]
    assert {c.value: c.weight for c in swapped} == {5.12: 0.5, 1.25: 0.5}


def test_equal_digits_and_what_nobody_writes_are_no_swap() -> None:
    """22 m has no other order of its digits; 5'10" would be 5'01" or 1'50", and there are no fifty inches."""
    assert not _values(distance_candidates("22 m", 22.0), "digits_swapped_distance")
    assert _values(distance_candidates("5'10\"", _feet(5, 10)), "digits_swapped_distance") == pytest.approx(
        [_feet(5, 1)]
    )


def test_inches_may_have_been_left_out() -> None:
    """Four feet may be four and one to eleven inches, six the likeliest; the weights of all eleven make one."""
    dropped = [c for c in distance_candidates("4'", _feet(4)) if c.kind == "inches_dropped"]
    assert [c.value for c in dropped] == pytest.approx([_feet(4, inches) for inches in range(1, 12)])
    assert sum(c.weight for c in dropped) == pytest.approx(1.0)
    assert max(dropped, key=lambda c: c.weight).value == pytest.approx(_feet(4, 6))
    assert not _values(distance_candidates("4'3\"", _feet(4, 3)), "inches_dropped")
    assert not _values(distance_candidates("4 m", 4.0), "inches_dropped")


def test_a_point_between_feet_and_inches() -> None:
    """6.6 feet may be 6'6", 5.11 feet 5'11"; not 5.0, and not 5.12, as there are no twelve inches."""
    assert _values(distance_candidates("6.6'", 6.6 * FOOT_M), "decimal_feet") == pytest.approx([_feet(6, 6)])
    assert _values(distance_candidates("5.11 ft", 5.11 * FOOT_M), "decimal_feet") == pytest.approx([_feet(5, 11)])
    for written, feet in (("5.0'", 5.0), ("5.12'", 5.12)):
        assert not _values(distance_candidates(written, feet * FOOT_M), "decimal_feet")


def test_infinity_has_no_slip() -> None:
    """Infinity is engraved as a sign: there is nothing in it to be mistaken for something else."""
    assert distance_candidates("inf", math.inf) == []


@given(st.decimals(min_value="0.1", max_value="99", places=2), st.sampled_from([" m", "'", ""]))
def test_candidates_are_other_distances(number: object, unit: str) -> None:
    """Whatever was written, each candidate is positive, finite and not what stands there, and has some weight."""
    distance_m = float(str(number)) * (FOOT_M if unit == "'" else 1.0)
    for candidate in distance_candidates(f"{number}{unit}", distance_m):
        assert 0.0 < candidate.value < math.inf
        assert not math.isclose(candidate.value, distance_m, rel_tol=1e-9)
        assert 0.0 < candidate.weight <= 1.0


# --- positions ---------------------------------------------------------------------------------------------------


def test_digits_of_a_position() -> None:
    """249.4 may be 429.4, 294.4, 244.9, or 2049.4 less its zero in front: what was planted is among them."""
    values = [c.value for c in position_candidates(249.4, 0.1, None).values() if c.kind == "digits_swapped_position"]
    assert sorted(values) == pytest.approx([244.9, 294.4, 429.4, 2049.4])


def test_a_leading_zero_is_not_shown() -> None:
    """15.4 may be 105.4: the zero before it changed places with the one."""
    values = [c.value for c in position_candidates(15.4, 0.1, None).values()]
    assert 105.4 in values


def test_a_turn_out_or_the_wrong_side_of_zero() -> None:
    """With a turn of 360: a turn more, a turn less, or the sign; without a known turn the sign alone."""
    turns = {k: c.value for k, c in position_candidates(-5.5, 0.1, 360.0).items() if c.kind == "wrong_turn"}
    assert turns == {"sign": 5.5, "turn more": 354.5, "turn less": -365.5}
    turns = {k: c.value for k, c in position_candidates(-5.5, 0.1, None).items() if c.kind == "wrong_turn"}
    assert turns == {"sign": 5.5}
    assert "sign" not in position_candidates(0.0, 0.1, 360.0)


@given(st.integers(-99999, 99999), st.sampled_from([1.0, 0.1]), st.sampled_from([None, 360.0, 65536.0]))
def test_positions_come_with_all_the_weight_of_their_slip(number: int, step: float, turn: float | None) -> None:
    """For each kind the weights make one, and no candidate is the position itself."""
    position = number * step
    found = position_candidates(position, step, turn)
    for kind in {candidate.kind for candidate in found.values()}:
        assert sum(c.weight for c in found.values() if c.kind == kind) == pytest.approx(1.0)
    assert all(not math.isclose(c.value, position, abs_tol=step / 4) for c in found.values())


@given(st.integers(100, 9999), st.integers(0, 2))
def test_swapping_back_is_among_the_candidates(number: int, at: int) -> None:
    """Whichever two neighbouring digits were changed over, what was there before is a candidate, under its place."""
    text = str(number)
    at = min(at, len(text) - 2)
    swapped = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
    if swapped == text or swapped.startswith("0"):
        return
    found = position_candidates(float(swapped), 1.0, None)
    assert found[f"digits {len(text) - at}"].value == float(text)
