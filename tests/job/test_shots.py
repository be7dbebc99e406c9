"""The files of shots: what is read, and everything that is refused, at once and with its place."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.job import JobProblems, Problem
from tapehook.job.shot_files import shot_names
from tapehook.job.shots import Shot, read_shot, shot_from
from tests.cli.running import ROOT

PLAIN = """\
lens = "L1"
[[people]]
name = "Ada"
[[people.path]]
at_s = 0
place_m = [0, 4, 1.6]
[[people.path]]
at_s = 2.5
place_m = [0, 2, 1.6]
"""


def _said(text: str) -> str:
    with pytest.raises(JobProblems) as trouble:
        shot_from(text.encode(), "shots/x.toml")
    return str(trouble.value)


def test_a_plain_shot_is_read() -> None:
    """What is not written has its usual value; whole numbers are numbers."""
    shot = shot_from(PLAIN.encode(), "shots/x.toml")
    assert (shot.lens, shot.frames_per_second, shot.within, shot.hold) == ("L1", 24.0, 1.0, [])
    assert shot.people[0].path[1].place_m == [0.0, 2.0, 1.6]
    assert shot.length_s == 2.5


def test_the_demo_job_has_a_shot() -> None:
    """It is listed and read."""
    folder = ROOT / "src" / "tapehook" / "demo_job"
    assert shot_names(folder) == ["quay", "roof", "supper", "window"]
    assert read_shot(folder, "window").people[0].name == "Ada"


@pytest.mark.parametrize(
    "change, words",
    [
        (("lens = ", "lenz = "), ["lens", "the id of a lens"]),
        (("at_s = 2.5", "at_s = 0"), ["people[1].path[2].at_s", "two places at once"]),
        (("at_s = 2.5", "at_s = -1"), ["people[1].path[2].at_s", "at least 0"]),
        (("[0, 2, 1.6]", "[0, 2]"), ["place_m", "three numbers"]),
        (("[0, 2, 1.6]", '["a", 2, 1.6]'), ["place_m", "three numbers"]),
        (("[0, 2, 1.6]", "[0, nan, 1.6]"), ["place_m"]),
        (("lens = ", 'stop = "f/2"\nlens = '), ["stop", "f/2", "T-stop"]),
        (("lens = ", "within = 1.5\nlens = "), ["within", "part of the depth"]),
        (("lens = ", "frames_per_second = 0\nlens = "), ["frames_per_second"]),
        (("at_s = 2.5", "at_s = 0.01"), ["two frames or more"]),
        (("lens = ", "lens = ="), ["TOML"]),
    ],
)
def test_what_is_wrong_is_named_with_its_place(change: tuple[str, str], words: list[str]) -> None:
    """The file, the key and what was expected."""
    said = _said(PLAIN.replace(*change))
    assert all(word in said for word in ["shots/x.toml", *words])


def test_all_problems_at_once() -> None:
    """A name twice, somebody nobody knows, and a hold that ends before it begins: three sentences."""
    again = PLAIN + PLAIN[PLAIN.index("[[people]]") :] + '[[hold]]\nfrom_s = 2\nto_s = 1\nwho = ["Eve"]\n'
    said = _said(again).splitlines()
    assert len(said) == 3
    assert "a name of its own" in said[0]
    assert "more than from_s" in said[1]
    assert "one of the people: Ada" in said[2]


@pytest.mark.parametrize("name", ["../job", "a/b", "", ".hidden", "x\0y", "c:\\x"])
def test_a_name_is_no_path(tmp_path: Path, name: str) -> None:
    """Names that lead elsewhere are refused, whatever is there."""
    with pytest.raises(JobProblems, match="without a path"):
        read_shot(tmp_path, name)


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
@settings(max_examples=200)
def test_any_bytes_are_a_shot_or_problems(data: bytes) -> None:
    """Never anything but a shot or problems with sentences."""
    found = _shot_or_problems(data)
    assert isinstance(found, Shot) or (found and all(problem.sentence() for problem in found))


def _shot_or_problems(data: bytes) -> Shot | tuple[Problem, ...]:
    try:
        return shot_from(data, "shots/x.toml")
    except JobProblems as trouble:
        return trouble.problems
