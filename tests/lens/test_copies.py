"""How copies differ: against differences made by hand, their stated +-, and the spread learnt from a fleet."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from tapehook.lens import LensMap, StopScale, fit_map, gather_marks
from tapehook.lens.copies import (
    ENOUGH_COPIES,
    USUAL_SPREAD,
    CopyDifference,
    copy_basis,
    copy_difference,
    learn_spread,
)
from tapehook.lens.map import Z95
from tests.lens.next_mark_trial import map_of
from tests.lens.test_twins import MARKS_M, lender, marks_at, turn
from tests.simulator.lenses import TrueLens, draw_lens, draw_twin
from tests.simulator.paper import engraved_distances, read_marks

Floats = npt.NDArray[np.float64]

LENDER = lender()


def _copy(positions: Floats, *, one_way: bool = False) -> LensMap:
    marks = replace(marks_at(MARKS_M, positions), one_way=one_way)
    return fit_map(marks, LENDER.scale, degrees_per_unit=1.0, far_value=np.inf, near_value=0.5, half_play_rms_deg=0.3)


def test_an_index_is_told_from_a_difference() -> None:
    """A copy 12 degrees on differs by 12 degrees everywhere, and by nothing with the index set."""
    difference = copy_difference(LENDER, _copy(LENDER.curve(MARKS_M) + 12.0))
    room = np.linspace(0.2, 0.8, difference.distance_m.size)
    share, _, distance = difference.worst(room)
    assert share == pytest.approx(12.0 / 0.2, rel=1e-3)
    assert distance == np.inf
    offset, offset_sd, left = difference.after_offset(room)
    assert offset == pytest.approx(12.0, abs=0.01)
    assert 0.0 < offset_sd < 0.2
    assert left.worst(room)[0] < 0.05


def test_a_longer_scale_is_left_when_the_index_is_set() -> None:
    """A ring that turns 1 % more: 2.4 degrees at the near end, half of that with the best index in equal room."""
    difference = copy_difference(LENDER, _copy(1.01 * LENDER.curve(MARKS_M)))
    room = np.ones(difference.distance_m.size)
    travel = float(np.ptp(LENDER.curve([0.5, np.inf])))
    assert difference.worst(room)[0] == pytest.approx(0.01 * travel, rel=0.02)
    _, _, left = difference.after_offset(room)
    # Even in vergence, so the mean of the turn is a little past the middle: the cam is bent outward.
    assert left.worst(room)[0] == pytest.approx(0.005 * travel, rel=0.15)


def test_read_outs_that_run_opposite_ways_are_turned() -> None:
    """A copy whose motor was put on the other way round is no other lens."""
    difference = copy_difference(LENDER, _copy(-LENDER.curve(MARKS_M) + 40.0))
    assert difference.turned
    np.testing.assert_allclose(difference.degrees, 40.0, atol=0.02)


def test_readings_of_one_way_leave_the_index_unsure_and_nothing_else() -> None:
    """The centre of the play is not known: that widens the +- as they stand, and drops out with the index set."""
    both, one = (copy_difference(LENDER, _copy(LENDER.curve(MARKS_M), one_way=way)) for way in (False, True))
    room = np.ones(both.distance_m.size)
    assert one.worst(room)[1] >= Z95 * 0.3
    assert one.after_offset(room)[2].worst(room)[1] == pytest.approx(both.after_offset(room)[2].worst(room)[1], rel=0.2)


def test_copies_without_a_range_in_common_are_refused() -> None:
    """Marks from 0.5 to 0.7 m on one and from 1.3 m on the other say nothing of each other."""
    scale = LENDER.scale
    near, far = (
        fit_map(marks_at(d, turn(d)), scale, degrees_per_unit=1.0, far_value=np.inf, near_value=0.5)
        for d in ((0.5, 0.55, 0.6, 0.7), (1.3, 1.8, 3.0, np.inf))
    )
    with pytest.raises(ValueError, match="no range in common"):
        copy_difference(near, far)


def test_a_ring_that_is_not_focus_has_no_twins() -> None:
    """An iris is no business of this module."""
    marks = gather_marks([1.4, 2.0, 2.8, 4.0, 5.6], [0, 10, 20, 30, 40], [0] * 5, [False] * 5)
    iris = fit_map(marks, StopScale.of(marks.values), degrees_per_unit=1.0, far_value=1.4, near_value=5.6)
    with pytest.raises(TypeError, match="focus"):
        copy_basis(iris, [2.0])


def _read(rng: np.random.Generator, lens: TrueLens, count: int) -> LensMap:
    """The map of a lens from so many engraved marks, read both ways."""
    return map_of(lens, list(read_marks(rng, lens, "X", engraved_distances(rng, lens, count))))


def _fleet(count: int, scale: float, cam: float, seed: int = 0) -> list[tuple[CopyDifference, float]]:
    """Pairs of copies whose scale and cam differ by so many times what the simulator gives them."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        lens = draw_lens(rng)
        twin = replace(
            draw_twin(rng, lens),
            rotation_deg=lens.rotation_deg * (1.0 + scale * rng.normal(0.0, 0.004)),
            bend=tuple((np.asarray(lens.bend) + cam * rng.normal(0.0, 0.0008, 3)).tolist()),
        )
        found.append((copy_difference(_read(rng, lens, 14), _read(rng, twin, 14)), lens.focal_m))
    return found


def test_the_plus_minus_of_a_difference_tells_the_truth() -> None:
    """Over 80 pairs of twins, 88 to 99 % of the true differences lie within the 95 % stated."""
    rng = np.random.default_rng(8)
    inside = []
    for _ in range(80):
        lens = draw_lens(rng)
        twin = draw_twin(rng, lens)
        found = copy_difference(_read(rng, lens, 12), _read(rng, twin, 12))
        q = np.where(np.isinf(found.distance_m), 0.0, lens.vergence(found.distance_m))
        true = twin.turn_deg(q) - lens.turn_deg(q)
        inside.append(np.abs(found.degrees - true) <= Z95 * np.sqrt(np.diag(found.covariance)))
    assert 0.88 <= np.mean(inside) <= 0.99


def test_few_copies_teach_nothing() -> None:
    """With four copies the usual spread stands."""
    assert learn_spread(_fleet(3, 3.0, 3.0), ENOUGH_COPIES - 1) == USUAL_SPREAD
    assert learn_spread([], 40) == USUAL_SPREAD


@pytest.mark.parametrize("scale, cam", [(1.0, 1.0), (3.0, 1.0), (1.0, 3.0), (0.25, 0.25)])
def test_a_fleet_teaches_how_its_copies_differ(scale: float, cam: float) -> None:
    """From 30 pairs the spread comes out within a third of the truth, where the maps are sharp enough to see it.

    The simulator's cam differs by 0.08 % of the rotation in each of three sines: 0.098 % in all. Copies much more alike
    than usual cannot be told from copies a little more alike: half the usual, at most.
    """
    found = learn_spread(_fleet(30, scale, cam), 60)
    assert found.copies == 60
    if scale < 1.0:
        assert found.scale < 0.5 * USUAL_SPREAD.scale
        assert found.cam < 0.5 * USUAL_SPREAD.cam
    else:
        assert found.scale == pytest.approx(scale * 0.004, rel=0.35)
        assert found.cam == pytest.approx(cam * 0.00098, rel=0.35)
