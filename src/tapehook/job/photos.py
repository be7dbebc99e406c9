"""Photos of lenses as their columns name them: names of files in the job folder, parted by semicolons."""

import re
from pathlib import PurePosixPath

from tapehook.job.records import Lens

_PARTS = re.compile(r"[;\n]")
_DRIVE = re.compile(r"^[A-Za-z]:")


def photo_names(text: str | None) -> tuple[str, ...]:
    """The names in a cell, in order; empty for None."""
    return tuple(name for part in _PARTS.split(text or "") if (name := part.strip()))


def photos_of(lens: Lens) -> tuple[str, ...]:
    """All photos of a lens, on receipt and on return."""
    return photo_names(lens.photos_on_receipt) + photo_names(lens.photos_on_return)


def inside(name: str) -> bool:
    """True for a name that stays within the folder: no root, no drive, no step upward."""
    path = PurePosixPath(name.replace("\\", "/"))
    return not (path.is_absolute() or _DRIVE.match(name) or ".." in path.parts or "\0" in name)
