"""Borrowing on the reference lenses: L022 to L025 are second copies of L001 to L004, and their true curves are known.

Each of the four is cut down to two proof marks, its nearest and infinity, and borrows its twin's map. Three of them
were read one way only, so that the centre of their play cannot be known: the predicted share allows for that.
"""

import numpy as np
import numpy.typing as npt
import pytest
from scipy.interpolate import CubicSpline

from tapehook.job import Job, read_job
from tapehook.lens.map import Z95
from tapehook.prep import Prep, prepare
from tests.truth import tables

Floats = npt.NDArray[np.float64]

COC_M = 0.025e-3
TWINS = {"L022": "L001", "L023": "L002", "L024": "L003", "L025": "L004"}


def _job(*proof: int) -> Job:
    """The reference job, of the twins only the marks at these places in the order of distance, nearest first."""
    job = read_job(tables.MAPS)
    kept = []
    for reading in job.readings:
        if reading.lens_id in TWINS:
            distances = sorted({r.value for r in job.readings if r.lens_id == reading.lens_id})
            if reading.value not in [distances[place] for place in proof]:
                continue
        kept.append(reading)
    return job.model_copy(update={"readings": tuple(kept)})


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    return prepare(_job(0, -1))


def _errors(prep: Prep, lens_id: str) -> tuple[Floats, Floats]:
    """True error of the borrowed map as a share of the depth at the widest stop, and as one of its +-: two (G,)."""
    entry = prep.lens(lens_id)
    assert entry.borrowed is not None
    assert entry.borrowed.borrowed_map is not None
    assert entry.lens.t_stop
    assert entry.lens.transmission
    assert entry.lens.focal_mm
    vergence, distance, position = np.array(tables.true_curve(lens_id)).T
    inside = distance >= entry.borrowed.borrowed_map.near_value
    slope = np.abs(CubicSpline(vergence, position).derivative()(vergence))
    room = slope * entry.lens.t_stop * np.sqrt(entry.lens.transmission) * COC_M / (entry.lens.focal_mm * 1e-3) ** 2
    found, half = entry.borrowed.borrowed_map.position_band(distance[inside])
    error = np.abs(found - position[inside])
    return error / room[inside], error / half


def test_all_four_borrow_from_their_twin(prep: Prep) -> None:
    """Two marks are enough, whatever the unit and direction of the read-out, and the lender is the right one."""
    assert {found.lens_id: found.lender_id for found in prep.twins.borrowed} == TWINS
    assert all(found.proof_marks == 2 and found.refusal is None for found in prep.twins.borrowed)


@pytest.mark.parametrize("lens_id", TWINS)
def test_the_predicted_share_covers_the_true_one(prep: Prep, lens_id: str) -> None:
    """The true 95th percentile over the range is within the share that is predicted for 95 in 100 lenses."""
    used, _ = _errors(prep, lens_id)
    borrowed = prep.lens(lens_id).borrowed
    assert borrowed is not None
    assert borrowed.used_p95 is not None
    assert np.percentile(used, 95) <= borrowed.used_p95


def test_the_plus_minus_covers_the_truth(prep: Prep) -> None:
    """Over all four the true curve lies inside the 95 % +- at 90 of 100 distances or more."""
    ratio = np.concatenate([_errors(prep, lens_id)[1] for lens_id in TWINS])
    assert np.mean(ratio <= 1.0) >= 0.9
    # It is no empty promise either: the +- is not many times the error.
    assert float(np.sqrt(np.mean((ratio * Z95) ** 2))) > 0.2


def test_wide_lenses_may_borrow_wide_open_and_long_ones_not(prep: Prep) -> None:
    """The safe stop closes down with the focal length: 25 mm, 40 and 65 mm, 100 mm."""
    stops = {found.lens_id: found.safe_from for found in prep.twins.borrowed}
    numbers = [stop.t_number if (stop := stops[lens_id]) else np.inf for lens_id in ("L023", "L022", "L024", "L025")]
    assert numbers[0] < min(numbers[1:3])
    assert max(numbers[1:3]) < numbers[3]


@pytest.mark.parametrize("proof", [(0,), (-1,)])
def test_one_mark_is_refused(proof: tuple[int, ...]) -> None:
    """Never from one mark, for none of the four."""
    found = prepare(_job(*proof)).twins.borrowed
    assert [one.refused for one in found] == ["one_mark"] * 4
    assert all(one.borrowed_map is None for one in found)
