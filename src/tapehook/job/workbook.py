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
from typing import Any

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


def read_workbook(file: str, data: bytes) -> Sheet:
    """The first sheet of an XLSX workbook as text; formulas count as the result last stored.

    Numbers are written as the shortest text of the same value, percentages with their sign; cells that hold
    a date, an error, or a formula without a result are noted as odd.
    """
    sheet = Sheet(file)
    try:
        _open_and_fill(sheet, data)
    except DAMAGE as trouble:
        sheet.spoilt(None, None, f"{_NO_WORKBOOK}; this one is damaged ({type(trouble).__name__})")
    return sheet


def _open_and_fill(sheet: Sheet, data: bytes) -> None:
    if not zipfile.is_zipfile(io.BytesIO(data)):
        sheet.spoilt(None, None, f"{_NO_WORKBOOK}; this is no workbook")
        return
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = archive.infolist()
        if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
            sheet.spoilt(None, None, f"at most {MOST_UNPACKED_BYTES // 1_000_000} MB once unpacked")
            return
        texts = [archive.read(part) for part in parts if part.filename.endswith((".xml", ".rels"))]
    if any(map(_DECLARATION.search, texts)):
        sheet.spoilt(None, None, f"{_NO_WORKBOOK}; this one declares XML entities")
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what a sheet has besides cells, such as drop-down lists
        formulas = _rows(data, data_only=False) if any(map(_FORMULA.search, texts)) else repeat(())
        fill(sheet, _records(sheet, _rows(data, data_only=True), formulas))


def _rows(data: bytes, *, data_only: bool) -> Iterator[tuple[Any, ...]]:
    """The rows of the first sheet, as cells of openpyxl."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)
    first: Any = book.worksheets[0]
    first.reset_dimensions()  # the size a workbook states need not be true
    return iter(first.iter_rows(max_col=MOST_COLUMNS + 1))


def _records(sheet: Sheet, rows: Iterable[tuple[Any, ...]], formulas: Iterable[tuple[Any, ...]]) -> Iterator[Row]:
    for number, (cells, behind) in enumerate(zip(rows, formulas, strict=False), start=1):
        if number > _LAST_ROW:
            sheet.spoilt(number, None, f"at most {_LAST_ROW:,} rows")
            return
        texts = [_text(sheet, number, at, cell) for at, cell in enumerate(cells)]
        for at, cell in enumerate(behind):
            if cell.data_type == "f" and not texts[at]:
                texts[at] = str(cell.value)
                sheet.odd[number, at] = _NO_VALUE
        yield Row(number, tuple(texts))


def _text(sheet: Sheet, number: int, at: int, cell: Any) -> str:  # noqa: ANN401 - openpyxl has no type for it
    """The text of one cell; what is not text or a number is noted in ``sheet.odd``."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, datetime.datetime | datetime.date | datetime.time | datetime.timedelta):
        sheet.odd[number, at] = _NOT_A_DATE
        return str(value)
    if cell.data_type == "e":
        sheet.odd[number, at] = "a value; the sheet shows an error here"
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        return _number_text(value, str(cell.number_format))
    return str(value)


def _number_text(value: float, number_format: str) -> str:
    if "%" in number_format:
        return f"{(Decimal(repr(value)) * 100).normalize():f} %"
    return repr(value).removesuffix(".0")
