"""Things that are edited: each edit adds a version that names those it was made from.

The newest versions of a thing are those no other was made from. One is the rule. Two that say different things are a
conflict, which only a person resolves, by a version made from both.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, Row, exists, insert, select

from tapehook.book import tables
from tapehook.book.engine import insert_rows
from tapehook.book.ids import canonical, digest, new_id
from tapehook.book.store import Writing
from tapehook.book.trouble import StaleEdit

Kind = Literal[
    "lens", "lens_state", "job", "on_camera", "build", "sign_off", "shelf", "on_shelf", "camera_shelf", "apart"
]

KIND_NAMES: dict[str, str] = {
    "lens": "facts of a lens",
    "lens_state": "state of a lens",
    "job": "job",
    "on_camera": "camera a lens is on",
    "build": "camera build",
    "sign_off": "sign-off",
    "shelf": "shelf",
    "on_shelf": "place on a shelf",
    "camera_shelf": "default shelf of a camera",
    "apart": "word that two lenses are two",
}
"""What each kind is called in a message."""

MANY = 500
"""Values asked for in one statement."""


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a thing: what it says, and by whom and when it was written."""

    id: bytes
    kind: str
    thing_id: bytes
    lens_id: bytes | None
    job_id: bytes | None
    number: int
    data: Mapping[str, Any]
    rows: bytes | None
    digest: bytes
    who: str
    written_at: str
    source: str


@dataclass(frozen=True, slots=True)
class Thing:
    """A thing as it is now: its newest versions, the one that is shown first."""

    versions: tuple[Version, ...]

    @property
    def now(self) -> Version:
        """The version that is shown: the newest by number, then by id; the same in every book."""
        return self.versions[0]

    @property
    def data(self) -> Mapping[str, Any]:
        """What the thing says."""
        return self.now.data

    @property
    def seen(self) -> tuple[bytes, ...]:
        """Ids of all newest versions: what an edit has to name."""
        return tuple(version.id for version in self.versions)

    @property
    def in_conflict(self) -> bool:
        """True when the newest versions say different things."""
        return len({version.digest for version in self.versions}) > 1


_COLUMNS = [
    *(column for column in tables.version.c if column.name != "entry_id"),
    tables.entry.c.who,
    tables.entry.c.written_at,
    tables.entry.c.source,
]
_JOINED = tables.version.join(tables.entry, tables.version.c.entry_id == tables.entry.c.id)


def _version(row: Row[Any]) -> Version:
    found = dict(row._mapping)  # noqa: SLF001 - the documented way to a row's names
    return Version(**{**found, "data": json.loads(found["data"])})


def newest(connection: Connection, *where: ColumnElement[bool]) -> dict[bytes, Thing]:
    """Things as they are now, by id: those whose versions fit all of ``where``."""
    parent = tables.version_parent
    no_child = ~exists().where(parent.c.parent_id == tables.version.c.id)
    rows = connection.execute(select(*_COLUMNS).select_from(_JOINED).where(no_child, *where))
    return _things(map(_version, rows))


def among(*kinds: Kind) -> ColumnElement[bool]:
    """Versions of these kinds, where something else in the same condition says which few they are.

    As an expression of the kind no index fits it: one by kind alone would lead through every version of that kind.
    """
    return tables.version.c.kind.concat("").in_(kinds)


def _things(versions: Iterable[Version]) -> dict[bytes, Thing]:
    found: dict[bytes, list[Version]] = defaultdict(list)
    for version in versions:
        found[version.thing_id].append(version)
    return {thing_id: Thing(tuple(sorted(group, key=_order, reverse=True))) for thing_id, group in found.items()}


def _order(version: Version) -> tuple[int, bytes]:
    return version.number, version.id


def thing(connection: Connection, thing_id: bytes) -> Thing | None:
    """One thing as it is now, None when there is none."""
    return newest(connection, tables.version.c.thing_id == thing_id).get(thing_id)


def things(connection: Connection, thing_ids: Collection[bytes]) -> dict[bytes, Thing]:
    """Several things as they are now, by id; those that are not there are left out."""
    found: dict[bytes, Thing] = {}
    for some in parts(thing_ids):
        found |= newest(connection, tables.version.c.thing_id.in_(some))
    return found


def all_versions(connection: Connection, thing_id: bytes) -> list[Version]:
    """Every version of a thing, oldest first."""
    chosen = select(*_COLUMNS).select_from(_JOINED).where(tables.version.c.thing_id == thing_id)
    return sorted(map(_version, connection.execute(chosen)), key=_order)


def parts(values: Iterable[bytes]) -> Iterator[Sequence[bytes]]:
    """The values in portions that one statement can ask for."""
    listed = list(values)
    for start in range(0, len(listed), MANY):
        yield listed[start : start + MANY]


def edit(
    writing: Writing,
    kind: Kind,
    thing_id: bytes,
    data: Mapping[str, Any],
    *,
    seen: Collection[bytes] = (),
    lens_id: bytes | None = None,
    job_id: bytes | None = None,
    rows: bytes | None = None,
    called: str = "",
) -> bytes:
    """Add a version of a thing and return its id; ``seen`` are the newest versions its writer had looked at.

    Nothing is added where the thing says the same already. Raises StaleEdit when it was changed meanwhile: who was
    quicker, when, and what the newest versions are; ``called`` is what the thing is called there.
    """
    there = thing(writing.connection, thing_id)
    newest_now = there.seen if there else ()
    if set(newest_now) != set(seen):
        raise stale(there, kind, called)
    if there is not None and len(newest_now) == 1 and _says(there.now, data, rows):
        return there.now.id
    version_id = new_id()
    row = {
        "id": version_id,
        "entry_id": writing.entry_id,
        "kind": kind,
        "thing_id": thing_id,
        "lens_id": lens_id,
        "job_id": job_id,
        "number": 1 + max((version.number for version in there.versions), default=0) if there else 1,
        "data": canonical(data),
        "rows": rows,
        "digest": version_digest(kind, data, rows),
    }
    writing.connection.execute(insert(tables.version), row)
    if lens_id is not None:
        writing.touched.add(lens_id)
    if kind == "shelf":
        writing.shelves.add(thing_id)
    if newest_now:
        parents = [{"parent_id": parent, "version_id": version_id} for parent in newest_now]
        writing.connection.execute(insert(tables.version_parent), parents)
    return version_id


def add_first(writing: Writing, kind: Kind, said: Mapping[bytes, Mapping[str, Any]]) -> None:
    """First versions of things of lenses, by the lens's id, which is the thing's; none of them may be there yet."""
    entry_id = writing.entry_id
    rows = [
        {
            "id": new_id(),
            "entry_id": entry_id,
            "kind": kind,
            "thing_id": lens_id,
            "lens_id": lens_id,
            "job_id": None,
            "number": 1,
            "data": canonical(data),
            "rows": None,
            "digest": version_digest(kind, data, None),
        }
        for lens_id, data in said.items()
    ]
    insert_rows(writing.connection, tables.version, rows)
    writing.touched |= said.keys()


def _says(version: Version, data: Mapping[str, Any], rows: bytes | None) -> bool:
    return (canonical(version.data), version.rows or b"") == (canonical(data), rows or b"")


def version_digest(kind: str, data: Mapping[str, Any], rows: bytes | None) -> bytes:
    """Hash of what a version says.

    The document of a job says the same whichever lenses of the book its rows are taken for: a lens without a serial
    has another id in each book that the same folder was imported into.
    """
    if kind == "job":
        data = {**data, "lenses": [one["row"] for one in data["lenses"]]}
    return digest("version", kind, canonical(data), rows or b"")[:16]


def stale(there: Thing | None, kind: str, called: str) -> StaleEdit:
    """The refusal of an edit of what somebody else changed meanwhile."""
    name = called or KIND_NAMES[kind]
    if there is None:
        return StaleEdit(name, "it is not in the book any more as it was looked at; look at it again", ())
    who = " and ".join(f"{version.who} at {version.written_at[:16].replace('T', ' ')}" for version in there.versions)
    said = f"it was changed meanwhile by {who} (UTC); look at it again, then change it. Nothing was written"
    return StaleEdit(name, said, there.seen)
