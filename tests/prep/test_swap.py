"""A lens swapped in mid-job: exactly what it spoils, and the two marks that clear it."""

import math
from typing import Any

import numpy as np
import pytest

from tapehook.job import ChartTest, Job, Reading
from tapehook.notation import parse_distance
from tapehook.prep.swap import Swap, newcomer, swap_lens
from tests.prep.jobs import a_job, a_lens, read_off, ring_read, true_position

WIDE: dict[str, Any] = {"focal_mm": 25.0, "pupil_to_sensor_mm": 60.0, "model": "Reed 25"}
GOES = a_lens(**WIDE)
FAR_NEAR = (4.0, 0.7)
"""The two marks asked for, as they come out; where they lie is judged in tests/lens/test_proof_marks."""


def _job() -> Job:
    """L1 with everything made for it, L2 that borrows from it, L3 of another model."""
    lenses = [GOES, a_lens("L2", serial="4712", **WIDE), a_lens("L3", serial="4713")]
    readings = [
        *read_off(noise_deg=0.03),
        *read_off((0.6, math.inf), lens_id="L2", noise_deg=0.03),
        *read_off(lens_id="L3"),
        *ring_read("iris", [2.0, 2.8, 4.0, 5.6, 8.0, 11.0], [0.0, 10.0, 20.0, 30.0, 40.0, 50.0]),
    ]
    charts = [ChartTest(lens_id="L1", chart_distance_m=2.5, position=40.0, t_stop=2.0)]
    return a_job(lenses, readings, charts=charts)


def _marks(*distances_m: float, index_deg: float = 7.3, scale: float = 1.002, slip_deg: float = 0.0) -> list[Reading]:
    """Readings of the copy that comes: its index elsewhere, its scale a little larger, the last one off by a slip."""
    found = []
    for k, distance in enumerate(distances_m):
        position = index_deg + scale * float(true_position(distance)) + (slip_deg if k == len(distances_m) - 1 else 0.0)
        found.append(Reading(lens_id="L9", value=distance, position=round(position, 1)))
    return found


def _swap(marks: list[Reading] | None = None) -> Swap:
    return swap_lens(_job(), "L1", newcomer(GOES, "L9"), marks or [], pulls=["porch"], signed=["motors calibrated"])


def test_it_lists_exactly_what_it_spoils() -> None:
    """Strip, pull, the map L2 borrows, the iris ring, the charts and the signature of L1; nothing of L3."""
    spoilt = {(one.kind, one.name) for one in _swap().spoilt}
    assert spoilt == {
        ("strip", "focus strip of L1"),
        ("pull", "porch"),
        ("borrowed_map", "L2"),
        ("ring_map", "iris ring of L1"),
        ("charts", "chart tests of L1"),
        ("sign_off", "motors calibrated"),
    }


def test_the_two_marks_are_those_that_leave_least() -> None:
    """A far and a near one of L1's marks; with how far a copy should show them apart, from the ring's own truth."""
    swap = _swap()
    far_m, near_m = FAR_NEAR
    assert [one.distance_m for one in swap.marks] == [far_m, near_m]
    assert swap.apart is not None
    apart = float(true_position(near_m) - true_position(far_m))
    assert swap.apart[0] == pytest.approx(apart, abs=0.3)
    assert 1.96 * 0.004 * apart < swap.apart[1] < 1.96 * 0.004 * apart + 1.0
    assert not swap.settled
    (finding,) = swap.findings
    assert f"Read two marks on it, {far_m:g} m and {near_m:g} m, twice each" in finding.next_step


def test_two_marks_clear_what_marks_can_clear() -> None:
    """After them strip, pull and borrowed map are cleared; charts, other rings and signatures are not."""
    swap = _swap(_marks(math.inf, 0.6))
    assert swap.settled
    assert {one.kind for one in swap.spoilt if one.cleared} == {"strip", "pull", "borrowed_map"}
    assert {one.settled_by for one in swap.spoilt if not one.cleared} == {"ring", "charts", "signature"}
    assert "swap.settled" in {one.code for one in swap.findings}


def test_what_it_then_uses_is_true() -> None:
    """The map borrowed stays within the share that is said, against the copy's own ring and the depth by hand.

    Half the depth is N c/(f^2 (1 + m/P)) at the pupil, no less than taken here, and the ring turns by its slope there.
    """
    swap = _swap(_marks(math.inf, 0.6))
    assert swap.borrowed is not None
    assert swap.borrowed.borrowed_map is not None
    distance = np.array([0.6, 0.8, 1.2, 2.0, 4.0, 10.0, math.inf])
    off = swap.borrowed.borrowed_map.position(distance)[0] - (7.3 + 1.002 * true_position(distance))
    assert float(np.abs(off).max()) < 0.5
    assert swap.used is not None
    assert swap.stop is not None
    q, step = 1.0 / (distance - 0.060), 1e-4
    slope = (true_position(0.060 + 1.0 / (q + step)) - true_position(distance)) / step
    width = swap.stop.f_number * 25e-6 / 0.025**2 / (1.0 + 0.025 * q)  # m/P is less than f q
    assert float(np.max(np.abs(off) / (slope * width))) < swap.used


def test_a_map_that_is_good_enough_alone_does_not_settle_a_lens_with_play() -> None:
    """On a model with so much play that map and play are over the depth, two marks do not settle it.

    Half the play over the room of half the depth adds in full to the map, which alone is well under.
    """
    job = _job()
    loose = read_off(noise_deg=0.03, play_deg=18.0)
    others = [one for one in job.readings if one.lens_id != "L1" or one.axis != "focus"]
    job = job.model_copy(update={"readings": (*loose, *others), "shooting_stop": "T2"})
    swap = swap_lens(job, "L1", newcomer(GOES, "L9"), _marks(math.inf, 0.6))
    assert swap.used is not None
    assert swap.own is not None
    assert swap.used < 0.8
    budget = swap.goes.budgets[-1].budget
    (play,) = (float(np.max(one.shift_dpt / budget.half_width_dpt)) for one in budget.terms if one.name == "backlash")
    assert play + swap.used <= swap.own < play + swap.used + 0.05
    assert not swap.settled
    assert not any(one.cleared for one in swap.spoilt)
    assert "swap.not_settled" in {one.code for one in swap.findings}


def test_one_mark_settles_nothing() -> None:
    """A map is never lent on one mark."""
    assert not _swap(_marks(math.inf)).settled


def test_a_slip_among_the_marks_is_refused() -> None:
    """Twenty degrees where a copy differs by a degree: fix, and read both again."""
    swap = _swap(_marks(math.inf, 0.6, slip_deg=-20.0))
    assert not swap.settled
    assert {one.code for one in swap.findings} == {"swap.spoils", "swap.refused"}


def test_a_lens_with_its_own_map_needs_no_marks() -> None:
    """Swapped for one that was mapped in prep: its own map is used, and strip and pull are made anew on it."""
    job = _job()
    job = job.model_copy(update={"readings": (*job.readings, *read_off(lens_id="L2", noise_deg=0.03, seed=3))})
    swap = swap_lens(job, "L1", job.lenses[1], pulls=["porch"])
    assert swap.settled
    assert "swap.own_map" in {one.code for one in swap.findings}


def test_a_lens_without_a_map_has_nothing_to_lend() -> None:
    """Nothing to mark, and the next step says to map the new one."""
    job = a_job([a_lens()], [])
    swap = swap_lens(job, "L1", newcomer(job.lenses[0], "L9"), pulls=["porch"])
    assert swap.marks == ()
    assert [one.next_step for one in swap.findings] == ["Map it like a new lens: nothing is lent."]


def test_an_unknown_lens_is_refused() -> None:
    """A job without the lens that goes has nothing to swap."""
    with pytest.raises(KeyError):
        swap_lens(_job(), "L7", newcomer(GOES, "L9"))


def test_what_belongs_to_the_one_that_goes_stays_with_it() -> None:
    """Another copy has its own quirks, condition and photos; what the model has in common it keeps."""
    goes = a_lens(quirks="breathes", condition_on_receipt="scratched", photos_on_return="a.jpg", extender=1.4, **WIDE)
    comes = newcomer(goes, "L9")
    assert (comes.quirks, comes.condition_on_receipt, comes.photos_on_return) == (None, None, None)
    assert (comes.extender, comes.focal_mm) == (1.4, 25.0)


def _long(*further_m: float) -> Swap:
    """A 60 mm shot at T2 is swapped: two marks of the copy that comes, and further ones."""
    goes = a_lens(focal_mm=60.0, t_stop=1.5, pupil_to_sensor_mm=80.0, model="Reed 60")
    job = a_job([goes], read_off(noise_deg=0.03), shooting_stop="T2")
    return swap_lens(job, "L1", newcomer(goes, "L9"), _marks(math.inf, 0.6, *further_m))


def test_what_uses_over_a_quarter_says_from_where_and_what_to_read_next() -> None:
    """A settled swap over a quarter names the stop from which it is less, two marks to read and what they leave, which
    is less than two at the ends would; one under a quarter names none."""
    swap = _long()
    assert swap.used is not None
    assert 0.25 <= swap.used < 1.0
    assert swap.next_marks is not None
    (finding,) = [one for one in swap.findings if one.code == "swap.settled"]
    assert finding.severity == "watch"
    assert "under a quarter from T" in finding.message
    assert f"Read {' and '.join(swap.next_marks.texts)} next" in finding.next_step
    at_the_ends = _long(10.0, 0.65).used
    assert at_the_ends is not None
    assert swap.next_marks.used_after < min(swap.used, at_the_ends)
    assert _swap(_marks(math.inf, 0.6)).next_marks is None


def test_what_further_marks_leave_comes_true() -> None:
    """Read where it says, they leave what it said, within a tenth of it: what a mark shows hardly matters to that."""
    said = _long().next_marks
    assert said is not None
    after = _long(*(parse_distance(text) for text in said.texts)).used
    assert after == pytest.approx(said.used_after, rel=0.1)
