"""Job folders and sheets of lenses, read for an import with what tells where they came from."""

import socket
from pathlib import Path

from tapehook.book.importing import Folder, marker_of
from tapehook.job import JobProblems, Lens, Problem, read_job
from tapehook.job.columns import LENSES
from tapehook.job.problems import gathered, in_order
from tapehook.job.reading import sheet_of
from tapehook.job.sheets import Sheet, decoded, read_bytes
from tapehook.job.tables import read_lenses
from tapehook.job.tomlfile import FILE


def read_folder(folder: Path) -> Folder:
    """A job folder as it is imported. Raises JobProblems with all that is wrong with it."""
    job = read_job(folder)
    toml: str | None = None
    files: dict[str, str] = {}
    problems: list[Problem] = []
    if (folder / FILE).exists():
        with gathered(problems):
            toml = decoded(Sheet(FILE), read_bytes(folder / FILE))
    for path in sorted((folder / "shots").glob("*.toml")):
        with gathered(problems):
            sheet = Sheet(f"shots/{path.name}")
            files[sheet.file] = decoded(sheet, read_bytes(path)) or ""
            problems += sheet.problems
    if problems:
        raise JobProblems(problems)
    return Folder(job, toml, marker_of(folder), source_of(folder), files)


def read_sheet(file: Path) -> tuple[Lens, ...]:
    """A sheet of lenses, CSV or XLSX, without a job. Raises JobProblems with all that is wrong with it."""
    problems: list[Problem] = []
    lenses: tuple[Lens, ...] = ()
    with gathered(problems):
        sheet = sheet_of(file.name, read_bytes(file), LENSES.names)
        problems += sheet.problems
        lenses, _ = read_lenses(sheet, problems)
    if problems:
        raise JobProblems(in_order(problems))
    return lenses


def source_of(path: Path) -> str:
    """Where something came from: the machine and the path, so that the same folder is known again."""
    return f"{socket.gethostname()}:{path.resolve()}"
