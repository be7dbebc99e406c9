"""Photos read from a job folder: only files inside it, told by what they hold, not by what they are called.

Nothing is decoded here. A JPEG is walked from marker to marker (ITU-T T.81, annex B), a PNG from chunk to chunk
(W3C, Portable Network Graphics, third edition, section 5), which shows size, orientation, date, and whether the file
ends where it should. Orientation and date are those of Exif (JEITA CP-3451, Exif 2.32, sections 4.6.4 and 4.6.5).
"""

import re
import stat
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from tapehook.job.photos import inside, photos_of
from tapehook.job.records import Job

MOST_BYTES, MOST_PIXELS = 30_000_000, 60_000_000
"""Of one file: what a large camera writes, and no more than a laptop can unpack in passing."""

_PNG = b"\x89PNG\r\n\x1a\n"
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_ALONE = frozenset({0x01, *range(0xD0, 0xD8)})
_PRIVATE = frozenset({0xE1, *range(0xE3, 0xEE), 0xEF, 0xFE})
"""Segments that draw nothing: Exif, which may tell where a photo was taken, and what programs note for themselves."""
_SCAN_END = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
_OTHERS = (
    ("HEIC", 4, (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftyphevc", b"ftypavif")),
    ("WebP", 8, (b"WEBP",)),
    ("GIF", 0, (b"GIF8",)),
    ("TIFF or raw", 0, (b"II*\0", b"MM\0*")),
    ("PDF", 0, (b"%PDF",)),
    ("SVG", 0, (b"<svg", b"<?xml")),
)


class PhotoTrouble(Exception):
    """Why a photo is not shown: ``said`` completes its name ("is empty, ..."), ``next_step`` what to do."""

    def __init__(self, said: str, next_step: str) -> None:
        super().__init__(said)
        self.said = said
        self.next_step = next_step


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photo as it was read: its bytes without what draws nothing, and how it is to be looked at.

    ``width_px`` and ``height_px`` are those upright, after ``orientation`` (1 to 8, as in Exif) is followed. ``taken``
    is when, as the camera's clock had it; None where it did not say.
    """

    data: bytes
    kind: Literal["jpg", "png"]
    width_px: int
    height_px: int
    orientation: int = 1
    taken: datetime | None = None


_AGAIN = "Copy it again from the camera or phone."
_SMALLER = "Save a smaller copy: 2,000 pixels on the long side show any scratch."
_AS_JPEG = "Save it as JPEG or PNG."


def photo_path(folder: Path, name: str) -> Path | None:
    """The file of that name in the folder; None where there is none, or where it lies outside, by a link too."""
    if not inside(name):
        return None
    try:
        root = folder.resolve(strict=True)
        path = (root / name.replace("\\", "/")).resolve(strict=True)
        return path if path.is_relative_to(root) and stat.S_ISREG(path.stat().st_mode) else None
    except (OSError, ValueError, RuntimeError):  # no such file, not to be looked at, or a ring of links
        return None


def missing_photos(job: Job, folder: Path) -> Iterator[tuple[str, str]]:
    """Lens and name of each photo that is not a file of ``folder``; what lies outside is never looked at."""
    for lens in job.lenses:
        for name in photos_of(lens):
            if photo_path(folder, name) is None:
                yield lens.id, name


def read_photo(path: Path) -> PhotoFile:
    """The photo in a file. Raises PhotoTrouble for anything but a whole JPEG or PNG within the limits."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as trouble:
        raise PhotoTrouble(f"cannot be read ({trouble.strerror})", "Look at its permissions.") from trouble
    if len(data) > MOST_BYTES:
        raise PhotoTrouble(f"is over {MOST_BYTES // 1_000_000} MB, expected less", _SMALLER)
    return photo_in(data)


def photo_in(data: bytes) -> PhotoFile:
    """The photo in these bytes. Raises PhotoTrouble."""
    if not data:
        raise PhotoTrouble("is empty, expected a JPEG or PNG picture", _AGAIN)
    if data.startswith(b"\xff\xd8"):
        found = _jpeg(data)
    elif data.startswith(_PNG):
        found = _png(data)
    else:
        raise PhotoTrouble(f"is {_what(data)}, expected a JPEG or PNG picture", _AS_JPEG)
    if found.width_px * found.height_px > MOST_PIXELS:
        size = f"{found.width_px:,} by {found.height_px:,} pixels"
        raise PhotoTrouble(f"has {size}, expected at most {MOST_PIXELS // 1_000_000} million in all", _SMALLER)
    return found


def _what(data: bytes) -> str:
    for kind, at, signs in _OTHERS:
        if data[at:].startswith(signs):
            return f"a {kind} file"
    return "no picture that is known here"


# --- JPEG -----------------------------------------------------------------------------------------------------


def _jpeg(data: bytes) -> PhotoFile:
    """Walk all segments: those that draw are kept, with the orientation alone of what Exif said."""
    kept, at, size, exif = [b"\xff\xd8"], 2, (0, 0), b""
    while True:
        marker, at = _marker(data, at)
        if marker == 0xD9:
            break
        if marker in _ALONE:
            kept.append(bytes((0xFF, marker)))
            continue
        end = at + (int.from_bytes(data[at : at + 2]) or 2)
        if end < at + 2 or end > len(data):
            raise _cut_short(data)
        body = data[at + 2 : end]
        if marker in _FRAMES and len(body) >= 5:
            size = (int.from_bytes(body[3:5]), int.from_bytes(body[1:3]))
        if marker == 0xE1 and body.startswith(b"Exif\0\0"):
            exif = exif or body[6:]
        start, at = at - 2, _after(data, end, marker)
        if marker not in _PRIVATE:
            kept.append(data[start:at])
    if not all(size):
        raise PhotoTrouble("is a damaged JPEG that does not say how large it is", _AGAIN)
    orientation, taken = _exif(exif)
    kept.insert(1, _orientation_segment(orientation) if orientation > 1 else b"")
    width, height = size if orientation < 5 else size[::-1]
    return PhotoFile(b"".join([*kept, b"\xff\xd9"]), "jpg", width, height, orientation, taken)


def _marker(data: bytes, at: int) -> tuple[int, int]:
    """The marker that stands here, and where it ends; bytes that fill up before it are passed over."""
    if data[at : at + 1] != b"\xff":
        raise (
            _cut_short(data)
            if at >= len(data)
            else PhotoTrouble("is a damaged JPEG, with other bytes where a part should begin", _AGAIN)
        )
    while data[at : at + 1] == b"\xff":
        at += 1
    if at >= len(data):
        raise _cut_short(data)
    return data[at], at + 1


def _after(data: bytes, end: int, marker: int) -> int:
    """Where the next marker stands: behind a scan its coded data come first."""
    if marker != 0xDA:
        return end
    found = _SCAN_END.search(data, end)
    if found is None:
        raise _cut_short(data)
    return found.start()


def _cut_short(data: bytes) -> PhotoTrouble:
    return PhotoTrouble(f"ends after {len(data):,} bytes, in the midst of the picture", _AGAIN)


def _orientation_segment(orientation: int) -> bytes:
    """Exif that says the orientation and nothing else."""
    tiff = struct.pack(">2sHIHHHIHHI", b"MM", 42, 8, 1, 0x0112, 3, 1, orientation, 0, 0)
    return b"\xff\xe1" + (len(tiff) + 8).to_bytes(2) + b"Exif\0\0" + tiff


# --- PNG ------------------------------------------------------------------------------------------------------


def _png(data: bytes) -> PhotoFile:
    """Walk all chunks; each must be whole, as its check says."""
    at, size, exif = len(_PNG), (0, 0), b""
    while True:
        if at + 12 > len(data):
            raise _cut_short(data)
        length, kind = struct.unpack_from(">I4s", data, at)
        end = at + 12 + length
        if end > len(data):
            raise _cut_short(data)
        body = data[at + 8 : end - 4]
        if zlib.crc32(data[at + 4 : end - 4]) != int.from_bytes(data[end - 4 : end]):
            raise PhotoTrouble("is a damaged PNG: one of its parts does not agree with its check", _AGAIN)
        if kind == b"IHDR" and length == 13:
            size = struct.unpack_from(">II", body)
        exif = body if kind == b"eXIf" else exif
        at = end
        if kind == b"IEND":
            break
    if not all(size):
        raise PhotoTrouble("is a damaged PNG that does not say how large it is", _AGAIN)
    orientation, taken = _exif(exif)
    width, height = size if orientation < 5 else size[::-1]
    return PhotoFile(data[:at], "png", width, height, orientation, taken)


# --- Exif -----------------------------------------------------------------------------------------------------


def _exif(tiff: bytes) -> tuple[int, datetime | None]:
    """Orientation and when it was taken; (1, None) for whatever is not there or cannot be read."""
    order: Literal["little", "big"] = "little" if tiff.startswith(b"II") else "big"
    first = _tags(tiff, int.from_bytes(tiff[4:8], order), order)
    orientation = int.from_bytes(first.get(0x0112, b"")[:2], order)
    inner = _tags(tiff, int.from_bytes(first.get(0x8769, b""), order), order)
    at = int.from_bytes(inner.get(0x9003, b""), order)
    return orientation if 1 <= orientation <= 8 else 1, _date(tiff[at : at + 19] if at else b"")


def _tags(tiff: bytes, at: int, order: Literal["little", "big"]) -> dict[int, bytes]:
    """The four bytes of value, or of where it stands, of each tag of a directory."""
    if not 8 <= at < len(tiff):
        return {}
    count = int.from_bytes(tiff[at : at + 2], order)
    rows = (tiff[start : start + 12] for start in range(at + 2, at + 2 + 12 * count, 12) if start + 12 <= len(tiff))
    return {int.from_bytes(row[:2], order): row[8:] for row in rows}


def _date(written: bytes) -> datetime | None:
    try:
        return datetime.strptime(written.decode("ascii"), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - a camera has no zone
    except ValueError:
        return None
