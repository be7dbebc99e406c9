"""``tapehook morning``: its table, its documented shape, and refusals, on the demo job."""

import shutil
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


TABLE = """\
lens_id,date,distance,position,approach,temperature_c
L03,2026-11-25,inf,40,,
L03,2026-11-26,inf,4.9,near_to_far,2
L05,2026-11-26,16',66.3,,2
L01,2026-11-26,inf,3.2,,2
"""


def with_table(folder: Path, table: str) -> Path:
    """The demo job with a table of morning checks."""
    shutil.copytree(JOB, folder)
    (folder / "morning.csv").write_text(table, encoding="utf-8")
    return folder


def test_without_checks_the_table_is_judged(tmp_path: Path) -> None:
    """Its last morning, of its documented shape, and the same in ``prep``."""
    job = with_table(tmp_path / "job", TABLE)
    answer = run_json("morning", job)
    assert list(misfits(answer, schema("morning"))) == []
    assert answer["date"] == "2026-11-26"
    assert [one["lens"] for one in answer["checks"]] == ["L03", "L05", "L01"]
    prepared = run_json("prep", job, "--out", tmp_path / "out")
    assert list(misfits(prepared, schema("prep"))) == []
    assert prepared["morning"] == {name: answer[name] for name in ("date", "checks", "kit")}
    assert answer["finding"] in prepared["findings"]
    shown = run("morning", job, width=140).stdout
    assert "Morning of 2026-11-26" in shown
    assert "lens L05" in shown


def test_a_table_of_two_lenses_says_how_many_more(tmp_path: Path) -> None:
    """Nothing of the kit, and no refusal: the day has just begun."""
    answer = run_json("morning", with_table(tmp_path / "job", TABLE.rsplit("L01", 1)[0]))
    assert list(misfits(answer, schema("morning"))) == []
    assert answer["kit"] is None
    assert answer["finding"]["code"] == "morning.few"


def test_a_bad_table_is_refused_as_a_whole(tmp_path: Path) -> None:
    """Row, column, what was read and what was expected; all of it at once."""
    table = TABLE.replace("2026-11-25,inf", "25.11.2026,1e7").replace("66.3,,2", ",up,2").replace("L01", "L99")
    said = refused("morning", with_table(tmp_path / "job", table))
    for part in (
        'row 2, date: read "25.11.2026", expected a date such as 2026-11-26',
        "row 4, position: empty, expected a number of degrees",
        'row 4, approach: read "up", expected "near_to_far" or "far_to_near"',
        'row 5, lens_id: read "L99", expected the id of a lens',
    ):
        assert any(part in problem for problem in said), part


def test_nothing_to_judge_is_refused(tmp_path: Path) -> None:
    """A table without a row, and nothing typed: what to give."""
    job = with_table(tmp_path / "job", TABLE.splitlines()[0] + "\n")
    (said,) = (one for one in refused("morning", job) if "--check" in one)
    assert said.strip().startswith("--check: not given, and the job has no checks in morning.csv")


@pytest.mark.parametrize(
    "args, said",
    [
        (("--temperature", "2C"), "--temperature: belongs to --check"),
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
