"""``tapehook audit``: the lists it writes, worst first, the same on one core and on two."""

import csv
import io
from pathlib import Path

import pytest

from tapehook.finding import DEPTH_USED_UNIT
from tapehook.job import read_job
from tapehook.prep import prepare
from tapehook.prep.audit import audit_rows, kinds, states
from tests.cli.jobs import LENSES, readings, write_small_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

DEMO_JOB = ROOT / "src" / "tapehook" / "demo_job"
FILES = ["audit.csv", "findings.csv", "technician.pdf"]


def table(path: Path) -> list[dict[str, str]]:
    """The rows of a written table."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def test_the_lists_are_written_worst_first(tmp_path: Path) -> None:
    """audit.csv has a row for each lens, fix before watch before info, the larger depth used first within each."""
    out = tmp_path / "out"
    shown = run_json("audit", DEMO_JOB, "--out", out)
    assert list(misfits(shown, schema("audit"))) == []
    assert sorted(path.name for path in out.iterdir()) == FILES
    rows = table(out / "audit.csv")
    assert len(rows) == shown["lenses"] == len(read_job(DEMO_JOB).lenses)
    rank = {"fix": 0, "watch": 1, "info": 2, "clear": 3}
    order = [(rank[row["state"]], -float(row["depth_used_percent"] or 0.0)) for row in rows]
    assert order == sorted(order)
    assert [row["lens_id"] for row in rows] == [row["lens"] for row in shown["worst_first"]]


def test_what_is_listed_is_what_prepare_finds(tmp_path: Path) -> None:
    """Brief preparation over processes finds what preparing each lens in full, here and now, finds."""
    shown = run_json("audit", DEMO_JOB, "--out", tmp_path / "out")
    prep = prepare(read_job(DEMO_JOB))
    rows = audit_rows(prep)
    assert shown["states"] == states(rows)
    assert [(f["severity"], f["code"], f["lenses"]) for f in shown["findings"]] == kinds(rows)
    assert len(table(tmp_path / "out" / "findings.csv")) == len(prep.findings)
    for row in rows:
        shares = [f.figure.value for f in row.findings if f.figure and f.figure.unit == DEPTH_USED_UNIT]
        assert row.used == (pytest.approx(max(shares) / 100) if shares else None)


def test_the_number_of_cores_changes_nothing(tmp_path: Path) -> None:
    """Batches worked through in two processes give the same bytes as in one: 240 lenses make three batches."""
    lines = readings().splitlines()
    many = "\n".join(
        [lines[0], *(f"{line.replace('N50', f'N{i}')}" for i in range(240) for line in lines[1:] if "N50" in line)]
    )
    head, row = LENSES.splitlines()[:2]
    lenses = "\n".join([head, *(row.replace("N50", f"N{i}") for i in range(240))])
    folder = write_small_job(tmp_path / "job", lenses=lenses, readings=many)
    for cores in ("1", "2"):
        assert run("audit", folder, "--out", tmp_path / cores, "--cores", cores).exit_code == 0
    for name in FILES:
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()


def test_the_terminal_says_how_the_lenses_stand(tmp_path: Path) -> None:
    """The worst lenses by name, the counts, and where the lists are."""
    told = run("audit", DEMO_JOB, "--out", tmp_path / "out", width=200).stdout
    counts = states(audit_rows(prepare(read_job(DEMO_JOB))))
    assert f"{counts['fix']} to fix, {counts['watch']} to watch, {counts['info']} for info" in told
    assert all(str(tmp_path / "out" / name) in told for name in FILES)
    assert "L03, 25 mm" in told


def test_text_of_a_job_is_data(tmp_path: Path) -> None:
    """A lens's model that looks like markup or a formula is printed as text, in the table and in the list."""
    nasty = '=HYPERLINK("x") #panic() $x$ <b> \\'
    head, row = LENSES.splitlines()[:2]
    quoted = '"' + nasty.replace('"', '""') + '"'
    lenses = f"{head},model\n{row},{quoted}\n"
    folder = write_small_job(tmp_path / "job", lenses=lenses, readings=readings().replace("F35", "N50"))
    assert run("audit", folder, "--out", tmp_path / "out").exit_code == 0
    assert table(tmp_path / "out" / "audit.csv")[0]["model"] == "'" + nasty


def test_bad_input_is_refused_and_nothing_written(tmp_path: Path) -> None:
    """No folder, and a number of cores that is none: told, exit code 2, no list."""
    out = tmp_path / "out"
    assert refused("audit", tmp_path / "none", "--out", out)
    folder = write_small_job(tmp_path / "job")
    assert refused("audit", folder, "--out", out, "--cores", "0")
    assert not out.exists()
