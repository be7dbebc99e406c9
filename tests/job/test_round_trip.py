"""What is written reads back to the same job, and is written again to the same bytes."""

from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings

from tapehook.job import Job, read_job, write_job
from tests.strategies import MEMORY, jobs


def plain(job: Job) -> Job:
    """The job without the rows it came from and the headers of its files."""
    tables = {
        name: tuple(record.model_copy(update={"row": None}) for record in getattr(job, name))
        for name in ("lenses", "readings", "charts", "tstops", "morning")
    }
    return job.model_copy(update={**tables, "column_order": {}})


def contents(folder: Path) -> dict[str, bytes]:
    """The bytes of all files in a folder, by name."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@settings(max_examples=250)
@given(jobs())
def test_reading_gives_back_what_was_written(job: Job) -> None:
    """No text, number or key of a job is lost or changed by its files, and a second writing changes no byte."""
    with TemporaryDirectory(dir=MEMORY) as first, TemporaryDirectory(dir=MEMORY) as second:
        write_job(job, Path(first))
        back = read_job(Path(first))
        write_job(back, Path(second))

        assert plain(job) == plain(back)
        assert contents(Path(first)) == contents(Path(second))
