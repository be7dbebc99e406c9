"""Headings nobody knows: what each was probably meant to be, and that notes of people's own are left in peace."""

from pathlib import Path

import pytest

from tapehook.job import read_job
from tapehook.job.columns import LENSES, READINGS, TABLES
from tapehook.job.headings import LIKELY, Unread, heading_for, meant, unread
from tapehook.job.sheets import header_name


@pytest.mark.parametrize(
    "heading, name",
    [
        ("Focal length", "focal_mm"),
        ("Focal Length (mm)", "focal_mm"),
        ("Direction", "approach"),
        ("Max aperture", "t_stop"),
        ("serial no.", "serial"),
        ("transmision", "transmission"),
        ("colour", None),
        ("Rental house", None),
        ("עדשה", None),
        ("", None),
    ],
)
def test_a_heading_means_the_column_it_is_like(heading: str, name: str | None) -> None:
    """Common words for a column and slips of the pen are known; what is like none is nobody's."""
    assert meant(heading, [column.name for table in (LENSES, READINGS) for column in table.columns]) == name


def test_likely_headings_are_of_columns_and_are_none_themselves() -> None:
    """Each key is a column of some table, each heading stands as headings are compared, and none is a column's own."""
    names = {column.name for table in TABLES for column in table.columns}
    assert LIKELY.keys() <= names
    for name, headings in LIKELY.items():
        assert all(header_name(heading) == heading and heading != name for heading in headings)


def test_the_heading_for_a_missing_column_is_found() -> None:
    """Of all headings nobody knows, the one that was meant."""
    assert heading_for("position", ("Colour", "Ring")) == "Ring"
    assert heading_for("position", ("Colour",)) is None


def test_what_is_kept_and_not_read_is_told(tmp_path: Path) -> None:
    """A column like one that is missing has a name to be given; one like a column that is there has none."""
    (tmp_path / "lenses.csv").write_text("id,Focal length,serial,Serial no,shelf\nL1,50,7,7,3\n", encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position,way\n", encoding="utf-8")
    (tmp_path / "job.toml").write_text('shooting_stopp = "T2.8"\nvan = "B 12"\n', encoding="utf-8")
    assert list(unread(read_job(tmp_path))) == [
        Unread("lenses", "Focal length", "focal_mm"),
        Unread("lenses", "Serial no", None),
        Unread("lenses", "shelf", None),
        Unread("readings", "way", "approach"),
        Unread("job.toml", "shooting_stopp", "shooting_stop"),
        Unread("job.toml", "van", None),
    ]
