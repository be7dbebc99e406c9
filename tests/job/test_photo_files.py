"""Photos as files: told by what they hold, whole or named as what they are, and never from outside the folder."""

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job.photo_files import MOST_BYTES, PhotoTrouble, photo_in, photo_path, read_photo
from tests.photo_files import a_jpeg, a_png, chunk, empty_png, exif

JPEG, PNG = a_jpeg(noise=20.0), a_png(noise=20.0)


@pytest.mark.parametrize("order", [">", "<"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_size_orientation_and_date(order: str, orientation: int) -> None:
    """As Exif has them, in either order of bytes; 5 to 8 are turned by a quarter, which exchanges the sides."""
    found = photo_in(a_jpeg(80, 60, orientation=orientation, order=order))
    assert (found.kind, found.orientation, str(found.taken)) == ("jpg", orientation, "2026-11-20 10:11:12")
    assert (found.width_px, found.height_px) == ((80, 60) if orientation < 5 else (60, 80))


def test_what_draws_nothing_is_left_out() -> None:
    """Where a photo was taken does not go along; which way it was held does, and the picture is the same."""
    data = a_jpeg(orientation=6)
    assert b"SECRET PLACE" in data
    found = photo_in(data)
    assert b"SECRET" not in found.data
    assert b"2026" not in found.data
    again = photo_in(found.data)
    assert (again.orientation, again.taken) == (6, None)
    assert again.data == found.data


def test_a_png_says_the_same() -> None:
    """Size from its header, orientation and date from its Exif chunk."""
    data = PNG[:33] + chunk(b"eXIf", exif(8, "2026:11:20 10:11:12")) + PNG[33:]
    found = photo_in(data)
    assert (found.kind, found.width_px, found.height_px, found.orientation) == ("png", 60, 80, 8)
    assert str(found.taken) == "2026-11-20 10:11:12"
    assert photo_in(PNG).taken is None


@pytest.mark.parametrize("taken", ["", "yesterday, about ten", "2026:13:45 99:99:99", "\x00\xff"])
def test_a_date_that_is_none_is_none(taken: str) -> None:
    """What a camera's clock never said is not printed."""
    assert photo_in(a_jpeg(taken=taken.encode("latin-1").decode("ascii", "replace")[:18])).taken is None


@pytest.mark.parametrize("whole", [JPEG, PNG], ids=["jpeg", "png"])
def test_a_file_cut_short_is_told(whole: bytes) -> None:
    """Wherever a copy broke off, down to the last bytes."""
    for end in (*range(12, len(whole) - 2, 97), len(whole) - 2, len(whole) - 1):
        with pytest.raises(PhotoTrouble) as found:
            photo_in(whole[:end])
        assert "midst of the picture" in found.value.said or "damaged" in found.value.said


@pytest.mark.parametrize(
    "data, words",
    [
        (b"", "is empty"),
        (b"hello", "no picture"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1", "HEIC"),
        (b"RIFF\x10\0\0\0WEBPVP8 ", "WebP"),
        (b"GIF89a\1\0\1\0", "GIF"),
        (b"%PDF-1.7", "PDF"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>', "SVG"),
        (empty_png(40_000, 40_000), "40,000 by 40,000 pixels"),
        (empty_png(0, 10), "how large"),
        (PNG[:60] + b"\0\0" + PNG[62:], "damaged"),
        (b"\xff\xd8" + b"\0" * 100, "damaged"),
    ],
)
def test_what_is_no_photo_is_told(data: bytes, words: str) -> None:
    """Named as what it is, or what is wrong with it, and what to do."""
    with pytest.raises(PhotoTrouble) as found:
        photo_in(data)
    assert words in found.value.said
    assert found.value.next_step.endswith(".")


@given(st.sampled_from([JPEG, PNG]), st.data())
def test_no_bytes_are_too_odd(whole: bytes, data: st.DataObject) -> None:
    """Bytes changed, put in or left out anywhere: a photo with a size, or words."""
    at = data.draw(st.integers(2, len(whole)))
    changed = whole[:at] + data.draw(st.binary(max_size=40)) + whole[at + data.draw(st.integers(0, 40)) :]
    try:
        found = photo_in(changed)
    except PhotoTrouble:
        return
    assert found.width_px > 0
    assert found.height_px > 0


def test_only_files_of_the_folder(tmp_path: Path) -> None:
    """Names that lead out, links that lead out, folders, pipes: none is a photo; a link within the folder is."""
    folder = tmp_path / "job"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "a.jpg").write_bytes(JPEG)
    (tmp_path / "out.jpg").write_bytes(JPEG)
    (folder / "leads-out.jpg").symlink_to(tmp_path / "out.jpg")
    (folder / "all").symlink_to(tmp_path)
    (folder / "ring.jpg").symlink_to(folder / "ring.jpg")
    (folder / "within.jpg").symlink_to(folder / "photos" / "a.jpg")
    os.mkfifo(folder / "pipe.jpg")
    for name in ("../out.jpg", str(tmp_path / "out.jpg"), "leads-out.jpg", "all/out.jpg", "ring.jpg", "pipe.jpg"):
        assert photo_path(folder, name) is None, name
    for name in ("photos", "", "a\0b", "x" * 5000, "photos/none.jpg", "..\\out.jpg"):
        assert photo_path(folder, name) is None, name
    assert photo_path(folder, "photos\\a.jpg") == photo_path(folder, "within.jpg") == folder / "photos" / "a.jpg"


def test_a_huge_file_is_not_read_to_its_end(tmp_path: Path) -> None:
    """Over the limit is told with the limit."""
    path = tmp_path / "a.jpg"
    with path.open("wb") as file:
        file.write(JPEG)
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(PhotoTrouble, match="over 30 MB"):
        read_photo(path)
