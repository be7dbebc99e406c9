"""``tapehook morning``: its table, its documented shape, and refusals, on the demo job."""

from pathlib import Path

import pytest

from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema

JOB = Path(__file__).parents[2] / "src" / "tapehook" / "demo_job"
CHECKS = ("--check", "L03=inf@4.9", "--check", "L05=5m@66.3", "--check", "L01=inf@3.2")


def test_it_prints_its_shape() -> None:
    """The documented JSON; infinity is null, three lenses in their order."""
    answer = run_json("morning", JOB, *CHECKS, "--temperature", "2C")
    assert list(misfits(answer, schema("morning"))) == []
    assert [one["lens"] for one in answer["checks"]] == ["L03", "L05", "L01"]
    assert answer["checks"][0]["distance_m"] is None
    assert answer["kit"]["lenses"] == 3


def test_people_see_lenses_and_verdict() -> None:
    """A row a lens, the verdict with its figure and stop, and what to do."""
    shown = run("morning", JOB, *CHECKS, width=140).stdout
    assert "L01" in shown
    assert "of the depth at T" in shown
    assert "next: " in shown


@pytest.mark.parametrize(
    "args, said",
    [
        ((), "--check: not given"),
        (("--check", "L03"), "--check: “L03” cannot be read; expected LENS=DISTANCE@POSITION"),
        (("--check", "L99=inf@3"), "--check: “L99=inf@3” names no lens of the job"),
        (("--check", "L03=5@3"), "--check: “5” has no unit"),
        (("--check", "L03=inf@4.9", "--temperature", "2"), "--temperature: “2” has no unit"),
        (("--check", "L03=inf@4.9"), '--check: read "L03", expected 3 lenses or more'),
        ((*CHECKS, "--check", "L21=inf@4.9"), '--check: read "L21", expected a lens with a focus map'),
    ],
)
def test_refusals(args: tuple[str, ...], said: str) -> None:
    """What was typed, what was expected."""
    assert any(problem.strip().startswith(said) for problem in refused("morning", JOB, *args))
