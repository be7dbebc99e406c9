"""Tables as they lie in a folder, CSV or XLSX, brought to one form: a header and rows of text.

What a cell means is not known here. What can be wrong with a file as a file is: its size, its encoding, its
quotes. The limits keep a mistaken or hostile file from filling the memory.
"""

import csv
import io
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tapehook.job.problems import JobProblems, Problem

MOST_BYTES = 20_000_000
MOST_ROWS = 1_000_000
MOST_COLUMNS = 256
LONGEST_CELL = 32_767
"""What a cell of a spreadsheet can hold."""

SEPARATORS = ",;\t"

PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:e[+-]?[0-9]+)?", re.IGNORECASE)

_MARKS = {b"\xff\xfe\0\0": "utf-32", b"\0\0\xfe\xff": "utf-32", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_NAMED_SEPARATOR = re.compile(r'"?sep=([,;\t])"?(?:\r\n|\r|\n|$)', re.IGNORECASE)
# A decimal point that cannot part thousands: 1.68, 0.812, 131.8642, but not 12.034.
_DECIMAL_POINT = re.compile(r"[+-]?(?:[0-9]*\.(?:[0-9]{1,2}|[0-9]{4,})|0?\.[0-9]+)(?![0-9])")
# A guarded cell: what a spreadsheet would take for a formula, behind one apostrophe or more.
_GUARDED = re.compile(r"'+[=+\-@\t\r\n＝＋－＠]")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as the spreadsheet counts, and the text of its cells."""

    number: int
    cells: tuple[str, ...]


@dataclass(slots=True)
class Sheet:
    """A table as text. ``problems`` are those of the file itself; ``rows`` are what could be read besides.

    ``decimal_comma`` says that a lone comma in a number is its decimal mark, ``decimal_point`` that points
    are seen to be decimal marks too. ``odd`` holds, by row number and column index, what was expected in
    place of a cell that has no honest text, such as a date.
    """

    file: str
    header: Row = Row(1, ())
    rows: list[Row] = field(default_factory=list)
    decimal_comma: bool = False
    decimal_point: bool = False
    odd: dict[tuple[int, int], str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def spoilt(self, row: int | None, read: str | None, expected: str) -> None:
        """Note that the file cannot be read, or not past ``row``."""
        self.problems.append(Problem(self.file, row, None, read, expected))


def read_bytes(path: Path) -> bytes:
    """The bytes of an ordinary file of at most ``MOST_BYTES``. Raises JobProblems."""
    try:
        status = path.stat()
        if stat.S_ISREG(status.st_mode) and status.st_size <= MOST_BYTES:
            return path.read_bytes()
    except OSError as trouble:
        raise _unreadable(path, f"a file that can be read ({trouble.strerror})") from None
    if stat.S_ISDIR(status.st_mode):
        raise _unreadable(path, "a file, not a folder")
    if not stat.S_ISREG(status.st_mode):
        raise _unreadable(path, "an ordinary file, not a device or pipe")
    raise _unreadable(path, f"at most {MOST_BYTES // 1_000_000} MB; it has {status.st_size:,} bytes")


def _unreadable(path: Path, expected: str) -> JobProblems:
    return JobProblems([Problem(path.name, None, None, None, expected)])


def read_csv(file: str, data: bytes, columns: frozenset[str]) -> Sheet:
    """A CSV table, UTF-8 or with a byte order mark; the separator is the one that makes sense of the header."""
    sheet = Sheet(file)
    text = decoded(sheet, data)
    if text is None:
        return sheet
    named = _NAMED_SEPARATOR.match(text)
    body = text[named.end() :] if named else text
    separator = named.group(1) if named else _separator(body, columns)
    fill(sheet, _records(sheet, body, separator))
    sheet.decimal_comma = separator != ","
    sheet.decimal_point = sheet.decimal_comma and _has_decimal_point(sheet.rows)
    return sheet


def decoded(sheet: Sheet, data: bytes) -> str | None:
    """The text of a file, or None and a problem that names the row and byte that are no text."""
    encoding = next((name for mark, name in _MARKS.items() if data.startswith(mark)), "utf-8-sig")
    try:
        text = data.decode(encoding).lstrip("\ufeff")  # programs that add a mark add it to a marked file too
    except UnicodeDecodeError as trouble:
        body, at = trouble.object, trouble.start  # the body of a marked file may lack its mark here
        before = body[:at].decode(encoding, errors="ignore")
        read = f"0x{body[at]:02X}, byte {1 + at + len(data) - len(body):,} of the file" if at < len(body) else "no more"
        name = encoding.removesuffix("-sig").upper()
        hint = '; a spreadsheet program saves it as "CSV UTF-8"' if sheet.file.endswith(".csv") else ""
        sheet.spoilt(row_at(before), read, f"{name} text{hint}")
        return None
    control = _CONTROL.search(text)
    if control:
        read = f"character U+{ord(control.group()):04X}"
        hint = "; such a file is no text, or UTF-16 without its mark" if control.group() == "\0" else ""
        sheet.spoilt(row_at(text[: control.start()]), read, f"text without control characters{hint}")
        return None
    return text


def row_at(before: str) -> int:
    """Number of the row that follows, or goes on after, the text ``before``."""
    try:
        rows = sum(1 for _ in csv.reader(io.StringIO(before + "x", newline="")))
    except csv.Error:
        rows = before.count("\n") + 1
    return max(rows, 1)


def _separator(text: str, columns: frozenset[str]) -> str:
    """The separator that splits the first filled line into the most known names; a comma when in doubt."""
    head = re.split(r"[\r\n]", text[:LONGEST_CELL])
    line = next((line for line in head if line.strip(SEPARATORS + ' "')), "")
    bare = re.sub(r'(?:^|(?<=[,;\t]))"(?:[^"]|"")*"', lambda quoted: re.sub("[,;\t]", " ", quoted.group()), line)

    def known(separator: str) -> int:
        return sum(header_name(cell) in columns for cell in bare.split(separator))

    present = [separator for separator in SEPARATORS if separator in bare]
    return max(present or [","], key=known)


def header_name(text: str) -> str:
    """A header as columns are compared: "Lens ID" is lens_id, "Distance (m)" is distance_m."""
    return re.sub(r"[\W_]+", "_", text.casefold()).strip("_")


def _records(sheet: Sheet, text: str, separator: str) -> Iterator[Row]:
    """All records of a CSV text, blank ones too; a quote that never closes ends them with a problem."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            yield Row(number, tuple(cells))
    except csv.Error as trouble:
        if "limit" in str(trouble):
            sheet.spoilt(number + 1, None, f"cells of at most {LONGEST_CELL:,} characters")
        else:
            sheet.spoilt(
                number + 1, None, 'quotes that close; in a quoted cell an inch mark is written twice: "5\'6"""'
            )


def fill(sheet: Sheet, records: Iterator[Row]) -> None:
    """Put the first filled record into the header of the sheet, and the filled ones after it into its rows.

    Stops with a problem where the table grows larger than any we mean to read.
    """
    for record in map(_trimmed, records):
        if not record.cells:
            continue
        if beyond := _beyond_limits(sheet, record):
            sheet.spoilt(record.number, None, beyond)
            return
        if sheet.header.cells:
            sheet.rows.append(record)
        else:
            sheet.header = Row(record.number, tuple(cell.strip() for cell in record.cells))


def _trimmed(record: Row) -> Row:
    """The record without blank cells at its end, guards taken off."""
    width = next((at for at in range(len(record.cells), 0, -1) if record.cells[at - 1].strip()), 0)
    return Row(record.number, tuple(map(unguarded, record.cells[:width])))


def _beyond_limits(sheet: Sheet, record: Row) -> str | None:
    """What was expected instead, when the table passes a limit with this record."""
    if len(sheet.rows) >= MOST_ROWS:
        return f"at most {MOST_ROWS:,} rows"
    if len(record.cells) > MOST_COLUMNS:
        return f"at most {MOST_COLUMNS} columns"
    if max(map(len, record.cells)) > LONGEST_CELL:
        return f"cells of at most {LONGEST_CELL:,} characters"
    return None


def unguarded(cell: str) -> str:
    """The cell without the apostrophe that keeps spreadsheets from running it as a formula."""
    return cell[1:] if _GUARDED.match(cell) else cell


def guarded(cell: str) -> str:
    """The cell, behind an apostrophe where a spreadsheet would run it, or where reading would drop one."""
    return f"'{cell}" if _GUARDED.match(f"'{cell}") and not PLAIN_NUMBER.fullmatch(cell) else cell


def _has_decimal_point(rows: list[Row]) -> bool:
    return any(_DECIMAL_POINT.match(cell.strip()) for row in rows for cell in row.cells)
