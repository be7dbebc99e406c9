"""What a heading nobody knows was probably meant to be: columns of the tables and keys of ``job.toml``."""

import difflib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from tapehook.job.columns import TABLES, Table
from tapehook.job.records import Job
from tapehook.job.set_aside import is_aside
from tapehook.job.sheets import header_name

LIKELY: Mapping[str, tuple[str, ...]] = {
    "approach": ("direction", "way", "turned", "from"),
    "close_focus_m": ("close_focus", "minimum_focus", "min_focus", "minimum_distance"),
    "distance_text": ("distance", "mark", "marks", "engraved", "engraving", "scale_mark"),
    "engraved_in": ("scale", "scale_in", "scale_unit", "marked_in", "engraving"),
    "focal_mm": ("focal", "focal_length", "focal_length_mm", "length", "mm"),
    "id": ("lens_no", "lens_number", "name", "no", "number"),
    "lens_id": ("lens", "lens_no", "lens_number", "id", "name"),
    "model": ("make", "maker", "make_and_model", "type", "series"),
    "note": ("notes", "comment", "comments", "remark", "remarks"),
    "position": ("ring", "reading", "encoder", "angle", "degrees", "counts", "ring_position", "deg"),
    "serial": ("serial_no", "serial_number", "s_n", "sn"),
    "t_stop": ("aperture", "max_aperture", "stop", "widest", "widest_stop", "t", "max_t_stop", "iris"),
    "temperature_c": ("temp", "temp_c", "degrees_c"),
    "unit": ("units", "position_unit", "read_in"),
}
"""Headings that people write, by the column they mean: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Unread:
    """A heading that is kept and not read: of which table or file, and the name that was probably meant."""

    place: str
    heading: str
    meant: str | None


def meant(heading: str, names: Collection[str]) -> str | None:
    """The one of ``names`` that a heading was probably meant to be; None when it is like none of them."""
    plain = header_name(heading)
    for name in names:
        if plain in LIKELY.get(name, ()):
            return name
    return next(iter(difflib.get_close_matches(plain[:80], names, n=1, cutoff=0.7)), None)


def heading_for(name: str, headings: Collection[str]) -> str | None:
    """The one of the ``headings`` nobody knows that was probably meant to be the column ``name``."""
    return next((heading for heading in headings if meant(heading, (name,))), None)


def unread(job: Job) -> Iterator[Unread]:
    """Headings of the tables and keys of ``job.toml`` that are kept and not read, in the order of the files."""
    for table in TABLES:
        yield from _unread_columns(table, job.column_order.get(table.name, ()))
    known = [name for name in type(job).model_fields if name not in {"column_order", "extra"}]
    for key in job.extra:
        if not is_aside(key):
            yield Unread("job.toml", key, meant(key, [name for name in known if name not in job.model_fields_set]))


def _unread_columns(table: Table, header: tuple[str, ...]) -> Iterator[Unread]:
    there = {table.name_of(cell) for cell in header}
    free = [column.name for column in table.columns if column.name not in there]
    for cell in header:
        if table.name_of(cell) not in table.names and not is_aside(cell):
            yield Unread(table.name, cell, meant(cell, free))
