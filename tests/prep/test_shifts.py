"""Glass behind the lens and stopping down in the main job: what is said, what the budget takes, what charts need."""

import math
from typing import Any

import numpy as np
import pytest

from tapehook.job import ChartTest, Filter, Job
from tapehook.job.records import Reading
from tapehook.lens.flange import Cause
from tapehook.prep import prepare
from tapehook.prep.results import FlangePrep
from tapehook.prep.shooting_map import shooting_map
from tests.prep.causes import assert_raised_with_cause_only, found
from tests.prep.jobs import BOTH, a_job, a_lens, read_off, true_position

GEL = Filter(id="gel", kind="other", thickness_mm=0.1, refractive_index=1.5)
THICK = Filter(id="clear", kind="other", thickness_mm=3.0)
UNKNOWN = Filter(id="old net", kind="other")
BLUR_UM = math.sqrt(25.0**2 - 5.0**2)
N = 3.6
"""T4 at a transmission of 0.81."""


def _with(readings: tuple[Reading, ...], state: str | None) -> tuple[Reading, ...]:
    return tuple(one.model_copy(update={"rear_filter": state}) for one in readings)


def _glass(made: str | None = None, shot: str | None = "gel", **instead: Any) -> Job:  # noqa: ANN401 - any field
    job = a_job([a_lens(rear_filter=shot)], _with(read_off(noise_deg=0.02), made), **instead)
    return job.model_copy(update={"filters": (GEL, THICK, UNKNOWN)})


def _charts(
    shift_um: dict[float, float],
    *,
    rear_filter: str | None = None,
    glass_um: float = 0.0,
    repeats: int = 3,
    distances_m: tuple[float, ...] = (0.7, 2.5, 8.0),
) -> tuple[ChartTest, ...]:
    """Best focus by T-stop, as if the sensor lay so far back at each; glass puts it nearer."""
    rng = np.random.default_rng(4)
    found = []
    for t_stop, um in shift_um.items():
        for distance in distances_m * repeats:
            q = 1.0 / (distance - 0.041 - 0.05 / 1.15) - (um - glass_um) * 1e-6 / 0.05**2
            q += rng.normal(0.0, 0.08 * t_stop * 0.9 * 25e-6 / 0.05**2)
            position = float(true_position(0.041 + 0.05 / 1.15 + 1.0 / q))
            for way, ahead in zip(BOTH, (-0.1, 0.1), strict=True):
                found.append(
                    ChartTest(
                        lens_id="L1",
                        chart_distance_m=distance,
                        position=position + ahead,
                        approach=way,
                        t_stop=t_stop,
                        rear_filter=rear_filter,
                    )
                )
    return tuple(found)


def _stopped(shift_um: float, **instead: Any) -> Job:  # noqa: ANN401 - any field
    return a_job(readings=read_off(noise_deg=0.02), charts=_charts({2.0: 0.0, 4.0: shift_um}), **instead)


CASES: dict[str, tuple[Job, Job]] = {
    "glass.marks": (_glass(), _glass(made="gel")),
    "glass.mixed": (
        a_job(readings=[*_with(read_off(method="taped"), None), *_with(read_off((1.5, 3.0), method="taped"), "gel")])
        .model_copy(update={"filters": (GEL,)}),
        a_job(readings=[*_with(read_off(), None), *_with(read_off((1.5, 3.0)), "gel")])
        .model_copy(update={"filters": (GEL,)}),
    ),
    "glass.no_thickness": (_glass(shot="old net"), _glass()),
    "stopping_down.moves": (_stopped(-40.0), a_job()),
    "stopping_down.none": (_stopped(0.0), a_job(charts=_charts({2.0: 0.0}))),
}  # fmt: skip
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The lens that has the trouble has the finding, in sentences; the one beside it does not."""
    assert_raised_with_cause_only(code, *CASES[code])


def test_a_gel_takes_its_share_at_the_shooting_stop() -> None:
    """33.3 um over N c of 3.6 x 24.5 um is 38 % at T4, by hand; the sensor is as if too near."""
    (finding,) = found(_glass(), "glass.marks")
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(100 * 33.333 / (N * BLUR_UM), rel=1e-3)
    assert finding.figure.stop == "T4"
    assert "33 µm farther back, as if the sensor were too near" in finding.message
    assert "no mark names any" in finding.message
    assert finding.severity == "watch"


def test_taking_the_gel_out_is_the_same_the_other_way() -> None:
    """Marks made with the gel and shot without: too far back, the same share."""
    (finding,) = found(_glass(made="gel", shot="none"), "glass.marks")
    assert "too far back" in finding.message


def test_a_camera_can_name_the_glass() -> None:
    """What stands behind the lenses of a camera counts for each of its lenses that says nothing itself."""
    job = _glass(shot=None)
    camera = job.cameras[0].model_copy(update={"rear_filter": "gel + clear"})
    (finding,) = found(job.model_copy(update={"cameras": (camera,)}), "glass.marks")
    assert "n 1.52 assumed" in finding.message
    assert "an index is assumed" in finding.message
    # Marks are moved by a whole millimetre; what the assumed index leaves is most of the depth, and not all of it.
    assert finding.severity == "watch"
    assert finding.figure is not None
    assert 50 < (finding.figure.plus_minus or 0.0) < 100


@pytest.mark.parametrize("job, name", [(_glass(), "glass behind the lens"), (_stopped(-40.0), "stopping down")])
def test_the_budget_takes_it(job: Job, name: str) -> None:
    """Marks are moved for it: its doubt alone stands in the budget at the shooting stop, and is not much."""
    budget = prepare(job).lens("L1").budget("shooting")
    plain = prepare(a_job(readings=read_off(noise_deg=0.02))).lens("L1").budget("shooting")
    assert budget is not None
    assert plain is not None
    (term,) = [term for term, _ in budget.budget.at_worst() if term.name == name]
    assert term.kind == "scatter"
    assert plain.budget.worst_own < budget.budget.worst_own < plain.budget.worst_own + 0.1


def test_a_move_that_its_own_doubt_exceeds_leaves_the_doubt_in_the_budget() -> None:
    """Nothing planted, few charts: 1.96 sds over N c stand in the budget as scatter, beside the little that shows."""
    job = a_job(readings=read_off(noise_deg=0.02), charts=_charts({2.0: 0.0, 4.0: 0.0}, repeats=1))
    entry = prepare(job).lens("L1")
    assert isinstance(entry.flange, FlangePrep)
    assert entry.flange.stop_shift is not None
    shift_m, sd_m = entry.flange.stop_shift.at(N)
    assert abs(shift_m) < 1.96 * sd_m
    view = entry.budget("shooting")
    assert view is not None
    (k,) = (i for i, term in enumerate(view.budget.terms) if term.name == "doubt of moves")
    assert view.budget.terms[k].kind == "scatter"
    assert view.budget.shares[k][0] == pytest.approx(1.96 * sd_m / (N * BLUR_UM * 1e-6), rel=1e-3)


@pytest.mark.parametrize("distances_m, moved", [((0.6, 0.9, 1.5), False), ((0.6, 0.9, 2.5), True)])
def test_charts_found_close_up_alone_move_no_marks(distances_m: tuple[float, ...], moved: bool) -> None:
    """All nearer than 40 x 50 mm = 2 m: the move is more there than far away, so that it stays in the budget."""
    charts = _charts({2.0: 0.0, 4.0: -40.0}, distances_m=distances_m)
    entry = prepare(a_job(readings=read_off(noise_deg=0.02), charts=charts)).lens("L1")
    (shift,) = (one for one in entry.shifts if one.role == "shooting")
    assert (shift.kept is None) is moved
    assert moved or "close up" in (shift.kept or "")


def test_wide_open_nothing_is_taken_for_stopping_down() -> None:
    """Marks made wide open hold wide open."""
    budget = prepare(_stopped(-40.0)).lens("L1").budget("widest")
    assert budget is not None
    assert "stopping down" not in {term.name for term, _ in budget.budget.at_worst()}


def test_the_shift_comes_back_with_its_side() -> None:
    """40 um planted, sensor as if too near: within the +- that is said, with the turn of the ring at infinity."""
    (finding,) = found(_stopped(-40.0), "stopping_down.moves")
    flange = prepare(_stopped(-40.0)).lens("L1").flange
    assert isinstance(flange, FlangePrep)
    assert flange.stop_shift is not None
    shift_m, sd_m = flange.stop_shift.at(N)
    assert shift_m == pytest.approx(-40e-6, abs=2 * sd_m)
    assert sd_m < 5e-6
    assert "too near" in finding.message
    assert "of ring nearer" in finding.message
    assert finding.figure is not None
    assert finding.figure.stop == "T4"


def test_a_stop_that_was_not_tested_is_said_to_be_carried_over() -> None:
    """Tested at T2 and T5.6, shot at T4: the finding says so, and asks for the test."""
    job = a_job(readings=read_off(noise_deg=0.02), charts=_charts({2.0: 0.0, 5.6: -40.0}))
    (finding,) = found(job, "stopping_down.moves")
    assert "carried over" in finding.message
    assert "at T4" in finding.next_step


def test_what_the_charts_leave_open_is_said() -> None:
    """Where they were made stands beside the figure; stops wider and distances much nearer than all are named."""
    readings = read_off(noise_deg=0.02)
    (whole,) = found(_stopped(-40.0), "stopping_down.moves")
    assert "36 chart tests at 0.7 m to 8 m)." in whole.message
    far = a_job(readings=readings, charts=_charts({2.0: 0.0, 4.0: -40.0}, distances_m=(2.5, 8.0)))
    (finding,) = found(far, "stopping_down.moves")
    assert "nearer than 2.5 m it may be more" in finding.message
    assert "nobody tested" not in finding.message
    stopped = a_job(readings=readings, charts=_charts({2.8: 0.0, 4.0: -40.0}))
    (finding,) = found(stopped, "stopping_down.moves")
    assert "from T2 to T2.8 nobody tested" in finding.message


@pytest.mark.parametrize(
    "charts", [_charts({2.0: 0.0, 4.0: -40.0}), _charts({2.0: 0.0}, rear_filter="clear", glass_um=1026.3)]
)
def test_neither_passes_for_a_flange(charts: tuple[ChartTest, ...]) -> None:
    """Charts stopped down, or with 3 mm of glass that the marks had not: the flange is told as it is, sound."""
    job = a_job(readings=read_off(noise_deg=0.02), charts=charts).model_copy(update={"filters": (THICK,)})
    found = prepare(job).flanges.lens("L1")
    assert found is not None
    assert found.flange_m is not None
    assert found.sd_m is not None
    assert abs(found.flange_m) < 3 * found.sd_m
    fine: tuple[Cause, Cause] = ("fine", "cannot_tell")
    assert found.cause in fine


def test_charts_with_glass_of_unknown_thickness_are_left_out() -> None:
    """They could say anything of the flange: it is as if no ring position had been written down."""
    charts = _charts({2.0: 0.0}, rear_filter="old net")
    job = a_job(readings=read_off(noise_deg=0.02), charts=charts).model_copy(update={"filters": (UNKNOWN,)})
    assert prepare(job).lens("L1").flange == "no_position"
    assert found(job, "glass.no_thickness")


def test_a_lens_without_these_data_says_nothing_of_them() -> None:
    """The ordinary case is as it was: no finding, no term, no assumption."""
    prep = prepare(a_job())
    assert not [one for one in prep.findings if one.code.startswith(("glass.", "stopping_down."))]
    assert prep.lens("L1").shifts == ()
    assert {term.name for term in prep.lens("L1").budgets[0].budget.terms} == {"map", "reading", "backlash", "tape"}


@pytest.mark.parametrize("job, um", [(_glass(), -33.333), (_stopped(-40.0), None)])
def test_the_map_of_the_shoot_is_moved(job: Job, um: float | None) -> None:
    """At every distance the ring goes nearer by what the sensor is as if too near; the map itself stays."""
    entry = prepare(job).lens("L1")
    found = shooting_map(entry)
    assert found is not None
    assert found.stop == "T4"
    if um is None:
        assert isinstance(entry.flange, FlangePrep)
        assert entry.flange.stop_shift is not None
        um = 1e6 * entry.flange.stop_shift.at(N)[0]
    assert entry.focus_map is not None
    front = 0.041 + 0.05 / 1.15
    for distance, position in zip(found.distance_m[1:-1:6], found.position[1:-1:6], strict=True):
        q = 1.0 / (float(distance) - front) - um * 1e-6 / 0.05**2
        step = float(entry.focus_map.position(front + 1.0 / q)[0][0])
        assert position == pytest.approx(step, abs=0.15)


def test_without_shifts_there_is_no_other_map() -> None:
    """What nobody measured moves nothing."""
    assert shooting_map(prepare(a_job()).lens("L1")) is None
