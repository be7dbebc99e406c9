"""Work on a job of the book itself, without a folder in between: measured at the bench, edited on a page."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from tapehook.book.importing import Folder, bodies_of, carry_out, plan_import
from tapehook.book.jobs import (
    JobDocument,
    JobLens,
    choose_version,
    document_id,
    find_job,
    job_id_of,
    job_of_version,
)
from tapehook.book.matching import Answers
from tapehook.book.measuring import Measured, add_to_job
from tapehook.book.store import Book, Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import Thing, stale, thing
from tapehook.job.records import Job
from tapehook.job.tomlfile import job_toml_text, write_job_toml


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job as it was looked at: the records, the thing they came from, and the lens of the book behind each row."""

    name: str
    job_id: bytes
    job: Job
    thing: Thing
    lens_ids: dict[str, bytes]

    @property
    def seen(self) -> tuple[bytes, ...]:
        """What an edit of the job has to name."""
        return self.thing.seen


def open_job(book: Book, name: str, version: str | None = None) -> OpenJob:
    """A job with what an edit of it needs to know; ``version`` is the end of a version's id, where there are two.

    Raises BookRefusal when there is no such job, or when it is in conflict and no version was named.
    """
    with book.reading() as connection:
        job_id, found = find_job(connection, name, book.name)
        chosen = choose_version(found, name, version)
        lens_ids = {lens.row_id: lens.lens_id for lens in JobDocument.of(chosen).lenses}
        return OpenJob(name, job_id, job_of_version(connection, found, chosen, book.name), found, lens_ids)


def measure(
    writing: Writing, name: str, row_id: str, records: Sequence[Measured], *, body: str | None = None
) -> list[bytes]:
    """Add measurements of one lens to a job of the book, as they are made at the bench. Their ids.

    ``row_id`` is what the lens is called in the job; ``body`` the camera body it is on, else the one the job says.
    Raises BookRefusal when there is no such job or lens. It never collides with anybody else's work.
    """
    _, found = find_job(writing.connection, name, f"job {name}")
    document = JobDocument.of(found.now)
    lens = _lens_called(document, row_id, name)
    unit = str(lens.row.get("unit", "deg"))
    return add_to_job(
        writing,
        found.now.job_id or b"",
        row_id,
        lens.lens_id,
        records,
        unit=unit,
        body=body or bodies_of(document).get(row_id),
    )


def _lens_called(document: JobDocument, row_id: str, name: str) -> JobLens:
    for lens in document.lenses:
        if lens.row_id == row_id:
            return lens
    raise refusal(f"job {name}", f"it has no lens {row_id!r}", "the id of a lens of the job")


def save_job(
    writing: Writing,
    name: str,
    job: Job,
    *,
    seen: Collection[bytes] = (),
    answers: Answers | None = None,
    files: Mapping[str, str] | None = None,
) -> dict[str, bytes]:
    """Keep a job as it was edited on a page: all but its measurements, which are added and corrected one by one.

    ``seen`` are the versions it was edited from, none for a new job, whose measurements are taken too. The lens of the
    book for each row. Raises StaleEdit when somebody was quicker, BookRefusal for what only a person can answer, and
    for another unit of a lens that has been measured: its readings would mean something else. ``files`` are the texts
    of its shots by name, those it has when None.
    """
    there = _there(writing, name, seen)
    toml, kept = write_job_toml(job), dict(files or {})
    if there is not None:
        document = JobDocument.of(there.now)
        toml = job_toml_text(job, document.toml or "")
        kept = kept if files is not None else dict(document.files)
        old = job_of_version(writing.connection, there, there.now, f"job {name}")
        job = _with_measurements(job, old, name)
    folder = Folder(job, toml, files=kept)
    answers = answers or Answers()
    wanted = Answers(answers.same, answers.apart, answers.all_apart, over=True, join=answers.join)
    return dict(carry_out(writing, plan_import(writing.connection, folder, wanted, name=name), folder).lens_ids)


def _there(writing: Writing, name: str, seen: Collection[bytes]) -> Thing | None:
    """The job as it is now, as long as it is what was looked at. Raises StaleEdit."""
    there = thing(writing.connection, document_id(job_id_of(name)))
    if set(there.seen if there else ()) != set(seen):
        raise stale(there, "job", f"job {name}")
    return there


def _with_measurements(job: Job, old: Job, name: str) -> Job:
    """The job as edited, with the measurements the book has of the lenses that are still in it."""
    units = {lens.id: lens.unit for lens in job.lenses}
    measured = {one.lens_id for table in (old.readings, old.charts, old.morning) for one in table}
    for lens in old.lenses:
        if lens.id in measured and units.get(lens.id, lens.unit) != lens.unit:
            said = f"lens {lens.id} was read in {lens.unit}; in {units[lens.id]} its readings would mean something else"
            raise refusal(f"job {name}", said, f"unit {lens.unit}, or the lens under another id")
    return job.model_copy(
        update={
            "readings": tuple(one for one in old.readings if one.lens_id in units),
            "charts": tuple(one for one in old.charts if one.lens_id in units),
            "tstops": tuple(one for one in old.tstops if one.lens_id in units),
            "morning": tuple(one for one in old.morning if one.lens_id in units),
            "column_order": {**old.column_order, **job.column_order},
        }
    )
