"""``tapehook left``: the documented shape, the table, the minutes, and what is refused."""

from pathlib import Path

from tests.cli.jobs import write_small_job
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema


def test_the_json_has_its_shape(tmp_path: Path) -> None:
    """Tests and what is not tested, in the documented shape; the minutes are those of the tests."""
    folder = write_small_job(tmp_path / "job")
    found = run_json("left", folder)
    assert list(misfits(found, schema("left"))) == []
    assert found["minutes"] == sum(test["minutes"] for test in found["tests"])
    assert found["not_tested"]


def test_few_minutes_leave_out_what_does_not_fit(tmp_path: Path) -> None:
    """In half a minute no chart is found sharp."""
    folder = write_small_job(tmp_path / "job")
    assert all(test["minutes"] <= 0.5 for test in run_json("left", folder, "--minutes", "0.5")["tests"])


def test_the_text_names_what_is_not_tested(tmp_path: Path) -> None:
    """A sentence for each kind, with the lenses by name."""
    said = run("left", write_small_job(tmp_path / "job")).stdout
    assert "Flange not tested on charts: " in said


def test_no_time_is_refused(tmp_path: Path) -> None:
    """Nought minutes is no wish."""
    assert "--minutes" in " ".join(refused("left", write_small_job(tmp_path / "job"), "--minutes", "0"))
