"""What people have to decide: found in the records, never stored, and resolved by nobody but a person."""

from collections import defaultdict
from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

from sqlalchemy import Connection, exists, func, select

from tapehook.book import tables
from tapehook.book.ids import digest
from tapehook.book.jobs import versions_said
from tapehook.book.lenses import apart_id, groups_of, lenses_of
from tapehook.book.versions import KIND_NAMES, Thing, things

Code = Literal["two_versions", "same_provisional_serial"]


@dataclass(frozen=True, slots=True)
class Conflict:
    """One thing to decide. ``id`` is the same in every book that has the same records behind it."""

    id: bytes
    code: Code
    subject: str
    message: str
    next_step: str
    ids: tuple[bytes, ...]

    def as_json(self) -> dict[str, Any]:
        """The conflict as plain JSON values."""
        return {
            "id": self.id.hex(),
            "code": self.code,
            "subject": self.subject,
            "message": self.message,
            "next_step": self.next_step,
        }


def conflicts(connection: Connection) -> list[Conflict]:
    """All conflicts of the book, in a fixed order."""
    found = [*_two_versions(connection), *_same_provisional(connection)]
    return sorted(found, key=lambda one: (one.code, one.subject, one.id))


def _two_versions(connection: Connection) -> Iterator[Conflict]:
    version, parent = tables.version, tables.version_parent
    no_child = ~exists().where(parent.c.parent_id == version.c.id)
    many = select(version.c.thing_id).where(no_child).group_by(version.c.thing_id).having(func.count() > 1)
    for thing_id, found in things(connection, connection.execute(many).scalars().all()).items():
        if found.in_conflict:
            ids = tuple(sorted(one.id for one in found.versions))
            yield Conflict(
                digest("two_versions", thing_id, *ids)[:16],
                "two_versions",
                _subject(connection, found),
                f"{len(ids)} versions say different things: {versions_said(found)}.",
                _next_step(found),
                ids,
            )


def _subject(connection: Connection, found: Thing) -> str:
    now = found.now
    parts = [KIND_NAMES.get(now.kind, now.kind)]
    if now.kind == "sign_off":
        parts.append(str(now.data["check"]))
    if now.kind in {"shelf", "build"}:
        parts.append(str(now.data["name"]))
    if now.lens_id:
        lens = lenses_of(connection, [now.lens_id]).get(now.lens_id)
        parts.append(lens.title if lens else now.lens_id.hex())
    if now.job_id:
        name = connection.scalar(select(tables.job.c.name).where(tables.job.c.id == now.job_id))
        parts.append(f"job {name}")
    return ", ".join(parts)


def _next_step(found: Thing) -> str:
    if found.now.kind == "job":
        return (
            "Export each (book export --version), put what is right of both into one folder, and import that with "
            "--join."
        )
    if found.now.kind == "sign_off":
        return "Both did the check. Agree on the outcome; tapehook book settle keeps one sign-off, and both stay known."
    return "Look at both and decide: tapehook book settle keeps one. The other stays in the history."


def _same_provisional(connection: Connection) -> Iterator[Conflict]:
    lens = tables.lens
    many = (
        select(lens.c.provisional)
        .where(lens.c.provisional.is_not(None))
        .group_by(lens.c.provisional)
        .having(func.count() > 1)
    )
    labels: dict[str, list[bytes]] = defaultdict(list)
    wanted = connection.execute(many).scalars().all()
    for start in range(0, len(wanted), 500):
        where = lens.c.provisional.in_(wanted[start : start + 500])
        for row in connection.execute(select(lens.c.id, lens.c.provisional).where(where)):
            labels[row.provisional].append(row.id)
    for label, ids in labels.items():
        known = lenses_of(connection, ids)
        open_ids = [lens_id for lens_id in ids if known[lens_id].serial is None]
        if _undecided(connection, set(groups_of(connection, open_ids).values())):
            listed = tuple(sorted(open_ids))
            yield Conflict(
                digest("same_provisional", label, *listed)[:16],
                "same_provisional_serial",
                f"provisional serial {label}",
                f"{len(listed)} lenses without a serial that was read go by the provisional serial {label}.",
                "Read the serial of each (tapehook book serial), or say whether it is one lens (tapehook book settle). "
                "Until then their readings are kept apart.",
                listed,
            )


def _undecided(connection: Connection, groups: AbstractSet[frozenset[bytes]]) -> bool:
    """True when of any two of these lenses nobody has said that they are two."""
    pairs = [{apart_id(a, b) for a in one for b in other} for one, other in combinations(sorted(groups, key=sorted), 2)]
    said = things(connection, {pair for pair_ids in pairs for pair in pair_ids})
    return any(not pair_ids & said.keys() for pair_ids in pairs)
