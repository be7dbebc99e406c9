"""The sheet of a shot and the table over lenses and stops."""

import pytest

from tapehook.job import read_job
from tapehook.job.shots import read_shot
from tapehook.notation import parse_distance
from tapehook.optics import depth_of_field
from tapehook.prep import Prep, prepare
from tapehook.prep.shot_sheet import marks_of
from tapehook.prep.shot_table import lens_rows, stops_from
from tapehook.prep.shots import plan_shot
from tests.cli.running import ROOT

DEMO = ROOT / "src" / "tapehook" / "demo_job"


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    job = read_job(DEMO)
    wanted = ("L04", "L05", "L06", "L09", "L21")
    return prepare(job.model_copy(update={"lenses": tuple(one for one in job.lenses if one.id in wanted)}), brief=True)


def test_marks_say_what_the_ring_does(prep: Prep) -> None:
    """At each mark the printed near and far are those of the printed distance, and who is held lies between."""
    plan = plan_shot(prep, read_shot(DEMO, "window"))
    marks = marks_of(plan)
    assert [(round(mark.time_s, 2), mark.who) for mark in marks] == [
        (0.0, "Ada"), (4.0, "Ada"), (4.5, "Ada"), (5.21, "Ivo"), (7.0, "Ivo"),
    ]  # fmt: skip
    for mark in marks:
        frame = round(mark.time_s * 24)
        focus = parse_distance(mark.metres)
        depth = depth_of_field(focus, 0.05, plan.stop.f_number, plan.ring.blur_m, plan.ring.pupil)
        assert parse_distance(mark.near) == pytest.approx(float(depth.near_m), rel=0.01)
        assert parse_distance(mark.far) == pytest.approx(float(depth.far_m), rel=0.01)
        held = next(one for one in plan.people if one.name == mark.who)
        assert float(depth.near_m) * 0.99 <= held.distance_m[frame] <= float(depth.far_m) * 1.01
        assert mark.feet == mark.strip  # nothing stands in front of the lens


def test_the_strip_says_another_distance_behind_a_close_up_lens(prep: Prep) -> None:
    """What is in focus and what the strip says part where a close-up lens is on."""
    shot = read_shot(DEMO, "supper").model_copy(update={"lens": "L05", "stop": "T8", "close_up_dpt": 0.3})
    for mark in marks_of(plan_shot(prep, shot)):
        assert parse_distance(mark.strip) > parse_distance(mark.feet)


def test_the_table_agrees_with_the_plan_at_each_stop(prep: Prep) -> None:
    """Each lens and each stop of the table: the word is what planning the shot there says."""
    shot = read_shot(DEMO, "quay")
    rows = list(lens_rows(prep, shot))
    assert [row.entry.lens.id for row in rows] == ["L21", "L04", "L05", "L06", "L09"]
    assert rows[0].refusal is not None
    assert rows[0].word(4.0) is None
    words = set()
    for row in rows[1:]:
        for number in stops_from(prep):
            word = row.word(number)
            words.add(word)
            if word == "opens no wider":
                assert row.entry.widest is not None
                assert number < row.entry.widest.t_number
                continue
            there = shot.model_copy(update={"lens": row.entry.lens.id, "stop": f"T{number:g}"})
            assert plan_shot(prep, there, exact=False).feasible == (word == "holds")
    assert words == {"holds", "soft", "opens no wider"}
