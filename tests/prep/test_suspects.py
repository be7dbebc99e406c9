"""From readings of a job to suspect rows, and what is left for the map."""

import math
from collections.abc import Sequence

import pytest

from tapehook.job import Reading
from tapehook.prep import prepare
from tapehook.prep.as_json import maps_as_json, suspect_as_json
from tapehook.prep.focus import focus_readings
from tapehook.prep.suspects import SuspectRow, listed, split_suspects
from tests.cli.shapes import misfits, schema
from tests.prep.jobs import DISTANCES_M, a_job, a_lens, read_off, true_position, with_slip


def _numbered(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings with the number of their mark, nearest first, and the distance as somebody wrote it."""
    order = sorted({reading.value for reading in readings})
    return tuple(
        r.model_copy(
            update={
                "mark_no": order.index(r.value) + 1,
                "written": "inf" if math.isinf(r.value) else f"{r.value:g} m",
            }
        )
        for r in readings
    )


def _split(readings: Sequence[Reading]) -> tuple[tuple[SuspectRow, ...], tuple[Reading, ...]]:
    ((suspects, usable),) = split_suspects([listed(a_lens(), readings, "metric", degrees_per_unit=1.0, step=0.1)])
    return suspects, usable


CLEAN = _numbered(read_off())


def test_a_clean_list_is_handed_on_as_it_is() -> None:
    """Nobody suspected, every reading kept, in its order."""
    assert _split(CLEAN) == ((), CLEAN)


def test_no_readings_no_rows() -> None:
    """Nothing in, nothing out; and a lens without readings between two that have some takes nothing of theirs."""
    assert split_suspects([]) == []
    first, none, last = focus_readings([(a_lens(), part, "metric") for part in (CLEAN, (), CLEAN[:4])])
    assert (first.usable, none.usable, last.usable) == (CLEAN, (), CLEAN[:4])


def test_one_reading_is_left_out_and_its_pair_stays() -> None:
    """A reading far off is named with its number, its way, what it reads; only that one is kept from the map."""
    at = next(i for i, r in enumerate(CLEAN) if r.value == 1.3 and r.approach == "far_to_near")
    wrong = CLEAN[at].model_copy(update={"position": CLEAN[at].position + 17.0})
    readings = (*CLEAN[:at], wrong, *CLEAN[at + 1 :])
    (row,), usable = _split(readings)
    assert (row.mark_no, row.text, row.value) == (5, "1.3 m", 1.3)
    assert (row.approach, row.kind, row.following) == ("far_to_near", "worse_row", 0)
    assert row.read == wrong.position
    assert row.position == pytest.approx(float(true_position(1.3)) + 0.1, abs=0.5)
    assert usable == (*CLEAN[:at], *CLEAN[at + 1 :])


def test_a_row_is_left_out_with_both_its_readings() -> None:
    """Both ways off alike: the row as such is wrong, and what it reads is the mean of both."""
    (row,), usable = _split(with_slip(CLEAN, 1.3, 17.0))
    assert row.approach == "all"
    mine = [reading.position for reading in CLEAN if reading.value == 1.3]
    assert row.read == pytest.approx(sum(mine) / 2 + 17.0)
    assert usable == tuple(reading for reading in CLEAN if reading.value != 1.3)


def test_marks_without_a_number_are_counted_from_the_nearest() -> None:
    """And those without a text are written as the house writes them."""
    (row,), _ = _split(with_slip(read_off(), 1.3, 17.0))
    assert row.mark_no == sorted(DISTANCES_M).index(1.3) + 1
    assert row.text == "1.3 m"


def test_a_skipped_mark_takes_all_that_follow_along() -> None:
    """From the fourth row on positions of the next mark: none of those rows goes into the map."""
    right = {(r.mark_no, r.approach): r.position for r in CLEAN}
    readings = tuple(
        r if (r.mark_no or 0) < 4 else r.model_copy(update={"position": right[(r.mark_no or 0) + 1, r.approach]})
        for r in CLEAN
        if r.mark_no != len(DISTANCES_M)
    )
    (row,), usable = _split(readings)
    assert (row.mark_no, row.kind, row.approach, row.following) == (4, "skipped_mark", "all", 5)
    assert row.distance_m == DISTANCES_M[4]
    assert {reading.mark_no for reading in usable} == {1, 2, 3}


def test_a_number_written_twice_keeps_both_rows() -> None:
    """One mark listed as number 5 and again as 11, there 17 degrees off: the second is suspect, the first stays."""
    again = tuple(r.model_copy(update={"mark_no": 11}) for r in with_slip(CLEAN, 1.3, 17.0) if r.value == 1.3)
    (row,), usable = _split((*CLEAN, *again))
    assert row.mark_no == 11
    assert usable == CLEAN


def test_the_job_is_never_changed() -> None:
    """What is prepared still holds every reading as it was read."""
    readings = with_slip(CLEAN, 1.3, 17.0)
    job = a_job(readings=readings)
    prep = prepare(job)
    assert prep.lens("L1").suspects
    assert prep.job.readings == readings


def test_json_has_the_documented_shape() -> None:
    """A map with a suspect row, and one without, stand in the schema; the proposal is a position or a distance."""
    for readings, count in ((CLEAN, 0), (with_slip(CLEAN, 1.3, 17.0), 1)):
        maps = maps_as_json(prepare(a_job(readings=readings)))
        assert list(misfits(maps, schema("map"))) == []
        assert len(maps["lenses"]["L1"]["suspects"]) == count


@pytest.mark.parametrize(
    "distance_m, position, proposed",
    [
        (1.2, None, {"distance_m": 1.2}),
        (math.inf, None, {"distance_m": None}),
        (None, 45.5, {"position": 45.5}),
        (None, None, None),
    ],
)
def test_json_of_what_it_should_have_said(
    distance_m: float | None, position: float | None, proposed: dict[str, float | None] | None
) -> None:
    """Infinity is null as everywhere, and a row nobody can correct proposes nothing."""
    row = SuspectRow(4, "1 m", 1.0, "all", "worse_row", 0.8, 12.0, distance_m, position, 0)
    assert suspect_as_json(row)["proposed"] == proposed
