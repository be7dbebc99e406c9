"""``tapehook map`` with an extender and behind a port."""

from pathlib import Path

import pytest

from tests.cli.jobs import write_small_job
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema


@pytest.fixture(name="job")
def _job(tmp_path: Path) -> Path:
    return write_small_job(tmp_path / "my-job")


def test_rows_stand_beside_the_map(job: Path) -> None:
    """In the documented shape, and not there without either."""
    maps = run_json("map", job, "--lens", "N50", "--extender", "2x", "--extender-length", "30mm")
    assert list(misfits(maps, schema("map"))) == []
    rows = maps["lenses"]["N50"]["through"]
    assert rows[0]["scale_m"] == pytest.approx(rows[0]["distance_m"] - 0.03)
    assert rows[-1]["distance_m"] is None
    assert "through" not in run_json("map", job)["lenses"]["N50"]


def test_people_see_distance_scale_and_ring(job: Path) -> None:
    """A table a lens, what was assumed, and a word for a dome that is too small."""
    shown = run("map", job, "--lens", "N50", "--port", "flat", "--port-front", "20cm").stdout
    assert "on the scale" in shown
    assert "assumed: Water not said" in shown
    small = run("map", job, "--lens", "N50", "--port", "3cm", "--port-front", "20cm").stdout
    assert "everything is seen nearer than its map begins" in small


def test_refusals(job: Path) -> None:
    """As for depth."""
    assert any("--port-front" in problem for problem in refused("map", job, "--port", "flat"))
