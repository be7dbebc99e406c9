"""The history of a lens in sessions: what one job measured of it, or one day at the bench."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from pydantic import ValidationError
from sqlalchemy import Connection, select

from tapehook.book import tables
from tapehook.book.lenses import BookLens, as_lens
from tapehook.book.measuring import Measurement, in_force
from tapehook.book.trouble import refusal
from tapehook.book.versions import parts
from tapehook.job.records import ChartTest, Job, Lens, LightTest, Reading

LENS = "lens"
"""What the lens is called in the job that a session is worked out as."""


@dataclass(frozen=True, slots=True)
class Session:
    """What one job, or one day at the bench, measured of a lens, in force today; ``when`` is its first moment.

    ``name`` is the job's, else "bench"; ``unit`` that of the positions. ``bodies`` are those the lens was on.
    """

    name: str
    when: str
    job_id: bytes | None
    unit: str
    bodies: tuple[str, ...]
    measurements: tuple[Measurement, ...]

    @property
    def title(self) -> str:
        """The day and the job, as a session is called on pages and pictures."""
        return f"{self.when[:10]}, {self.name}"

    def as_job(self, lens: BookLens, row_id: str = LENS) -> Job:
        """The session as a job of one lens, to be prepared. Raises BookRefusal for records that no job can hold."""
        try:
            row = lens_row(lens, row_id, self.unit)
            records = [one.record(row_id) for one in self.measurements]
        except ValidationError as trouble:
            said = f"what the book has of it cannot be read ({trouble.errors()[0]['msg']}); try book check"
            raise refusal(lens.title, said) from None
        return Job(
            title=self.title,
            lenses=(row,),
            readings=tuple(one for one in records if isinstance(one, Reading)),
            charts=tuple(one for one in records if isinstance(one, ChartTest)),
            tstops=tuple(one for one in records if isinstance(one, LightTest)),
        )


def lens_row(lens: BookLens, row_id: str, unit: str) -> Lens:
    """A lens as a job's record in a unit; what its facts say of the read-out holds for that of their unit alone."""
    row = as_lens(lens, row_id, unit)
    said = lens.facts.data.get("unit", "deg") if lens.facts else unit
    return row if said == unit else row.model_copy(update={"units_per_turn": None, "reading_step": None})


def sessions_of(connection: Connection, lens: BookLens) -> list[Session]:
    """The sessions of a lens, oldest first; each of measurements with one unit."""
    return sessions_in(connection, in_force(connection, lens.ids))


def sessions_in(connection: Connection, measurements: Iterable[Measurement]) -> list[Session]:
    """Measurements of one lens as sessions, oldest first."""
    groups: dict[tuple[bytes | str, str], list[Measurement]] = defaultdict(list)
    light: dict[bytes | str, list[Measurement]] = defaultdict(list)
    for one in measurements:
        key = one.job_id or one.when[:10]
        if one.unit is None:
            light[key].append(one)
        else:
            groups[key, one.unit].append(one)
    for key, tests in light.items():
        own = [unit for other, unit in groups if other == key]
        groups[key, own[0] if own else "deg"] += tests
    names = _job_names(connection, {key for key, _ in groups if isinstance(key, bytes)})
    found = [_session(key, unit, names, listed) for (key, unit), listed in groups.items()]
    return sorted(found, key=lambda session: (session.when, session.name, session.unit))


def _session(key: bytes | str, unit: str, names: dict[bytes, str], listed: list[Measurement]) -> Session:
    listed.sort(key=lambda one: one.id)
    bodies = tuple(dict.fromkeys(one.body for one in listed if one.body))
    job_id = key if isinstance(key, bytes) else None
    name = names[job_id] if job_id else "bench"
    return Session(name, min(one.when for one in listed), job_id, unit, bodies, tuple(listed))


def _job_names(connection: Connection, job_ids: Iterable[bytes]) -> dict[bytes, str]:
    found: dict[bytes, str] = {}
    for some in parts(job_ids):
        rows = connection.execute(select(tables.job.c.id, tables.job.c.name).where(tables.job.c.id.in_(some)))
        found |= {row.id: row.name for row in rows}
    return found
