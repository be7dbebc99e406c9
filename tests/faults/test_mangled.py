"""Whatever is wrong with a job folder: it is read, or its problems are told; it is never changed."""

from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, example, given, settings

from tapehook.job import Job, JobProblems, read_job, write_job
from tapehook.job.columns import TABLES
from tapehook.job.reading import sheet_of
from tests.faults.mangling import Folder, contents, mangled_folders, sound_folder
from tests.strategies import MEMORY


def outcome(folder: Path) -> Job | JobProblems:
    """What reading comes to. Any other exception is a fault, and goes up."""
    try:
        return read_job(folder)
    except JobProblems as problems:
        return problems


@settings(max_examples=1_000, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(mangled_folders())
def test_what_is_read_of_a_mangled_folder_survives_writing(mangled: Folder) -> None:
    """A job read from odd files is a job like any other: it is written, read back the same, and written the same."""
    with (
        TemporaryDirectory(dir=MEMORY) as folder,
        TemporaryDirectory(dir=MEMORY) as one,
        TemporaryDirectory(dir=MEMORY) as two,
    ):
        mangled.write(Path(folder))
        job = outcome(Path(folder))
        if isinstance(job, Job):
            write_job(job, Path(one))
            back = read_job(Path(one))
            write_job(back, Path(two))

            assert [len(job.lenses), len(job.readings)] == [len(back.lenses), len(back.readings)]
            assert contents(Path(one)) == contents(Path(two))


def rows_in(mangled: Folder) -> list[int]:
    """How many rows the tables of a folder hold, before anybody asks what they mean."""
    counts = []
    for table in TABLES:
        found = [name for name in mangled.files if name in {f"{table.name}.csv", f"{table.name}.xlsx"}]
        data = mangled.files[found[0]] if found else b"\n"
        assert isinstance(data, bytes)
        counts.append(len(sheet_of(found[0] if found else "none.csv", data, table.names).rows))
    return counts


def test_the_folders_are_sound_before_they_are_mangled() -> None:
    """What the damage is done to is a job: otherwise the test below would only see the first problem."""
    for workbooks in (False, True):
        with TemporaryDirectory(dir=MEMORY) as folder:
            Folder(sound_folder(workbooks=workbooks)).write(Path(folder))
            job = read_job(Path(folder))

            tables = (job.lenses, job.readings, job.charts, job.tstops, job.morning)
            assert [len(rows) for rows in tables] == [3, 8, 2, 2, 2]


@settings(max_examples=6_000, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(mangled_folders())
@example(Folder({}))
@example(Folder({"lenses.csv": b"", "readings.csv": b"\n\n", "job.toml": b"\xff"}))
def test_a_mangled_folder_is_a_job_or_its_problems(mangled: Folder) -> None:
    """6,000 mangled folders: a job with all rows or one-line problems, no other exception, no byte changed."""
    with TemporaryDirectory(dir=MEMORY) as folder:
        mangled.write(Path(folder))
        before = contents(Path(folder))
        result = outcome(Path(folder))

        assert before == contents(Path(folder))
        if isinstance(result, JobProblems):
            assert result.problems
            assert all(problem.sentence().isprintable() for problem in result.problems)
        else:
            assert rows_in(mangled) == [len(getattr(result, table.name)) for table in TABLES]
