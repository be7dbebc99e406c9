"""``tapehook handover``: the files it writes, the documented shape, and what is refused."""

from pathlib import Path

from tests.cli.jobs import write_small_job
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema


def test_all_files_are_written(tmp_path: Path) -> None:
    """The PDF, the pocket page, tables as CSV and in one workbook, and the findings; strips for both lenses."""
    job, out = write_small_job(tmp_path / "job"), tmp_path / "out"
    found = run_json("handover", job, "--out", out, "--diameter", "80mm", "--paper", "letter", "--units", "both")
    assert list(misfits(found, schema("handover"))) == []
    assert sorted(found["files"]) == sorted(str(path) for path in out.iterdir())
    assert {"handover.pdf", "pocket.html", "tables.xlsx", "prep.json", "strips.csv"} <= {p.name for p in out.iterdir()}
    assert (found["strips"], found["no_strips"]) == (["N50", "F35"], [])


def test_no_ring_no_strip(tmp_path: Path) -> None:
    """Where nobody gave a diameter the command says so, once, with the lenses."""
    job = write_small_job(tmp_path / "job")
    said = run("handover", job, "--out", tmp_path / "out").stdout
    assert "No strip at 1:1: give the diameter" in said
    assert "no strip at 1:1 for N50, F35: the diameter of its focus ring is not given" in said


def test_all_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    """A ring of a mile, an address that is none, no job: each is named and nothing is written."""
    out = tmp_path / "out"
    said = refused("handover", tmp_path / "none", "--out", out, "--diameter", "8 m", "--url", "javascript:alert(1)")
    assert [line.partition(":")[0] for line in said][:2] == ["--diameter", "--url"]
    assert len(said) > 2
    assert not out.exists()
