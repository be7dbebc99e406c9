"""What came over from another book, as either way of joining two books tells it."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Table

from tapehook.book.trouble import BookRefusal, refusal

MANY_LENSES = 2_000
"""From so many new lenses on their words are copied from the other book, rather than worked out once more."""
LENS_COLUMNS = ("lens_id", "one_id", "other_id")
"""Columns of records that say something of a lens."""


@dataclass(frozen=True, slots=True)
class Joined:
    """How many records of each table were added; lenses whose words are to be made anew, and shelves, likewise."""

    added: Mapping[str, int]
    lenses: set[bytes]
    shelves: set[bytes]


def refuse_damage(name: str, table: Table, record_id: bytes) -> BookRefusal:
    """The refusal of a record that says something else in the book called ``name`` than in ours."""
    said = f"a record ({table.name} {record_id.hex()}) says something else there than here"
    return refusal(name, f"{said}: one of the books is damaged. Nothing was merged; try book check on both")
