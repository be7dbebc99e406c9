"""Any shot at all is refused in words, or its figures hold: never a wrong curve. And who is behind the camera."""

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapehook.handover.shot_sheets import shot_pages
from tapehook.job import JobProblems, read_job
from tapehook.job.shot_files import as_floats
from tapehook.job.shot_writing import shot_text
from tapehook.job.shots import Shot, shot_from, shot_of
from tapehook.pages.shots import planned
from tapehook.prep import Prep, prepare
from tapehook.prep.shot_findings import plan_as_json, shot_findings
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shot_sheet import marks_of
from tapehook.prep.shots import plan_shot
from tests.cli.running import ROOT
from tests.cli.shapes import misfits, schema

DEMO = ROOT / "src" / "tapehook" / "demo_job"
NAMES = ("Ada", "Ivo", "Tess")


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    job = read_job(DEMO)
    wanted = ("L03", "L05", "L12", "L19", "L21")
    return prepare(job.model_copy(update={"lenses": tuple(one for one in job.lenses if one.id in wanted)}), brief=True)


_METRE = st.floats(-8, 30) | st.integers(-2, 12) | st.floats(0.2, 8) | st.sampled_from([0, -0.0, 1e-9, 1e4])
_PLACE = st.lists(_METRE, min_size=3, max_size=3)
_GAP = st.floats(0.05, 3) | st.sampled_from([0.04, 1, 2])


def _path(points: list[tuple[float, list[float]]]) -> list[dict[str, Any]]:
    """Waypoints from the gaps between them, so that moments rise."""
    moments = np.cumsum([gap for gap, _ in points]) - points[0][0]
    return [{"at_s": float(at), "place_m": place} for at, (_, place) in zip(moments, points, strict=True)]


def _hold(given: tuple[float, float, list[str]]) -> dict[str, Any]:
    return {"from_s": given[0], "to_s": given[0] + given[1], "who": given[2]}


def _zoom(points: list[tuple[float, float]]) -> list[dict[str, float]]:
    moments = np.cumsum([gap for gap, _ in points])
    return [{"at_s": float(at), "focal_mm": focal} for at, (_, focal) in zip(moments, points, strict=True)]


_PATH: st.SearchStrategy[list[dict[str, Any]]] = st.lists(st.tuples(_GAP, _PLACE), min_size=1, max_size=4).map(_path)
_PERSON: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries({"name": st.sampled_from(NAMES), "path": _PATH})
_WHO = st.lists(st.sampled_from(NAMES), min_size=1, max_size=2)
_HOLD: st.SearchStrategy[dict[str, Any]] = st.tuples(st.floats(0, 4), _GAP, _WHO).map(_hold)
_FOCAL: st.SearchStrategy[list[dict[str, float]]] = st.lists(st.tuples(_GAP, st.floats(22, 58)), max_size=3).map(_zoom)


def _known(document: dict[str, Any]) -> dict[str, Any]:
    """Only the first of those held need be there: others are taken out, so that few shots are refused for that."""
    names = [one["name"] for one in document["people"]]
    holds = [{**hold, "who": [name for name in hold["who"] if name in names] or names[:1]} for hold in document["hold"]]
    return {**document, "hold": holds}


SHOT: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries(
    {
        "lens": st.sampled_from(["L03", "L05", "L12", "L19", "L19"]),
        "people": st.lists(_PERSON, min_size=1, max_size=3, unique_by=lambda one: str(one["name"])),
        "hold": st.lists(_HOLD, max_size=3),
        "frames_per_second": st.sampled_from([2, 5, 10]),
    },
    optional={
        "stop": st.sampled_from(["T2.8", "T5.6", "T22"]),
        "within": st.floats(0.01, 1),
        "lag_ms": st.floats(0, 400),
        "speed_deg_s": st.floats(0.1, 500),
        "acceleration_deg_s2": st.floats(1, 5000),
        "squeeze": st.floats(1, 2),
        "close_up_dpt": st.floats(0.1, 10),
        "front_mm": st.floats(10, 300) | st.floats(120, 200),
        "tube_mm": st.floats(0.5, 60),
        "extender_on": st.booleans(),
        "focal_path": _FOCAL,
        "camera_path": _PATH,
    },
).map(_known)


@given(SHOT)
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_shot_is_refused_or_its_figures_hold(prep: Prep, document: dict[str, Any]) -> None:
    """Whatever the file says: problems in words; or a line on the ring, within its lane where it is said to hold, with
    findings, JSON of its shape, marks, a page on screen and a page on paper; and it is written back as it is."""
    try:
        shot = shot_of(as_floats(document), "shots/x.toml")
        plan = plan_shot(prep, shot, exact=False)
    except (JobProblems, NoPlan):
        return
    ends = plan.ring.ends / plan.ring.lens_map.degrees_per_unit
    assert np.all((plan.position >= ends[0] - 1e-6) & (plan.position <= ends[1] + 1e-6))
    if plan.feasible:
        assert np.all((plan.position >= plan.low - 1e-6) & (plan.position <= plan.high + 1e-6))
        assert not plan.soft.any()
    assert shot_findings(plan)
    said = plan_as_json(plan)
    json.dumps(said, allow_nan=False)
    assert list(misfits(said, schema("pull"))) == []
    assert marks_of(plan)
    assert "lane" in planned(prep, shot, exact=False, narrow=True)
    assert shot_from(shot_text(shot).encode(), "x") == shot


def _plan_of(prep: Prep, *people: str, head: str = "") -> list[tuple[str, str]]:
    text = f'lens = "L05"\nstop = "T5.6"\ncamera = "A"\n{head}' + "".join(people)
    return [(one.code, one.message) for one in shot_findings(plan_shot(prep, shot_from(text.encode(), "x")))]


def _at(name: str, *points: tuple[float, float, float]) -> str:
    path = ", ".join(f"{{ at_s = {at}, place_m = [{x}, {y}, 1.5] }}" for at, x, y in points)
    return f'[[people]]\nname = "{name}"\npath = [{path}]\n'


def test_somebody_behind_the_camera_is_told(prep: Prep) -> None:
    """Held beside somebody in front: behind; to the side: out of the picture; both close together: nothing."""
    ada = _at("Ada", (0, 0, 3), (2, 0, 3))
    behind = dict(_plan_of(prep, ada, _at("Ivo", (0, 0.2, -3))))
    assert "Ivo is held and behind the camera" in behind["shot.behind"]
    assert "180° round" in behind["shot.behind"] or "176° round" in behind["shot.behind"]
    beside = dict(_plan_of(prep, ada, _at("Ivo", (0, 3, 3))))
    assert "out of the picture" in beside["shot.behind"]
    assert "45° round from Ada" in beside["shot.behind"]
    assert "shot.behind" not in dict(_plan_of(prep, ada, _at("Ivo", (0, 0.3, 3))))


def test_a_walk_past_the_camera_is_told(prep: Prep) -> None:
    """From three metres in front to three metres behind: the camera has to turn round, and she comes too near."""
    found = dict(_plan_of(prep, _at("Ada", (0, 0.3, 3), (3, 0.3, -3))))
    assert "Ada is behind where the camera looked at first" in found["shot.behind"]
    assert "shot.too_near" in found


def test_a_move_of_no_length_stands_still(prep: Prep) -> None:
    """Two waypoints at one place: as if there were one; two places at one moment are refused."""
    plan = plan_shot(prep, shot_from(f'lens = "L05"\n{_at("Ada", (0, 0, 3), (2, 0, 3))}'.encode(), "x"))
    assert np.ptp(plan.people[0].distance_m) == 0.0
    assert np.ptp(plan.position) < 1e-6
    with pytest.raises(JobProblems, match="at_s"):
        shot_from(f'lens = "L05"\n{_at("Ada", (1, 0, 3), (1, 0, 5))}'.encode(), "x")


def test_a_page_on_paper_for_whatever_has_a_plan(prep: Prep) -> None:
    """Zoom, close-up lens and squeeze at once still make a page."""
    text = (
        'lens = "L19"\nstop = "T4"\nsqueeze = 1.8\nclose_up_dpt = 0.5\n'
        "focal_path = [{ at_s = 0, focal_mm = 22 }, { at_s = 2, focal_mm = 58 }]\n"
        + _at("Ada", (0, 0, 1.5), (2, 0, 1.2))
    )
    shots: dict[str, Shot] = {"x": shot_from(text.encode(), "x")}
    said = shot_pages(prep, shots, [])
    assert said is not None
    assert len(said["pages"]) == 1


def test_a_hold_without_a_frame_is_refused() -> None:
    """Between two frames nothing can be held: refused, with the rate."""
    text = f'lens = "L05"\nframes_per_second = 2\n{_at("Ada", (0, 0, 3), (2, 0, 4))}'
    with pytest.raises(JobProblems, match="a frame at 2 a second"):
        shot_from(f'{text}[[hold]]\nfrom_s = 0.125\nto_s = 0.375\nwho = ["Ada"]\n'.encode(), "x")


def test_the_least_soft_line_stays_on_the_ring(prep: Prep) -> None:
    """A run that no slow motor follows: the line is soft, and does not turn past the ends of the ring."""
    path = _at("Ada", (0, 0, 0.62), (1, 0, 0.62), (2, 0, 60), (5, 0, 0.62))
    plan = plan_shot(prep, shot_from(f'lens = "L05"\nstop = "T2"\nspeed_deg_s = 28\n{path}'.encode(), "x"), exact=False)
    ends = plan.ring.ends / plan.ring.lens_map.degrees_per_unit
    assert plan.soft.any()
    assert ends[0] - 1e-6 <= plan.position.min()
    assert plan.position.max() <= ends[1] + 1e-6


def test_a_lens_sharp_behind_its_own_front_is_refused(prep: Prep) -> None:
    """A wide zoom with a tube and a strong close-up lens: sharp at nothing in front of it, which is said."""
    text = 'lens = "L19"\nfocal_path = [{ at_s = 1, focal_mm = 22 }]\ntube_mm = 8\nclose_up_dpt = 6\nfront_mm = 205\n'
    with pytest.raises(NoPlan, match="in front of the lens"):
        plan_shot(prep, shot_from((text + _at("Ada", (0, 0, 1), (1, 0, 2))).encode(), "x"))
