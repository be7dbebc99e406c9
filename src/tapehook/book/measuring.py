"""Readings, chart tests, light tests and morning checks: added, corrected, never changed."""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, func, insert, select

from tapehook.book import tables
from tapehook.book.ids import canonical, digest, new_id
from tapehook.book.lenses import group_of
from tapehook.book.store import Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import parts
from tapehook.job.records import ChartTest, LightTest, MorningCheck, Reading
from tapehook.job.set_aside import as_kept, kept_record

Measured = Reading | ChartTest | LightTest | MorningCheck

RECORD_OF: dict[str, type[Reading] | type[ChartTest] | type[LightTest] | type[MorningCheck]] = {
    "reading": Reading,
    "chart": ChartTest,
    "light": LightTest,
    "morning": MorningCheck,
}
TABLE_OF: dict[str, str] = {"reading": "readings", "chart": "charts", "light": "tstops", "morning": "morning"}
"""The table of a job folder that holds each kind."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement as it is kept, with who, when, on which body and at what temperature."""

    id: bytes
    lens_id: bytes
    job_id: bytes | None
    row_id: str | None
    kind: str
    unit: str | None
    data: str
    ordinal: int
    fingerprint: bytes
    body: str | None
    temperature_c: float | None
    who: str
    written_at: str
    measured_at: str | None
    entry_id: bytes

    def record(self, lens_id: str | None = None) -> Measured:
        """The measurement as a record of a job, under what the lens is called there; see ``job.set_aside``."""
        given: dict[str, Any] = json.loads(self.data)
        given["lens_id"] = lens_id or self.row_id or self.lens_id.hex()
        return kept_record(RECORD_OF[self.kind], given)

    @property
    def when(self) -> str:
        """When it was measured; when it was written down, where nobody said."""
        return self.measured_at or self.written_at


@dataclass(frozen=True, slots=True)
class Correction:
    """That one measurement no longer counts, and which stands in its place, if any."""

    old_id: bytes
    new_id: bytes | None
    fingerprint: bytes
    reason: str
    who: str
    written_at: str
    entry_id: bytes


def kind_of(record: Measured) -> str:
    """What kind of measurement a record is."""
    return next(kind for kind, made in RECORD_OF.items() if isinstance(record, made))


def content_of(record: Measured) -> str:
    """What a record says, as text: the fields that were given, without its lens and its row."""
    return canonical(as_kept(record, record.model_dump(exclude_unset=True, exclude={"lens_id", "row"})))


def fingerprint_of(job_id: bytes, row_id: str, kind: str, unit: str | None, data: str, ordinal: int) -> bytes:
    """Hash of a measurement of a job: the same in every book that the same row was imported into."""
    return digest("measurement", job_id, row_id, kind, unit or "", data, str(ordinal))[:16]


def bench_fingerprint(measurement_id: bytes, kind: str, unit: str | None, data: str) -> bytes:
    """Hash of a measurement made outside any job: there is no other like it."""
    return digest("bench", measurement_id, kind, unit or "", data)[:16]


def row_of(
    record: Measured,
    lens_id: bytes,
    entry_id: bytes,
    *,
    unit: str | None,
    job_id: bytes | None = None,
    row_id: str | None = None,
    ordinal: int = 0,
    body: str | None = None,
    content: str | None = None,
) -> dict[str, Any]:
    """The row of a new measurement; ``content`` where that is known already."""
    measurement_id, kind, data = new_id(), kind_of(record), content or content_of(record)
    unit = None if kind == "light" else unit
    if job_id is not None and row_id is not None:
        fingerprint = fingerprint_of(job_id, row_id, kind, unit, data, ordinal)
    else:
        fingerprint = bench_fingerprint(measurement_id, kind, unit, data)
    return {
        "lens_id": lens_id,
        "id": measurement_id,
        "entry_id": entry_id,
        "job_id": job_id,
        "row_id": row_id,
        "kind": kind,
        "unit": unit,
        "body": body,
        "data": data,
        "ordinal": ordinal,
        "fingerprint": fingerprint,
    }


def add_measurements(
    writing: Writing, lens_id: bytes, records: Sequence[Measured], *, unit: str = "deg", body: str | None = None
) -> list[bytes]:
    """Add measurements made at the bench, outside any job; ``unit`` is that of their positions. Their ids."""
    if not records:
        return []
    entry_id = writing.entry_id
    rows = [row_of(record, lens_id, entry_id, unit=unit, body=body) for record in records]
    writing.connection.execute(insert(tables.measurement), rows)
    return [row["id"] for row in rows]


def add_to_job(
    writing: Writing,
    job_id: bytes,
    row_id: str,
    lens_id: bytes,
    records: Sequence[Measured],
    *,
    unit: str = "deg",
    body: str | None = None,
) -> list[bytes]:
    """Add measurements of a job, as they are made; ``row_id`` is what the lens is called there. Their ids.

    They stand after the rows the job has. Nobody else's work on the job is in the way, and none gets in anybody's.
    """
    measured, made = tables.measurement, []
    there = select(measured.c.id).where(measured.c.lens_id == lens_id, measured.c.job_id == job_id).limit(1)
    if records and writing.connection.scalar(there) is None:
        writing.touched.add(lens_id)  # it is found by the job's name from now on
    for record in records:
        at = next_ordinal(writing.connection, job_id, row_id, lens_id, record, unit)
        row = row_of(record, lens_id, writing.entry_id, unit=unit, job_id=job_id, row_id=row_id, ordinal=at, body=body)
        writing.connection.execute(insert(tables.measurement), row)
        made.append(row["id"])
    return made


def next_ordinal(
    connection: Connection, job_id: bytes, row_id: str, lens_id: bytes, record: Measured, unit: str | None
) -> int:
    """How often a row of a job has said just this before."""
    measured, kind = tables.measurement, kind_of(record)
    where = [
        measured.c.lens_id.in_(group_of(connection, lens_id)),
        measured.c.job_id == job_id,
        measured.c.row_id == row_id,
        measured.c.kind == kind,
        measured.c.data == content_of(record),
    ]
    if kind != "light":
        where.append(measured.c.unit == unit)
    last = connection.scalar(select(func.max(measured.c.ordinal)).where(*where))
    return 0 if last is None else int(last) + 1


def correct(writing: Writing, old_id: bytes, lens_id: bytes, record: Measured | None, reason: str) -> bytes | None:
    """Put a new measurement in place of an old one, or withdraw it (None); the id of the new one.

    The old one stays in the book, and the new one takes its place in its job. Raises BookRefusal when there is no such
    measurement of the lens, when it was corrected before, and for a record of another kind.
    """
    standing = {found.id: found for found in in_force(writing.connection, group_of(writing.connection, lens_id))}
    if old_id not in standing:
        raise refusal("measurement", "it is not in the book, or was corrected already; look again", "a measurement")
    old = standing[old_id]
    new: dict[str, Any] | None = None
    if record is not None:
        if kind_of(record) != old.kind:
            raise refusal("measurement", "a reading is corrected by a reading, a test by a test", "the same kind")
        new = _in_place_of(writing, old, record)
        writing.connection.execute(insert(tables.measurement), new)
    add_corrections(writing, [(old, new["id"] if new else None)], reason)
    return new["id"] if new else None


def _in_place_of(writing: Writing, old: Measurement, record: Measured) -> dict[str, Any]:
    """The row that takes the place of a measurement, in its job if it has one."""
    entry_id = writing.entry_id
    if old.job_id is None or old.row_id is None:
        return row_of(record, old.lens_id, entry_id, unit=old.unit, body=old.body)
    at = next_ordinal(writing.connection, old.job_id, old.row_id, old.lens_id, record, old.unit)
    return row_of(
        record,
        old.lens_id,
        entry_id,
        unit=old.unit,
        job_id=old.job_id,
        row_id=old.row_id,
        ordinal=at,
        body=old.body,
    )


def add_corrections(writing: Writing, pairs: Iterable[tuple[Measurement, bytes | None]], reason: str) -> None:
    """Record what each measurement is replaced by, None where it is withdrawn."""
    rows = [
        {
            "id": new_id(),
            "entry_id": writing.entry_id,
            "lens_id": old.lens_id,
            "job_id": old.job_id,
            "old_id": old.id,
            "fingerprint": old.fingerprint,
            "new_id": new,
            "reason": reason,
        }
        for old, new in pairs
    ]
    if rows:
        writing.connection.execute(insert(tables.correction), rows)


_JOINED = tables.measurement.join(tables.entry, tables.measurement.c.entry_id == tables.entry.c.id)
_COLUMNS = [
    *(column for column in tables.measurement.c if column.name != "body"),
    tables.measurement.c.body.label("own_body"),
    tables.entry.c.body.label("entry_body"),
    tables.entry.c.temperature_c,
    tables.entry.c.who,
    tables.entry.c.written_at,
    tables.entry.c.measured_at,
]


def _measurements(connection: Connection, where: ColumnElement[bool]) -> list[Measurement]:
    """Measurements that fit, in order of their ids."""
    rows = connection.execute(select(*_COLUMNS).select_from(_JOINED).where(where))
    found = [
        Measurement(
            id=row.id,
            lens_id=row.lens_id,
            job_id=row.job_id,
            row_id=row.row_id,
            kind=row.kind,
            unit=row.unit,
            data=row.data,
            ordinal=row.ordinal,
            fingerprint=row.fingerprint,
            body=row.own_body or row.entry_body,
            temperature_c=row.temperature_c,
            who=row.who,
            written_at=row.written_at,
            measured_at=row.measured_at,
            entry_id=row.entry_id,
        )
        for row in rows
    ]
    return sorted(found, key=lambda measurement: measurement.id)


def of_lenses(connection: Connection, lens_ids: Collection[bytes]) -> list[Measurement]:
    """All measurements of lenses, those corrected since among them."""
    return [
        found for some in parts(lens_ids) for found in _measurements(connection, tables.measurement.c.lens_id.in_(some))
    ]


def of_job(connection: Connection, job_id: bytes) -> list[Measurement]:
    """All measurements of a job, those corrected since among them."""
    return _measurements(connection, tables.measurement.c.job_id == job_id)


def corrections_of(connection: Connection, lens_ids: Collection[bytes]) -> list[Correction]:
    """All corrections of the measurements of lenses, oldest first."""
    chosen = [column for some in parts(lens_ids) for column in (tables.correction.c.lens_id.in_(some),)]
    return [found for where in chosen for found in _corrections(connection, where)]


def corrections_of_job(connection: Connection, job_id: bytes) -> list[Correction]:
    """All corrections of the measurements of a job, oldest first."""
    return _corrections(connection, tables.correction.c.job_id == job_id)


def _corrections(connection: Connection, where: ColumnElement[bool]) -> list[Correction]:
    correction = tables.correction
    joined = correction.join(tables.entry, correction.c.entry_id == tables.entry.c.id)
    columns = (
        correction.c.old_id,
        correction.c.new_id,
        correction.c.fingerprint,
        correction.c.reason,
        tables.entry.c.who,
        tables.entry.c.written_at,
        correction.c.entry_id,
    )
    rows = connection.execute(select(*columns).select_from(joined).where(where).order_by(correction.c.id))
    return [Correction(*row) for row in rows]


def standing(found: Iterable[Measurement], corrections: Iterable[Correction]) -> list[Measurement]:
    """Those in force: not corrected, and of several with one lens and fingerprint the first alone."""
    gone = {correction.fingerprint for correction in corrections}
    kept: dict[tuple[bytes, bytes], Measurement] = {}
    for one in found:
        if one.fingerprint not in gone:
            kept.setdefault((one.lens_id, one.fingerprint), one)
    return list(kept.values())


def in_force(connection: Connection, lens_ids: Collection[bytes]) -> list[Measurement]:
    """The measurements of lenses that count: not corrected, and none twice."""
    return standing(of_lenses(connection, lens_ids), corrections_of(connection, lens_ids))


def replacements(corrections: Iterable[Correction]) -> Mapping[bytes, Correction]:
    """The corrections by the measurement they name."""
    return {correction.old_id: correction for correction in corrections}
