"""Writing a folder: all or nothing, nothing else touched, nothing a spreadsheet would run."""

import math
import os
import stat
from pathlib import Path

import pytest

from tapehook.job import Camera, ChartTest, Job, JobProblems, Lens, Reading, read_job, write_job

JOB = Job(
    title="Harbour",
    lenses=(Lens(id="L1", note="=1+1"), Lens(id="L2", extra={"colour": "red", "=x": "@y"})),
    readings=(Reading(lens_id="L1", value=1.68, position=-5.5), Reading(lens_id="L1", value=math.inf, position=12)),
)


def contents(folder: Path) -> dict[str, bytes]:
    """All files of a folder."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def refused(job: Job, folder: Path) -> str:
    """What is said when a job is not written, and proof that it was not."""
    before = contents(folder) if os.path.isdir(folder) else None  # noqa: PTH112 - of any name
    with pytest.raises(JobProblems) as caught:
        write_job(job, folder)
    assert before is None or contents(folder) == before
    return str(caught.value)


def test_the_bytes_of_a_job(tmp_path: Path) -> None:
    """UTF-8 without a mark, commas, line feeds, shortest numbers, formulas guarded, a number left a number."""
    write_job(JOB, tmp_path)

    assert contents(tmp_path) == {
        "job.toml": b'title = "Harbour"\n',
        "lenses.csv": b"id,note,colour,'=x\nL1,'=1+1,,\nL2,,red,'@y\n",
        "readings.csv": b"lens_id,distance_m,position\nL1,1.68,-5.5\nL1,inf,12\n",
    }


def test_the_folder_is_made(tmp_path: Path) -> None:
    """With the folders above it."""
    write_job(JOB, tmp_path / "a" / "b")

    assert read_job(tmp_path / "a" / "b").title == "Harbour"


def test_columns_keep_their_place_and_spelling(tmp_path: Path) -> None:
    """What was read is given back; a column is added at the end when a record needs it."""
    lenses = "shelf,Lens ID,note\n3,L1,\n"
    (tmp_path / "lenses.csv").write_text(lenses, encoding="utf-8")
    (tmp_path / "readings.csv").write_text("Position;colour;Distance Text;lens\n", encoding="utf-8")
    (tmp_path / "readings.csv").write_text("Position,colour,Distance Text,Lens_Id\n12,,5'6\",L1\n", encoding="utf-8")
    job = read_job(tmp_path)
    write_job(job, tmp_path / "same")
    lens = job.lenses[0].model_copy(update={"focal_mm": 50.0})
    write_job(job.model_copy(update={"lenses": (lens,)}), tmp_path / "more")

    assert (tmp_path / "same" / "lenses.csv").read_text(encoding="utf-8") == lenses
    assert (tmp_path / "same" / "readings.csv").read_text(encoding="utf-8") == (
        'Position,colour,Distance Text,Lens_Id\n12,,"5\'6""",L1\n'
    )
    assert (tmp_path / "more" / "lenses.csv").read_text(encoding="utf-8") == "shelf,Lens ID,note,focal_mm\n3,L1,,50\n"


def test_what_is_assumed_is_not_written(tmp_path: Path) -> None:
    """A blank cell stays blank where another row has to say more."""
    (tmp_path / "lenses.csv").write_text("id,unit\nL1,\nL2,count\n", encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position,method\nL1,1,2,\n", encoding="utf-8")
    before = contents(tmp_path)
    write_job(read_job(tmp_path), tmp_path)

    assert contents(tmp_path) == before


def test_charts_are_written_when_there_are_any(tmp_path: Path) -> None:
    """Or when the folder has a table of them already, which would otherwise come back to life."""
    write_job(JOB, tmp_path)
    assert not (tmp_path / "charts.csv").exists()
    chart = ChartTest(lens_id="L1", chart_distance_m=1.69, chart_width_m=0.4)
    write_job(JOB.model_copy(update={"charts": (chart,)}), tmp_path)
    assert (tmp_path / "charts.csv").read_bytes() == b"lens_id,chart_distance_m,chart_width\nL1,1.69,0.4 m\n"
    write_job(JOB, tmp_path)
    assert read_job(tmp_path).charts == ()


def test_other_files_stay(tmp_path: Path) -> None:
    """Nothing is removed, and nothing is left behind."""
    (tmp_path / "shots").mkdir()
    (tmp_path / "notes.txt").write_bytes(b"mine")
    write_job(JOB, tmp_path)

    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "job.toml",
        "lenses.csv",
        "notes.txt",
        "readings.csv",
        "shots",
    ]


def test_a_job_file_keeps_its_comments(tmp_path: Path) -> None:
    """Nothing changed, nothing written; a change leaves all else as it stood."""
    commented = '# for the lads\ntitle   = "Harbour" # working title\n\n# mine\ngale = 9\n'
    job, path = JOB.model_copy(update={"extra": {"gale": 9}}), tmp_path / "job.toml"
    path.write_text(commented, encoding="utf-8")
    write_job(job, tmp_path)
    kept = path.read_text(encoding="utf-8")
    quay = job.model_copy(update={"title": "Quay", "cameras": (Camera(letter="A"),)})
    write_job(quay, tmp_path)

    assert kept == commented
    assert path.read_text(encoding="utf-8") == commented.replace("Harbour", "Quay") + '\n[[cameras]]\nletter = "A"\n'
    assert read_job(tmp_path).cameras == quay.cameras


@pytest.mark.parametrize("old", [b"title = ", b"\xff\xfe", b'\xef\xbb\xbftitle = "Harbour"\n'])
def test_a_job_file_that_is_no_toml_is_written_anew(tmp_path: Path, old: bytes) -> None:
    """Torn, or in bytes that are no UTF-8, or with a mark before it: what the job says is there afterwards."""
    (tmp_path / "job.toml").write_bytes(old)
    write_job(JOB.model_copy(update={"title": "Quay"}), tmp_path)

    assert (tmp_path / "job.toml").read_bytes() == b'title = "Quay"\n'


def test_a_file_keeps_who_may_use_it(tmp_path: Path) -> None:
    """A folder shared by a crew stays shared."""
    write_job(JOB, tmp_path)
    (tmp_path / "lenses.csv").chmod(0o664)
    write_job(JOB.model_copy(update={"lenses": JOB.lenses[:1]}), tmp_path)

    assert stat.S_IMODE((tmp_path / "lenses.csv").stat().st_mode) == 0o664


@pytest.mark.parametrize("table", ["lenses", "readings", "charts"])
def test_a_workbook_in_the_folder_is_in_the_way(table: str, tmp_path: Path) -> None:
    """Beside it the CSV would make a table that is there twice."""
    (tmp_path / f"{table}.xlsx").write_bytes(b"")

    assert refused(JOB, tmp_path) == (
        f"{table}.xlsx: expected no workbook beside the {table}.csv that would be written; move it away first"
    )


def test_a_folder_named_as_a_file_is_in_the_way(tmp_path: Path) -> None:
    """It is not removed."""
    (tmp_path / "readings.csv").mkdir()

    assert refused(JOB, tmp_path) == "readings.csv: expected a file, not a folder or device"


@pytest.mark.parametrize("name", ["file", "file/below", "a\0b", "x" * 300])
def test_a_folder_that_cannot_be_is_a_problem(name: str, tmp_path: Path) -> None:
    """The system's reason, and that nothing was changed."""
    (tmp_path / "file").write_bytes(b"mine")

    assert "expected a folder that can be written (" in refused(JOB, tmp_path / name)
    assert (tmp_path / "file").read_bytes() == b"mine"


@pytest.mark.parametrize(
    "job, words",
    [
        (Job(lenses=(Lens(id="L1"), Lens(id="L1"))), "lenses.csv row 3, id: read"),
        (Job(readings=(Reading(lens_id="L1", value=1, position=1),)), "readings.csv row 2, lens_id: read"),
        (Job(lenses=(Lens(id="L1", camera="X"),), cameras=(Camera(letter="A"),)), "lenses.csv row 2, camera: read"),
        (Job(lenses=(Lens(id="L1", note="a\x07b"),)), "lenses.csv row 2: read"),
        (Job(lenses=(Lens(id="L1", extra={"ID": "x"}),)), "each column once"),
        (Job(lenses=(Lens(id="L1", note="\ud800"),)), "text and numbers a file can hold"),
        (Job(extra={"a": object()}), "text and numbers a file can hold"),
        (Job(extra={"a": None}), "text and numbers a file can hold"),
        (Job(extra={"title": "x"}), "job.toml, title: read"),
        (Job(shooting_stop="wide"), "job.toml, shooting_stop: read"),
        (
            Job(
                lenses=(Lens(id="L1"),),
                readings=(Reading(lens_id="L1", value=2, written="5'6\"", position=1),),
            ),
            "expected the same as distance_m, which says 2 m",
        ),
        (Job(lenses=(Lens(id="L1", extra={" x ": "y"}),)), "lenses.csv row 2: read"),
        (Job(lenses=(Lens(id="L1", extra={"": "y"}),)), "lenses.csv row 2"),
    ],
)
def test_what_would_not_read_back_is_not_written(job: Job, words: str, tmp_path: Path) -> None:
    """A job that reading would refuse, or give back changed, leaves the folder as it was."""
    write_job(JOB, tmp_path)

    assert words in refused(job, tmp_path)


def test_not_a_number_in_an_unknown_key_is_kept(tmp_path: Path) -> None:
    """It is not equal to itself, and still the same."""
    write_job(Job(extra={"gain": math.nan}), tmp_path)

    assert math.isnan(float(str(read_job(tmp_path).extra["gain"])))


class DiskError(OSError):
    """What a full or failing disk says."""


@pytest.mark.parametrize("fails_at", range(8))
def test_a_failing_disk_changes_nothing(fails_at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever write or replacement fails, all files are as they were, and no part is left lying about."""
    write_job(JOB, tmp_path)
    chart = ChartTest(lens_id="L9", chart_distance_m=2)
    other = Job(title="Quay", lenses=(Lens(id="L9"),), charts=(chart,))
    before = contents(tmp_path)
    count = 0

    def counted(real: object) -> object:
        def call(*args: object) -> object:
            nonlocal count
            count += 1
            if count == fails_at + 1:
                raise DiskError(28, "No space left on device")
            assert callable(real)
            return real(*args)

        return call

    monkeypatch.setattr(Path, "replace", counted(Path.replace))
    monkeypatch.setattr(os, "fsync", counted(os.fsync))
    with pytest.raises(JobProblems) as caught:
        write_job(other, tmp_path)
    monkeypatch.undo()

    assert "No space left on device" in str(caught.value)
    assert contents(tmp_path) == before


def test_an_interrupt_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Control-C between two files puts the first one back, and goes on to end the command."""
    write_job(JOB, tmp_path)
    before = contents(tmp_path)
    real, calls = Path.replace, 0

    def interrupted(part: Path, target: Path) -> Path:
        nonlocal calls
        calls += 1
        if calls == 2:
            raise KeyboardInterrupt
        return real(part, target)

    monkeypatch.setattr(Path, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_job(Job(lenses=(Lens(id="L9"),)), tmp_path)

    assert contents(tmp_path) == before


def test_a_new_folder_goes_again_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder without a job in it would be one more thing to wonder about."""

    def full(_descriptor: int) -> None:
        raise DiskError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(JobProblems):
        write_job(JOB, tmp_path / "new")

    assert not (tmp_path / "new").exists()
