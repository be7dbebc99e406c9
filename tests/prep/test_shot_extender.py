"""Shots with the lens on its extender: against the closed form, ``tapehook depth --extender``, and the bare lens."""

import json
import math
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.cli import main
from tapehook.job.shot_writing import shot_text
from tapehook.job.shots import Shot, shot_from
from tapehook.prep import Prep, prepare
from tapehook.prep.shot_chance import beats_of
from tapehook.prep.shot_findings import plan_as_json
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shot_sheet import marks_of
from tapehook.prep.shots import ShotPlan, field_deg, plan_shot, widest_of
from tests.prep.jobs import a_job, a_lens, read_off

F, P, E, L, X, COC = 0.05, 1.15, 0.041, 0.03, 2.0, 25e-6
PEOPLE = (
    '[[people]]\nname = "Ada"\npath = [{ at_s = 0, place_m = [0, %s, 1.5] }, { at_s = 1, place_m = [0, %s, 1.5] }]\n'
)


def _prep(**instead: Any) -> Prep:  # noqa: ANN401 - any field of a lens
    lens = a_lens(**{"extender": X, "extender_length_mm": 1e3 * L, "blur_floor_mm": None, **instead})
    return prepare(a_job([lens], read_off(noise_deg=0.02)), brief=True)


PREP = _prep()


def _shot(head: str, near_m: float, far_m: float | None = None) -> Shot:
    people = PEOPLE % (near_m, near_m if far_m is None else far_m)
    return shot_from(f'lens = "L1"\n{head}\n{people}'.encode(), "x")


def _plan(head: str, near_m: float, far_m: float | None = None, prep: Prep = PREP) -> ShotPlan:
    return plan_shot(prep, _shot(head, near_m, far_m))


def _pupil_m(distance_m: float) -> tuple[float, float]:
    """Magnification and distance from the pupil, by bisection of D = f/m + f/P + e + f m, from the bare image plane."""
    low, high = 1e-9, 1.0
    for _ in range(200):
        m = math.sqrt(low * high)
        low, high = (m, high) if F / m + F / P + E + F * m > distance_m else (low, m)
    return m, F / m + F / P


@given(st.floats(0.9, 12.0), st.sampled_from([2.0, 2.8, 4.0, 5.6]))
@settings(max_examples=30, deadline=None)
def test_the_lane_ends_where_the_blur_is_half_as_large(distance: float, t: float) -> None:
    """Somebody at D is D - 30 mm from the bare image plane; at either end of the lane their disc c = m A u |1/u' - 1/u|
    behind the lens is 25 um over the factor."""
    plan = _plan(f'stop = "T{t:g}"\nextender_on = true', distance)
    unit = plan.ring.lens_map.degrees_per_unit
    n = plan.stop.f_number
    assert n == pytest.approx(t * 0.9)
    seen = distance - L
    for end in (plan.low[0], plan.high[0]):
        setting = float(plan.ring.setting(np.array([end * unit]))[0])
        if not 0.61 < setting < 1e4:  # the lane is cut off by the ends of the ring
            continue
        m, u = _pupil_m(setting)
        u_seen = u + seen - setting
        blur = m * (F / n) * u * abs(1.0 / u_seen - 1.0 / u)
        assert blur == pytest.approx(COC / X, rel=1e-3)


def test_ends_are_those_of_the_depth_command() -> None:
    """Set where the lane ends, ``tapehook depth --extender`` has its near or far limit at the person."""
    plan = _plan('stop = "T4"\nextender_on = true', 3.0)
    unit = plan.ring.lens_map.degrees_per_unit
    ends = [float(plan.ring.fittings.subject_m(plan.ring.setting(np.array([e[0] * unit])))[0]) for e in _ends(plan)]
    found = []
    for end in ends:
        options = ["--focal", "50mm", "--stop", "T4", "--distance", f"{end:.9f} m", "--transmission", "0.81"]
        options += ["--pupil-to-sensor", "41mm", "--pupil-magnification", "1.15", "--coc", "0.025mm"]
        options += ["--extender", "2x", "--extender-length", "30mm", "--json"]
        answer = CliRunner().invoke(main, ["depth", *options])
        assert answer.exit_code == 0, answer.output
        found.append(json.loads(answer.stdout))
    near, far = sorted(found, key=lambda one: float(one["near_m"]))
    assert near["far_m"] == pytest.approx(3.0, rel=1e-5)
    assert far["near_m"] == pytest.approx(3.0, rel=1e-5)
    assert near["extender"]["stop"] == "T8"


def _ends(plan: ShotPlan) -> tuple[Any, Any]:
    return plan.low, plan.high


def test_the_line_is_that_of_the_bare_lens_thirty_millimetres_nearer() -> None:
    """A walk from 4 m to 2 m is pulled, but for the room there is, as one from 3.97 m to 1.97 m without it."""
    on = _plan('stop = "T4"\nextender_on = true\nwithin = 0.01', 4.0, 2.0)
    bare = _plan('stop = "T4"\nwithin = 0.005', 4.0 - L, 2.0 - L)
    assert on.position == pytest.approx(bare.position, abs=0.02)
    assert on.in_focus_m == pytest.approx(bare.in_focus_m + L, rel=1e-3)


def test_what_is_said_is_as_it_works() -> None:
    """T2 on the ring is T4 on the extender, 100 mm; depth used, chance and field go with it."""
    on, bare = (_plan(f'stop = "T2"\ncamera = "A"\nextender_on = {said}', 4.0, 2.0) for said in ("true", "false"))
    assert on.stop.text == "T4 (ring at T2)"
    assert plan_as_json(on)["extender"] == {
        "factor": 2.0,
        "length_mm": pytest.approx(30.0),
        "focal_mm": 100.0,
        "set_to": 2.0,
        "works_at": 4.0,
    }
    assert plan_as_json(bare)["extender"] is None
    assert any("On its 2x extender it is 100 mm" in said for said in on.assumptions)
    assert beats_of(on)[0].chance < beats_of(bare)[0].chance
    half = [math.tan(math.radians(float(field_deg(plan)[12])) / 2.0) for plan in (bare, on)]
    assert half[1] == pytest.approx(half[0] / 2.0, rel=0.01)


def test_without_a_stop_the_ring_opens_for_it() -> None:
    """The job is shot at T4: the ring goes to T2, its widest, and works at T4."""
    assert _plan("extender_on = true", 3.0).stop.text == "T4 (ring at T2)"
    assert _plan("", 3.0).stop.text == "T4"
    widest = widest_of(PREP, _shot("extender_on = true", 3.0))
    assert widest is not None
    assert widest.text.endswith("(ring at T2)")


def test_the_strip_of_the_sheet_counts_from_the_sensor() -> None:
    """A strip made for the extender says where somebody is, which is what is in focus."""
    (first, *_) = marks_of(_plan('stop = "T4"\nextender_on = true\nwithin = 0.01', 3.0))
    assert first.strip == first.metres == "3 m"


def test_close_focus_is_as_much_farther() -> None:
    """The lens reaches 0.6 m of its own: 0.63 m from the sensor; somebody at 0.62 m is too near, and none is lost."""
    plan = _plan('stop = "T8"\nextender_on = true', 0.62)
    assert plan.people[0].unreachable.all() or plan.people[0].used.max() > 0.0
    assert plan.ring.reach_m[0] == pytest.approx(0.63, rel=1e-6)


@pytest.mark.parametrize(
    "lens, head, field_name",
    [({"extender": None}, "extender_on = true", "extender_on"), ({}, "extender_on = true\ntube_mm = 5", "tube_mm")],
)
def test_what_cannot_be_is_refused(lens: dict[str, Any], head: str, field_name: str) -> None:
    """A lens without an extender; a tube besides, as nobody says which stands before which."""
    with pytest.raises(NoPlan) as refused:
        _plan(head, 3.0, prep=_prep(**lens))
    assert refused.value.field == field_name


def test_the_file_keeps_it() -> None:
    """Written back as it was; not there where it is not on."""
    shot = _shot("extender_on = true", 3.0)
    assert "extender_on = true" in shot_text(shot)
    assert shot_from(shot_text(shot).encode(), "x") == shot
    assert "extender_on" not in shot_text(_shot("", 3.0))
