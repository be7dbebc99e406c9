"""``tapehook swap``: the documented shape, the list, the marks, and what is refused."""

from pathlib import Path

import pytest

from tapehook.job.shot_lenses import shots_on
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

DEMO = ROOT / "src" / "tapehook" / "demo_job"
SWAP = ("swap", DEMO, "--goes", "L05", "--comes", "50431")


def test_the_json_has_its_shape() -> None:
    """Before and after two marks, in the documented shape; the two marks settle it."""
    before = run_json(*SWAP)
    after = run_json(*SWAP, "--mark", "5ft = 156.8 / 157.0", "--mark", "2ft 3in = 275.3 / 275.6")
    for found in (before, after):
        assert list(misfits(found, schema("swap"))) == []
    assert (before["settled"], after["settled"]) == (False, True)
    assert [one["distance_text"] for one in before["marks"]] == ["5'", "2'3\""]


def test_the_pulls_of_the_job_are_named() -> None:
    """The demo's shot on L05 is spoilt by the swap of L05, and by no other."""
    assert "window" in {one["name"] for one in run_json(*SWAP)["spoilt"]}
    assert "window" in shots_on(DEMO, "L05")
    other = run_json("swap", DEMO, "--goes", "L10", "--comes", "x")
    assert "window" not in {one["name"] for one in other["spoilt"]}


def test_a_shot_that_cannot_be_read_is_passed_over(tmp_path: Path) -> None:
    """Who plans it is told; the swap goes on without it."""
    (tmp_path / "shots").mkdir()
    (tmp_path / "shots" / "broken.toml").write_text("lens = ", encoding="utf-8")
    (tmp_path / "shots" / "good.toml").write_text('[stop_pull]\nlens = "L1"\n', encoding="utf-8")
    assert shots_on(tmp_path, "L1") == ("good",)


def test_the_text_says_what_settles_what() -> None:
    """One row each, and the sentence with the two marks."""
    said = " ".join(run(*SWAP).stdout.split())
    assert "focus strip of L05" in said
    assert "Read two marks on it, 5' and 2'3\", twice each, both ways" in said


@pytest.mark.parametrize(
    "args, what",
    [
        (("--goes", "L99", "--comes", "1"), "--goes"),
        (("--goes", "L05", "--comes", "L05"), "--comes"),
        (("--goes", "L05", "--comes", "1", "--mark", "3"), "--mark"),
        (("--goes", "L05", "--comes", "1", "--mark", "2' = here"), "--mark"),
    ],
)
def test_what_cannot_be_read_is_refused(args: tuple[str, ...], what: str) -> None:
    """The option at fault is named."""
    assert what in " ".join(refused("swap", DEMO, *args))
