"""Shelves for lenses, strips and camera builds, nested, with pins for what is wanted at the top."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection

from tapehook.book import tables
from tapehook.book.ids import named_id, new_id
from tapehook.book.store import Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import Thing, among, edit, newest, parts, thing

Item = Literal["lens", "strip", "build"]
DEEPEST = 16
"""Shelves in shelves; more is a mistake or a ring."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """One shelf: its name, the shelf it stands in (None: none), and its path from the outermost one on."""

    id: bytes
    name: str
    parent: bytes | None
    path: str
    now: Thing


@dataclass(frozen=True, slots=True)
class Shelved:
    """One thing on a shelf; what is pinned comes first."""

    item: Item
    item_id: bytes
    shelf_id: bytes
    pinned: bool
    now: Thing


def new_shelf(writing: Writing, name: str, parent: bytes | None = None) -> bytes:
    """Make a shelf. Its id."""
    shelf_id = new_id()
    _save(writing, shelf_id, name, parent, ())
    return shelf_id


def change_shelf(writing: Writing, shelf: Shelf, *, name: str | None = None, parent: bytes | None = None) -> None:
    """Rename a shelf or move it into another, as its writer looked at it. Raises StaleEdit; BookRefusal for a ring."""
    found = shelves(writing.connection)
    at, steps = parent, 0
    while at is not None and steps <= DEEPEST:
        if at == shelf.id:
            raise refusal(f"shelf {shelf.name}", "a shelf cannot stand in itself", "another shelf")
        at, steps = found[at].parent if at in found else None, steps + 1
    _save(writing, shelf.id, name or shelf.name, parent, shelf.now.seen)


def _save(writing: Writing, shelf_id: bytes, name: str, parent: bytes | None, seen: Collection[bytes]) -> None:
    if not name.strip():
        raise refusal("shelf", "it needs a name", "the name of a shelf")
    data = {"name": name.strip(), "parent": parent.hex() if parent else None}
    edit(writing, "shelf", shelf_id, data, seen=seen, called=f"shelf {name}")


def shelves(connection: Connection) -> dict[bytes, Shelf]:
    """All shelves by id. Two books may have moved two shelves into each other: such a ring is cut where it closes."""
    found = newest(connection, tables.version.c.kind == "shelf")
    parents = {shelf_id: _parent(one) for shelf_id, one in found.items()}

    def path(shelf_id: bytes) -> str:
        ring = _upward(parents, shelf_id)
        return " / ".join(str(found[at].data["name"]) for at in reversed(ring))

    return {
        shelf_id: Shelf(shelf_id, str(one.data["name"]), parents[shelf_id], path(shelf_id), one)
        for shelf_id, one in found.items()
    }


def standing_in(known: Mapping[bytes, Shelf], shelf_id: bytes) -> list[bytes]:
    """A shelf and those it stands in, from the inside out."""
    return _upward({one.id: one.parent for one in known.values()}, shelf_id)


def _upward(parents: Mapping[bytes, bytes | None], shelf_id: bytes) -> list[bytes]:
    listed: list[bytes] = []
    at: bytes | None = shelf_id
    while at is not None and at in parents and at not in listed and len(listed) < DEEPEST:
        listed.append(at)
        at = parents[at]
    return listed


def _parent(one: Thing) -> bytes | None:
    parent = one.data.get("parent")
    return bytes.fromhex(parent) if parent else None


def shelved_id(item: Item, item_id: bytes) -> bytes:
    """The id of where a thing stands, as a thing: each stands on one shelf."""
    return named_id("on_shelf", item, item_id)


def put_on_shelf(
    writing: Writing,
    item: Item,
    item_id: bytes,
    shelf_id: bytes | None,
    *,
    pinned: bool = False,
    seen: Collection[bytes] = (),
) -> None:
    """Put a lens, strip or camera build on a shelf, pinned to its top or not; None takes it off. Raises StaleEdit."""
    lens_id = item_id if item == "lens" else None
    data = {"item": item, "id": item_id.hex(), "shelf": shelf_id.hex() if shelf_id else None, "pinned": pinned}
    edit(writing, "on_shelf", shelved_id(item, item_id), data, seen=seen, lens_id=lens_id)


def where_shelved(connection: Connection, item: Item, item_id: bytes) -> Thing | None:
    """Where a thing stands now, to be named as seen when it is moved."""
    return thing(connection, shelved_id(item, item_id))


def on_shelf(connection: Connection, shelf_id: bytes) -> list[Shelved]:
    """What stands on a shelf, pinned things first."""
    listed = []
    for one in newest(connection, tables.version.c.kind == "on_shelf").values():
        if one.data.get("shelf") == shelf_id.hex():
            item_id = bytes.fromhex(one.data["id"])
            listed.append(Shelved(one.data["item"], item_id, shelf_id, bool(one.data["pinned"]), one))
    return sorted(listed, key=lambda one: (not one.pinned, one.item, one.item_id))


def shelf_names(connection: Connection, lens_ids: Collection[bytes]) -> Mapping[bytes, list[str]]:
    """Paths of the shelves that lenses stand on."""
    placed: dict[bytes, bytes] = {}
    for some in parts(lens_ids):
        where = (tables.version.c.lens_id.in_(some), among("on_shelf"))
        for one in newest(connection, *where).values():
            if one.data.get("shelf") and one.now.lens_id:
                placed[one.now.lens_id] = bytes.fromhex(one.data["shelf"])
    names: dict[bytes, list[str]] = defaultdict(list)
    known = shelves(connection) if placed else {}
    for lens_id, shelf_id in placed.items():
        if shelf_id in known:
            names[lens_id].append(known[shelf_id].path)
    return names


def camera_shelf_id(job_id: bytes, camera: str) -> bytes:
    """The id of a camera's default shelf as a thing."""
    return named_id("camera_shelf", job_id, camera)


def set_camera_shelf(
    writing: Writing, job_id: bytes, camera: str, shelf_id: bytes, *, seen: Collection[bytes] = ()
) -> None:
    """Say on which shelf the next change of lens of a camera starts. Raises StaleEdit."""
    data = {"camera": camera, "shelf": shelf_id.hex()}
    edit(writing, "camera_shelf", camera_shelf_id(job_id, camera), data, seen=seen, job_id=job_id)


def camera_shelf(connection: Connection, job_id: bytes, camera: str) -> Thing | None:
    """The default shelf of a camera as it is now, None when nobody set one."""
    return thing(connection, camera_shelf_id(job_id, camera))
