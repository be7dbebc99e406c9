"""Photos of condition for the pages: looked for where the server was told, in the job folder whose title the job has.

The book keeps the names of photos, never the photos. A folder speaks for a job by the title in its own ``job.toml``;
where two say the same title none is looked into, so that no lens is shown the damage of another.
"""

import threading
import tomllib
from collections import OrderedDict
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from tapehook.handover.photos import ConditionPhotos, condition_photos, fitting, named_photos
from tapehook.job.photo_files import PhotoFile, PhotoTrouble, photo_path, read_photo
from tapehook.job.records import Job, Lens

ROOM_BYTES = 400_000
"""Of one photo on a page, on a phone too."""
_MOST_KEPT, _MOST_SEEN = 60, 5_000
_MOST_FOLDERS = 500
_LARGEST_TOML = 1_000_000
_NOT_THERE = PhotoTrouble("is not in the job folder", "Put it there under that name, or mend the name.")
_Stamp = tuple[str, int, int]
Found = TypeVar("Found")


class Photos:
    """The photos under ``root``: a job folder, or a folder of job folders; None for a server that has none."""

    def __init__(self, root: Path | None) -> None:
        self._root = root
        self._seen: OrderedDict[_Stamp, PhotoTrouble | datetime | None] = OrderedDict()
        self._kept: OrderedDict[_Stamp, PhotoFile] = OrderedDict()
        self._lock = threading.Lock()

    def folder_of(self, title: str) -> Path | None:
        """The one folder that says it is the job of that title."""
        if self._root is None or not title:
            return None
        found = [folder for folder in self._folders(self._root) if _title(folder) == title]
        return found[0] if len(found) == 1 else None

    @staticmethod
    def _folders(root: Path) -> Iterator[Path]:
        yield root
        try:
            inner = sorted(root.iterdir())[:_MOST_FOLDERS]
            yield from (folder for folder in inner if folder.is_dir() and not folder.is_symlink())
        except OSError:
            return

    def listed(self, title: str, lens: Lens) -> list[dict[str, Any]]:
        """What a page says of each photo of a lens: when, number, name, and why it is not shown; nothing without."""
        folder = self.folder_of(title)
        if folder is None:
            return []
        return [
            {"when": when, "number": number, "count": count, "name": name, **self._said(folder, name)}
            for when, number, count, name in named_photos(lens)
        ]

    def _said(self, folder: Path, name: str) -> dict[str, Any]:
        stamp = _stamp(folder, name)
        found = _NOT_THERE if stamp is None else self._remembered(self._seen, stamp, _MOST_SEEN, _seen)
        if isinstance(found, PhotoTrouble):
            return {"trouble": f"not shown: it {found.said}. {found.next_step}", "taken": ""}
        return {"trouble": None, "taken": f"{found.day} {found:%b %Y, %H:%M}" if found else ""}

    def one(self, title: str, lens: Lens, when: str, number: int) -> PhotoFile | None:
        """A photo, small enough for a page; None where it is not there or cannot be shown."""
        folder = self.folder_of(title)
        wanted = next((said[3] for said in named_photos(lens) if said[:2] == (when, number)), None)
        stamp = None if folder is None or wanted is None else _stamp(folder, wanted)
        if stamp is None:
            return None
        try:
            return self._remembered(self._kept, stamp, _MOST_KEPT, _fitted)
        except PhotoTrouble as trouble:
            with self._lock:
                self._seen[stamp] = trouble
            return None

    def _remembered(
        self, kept: OrderedDict[_Stamp, Found], stamp: _Stamp, most: int, make: Callable[[Path], Found]
    ) -> Found:
        """What was made of a file, made once as long as the file stays as it is."""
        with self._lock:
            if stamp in kept:
                kept.move_to_end(stamp)
                return kept[stamp]
        made = make(Path(stamp[0]))
        with self._lock:
            kept[stamp] = made
            while len(kept) > most:
                kept.popitem(last=False)
        return made

    def for_pack(self, title: str, job: Job) -> tuple[ConditionPhotos, Path | None]:
        """The photos of a job for its PDF, and the folder they are from."""
        folder = self.folder_of(title)
        return (ConditionPhotos(), None) if folder is None else (condition_photos(job, folder), folder)


def _stamp(folder: Path, name: str) -> _Stamp | None:
    """The file of that name as it is now; None where there is none."""
    path = photo_path(folder, name)
    try:
        stat = None if path is None else path.stat()
    except OSError:
        return None
    return None if stat is None else (str(path), stat.st_mtime_ns, stat.st_size)


def _seen(path: Path) -> PhotoTrouble | datetime | None:
    """When it was taken, or why it cannot be shown."""
    try:
        return read_photo(path).taken
    except PhotoTrouble as trouble:
        return trouble


def _fitted(path: Path) -> PhotoFile:
    return fitting(read_photo(path), ROOM_BYTES)


def _title(folder: Path) -> str | None:
    """The title a job folder says of itself; None where it says none."""
    try:
        with (folder / "job.toml").open("rb") as file:
            found = tomllib.loads(file.read(_LARGEST_TOML).decode("utf-8-sig")).get("title")
    except (OSError, ValueError):
        return None
    return found if isinstance(found, str) else None
