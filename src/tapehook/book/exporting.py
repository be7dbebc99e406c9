"""Writing a job of the book as a job folder, without loss."""

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from tapehook.book.ids import digest
from tapehook.book.jobs import JobDocument, choose_version, find_job, job_of_version
from tapehook.book.store import Book
from tapehook.book.trouble import in_words, refusal
from tapehook.job.records import Job
from tapehook.job.replacing import replace_all
from tapehook.job.set_aside import kept_toml
from tapehook.job.tomlfile import FILE
from tapehook.job.writing import write_job

MARKER = "from-book.txt"
"""A file beside those of the job: its last word is a hash of them, so that an import sees what the folder came from."""


def rendered(job: Job, document: JobDocument) -> dict[str, bytes]:
    """The files of a job folder by name, ``job.toml`` as it was written where it says the same, and the shots.

    Raises JobProblems for a job that no folder can hold.
    """
    toml = document.toml
    with TemporaryDirectory() as name:
        folder = Path(name)
        if toml is not None:
            (folder / FILE).write_bytes(kept_toml(toml).encode())
        write_job(job, folder)
        tables = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
    return {**tables, **{name: document.files[name].encode() for name in sorted(document.files)}}


def content_digest(files: Mapping[str, bytes]) -> str:
    """Hash of the files of a job folder."""
    return digest(*(part for name in sorted(files) for part in (name, files[name]))).hex()


def export_job(book: Book, name: str, folder: Path, *, version: str | None = None, over: bool = False) -> list[Path]:
    """Write a job into ``folder``, which is made; the paths written.

    Raises BookRefusal when there is no such job, when it is in conflict and no ``version`` was named, and when the
    folder holds something and ``over`` was not said; JobProblems when the job cannot be written.
    """
    with book.reading() as connection:
        _, found = find_job(connection, name, book.name)
        chosen = choose_version(found, name, version)
        document = JobDocument.of(chosen)
        job = job_of_version(connection, found, chosen, book.name)
    with in_words(str(folder)):
        if not over and folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            said = (
                "there is something in this folder already; name another, or say --over to write the job's files anew"
            )
            raise refusal(str(folder), said, "a new or empty folder")
        files = rendered(job, document)
        marker = f"This folder was written from the book.\n{content_digest(files)}\n"
        for file in files:
            (folder / file).parent.mkdir(parents=True, exist_ok=True)
        replace_all(folder, {**files, MARKER: marker.encode("ascii")})
    return [folder / file for file in (*files, MARKER)]
