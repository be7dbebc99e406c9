"""The two marks to read for a borrowed map: against all pairs worked out the long way, and what comes of them."""

from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest

from tapehook.lens import FocusScale, LensMap, fit_map
from tapehook.lens.copies import OFFSET_SD_DEG, USUAL_SPREAD, copy_basis
from tapehook.lens.noise import MARK_NOISE_DEG, USUAL_NOISE_DEG, reading_sd
from tapehook.lens.proof_marks import APART, choose_proof_marks
from tapehook.lens.taping import taping_sd_m
from tapehook.lens.twins import borrow_map
from tests.lens.test_twins import FOCAL_M, LENDER, MARKS_M, NEAR_M, marks_at, turn

RANGE_M = np.array([0.5, 0.52, 0.56, 0.62, 0.7, 0.8, 1.0, 1.4, 2.5, 6.0, np.inf])
HALF_WIDTH_DPT = 0.01
"""Half the depth of field, dioptres: N c/f^2 with c 0.025 mm, so that of 35 mm at N 0.49: harder than any job."""


def room(distances_m: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The turn that half the depth takes on the lender's ring, degrees."""
    width: npt.NDArray[np.float64] = HALF_WIDTH_DPT * np.abs(copy_basis(LENDER, distances_m).shift)
    return width


ROOM_DEG = room(RANGE_M)


def _taped() -> LensMap:
    """The lender with its marks nearer than 0.7 m taped."""
    marks = marks_at(MARKS_M, turn(MARKS_M), noise=0.05)
    near = marks.values < 0.7
    taped = type(marks)(**{**{n: getattr(marks, n) for n in marks.__dataclass_fields__}, "taped": near})
    scale = FocusScale.of(taped.values, FOCAL_M)
    return fit_map(taped, scale, degrees_per_unit=1.0, far_value=np.inf, near_value=NEAR_M, taping_sd_m=2e-3 * near)


def _left(lens_map: LensMap, pair: tuple[float, float]) -> float:
    """Sum over the range of (V/room^2)^2 after two marks read twice both ways, by conditioning the joint normal."""
    every = copy_basis(lens_map, np.concatenate([RANGE_M, pair]))
    joint = every.covariance(every, USUAL_SPREAD, FOCAL_M) + OFFSET_SD_DEG**2
    joint = joint + lens_map.fit.covariance(every.places, every.places)[0]
    g = RANGE_M.size
    variance = reading_sd(USUAL_NOISE_DEG) ** 2 / 4.0 + MARK_NOISE_DEG**2
    taped = [bool(lens_map.marks.taped[list(lens_map.marks.values).index(m)]) for m in pair]
    assert isinstance(lens_map.scale, FocusScale)
    slope = every.shift[g:] * lens_map.scale.vergence(np.array(pair)) ** 2
    tape = np.where(taped, (slope * taping_sd_m(np.array(pair))) ** 2, 0.0)
    own = joint[g:, g:] + np.diag(variance + tape)
    after = np.diag(joint[:g, :g] - joint[:g, g:] @ np.linalg.inv(own) @ joint[g:, :g])
    return float(((after / ROOM_DEG**2) ** 2).sum())


@pytest.mark.parametrize("lens_map", [LENDER, _taped()], ids=["engraved", "taped near"])
def test_no_other_pair_leaves_less(lens_map: LensMap) -> None:
    """Of all pairs a third of the range apart, worked out one by one, the two chosen leave the least."""
    found = choose_proof_marks(lens_map, RANGE_M, ROOM_DEG, focal_m=FOCAL_M)
    assert found is not None
    marks, place = lens_map.marks.values.tolist(), dict(zip(MARKS_M, LENDER.scale.place(list(MARKS_M)), strict=True))
    pairs = [pair for pair in combinations(marks, 2) if abs(place[pair[0]] - place[pair[1]]) >= APART]
    best = min(pairs, key=lambda pair: _left(lens_map, pair))
    assert {found.far_m, found.near_m} == set(best)


def test_they_do_better_than_the_ends() -> None:
    """At two marks inside the range the map borrowed uses less of the depth than at infinity and the nearest."""
    found = choose_proof_marks(LENDER, RANGE_M, ROOM_DEG, focal_m=FOCAL_M)
    assert found is not None
    assert 0.5 <= found.near_m < found.far_m < np.inf
    ends = borrow_map(LENDER, marks_at([0.5, np.inf], turn([0.5, np.inf])), degrees_per_unit=1.0, focal_m=FOCAL_M)
    width = room(found.expected.range_m())
    assert found.expected.used_p95(width) < 0.97 * ends.used_p95(width)


def test_what_is_expected_is_what_comes() -> None:
    """A copy read there twice both ways, with the usual noise, borrows a map of the share expected, within a third."""
    found = choose_proof_marks(LENDER, RANGE_M, ROOM_DEG, focal_m=FOCAL_M)
    assert found is not None
    width, shares = room(found.expected.range_m()), []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        at = np.repeat([found.near_m, found.far_m], 2)
        read = marks_at(at, 1.002 * turn(at) + rng.normal(0.0, 0.12, at.size))
        shares.append(borrow_map(LENDER, read, degrees_per_unit=1.0, focal_m=FOCAL_M).used_p95(width))
    assert float(np.median(shares)) == pytest.approx(found.expected.used_p95(width), rel=0.33)


def test_marks_all_close_together_name_no_pair() -> None:
    """A lender read only near close focus has no two marks that tell the scale of a copy."""
    close = [0.5, 0.51, 0.52, 0.53, 0.54, 0.55]
    marks = marks_at(close, turn(close))
    scale = FocusScale.of(marks.values, FOCAL_M)
    lens_map = fit_map(marks, scale, degrees_per_unit=1.0, far_value=np.inf, near_value=NEAR_M)
    assert choose_proof_marks(lens_map, RANGE_M, ROOM_DEG, focal_m=FOCAL_M) is None


def test_reading_twice_helps_and_the_mark_itself_stays() -> None:
    """Twice in place of once leaves less; ten thousand times no less than ten: the engraving itself stays."""
    shares = []
    for times in (1, 2, 10, 10_000):
        found = choose_proof_marks(LENDER, RANGE_M, ROOM_DEG, focal_m=FOCAL_M, times=times)
        assert found is not None
        shares.append(found.expected.used_p95(room(found.expected.range_m())))
    assert shares[0] > 1.03 * shares[1]
    assert shares[3] == pytest.approx(shares[2], rel=0.05)
