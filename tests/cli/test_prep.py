"""``tapehook prep`` and ``tapehook demo``: what they print, what they write, and when they write nothing."""

import os
from pathlib import Path
from typing import Any

import pytest

from tapehook.job import read_job
from tapehook.job.columns import TABLES
from tapehook.prep import prep_as_json, prepare
from tests.cli.jobs import LENSES, readings, write_small_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema, strictly

DEMO_JOB = ROOT / "src" / "tapehook" / "demo_job"
FILES = ["findings.csv", "handover.pdf", "marks.csv", "pocket.html", "prep.json", "ring_positions.csv"]
A4_PT = (595, 842)
LETTER_PT = (612, 792)


def contents(folder: Path) -> dict[str, bytes]:
    """All files in a folder and below, by path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def page_pt(pdf: Path) -> tuple[int, int]:
    """Size of the first page of a PDF in points, rounded."""
    import pymupdf

    with pymupdf.open(pdf) as document:
        return round(document[0].rect.width), round(document[0].rect.height)


@pytest.fixture
def job_folder(tmp_path: Path) -> Path:
    """The small job."""
    return write_small_job(tmp_path / "my-job")


def test_the_handover_is_written_and_the_job_left_alone(job_folder: Path, tmp_path: Path) -> None:
    """Every file where the command says it is, nothing else, and not a byte of the job changed."""
    before = contents(job_folder)
    out = tmp_path / "deep" / "my-handover"
    result = run("prep", job_folder, "--out", out)
    assert result.exit_code == 0
    assert sorted(contents(out)) == FILES
    assert contents(job_folder) == before
    told = [line.strip() for line in result.stdout.splitlines()]
    assert told[0] == "Nothing found that needs acting on."
    assert told[1].startswith("Good enough, by the depth the lens itself uses: ")
    assert sorted(told[-len(FILES) :]) == sorted(str(out / name) for name in FILES)


def test_what_is_printed_is_what_prepare_finds(job_folder: Path, tmp_path: Path) -> None:
    """--json is the result of ``prepare`` and the files, no more and no less, in the documented shape."""
    shown = run_json("prep", job_folder, "--out", tmp_path / "out")
    assert list(misfits(shown, schema("prep"))) == []
    files = shown.pop("files")
    assert shown == prep_as_json(prepare(read_job(job_folder)))
    assert shown == strictly((tmp_path / "out" / "prep.json").read_text(encoding="utf-8"))
    assert sorted(files) == [str(tmp_path / "out" / name) for name in FILES]


def test_findings_to_act_on_are_in_the_table(tmp_path: Path) -> None:
    """Each finding to fix or watch is printed with its sign, word, subject and next step; infos are only counted."""
    folder = write_small_job(tmp_path / "job", lenses=LENSES + "EMPTY,,,,,,,,,,\n")
    out = tmp_path / "out"
    findings = run_json("prep", folder, "--out", out)["findings"]
    told = " ".join(run("prep", folder, "--out", out, width=300).stdout.split())
    counts = {kind: sum(f["severity"] == kind for f in findings) for kind in ("fix", "watch", "info")}
    assert counts["fix"] >= 1
    assert f"3 lenses: {counts['fix']} to fix, {counts['watch']} to watch, {counts['info']} for info." in told
    for finding in findings:
        assert (finding["message"] in told) == (finding["severity"] != "info")
        assert finding["severity"] == "info" or f"→ {finding['next_step']}" in told
    assert "× fix lens EMPTY No focus readings yet" in told


def test_the_same_job_gives_the_same_bytes(job_folder: Path, tmp_path: Path) -> None:
    """Two runs write the same files, bit by bit: a handover can be compared and kept in version control."""
    for name in ("one", "two"):
        run("prep", job_folder, "--out", tmp_path / name)
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_an_older_handover_is_replaced_whole(job_folder: Path, tmp_path: Path) -> None:
    """All files are those of the new job; what else lies in the folder is left alone, and no scraps stay behind."""
    out, new = tmp_path / "out", tmp_path / "new"
    run("prep", job_folder, "--out", out)
    (out / "notes.txt").write_text("mine")
    other = write_small_job(tmp_path / "other", job='title = "Quay"\npaper = "us-letter"\n')
    run("prep", other, "--out", out)
    run("prep", other, "--out", new)
    assert contents(out) == {**contents(new), "notes.txt": b"mine"}
    assert sorted(path.name for path in out.iterdir()) == sorted([*FILES, "notes.txt"])


def test_a_mark_far_nearer_than_the_rest_is_handed_over(tmp_path: Path) -> None:
    """A stray row, as in the test of the same mark in test_map.py, is a finding on paper too."""
    focal_unknown = LENSES.replace("N50,50,1.5", "N50,,")
    folder = write_small_job(tmp_path / "job", lenses=focal_unknown, readings=readings() + "N50,0.001 m,0,\n")
    shown = run_json("prep", folder, "--out", tmp_path / "out")
    assert "map.suspect_mark" in {finding["code"] for finding in shown["findings"]}


@pytest.mark.parametrize(
    "paper, option, size",
    [
        ("a4", [], A4_PT),
        ("us-letter", [], LETTER_PT),
        ("a4", ["--paper", "us-letter"], LETTER_PT),
        ("us-letter", ["--paper", "a4"], A4_PT),
    ],
)
def test_paper_is_the_jobs_unless_said_otherwise(
    tmp_path: Path, paper: str, option: list[str], size: tuple[int, int]
) -> None:
    """A4 is 210 x 297 mm, US Letter 8.5 x 11 in, to the point."""
    folder = write_small_job(tmp_path / "job", job=f'paper = "{paper}"\n')
    assert run("prep", folder, "--out", tmp_path / "out", *option).exit_code == 0
    assert page_pt(tmp_path / "out" / "handover.pdf") == size


def test_a_folder_with_problems_writes_nothing(tmp_path: Path) -> None:
    """The problems are those ``map`` tells, and the place to write to is not even made."""
    folder = write_small_job(tmp_path / "job", readings=readings().replace("0.7 m", "5 6"))
    assert refused("prep", folder, "--out", tmp_path / "out") == refused("map", folder)
    assert not (tmp_path / "out").exists()


def test_a_place_that_cannot_be_written_to_is_told_with_all_else(tmp_path: Path) -> None:
    """A file where the folder would be, or on the way to it: named with the problems of the job, nothing changed."""
    file = tmp_path / "file"
    file.write_text("mine")
    good = write_small_job(tmp_path / "good")
    bad = write_small_job(tmp_path / "bad", job='units = "miles"\n')
    before = contents(tmp_path)
    expected = "expected a folder that can be written to (the place to write to is a file, expected a folder"
    assert refused("prep", good, "--out", file) == [f'--out: read "{file}", {expected})']
    (deep,) = refused("prep", good, "--out", file / "a" / "b")
    assert deep == f'--out: read "{file}/a/b", {expected}; {file} is in the way)'
    both = refused("prep", bad, "--out", file)
    assert [sentence.partition(":")[0] for sentence in both] == ["job.toml, units", "--out"]
    assert refused("demo", "--out", file) == [f'--out: read "{file}", {expected})']
    assert contents(tmp_path) == before


@pytest.mark.skipif(not os.geteuid(), reason="nothing is forbidden to root")
def test_a_folder_nobody_may_write_to_is_refused(job_folder: Path, tmp_path: Path) -> None:
    """Before any work is done, by name."""
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o555)
    (sentence,) = refused("prep", job_folder, "--out", locked / "out")
    assert "no permission" in sentence


@pytest.mark.parametrize("name", FILES)
def test_a_folder_in_the_place_of_a_file_is_refused(job_folder: Path, tmp_path: Path, name: str) -> None:
    """No part of a handover is put in place when one of its files cannot be."""
    out = tmp_path / "out"
    (out / name).mkdir(parents=True)
    (sentence,) = refused("prep", job_folder, "--out", out)
    assert sentence == f'--out: read "{out}", expected no folder in the place of {name}'
    assert [path.name for path in out.iterdir()] == [name]


def test_the_jobs_own_folder_takes_no_handover(job_folder: Path, tmp_path: Path) -> None:
    """Readings and what was made of them stay apart, however the folder is called."""
    before = contents(job_folder)
    (tmp_path / "link").symlink_to(job_folder)
    for out in (job_folder, job_folder / ".." / "my-job", tmp_path / "link"):
        (sentence,) = refused("prep", job_folder, "--out", out)
        assert sentence.endswith("expected another folder than the job's own")
    assert contents(job_folder) == before
    assert run("prep", job_folder, "--out", job_folder / "handover").exit_code == 0


def test_no_file_of_a_handover_has_the_name_of_a_table() -> None:
    """So that a handover written beside a job never takes the place of its readings."""
    assert not {Path(name).stem for name in FILES} & {"job", *(table.name for table in TABLES)}


def test_demo_writes_a_handover_and_a_job_to_edit(tmp_path: Path) -> None:
    """The copy is the demo job as it ships; prepared again, it gives the same handover."""
    out = tmp_path / "demo-out"
    shown: dict[str, Any] = run_json("demo", "--out", out)
    assert list(misfits(shown, schema("prep"))) == []
    assert sorted(path.name for path in out.iterdir()) == sorted([*FILES, "job"])
    assert contents(out / "job") == contents(DEMO_JOB)
    again = run_json("prep", out / "job", "--out", tmp_path / "again")
    assert {**again, "files": []} == {**shown, "files": []}
    assert contents(tmp_path / "again") == {name: data for name, data in contents(out).items() if "/" not in name}


def test_demo_leaves_edits_alone(tmp_path: Path) -> None:
    """Run again, it prepares the job folder as it was edited; an edit with a problem is refused like any job."""
    out = tmp_path / "demo-out"
    job = write_small_job(out / "job")
    before = contents(job)
    result = run("demo", "--out", out)
    assert result.exit_code == 0
    assert "\n2 lenses: " in result.stdout
    assert result.stdout.splitlines()[-1].startswith(f"The job folder is {job}: copy it")
    assert contents(job) == before
    (job / "lenses.csv").write_text("id\n")
    handover = contents(out)
    assert refused("demo", "--out", out)
    assert contents(out) == handover


def test_demo_writes_where_it_says_by_default(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without --out it is ./demo-out, as its help says."""
    monkeypatch.chdir(tmp_path)
    write_small_job(tmp_path / "demo-out" / "job")
    assert run("demo", "--paper", "us-letter").exit_code == 0
    assert page_pt(tmp_path / "demo-out" / "handover.pdf") == LETTER_PT
    assert "[default: demo-out]" in run("demo", "--help").stdout


def test_a_failure_after_writing_is_no_refusal(
    job_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the handover is written and only printing fails, the exit code is 1 and the message says so."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tapehook.cli.prep_command.show_json", full)
    result = run("prep", job_folder, "--out", tmp_path / "out", "--json")
    assert result.exit_code == 1
    assert result.stderr == (
        "The handover is written, but not all that comes after it: the disk is full; free some space and do it again\n"
    )
    assert sorted(contents(tmp_path / "out")) == FILES


@pytest.mark.parametrize("older", [False, True])
def test_a_full_disk_names_the_folder_and_changes_nothing(
    job_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, older: bool
) -> None:
    """The folder and what to do are said; an older handover stays, and no empty folder is left where none was."""

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    out = tmp_path / "out"
    if older:
        run("prep", job_folder, "--out", out)
    before = contents(out) if older else {}
    monkeypatch.setattr("tapehook.job.replacing._write", full)
    result = run("prep", job_folder, "--out", out)
    assert result.exit_code == 2
    assert result.stderr == (
        f"1 problem, nothing was written:\n  {out}: the disk is full; free some space and do it again\n"
    )
    assert out.exists() == older
    assert not older or contents(out) == before
