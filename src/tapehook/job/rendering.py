"""The tables of a job as CSV text: UTF-8, commas, one line feed a row, columns in the order they were read.

Columns nobody asked for are not added: one that was not in the file appears only when a record says
something it is needed for.
"""

import re
from collections.abc import Iterable, Sequence

from tapehook.job.cells import Known, distance
from tapehook.job.columns import CHARTS, LENSES, MORNING, READINGS, TSTOPS, Table, written
from tapehook.job.records import NARROWEST_T, WIDEST_T, ChartTest, Job, LightTest, MorningCheck, Reading, TableRecord
from tapehook.job.set_aside import SUFFIX
from tapehook.job.sheets import guarded
from tapehook.notation import write_distance

# At the start of a file U+FEFF would be taken for a byte order mark.
_TO_QUOTE = re.compile(r'[,;\t"\r\n]|^[\s\ufeff]|\s$')

Cells = dict[str, str]
"""Text of the filled cells of one row, by column name."""


def tables_of(job: Job) -> dict[str, str]:
    """The CSV texts of the tables by file name; one without rows has a header still."""
    return {
        "lenses.csv": _csv(LENSES, job, job.lenses, [_plain(LENSES, lens) for lens in job.lenses]),
        "readings.csv": _csv(READINGS, job, job.readings, _readings(job)),
        "charts.csv": _csv(CHARTS, job, job.charts, _on_charts(CHARTS, job, job.charts)),
        "tstops.csv": _csv(TSTOPS, job, job.tstops, [_light(test) for test in job.tstops]),
        "morning.csv": _csv(MORNING, job, job.morning, _on_charts(MORNING, job, job.morning)),
    }


def _light(test: LightTest) -> Cells:
    """A light test; a T-stop kept before the limits of today says so, and is read back as that alone."""
    cells = _plain(TSTOPS, test)
    within = WIDEST_T <= test.t_stop <= NARROWEST_T
    return cells if within else {**cells, "t_stop": cells["t_stop"] + SUFFIX}


def _csv(table: Table, job: Job, records: Sequence[TableRecord], rows: Sequence[Cells]) -> str:
    """One table: the columns as they were read, then those needed besides, then unknown ones not yet there."""
    headers = list(job.column_order.get(table.name, ()))
    names = [table.name_of(header) for header in headers]
    used = _used(table, names, records, rows)
    added = [column.name for column in table.columns if column.name in used and column.name not in names]
    extra = dict.fromkeys(header for record in records for header in record.extra)
    added += [header for header in extra if header not in headers]
    columns = names + added
    lines = [headers + added]
    for record, row in zip(records, rows, strict=True):
        filled = record.extra | row
        lines.append([filled.get(name, "") for name in columns])
    return "".join(map(_line, lines))


def _used(table: Table, names: Sequence[str], records: Sequence[TableRecord], rows: Sequence[Cells]) -> set[str]:
    """The columns the records cannot do without: those needed, and those that say more than is assumed."""
    used = {column.name for column in table.columns if column.need == "needed"}
    either = {column.name for column in table.columns if column.need == "one of"}
    used |= {name for row in rows for name in either.intersection(row)}
    if either and not records and not either.intersection(names):
        used.add(table.bare_value)
    for column in table.columns:
        if column.name not in either:
            used |= {column.name for record in records if not _is_assumed(record, column.field)}
    return used


def _is_assumed(record: TableRecord, field: str) -> bool:
    """True when the record says no more there than one that says nothing."""
    return bool(getattr(record, field) == type(record).model_fields[field].default)


def _names(table: Table, job: Job) -> set[str]:
    """The columns the file had."""
    return {table.name_of(header) for header in job.column_order.get(table.name, ())}


def _line(cells: Iterable[str]) -> str:
    return ",".join(map(_quoted, cells)) + "\n"


def _quoted(cell: str) -> str:
    """The cell as CSV: guarded where a spreadsheet would run it, quoted where any separator could split it."""
    cell = guarded(cell)
    doubled = cell.replace('"', '""')
    return f'"{doubled}"' if _TO_QUOTE.search(cell) else cell


def _plain(table: Table, record: TableRecord) -> Cells:
    """The columns that stand for one field each; what was not given and is assumed stays empty."""
    cells = {}
    for column in table.columns:
        given = column.field in record.model_fields_set or not _is_assumed(record, column.field)
        text = written(getattr(record, column.field)) if given and column.need != "one of" else ""
        if text:
            cells[column.name] = text
    return cells


def _readings(job: Job) -> list[Cells]:
    """The cells of all readings: in which columns a value stands depends on those the file had."""
    names = _names(READINGS, job)
    focus = [reading for reading in job.readings if reading.axis == "focus"]
    text_column = "value" if "value" in names and "distance_text" not in names else "distance_text"
    metres_column = "distance_m" if "distance_m" in names or not all(map(_says_all, focus)) else ""
    other_column = _column_of_others(job, names)
    rows = []
    for reading in job.readings:
        if reading.axis == "focus":
            cells = _distance(text_column, reading.written, metres_column, reading.value)
        else:
            cells = {other_column: reading.written or written(reading.value)}
        rows.append(_plain(READINGS, reading) | cells)
    return rows


def _column_of_others(job: Job, names: set[str]) -> str:
    """The column for T-stops and focal lengths: ``value``, unless the file had none and put them elsewhere."""
    if "value" not in names and "distance_text" in names:
        return "distance_text"
    bare = "distance_m" in names and not any(reading.written for reading in job.readings)
    return "distance_m" if bare and "value" not in names else "value"


def _on_charts(table: Table, job: Job, tests: Sequence[ChartTest | MorningCheck]) -> list[Cells]:
    """The cells of all rows of what was found on charts."""
    in_metres = "chart_distance_m" in _names(table, job) or not all(map(_says_all, tests))
    column = "chart_distance_m" if in_metres else ""
    return [_on_chart(table, test, column) for test in tests]


def _on_chart(table: Table, test: ChartTest | MorningCheck, metres_column: str) -> Cells:
    cells = _plain(table, test)
    if isinstance(test, ChartTest) and test.chart_width_m is not None:
        cells["chart_width"] = write_distance(test.chart_width_m)
    return cells | _distance("chart_distance", test.written, metres_column, test.chart_distance_m)


def _distance(text_column: str, text: str | None, metres_column: str, distance_m: float) -> Cells:
    """A distance as it was written down, and in metres where the table has a column for that."""
    cells = {text_column: text, metres_column: written(distance_m)}
    return {name: cell for name, cell in cells.items() if name and cell}


def _says_all(record: Reading | ChartTest | MorningCheck) -> bool:
    """True when the distance as it was written down alone gives back the same distance."""
    distance_m = record.value if isinstance(record, Reading) else record.chart_distance_m
    try:
        return record.written is not None and distance(record.written, Known()) == distance_m
    except ValueError:
        return False
