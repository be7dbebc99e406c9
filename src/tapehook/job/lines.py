"""The rows of a table as lines: cells by column, each able to say what is wrong with it."""

import difflib
import re
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import ValidationError

from tapehook.job.cells import Known, day
from tapehook.job.columns import Column, Table, written
from tapehook.job.headings import heading_for
from tapehook.job.problems import Problem, limit, shown
from tapehook.job.records import KEPT_EARLIER, TableRecord
from tapehook.job.sheets import Row, Sheet
from tapehook.notation import NotationError

# As spreadsheets write dates into CSV: 06-May, May-06, 5. Jun, 2022-05-06 00:00:00, 06.05.2022, 5/6/22.
_MONTH = "(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)"
_DATE = re.compile(
    rf"\d[-. ]{{1,2}}{_MONTH}\b|\b{_MONTH}[-. ]{{1,2}}\d"
    r"|\b\d{4}-\d{1,2}-\d{1,2}\b|\b\d{1,2}([./-])\d{1,2}\1(?:\d{4}|\d{2})\b",
    re.IGNORECASE,
)
_Record = TypeVar("_Record", bound=TableRecord)
_Value = TypeVar("_Value")


@dataclass(slots=True)
class Line:
    """One row: the stripped text of its filled cells by column name, and its unknown columns by header.

    ``problems`` is the list of the whole file. ``odd`` holds what was expected of cells without honest text.
    """

    file: str
    row: int
    table: Table
    headers: frozenset[str]
    problems: list[Problem]
    cells: dict[str, str] = field(default_factory=dict)
    extra: dict[str, str] = field(default_factory=dict)
    odd: dict[str, str] = field(default_factory=dict)
    overfull: bool = False

    def text(self, name: str) -> str:
        """The text of a known column, empty where there is none."""
        return self.cells.get(name, "")

    def refuse(self, name: str, expected: str) -> None:
        """Note a problem with the cell of column ``name``; nothing when the file has no such column."""
        if name in self.headers:
            self.problems.append(Problem(self.file, self.row, name, self.text(name), expected))

    def take(self, name: str, read: Callable[[str, Known], _Value], known: Known, expected: str) -> _Value | None:
        """What the cell holds; None when it is blank, or refused, which is then noted."""
        if name in self.odd:
            self.refuse(name, self.odd[name])
        elif text := self.text(name):
            try:
                return read(text, known)
            except ValueError as trouble:
                self.refuse(name, expected + (_date(text) or meanings(trouble)))
        return None

    def value(self, column: Column, known: Known) -> object:
        """What the cell of a column that is read by itself holds; a blank one is refused if it is needed."""
        text = self.cells.get(column.name)
        if text and column.read and column.name not in self.odd:
            with suppress(ValueError):  # told below
                return column.read(text, known)
        if text is None:
            if column.need == "needed":
                self.refuse(column.name, column.expects(known))
            return None
        return self.take(column.name, column.read, known, column.expects(known)) if column.read else None

    def beyond(self, at: int, cell: str, width: int) -> None:
        """Note a cell without a header, the first of the row only: after it all stand in the wrong place."""
        if not self.overfull:
            self.overfull = True
            expected = f'at most {width} cells, as in the header; a cell with a comma in it needs quotes: "1,68 m"'
            if at < width:
                expected = "nothing in a column without a name; give it a header"
            self.problems.append(Problem(self.file, self.row, f"column {at + 1}", cell, expected))

    def values(self, known: Known) -> dict[str, object]:
        """Fields of the record by the columns that are read one by one, blank and refused ones left out."""
        read = ((c.field, self.value(c, known)) for c in self.table.columns if c.read and c.name in self.headers)
        return {name: value for name, value in read if value is not None}

    def record(
        self, kind: type[_Record], values: dict[str, object], known: Known, *, kept_earlier: bool = False
    ) -> _Record | None:
        """The record of this row; None, with the problems noted, when a value is beyond its limits."""
        try:
            context = {KEPT_EARLIER: kept_earlier}
            return kind.model_validate({**values, "extra": self.extra, "row": self.row}, context=context)
        except ValidationError as trouble:
            for error in trouble.errors(include_url=False, include_context=True):
                self._beyond(error, known)
        return None

    def _beyond(self, error: Mapping[str, Any], known: Known) -> None:
        """Note a value the record refuses. One that is missing was refused before, or is not in the header."""
        if error["type"] == "missing":
            return
        name = str(error["loc"][0]) if error["loc"] else ""
        filled = [column for column in self.table.columns if self.text(column.name)]
        # A value that several columns may give: whichever did.
        either = [column for column in filled if column.need == "one of"]
        column = next((column for column in filled if column.field == name), (either or filled)[0])
        expected, beyond = column.expects(known), limit(error)
        self.refuse(column.name, expected if beyond and beyond.removeprefix(", ") in expected else expected + beyond)


def _date(text: str) -> str:
    """Where a cell is a date: that a spreadsheet made it of 5-6 or 5/6, in words after what was expected."""
    return (
        "; a spreadsheet made a date of it: format the column as text and type it again" if _DATE.search(text) else ""
    )


def meanings(trouble: ValueError) -> str:
    """What an ambiguous text could have meant, in words, after what was expected."""
    if isinstance(trouble, NotationError) and trouble.readings:
        return "; it could mean " + " or ".join(map(shown, trouble.readings))
    return ""


def nearest(wrong: str, right: Iterable[str]) -> str:
    """The most similar of the ``right`` words, in words, after what was expected; empty without one."""
    found = difflib.get_close_matches(wrong[:80].casefold(), [word.casefold() for word in right], n=1)
    spelt = next((word for word in right if found and word.casefold() == found[0]), None)
    return f'; the nearest is "{shown(spelt)}"' if spelt else ""


def read_lines(sheet: Sheet, table: Table, problems: list[Problem]) -> list[Line]:
    """The rows of a sheet as lines of ``table``. What is wrong with the header is noted in ``problems``."""
    names = names_of(sheet, table)
    _check_header(sheet, table, names, problems)
    known = frozenset(column.name for column in table.columns).intersection(names)
    lines = []
    for row in sheet.rows:
        line = Line(sheet.file, row.number, table, known, problems)
        for at, cell in enumerate(row.cells):
            if cell.strip():
                _place(line, sheet, row, at, names[at] if at < len(names) else "")
        lines.append(line)
    return lines


def names_of(sheet: Sheet, table: Table) -> list[str]:
    """The header as names of columns: the text itself where we do not know it, empty where there is none."""
    return [table.name_of(cell) for cell in sheet.header.cells]


def _place(line: Line, sheet: Sheet, row: Row, at: int, name: str) -> None:
    """Put one filled cell where it belongs in its line."""
    cell = row.cells[at]
    if not name:
        line.beyond(at, cell, len(sheet.header.cells))
    elif name in line.headers:
        line.cells[name] = cell.strip()
        if (row.number, at) in sheet.odd and not _is_day(line.table, name, cell):
            line.odd[name] = sheet.odd[row.number, at]
    else:
        line.extra[name] = cell


def _is_day(table: Table, name: str, cell: str) -> bool:
    """Whether a cell that a sheet holds as a date is one of a column that asks for dates."""
    column = next(column for column in table.columns if column.name == name)
    if column.read is not day:
        return False
    with suppress(ValueError):
        return bool(day(cell.strip(), Known()))
    return False


def _check_header(sheet: Sheet, table: Table, names: list[str], problems: list[Problem]) -> None:
    """Note columns that stand twice, and those that are needed and not there.

    A file without a header was noted as such already.
    """
    if not sheet.header.cells:
        return

    def note(read: str | None, expected: str) -> None:
        problems.append(Problem(sheet.file, sheet.header.number, None, read, expected))

    seen: set[str] = set()
    for name, cell in zip(names, sheet.header.cells, strict=True):
        if name and name in seen:
            note(cell, f"each column once; {shown(name)} is there already")
        seen.add(name)
    unknown = [name for name in names if name and name not in table.names]
    for column in table.columns:
        if column.need == "needed" and column.name not in seen:
            note(None, f"a column {column.name}{_meant(column.name, unknown)}")
    either = [column.name for column in table.columns if column.need == "one of"]
    if either and not seen.intersection(either):
        note(None, f"one of the columns {', '.join(either)}{_meant(either[0], unknown)}")


def _meant(name: str, unknown: list[str]) -> str:
    """The heading that was probably meant to be this column, in words; empty without one."""
    found = heading_for(name, unknown)
    return f'; "{shown(found)}" may be meant to be it' if found else nearest(name, unknown)


def header_of(sheet: Sheet) -> tuple[str, ...]:
    """The header as it was read, columns without a name left out."""
    return tuple(cell for cell in sheet.header.cells if cell)


def same(a: float, b: float) -> bool:
    """True when two distances, stops or focal lengths are one, given how people round: 1 %, or 5 mm."""
    return a == b or abs(a - b) <= max(0.01 * min(a, b), 0.005)


def said(value: float, unit: str) -> str:
    """A number of a message, with its unit."""
    return "infinity" if value == float("inf") else f"{written(value)} {unit}".strip()
