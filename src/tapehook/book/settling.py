"""What a person decides of a conflict: which version stands, or whether lenses of one provisional serial are one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from tapehook.book import tables
from tapehook.book.conflicts import Conflict, conflicts
from tapehook.book.jobs import choose_version, short
from tapehook.book.lenses import BookLens, apart_id, lens_id_of, lenses_of, plain_serial, read_serial, tie
from tapehook.book.measuring import in_force
from tapehook.book.shelves import shelves
from tapehook.book.store import Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import Thing, Version, edit, thing

_SHELVES = {"shelf", "parent"}
"""Fields that name a shelf by its id."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of what there is to choose from: a version, or a lens. ``who`` and ``written_at`` are those of a version."""

    id: str
    said: str
    who: str | None = None
    written_at: str | None = None

    def as_json(self) -> dict[str, Any]:
        """The choice as plain JSON values."""
        return {"id": self.id, "said": self.said, "who": self.who, "written_at": self.written_at}


@dataclass(frozen=True, slots=True)
class Exchanged:
    """A lens whose serial was read, and whether the book had a lens of that model and serial already."""

    lens: BookLens
    joined: bool


def find_conflict(connection: Connection, ending: str, name: str) -> Conflict:
    """The one conflict whose id ends so. Raises BookRefusal, with those of the book called ``name``."""
    listed = conflicts(connection)
    found = [one for one in listed if ending and one.id.hex().endswith(ending.casefold())]
    if len(found) != 1:
        there = ", ".join(f"{short(one.id)} ({one.subject})" for one in listed) or "none; nothing has to be decided"
        count = "no conflict ends" if not found else "several conflicts end"
        raise refusal(name, f"{count} in {ending}. There is {there}", "the id of a conflict, or its last letters")
    return found[0]


def choices(connection: Connection, conflict: Conflict) -> tuple[Choice, ...]:
    """What there is to choose from, each with what it says and the others do not."""
    if conflict.code == "same_provisional_serial":
        return tuple(_lens_choice(connection, lens) for lens in _lenses(connection, conflict))
    versions = _thing(connection, conflict).versions
    known = shelves(connection)
    names = {shelf_id.hex(): shelf.path for shelf_id, shelf in known.items()}
    return tuple(Choice(short(one.id), _said(one, versions, names), one.who, one.written_at) for one in versions)


_TABLES = ("readings", "chart tests", "light tests", "morning checks")


def _said(version: Version, versions: Sequence[Version], shelf_names: Mapping[str, str]) -> str:
    """The fields in which a version differs from the others; of a job, how many lenses and rows it has."""
    if version.kind == "job":
        counts = zip(version.data["counts"], _TABLES, strict=False)  # the last is left out where it is empty
        return ", ".join([f"{len(version.data['lenses'])} lenses", *(f"{count} {name}" for count, name in counts)])
    keys = sorted({key for one in versions for key in one.data})
    differing = [key for key in keys if len({repr(one.data.get(key)) for one in versions}) > 1]
    parts = [(key, version.data.get(key)) for key in differing]
    return ", ".join(f"{key}: {_value(key, value, shelf_names)}" for key, value in parts)


def _value(key: str, value: object, shelf_names: Mapping[str, str]) -> str:
    if value in {None, ""}:
        return "none"
    return shelf_names.get(str(value), str(value)) if key in _SHELVES else str(value)


def _lenses(connection: Connection, conflict: Conflict) -> list[BookLens]:
    """The lenses of a conflict, each once, in the order of their ids."""
    found = lenses_of(connection, conflict.ids)
    return sorted({lens.id: lens for lens in found.values()}.values(), key=lambda lens: lens.id)


def _lens_choice(connection: Connection, lens: BookLens) -> Choice:
    measured = in_force(connection, sorted(lens.ids))
    by = " and ".join(sorted({one.who for one in measured}))
    count = f"{len(measured)} {'reading or test' if len(measured) == 1 else 'readings and tests'}"
    return Choice(lens.id.hex(), f"{lens.title}: {count}{f' by {by}' if by else ''}")


def _thing(connection: Connection, conflict: Conflict) -> Thing:
    version = tables.version
    thing_id = connection.scalar(select(version.c.thing_id).where(version.c.id == conflict.ids[0]))
    found = thing(connection, thing_id) if thing_id else None
    assert found is not None  # noqa: S101 - the conflict was just worked out from it
    return found


def keep_version(writing: Writing, conflict: Conflict, ending: str) -> None:
    """Let one version of a thing stand, by a new one that names all: the others stay in its history.

    A sign-off that is kept goes on saying who signed and when. ``ending`` is the end of the version's id. Raises
    BookRefusal for a job, whose rows have to be put together, and for lenses of one provisional serial.
    """
    if conflict.code != "two_versions":
        raise refusal(conflict.subject, "there are no versions to keep one of; are they one lens, or not?", "--same")
    found = _thing(writing.connection, conflict)
    if found.now.kind == "job":
        said = f"keeping one version would drop readings of the other. {conflict.next_step}"
        raise refusal(conflict.subject, said, "book import --join")
    chosen = choose_version(found, conflict.subject, ending)
    now = found.now
    # Added even where it says what the newest says: it names both, and that ends the conflict.
    edit(
        writing,
        now.kind,  # type: ignore[arg-type]  # a kind of ours, as every record has
        now.thing_id,
        chosen.data,
        seen=found.seen,
        lens_id=now.lens_id,
        job_id=now.job_id,
        rows=chosen.rows,
        called=conflict.subject,
    )


def say_same(writing: Writing, conflict: Conflict) -> None:
    """Say that all lenses of one provisional serial are one lens: its history is that of all. Raises BookRefusal."""
    _refuse_versions(conflict)
    first, *rest = _lenses(writing.connection, conflict)
    for other in rest:
        tie(writing, first.id, other.id, f"one lens, {conflict.subject}")


def say_apart(writing: Writing, conflict: Conflict) -> None:
    """Say that the lenses of one provisional serial are different ones, until their serials are read.

    Raises BookRefusal.
    """
    _refuse_versions(conflict)
    listed = _lenses(writing.connection, conflict)
    for at, one in enumerate(listed):
        for other in listed[at + 1 :]:
            target = apart_id(one.id, other.id)
            there = thing(writing.connection, target)
            data = {"apart": sorted((one.id.hex(), other.id.hex()))}
            edit(writing, "apart", target, data, seen=there.seen if there else (), lens_id=one.id)


def _refuse_versions(conflict: Conflict) -> None:
    if conflict.code == "two_versions":
        said = "these are versions of one thing, not lenses; say which one stands"
        raise refusal(conflict.subject, said, "--keep and the id of a version")


def exchange_serial(writing: Writing, lens_id: bytes, serial: str, *, apart: bool = False) -> Exchanged:
    """Exchange a provisional serial for the one that was read; the lens by its new name.

    Where the book has the lens of that model and serial, the two are one from now on. Raises BookRefusal for a lens
    that has a serial, and for a serial that another lens has, written otherwise, unless they are said to be ``apart``.
    """
    connection = writing.connection
    found = lenses_of(connection, [lens_id]).get(lens_id)
    if found is None:
        raise refusal("lens", "there is no such lens in the book", "a lens of the book")
    if found.serial:
        said = f"its serial was read already. A serial is exchanged once; {found.title} keeps it"
        raise refusal(found.title, said, "a lens whose serial was not read")
    if not apart:
        _refuse_like(connection, found, serial.strip())
    there = bool(lenses_of(connection, [lens_id_of(found.model, serial.strip())]))
    real = read_serial(writing, lens_id, serial)
    return Exchanged(lenses_of(connection, [real])[real], there)


def _refuse_like(connection: Connection, found: BookLens, serial: str) -> None:
    """Raises BookRefusal where a lens of that model has the serial but for case, spaces and dashes."""
    lens = tables.lens
    rows = connection.execute(select(lens).where(lens.c.serial_plain == plain_serial(serial))).all()
    if any(row.id == lens_id_of(found.model, serial) for row in rows):
        return
    like = [row.serial for row in rows if plain_serial(row.model or "") == plain_serial(found.model or "")]
    if like:
        said = (
            f"serial {serial} may be that of {found.model or 'the lens'}, serial {like[0]} of the book, written "
            f"otherwise. If it is, write it as {like[0]}; if it is another lens, say --apart"
        )
        raise refusal(found.title, said, "a serial that says which lens it is")
