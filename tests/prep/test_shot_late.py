"""A picture that reaches the monitor late: it joins the lag, is a term of its own, and leaves other shots alone."""

import numpy as np
import pytest

from tapehook.job import Job, read_job
from tapehook.job.shots import Shot, read_shot
from tapehook.prep import prepare
from tapehook.prep.monitor_delay import TERM, monitor_delay_s
from tapehook.prep.shot_chance import Terms, terms_of
from tapehook.prep.shot_findings import plan_as_json, shot_findings
from tapehook.prep.shots import ShotPlan, plan_shot
from tests.cli.running import ROOT

DEMO = ROOT / "src" / "tapehook" / "demo_job"
FRAME_MS = 1000.0 / 24.0
MARKS = ((0.0, 60.0), (4.0, 120.0), (6.0, 90.0))


def _job(delay_ms: float | None) -> Job:
    job, shot = read_job(DEMO), read_shot(DEMO, "window")
    cameras = tuple(one.model_copy(update={"monitor_delay_ms": delay_ms}) for one in job.cameras)
    lenses = tuple(lens for lens in job.lenses if lens.id == shot.lens)
    return job.model_copy(update={"cameras": cameras, "lenses": lenses})


def _plan(delay_ms: float | None, **shot: float) -> ShotPlan:
    asked = read_shot(DEMO, "window").model_copy(update={"lag_ms": FRAME_MS, **shot})
    return plan_shot(prepare(_job(delay_ms), brief=True), asked, made=MARKS)


def _terms(plan: ShotPlan) -> Terms:
    return terms_of(plan, plan.shot.people[0], plan.people[0])


def test_it_is_added_to_the_lag() -> None:
    """One frame of motor and two of picture: the ring is as late as with three frames of motor, and as likely sharp."""
    late, motor = _plan(2 * FRAME_MS), _plan(None, lag_ms=3 * FRAME_MS)
    assert late.lag_s == pytest.approx(3 * FRAME_MS / 1e3)
    assert late.lag_s == pytest.approx(motor.lag_s)
    parts, whole = _terms(late), _terms(motor)
    assert TERM not in whole.known
    assert parts.known["lag"] + parts.known[TERM] == pytest.approx(whole.known["lag"], abs=1e-9)
    assert parts.chance() == pytest.approx(whole.chance(), abs=1e-12)


def test_its_share_is_the_speed_of_the_pull_times_the_delay() -> None:
    """dq/dt of the ring times the delay, over the half-width, midway between the two moments it is late by."""
    plan = _plan(2 * FRAME_MS)
    ring = plan.ring
    q = 1.0 / ring.state(plan.setting_m).pupil_distance_m
    speed = np.gradient(q, plan.time_s)
    share = -speed * 2 * FRAME_MS / 1e3 / ring.width_dpt(ring.state(plan.setting_m), plan.stop.f_number)
    at = 48  # two seconds in, where the pull goes on evenly
    assert _terms(plan).known[TERM][at] == pytest.approx(float(share[at - 2]), rel=0.05)


def test_it_is_said_with_figure_stop_and_next_step() -> None:
    """Where it takes most, beside what the motor takes; in JSON both lags."""
    plan = _plan(100.0)
    (finding,) = (one for one in shot_findings(plan) if one.code == "shot.late_picture")
    assert "reaches the monitor 100 ms late" in finding.message
    assert finding.figure is not None
    assert finding.figure.stop == plan.stop.text
    shown = plan_as_json(plan)
    assert shown["monitor_delay_ms"] == pytest.approx(100.0)
    assert shown["lag_ms"] == pytest.approx(100.0 + FRAME_MS)
    assert any("pull is taken to be made off the monitor" in sentence for sentence in plan.assumptions)


def test_by_eye_and_unmeasured_nothing_changes() -> None:
    """A delay of 0 in the shot is a pull by eye; without any measured nothing is said."""
    by_eye, unknown = _plan(100.0, monitor_delay_ms=0.0), _plan(None)
    assert by_eye.lag_s == unknown.lag_s
    for plan in (by_eye, unknown):
        assert TERM not in _terms(plan).known
        assert not [one for one in shot_findings(plan) if one.code == "shot.late_picture"]


def test_the_camera_of_the_shot_counts() -> None:
    """Without a camera in the shot, the slowest path of all."""
    shot = Shot.model_validate(
        {"lens": "L05", "people": [{"name": "Ada", "path": [{"at_s": 1.0, "place_m": [0, 2, 1]}]}]}
    )
    cameras = tuple(
        one.model_copy(update={"monitor_delay_ms": ms})
        for one, ms in zip(read_job(DEMO).cameras, (40.0, 90.0, None), strict=True)
    )
    assert monitor_delay_s(cameras, shot) == pytest.approx(0.09)
    assert monitor_delay_s(cameras, shot.model_copy(update={"camera": "A"})) == pytest.approx(0.04)
    assert monitor_delay_s(cameras, shot.model_copy(update={"camera": "C"})) == 0.0
