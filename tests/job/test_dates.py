"""Cells that a spreadsheet made a date of: told as such, and nothing else is."""

from pathlib import Path

import pytest

from tests.job.test_reading import problems


@pytest.mark.parametrize("cell", ["06-May", "May-06", "5. Jun", "2022-05-06 00:00:00", "06.05.2022", "5/6/22", "6-Mär"])
def test_what_a_spreadsheet_made_a_date_is_told(cell: str, tmp_path: Path) -> None:
    """5-6 and 5/6 come out of a spreadsheet as the fifth of June: the message says so, and what to do."""
    (found,) = problems(tmp_path, readings=f"lens_id,distance_text,position\nL1,{cell},12\n")
    assert found.endswith("; a spreadsheet made a date of it: format the column as text and type it again")


@pytest.mark.parametrize("cell", ["5-6", "by the door", "5.6.", "maybe 3", "12/4"])
def test_what_is_no_date_is_not_called_one(cell: str, tmp_path: Path) -> None:
    """What a person wrote is refused for what it is."""
    (found,) = problems(tmp_path, readings=f"lens_id,distance_text,position\nL1,{cell},12\n")
    assert "date" not in found
