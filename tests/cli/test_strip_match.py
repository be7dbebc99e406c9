"""``tapehook strip-match``: the documented shape, the table, and what is refused."""

import math
from pathlib import Path

from tests.cli.jobs import MARKS_M, position_deg, write_small_job
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema


def _strips(folder: Path, turn_deg: float = -20.0) -> Path:
    """A strip marked as the 50 mm's ring is, turned; and one that is even in distance, which fits nothing."""
    rows = ["strip,distance_text,position_deg"]
    for distance in MARKS_M:
        text = "inf" if math.isinf(distance) else f"{distance} m"
        rows.append(f"like,{text},{position_deg('N50', distance) - turn_deg:.4f}")
        if math.isfinite(distance):
            rows.append(f"even,{text},{-20.0 * distance}")
    path = folder / "strips.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_the_strip_a_lens_is_like_is_found(tmp_path: Path) -> None:
    """Strip and turn come back; every mark fits; it is the one to keep at hand."""
    job, strips = write_small_job(tmp_path / "job"), _strips(tmp_path)
    found = run_json("strip-match", job, "--strips", strips)
    assert list(misfits(found, schema("strip-match"))) == []
    lens = found["lenses"]["N50"]
    assert (lens["best"], lens["stop"]) == ("like", "T2.8")
    assert abs(lens["turn_deg"] + 20.0) < 0.05
    assert lens["worst_depth_used"] < 0.05
    assert found["pins"][0] == "like"
    assert "N50" in found["served"]
    assert lens["strips"][0]["trusted_m"] == [0.6, None]
    said = " ".join(run("strip-match", job, "--strips", strips, "--lens", "N50", width=200).stdout.split())
    assert "like -20.0° all over T2.8" in said
    assert "Keep at hand: strip like. Of 1 lenses 1 are served" in said


def test_nothing_fits(tmp_path: Path) -> None:
    """Where no strip serves a lens, that is said, with the way out."""
    job, strips = write_small_job(tmp_path / "job"), tmp_path / "strips.csv"
    strips.write_text("strip,distance_m,position_deg\n" + "".join(f"even,{d},{20 * d}\n" for d in (1, 2, 5)), "utf-8")
    assert "No strip serves any lens" in run("strip-match", job, "--strips", strips).stdout


def test_all_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    """A lens that is not there and a strip of one mark, together."""
    job, strips = write_small_job(tmp_path / "job"), tmp_path / "strips.csv"
    strips.write_text("strip,distance_m,position_deg\nA,1,2\n", encoding="utf-8")
    said = refused("strip-match", job, "--strips", strips, "--lens", "X")
    assert len(said) == 2
    assert said[0].startswith("--lens")
    assert "at least 3 marks" in said[1]
