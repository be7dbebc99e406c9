"""Lenses, readings and jobs for the tests of the book."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from tapehook.book.folders import read_folder
from tapehook.book.importing import Folder, Imported, carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Book, Writer
from tapehook.book.tables import RECORDS
from tapehook.job import Job, Lens, Reading
from tapehook.job.tomlfile import write_job_toml

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "src" / "tapehook" / "demo_job"
ANNA, BEN = Writer("Anna", "test"), Writer("Ben", "test")


def demo() -> Folder:
    """The demo job as a folder that was read."""
    return replace(read_folder(DEMO), source="")


def small(title: str = "Harbour", *, serial: str | None = "4711", positions: tuple[float, ...] = (10.0, 60.0)) -> Job:
    """A job of one lens and a reading for each position."""
    lens = Lens(id="L1", model="Harbour 50", serial=serial, focal_mm=50.0, t_stop=1.4)
    readings = [
        Reading(lens_id="L1", written=f"{at + 1} m", value=at + 1.0, position=position)
        for at, position in enumerate(positions)
    ]
    return Job(title=title, lenses=(lens,), readings=tuple(readings))


def take_in(
    book: Book, folder: Folder | Job, by: Writer = ANNA, *, name: str | None = None, **answers: object
) -> Imported:
    """Import a folder that was read."""
    folder = as_folder(folder) if isinstance(folder, Job) else folder
    by = replace(by, source=folder.source) if folder.source else by
    with book.writing(by) as writing:
        plan = plan_import(writing.connection, folder, Answers(**answers), name=name)  # type: ignore[arg-type]
        return carry_out(writing, plan, folder)


def as_folder(job: Job) -> Folder:
    """A job as the folder it would be written to."""
    return Folder(job, write_job_toml(job))


def contents(book: Book) -> dict[str, set[tuple[object, ...]]]:
    """All records of a book, for comparison."""
    with book.reading() as connection:
        return {table.name: {tuple(row) for row in connection.execute(table.select())} for table in RECORDS}


def at(year: int, month: int = 3, day: int = 1) -> datetime:
    """A moment on a day."""
    return datetime(year, month, day, 9, tzinfo=UTC)
