"""``tapehook map``: the maps of a job folder, against positions known from a formula."""

import math
from itertools import pairwise
from pathlib import Path

import pytest

from tests.cli.jobs import LENSES, position_deg, readings, write_small_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

PER_DEGREE = {"N50": 1.0, "F35": 100.0}
REFERENCE = ROOT / "tests" / "truth" / "maps"


@pytest.fixture
def job_folder(tmp_path: Path) -> Path:
    """The small job, whose true positions are known."""
    return write_small_job(tmp_path / "my-job")


def test_maps_are_those_of_the_formula(job_folder: Path) -> None:
    """Positions between the marks are those of the formula, from close focus to infinity, even in vergence."""
    maps = run_json("map", job_folder)
    assert list(misfits(maps, schema("map"))) == []
    assert maps["lenses"].keys() == PER_DEGREE.keys()
    for lens_id, per_degree in PER_DEGREE.items():
        shown = maps["lenses"][lens_id]
        assert len(shown["grid"]) >= 200
        distances_m = [math.inf if row["distance_m"] is None else row["distance_m"] for row in shown["grid"]]
        assert distances_m[0] == 0.6
        assert distances_m[-1] == math.inf
        truth = [per_degree * position_deg(lens_id, distance_m) for distance_m in distances_m]
        assert [row["position"] for row in shown["grid"]] == pytest.approx(truth, abs=1e-4 * per_degree)
        # Position is even in vergence by the formula, so steps of even vergence are even steps of position.
        steps = [b - a for a, b in pairwise(truth)]
        assert max(steps) == pytest.approx(min(steps), rel=1e-6)
        assert all(0 < row["band95"] < 0.5 * per_degree for row in shown["grid"])
        assert (shown["monotone"], shown["one_way"], shown["left_out"]) == (True, False, [])
        assert shown["rms_residual"] < 1e-4 * per_degree


def test_only_the_lenses_asked_for(job_folder: Path) -> None:
    """--lens may be given more than once, and changes nothing in the maps themselves."""
    everything = run_json("map", job_folder)
    assert run_json("map", job_folder, "--lens", "F35")["lenses"] == {"F35": everything["lenses"]["F35"]}
    assert run_json("map", job_folder, "--lens", "F35", "--lens", "N50") == everything


def test_a_lens_nobody_has_is_refused(job_folder: Path) -> None:
    """Each id without a lens is named."""
    sentences = refused("map", job_folder, "--lens", "N50", "--lens", "X1", "--lens", "n50")
    assert sentences == [f'--lens: read "{name}", expected the id of a lens in {job_folder}' for name in ("X1", "n50")]


def test_the_table_has_a_line_for_each_lens(job_folder: Path) -> None:
    """For people: marks, ways, fit and backlash with units and +-."""
    lines = [" ".join(line.split()) for line in run("map", job_folder, width=120).stdout.splitlines()]
    assert "N50 50 mm T1.5 · serial 4711 11 both ways 0.00° 0.40° +- 0.02° good" in lines
    assert "F35 35 mm T2 · serial 4712 11 both ways 0.0 counts 40.0 counts +- 1.7 counts good" in lines


def test_a_lens_without_a_map_says_why(tmp_path: Path) -> None:
    """No readings, or too few: an empty grid and the reason, and null for what only a map can say."""
    few = "\n".join(line for line in readings().splitlines() if "F35" not in line or "0.6 m" in line)
    folder = write_small_job(tmp_path / "job", lenses=LENSES + "EMPTY,,,,,,,,,,\n", readings=few)
    maps = run_json("map", folder)
    assert list(misfits(maps, schema("map"))) == []
    for lens_id, why in (("F35", "a map needs marks at 4 different values, found 1"), ("EMPTY", "no readings")):
        shown = maps["lenses"][lens_id]
        assert (shown["grid"], shown["monotone"], shown["rms_residual"]) == ([], None, None)
        assert shown["refused"] == why
    assert "none: no readings" in run("map", folder, width=160).stdout


def test_other_rings_have_maps_of_their_own(tmp_path: Path) -> None:
    """Iris and zoom readings give maps over T-number and focal length under "axes"."""
    rows = ["lens_id,axis,value,position"]
    rows += [f"Z,iris,T{t},{10 + 30 * math.log2(t)}" for t in (2.8, 4, 5.6, 8, 11, 16)]
    rows += [f"Z,zoom,{mm} mm,{200 * math.log(mm / 24)}" for mm in (24, 30, 35, 50, 60, 75)]
    folder = write_small_job(tmp_path / "job", lenses="id,focal_mm,t_stop\nZ,24-75 mm,2.8\n", readings="\n".join(rows))
    maps = run_json("map", folder)
    assert list(misfits(maps, schema("map"))) == []
    iris, zoom = (maps["lenses"]["Z"]["axes"][axis]["grid"] for axis in ("iris", "zoom"))
    assert (iris[0]["t_number"], iris[-1]["t_number"]) == (pytest.approx(2.8), pytest.approx(16))
    assert (zoom[0]["focal_mm"], zoom[-1]["focal_mm"]) == (pytest.approx(24), pytest.approx(75))
    for row in zoom:
        assert row["position"] == pytest.approx(200 * math.log(row["focal_mm"] / 24), abs=0.01)


@pytest.mark.parametrize("written", ["0.001 m", "0.06 m", "0.12 m"])
def test_a_mark_far_nearer_than_the_rest_is_left_out(tmp_path: Path, written: str) -> None:
    """A stray row, such as one never read, has no place on the map of the others; the job is still prepared."""
    focal_unknown = LENSES.replace("N50,50,1.5", "N50,,")
    stray = readings() + f"N50,{written},0,\n"
    folder = write_small_job(tmp_path / "job", lenses=focal_unknown, readings=stray)
    shown = run_json("map", folder, "--lens", "N50")["lenses"]["N50"]
    assert shown["left_out"] == [written]
    truth = [position_deg("N50", row["distance_m"] or math.inf) for row in shown["grid"]]
    assert [row["position"] for row in shown["grid"]] == pytest.approx(truth, abs=0.5)


def test_the_reference_lenses_have_the_documented_shape() -> None:
    """The 25 reference lenses: four units, one way and both, all as documented."""
    maps = run_json("map", REFERENCE)
    assert list(misfits(maps, schema("map"))) == []
    assert len(maps["lenses"]) == 25
    assert {shown["unit"] for shown in maps["lenses"].values()} == {"deg", "count", "percent"}
    assert {shown["one_way"] for shown in maps["lenses"].values()} == {True, False}
