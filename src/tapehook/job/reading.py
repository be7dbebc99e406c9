"""Reading a job folder: all of it, with all that is wrong with it at once."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from tapehook.job.columns import CHARTS, LENSES, MORNING, READINGS, TABLES, TSTOPS, Table
from tapehook.job.lines import header_of
from tapehook.job.problems import JobProblems, Problem, gathered, in_order
from tapehook.job.rear_filters import unknown_rear_filters
from tapehook.job.records import ChartTest, Job, Lens, MorningCheck, Record
from tapehook.job.sheets import Sheet, read_bytes, read_csv
from tapehook.job.tables import Kit, read_charts, read_lenses, read_morning, read_readings, read_tstops
from tapehook.job.tomlfile import FILE, read_job_toml

ENDINGS = (".csv", ".xlsx")
"""What a table may be kept as; one of them at a time."""

_NEEDED = (LENSES, READINGS)


def read_job(folder: Path) -> Job:
    """The job in ``folder``: ``lenses``, ``readings`` as CSV or XLSX; and what is there of the rest.

    The rest is ``charts``, ``tstops``, ``morning``, ``job.toml``. Other files are left alone, and nothing is written.
    Raises JobProblems, and nothing else, with all problems of all files.
    """
    problems: list[Problem] = []
    files: dict[str, bytes] = {}
    for path in _paths(Path(folder), problems):
        with gathered(problems):
            files[path.name] = read_bytes(path)
    job = job_of(files, problems)
    if job is None:
        raise JobProblems(in_order(problems))
    return job


def _paths(folder: Path, problems: list[Problem]) -> list[Path]:
    """The files of the job in ``folder``. Notes those missing, and tables that are there twice."""
    try:
        names = sorted(path.name for path in folder.iterdir())
    except (OSError, ValueError) as trouble:  # a path with a NUL in it is a ValueError
        reason = trouble.strerror if isinstance(trouble, OSError) else "no name a folder can have"
        problems.append(Problem(str(folder), None, None, None, f"a job folder ({reason})"))
        return []
    found = [name for name in names if name == FILE]
    for table in TABLES:
        present = [name for name in names if name in {table.name + ending for ending in ENDINGS}]
        if len(present) > 1:
            expected = f"one of {' and '.join(present)}; which of them counts cannot be told"
            problems.append(Problem(present[0], None, None, None, expected))
        elif not present and table in _NEEDED:
            expected = f"this file, or {table.name}.xlsx, in the folder{_instead(table.name, names)}"
            problems.append(Problem(f"{table.name}.csv", None, None, None, expected))
        found += present[:1]
    return [folder / name for name in found]


def _instead(stem: str, names: Iterable[str]) -> str:
    """A hint at a file of the right name but another ending or spelling."""
    like = next((name for name in names if Path(name).stem.casefold() == stem), None)
    return f"; {like} is no such file: save or rename it" if like else ""


def job_of(files: Mapping[str, bytes], problems: list[Problem]) -> Job | None:
    """The job in the bytes of its files, by name; None, with the problems noted, when there are any.

    Problems noted before count too: what is said about files together stays unsaid when one is missing.
    """
    job = read_job_toml(files[FILE], problems) if FILE in files else Job()
    sheets: dict[str, Sheet] = {}
    for table in TABLES:
        for file in files.keys() & {table.name + ending for ending in ENDINGS}:
            sheets[table.name] = sheet_of(file, files[file], table.names)
            problems += sheets[table.name].problems
    tables = _tables(sheets, problems)
    if job is not None:
        # A copy, so that the fields set stay those the file gave: they are the ones written back.
        job = job.model_copy(update={**tables, "column_order": {n: header_of(s) for n, s in sheets.items()}})
        problems += _unknown_cameras(job, sheets)
        problems += unknown_rear_filters(job, {name: sheet.file for name, sheet in sheets.items()})
    return None if problems else job


def _tables(sheets: Mapping[str, Sheet], problems: list[Problem]) -> dict[str, tuple[Record, ...]]:
    """The rows of all tables that are there, by field of the job."""
    tables: dict[str, tuple[Record, ...]] = {}
    kit = Kit()
    if LENSES.name in sheets:
        tables["lenses"], kit = read_lenses(sheets[LENSES.name], problems)
    if READINGS.name in sheets:
        tables["readings"] = read_readings(sheets[READINGS.name], kit, problems)
    if CHARTS.name in sheets:
        tables["charts"] = read_charts(sheets[CHARTS.name], kit, problems)
    if TSTOPS.name in sheets:
        tables["tstops"] = read_tstops(sheets[TSTOPS.name], kit, problems)
    if MORNING.name in sheets:
        tables["morning"] = read_morning(sheets[MORNING.name], kit, problems)
    return tables


def _unknown_cameras(job: Job, sheets: Mapping[str, Sheet]) -> Iterator[Problem]:
    """Lenses and tests on cameras that are not listed, where cameras are listed at all."""
    letters = {camera.letter for camera in job.cameras}
    rows: list[tuple[Table, Sequence[Lens | ChartTest | MorningCheck]]] = [
        (LENSES, job.lenses),
        (CHARTS, job.charts),
        (MORNING, job.morning),
    ]
    for table, records in rows if letters else ():
        for record in records:
            unknown = [letter for letter in (record.camera or "").split() if letter not in letters]
            if unknown:
                expected = f"cameras of the job: {', '.join(sorted(letters))}"
                yield Problem(sheets[table.name].file, record.row, "camera", record.camera, expected)


def sheet_of(file: str, data: bytes, columns: frozenset[str]) -> Sheet:
    """The table in the bytes of a file, by the ending of its name; ``columns`` are names a header may hold."""
    if file.endswith(".xlsx"):
        from tapehook.job.workbook import read_workbook

        sheet = read_workbook(file, data)
    else:
        sheet = read_csv(file, data, columns)
    if not sheet.header.cells and not sheet.problems:
        sheet.spoilt(None, None, "a header row with the names of the columns; the table is empty")
    return sheet
