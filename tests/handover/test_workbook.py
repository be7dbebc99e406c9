"""The workbook, read by another program's library: figures are figures, text is text, nothing runs."""

import io
import math
import zipfile
from collections.abc import Sequence

import openpyxl
import pytest
from openpyxl.utils.escape import unescape

from tapehook.handover.files import render_full_handover
from tapehook.handover.pack import PackWish
from tapehook.handover.tables import Cell, Table
from tapehook.handover.workbook import workbook
from tapehook.job import Motor
from tapehook.prep import prepare
from tests.prep.jobs import a_lens, read_off, ring_read
from tests.simulator.paper import a_job

STOPS, POSITIONS = (2.0, 2.8, 4.0, 5.6, 8.0), (0.0, 12.0, 24.0, 36.0, 48.0)

HOSTILE = [
    "=1+1",
    "+cmd|' /C calc'!A0",
    "-2",
    "@SUM(A1)",
    "  =1",
    "\t=1",
    "<b>&amp;",
    "_x0041_",
    "שלום",
    "\U0001f600",
    "",
]


def _read(tables: dict[str, Table]) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(workbook(tables)))


def test_text_is_text_and_figures_are_figures() -> None:
    """Texts that look like formulas come back as they were and are no formulas; numbers keep their digits."""
    rows: list[Sequence[Cell]] = [(text, 1.5) for text in HOSTILE]
    rows += [("figures", 0.1 + 0.2), ("none", None), ("yes", True), ("far", math.inf), ("odd", math.nan)]
    sheet = _read({"all": (("text", "value"), rows)})["all"]
    cells = list(sheet.iter_rows(min_row=2))
    for (text, _), row in zip(rows, cells, strict=True):
        assert row[0].data_type != "f"
        assert unescape(str(row[0].value or "")) == text
    assert all(bool(row[0].quotePrefix) == str(row[0].value).lstrip(" ").startswith(tuple("=+-@\t")) for row in cells)
    values = [row[1].value for row in cells[len(HOSTILE) :]]
    assert values[0] == pytest.approx(0.3, abs=1e-14)
    assert values[1:] == [None, "yes", "inf", None]


def test_signs_no_file_can_hold() -> None:
    """Lone halves of signs and control characters are replaced, and the sheet still opens."""
    sheet = _read({"all": (("text",), [("a\ud800b\x00c\x1bd",), ("x" * 40_000,)])})["all"]
    assert sheet["A2"].value.startswith("a")
    assert len(sheet["A3"].value) == 32_767


def test_sheets_in_order_and_the_same_twice() -> None:
    """One sheet for each table, equal bytes for equal tables, no date of today inside."""
    tables: dict[str, Table] = {"b": (("x",), [(1.0,)]), "a": (("y",), [])}
    assert _read(tables).sheetnames == ["b", "a"]
    assert workbook(tables) == workbook(tables)
    with zipfile.ZipFile(io.BytesIO(workbook(tables))) as archive:
        assert {info.date_time[0] for info in archive.infolist()} == {1980}


def test_names_no_sheet_can_have() -> None:
    """A name with a slash, or of 32 letters, is refused."""
    for name in ("a/b", "x" * 32):
        with pytest.raises(ValueError, match="cannot be a sheet"):
            workbook({name: (("x",), [])})


def test_every_table_is_there_twice() -> None:
    """Each CSV of the full handover has a sheet with as many rows and the same header."""
    job = a_job([a_lens(blur_floor_mm=0.03)], [*read_off(play_deg=3.0), *ring_read("iris", STOPS, POSITIONS)])
    job = job.model_copy(update={"motors": (Motor(id="M1", camera="A"),)})
    files, _ = render_full_handover(prepare(job), PackWish(diameter_mm=80.0))
    book = openpyxl.load_workbook(io.BytesIO(files["tables.xlsx"]))
    names = [name.removesuffix(".csv") for name in files if name.endswith(".csv")]
    assert book.sheetnames == names
    assert len(names) == 10
    for name in names:
        lines = files[f"{name}.csv"].decode("utf-8-sig").split("\r\n")
        assert lines[0].split(",") == [cell.value for cell in next(book[name].iter_rows())]
        assert book[name].max_row > 1
