"""``tapehook flange``: its shape, its table, and what it does with jobs that have nothing to say."""

from pathlib import Path

import pytest

from tests.cli.jobs import FOCAL_M, position_deg, write_small_job
from tests.cli.running import ROOT, run, run_json
from tests.cli.shapes import misfits, schema

REFERENCE = ROOT / "tests" / "truth" / "maps"
DISTANCES_M = (8.0, 4.0, 2.0, 1.2, 0.8)


def _charts(flange_um: float, camera: str = "A") -> str:
    """Best focus of the 50 mm with the sensor too far back by so much, at its centre of play both ways, no noise.

    The small job's pupil data put the front focal point e + f/P = 41 + 50/1.15 = 84.5 mm before the image plane.
    """
    rows = ["lens_id,chart_distance_m,position,approach,t_stop,camera"]
    front_m = 0.041 + 0.050 / 1.15
    for distance in DISTANCES_M:
        q = 1.0 / (distance - front_m) - flange_um * 1e-6 / FOCAL_M["N50"] ** 2
        for way, ahead in (("near_to_far", -0.2), ("far_to_near", 0.2)):
            at = position_deg("N50", front_m + 1.0 / q) + ahead
            rows += [f"N50,{distance} m,{at:.2f},{way},1.5,{camera}"] * 2
    return "\n".join(rows) + "\n"


def _folder(tmp_path: Path, flange_um: float, camera: str = "A") -> Path:
    folder = write_small_job(tmp_path / "job")
    (folder / "charts.csv").write_text(_charts(flange_um, camera), encoding="utf-8")
    return folder


def test_the_figure_comes_back_in_the_documented_shape(tmp_path: Path) -> None:
    """Without a body: 20 um too far back comes back as about +20, cause flange, of lens and body together."""
    shown = run_json("flange", _folder(tmp_path, 20.0, ""))
    assert list(misfits(shown, schema("flange"))) == []
    assert set(shown) == {"lenses", "bodies"}
    found = shown["lenses"]["N50"]
    assert found["flange_um"] == pytest.approx(20.0, abs=4.0)
    assert 0.0 < found["sd_um"] < 5.0
    assert (found["cause"], found["with_body"], found["chart_tests"], found["stop"]) == ("flange", True, 20, "T1.5")
    # |delta| / (N c), N = T sqrt(0.85): the algebra of the README of the check
    assert found["depth_used"] == pytest.approx(found["flange_um"] / (1.5 * 0.85**0.5 * 25.0), rel=1e-6)
    assert shown["bodies"] == {}


@pytest.mark.parametrize("flange_um, words", [(20.0, "too far back"), (-20.0, "too near")])
def test_the_side_is_said_in_words(tmp_path: Path, flange_um: float, words: str) -> None:
    """Never a bare plus or minus: the table says too far back or too near."""
    shown = run("flange", _folder(tmp_path, flange_um, ""), width=140).stdout
    assert words in shown
    assert "lens technician's work" in shown


def test_one_lens_on_one_body_is_sent_to_another(tmp_path: Path) -> None:
    """The body is listed, nobody is accused, and the swap is named in JSON and on the terminal."""
    folder = _folder(tmp_path, 25.0)
    shown = run_json("flange", folder)
    assert list(misfits(shown, schema("flange"))) == []
    assert shown["lenses"]["N50"]["cause"] == "cannot_tell"
    assert "Move N50 to another body" in shown["lenses"]["N50"]["next_test"]
    assert shown["bodies"]["A"]["lenses"] == ["N50"]
    assert "Move N50 to another body" in " ".join(run("flange", folder, width=140).stdout.split())


def test_a_job_without_charts_says_what_to_write(tmp_path: Path) -> None:
    """No chart tests: an empty shape, and on the terminal where they go."""
    folder = write_small_job(tmp_path / "job")
    assert run_json("flange", folder) == {"lenses": {}, "bodies": {}}
    assert "charts.csv" in run("flange", folder).stdout


def test_reference_lenses_have_the_shape() -> None:
    """The 13 tested of the 25 reference lenses, all in the documented shape."""
    shown = run_json("flange", REFERENCE)
    assert list(misfits(shown, schema("flange"))) == []
    assert len(shown["lenses"]) == 13
