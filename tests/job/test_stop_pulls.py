"""The table `[stop_pull]` of a shot's file: what it takes, what it refuses, and where it is looked for."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import JobProblems
from tapehook.job.stop_pulls import read_stop_pull, stop_pull_from

COURSE = 'course = [{ at_s = 0, stop = "T2" }, { at_s = 6, stop = "T2.8 1/3" }]'
USUAL = f'[stop_pull]\nlens = "L1"\nfilter = "P"\n{COURSE}\n'


def problems(text: str) -> str:
    """What is wrong with a file, in one string."""
    with pytest.raises(JobProblems) as refusal:
        stop_pull_from(text.encode(), "shots/x.toml")
    return " ".join(problem.sentence() for problem in refusal.value.problems)


def test_the_least_that_must_be_said() -> None:
    """Lens, filter and two stops; the rest is left open."""
    plan = stop_pull_from(USUAL.encode(), "shots/x.toml")
    assert (plan.lens, plan.filter, plan.easing, plan.extra_speed_deg_s) == ("L1", "P", "eased", None)
    assert [point.stop for point in plan.course] == ["T2", "T2.8 1/3"]


def test_lens_and_speed_come_from_the_shot() -> None:
    """What stands at the top of the file is taken where the table is silent, and the rest of the file left alone."""
    text = f'lens = "L2"\nframes_per_second = 25\npeople = 3\n[stop_pull]\nfilter = "P"\nmood = "calm"\n{COURSE}'
    plan = stop_pull_from(text.encode(), "shots/x.toml")
    assert (plan.lens, plan.frames_per_second) == ("L2", 25.0)


@pytest.mark.parametrize(
    "text, words",
    [
        ('lens = "L1"', ["stop_pull: expected a table headed [stop_pull]"]),
        ("[stop_pull]", ["stop_pull.lens", "stop_pull.filter", "stop_pull.course"]),
        (USUAL.replace("T2.8 1/3", "f/4"), ["stop_pull.course[2].stop", 'read "f/4"']),
        (USUAL.replace("at_s = 6", "at_s = 0"), ["stop_pull.course[2].at_s", "a moment after the one before"]),
        (USUAL + "extra_from_deg = 10\nextra_to_deg = 10", ["another angle than extra_from_deg"]),
        (USUAL + 'easing = "slow"\niris_speed_deg_s = "fast"', ['"even" or "eased"', "degrees of ring a second"]),
        (USUAL.replace("at_s = 6", "at_s = 600"), ["at most 120"]),
        ("[stop_pull", ["TOML"]),
        (USUAL.replace('stop = "T2"', "depth_m = 0.3"), ["stop_pull.distance_m", "for a depth or a blur"]),
        (USUAL.replace('stop = "T2"', 'stop = "T2", blur_mm = 1'), ["stop_pull.course[1]", "one of stop, depth_m"]),
        (USUAL.replace('stop = "T2"', "blur_mm = 1") + "distance_m = 3\nbackground_m = 2", ["behind the subject"]),
    ],
)
def test_what_is_wrong_is_told(text: str, words: list[str]) -> None:
    """With the key, what was read and what was expected, all at once."""
    said = problems(text)
    assert all(word in said for word in words), said


@given(data=st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    """Whatever stands in the file, the only error is a list of problems; random bytes hold no stop pull."""
    with pytest.raises(JobProblems) as refusal:
        stop_pull_from(data, "shots/x.toml")
    assert refusal.value.problems


@pytest.mark.parametrize("name", ["", "../job", "a/b", ".hidden", "a\\b", "nul\0", "none"])
def test_only_shots_of_the_folder(tmp_path: Path, name: str) -> None:
    """A name is no path; one that is not there is told with those that are."""
    (tmp_path / "shots").mkdir()
    (tmp_path / "shots" / "first.toml").write_text(USUAL, encoding="utf-8")
    assert read_stop_pull(tmp_path, "first").lens == "L1"
    with pytest.raises(JobProblems) as refusal:
        read_stop_pull(tmp_path, name)
    assert ("first" in str(refusal.value)) == (name == "none")
