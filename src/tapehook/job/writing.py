"""Writing a job folder: all of it or nothing, and never what could not be read back.

Everything is rendered, read back and compared in memory before the first file is touched.
"""

import math
import os
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path

from tapehook.job.columns import CHARTS, MORNING, TABLES, TSTOPS, written
from tapehook.job.problems import JobProblems, Problem, in_order, shown
from tapehook.job.reading import job_of
from tapehook.job.records import Job, Reading, Record
from tapehook.job.rendering import tables_of
from tapehook.job.replacing import replace_all
from tapehook.job.tomlfile import FILE, job_toml_text, write_job_toml


def write_job(job: Job, folder: Path) -> None:
    """Write ``job`` into ``folder``, which is made if it is not there; tables are written as CSV.

    Each file is replaced as a whole, and when one cannot be, those before it are put back. Files that are
    not the job's are left alone, and of ``job.toml`` only what changed is written: comments stay. Raises
    JobProblems, with nothing written: where the folder holds a table as XLSX, where the system refuses, and
    where the job says what its files cannot hold or ``read_job`` would not take.
    """
    folder = Path(folder)
    files = _files_of(job)
    problems = list(_in_the_way(folder, files))
    if problems:
        raise JobProblems(in_order(problems))
    try:
        files[FILE] = _with_comments(job, folder / FILE, files[FILE])
        replace_all(folder, {name: data for name, data in files.items() if _differs(job, folder / name, data)})
    except (OSError, ValueError) as trouble:  # a path with a NUL in it is a ValueError
        reason = trouble.strerror if isinstance(trouble, OSError) else "no name a folder can have"
        expected = f"a folder that can be written ({reason}); nothing was changed"
        raise JobProblems([Problem(str(folder), None, None, None, expected)]) from None


def _with_comments(job: Job, path: Path, data: bytes) -> bytes:
    """``job.toml`` changed in place of the file that is there; as it is where that is none, or no text."""
    if not path.is_file():
        return data
    try:
        return job_toml_text(job, path.read_bytes().decode()).encode()
    except UnicodeDecodeError:
        return data


def _files_of(job: Job) -> dict[str, bytes]:
    """The bytes of all files of a job, by name, known to read back to it. Raises JobProblems."""
    try:
        # The lenses first: should all else fail half-way, the old readings still have theirs.
        texts = tables_of(job) | {FILE: write_job_toml(job)}
        files = {name: text.encode() for name, text in texts.items()}
    except (AttributeError, RecursionError, TypeError, ValueError) as trouble:
        expected = f"text and numbers a file can hold ({shown(str(trouble))})"
        raise JobProblems([Problem("job", None, None, None, expected)]) from None
    problems: list[Problem] = []
    back = job_of(files, problems)
    if back is not None:
        problems += _differences(job, back)
    if problems:
        raise JobProblems(in_order(problems))
    return files


def _differences(job: Job, back: Job) -> Iterator[Problem]:
    """What a job says that its files do not give back, such as control characters, or text in unknown keys."""
    for name in type(job).model_fields.keys() - {"column_order"}:
        said, read = getattr(job, name), getattr(back, name)
        file = f"{name}.csv" if name in {table.name for table in TABLES} else FILE
        if not isinstance(said, tuple):
            said, read = (said,), (read,)
        for at, (one, other) in enumerate(zip(said, read, strict=False)):
            if _comparable(one) != _comparable(other):
                row = at + 2 if file != FILE else None
                yield Problem(file, row, name if row is None else None, str(one), "what its file can give back")


def _comparable(value: object) -> object:
    """A value as it compares: rows apart, not-a-number equal to itself, lists and tuples alike."""
    match value:
        case Reading(axis="iris" | "zoom", written=text) if text == written(value.value):
            return _comparable(value.model_copy(update={"written": None}))
        case Record():
            return {name: _comparable(item) for name, item in value if name != "row"}
        case dict():
            return {key: _comparable(item) for key, item in value.items()}
        case list() | tuple():
            return [_comparable(item) for item in value]
        case float() if math.isnan(value):
            return "nan"
    return value


def _in_the_way(folder: Path, files: Iterable[str]) -> Iterator[Problem]:
    """What keeps a folder from being this job's: tables kept as workbooks, folders with the name of a file."""
    for table in TABLES:
        if os.path.lexists(folder / f"{table.name}.xlsx"):
            expected = f"no workbook beside the {table.name}.csv that would be written; move it away first"
            yield Problem(f"{table.name}.xlsx", None, None, None, expected)
    for name in files:
        path = folder / name
        if os.path.exists(path) and not os.path.isfile(path):  # noqa: PTH110, PTH113 - those of Path can raise
            yield Problem(name, None, None, None, "a file, not a folder or device")


def _differs(job: Job, path: Path, data: bytes) -> bool:
    """True when a file has to be written: it is not there, or says something else."""
    if not os.path.lexists(path):
        return bool(data) and not _unasked(job, path.stem)
    old = path.read_bytes()
    return old != data and not (path.name == FILE and _same_toml(old, data))


def _unasked(job: Job, name: str) -> bool:
    """True for a table a job need not have, without rows and without a header that was read."""
    optional = name in {CHARTS.name, TSTOPS.name, MORNING.name}
    return optional and not getattr(job, name) and name not in job.column_order


def _same_toml(old: bytes, new: bytes) -> bool:
    """True when two TOML files say the same; the old one, with its comments, may stay."""
    try:
        return tomllib.loads(old.decode()) == tomllib.loads(new.decode())
    except (RecursionError, ValueError):
        return False
