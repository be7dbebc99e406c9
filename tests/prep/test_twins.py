"""Twins in the main job: who is whose copy, who lends, what is found, and the borrowed map that comes with it."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest

from tapehook.finding import DEPTH_USED_UNIT, Finding
from tapehook.job import Job, Lens, Reading
from tapehook.lens.copies import USUAL_SPREAD
from tapehook.prep import LensPrep, prepare
from tapehook.prep.results import StopView, TwinsPrep
from tapehook.prep.room import safe_from
from tapehook.prep.twins import all_twins, proof_words, twin_groups
from tests.prep.jobs import BOTH, DISTANCES_M, TURN_DEG, a_job, a_lens, read_off, true_position

NEAR, FAR = DISTANCES_M[0], DISTANCES_M[-1]


def _copy(lens_id: str, distances_m: Sequence[float], **instead: float) -> tuple[Reading, ...]:
    """Readings of a copy whose ring turns 0.3 % more."""
    known = {"turn_deg": 1.003 * TURN_DEG, "seed": 5, **instead}
    return read_off(distances_m, lens_id=lens_id, **known)  # type: ignore[arg-type]  # figures by name


def _pair(distances_m: Sequence[float], more: Sequence[Reading] = (), **instead: object) -> Job:
    """L1 with a map of its own, and its twin L2 read at these distances."""
    lenses = [a_lens(), a_lens("L2", **{"twin_of": "L1", **instead})]
    return a_job(lenses, [*read_off(), *_copy("L2", distances_m), *more])


def _twin_findings(job: Job, lens_id: str = "L2") -> list[Finding]:
    return [one for one in prepare(job).lens(lens_id).findings if one.code.startswith("twin.")]


def _entries(lenses: Sequence[Lens]) -> tuple[LensPrep, ...]:
    return prepare(a_job(lenses, [])).lenses


# --- who is whose copy -------------------------------------------------------------------------------------------


def test_copies_are_those_named_as_twins_and_those_of_one_model() -> None:
    """Twins of twins belong together, and so do lenses of one model and focal length, however it is spelt."""
    lenses = [
        a_lens("A1"),
        a_lens("A2", twin_of="A1"),
        a_lens("A3", twin_of="A2"),
        a_lens("B1", model="Teasel 35", focal_mm=35.0),
        a_lens("B2", model="TEASEL 35", focal_mm=35.0),
        a_lens("C1", model="Teasel", focal_mm=25.0),
        a_lens("C2", model="Teasel", focal_mm=75.0),
        a_lens("D1"),
    ]
    groups = [[entry.lens.id for entry in group] for group in twin_groups(_entries(lenses))]
    assert groups == [["A1", "A2", "A3"], ["B1", "B2"]]


def test_a_twin_of_another_focal_length_is_no_copy() -> None:
    """A 75 mm listed as the twin of a 50 mm borrows nothing."""
    assert twin_groups(_entries([a_lens("A1"), a_lens("A2", twin_of="A1", focal_mm=75.0)])) == []
    assert _twin_findings(_pair([NEAR, FAR], focal_mm=75.0)) == []


# --- what is borrowed --------------------------------------------------------------------------------------------


def test_two_proof_marks_borrow_the_map() -> None:
    """A lens with two marks has its twin's map with share and stop, marked as borrowed, and no map of its own."""
    prep = prepare(_pair([NEAR, FAR]))
    entry = prep.lens("L2")
    assert entry.focus_map is None
    assert entry.borrowed is not None
    assert (entry.borrowed.lender_id, entry.borrowed.proof_marks, entry.borrowed.own_map) == ("L1", 2, False)
    assert entry.borrowed.borrowed_map is not None
    (finding,) = [one for one in entry.findings if one.code == "twin.borrowed"]
    assert finding.severity == "watch"
    assert finding.figure is not None
    assert (finding.figure.unit, finding.figure.stop) == (DEPTH_USED_UNIT, "T2")
    assert entry.borrowed.used_p95 is not None
    assert finding.figure.value == pytest.approx(100.0 * entry.borrowed.used_p95)
    assert finding in prep.findings
    assert any(sentence.startswith("Copies of one model are taken to differ") for sentence in prep.assumptions)
    assert prep.lens("L1").borrowed is None


def test_the_borrowed_map_is_right() -> None:
    """Between the two marks it follows the copy's own ring, which turns 0.3 % more, within its +-."""
    borrowed = prepare(_pair([NEAR, FAR])).lens("L2").borrowed
    assert borrowed is not None
    assert borrowed.borrowed_map is not None
    distances, positions, half = borrowed.borrowed_map.grid(31)
    assert np.all(np.abs(positions - true_position(distances, 1.003 * TURN_DEG)) < half)
    assert np.all(half < 1.2)


@pytest.mark.parametrize(
    "distances_m, code, severity",
    [([], "twin.no_marks", "info"), ([FAR], "twin.one_mark", "watch"), ([NEAR], "twin.one_mark", "watch")],
)
def test_never_from_one_mark(distances_m: list[float], code: str, severity: str) -> None:
    """With fewer than two marks nothing is lent, and what to add is said."""
    entry = prepare(_pair(distances_m)).lens("L2")
    assert entry.borrowed is not None
    assert (entry.borrowed.borrowed_map, entry.borrowed.used_p95, entry.borrowed.safe_from) == (None, None, None)
    (finding,) = [one for one in entry.findings if one.code.startswith("twin.")]
    assert (finding.code, finding.severity) == (code, severity)
    assert entry.borrowed.wanted is not None
    assert entry.borrowed.wanted.used is not None
    assert finding.next_step.startswith(f"Read {proof_words(entry.borrowed.wanted, entry.system)}, twice each")
    assert f"about {100 * entry.borrowed.wanted.used:.0f} % of the depth at T2" in finding.next_step


def test_a_few_marks_of_its_own_may_borrow_too() -> None:
    """Five marks make a map and still borrow; six do not need to, and are compared."""
    few = prepare(_pair(DISTANCES_M[::2])).lens("L2")
    assert few.focus_map is not None
    assert few.borrowed is not None
    assert few.borrowed.used_p95 is not None
    assert [one.code for one in few.findings if one.code.startswith("twin.")] == ["twin.borrowed"]
    enough = prepare(_pair(DISTANCES_M[:5] + DISTANCES_M[-1:])).lens("L2")
    assert enough.borrowed is None
    assert [one.code for one in enough.findings if one.code.startswith("twin.")] == ["twin.differs"]


def test_proof_marks_that_contradict_the_twin_must_be_read_again() -> None:
    """A near mark 10 degrees off is no copy's: nothing is lent, and it must be fixed."""
    near = [reading.model_copy(update={"position": reading.position + 10.0}) for reading in _copy("L2", [NEAR])]
    (finding,) = _twin_findings(_pair([FAR], near))
    assert (finding.code, finding.severity) == ("twin.contradiction", "fix")


def test_marks_close_together_are_said_to_be() -> None:
    """Two marks at the near end leave the far end to chance: the share says so, and the next step."""
    (close,) = _twin_findings(_pair(DISTANCES_M[:2]))
    (spread,) = _twin_findings(_pair([NEAR, FAR]))
    assert close.figure is not None
    assert spread.figure is not None
    assert close.figure.value > 2.0 * spread.figure.value
    assert "as good as one" in close.next_step
    assert "as good as one" not in spread.next_step


def test_another_unit_needs_its_units_per_turn() -> None:
    """Counts cannot be compared with degrees until somebody says how many make a turn."""
    counts = read_off([NEAR, FAR], lens_id="L2", units_per_deg=100.0)
    lenses = [a_lens(), a_lens("L2", twin_of="L1", unit="count", units_per_turn=None, reading_step=1.0)]
    (finding,) = _twin_findings(a_job(lenses, [*read_off(), *counts]))
    assert finding.code == "twin.unit"
    lenses[1] = a_lens("L2", twin_of="L1", unit="count", units_per_turn=36000.0, reading_step=1.0)
    borrowed = prepare(a_job(lenses, [*read_off(), *counts])).lens("L2").borrowed
    assert borrowed is not None
    assert borrowed.borrowed_map is not None
    assert borrowed.borrowed_map.position(1.3)[0][0] == pytest.approx(100.0 * float(true_position(1.3)), rel=0.01)


def test_without_a_stop_the_share_is_not_known() -> None:
    """A lens without T-stop, in a job without one, still borrows, but nobody can say how good it is."""
    job = _pair([NEAR, FAR], t_stop=None).model_copy(update={"shooting_stop": None})
    entry = prepare(job).lens("L2")
    assert entry.borrowed is not None
    assert entry.borrowed.borrowed_map is not None
    assert entry.borrowed.used_p95 is None
    (finding,) = [one for one in entry.findings if one.code == "twin.borrowed"]
    assert finding.figure is None


def test_the_lender_is_the_twin_that_is_named() -> None:
    """Of two lenders the one named as twin lends; a copy nobody names takes the lender named by others."""
    lenses = [
        a_lens("L1", model="M"),
        a_lens("L2", model="M"),
        a_lens("L3", twin_of="L2", model="M"),
        a_lens("L4", model="M"),
    ]
    readings = [*read_off(), *_copy("L2", DISTANCES_M[1:]), *_copy("L3", [NEAR, FAR]), *_copy("L4", [NEAR, FAR])]
    twins = prepare(a_job(lenses, readings)).twins
    assert {found.lens_id: found.lender_id for found in twins.borrowed} == {"L3": "L2", "L4": "L2"}
    assert [(found.lens_id, found.lender_id) for found in twins.copies] == [("L1", "L2")]


def test_a_twin_without_a_map_lends_nothing() -> None:
    """Neither copy has enough marks: there is nothing to say."""
    job = a_job([a_lens(), a_lens("L2", twin_of="L1")], [*read_off([NEAR, FAR]), *_copy("L2", [NEAR, FAR])])
    assert prepare(job).twins == TwinsPrep()
    assert _twin_findings(job) == []


# --- how copies compare ------------------------------------------------------------------------------------------


def test_copies_with_maps_are_compared() -> None:
    """A ring that turns 0.3 % more: 0.75 degrees, of which the best index takes half away; within the stated +-."""
    prep = prepare(_pair(DISTANCES_M))
    (found,) = prep.twins.copies
    assert found.offset == pytest.approx(0.375, abs=0.2)
    share, half, _ = found.after_offset
    width = 0.375 / share  # what half the depth would have to be, were the map perfect
    assert half * width < 0.5
    (finding,) = [one for one in prep.lens("L2").findings if one.code.startswith("twin.")]
    assert finding.code == "twin.differs"
    assert "T2" in finding.message
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(100.0 * share)
    assert [one.code for one in prep.lens("L1").findings if one.code.startswith("twin.")] == []


def test_what_is_no_copy_is_said_to_be_none() -> None:
    """A ring of half the travel is another model, and teaches nothing about copies."""
    lenses = [a_lens(), a_lens("L2", twin_of="L1")]
    prep = prepare(a_job(lenses, [*read_off(), *read_off(lens_id="L2", turn_deg=TURN_DEG / 2)]))
    assert [one.code for one in prep.lens("L2").findings if one.code.startswith("twin.")] == ["twin.unlike"]
    assert prep.twins.copies[0].unlike
    assert prep.twins.spread == USUAL_SPREAD


def test_five_copies_teach_how_copies_differ() -> None:
    """With five copies mapped the spread is learnt from them; with four it is assumed, and said to be."""
    for count, learnt in ((4, 0), (5, 5)):
        lenses = [a_lens(f"L{k}", model="M") for k in range(1, count + 1)]
        readings = [r for k in range(1, count + 1) for r in read_off(lens_id=f"L{k}", seed=k)]
        proof = [a_lens("P", model="M")]
        prep = prepare(a_job(lenses + proof, [*readings, *_copy("P", [NEAR, FAR])]))
        assert prep.twins.spread.copies == learnt
        assert any(("learnt from 5 copies" in sentence) == bool(learnt) for sentence in prep.lens("P").assumptions)


def test_what_mapped_copies_could_borrow_is_told_on_demand() -> None:
    """`all_twins` adds the copies with maps of their own, by all their marks; the main job leaves them out."""
    prep = prepare(_pair(DISTANCES_M))
    assert prep.twins.borrowed == ()
    (found,) = all_twins(prep).borrowed
    assert (found.lens_id, found.proof_marks, found.own_map) == ("L2", len(DISTANCES_M), True)
    assert found.used_p95 is not None


def test_readings_of_one_way_make_a_borrowed_map_less_sure() -> None:
    """Nobody can know the centre of the play, so the share grows."""
    lenses = [a_lens(), a_lens("L2", twin_of="L1")]
    used = []
    for ways in (BOTH, BOTH[:1]):
        entry = prepare(a_job(lenses, [*read_off(), *read_off([NEAR, FAR], lens_id="L2", ways=ways)])).lens("L2")
        assert entry.borrowed is not None
        assert entry.borrowed.used_p95 is not None
        used.append(entry.borrowed.used_p95)
    assert used[1] > 1.2 * used[0]


# --- from which stop on ------------------------------------------------------------------------------------------


def test_the_first_safe_stop() -> None:
    """A share at T1.3 falls as the stop closes; by hand: 0.52 x 1.3/2.8 = 0.241, 0.52 x 1.3/2 = 0.338."""
    wide = StopView("T1.3", 1.3, 1.2)
    assert safe_from(0.24, wide) == wide
    found = [safe_from(share, wide) for share in (0.26, 0.52, 0.9, 3.9)]
    assert [stop and stop.t_number for stop in found] == [1.4, 2.8, 5.6, 22.0]
    assert all(stop is not None and stop.f_number == pytest.approx(stop.t_number * 1.2 / 1.3) for stop in found)
    assert safe_from(4.3, wide) is None
    assert safe_from(float("inf"), wide) is None


def test_the_safe_stop_closes_as_the_share_grows() -> None:
    """Order is kept over the whole series."""
    wide = StopView("T1.5", 1.5, 1.4)
    stops = [safe_from(share, wide) for share in np.linspace(0.1, 3.6, 60)]
    numbers = [stop.t_number for stop in stops if stop is not None]
    assert len(numbers) == len(stops)
    assert all(a <= b for a, b in pairwise(numbers))
