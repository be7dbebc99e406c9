"""Excel workbooks: the first sheet, as a table of text.

A workbook is a zip of XML. Its sizes are checked before it is unpacked, and document type declarations,
by which a few bytes of XML grow to millions, are refused.
"""

import datetime
import io
import lzma
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from decimal import Decimal
from itertools import repeat
from typing import Any, NamedTuple

from tapehook.job.sheets import MOST_COLUMNS, Row, Sheet, fill

MOST_UNPACKED_BYTES = 100_000_000
MOST_PARTS = 2_000

# Whatever damaged bytes make of the reader's own structures: it checks few of them before use, and the
# workbook is a stranger's. MemoryError, KeyboardInterrupt and the like are not among them.
DAMAGE = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    lzma.LZMAError,
    OSError,
    RuntimeError,
    struct.error,
    SyntaxError,  # what the XML parser's error derives from
    TypeError,
    ValueError,
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
)

_FORMULA = re.compile(rb"<f[ />]")
_DECLARATION = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_LAST_ROW = 1_048_576
_NO_WORKBOOK = "a workbook in the XLSX format that a spreadsheet program opens"
_NOT_A_DATE = (
    "text or a number; the sheet turned it into a date or time, as it does with 5-6: "
    "format the column as text and type it again"
)
_NO_VALUE = "a formula with its result stored: open the workbook in a spreadsheet program and save it"


class _DamagedError(Exception):
    """A workbook that cannot be read, or not to its end."""


class _Cell(NamedTuple):
    """A filled cell: its value, the kind openpyxl gives it ("e" an error, "f" a formula), and its format."""

    value: Any
    kind: str
    number_format: str


_Cells = dict[int, _Cell]
"""The filled cells of a row by their place in it."""


def read_workbook(file: str, data: bytes) -> Sheet:
    """The first sheet of an XLSX workbook as text; formulas count as the result last stored.

    Numbers are written as the shortest text of the same value, percentages with their sign; cells that hold
    a date, an error, or a formula without a result are noted as odd.
    """
    sheet = Sheet(file)
    try:
        parts = _parts(data)
        if parts is None:
            sheet.spoilt(None, None, f"at most {MOST_UNPACKED_BYTES // 1_000_000} MB once unpacked")
        elif any(map(_DECLARATION.search, parts)):
            sheet.spoilt(None, None, f"{_NO_WORKBOOK}; this one declares XML entities")
        else:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # what a sheet has besides cells, such as drop-down lists
                formulas = _rows(data, data_only=False) if any(map(_FORMULA.search, parts)) else repeat({})
                fill(sheet, _records(sheet, _rows(data, data_only=True), formulas))
    except _DamagedError as trouble:
        sheet.spoilt(None, None, f"{_NO_WORKBOOK}; this one is damaged ({trouble})")
    return sheet


def _parts(data: bytes) -> list[bytes] | None:
    """The XML parts of a workbook, unpacked; None when they are larger than we mean to read."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            # No part unpacks to more than it states here: the zip reader sees to that.
            if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
                return None
            return [archive.read(part) for part in parts if part.filename.endswith((".xml", ".rels"))]
    except DAMAGE as trouble:
        raise _DamagedError(type(trouble).__name__) from None


def _rows(data: bytes, *, data_only: bool) -> Iterator[_Cells]:
    """All rows of the first sheet, blank ones too."""
    try:
        from openpyxl import load_workbook
        from openpyxl.cell.read_only import EMPTY_CELL

        book = load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)
        first: Any = book.worksheets[0]
        first.reset_dimensions()  # the size a workbook states need not be true
        blank: object = None  # sheets are often formatted down to their last row: all gaps are one object
        for cells in first.iter_rows(max_col=MOST_COLUMNS + 1):
            filled = {} if cells is blank else {at: cell for at, cell in enumerate(cells) if cell is not EMPTY_CELL}
            blank = blank if filled else cells
            yield {at: _Cell(cell.value, cell.data_type, str(cell.number_format)) for at, cell in filled.items()}
    except DAMAGE as trouble:
        raise _DamagedError(type(trouble).__name__) from None


def _records(sheet: Sheet, rows: Iterable[_Cells], formulas: Iterable[_Cells]) -> Iterator[Row]:
    """The filled rows; ``formulas`` are the same rows with the formulas that gave their values."""
    for number, (cells, behind) in enumerate(zip(rows, formulas, strict=False), start=1):
        if number > _LAST_ROW:
            sheet.spoilt(number, None, f"at most {_LAST_ROW:,} rows")
            return
        texts = [""] * (max(cells, default=-1) + 1)
        for at, cell in cells.items():
            texts[at] = _text(sheet, number, at, cell)
            if not texts[at] and at in behind and behind[at].kind == "f":
                texts[at] = str(behind[at].value)
                sheet.odd[number, at] = _NO_VALUE
        if texts:
            yield Row(number, tuple(texts))


def _text(sheet: Sheet, number: int, at: int, cell: _Cell) -> str:
    """The text of one cell; what is not text or a number is noted in ``sheet.odd``."""
    value = cell.value
    if isinstance(value, datetime.datetime | datetime.date | datetime.time | datetime.timedelta):
        sheet.odd[number, at] = _NOT_A_DATE
    elif cell.kind == "e":
        sheet.odd[number, at] = "a value; the sheet shows an error here"
    elif isinstance(value, bool):
        return str(value).upper()
    elif isinstance(value, int | float):
        return _number_text(value, cell.number_format)
    return "" if value is None else str(value)


def _number_text(value: float, number_format: str) -> str:
    if "%" in number_format:
        return f"{(Decimal(repr(value)) * 100).normalize():f} %"
    return repr(value).removesuffix(".0")
