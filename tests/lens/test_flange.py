"""Flange, scale and tape from deviations of charts: closed forms, and what must never be said."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.lens.flange import (
    FLANGE_SD_M,
    SCALE_SD,
    TAPE_SD_M,
    ChartDeviations,
    FlangeFit,
    design_matrix,
    fit_flange,
    judge,
)

Floats = npt.NDArray[np.float64]

FOCAL_M = 0.035
WIDTH_DPT = 1.4 * 25e-6 / FOCAL_M**2
FAR_AND_NEAR = np.repeat([0.05, 0.1, 0.2, 0.4, 0.8, 1.5, 2.5], 2)


def _charts(
    dq: npt.ArrayLike,
    q: npt.ArrayLike,
    *,
    noise_used: float = 0.02,
    body: npt.ArrayLike = 0,
    focal_m: npt.ArrayLike = FOCAL_M,
) -> ChartDeviations:
    q_dpt = np.asarray(q, dtype=np.float64)
    focal = np.broadcast_to(np.asarray(focal_m, dtype=np.float64), q_dpt.shape)
    width = 1.4 * 25e-6 / focal**2
    _, zoom = np.unique(-focal, return_inverse=True)
    own = np.diag((noise_used * width) ** 2)
    bodies = np.broadcast_to(np.asarray(body, dtype=np.intp), q_dpt.shape)
    return ChartDeviations(np.asarray(dq, dtype=np.float64), q_dpt, focal, width, width, own, bodies, zoom)


def _deviations(q: Floats, flange_m: float = 0.0, scale: float = 0.0, tape_m: float = 0.0) -> Floats:
    """The formula of the module, without noise."""
    found: Floats = -flange_m / FOCAL_M**2 + scale * q - tape_m * q**2
    return found


def test_one_chart_gives_the_flange_by_hand() -> None:
    """One chart at infinity: delta = -dq f^2 (Newton's lens equation); 0.02 dpt on a 35 mm are 24.5 um."""
    fit = fit_flange(_charts([-0.02], [0.0]))
    flange_m, sd_m = fit.flange_m()
    assert flange_m == pytest.approx(0.02 * 0.035**2, rel=1e-3)
    # One judgement of 15 % of N c, and the map's 2 %: as sure as a single best focus is, about.
    assert sd_m == pytest.approx(0.15 * 1.4 * 25e-6, rel=0.35)


@pytest.mark.parametrize(
    "kind, amount", [("flange_m", 25e-6), ("flange_m", -25e-6), ("scale", 0.02), ("scale", -0.02), ("tape_m", 0.03)]
)
def test_a_clear_cause_is_named_with_its_amount(kind: str, amount: float) -> None:
    """One error alone, tested far and near without noise: its amount comes back, the others are about nil."""
    charts = _charts(_deviations(FAR_AND_NEAR, **{kind: amount}), FAR_AND_NEAR)
    fit = fit_flange(charts)
    names = ("flange_m", "scale", "tape_m")
    at = names.index(kind)
    assert fit.mean()[at] == pytest.approx(amount, rel=0.12)
    sd = np.sqrt(np.diag(fit.covariance()))
    for other in range(3):
        assert abs(fit.mean()[other] - (amount if other == at else 0.0)) < 2.0 * sd[other] + 1e-7
    assert judge(charts, fit).cause == {"flange_m": "flange", "scale": "scale", "tape_m": "tape_offset"}[kind]


def test_nothing_off_is_fine() -> None:
    """Charts that agree with the ring on many distances: fine, and the flange within a few micrometres of nil."""
    charts = _charts(np.zeros(40), np.tile([0.05, 0.1, 0.2, 0.4, 0.8], 8))
    fit = fit_flange(charts)
    verdict = judge(charts, fit)
    assert verdict.cause == "fine"
    assert abs(fit.flange_m()[0]) < 2e-6


def test_near_charts_alone_cannot_tell() -> None:
    """At one near distance flange, scale and tape look the same: something is off, and no cause is named."""
    q = np.full(6, 2.5)
    charts = _charts(_deviations(q, flange_m=25e-6), q)
    verdict = judge(charts, fit_flange(charts))
    assert verdict.fine < 0.2
    assert verdict.cause == "cannot_tell"


def test_it_agrees_with_least_squares() -> None:
    """With flange, scale and tape all off, the mean is that of least squares with the priors as rows (lstsq)."""
    rng = np.random.default_rng(3)
    q = np.linspace(0.02, 3.0, 60)
    dq = _deviations(q, 15e-6, 0.03, 0.03) + rng.normal(0.0, 0.15 * WIDTH_DPT, q.size)
    charts = _charts(dq, q)
    rows = np.vstack(
        [design_matrix(charts) / (0.15 * WIDTH_DPT), np.diag([1 / FLANGE_SD_M, 1 / SCALE_SD, 1 / TAPE_SD_M])]
    )
    solved = np.linalg.lstsq(rows, np.concatenate([dq / (0.15 * WIDTH_DPT), np.zeros(3)]), rcond=None)[0]
    fit = fit_flange(charts)
    sd = np.sqrt(np.diag(fit.covariance()))
    assert np.all(np.abs(fit.mean() - solved) < 0.1 * sd)


def test_sd_is_that_of_the_formula_with_one_flange_and_many_charts() -> None:
    """n charts at infinity, n large: sd = 0.15 N c / sqrt(n), the floor of the method, when judged as usual."""
    rng = np.random.default_rng(4)
    n = 60
    dq = rng.normal(0.0, 0.15 * WIDTH_DPT, n)
    sd_m = fit_flange(_charts(dq, np.zeros(n), noise_used=1e-4)).flange_m()[1]
    assert sd_m == pytest.approx(0.15 * 1.4 * 25e-6 / np.sqrt(n), rel=0.2)


def test_scatter_of_the_charts_widens_the_sd() -> None:
    """Charts that disagree by more than usual make the flange less sure than charts that agree."""
    rng = np.random.default_rng(5)
    spread = rng.normal(0.0, 1.0, FAR_AND_NEAR.size)
    sds = [fit_flange(_charts(used * WIDTH_DPT * spread, FAR_AND_NEAR)).flange_m()[1] for used in (0.05, 0.15, 0.3)]
    assert sds[0] < sds[1] < sds[2]


def test_bodies_have_flanges_of_their_own() -> None:
    """Two bodies that differ by 20 um: the difference comes back, and is surer than either alone."""
    body = np.tile([0, 1], 7)
    dq = _deviations(FAR_AND_NEAR) - np.where(body == 1, 20e-6, 0.0) / FOCAL_M**2
    fit = fit_flange(_charts(dq, FAR_AND_NEAR, body=body))
    covariance = fit.covariance()
    assert fit.mean()[1] - fit.mean()[0] == pytest.approx(20e-6, abs=1e-6)
    assert covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1] < 2 * covariance[0, 0] * 1.01


def test_back_focus_and_groups_of_a_zoom_are_told_apart() -> None:
    """By 1/f^2 over three focal lengths it is the back focus; at one focal length alone it is the groups."""
    focal = np.repeat([0.08, 0.045, 0.024], 4)
    q = np.tile([0.05, 0.1, 0.2, 0.3], 3)
    back = judge(charts := _charts(-30e-6 / focal**2, q, focal_m=focal), fit_flange(charts))
    assert back.cause == "flange"
    width = 1.4 * 25e-6 / focal**2
    groups = judge(charts := _charts(np.where(focal == 0.045, 1.2, 0.0) * width, q, focal_m=focal), fit_flange(charts))
    assert groups.cause == "scale"
    assert groups.by_zoom


def test_without_tests_it_refuses() -> None:
    """No chart, no flange."""
    with pytest.raises(ValueError, match="no chart"):
        fit_flange(_charts([], []))


@given(
    st.lists(st.floats(-0.5, 0.5), min_size=1, max_size=9),
    st.data(),
)
@settings(max_examples=60)
def test_any_charts_give_sound_figures(dq: list[float], data: st.DataObject) -> None:
    """Whatever is written down: weights sum to 1, sd above nil, probabilities between 0 and 1, never not-a-number."""
    q = data.draw(st.lists(st.floats(0.0, 6.0), min_size=len(dq), max_size=len(dq)))
    charts = _charts(dq, q)
    fit = fit_flange(charts)
    assert fit.weights.sum() == pytest.approx(1.0)
    assert np.isfinite(fit.mean()).all()
    assert fit.flange_m()[1] > 0
    verdict = judge(charts, fit)
    assert 0.0 <= verdict.fine <= 1.0
    assert all(0.0 <= share <= 1.0 for share in verdict.off.values())
    assert np.all((fit.slips >= 0.0) & (fit.slips <= 1.0 + 1e-9))


@given(st.floats(-40e-6, 40e-6), st.floats(-20e-6, 20e-6))
@settings(max_examples=25)
def test_the_flange_moves_with_the_sensor(flange_m: float, shift_m: float) -> None:
    """A sensor moved by a distance moves the estimate by as much, to a micrometre: nothing pulls it to nil."""
    fits = [fit_flange(_charts(_deviations(FAR_AND_NEAR, x), FAR_AND_NEAR)) for x in (flange_m, flange_m + shift_m)]
    moved = fits[1].flange_m()[0] - fits[0].flange_m()[0]
    assert moved == pytest.approx(shift_m, abs=1e-6)


def test_draws_are_those_of_the_mixture() -> None:
    """Mean and spread of the draws are those of the fit, and the draws never change."""
    rng = np.random.default_rng(6)
    fit: FlangeFit = fit_flange(_charts(rng.normal(0.0, 0.2 * WIDTH_DPT, 14), FAR_AND_NEAR))
    drawn = fit.draws()
    assert np.array_equal(drawn, fit.draws())
    sd = np.sqrt(np.diag(fit.covariance()))
    assert np.all(np.abs(drawn.mean(axis=0) - fit.mean()) < 0.06 * sd)
    assert drawn.std(axis=0) == pytest.approx(sd, rel=0.12)
