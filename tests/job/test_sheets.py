"""CSV as people and programs leave it: encodings, separators, quotes, line ends, limits."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import sheets
from tapehook.job.problems import JobProblems
from tapehook.job.sheets import Sheet, guarded, header_name, read_bytes, read_csv, unguarded

COLUMNS = frozenset({"lens_id", "position", "distance_m"})


def read(text: str | bytes) -> Sheet:
    """The sheet in a CSV text."""
    return read_csv("readings.csv", text.encode() if isinstance(text, str) else text, COLUMNS)


def cells(sheet: Sheet) -> list[tuple[str, ...]]:
    """Header and rows without their numbers."""
    return [sheet.header.cells, *(row.cells for row in sheet.rows)]


def sentence(sheet: Sheet) -> str:
    """The one problem of a sheet."""
    assert len(sheet.problems) == 1
    return sheet.problems[0].sentence()


SOUND = "lens_id,position\nL1,½°\nL2,12\n"
AS_READ = [("lens_id", "position"), ("L1", "½°"), ("L2", "12")]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
def test_encodings_that_say_what_they_are(encoding: str) -> None:
    """UTF-8 with and without its mark, and whatever has a mark."""
    assert cells(read(SOUND.encode(encoding))) == AS_READ


def test_a_mark_may_stand_twice() -> None:
    """Programs that add one do not look whether it is there."""
    assert cells(read("\ufeff\ufeff" + SOUND)) == AS_READ


def test_other_encodings_name_row_and_byte() -> None:
    """Windows text is refused where the first byte is no UTF-8: row 2, and byte 0xBD, which is its ½."""
    sheet = read(SOUND.encode("cp1252"))

    assert 'readings.csv row 2: read "0xBD, byte 21 of the file"' in sentence(sheet)
    assert 'row 2: read "0xBD, byte 24 of the file"' in sentence(read(b"\xef\xbb\xbf" + SOUND.encode("cp1252")))
    assert "CSV UTF-8" in sentence(sheet)


def test_utf_16_without_a_mark_is_no_text() -> None:
    """Its bytes are UTF-8 with NULs between, and the message says what that means."""
    assert "row 1: read" in sentence(read(SOUND.replace("½°", "1").encode("utf-16-le")))
    assert "UTF-16" in sentence(read(SOUND.replace("½°", "1").encode("utf-16-le")))


def test_text_that_breaks_off() -> None:
    """A file cut in the middle of a character."""
    assert "row 1" in sentence(read("lens_id,°".encode("utf-16")[:-1]))


@pytest.mark.parametrize("character", ["\0", "\x07", "\x1b", "\x7f"])
def test_control_characters_are_refused(character: str) -> None:
    """They can hide in a name and upset whatever shows it."""
    assert "row 3" in sentence(read(f"lens_id,position\nL1,1\nL{character}2,2\n"))


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator: str, end: str) -> None:
    """Whichever is used; only commas leave the decimal comma out."""
    sheet = read(SOUND.replace(",", separator).replace("\n", end))

    assert cells(sheet) == AS_READ
    assert sheet.decimal_comma == (separator != ",")


def test_the_separator_is_the_one_that_makes_sense_of_the_header() -> None:
    """More commas than semicolons, but it is the semicolons that part known columns."""
    sheet = read('lens_id;position;"a,b,c",d,e\nL1;1,5;x\n')

    assert sheet.header.cells != ("lens_id", "position", '"a,b,c",d,e')  # a quote that does not close the cell
    assert "quotes" in sentence(sheet)
    assert read('lens_id;position;"a,b,c,d,e"\n').header.cells == ("lens_id", "position", "a,b,c,d,e")


def test_separators_in_quoted_headers_do_not_count() -> None:
    """A header of one's own may hold what it likes."""
    sheet = read('lens_id,"position;distance_m;x"\nL1,2\n')

    assert sheet.header.cells == ("lens_id", "position;distance_m;x")


@pytest.mark.parametrize("line", ["sep=;\r\n", '"sep=;"\n', "SEP=;\r"])
def test_a_line_may_name_the_separator(line: str) -> None:
    """Some spreadsheets write one, which they do not count as a row."""
    sheet = read(line + "lens_id;position\nL1;1,5\n")

    assert sheet.header.cells == ("lens_id", "position")
    assert sheet.rows[0].number == 2


def test_rows_count_as_in_a_spreadsheet() -> None:
    """Blank rows count, cells with line breaks are one row, and both are read over."""
    sheet = read('\n lens_id ,position,,\n,,\n"L\n1",1,\n\n  \nL2,2,,\n')

    assert sheet.header.number == 2
    assert [(row.number, row.cells) for row in sheet.rows] == [(4, ("L\n1", "1")), (7, ("L2", "2"))]


@pytest.mark.parametrize(
    "text, row",
    [
        ('lens_id,position\nL1,1\n"L2,2\nL3,3\n', 3),
        ('lens_id,position\nL1,"5\'6""\n', 2),
        ('lens_id,position\n"a\nb",1\nL1,"x"y\n', 3),
    ],
)
def test_quotes_that_do_not_close_name_their_row(text: str, row: int) -> None:
    """The row where the quote opened, and what an inch mark needs; rows before it are read."""
    sheet = read(text)

    assert f"row {row}: expected quotes that close" in sentence(sheet)
    assert row - 2 == len(sheet.rows)


def test_inch_marks_without_quotes_are_plain() -> None:
    """A quote inside a cell that does not start with one is a sign like any other."""
    assert read("lens_id,position\nL1,5'6\"\n").rows[0].cells == ("L1", "5'6\"")


def test_points_are_seen_to_be_decimal() -> None:
    """1.680 could part thousands; 1.68 could not, nor 0.812 nor 131.8642."""
    seen = {text: read(f"lens_id;position\nL1;{text}\n").decimal_point for text in ("1.680", "12.034.567", "1,68")}

    assert not any(seen.values())
    for text in ("1.68", "0.812", "131.8642", "-0.5", "1.5 m"):
        assert read(f"lens_id;position\nL1;{text}\n").decimal_point, text


@pytest.mark.parametrize(
    "name, value, text, words",
    [
        ("MOST_ROWS", 2, "lens_id\nL1\nL2\nL3\n", "row 4: expected at most 2 rows"),
        ("MOST_COLUMNS", 2, "lens_id,b\n1,2,3\n", "row 2: expected at most 2 columns"),
        ("LONGEST_CELL", 9, "lens_id\n0123456789\n", "row 2: expected cells of at most 9 characters"),
    ],
)
def test_limits_stop_the_reading(name: str, value: int, text: str, words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A table larger than any job is a mistake or an attack; it is said, and no more of it is kept."""
    monkeypatch.setattr(sheets, name, value)

    assert words in sentence(read(text))


def test_a_cell_beyond_the_parser_is_a_problem_too() -> None:
    """The standard library has a limit of its own, and an exception for it."""
    assert "characters" in sentence(read(f"lens_id\n{'x' * (csv.field_size_limit() + 1)}\n"))


def test_files_that_are_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Folders, pipes, links in a circle, files too large: each says what it is, none hangs."""
    import os

    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "large").write_bytes(b"123")
    monkeypatch.setattr(sheets, "MOST_BYTES", 2)
    found = {}
    for name in ("folder", "pipe", "loop", "large", "missing"):
        with pytest.raises(JobProblems) as caught:
            read_bytes(tmp_path / name)
        found[name] = str(caught.value)

    assert "not a folder" in found["folder"]
    assert "not a device or pipe" in found["pipe"]
    assert "can be read" in found["loop"]
    assert "it has 3 bytes" in found["large"]
    assert "can be read" in found["missing"]


def test_headers_compare_without_their_dress() -> None:
    """Case, spaces, brackets and signs do not matter."""
    for text in ("Lens ID", " lens_id ", "LENS-ID", "lens.id"):
        assert header_name(text) == "lens_id"
    assert header_name("Distance (m)") == "distance_m"
    assert header_name("Temperature [°C]") == "temperature_c"


@pytest.mark.parametrize("cell", ["=1+1", "+a", "-a", "@a", "\t=1", "'=1", "''@x", "＝1"])
def test_formulas_are_guarded(cell: str) -> None:
    """What a spreadsheet would run stands behind an apostrophe, and comes back without."""
    assert f"'{cell}" == guarded(cell)
    assert cell == unguarded(guarded(cell))


@given(st.text(max_size=8))
def test_guarding_loses_nothing(cell: str) -> None:
    """Any cell comes back as it was, and none that starts like a formula is left bare unless it is a number."""
    assert cell == unguarded(guarded(cell))
    if guarded(cell)[:1] in {"=", "+", "-", "@"}:
        float(guarded(cell))


def test_what_we_write_the_standard_library_reads() -> None:
    """The quoting is ordinary CSV: checked with the csv module, which is another's work."""
    from tapehook.job.rendering import _line

    row = ["a", 'say "x"', "a,b", "a;b", "two\nlines", "", " space "]

    assert [row] == list(csv.reader(io.StringIO(_line(row), newline=""), strict=True))
