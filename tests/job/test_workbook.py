"""Workbooks as spreadsheet programs save them, and as nobody should: typed cells, dates, formulas, bombs."""

import datetime
import io
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook
from openpyxl.cell import Cell

from tapehook.job import JobProblems, read_job, workbook
from tapehook.job.sheets import Sheet
from tapehook.job.workbook import read_workbook


def saved(rows: Iterable[Iterable[Any]], formats: dict[str, str] | None = None) -> bytes:
    """A workbook with these rows in its first sheet, and number formats by cell name."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    for name, number_format in (formats or {}).items():
        cell = sheet[name]
        assert isinstance(cell, Cell)
        cell.number_format = number_format
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def read(data: bytes) -> Sheet:
    """The sheet in a workbook."""
    return read_workbook("readings.xlsx", data)


def with_part(data: bytes, name: str, change: Any) -> bytes:  # noqa: ANN401 - bytes to bytes
    """The workbook with one of its parts changed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            new.writestr(part, change(old.read(part)) if part == name else old.read(part))
    return stream.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def test_typed_cells_become_the_text_they_show() -> None:
    """Whole numbers without decimals, the shortest digits of others, percentages with their sign."""
    data = saved([["a", "b", "c", "d", "e"], [4711, 12034.0, -0.1, 0.452, True]], {"D2": "0.0%"})

    assert read(data).rows[0].cells == ("4711", "12034", "-0.1", "45.2 %", "TRUE")


def test_rows_count_as_the_sheet_counts() -> None:
    """Blank rows above the header and between rows count and are skipped."""
    sheet = read(saved([[None], ["lens_id"], [None], ["L1"]]))

    assert (sheet.header.number, [row.number for row in sheet.rows]) == (2, [4])


def test_the_first_sheet_counts() -> None:
    """Further sheets are somebody's own."""
    book = Workbook()
    book.create_sheet("first", 0).append(["lens_id"])
    stream = io.BytesIO()
    book.save(stream)

    assert read(stream.getvalue()).header.cells == ("lens_id",)


def folder(tmp_path: Path, readings: bytes) -> Path:
    """A job folder with a lens L1 and these readings."""
    (tmp_path / "lenses.csv").write_text("id\nL1\n", encoding="utf-8")
    (tmp_path / "readings.xlsx").write_bytes(readings)
    return tmp_path


def problems(tmp_path: Path, readings: bytes) -> str:
    """What is wrong with a job that has these readings."""
    with pytest.raises(JobProblems) as caught:
        read_job(folder(tmp_path, readings))
    return str(caught.value)


HEADER = ["lens_id", "distance_text", "position", "checked"]


def test_a_distance_turned_into_a_date_says_so(tmp_path: Path) -> None:
    """5-6 becomes the fifth of June; the sheet no longer knows what was typed."""
    found = problems(tmp_path, saved([HEADER, ["L1", datetime.date(2026, 6, 5), 12, None]]))

    assert 'readings.xlsx row 2, distance_text: read "2026-06-05 00:00:00"' in found
    assert "as it does with 5-6" in found


def test_a_date_in_a_column_of_ones_own_is_kept(tmp_path: Path) -> None:
    """It is only where we must know the number that a date is in the way."""
    job = read_job(folder(tmp_path, saved([HEADER, ["L1", "1.68 m", 12, datetime.date(2026, 6, 5)]])))

    assert job.readings[0].extra == {"checked": "2026-06-05 00:00:00"}


def test_an_error_of_the_sheet_is_refused(tmp_path: Path) -> None:
    """A cell that shows #DIV/0! has no value."""
    data = saved([HEADER, ["L1", "1.68 m", 12, None]])
    broken = with_part(data, SHEET, lambda xml: xml.replace(b'<c r="C2" t="n"><v>12<', b'<c r="C2" t="e"><v>#DIV/0!<'))

    assert 'position: read "#DIV/0!", expected a value; the sheet shows an error here' in problems(tmp_path, broken)


def test_formulas_count_as_their_stored_result(tmp_path: Path) -> None:
    """With a result stored it is read; without one the workbook has to be saved by a spreadsheet program."""
    data = saved([HEADER, ["L1", "1.68 m", "=6*2", None]])
    stored = with_part(data, SHEET, lambda xml: xml.replace(b"<f>6*2</f><v />", b"<f>6*2</f><v>12</v>"))

    assert stored != data
    assert read_job(folder(tmp_path, stored)).readings[0].position == 12
    assert 'row 2, position: read "=6*2", expected a formula with its result stored' in problems(tmp_path, data)


@pytest.mark.parametrize(
    "data",
    [b"", b"lens_id,position\n", b"PK\x03\x04", b"\xd0\xcf\x11\xe0" * 20, saved([["lens_id"]])[:-30]],
    ids=["empty", "text", "cut", "old format", "cut at the end"],
)
def test_what_is_no_workbook_is_refused(data: bytes) -> None:
    """Whatever the bytes are, one problem says that a workbook was expected."""
    sheet = read(data)

    assert len(sheet.problems) == 1
    assert "a workbook in the XLSX format" in sheet.problems[0].sentence()


def test_a_missing_part_is_damage() -> None:
    """A zip that is whole, but no workbook."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("hello.txt", "hello")

    assert "damaged" in read(stream.getvalue()).problems[0].sentence()


def test_entities_are_refused_before_any_is_expanded() -> None:
    """Ten lines of XML can grow to gigabytes; a workbook needs no declarations."""
    declared = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    bomb = with_part(saved([["lens_id"]]), SHEET, lambda xml: declared + xml)

    assert "declares XML entities" in read(bomb).problems[0].sentence()


def test_a_workbook_that_grows_too_large_is_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its parts state their size, which is looked at first; no part may unpack to more than it states."""
    monkeypatch.setattr(workbook, "MOST_UNPACKED_BYTES", 1_000_000)
    bomb = with_part(saved([["lens_id"]]), SHEET, lambda xml: xml + b" " * 2_000_000)

    assert len(bomb) < 20_000
    assert "at most 1 MB once unpacked" in read(bomb).problems[0].sentence()


def test_a_cell_far_out_is_too_many_columns() -> None:
    """One cell in the last column a sheet has does not make a table of 16,384 columns."""
    far = with_part(saved([["lens_id"], ["L1"]]), SHEET, lambda xml: xml.replace(b'r="A2"', b'r="JZ2"'))
    sheet = read(far)

    assert [row for row in sheet.rows if len(row.cells) > 256] == []


def test_a_row_far_down_ends() -> None:
    """A row number beyond the sheet's last is an end, not a loop of a billion blank rows."""
    far = with_part(saved([["lens_id"], ["L1"]]), SHEET, lambda xml: xml.replace(b'<row r="2"', b'<row r="2000000000"'))

    assert "at most 1,048,576 rows" in read(far).problems[0].sentence()


def test_a_date_is_one_in_a_column_of_dates_alone(tmp_path: Path) -> None:
    """What the sheet holds as a date is the day of a morning check; anywhere else it is refused as ever."""
    day = datetime.datetime(2026, 11, 26)  # noqa: DTZ001 - a sheet knows no zones
    (tmp_path / "lenses.xlsx").write_bytes(saved([["id"], ["L1"]]))
    (tmp_path / "readings.xlsx").write_bytes(saved([["lens_id", "distance_m", "position"], ["L1", 2, 100.0]]))
    header = ["lens_id", "date", "distance", "position"]
    (tmp_path / "morning.xlsx").write_bytes(saved([header, ["L1", day, "inf", 3.0]]))
    assert read_job(tmp_path).morning[0].date == "2026-11-26"

    (tmp_path / "morning.xlsx").write_bytes(saved([header, ["L1", day.replace(hour=7), day, 3.0]]))
    with pytest.raises(JobProblems) as refused:
        read_job(tmp_path)
    assert [(one.field, one.expected[:22]) for one in refused.value.problems] == [
        ("date", "text or a number; the "),
        ("chart_distance", "text or a number; the "),
    ]
