"""Lenses as such: who is who, serials nobody could read, and two that turned out to be one."""

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert, or_, select

from tapehook.book import tables
from tapehook.book.engine import insert_rows
from tapehook.book.ids import named_id, new_id
from tapehook.book.store import Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import Thing, among, edit, newest, parts, things
from tapehook.job.records import Lens
from tapehook.job.set_aside import kept_record

SERIAL_NOT_READ = "serial not read"
_PARTING = re.compile(r"[\s\-‐-―_./]+")

FACTS = tuple(
    name for name in Lens.model_fields if name not in {"id", "row", "extra", "camera", "note", "twin_of", "serial"}
)
"""Fields of a lens in a job that belong to the lens itself."""


@dataclass(frozen=True, slots=True)
class BookLens:
    """One lens of the book: the ids tied together in it, and its facts, None before there are any.

    ``id`` is the one it goes by: a real serial before a provisional one, then the smallest.
    """

    id: bytes
    ids: frozenset[bytes]
    model: str | None
    serial: str | None
    provisional: str | None
    facts: Thing | None
    state: Thing | None

    @property
    def title(self) -> str:
        """How the lens is called: "Harbour 50, serial 4711", or with "serial not read" and its label."""
        name = self.model or "lens"
        return f"{name}, serial {self.serial}" if self.serial else f"{name}, {SERIAL_NOT_READ} ({self.provisional})"

    @property
    def needs_work(self) -> bool:
        """True when somebody marked it so."""
        return bool(self.state and self.state.data.get("needs_work"))


def plain_serial(serial: str) -> str:
    """A serial as it is compared: without case, spaces, dashes, dots and slashes."""
    return _PARTING.sub("", serial).casefold()


def lens_id_of(model: str | None, serial: str) -> bytes:
    """The id of the lens with that model and serial, as written; the same in every book."""
    return named_id("lens", model or "", serial)


def add_lens(writing: Writing, model: str | None, serial: str) -> bytes:
    """The lens with that model and serial; made if it is not there."""
    add_lenses(writing, [(model, serial)])
    return lens_id_of(model, serial)


def add_lenses(writing: Writing, named: Iterable[tuple[str | None, str]]) -> None:
    """The lenses with these models and serials; those that are not there are made."""
    wanted = {lens_id_of(model, serial): (model, serial) for model, serial in named}
    lens = tables.lens
    for some in parts(wanted):
        there = set(writing.connection.execute(select(lens.c.id).where(lens.c.id.in_(some))).scalars())
        rows = [
            {"id": one, "model": model, "serial": serial, "serial_plain": plain_serial(serial), "provisional": None}
            for one, (model, serial) in ((one, wanted[one]) for one in some if one not in there)
        ]
        insert_rows(writing.connection, lens, rows)
        writing.touched |= set(some) - there


def add_provisional(writing: Writing, model: str | None, label: str) -> bytes:
    """A lens whose serial nobody could read, under a label such as "Harbour, unit 1: L07"."""
    lens_id = new_id()
    row = {"id": lens_id, "model": model, "serial": None, "serial_plain": None, "provisional": label}
    writing.connection.execute(insert(tables.lens), row)
    writing.touched.add(lens_id)
    return lens_id


def tie(writing: Writing, one_id: bytes, other_id: bytes, reason: str) -> None:
    """Say that two lenses are one: all that is known of either is known of both from now on.

    Raises BookRefusal for a lens and itself.
    """
    if one_id == other_id:
        raise refusal("lens", "a lens is the same as itself already", "two lenses")
    if other_id in group_of(writing.connection, one_id):
        return
    _add_tie(writing, one_id, other_id, reason, None)


def untie(writing: Writing, one_id: bytes, other_id: bytes, reason: str) -> None:
    """Take back that two lenses are one. Raises BookRefusal when nobody said so of just these two."""
    same = tables.same_lens
    pair = or_(
        (same.c.one_id == one_id) & (same.c.other_id == other_id),
        (same.c.one_id == other_id) & (same.c.other_id == one_id),
    )
    rows = writing.connection.execute(select(same.c.id, same.c.undoes).where(pair)).all()
    undone = {row.undoes for row in rows}
    open_ties = [row.id for row in rows if row.undoes is None and row.id not in undone]
    if not open_ties:
        raise refusal("lens", "nobody has said that these two are one lens", "two lenses that were tied")
    for tie_id in open_ties:
        _add_tie(writing, one_id, other_id, reason, tie_id)


def apart_id(one_id: bytes, other_id: bytes) -> bytes:
    """The id of the word that two lenses of one provisional serial are different ones, as a thing."""
    return named_id("apart", *sorted((one_id, other_id)))


def _add_tie(writing: Writing, one_id: bytes, other_id: bytes, reason: str, undoes: bytes | None) -> None:
    row = {
        "id": new_id(),
        "entry_id": writing.entry_id,
        "one_id": one_id,
        "other_id": other_id,
        "reason": reason,
        "undoes": undoes,
    }
    writing.connection.execute(insert(tables.same_lens), row)
    writing.touched |= {one_id, other_id}


def read_serial(writing: Writing, provisional_id: bytes, serial: str) -> bytes:
    """Exchange a provisional serial for the real one: the lens keeps all its history. The id it goes by from now on.

    Raises BookRefusal for a lens that has a serial, and for an empty one.
    """
    connection = writing.connection
    found = lenses_of(connection, [provisional_id]).get(provisional_id)
    if found is None or found.serial or not serial.strip():
        raise refusal("lens", "only a lens whose serial was not read takes one, and not an empty one", "a serial")
    real = add_lens(writing, found.model, serial.strip())
    if found.facts is not None and things(connection, [real]).get(real) is None:
        edit(writing, "lens", real, found.facts.data, lens_id=real)
    tie(writing, provisional_id, real, "its serial was read")
    return real


def group_of(connection: Connection, lens_id: bytes) -> frozenset[bytes]:
    """All ids that are tied to one lens, its own among them."""
    return groups_of(connection, [lens_id])[lens_id]


def groups_of(connection: Connection, lens_ids: Collection[bytes]) -> dict[bytes, frozenset[bytes]]:
    """The ids tied to each of several lenses."""
    leader = {lens_id: lens_id for lens_id in lens_ids}

    def root(lens_id: bytes) -> bytes:
        while leader[lens_id] != lens_id:
            leader[lens_id] = lens_id = leader[leader[lens_id]]
        return lens_id

    fresh: Collection[bytes] = list(leader)
    while fresh:
        reached: set[bytes] = set()
        for one, other in _ties(connection, fresh):
            for lens_id in (one, other):
                if lens_id not in leader:
                    leader[lens_id] = lens_id
                    reached.add(lens_id)
            leader[root(one)] = root(other)
        fresh = reached
    members: dict[bytes, set[bytes]] = {}
    for lens_id in leader:
        members.setdefault(root(lens_id), set()).add(lens_id)
    return {lens_id: frozenset(members[root(lens_id)]) for lens_id in lens_ids}


def _ties(connection: Connection, lens_ids: Iterable[bytes]) -> set[tuple[bytes, bytes]]:
    """Pairs of lenses tied with any of these, ties that were taken back left out."""
    same = tables.same_lens
    found: dict[bytes, tuple[bytes, bytes]] = {}
    undone: set[bytes] = set()
    for some in parts(lens_ids):
        # Two statements, not one with OR: each can use its index.
        for column in (same.c.one_id, same.c.other_id):
            chosen = select(same.c.id, same.c.one_id, same.c.other_id, same.c.undoes).where(column.in_(some))
            for row in connection.execute(chosen):
                if row.undoes is None:
                    found[row.id] = (row.one_id, row.other_id)
                else:
                    undone.add(row.undoes)
    return {pair for tie_id, pair in found.items() if tie_id not in undone}


def lenses_of(connection: Connection, lens_ids: Collection[bytes]) -> dict[bytes, BookLens]:
    """Lenses by each of the ids asked for, with facts and state; ids nobody knows are left out."""
    groups = groups_of(connection, lens_ids)
    members = {member for group in groups.values() for member in group}
    rows: dict[bytes, Any] = {}
    facts: dict[bytes, Thing] = {}
    states: dict[bytes, Thing] = {}
    for some in parts(members):
        rows |= {row.id: row for row in connection.execute(select(tables.lens).where(tables.lens.c.id.in_(some)))}
        kinds = among("lens", "lens_state")
        for found in newest(connection, tables.version.c.lens_id.in_(some), kinds).values():
            (facts if found.now.kind == "lens" else states)[found.now.lens_id or b""] = found
    made: dict[frozenset[bytes], BookLens] = {}
    for lens_id, group in groups.items():
        if lens_id in rows and group not in made:
            made[group] = _lens(group, rows, facts, states)
    return {lens_id: made[group] for lens_id, group in groups.items() if group in made}


def _lens(
    group: frozenset[bytes], rows: Mapping[bytes, Any], facts: Mapping[bytes, Thing], states: Mapping[bytes, Thing]
) -> BookLens:
    order = sorted(
        (lens_id for lens_id in group if lens_id in rows), key=lambda lens_id: (not rows[lens_id].serial, lens_id)
    )
    first = rows[order[0]]
    return BookLens(
        first.id,
        group,
        next((rows[lens_id].model for lens_id in order if rows[lens_id].model), None),
        first.serial,
        next((rows[lens_id].provisional for lens_id in order if rows[lens_id].provisional), None),
        next((facts[lens_id] for lens_id in order if lens_id in facts), None),
        next((states[lens_id] for lens_id in order if lens_id in states), None),
    )


def lens_state_id(lens_id: bytes) -> bytes:
    """The id of a lens's state as a thing."""
    return named_id("lens_state", lens_id)


def mark_lens(writing: Writing, lens: BookLens, *, needs_work: bool, why: str = "") -> None:
    """Mark a lens as in need of work, or as done; ``lens`` as its writer looked at it. Raises StaleEdit."""
    target = lens.state.now.lens_id if lens.state and lens.state.now.lens_id else lens.id
    data = {"needs_work": needs_work, "why": why}
    edit(
        writing,
        "lens_state",
        lens_state_id(target),
        data,
        seen=lens.state.seen if lens.state else (),
        lens_id=target,
        called=lens.title,
    )


def facts_of(row: Lens) -> dict[str, Any]:
    """What a lens of a job says of the lens itself; fields nobody filled in are left out."""
    given = row.model_dump(exclude_unset=True)
    return {name: given[name] for name in FACTS if given.get(name) is not None}


def as_lens(lens: BookLens, lens_id: str, unit: str | None = None) -> Lens:
    """A lens of the book as a job's record, under an id of the job's kind."""
    facts = dict(lens.facts.data) if lens.facts else {}
    if lens.model:
        facts.setdefault("model", lens.model)
    if unit:
        facts["unit"] = unit
    return kept_record(Lens, {**facts, "id": lens_id, "serial": lens.serial})
