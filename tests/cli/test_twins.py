"""``tapehook twins``: copies, lenders and borrowed maps, in the documented shape."""

import math
from pathlib import Path

import pytest

from tests.cli.jobs import LENSES, position_deg, readings, write_small_job
from tests.cli.running import ROOT, run, run_json
from tests.cli.shapes import misfits, schema

REFERENCE = ROOT / "tests" / "truth" / "maps"

TWIN = """\
id,focal_mm,t_stop,transmission,unit,reading_step,units_per_turn,close_focus_m,serial,twin_of
N50,50,1.5,0.85,deg,0.1,360,0.6,4711,
B50,50,1.5,0.85,count,1,36000,0.6,4712,N50
"""


def _twin_readings(*distances: str) -> str:
    """The small job's 50 mm, and a copy of it whose read-out stands 30 degrees on, in counts, at some distances."""
    lines = [line for line in readings().splitlines() if "F35" not in line]
    for distance in distances:
        at = 100.0 * (position_deg("N50", math.inf if distance == "inf" else float(distance.split()[0])) + 30.0)
        lines += [f"B50,{distance},{at - 20:.0f},near_to_far", f"B50,{distance},{at + 20:.0f},far_to_near"]
    return "\n".join(lines) + "\n"


def _folder(tmp_path: Path, *distances: str) -> Path:
    return write_small_job(tmp_path / "job", lenses=TWIN, readings=_twin_readings(*distances))


def test_two_proof_marks_borrow(tmp_path: Path) -> None:
    """The pair with its share, the stop from which on it is safe, and the borrowed map, which is the true one."""
    shown = run_json("twins", _folder(tmp_path, "0.6 m", "inf"))
    assert list(misfits(shown, schema("twins"))) == []
    (pair,) = shown["pairs"]
    assert (pair["lens"], pair["lender"], pair["proof_marks"], pair["own_map"]) == ("B50", "N50", 2, False)
    assert (pair["stop"], pair["refused"]) == ("T1.5", None)
    assert 0.0 < pair["depth_used_p95"] < 1.5
    assert pair["from_stop"] in (2.0, 2.8, 4.0, 5.6, 8.0)
    # Share times stop is constant: at that stop it is under a quarter, a whole stop wider it is not.
    assert (
        pair["depth_used_p95"] * 1.5 / pair["from_stop"]
        < 0.25
        <= pair["depth_used_p95"] * 1.5 / pair["from_stop"] * 1.45
    )
    assert len(pair["grid"]) == 241
    for row in pair["grid"]:
        true = 100.0 * (position_deg("N50", row["distance_m"] or math.inf) + 30.0)
        assert row["position"] == pytest.approx(true, abs=max(row["band95"], 1.0))
    assert shown["comparisons"] == []
    assert shown["copies_differ_by"]["learnt_from"] == 0


@pytest.mark.parametrize("distances", [(), ("inf",), ("0.6 m",)])
def test_one_mark_is_refused(tmp_path: Path, distances: tuple[str, ...]) -> None:
    """The pair is named with the reason, no share and no stop; and it is not a fault of the job."""
    folder = _folder(tmp_path, *distances)
    (pair,) = run_json("twins", folder)["pairs"]
    assert pair["proof_marks"] == len(distances)
    assert (pair["depth_used_p95"], pair["from_stop"], pair["grid"]) == (None, None, [])
    assert "read 5 m and 0.7 m, twice each, both ways" in pair["refused"]
    assert [mark["distance_m"] for mark in pair["wanted"]["marks"]] == [5.0, 0.7]
    assert 0.0 < pair["wanted"]["depth_used_p95"] < 1.0
    assert "read 5 m and 0.7 m, twice each, both ways" in " ".join(run("twins", folder, width=160).stdout.split())


def test_copies_with_maps_are_compared(tmp_path: Path) -> None:
    """30 degrees of index are 3,000 counts: they count as they stand, and not with the offset set."""
    distances = [line.split(",")[1] for line in readings().splitlines()[1:] if line.startswith("N50")][::2]
    shown = run_json("twins", _folder(tmp_path, *distances))
    assert list(misfits(shown, schema("twins"))) == []
    (found,) = shown["comparisons"]
    assert (found["lens"], found["lender"], found["unit"], found["unlike"]) == ("B50", "N50", "count", False)
    assert found["offset"] == pytest.approx(3000.0, abs=5.0)
    assert found["as_they_stand"]["depth_used"] > 5.0
    assert found["offset_set"]["depth_used"] < 0.1
    assert [pair["own_map"] for pair in shown["pairs"]] == [True]


def test_the_tables_for_people(tmp_path: Path) -> None:
    """Who borrows from whom, how much of the depth, from which stop on; and what that rests on."""
    said = " ".join(run("twins", _folder(tmp_path, "0.6 m", "inf"), width=160).stdout.split())
    assert "B50 N50 2" in said
    assert "at T1.5 from T" in said
    assert "Copies of one model are taken to differ by 0.4 % of scale, 0.1 % of the turn in the cam and 8 um" in said
    assert "common practice, no source" in said


def test_a_job_without_twins_says_so(tmp_path: Path) -> None:
    """Nothing to compare is no error."""
    folder = write_small_job(tmp_path / "job", lenses=LENSES)
    assert run_json("twins", folder)["pairs"] == []
    assert "No two copies of one model" in run("twins", folder).stdout


def test_the_reference_twins_are_found() -> None:
    """L022 to L025 are second copies of L001 to L004; all have maps of their own, and eight copies teach the spread."""
    shown = run_json("twins", REFERENCE)
    assert list(misfits(shown, schema("twins"))) == []
    expected = [("L022", "L001"), ("L023", "L002"), ("L024", "L003"), ("L025", "L004")]
    assert [(pair["lens"], pair["lender"]) for pair in shown["pairs"]] == expected
    assert [(found["lens"], found["lender"]) for found in shown["comparisons"]] == expected
    assert all(pair["depth_used_p95"] > 0 for pair in shown["pairs"])
    assert shown["copies_differ_by"]["learnt_from"] == 8
