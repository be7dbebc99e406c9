"""The ends of the ring in the main job: infinity and close focus made or not, and the motor against the stops."""

import math
from typing import Any

import pytest

from tapehook.job import Job
from tapehook.prep import prepare
from tests.prep.causes import assert_raised_with_cause_only, found
from tests.prep.jobs import NEAREST_M, TURN_DEG, a_job, a_lens, read_off, true_position

INFINITY = float(true_position(math.inf))
NEAREST = float(true_position(NEAREST_M))


def _job(*, turn_deg: float = TURN_DEG, **lens: Any) -> Job:  # noqa: ANN401 - any field of a lens
    return a_job([a_lens(**lens)], read_off(turn_deg=turn_deg))


GOOD = _job(hard_stop_far=INFINITY - 3.0, hard_stop_near=NEAREST + 2.0)
CASES: dict[str, tuple[Job, Job]] = {
    "ends.infinity": (_job(hard_stop_far=INFINITY + 1.5), _job()),
    "ends.close_focus": (_job(hard_stop_near=NEAREST - 4.0), _job()),
    "ends.motor_past_stop": (
        _job(hard_stop_far=INFINITY - 3.0, motor_end_far=INFINITY - 4.5),
        _job(hard_stop_far=INFINITY - 3.0, motor_end_far=INFINITY - 2.5),
    ),
    "ends.motor_short": (
        _job(hard_stop_near=NEAREST + 9.0, motor_end_near=NEAREST + 1.0),
        _job(hard_stop_near=NEAREST + 2.0, motor_end_near=NEAREST + 1.0),
    ),
    "ends.wrong_way_round": (_job(hard_stop_far=NEAREST + 2.0, hard_stop_near=INFINITY - 2.0), GOOD),
}
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The ring that has the trouble has the finding, in sentences; the one beside it does not."""
    assert_raised_with_cause_only(code, *CASES[code])


def test_short_of_infinity_must_be_acted_on() -> None:
    """A stop 1.5 degrees short of infinity is a fix, for a lens technician, with its figure."""
    (finding,) = found(CASES["ends.infinity"][0], "ends.infinity")
    assert finding.severity == "fix"
    assert "short of infinity" in finding.message
    assert "technician" in finding.next_step
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(-1.5, abs=0.2)


def test_room_past_infinity_is_told() -> None:
    """Three degrees past infinity are told as such, no more than info on a 50 mm."""
    (finding,) = found(GOOD, "ends.infinity")
    assert finding.severity == "info"
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(3.0, abs=0.2)


def test_a_long_lens_wants_room_for_heat() -> None:
    """20 K grow 180 mm of aluminium by 83 um, 0.0026 dpt, a third of a degree here: 0.2 degrees are to be watched."""
    long = {"focal_mm": 180.0, "pupil_to_sensor_mm": 140.0, "pupil_magnification": 0.7}
    (tight,) = found(_job(hard_stop_far=INFINITY - 0.2, **long), "ends.infinity")
    (roomy,) = found(_job(hard_stop_far=INFINITY - 3.0, **long), "ends.infinity")
    assert (tight.severity, roomy.severity) == ("watch", "info")
    assert "heat" in tight.message


def test_a_doubtful_end_is_read_again() -> None:
    """A stop a hair short of infinity, within what reading can tell, is no more than to be watched."""
    (finding,) = found(_job(hard_stop_far=INFINITY + 0.05), "ends.infinity")
    assert finding.severity == "watch"
    assert "may stay soft" in finding.message


def test_nearest_there_is_when_close_focus_is_not_made() -> None:
    """Four degrees short of 0.6 m the ring ends where 0.61 m stands."""
    (finding,) = found(CASES["ends.close_focus"][0], "ends.close_focus")
    assert finding.severity == "watch"
    assert "nothing nearer than 0.61 m" in finding.message


def test_motor_that_pushes_the_stop_warns_of_fingers() -> None:
    """Calibrated past the hard stop is a fix, with the caution for hands."""
    (finding,) = found(CASES["ends.motor_past_stop"][0], "ends.motor_past_stop")
    assert finding.severity == "fix"
    assert "fingers" in finding.next_step


def test_the_end_that_comes_first_counts() -> None:
    """A motor that stops before infinity keeps a good ring from it, and is named in place of the ring."""
    (finding,) = found(_job(hard_stop_far=INFINITY - 3.0, motor_end_far=INFINITY + 2.0), "ends.infinity")
    assert finding.message.startswith("The motor's end")
    assert "fingers" in finding.next_step


def test_either_way_positions_rise() -> None:
    """A ring that counts the other way gets the same words."""
    job = _job(turn_deg=-TURN_DEG, rises_toward="far", hard_stop_far=-INFINITY - 1.5, hard_stop_near=-NEAREST - 2.0)
    (finding,) = found(job, "ends.infinity")
    assert finding.severity == "fix"
    assert not found(job, "ends.wrong_way_round")


def test_unknown_ends_are_not_spoken_of() -> None:
    """Without the columns nothing is said; without a map neither."""
    assert not [finding for finding in prepare(_job()).findings if finding.code.startswith("ends.")]
    bare = a_job([a_lens(hard_stop_far=1.0)], [])
    assert not [finding for finding in prepare(bare).findings if finding.code.startswith("ends.")]
