"""A shot written back as it was edited: it reads the same, and what nobody here knows stays."""

import tomllib

import pytest

from tapehook.job import JobProblems
from tapehook.job.shot_writing import shot_text
from tapehook.job.shots import shot_from
from tests.cli.running import ROOT

SHOTS = ROOT / "src" / "tapehook" / "demo_job" / "shots"


@pytest.mark.parametrize("name", ["window", "supper", "roof", "quay"])
def test_a_shot_reads_the_same_again(name: str) -> None:
    """Each shot of the demo job, written anew and in place of its own text, with its first comment."""
    text = (SHOTS / f"{name}.toml").read_text(encoding="utf-8")
    shot = shot_from(text.encode(), "x")
    for written in (shot_text(shot), shot_text(shot, text)):
        assert shot_from(written.encode(), "x") == shot
    assert shot_text(shot, text).startswith(text.splitlines()[0])


def test_what_is_not_known_stays() -> None:
    """Keys and tables of others, of the shot and of a person; those of somebody who has gone go with them."""
    before = (
        '# Mind the step.\nscene = "12A"\nlens = "L05"\n[[people]]\nname = "Ada"\ncolour = "red"\n'
        'path = [{ at_s = 0, place_m = [0, 2, 1.6] }, { at_s = 2, place_m = [0, 3, 1.6] }]\n[[people]]\nname = "Ivo"\n'
        'shoe = 43\npath = [{ at_s = 0, place_m = [0, 2, 1.6] }]\n[stop_pull]\nfilter = "pair"\n'
    )
    shot = shot_from(before.encode(), "x")
    written = shot_text(shot.model_copy(update={"people": shot.people[:1], "title": "New"}), before)
    found = tomllib.loads(written)
    assert (found["scene"], found["stop_pull"]["filter"], found["title"]) == ("12A", "pair", "New")
    assert [one["name"] for one in found["people"]] == ["Ada"]
    assert found["people"][0]["colour"] == "red"
    assert written.startswith("# Mind the step.\n")


def test_what_is_no_toml_is_not_written_over() -> None:
    """Text that cannot be read is somebody's work: refused, in words."""
    shot = shot_from((SHOTS / "window.toml").read_bytes(), "x")
    with pytest.raises(JobProblems):
        shot_text(shot, "lens = [")
