"""Photos of condition for paper: as they are where they are small enough, else made smaller by the typesetter.

A pack is sent from phone to phone: all its photos together take ``ROOM_BYTES``, shared evenly.
"""

import math
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tapehook.finding import Finding
from tapehook.handover.typesetting import TypesettingError, set_picture
from tapehook.job.photo_files import PhotoFile, PhotoTrouble, photo_path, read_photo
from tapehook.job.photos import photo_names
from tapehook.job.records import Job, Lens

ROOM_BYTES = 8_500_000
_MOST_EACH = 2_000_000
_LEAST_LONG_PX, _MOST_LONG_PX = 320, 1_600
_BYTES_PER_PIXEL = 1.7
"""What a pixel of a photo is taken to need in the PDF, until it was tried."""
_GROWN = 1.2
"""How much more a PNG takes in the PDF than on its own, as tried: it is packed there without its filters."""
WHEN = ("receipt", "return")
_AGAIN = "Open it on a computer, and save it as JPEG under a new name."


@dataclass(frozen=True, slots=True)
class ConditionPhoto:
    """One photo of a lens: ``when`` is "receipt" or "return", ``number`` counts from 1 within that, of ``count``."""

    lens_id: str
    when: str
    number: int
    count: int
    name: str
    photo: PhotoFile


@dataclass(frozen=True, slots=True)
class ConditionPhotos:
    """The photos to print, in the order of the lenses, and a finding for each that is there and cannot be shown."""

    shown: tuple[ConditionPhoto, ...] = ()
    findings: tuple[Finding, ...] = ()


def named_photos(lens: Lens) -> Iterator[tuple[str, int, int, str]]:
    """When, number, how many, and name of each photo of a lens."""
    for when, cell in zip(WHEN, (lens.photos_on_receipt, lens.photos_on_return), strict=True):
        names = photo_names(cell)
        for number, name in enumerate(names, start=1):
            yield when, number, len(names), name


def condition_photos(
    job: Job, folder: Path, progress: Callable[[int, int, str], None] | None = None
) -> ConditionPhotos:
    """Read the photos that the job names, from its folder, and make them fit for a pack.

    Those that are not there are left out without a word (see ``missing_photos``). ``progress`` is called with how many
    are done, of how many, and the lens.
    """
    wanted = [
        (lens, *said, path)
        for lens in job.lenses
        for said in named_photos(lens)
        if (path := photo_path(folder, said[3])) is not None
    ]
    shown, findings = list[ConditionPhoto](), list[Finding]()
    for done, (lens, when, number, count, name, path) in enumerate(wanted, start=1):
        try:
            photo = fitting(read_photo(path), min(_MOST_EACH, ROOM_BYTES // len(wanted)))
            shown.append(ConditionPhoto(lens.id, when, number, count, name, photo))
        except PhotoTrouble as trouble:
            findings.append(_finding(lens, name, trouble))
        if progress is not None:
            progress(done, len(wanted), lens.id)
    return ConditionPhotos(tuple(shown), tuple(findings))


def _finding(lens: Lens, name: str, trouble: PhotoTrouble) -> Finding:
    message = f"The photo {name} of lens {lens.id} is not shown: it {trouble.said}."
    return Finding("photo_not_shown", "watch", lens.id, message, trouble.next_step, lens_id=lens.id)


def fitting(photo: PhotoFile, room_bytes: int) -> PhotoFile:
    """The photo in about ``room_bytes``: itself, or with fewer pixels. Raises PhotoTrouble where it cannot be unpacked.

    A PNG is stored anew in the PDF, without loss: what it takes there hangs on its pixels, not on its bytes.
    """
    long_px = max(photo.width_px, photo.height_px)
    if photo.kind == "jpg" and len(photo.data) <= room_bytes and long_px <= 2 * _MOST_LONG_PX:
        return _tried(photo)
    wanted_px = _within(long_px * math.sqrt(room_bytes / _BYTES_PER_PIXEL / (photo.width_px * photo.height_px)))
    if long_px <= wanted_px:
        return _tried(photo)
    made = _smaller(photo, wanted_px)
    # How much a pixel takes is known only now: once more, where that was far off.
    better_px = _within(wanted_px * math.sqrt(room_bytes / (_GROWN * len(made.data))))
    return made if 0.85 < better_px / wanted_px < 1.15 else _smaller(photo, min(better_px, long_px))


def _within(long_px: float) -> int:
    return round(min(max(long_px, _LEAST_LONG_PX), _MOST_LONG_PX))


def _tried(photo: PhotoFile) -> PhotoFile:
    """The same, once the typesetter has shown that it can unpack it."""
    _drawn(photo, 16)
    return photo


def _smaller(photo: PhotoFile, long_px: int) -> PhotoFile:
    """With ``long_px`` on its long side, upright."""
    data = _drawn(photo, long_px)
    width, height = (int.from_bytes(data[at : at + 4]) for at in (16, 20))
    return PhotoFile(data, "png", width, height, 1, photo.taken)


def _drawn(photo: PhotoFile, long_px: int) -> bytes:
    """As a PNG with so many pixels on its long side."""
    with tempfile.TemporaryDirectory(prefix="tapehook-") as folder:
        (Path(folder) / "photo").write_bytes(photo.data)
        try:
            return set_picture(Path(folder), photo.kind, upright=photo.height_px > photo.width_px, long_px=long_px)
        except TypesettingError as trouble:
            raise PhotoTrouble("is damaged and cannot be unpacked", _AGAIN) from trouble
