"""Every finding of the main job: a case that raises it, and one beside it that does not."""

import re
from pathlib import Path

import pytest

from tapehook.finding import DEPTH_USED_UNIT
from tapehook.job import Camera, Criterion, Job
from tapehook.job.records import Axis
from tapehook.prep import prepare
from tests.prep.jobs import BOTH, DISTANCES_M, a_job, a_lens, read_off, ring_read, true_position, with_slip

SOURCE = Path(__file__).parent.parent.parent / "src" / "tapehook" / "prep"

STOPS = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0)
EVEN = (0.0, 10.0, 20.0, 30.0, 40.0, 50.0)
FOCALS = (25.0, 35.0, 50.0, 70.0, 85.0, 100.0)
TURNS_BACK = (0.0, 40.0, 10.0, 30.0, 5.0, 50.0)


def _alone(**instead: object) -> Job:
    """The usual job with one thing about its lens changed."""
    return a_job([a_lens("L1", **instead)])


def _with(axis: Axis, values: tuple[float, ...], positions: tuple[float, ...]) -> Job:
    return a_job(readings=[*read_off(), *ring_read(axis, values, positions)])


GOOD = a_job()

CASES: dict[str, tuple[Job, Job]] = {
    "lens.no_readings": (a_job(readings=[]), GOOD),
    "lens.no_focal_length": (_alone(focal_mm=None), GOOD),
    "lens.no_stop": (a_job([a_lens(t_stop=None)], shooting_stop=None), _alone(t_stop=None)),
    "lens.blur_floor": (_alone(blur_floor_mm=0.03), _alone(blur_floor_mm=0.02)),
    "lens.serial_not_read": (a_job([a_lens(serial=None), a_lens("L2")]), a_job([a_lens(serial=None)])),
    "lens.serial_twice": (
        a_job([a_lens(), a_lens("L2", serial="4711")]),
        a_job([a_lens(model="A"), a_lens("L2", model="B", serial="4711"), a_lens("L3", focal_mm=35.0, serial="4711")]),
    ),
    "lens.labels_alike": (a_job([a_lens("L1"), a_lens("l 1")]), a_job([a_lens("L1"), a_lens("L11")])),
    "map.pasted_twice": (
        a_job(readings=[*read_off(noise_deg=0.1), *read_off(noise_deg=0.1)]),
        a_job(readings=[*read_off(noise_deg=0.1, seed=1), *read_off(noise_deg=0.1, seed=2)]),
    ),
    "map.suspect_mark": (a_job(readings=with_slip(read_off(), 2.5, 30.0)), GOOD),
    "map.refused": (a_job(readings=read_off(DISTANCES_M[:3])), a_job(readings=read_off(DISTANCES_M[:5]))),
    "map.not_monotone": (
        a_job(readings=with_slip(read_off((0.6, 1.0, 1.3, 1.8, 8.0)), 1.3, 90.0)),
        a_job(readings=read_off((0.6, 1.0, 1.3, 1.8, 8.0))),
    ),
    "map.direction": (_alone(rises_toward="far"), _alone(rises_toward=None)),
    "map.long_turn": (
        a_job(readings=[one.model_copy(update={"position": 10 * one.position}) for one in read_off()]),
        GOOD,
    ),
    "map.no_infinity": (a_job(readings=read_off(DISTANCES_M[:-1])), GOOD),
    "map.no_close_focus": (_alone(close_focus_m=0.5), _alone(close_focus_m=0.595)),
    "map.nearer_than_close_focus": (_alone(close_focus_m=0.65), _alone(close_focus_m=None)),
    "map.one_way": (a_job(readings=read_off(ways=BOTH[:1])), GOOD),
    "map.next_mark": (a_job(readings=read_off(DISTANCES_M[::3])), GOOD),
    "stop.wider_than_lens": (a_job(shooting_stop="T1.4"), a_job(shooting_stop="T2")),
    "budget.soft": (a_job([a_lens(focal_mm=300.0, pupil_to_sensor_mm=None)], shooting_stop="T2"), GOOD),
    "budget.tight": (a_job(readings=read_off(play_deg=6.0)), GOOD),
    "budget.good": (GOOD, a_job([a_lens(focal_mm=300.0, pupil_to_sensor_mm=None)], shooting_stop="T2")),
    "iris.refused": (_with("iris", STOPS[:3], EVEN[:3]), _with("iris", STOPS[:4], EVEN[:4])),
    "iris.not_monotone": (_with("iris", STOPS, TURNS_BACK), _with("iris", STOPS, EVEN)),
    "zoom.refused": (_with("zoom", FOCALS[:3], EVEN[:3]), _with("zoom", FOCALS[:4], EVEN[:4])),
    "zoom.not_monotone": (_with("zoom", FOCALS, TURNS_BACK), _with("zoom", FOCALS, EVEN)),
    "camera.no_sensor_data": (
        a_job(cameras=(Camera(letter="A"),), criterion=Criterion(name="diagonal")),
        a_job(criterion=Criterion(name="diagonal")),
    ),
    "camera.no_lenses": (a_job([a_lens(camera="A")], cameras=(Camera(letter="A"), Camera(letter="B"))), GOOD),
    "job.no_shooting_stop": (a_job(shooting_stop=None), GOOD),
    "job.coc_unusual": (
        a_job(criterion=Criterion(name="fixed", coc_mm=0.25)),
        a_job(criterion=Criterion(name="fixed", coc_mm=0.05)),
    ),
    "job.not_read": (
        GOOD.model_copy(update={"column_order": {"lenses": ("id", "Focal length")}}),
        GOOD.model_copy(update={"column_order": {"lenses": ("id", "focal_mm", "Focal length", "shelf")}}),
    ),
    "job.out_of_range": (
        _alone(focal_mm=None, extra={"focal_mm (out of range)": "0.05"}),
        _alone(focal_mm=None, extra={"focal_mm (out of range)": "50"}),
    ),
    "job.no_serials": (_alone(serial=None), GOOD),
}
"""Finding code: a job that raises it, and one like it that does not."""


def _codes(job: Job) -> set[str]:
    return {finding.code for finding in prepare(job).findings}


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised(code: str) -> None:
    """The job that has the trouble has the finding, with its subject, its words and its next step."""
    found = [finding for finding in prepare(CASES[code][0]).findings if finding.code == code]
    assert found
    for finding in found:
        assert finding.message.endswith(".")
        assert finding.next_step.endswith(".")
        assert (finding.lens_id is not None) == finding.subject.startswith("lens ")
        assert (finding.camera is not None) == finding.subject.startswith("camera ")
        assert finding.figure is None or finding.figure.unit != DEPTH_USED_UNIT or finding.figure.stop


@pytest.mark.parametrize("code", CASES)
def test_finding_is_not_raised_without_cause(code: str) -> None:
    """The job beside it, without the trouble, does not have the finding."""
    assert code not in _codes(CASES[code][1])


def test_every_code_has_a_case() -> None:
    """No finding can be added without a case here: the codes are counted in the source."""
    text = "".join(path.read_text(encoding="utf-8") for path in SOURCE.glob("*.py"))
    named = set(re.findall(r'"((?:lens|map|stop|budget|camera|job|iris|zoom)\.[a-z_]+)"', text))
    for ending in re.findall(r'f"\{axis\.axis\}\.([a-z_]+)"', text):
        named |= {f"iris.{ending}", f"zoom.{ending}"}
    assert named - {"job.toml"} == set(CASES)


def test_a_good_job_is_left_in_peace() -> None:
    """A lens read well and known well has one finding, that its budget is good, and it is no more than info."""
    found = prepare(GOOD).findings
    assert [(finding.code, finding.severity) for finding in found] == [("budget.good", "info")]


def test_suspect_mark_names_the_right_one() -> None:
    """The mark that slipped is the one accused, left out of the map, and its share stands beside the stop."""
    entry = prepare(a_job(readings=with_slip(read_off(), 2.5, 30.0))).lens("L1")
    assert [row.value for row in entry.marks if row.suspect] == [2.5]
    accused = next(row for row in entry.marks if row.suspect)
    assert accused.error == accused.held_out == pytest.approx(30.0, abs=0.5)
    assert entry.focus_map is not None
    assert 2.5 not in entry.focus_map.marks.values
    figure = next(finding.figure for finding in entry.findings if finding.code == "map.suspect_mark")
    assert figure is not None
    assert figure.stop == "T2"
    assert accused.used_widest is not None
    assert figure.value == pytest.approx(100.0 * accused.used_widest)


@pytest.mark.parametrize("off", [1.0, 3.0, 5.0])
def test_a_slip_of_a_few_degrees_is_named(off: float) -> None:
    """On a ring read this well, with noise of 0.05 degrees, a slip of a degree is told from chance."""
    entry = prepare(a_job(readings=with_slip(read_off(), 1.3, off))).lens("L1")
    assert [(row.value, row.approach) for row in entry.suspects] == [(1.3, "all")]
    assert entry.suspects[0].position == pytest.approx(float(true_position(1.3)), abs=0.5)


def test_a_slip_lost_in_the_noise_is_not_named() -> None:
    """Where readings scatter by 0.3 degrees a slip of half a degree is chance, and nothing is accused."""
    readings = with_slip(read_off(noise_deg=0.3), 1.3, 0.5)
    assert prepare(a_job(readings=readings)).lens("L1").suspects == ()


def test_a_slip_that_matters_little_is_only_watched() -> None:
    """The same slip must be acted on at T2, and be known of on a wide lens at T22."""
    slipped = with_slip(read_off(), 2.5, 3.0)
    wide = a_lens(focal_mm=10.0, t_stop=22.0, pupil_to_sensor_mm=None, blur_floor_mm=None)
    found = {}
    for name, job in (("open", a_job(readings=slipped)), ("down", a_job([wide], slipped))):
        findings = prepare(job).lens("L1").findings
        found[name] = next(finding.severity for finding in findings if finding.code == "map.suspect_mark")
    assert found == {"open": "fix", "down": "watch"}


def test_findings_of_a_job_come_worst_first() -> None:
    """All findings of all lenses and cameras stand in one list, fix first."""
    job = a_job(
        [a_lens(), a_lens("L2"), a_lens("L3", focal_mm=None)],
        [*read_off(), *read_off(lens_id="L2", ways=BOTH[:1]), *read_off(lens_id="L3")],
        cameras=(Camera(letter="A"), Camera(letter="B")),
    )
    rank = {"fix": 0, "watch": 1, "info": 2}
    prep = prepare(job)
    order = [rank[finding.severity] for finding in prep.findings]
    assert order == sorted(order)
    assert len(order) == sum(len(entry.findings) for entry in prep.lenses) + sum(
        len(camera.findings) for camera in prep.cameras
    )
    assert prep.lens("L3").worst_severity == "fix"
    assert prep.lens("L1").worst_severity == "info"


def test_no_share_is_given_off_a_map_that_turns_back() -> None:
    """A position of thousands of turns bends the map until every mark is near it: that says no mark is good."""
    entry = prepare(a_job(readings=with_slip(read_off(), 1.3, 1e8))).lens("L1")
    assert "map.not_monotone" in {finding.code for finding in entry.findings}
    assert {(row.used_widest, row.used_shooting) for row in entry.marks} == {(None, None)}


def test_a_turn_no_ring_makes_is_told() -> None:
    """Ten times as many degrees: nothing contradicts itself, but the points were lost; counts may be as many."""
    tenfold = [one.model_copy(update={"position": 10 * one.position}) for one in read_off()]
    (found,) = [one for one in prepare(a_job(readings=tenfold)).findings if one.code == "map.long_turn"]
    assert found.severity == "watch"
    assert found.figure is not None
    assert found.figure.value > 720
    counts = a_job([a_lens(unit="count")], tenfold)
    assert not any(one.code == "map.long_turn" for one in prepare(counts).findings)
