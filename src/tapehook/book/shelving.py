"""Shelves as a person names them: by path or name, made with all that is around them, with what stands on each."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from tapehook.book import tables
from tapehook.book.jobs import find_job, job_of_version
from tapehook.book.lenses import BookLens, groups_of, lenses_of
from tapehook.book.shelves import (
    Shelf,
    Shelved,
    camera_shelf,
    new_shelf,
    on_shelf,
    put_on_shelf,
    set_camera_shelf,
    shelves,
    standing_in,
    where_shelved,
)
from tapehook.book.store import Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import among, newest, parts, thing


@dataclass(frozen=True, slots=True)
class ShelfShown:
    """A shelf with what stands on it, pins first, and the cameras whose next change of lens starts there.

    ``stands`` has for each thing what it is, its id, what it is called and whether it is pinned; ``cameras`` the job
    and letter of each.
    """

    shelf: Shelf
    stands: tuple[tuple[str, bytes, str, bool], ...]
    cameras: tuple[tuple[str, str], ...]

    def as_json(self) -> dict[str, Any]:
        """The shelf as plain JSON values."""
        return {
            "id": self.shelf.id.hex(),
            "path": self.shelf.path,
            "stands": [
                {"item": item, "id": item_id.hex(), "title": title, "pinned": pinned}
                for item, item_id, title, pinned in self.stands
            ],
            "cameras": [{"job": job, "camera": camera} for job, camera in self.cameras],
        }


def path_parts(text: str) -> list[str]:
    """The names in a path such as "Truck / A camera", from the outermost shelf on."""
    return [part.strip() for part in text.split("/") if part.strip()]


def find_shelf(connection: Connection, text: str, name: str) -> Shelf:
    """The one shelf of that path, or of that name. Raises BookRefusal, with the shelves of the book called ``name``."""
    known = shelves(connection).values()
    path = " / ".join(path_parts(text)).casefold()
    found = [one for one in known if one.path.casefold() == path] or [
        one for one in known if one.name.casefold() == path
    ]
    if len(found) == 1:
        return found[0]
    there = ", ".join(sorted(one.path for one in found or known)) or "none yet; --new makes one"
    said = f"{'several shelves are' if found else 'no shelf is'} called {text}. There is {there}"
    raise refusal(name, said, "the path or name of a shelf")


def make_shelf(writing: Writing, text: str, name: str) -> bytes:
    """Make the shelf of a path, and those around it that are not there. Raises BookRefusal when it is there."""
    parts = path_parts(text)
    if not parts:
        raise refusal(name, "a shelf needs a name", "a path such as Truck / A camera")
    parent, made = None, False
    for at in range(len(parts)):
        path = " / ".join(parts[: at + 1]).casefold()
        known = [one.id for one in shelves(writing.connection).values() if one.path.casefold() == path]
        made = not known
        parent = known[0] if known else new_shelf(writing, parts[at], parent)
    if not made or parent is None:
        raise refusal(name, f"there is a shelf {' / '.join(parts)} already; it was left as it is", "a new shelf")
    return parent


def shelve_lens(writing: Writing, lens: BookLens, shelf_id: bytes | None, *, pinned: bool = False) -> None:
    """Put a lens on a shelf, pinned or not, whichever of its ids stood somewhere before; None takes it off."""
    for one in sorted(lens.ids):
        there = where_shelved(writing.connection, "lens", one)
        if one == lens.id:
            put_on_shelf(writing, "lens", one, shelf_id, pinned=pinned, seen=there.seen if there else ())
        elif there is not None and there.data.get("shelf"):
            put_on_shelf(writing, "lens", one, None, seen=there.seen)


def start_camera_at(writing: Writing, job: str, camera: str, shelf_id: bytes, name: str) -> None:
    """Let the next change of lens of a camera of a job start at a shelf. Raises BookRefusal for no such camera."""
    job_id, found = find_job(writing.connection, job, name)
    letters = [one.letter for one in job_of_version(writing.connection, found, found.now, name).cameras]
    if camera not in letters:
        known = f"There is {', '.join(letters)}" if letters else "It has none yet"
        raise refusal(f"job {job}", f"it has no camera {camera}. {known}", "the letter of a camera of the job")
    there = camera_shelf(writing.connection, job_id, camera)
    set_camera_shelf(writing, job_id, camera, shelf_id, seen=there.seen if there else ())


def starts_of(connection: Connection, job_id: bytes, lens_ids: Collection[bytes]) -> dict[str, dict[bytes, bool]]:
    """For each camera of a job with a default shelf: which of these lenses stand there, and whether pinned.

    A lens on a shelf that stands in the default one stands there too.
    """
    version = tables.version
    starts = {
        str(one.data["camera"]): bytes.fromhex(one.data["shelf"])
        for one in newest(connection, version.c.job_id == job_id, among("camera_shelf")).values()
    }
    if not starts:
        return {}
    known, groups = shelves(connection), groups_of(connection, lens_ids)
    placed: dict[bytes, tuple[list[bytes], bool]] = {}
    for some in parts({member for group in groups.values() for member in group}):
        for one in newest(connection, version.c.lens_id.in_(some), among("on_shelf")).values():
            if one.data.get("shelf") and one.now.lens_id:
                around = standing_in(known, bytes.fromhex(one.data["shelf"]))
                placed[one.now.lens_id] = (around, bool(one.data["pinned"]))
    found: dict[str, dict[bytes, bool]] = {camera: {} for camera in starts}
    for camera, shelf_id in starts.items():
        for lens_id, group in groups.items():
            pins = [placed[one][1] for one in group if one in placed and shelf_id in placed[one][0]]
            if pins:
                found[camera][lens_id] = any(pins)
    return found


def shelves_shown(connection: Connection, only: Sequence[bytes] | None = None) -> list[ShelfShown]:
    """All shelves by path, or some, with what stands on each and the cameras that start there."""
    known = shelves(connection)
    wanted = [one for one in known.values() if only is None or one.id in only]
    cameras = _cameras(connection)
    return [
        ShelfShown(one, tuple(_standing(connection, on_shelf(connection, one.id))), tuple(cameras.get(one.id, ())))
        for one in sorted(wanted, key=lambda one: one.path.casefold())
    ]


def _standing(connection: Connection, listed: Sequence[Shelved]) -> list[tuple[str, bytes, str, bool]]:
    """What stands on a shelf by what it is called, pins first; a lens under two ids once."""
    lenses = lenses_of(connection, [one.item_id for one in listed if one.item == "lens"])
    found: dict[bytes, tuple[str, bytes, str, bool]] = {}
    for one in listed:
        lens = lenses.get(one.item_id)
        if lens is not None:
            found.setdefault(lens.id, ("lens", lens.id, lens.title, one.pinned))
        else:
            now = thing(connection, one.item_id)
            title = str(now.data.get("name", "")) if now else ""
            found[one.item_id] = (one.item, one.item_id, title or one.item_id.hex()[-8:], one.pinned)
    return sorted(found.values(), key=lambda row: (not row[3], row[0], row[2].casefold()))


def _cameras(connection: Connection) -> dict[bytes, list[tuple[str, str]]]:
    """Job and letter of the cameras that start at each shelf."""
    names = {row.id: row.name for row in connection.execute(select(tables.job.c.id, tables.job.c.name))}
    found: dict[bytes, list[tuple[str, str]]] = {}
    for one in newest(connection, tables.version.c.kind == "camera_shelf").values():
        listed = found.setdefault(bytes.fromhex(one.data["shelf"]), [])
        listed.append((names.get(one.now.job_id, ""), str(one.data["camera"])))
    return {shelf_id: sorted(listed) for shelf_id, listed in found.items()}
