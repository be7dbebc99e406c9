"""Stop pulls of a job: whatever the plan asks, the answer is whole; what is assumed is said, what was said is not."""

import json
import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.job import Filter, Job, JobProblems, read_job
from tapehook.job.stop_pulls import StopPullPlan
from tapehook.optics import blur_diameter_m, depth_of_field
from tapehook.prep.basis import basis_of
from tapehook.prep.stop_pull import StopPullPrep, advice, prepare_stop_pull
from tapehook.prep.stop_pull_as_json import stop_pull_as_json
from tests.cli.running import ROOT

TABLE = {"positions_deg": [0.0, 30.0, 60.0, 90.0, 120.0], "densities": [0.31, 0.5, 0.98, 1.52, 1.83]}
BACKWARDS = {"positions_deg": [0.0, 30.0, 60.0, 90.0, 120.0], "densities": [1.83, 1.52, 0.98, 0.5, 0.31]}
TRAY = (
    Filter(id="pair", kind="pair", k0=0.32, k90=0.00005, colour="bluish when crossed", stacking="inner ring turns"),
    Filter(id="ideal", kind="pair", k0=0.5, k90=0.0),
    Filter(id="table", kind="variable", **TABLE),
    Filter(id="backwards", kind="variable", **BACKWARDS),
    Filter(id="turning back", kind="variable", positions_deg=[0, 10, 20, 30, 40], densities=[0.3, 0.9, 1.5, 0.9, 0.3]),
)


@cache
def job() -> Job:
    """The demo job with a tray of its own."""
    return read_job(ROOT / "src" / "tapehook" / "demo_job").model_copy(update={"filters": TRAY})


def prepared(**plan: Any) -> StopPullPrep:  # noqa: ANN401 - any key of a plan
    """The pull of a plan, T2 to T8 over 6 s with the pair unless said otherwise."""
    usual = {
        "lens": "L05",
        "filter": "pair",
        "course": [{"at_s": 0.0, "stop": "T2"}, {"at_s": 6.0, "stop": "T8"}],
    }
    return prepare_stop_pull(job(), StopPullPlan.model_validate(usual | plan), "x")


@settings(max_examples=40)
@given(
    on_hand=st.sampled_from(["pair", "ideal", "table", "backwards"]),
    lens=st.sampled_from(["L05", "L19"]),
    stops=st.lists(st.floats(0.5, 128), min_size=2, max_size=4),
    step_s=st.floats(0.01, 3),
    speeds=st.tuples(*[st.none() | st.floats(1e-6, 1e6)] * 2),
    backlash=st.none() | st.floats(0, 45),
    travel=st.tuples(*[st.none() | st.floats(-400, 400)] * 2),
)
def test_any_plan_is_answered_in_full(
    on_hand: str,
    lens: str,
    stops: list[float],
    step_s: float,
    speeds: tuple[float | None, float | None],
    backlash: float | None,
    travel: tuple[float | None, float | None],
) -> None:
    """Every figure is finite, positions are given where the pull works and only there, and else there is advice."""
    prep = prepared(
        lens=lens,
        filter=on_hand,
        course=[{"at_s": k * step_s, "stop": f"T{t:.3f}"} for k, t in enumerate(stops)],
        iris_speed_deg_s=speeds[0],
        extra_speed_deg_s=speeds[1],
        extra_backlash_deg=backlash,
        extra_from_deg=travel[0],
        extra_to_deg=travel[1],
    )
    answer = stop_pull_as_json(prep)
    json.dumps(answer, allow_nan=False)
    assert bool(answer["samples"]) == answer["feasible"]
    assert bool(answer["advice"]) != answer["feasible"]


def test_what_is_not_said_is_assumed_and_told() -> None:
    """The bare plan rests on five assumptions; with all said, the iris that was read one way is left, and how sure the
    filter's play is; where that was set from nobody said, it is asked for."""
    bare = " ".join(prepared().assumptions)
    for words in (
        "0° at 0 %",
        "of backlash is assumed between",
        "sure to +- 0.02",
        "No speed of the iris",
        "extra motor given",
    ):
        assert words in bare
    said = prepared(
        extra_from_deg=0.0,
        extra_to_deg=90.0,
        extra_backlash_deg=0.2,
        extra_set_from="below",
        density_plus_minus=0.01,
        iris_speed_deg_s=200.0,
        extra_speed_deg_s=120.0,
        lag_between_ms=40.0,
    )
    assert [one[:26] for one in said.assumptions] == ["The iris was not read both", "The filter's 0.2° of backl"]
    assert not any(error.assumed for error in said.pull.errors if error.name != "iris backlash")
    unsaid = " ".join(prepared(extra_backlash_deg=0.2).assumptions)
    assert 'extra_set_from = "below"' in unsaid
    assert "backlash" not in " ".join(prepared(extra_backlash_deg=0.0).assumptions).replace("0.4° of backlash", "")


def test_notes_of_the_filter_are_cautions() -> None:
    """Colour and stacking as entered, which polariser may turn, and a test on the day."""
    said = " ".join(prepared().cautions)
    for words in ("bluish when crossed", "inner ring turns", "leave the outer one still", "test on the day"):
        assert words in said
    assert "outer one" not in " ".join(prepared(filter="table").cautions)


def test_the_lag_comes_from_the_motors_where_both_are_known() -> None:
    """Iris 21 ms and extra 45 ms in the demo: the extra motor is told 24 ms ahead, and 10 ms are left in the error."""
    own, planned = prepared(), prepared(lag_between_ms=20.0)
    left, twice = (
        next(float(error.stops.max()) for error in prep.pull.errors if error.name == "lag between motors")
        for prep in (own, planned)
    )
    assert twice == pytest.approx(2 * left, rel=0.02)
    assert "The extra motor is told 24 ms ahead" in " ".join(own.assumptions)
    times = planned.pull.times_s
    early = np.interp(times + 0.024, times, planned.pull.densities)
    assert own.pull.densities == pytest.approx(early, abs=1e-3)
    assert own.pull.iris_positions == pytest.approx(planned.pull.iris_positions)


def test_advice_where_a_change_is_too_large() -> None:
    """Seven stops of a table that has five: how far it goes, and what the filter gives in all."""
    prep = prepared(filter="table", course=[{"at_s": 0.0, "stop": "T2"}, {"at_s": 6.0, "stop": "T22"}])
    said = " ".join(advice(prep))
    assert "The largest change that works from T2 is to T11" in said
    assert "5 stops" in said
    assert advice(prepared()) == []


def test_a_course_of_depth_or_blur() -> None:
    """On L05, whose pupil is known, at 2.5 m: the stops found give the depth and blur asked for, assumptions told."""
    prep = prepared(distance_m=2.5, course=[{"at_s": 0.0, "depth_m": 0.15}, {"at_s": 6.0, "depth_m": 0.5}])
    (lens,) = [one for one in job().lenses if one.id == "L05"]
    optics = basis_of(lens, job()).optics
    assert optics is not None
    for t, wanted in ((prep.pull.t_stops[0], 0.15), (prep.pull.t_stops[-1], 0.5)):
        f_number = t * math.sqrt(lens.transmission or 1.0)
        depth = depth_of_field(2.5, optics.focal_m, f_number, optics.blur_m, optics.pupil)
        assert float(depth.far_m - depth.near_m) == pytest.approx(wanted, rel=1e-6)
    assert "focused at 2.5 m throughout" in " ".join(prep.assumptions)
    course = [{"at_s": 0.0, "blur_mm": 0.3}, {"at_s": 6.0, "stop": "T8"}]
    blurred = prepared(distance_m=2.5, background_m=math.inf, course=course)
    f_number = float(blurred.pull.t_stops[0]) * math.sqrt(lens.transmission or 1.0)
    blur = blur_diameter_m(math.inf, 2.5, optics.focal_m, f_number, optics.pupil)
    assert float(blur) == pytest.approx(0.3e-3, rel=1e-6)
    with pytest.raises(JobProblems, match=r"course\[1\].*a depth or blur that a stop from T0.5 to T128 gives"):
        prepared(distance_m=2.5, course=[{"at_s": 0.0, "depth_m": 1e-3}, {"at_s": 6.0, "depth_m": 0.5}])


def test_a_table_that_turns_back_is_refused() -> None:
    """A filter that grows dense and thin again has no one angle for a density."""
    with pytest.raises(JobProblems, match="turns back on itself"):
        prepared(filter="turning back")
