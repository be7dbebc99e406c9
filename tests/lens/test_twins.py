"""Borrowed maps: against a second way of computing them, at their limits, and on twins whose truth is known."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from tapehook.lens import FocusScale, LensMap, Marks, fit_map, gather_marks
from tapehook.lens.copies import OFFSET_SD_DEG, USUAL_SPREAD, CopySpread, copy_basis
from tapehook.lens.noise import USUAL_NOISE_DEG, pair_evidence
from tapehook.lens.spline import noise_steps
from tapehook.lens.twins import BorrowRefusal, borrow_map
from tests.lens.twins_trial import draw_far_focus, draw_shimmed_twin, try_out
from tests.simulator.lenses import draw_lens, draw_twin
from tests.telling import Tell

Floats = npt.NDArray[np.float64]

FOCAL_M = 0.035
NEAR_M = 0.5
ENDS = "14-35 mm, shimmed, by the nearest mark and infinity read once"
MARKS_M = (0.5, 0.55, 0.6, 0.7, 0.8, 1.0, 1.3, 1.8, 3.0, 6.0, np.inf)


def turn(distance_m: npt.ArrayLike) -> Floats:
    """The lender's ring at the centre of its play, degrees: 240 over the range, a little bent."""
    q = 0.38 / (np.asarray(distance_m, dtype=float) - 0.12)
    angle: Floats = 240.0 * (q + 0.15 * q * (1.0 - q))
    return angle


def marks_at(distances_m: npt.ArrayLike, positions: npt.ArrayLike, play: float = 0.2, noise: float = 0.0) -> Marks:
    """Marks read both ways at positions; ``noise`` seeded."""
    d, y = np.repeat(distances_m, 2), np.repeat(positions, 2)
    y = y + np.tile([-play / 2, play / 2], d.size // 2) + np.random.default_rng(4).normal(0.0, noise, d.size)
    return gather_marks(d, y, np.tile([-1, 1], d.size // 2), np.zeros(d.size, dtype=bool))


def lender(noise: float = 0.05) -> LensMap:
    """The map of the lender."""
    marks = marks_at(MARKS_M, turn(MARKS_M), noise=noise)
    scale = FocusScale.of(marks.values, FOCAL_M)
    return fit_map(marks, scale, degrees_per_unit=1.0, far_value=np.inf, near_value=NEAR_M)


LENDER = lender()


def test_mean_and_covariance_equal_the_dense_way() -> None:
    """Position and sd equal those of plain conditioning, one grid point at a time, weighed by density and prior.

    The joint normal of places and marks is built from the documented parts: offset, scale, shim, cam, lender, noise;
    the weights are SciPy's density of the marks times the priors of noise (ln sd 0.5) and likeness (ln sd 0.4).
    """
    marks = marks_at([0.55, 1.3, np.inf], 1.004 * turn([0.55, 1.3, np.inf]) + 17.0, noise=0.2)
    places_m = np.array([0.5, 0.8, 2.0, np.inf])
    found, sd = borrow_map(LENDER, marks, degrees_per_unit=1.0, focal_m=FOCAL_M).position(places_m)
    every = copy_basis(LENDER, np.concatenate([places_m, marks.values]))
    alike = every.covariance(every, USUAL_SPREAD, FOCAL_M)
    fixed = OFFSET_SD_DEG**2 + LENDER.fit.covariance(every.places, every.places)[0]
    y = marks.positions - LENDER.curve(marks.values)
    known = pair_evidence(marks.pair_differences[None])[0]
    moments, weights = [], []
    for step in (-1.5, -0.75, 0.0, 0.75, 1.5):
        for k, sigma in enumerate(noise_steps(USUAL_NOISE_DEG)[0]):
            joint = np.exp(0.4 * step) ** 2 * alike + fixed
            own = joint[4:, 4:] + np.diag(sigma**2 * marks.relative_variance)
            mean = joint[:4, 4:] @ np.linalg.solve(own, y - y.mean()) + y.mean()
            moments.append((mean, joint[:4, :4] - joint[:4, 4:] @ np.linalg.solve(own, joint[4:, :4])))
            density = multivariate_normal(np.zeros(3), own).logpdf(y - y.mean())
            weights.append(density + known[k] - 0.5 * step**2 - 0.5 * (np.log(sigma / USUAL_NOISE_DEG) / 0.5) ** 2)
    w = np.exp(np.array(weights) - max(weights))
    w /= w.sum()
    means = np.array([mean for mean, _ in moments])
    centre = w @ means
    variance = w @ np.array([np.diag(cov) for _, cov in moments]) + w @ (means - centre) ** 2
    np.testing.assert_allclose(found, LENDER.curve(places_m) + centre, atol=1e-6)
    np.testing.assert_allclose(sd, np.sqrt(variance), rtol=1e-4)


def test_an_exact_copy_comes_back_with_its_index() -> None:
    """The lender's own curve, 33.3 degrees on, is found again everywhere from two marks."""
    marks = marks_at([0.5, np.inf], LENDER.curve([0.5, np.inf]) + 33.3)
    borrowed = borrow_map(LENDER, marks, degrees_per_unit=1.0, focal_m=FOCAL_M)
    distances = borrowed.range_m()
    np.testing.assert_allclose(borrowed.position(distances)[0], LENDER.curve(distances) + 33.3, atol=1e-3)
    assert borrowed.monotone
    assert (borrowed.far_value, borrowed.near_value) == (np.inf, NEAR_M)


def test_a_longer_scale_is_taken_from_the_marks() -> None:
    """A copy whose ring turns 0.6 % more is followed: the marks at the ends say so, and the middle with them."""
    marks = marks_at([0.5, np.inf], 1.006 * LENDER.curve([0.5, np.inf]))
    borrowed = borrow_map(LENDER, marks, degrees_per_unit=1.0, focal_m=FOCAL_M)
    found, sd = borrowed.position([0.6, 0.8, 1.3])
    assert np.all(np.abs(found - 1.006 * LENDER.curve([0.6, 0.8, 1.3])) < 2.0 * sd)
    assert np.all(np.abs(found - LENDER.curve([0.6, 0.8, 1.3])) > 0.4)


@pytest.mark.parametrize("count", [0, 1])
def test_never_from_one_mark(count: int) -> None:
    """One mark would tell the index alone, and hide a mistake: refused, as is none."""
    marks = marks_at([np.inf], turn([np.inf])).without(frozenset(range(1 - count)))
    with pytest.raises(BorrowRefusal, match="never borrowed") as refused:
        borrow_map(LENDER, marks, degrees_per_unit=1.0, focal_m=FOCAL_M)
    assert refused.value.code == "one_mark"


@pytest.mark.parametrize(
    "distances_m, positions",
    [
        pytest.param([0.55, np.inf], turn([0.55, np.inf]) + np.array([5.0, 0.0]), id="five degrees off"),
        pytest.param([2.0, np.inf], turn([2.0 * 0.3048, np.inf]), id="feet for metres"),
        pytest.param([0.55, 0.8, np.inf], turn([0.55, 0.8, np.inf]) + np.array([0.0, 3.0, 0.0]), id="the middle one"),
        pytest.param([0.15, np.inf], [240.0, 0.0], id="far nearer than the scale"),
        pytest.param([0.01, np.inf], [240.0, 0.0], id="inside the lens"),
    ],
)
def test_marks_no_copy_would_show_are_refused(distances_m: list[float], positions: Floats) -> None:
    """A wrong proof mark is not taken for a copy with another scale."""
    with pytest.raises(BorrowRefusal) as refused:
        borrow_map(LENDER, marks_at(distances_m, positions), degrees_per_unit=1.0, focal_m=FOCAL_M)
    assert refused.value.code == "contradiction"


def test_marks_close_together_are_as_good_as_one() -> None:
    """The far end is then carried on by the prior of the scale: several times as unsure as with marks at both ends."""
    spread = borrow_map(LENDER, marks_at([0.5, np.inf], turn([0.5, np.inf])), degrees_per_unit=1.0, focal_m=FOCAL_M)
    close = borrow_map(LENDER, marks_at([0.5, 0.55], turn([0.5, 0.55])), degrees_per_unit=1.0, focal_m=FOCAL_M)
    assert float(close.position(np.inf)[1][0]) > 4.0 * float(spread.position(np.inf)[1][0])
    room = np.full(spread.range_m().size, 1.0)
    assert close.used_p95(room) > 2.5 * spread.used_p95(room)


@settings(max_examples=20)
@given(st.floats(0.01, 300.0), st.floats(-1e4, 1e4), st.sampled_from([1.0, -1.0]))
def test_unit_index_and_direction_of_the_read_out_do_not_matter(units: float, index: float, sign: float) -> None:
    """A read-out in counts, from anywhere, running either way, gives the same ring."""
    distances = [0.5, 1.0, np.inf]
    plain = borrow_map(LENDER, marks_at(distances, turn(distances)), degrees_per_unit=1.0, focal_m=FOCAL_M)
    degrees = gather_marks(
        np.repeat(distances, 2),
        (sign * (np.repeat(turn(distances), 2) + np.tile([-0.1, 0.1], 3)) + index) * units,
        np.tile([-1, 1], 3),
        np.zeros(6, dtype=bool),
    )
    other = borrow_map(LENDER, degrees, degrees_per_unit=1.0 / units, focal_m=FOCAL_M)
    places = plain.range_m()
    found, sd = other.position(places)
    assert other.turned == (sign < 0)
    np.testing.assert_allclose(sign * (found / units - index), plain.position(places)[0], atol=1e-5)
    np.testing.assert_allclose(sd / units, plain.position(places)[1], rtol=1e-3)


def test_depth_used_follows_the_room() -> None:
    """Twice the room is half the share; no room at all is all the depth and more."""
    borrowed = borrow_map(LENDER, marks_at([0.5, np.inf], turn([0.5, np.inf])), degrees_per_unit=1.0, focal_m=FOCAL_M)
    room = np.linspace(0.5, 1.5, borrowed.range_m().size)
    assert borrowed.used_p95(2.0 * room) == pytest.approx(borrowed.used_p95(room) / 2.0)
    assert borrowed.used_p95(0.0 * room) == np.inf


def test_used_p95_of_an_offset_is_that_of_a_normal() -> None:
    """Where the index is all that is not known, 95 in 100 lenses stay within 1.96 sd, at every distance.

    Readings from one way only, whose centre may be 10 degrees off, drown all else: 19.6 degrees, of a room of 1.
    """
    marks = replace(marks_at([0.5, np.inf], turn([0.5, np.inf])), one_way=True)
    borrowed = borrow_map(LENDER, marks, degrees_per_unit=1.0, focal_m=FOCAL_M, half_play_rms_deg=10.0)
    assert borrowed.used_p95(np.ones(borrowed.range_m().size)) == pytest.approx(19.6, rel=0.07)  # of 600 draws
    assert float(borrowed.position_band(1.0)[1][0]) == pytest.approx(19.6, rel=0.01)


def test_taped_marks_carry_the_tape() -> None:
    """A taped near mark makes the near end less sure than an engraved one, the more the worse the tape."""
    marks = marks_at([0.5, np.inf], turn([0.5, np.inf]))
    sds = []
    for taped, sd_mm in ((False, 4.0), (True, 0.0), (True, 1.0), (True, 4.0)):
        proof = replace(marks, taped=np.array([taped, False]))
        sd_m = np.array([sd_mm * 1e-3, 0.0])
        borrowed = borrow_map(LENDER, proof, degrees_per_unit=1.0, focal_m=FOCAL_M, taping_sd_m=sd_m)
        sds.append(float(borrowed.position(0.5)[1][0]))
    assert sds[0] == pytest.approx(sds[1])
    assert sds[1] < 0.5 * sds[2] < 0.5 * sds[3]


def test_copies_that_differ_more_are_trusted_less() -> None:
    """A spread of copies three times as wide makes the middle of the range less sure."""
    marks = marks_at([0.5, np.inf], turn([0.5, np.inf]))
    usual, wide = (
        borrow_map(LENDER, marks, degrees_per_unit=1.0, focal_m=FOCAL_M, spread=spread).position(0.8)[1][0]
        for spread in (USUAL_SPREAD, CopySpread(0.012, 0.003))
    )
    assert wide > 1.5 * usual


def test_what_is_predicted_holds_for_eighty_twins() -> None:
    """Of 80 twins of 14 to 200 mm the true 95th percentile is within the one predicted for at least 88 % (of 95)."""
    trial = try_out(80, draw_lens, draw_shimmed_twin)
    assert trial.holds >= 0.88
    assert 0.90 <= trial.covered <= 0.985


@pytest.mark.slow
def test_borrowed_maps_of_many_twins(tell: Tell) -> None:
    """Two proof marks, those asked for: the predicted share holds for 92 to 98 % of the lenses in every group.

    Error at T1.5 between the proof marks, 95th percentile: at most 25 % of the depth for 14 to 35 mm, close focus from
    12 focal lengths on or anywhere in the simulator's own range (0.28 to 0.6 m), shims as the simulator has them or
    acting as shims do. Over the whole range of the ring it is at most 28 %. Longer lenses, and the nearest mark and
    infinity read once, are held to what they reach.
    """
    near, own = (lambda rng: draw_far_focus(rng, 14, 35)), (lambda rng: draw_lens(rng, low_mm=14, high_mm=35))
    cases = [
        ("14-35 mm, close focus from 12 f", near, draw_twin, 0.25),
        ("14-35 mm, close focus from 12 f, shimmed", near, draw_shimmed_twin, 0.25),
        ("14-35 mm", own, draw_twin, 0.25),
        ("14-35 mm, shimmed", own, draw_shimmed_twin, 0.25),
        (ENDS, own, draw_shimmed_twin, 0.30),
        ("40-85 mm", lambda rng: draw_lens(rng, low_mm=40, high_mm=85), draw_shimmed_twin, 0.80),
        ("86-200 mm", lambda rng: draw_lens(rng, low_mm=86, high_mm=200), draw_shimmed_twin, 1.70),
    ]
    lines, missed = [], []
    for name, draw, twin, limit in cases:
        trial = try_out(1000, draw, twin, ends=name == ENDS)
        lines.append(
            f"  {name}: p95 {trial.p95:.0%} between the proof marks, {trial.p95_all:.0%} over all; "
            f"predicted share holds for {trial.holds:.1%}, +- for {trial.covered:.1%}"
        )
        wide = limit == 0.25 and trial.p95_all > 0.28
        if trial.p95 > limit or wide or not 0.92 <= trial.holds <= 0.98:
            missed.append(name)
    tell("Borrowed maps at T1.5, 1,000 twins each:\n" + "\n".join(lines))
    assert missed == []
