"""Photos of condition in the pack: upright, small, described, dated; what cannot be shown is told by name."""

import re
from pathlib import Path

import pymupdf
import pytest

from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.photos import ROOM_BYTES, ConditionPhotos, condition_photos, fitting
from tapehook.job.photo_files import missing_photos, photo_in
from tapehook.prep import Prep, prepare
from tests.handover.matterhorn import faults
from tests.handover.pack_reading import Pack
from tests.photo_files import MARK, a_jpeg, a_png
from tests.prep.jobs import a_job, a_lens, read_off

CORNERS = {1: "tl", 2: "tr", 3: "br", 4: "bl", 5: "tl", 6: "tr", 7: "br", 8: "bl"}
"""Where the first stored corner is seen: Exif 2.32, table 6, "the 0th row is at the ..., the 0th column at the ..."."""


def _prep(**lens: str) -> Prep:
    return prepare(a_job([a_lens(**lens)], read_off(noise_deg=0.02)))


def _pack(prep: Prep, folder: Path) -> bytes:
    photos = condition_photos(prep.job, folder)
    wish = PackWish(photos=photos, missing_photos=tuple(missing_photos(prep.job, folder)))
    return render_pack(prep, wish, pack_strips(prep, wish))


def _told(written: str) -> str:
    """An object of a PDF with its texts in UTF-16 read, and signs that need a stroke before them without it."""
    read = re.sub("<FEFF([0-9A-F]+)>", lambda found: f"({bytes.fromhex(found[1]).decode('utf-16-be')})", written)
    return read.replace("\\", "")


def _corner(page: pymupdf.Page, box: pymupdf.Rect) -> str:
    """The corner of a picture on a page that has the mark."""
    pixels = page.get_pixmap(dpi=144, clip=box)
    found = []
    for name in ("tl", "tr", "bl", "br"):
        x = 4 if name[1] == "l" else pixels.width - 5
        y = 4 if name[0] == "t" else pixels.height - 5
        if all(abs(a - b) < 40 for a, b in zip(pixels.pixel(x, y), MARK, strict=True)):
            found.append(name)
    (only,) = found
    return only


@pytest.mark.parametrize("room", [ROOM_BYTES, 80_000], ids=["as it is", "made smaller"])
def test_each_is_upright(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, room: int) -> None:
    """All eight ways to hold a camera, with room and without: the mark is where Exif says it is seen."""
    monkeypatch.setattr("tapehook.handover.photos.ROOM_BYTES", room)
    for orientation in CORNERS:
        (tmp_path / f"{orientation}.jpg").write_bytes(a_jpeg(480, 360, orientation=orientation, noise=30.0))
    prep = _prep(photos_on_receipt=";".join(f"{one}.jpg" for one in CORNERS))
    kinds = {one.photo.kind for one in condition_photos(prep.job, tmp_path).shown}
    assert kinds == ({"jpg"} if room == ROOM_BYTES else {"png"})
    with pymupdf.open(stream=_pack(prep, tmp_path)) as pdf:
        (page,) = [page for page in pdf if page.get_image_info()]
        shown = sorted(page.get_image_info(), key=lambda one: (round(one["bbox"][1]), one["bbox"][0]))
        assert [_corner(page, pymupdf.Rect(one["bbox"])) for one in shown] == list(CORNERS.values())
        for orientation, one in zip(CORNERS, shown, strict=True):
            box = pymupdf.Rect(one["bbox"])
            assert (box.width > box.height) == (orientation < 5)


def test_the_page_says_what_is_seen(tmp_path: Path) -> None:
    """Lens, when, what was written, file and date; described for those who do not see it; PDF/UA holds."""
    (tmp_path / "a.jpg").write_bytes(a_jpeg(orientation=6))
    (tmp_path / "b & #panic().png").write_bytes(a_png())
    prep = _prep(
        condition_on_receipt="scratch at two o'clock",
        photos_on_receipt="a.jpg",
        condition_on_return="as received",
        photos_on_return="b & #panic().png",
    )
    data = _pack(prep, tmp_path)
    assert faults(data) == []
    pack = Pack(data)
    (page,) = [text for text in pack.texts if text.startswith("Condition, with photos")]
    title = prep.lenses[0].title
    for words in (title, "On receipt: scratch at two o'clock", "1 a.jpg, 20 Nov 2026, 10:11", "On return: as received"):
        assert words in page, words
    assert "1 b & #panic().png" in page
    assert "Condition, with photos" in pack.texts[1]
    objects = [pack.document.xref_object(number) for number in range(1, pack.document.xref_length())]
    alt = f"/Alt (Photo 1 of 1 of {title}, on return: b & #panic().png. as received)"
    assert any(alt in _told(one) for one in objects)
    assert b"SECRET" not in data


def test_what_cannot_be_shown_is_told(tmp_path: Path) -> None:
    """Missing, outside, cut short, no picture: each by name, and the pack is made all the same."""
    whole = a_jpeg(noise=20.0)
    (tmp_path / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "text.jpg").write_text("hello")
    (tmp_path / "png.jpg").write_bytes(a_png())
    prep = _prep(photos_on_receipt="cut.jpg; text.jpg; none.jpg; ../x.jpg; png.jpg")
    photos = condition_photos(prep.job, tmp_path)
    assert [(one.code, one.lens_id) for one in photos.findings] == [("photo_not_shown", "L1")] * 2
    assert [(one.name, one.number, one.photo.kind) for one in photos.shown] == [("png.jpg", 5, "png")]
    text = Pack(_pack(prep, tmp_path)).texts
    (page,) = [one for one in text if one.startswith("Condition, with photos")]
    assert "The photo cut.jpg of lens L1 is not shown: it ends after" in page
    assert "The photo text.jpg of lens L1 is not shown: it is no picture" in page
    assert "The photo none.jpg of lens L1 is not in the job folder." in page
    assert "The photo ../x.jpg of lens L1 is not in the job folder." in page


def test_without_photos_nothing_is_added() -> None:
    """A job that names none has no such page, and the same bytes as with an empty set of them."""
    prep = _prep()
    assert not any("Condition, with photos" in text for text in Pack(_pack(prep, Path("nowhere"))).texts)
    wish = PackWish(photos=ConditionPhotos())
    assert render_pack(prep, wish, pack_strips(prep, wish)) == _pack(prep, Path("nowhere"))


@pytest.mark.parametrize("room", [60_000, 400_000])
@pytest.mark.parametrize("noise", [2.0, 30.0])
def test_a_large_photo_is_made_smaller(room: int, noise: float) -> None:
    """A photo of three megapixels takes about the room it is given, however rough it is, and keeps its shape."""
    made = fitting(photo_in(a_jpeg(2000, 1500, noise=noise)), room)
    assert made.kind == "png"
    assert made.width_px / made.height_px == pytest.approx(4 / 3, rel=0.02)
    assert max(made.width_px, made.height_px) >= 320
    assert len(made.data) < 1.3 * room or made.width_px == 320


@pytest.mark.slow
def test_forty_photos_stay_small(tmp_path: Path) -> None:
    """Forty photos of seven megapixels, of two lenses: a pack under 10 MB, its photos among them."""
    data = a_jpeg(3000, 2250, noise=8.0)
    assert 40 * len(data) > 2 * ROOM_BYTES
    names = [f"{number}.jpg" for number in range(20)]
    for name in names:
        (tmp_path / name).write_bytes(data)
    prep = _prep(photos_on_receipt=";".join(names), photos_on_return=";".join(names))
    made = _pack(prep, tmp_path)
    assert len(made) < 10_000_000
    with pymupdf.open(stream=made) as pdf:
        assert sum(len(page.get_image_info()) for page in pdf) == 40
