"""Photos named in columns: files of the folder or told, and never a way out of it."""

from pathlib import Path

import pytest

from tapehook.job.photo_files import missing_photos
from tapehook.job.photos import inside, photo_names
from tests.prep.jobs import a_job, a_lens


def test_names_are_parted_by_semicolons() -> None:
    """A name may hold spaces and commas."""
    assert photo_names("photos/front, left.jpg; photos/back 2.jpg;") == ("photos/front, left.jpg", "photos/back 2.jpg")
    assert photo_names(None) == ()


@pytest.mark.parametrize(
    "name", ["/etc/passwd", "../x.jpg", "a/../../x.jpg", "C:\\x.jpg", "\\\\host\\x.jpg", "..\\x.jpg", "a\0b"]
)
def test_no_name_leads_out_of_the_folder(name: str) -> None:
    """Roots, drives, steps upward in either spelling."""
    assert not inside(name)


def test_missing_ones_are_told(tmp_path: Path) -> None:
    """What is there is not; what is elsewhere counts as missing even when it exists."""
    folder = tmp_path / "job"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "a.jpg").write_bytes(b"x")
    (tmp_path / "out.jpg").write_bytes(b"x")
    lens = a_lens(
        "K", photos_on_receipt="photos/a.jpg; photos/b.jpg", photos_on_return=f"../out.jpg; photos; {'x' * 4000}"
    )
    found = list(missing_photos(a_job([lens], []), folder))
    assert found == [("K", "photos/b.jpg"), ("K", "../out.jpg"), ("K", "photos"), ("K", "x" * 4000)]
