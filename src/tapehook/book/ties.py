"""What ties the ids of one lens together: who said so, why, and taking it back."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, select

from tapehook.book import tables
from tapehook.book.lenses import SERIAL_NOT_READ, BookLens, group_of, lenses_of, untie
from tapehook.book.store import Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import parts


@dataclass(frozen=True, slots=True)
class Tie:
    """That two lenses are one: the two, as they were called before, who said so, when (UTC) and why."""

    id: bytes
    one_id: bytes
    other_id: bytes
    one: str
    other: str
    who: str
    written_at: str
    reason: str

    def as_json(self) -> dict[str, Any]:
        """The tie as plain JSON values."""
        return {
            "id": self.id.hex(),
            "one": self.one,
            "other": self.other,
            "who": self.who,
            "written_at": self.written_at,
            "reason": self.reason,
        }


def ties_of(connection: Connection, lens_id: bytes) -> tuple[Tie, ...]:
    """The ties of a lens that hold, oldest first; none for a lens that is one by itself."""
    group = group_of(connection, lens_id)
    same, entry, lens = tables.same_lens, tables.entry, tables.lens
    rows = dict[bytes, Row[Any]]()
    names = dict[bytes, str]()
    for some in parts(sorted(group)):
        chosen = select(same, entry.c.who, entry.c.written_at).join(entry, entry.c.id == same.c.entry_id)
        rows |= {row.id: row for row in connection.execute(chosen.where(same.c.one_id.in_(some)))}
        found = connection.execute(select(lens).where(lens.c.id.in_(some)))
        names |= {row.id: _called(row) for row in found}
    undone = {row.undoes for row in rows.values()}
    # Both ends: a tie to a lens outside was taken back, perhaps by a record that begins with that one.
    held = [row for row in rows.values() if row.undoes is None and row.id not in undone and row.other_id in group]
    return tuple(_tie(row, names) for row in sorted(held, key=lambda row: (row.written_at, row.id)))


def _tie(row: Row[Any], names: dict[bytes, str]) -> Tie:
    called = names[row.one_id], names[row.other_id]
    return Tie(row.id, row.one_id, row.other_id, *called, row.who, row.written_at, row.reason)


def _called(row: Row[Any]) -> str:
    """What one id is called by itself, whatever it is tied to."""
    name = row.model or "lens"
    return f"{name}, serial {row.serial}" if row.serial else f"{name}, {SERIAL_NOT_READ} ({row.provisional})"


def take_back(writing: Writing, lens_id: bytes, ending: str, reason: str) -> tuple[Tie, tuple[BookLens, ...]]:
    """Take back one tie of a lens, named by the end of its id: the tie, and the lenses the two are from now on.

    What was measured goes back to the id it was written under. One lens is left where another tie still holds the
    two together. Raises BookRefusal where no tie, or more than one, ends so.
    """
    listed = ties_of(writing.connection, lens_id)
    found = [one for one in listed if ending and one.id.hex().endswith(ending.casefold())]
    if len(found) != 1:
        there = ", ".join(f"{one.id.hex()[-8:]} ({one.one} and {one.other})" for one in listed)
        said = f"{'no tie ends' if not found else 'several ties end'} in {ending}. There is {there or 'none'}"
        raise refusal("lens", said, "the id of a tie of this lens, or its last letters")
    (tie,) = found
    untie(writing, tie.one_id, tie.other_id, reason)
    apart = lenses_of(writing.connection, [tie.one_id, tie.other_id])
    return tie, tuple({lens.id: lens for lens in apart.values()}.values())
