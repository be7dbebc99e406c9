"""Jobs of the book: their documents, the kit on its cameras, camera builds and sign-offs."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Any

from pydantic import Field
from sqlalchemy import Connection, insert, select

from tapehook.book import tables
from tapehook.book.ids import moment, named_id
from tapehook.book.measuring import Measurement, corrections_of_job, of_job, standing
from tapehook.book.store import Book, Writing
from tapehook.book.trouble import refusal
from tapehook.book.versions import Thing, Version, among, edit, newest, thing
from tapehook.job.problems import JobProblems, Problem
from tapehook.job.records import Identifier, Job, Lens, Letter, Motor, Record
from tapehook.job.set_aside import kept_job, kept_record

KEPT_FILE = re.compile(r"shots/[^/\\\x00-\x1f]+\.toml")
"""Names of files that are kept as they are; no other is ever written into a folder, whatever another book says."""
UNTITLED = str(Job.model_fields["title"].default)


@dataclass(frozen=True, slots=True)
class JobLens:
    """One lens in a job's kit: the lens of the book, and its row in the folder."""

    lens_id: bytes
    row: Mapping[str, Any]

    @property
    def row_id(self) -> str:
        """What the lens is called in the job."""
        return str(self.row["id"])


@dataclass(frozen=True, slots=True)
class JobDocument:
    """A job as its folder said it, measurements apart: ``rows`` are their fingerprints in the order of each table."""

    toml: str | None
    columns: Mapping[str, Sequence[str]]
    lenses: tuple[JobLens, ...]
    rows: Mapping[str, tuple[bytes, ...]]
    files: Mapping[str, str] = field(default_factory=dict)
    """Texts of the files that are kept as they are, by name: those of the shots."""

    def as_data(self) -> dict[str, Any]:
        """The document as a version keeps it; which lenses of the book they are is no part of what it says."""
        return {
            "toml": self.toml,
            "columns": {table: list(header) for table, header in self.columns.items()},
            "lenses": [{"lens": lens.lens_id.hex(), "row": dict(lens.row)} for lens in self.lenses],
            "counts": self._counts(),
            **({"files": dict(self.files)} if self.files else {}),
        }

    def _counts(self) -> list[int]:
        """How many rows each table has; the last, which jobs of old do not know, only where it has any."""
        counts = [len(self.rows.get(kind, ())) for kind in ORDER]
        return counts if counts[-1] else counts[:-1]

    def packed(self) -> bytes:
        """All fingerprints, table after table."""
        return b"".join(one for kind in ORDER for one in self.rows.get(kind, ()))

    @classmethod
    def of(cls, version: Version) -> "JobDocument":
        """The document in a version of a job."""
        data, packed = version.data, version.rows or b""
        listed = [packed[at : at + 16] for at in range(0, len(packed), 16)]
        rows, start = dict.fromkeys(ORDER, tuple[bytes, ...]()), 0
        for kind, count in zip(ORDER, data["counts"], strict=False):
            rows[kind] = tuple(listed[start : start + count])
            start += count
        lenses = tuple(JobLens(bytes.fromhex(one["lens"]), one["row"]) for one in data["lenses"])
        files = {name: text for name, text in data.get("files", {}).items() if KEPT_FILE.fullmatch(name)}
        return cls(data["toml"], data["columns"], lenses, rows, files)


ORDER = ("reading", "chart", "light", "morning")


def job_id_of(name: str) -> bytes:
    """The id of the job of that name; the same in every book."""
    return named_id("job", name)


def document_id(job_id: bytes) -> bytes:
    """The id of a job's document as a thing."""
    return named_id("job_document", job_id)


def add_job(writing: Writing, name: str) -> bytes:
    """The job of that name; made if it is not there."""
    job_id = job_id_of(name)
    if not writing.connection.scalar(select(tables.job.c.id).where(tables.job.c.id == job_id)):
        writing.connection.execute(insert(tables.job), {"id": job_id, "name": name})
    return job_id


def job_names(connection: Connection) -> list[str]:
    """The names of all jobs, in order."""
    return sorted(connection.execute(select(tables.job.c.name)).scalars())


def find_job(connection: Connection, name: str, book: str) -> tuple[bytes, Thing]:
    """The id and the document of a job. Raises BookRefusal with names that are near when there is none."""
    job_id = job_id_of(name)
    found = thing(connection, document_id(job_id))
    if found is None:
        import difflib

        near = difflib.get_close_matches(name, job_names(connection), n=3, cutoff=0.5)
        hint = f"; there is {' and '.join(repr(one) for one in near)}" if near else ""
        raise refusal(book, f"there is no job called {name!r}{hint}", "the name of a job")
    return job_id, found


def shot_texts_of(book: Book, name: str) -> dict[str, str]:
    """The texts of the shots of a job by name, of the version that stands. Raises BookRefusal for no such job."""
    with book.reading() as connection:
        _, found = find_job(connection, name, book.name)
    files = JobDocument.of(found.now).files
    return {one.removeprefix("shots/").removesuffix(".toml"): files[one] for one in sorted(files)}


def load_job(book: Book, name: str, version: str | None = None) -> Job:
    """A job of the book as ``read_job`` would give it. ``version`` is the start of a version's id, where there are two.

    Raises BookRefusal when there is no such job, or when it is in conflict and no version was named.
    """
    with book.reading() as connection:
        _, found = find_job(connection, name, book.name)
        return job_of_version(connection, found, choose_version(found, name, version), book.name)


def choose_version(found: Thing, name: str, version: str | None) -> Version:
    """The version named, or the newest where there is one. Raises BookRefusal."""
    if version is not None:
        chosen = [one for one in found.versions if one.id.hex().endswith(version)]
        if len(chosen) != 1:
            raise refusal(f"job {name}", f"no newest version of it ends in {version}", versions_said(found))
        return chosen[0]
    if found.in_conflict:
        said = f"two versions of this job say different things, and nobody has joined them: {versions_said(found)}"
        raise refusal(
            f"job {name}", said, "one version: export each with --version, and import what is right with --join"
        )
    return found.now


def versions_said(found: Thing) -> str:
    """The newest versions of a thing by name, writer and time."""
    return ", ".join(f"{short(one.id)} by {one.who} at {one.written_at[:16]}" for one in found.versions)


def short(version_id: bytes) -> str:
    """How a version is called: the end of its id, which is chance."""
    return version_id.hex()[-8:]


def job_of_version(connection: Connection, found: Thing, chosen: Version, name: str) -> Job:
    """The job put together again from one of its newest versions, with what was measured and corrected since.

    Raises BookRefusal where the book called ``name`` lacks something of it, JobProblems where it holds what no job can.
    """
    rows = rows_now(connection, found, chosen, name)
    update = {
        "readings": tuple(one.record() for one in rows["reading"]),
        "charts": tuple(one.record() for one in rows["chart"]),
        "tstops": tuple(one.record() for one in rows["light"]),
        "morning": tuple(one.record() for one in rows["morning"]),
    }
    return job_in(JobDocument.of(chosen)).model_copy(update={field: value for field, value in update.items() if value})


def job_in(document: JobDocument) -> Job:
    """What a document says, without measurements; figures kept before the limits of today are set aside.

    Raises JobProblems where it says what no job can.
    """
    problems: list[Problem] = []
    job = kept_job(document.toml, problems)
    if job is None:
        raise JobProblems(problems)
    update = {
        "lenses": tuple(kept_record(Lens, lens.row) for lens in document.lenses),
        "column_order": {table: tuple(header) for table, header in document.columns.items()},
    }
    return job.model_copy(update={field: value for field, value in update.items() if value})


def rows_now(connection: Connection, found: Thing, chosen: Version, name: str) -> dict[str, list[Measurement]]:
    """The measurements of a job by kind: its rows as one newest version has them, and what came at the bench since.

    A row corrected at the bench gives its place to the new one. What was added there stands at the end. Raises
    BookRefusal where the book called ``name`` lacks a row.
    """
    assert chosen.job_id is not None  # noqa: S101 - every version of a job names it
    document = JobDocument.of(chosen)
    everything = of_job(connection, chosen.job_id)
    by_fingerprint = {one.fingerprint: one for one in reversed(everything)}
    lost = [one for kind in ORDER for one in document.rows[kind] if one not in by_fingerprint]
    if lost:
        said = f"{len(lost)} measurements of this job are not in the book; tapehook book check says more"
        raise refusal(name, said)
    follow = _Followed(connection, chosen.job_id, everything)
    rows = {
        kind: [now for one in document.rows[kind] if (now := follow.now(by_fingerprint[one])) is not None]
        for kind in ORDER
    }
    known = {one for version in found.versions for listed in JobDocument.of(version).rows.values() for one in listed}
    known |= {one.fingerprint for listed in rows.values() for one in listed}
    units = {lens.row_id: lens.row.get("unit", "deg") for lens in document.lenses}
    for one in standing(everything, follow.corrections):
        fits = one.row_id in units and one.unit in {None, units[one.row_id]}
        if fits and one.fingerprint not in known:
            known.add(one.fingerprint)
            rows[one.kind].append(one)
    return rows


class _Followed:
    """What stands in the place of a row, corrections made at the bench followed.

    Those an import made are in the rows of the version that it wrote; of a version in conflict with that one they are
    no part.
    """

    def __init__(self, connection: Connection, job_id: bytes, everything: Sequence[Measurement]) -> None:
        self.corrections = corrections_of_job(connection, job_id)
        version = tables.version
        imports = set(
            connection.execute(select(version.c.entry_id).where(version.c.job_id == job_id, among("job"))).scalars()
        )
        self._bench = {one.fingerprint: one for one in self.corrections if one.entry_id not in imports}
        self._by_id = {one.id: one for one in everything}

    def now(self, one: Measurement) -> Measurement | None:
        """The measurement in the place of this one; None when it was withdrawn."""
        seen = {one.fingerprint}
        while one.fingerprint in self._bench:
            new = self._by_id.get(self._bench[one.fingerprint].new_id or b"")
            if new is None or new.fingerprint in seen:
                return None
            one = new
            seen.add(one.fingerprint)
        return one


def standing_of_job(connection: Connection, job_id: bytes) -> list[Measurement]:
    """The measurements of a job that are in force."""
    return standing(of_job(connection, job_id), corrections_of_job(connection, job_id))


# --- which lens is on which camera -------------------------------------------------------------------------------


def put_on_camera(
    writing: Writing,
    job_id: bytes,
    lens_id: bytes,
    camera: str | None,
    *,
    since: datetime | None = None,
    seen: Collection[bytes] = (),
) -> bytes:
    """Say which camera of a job carries a lens from a moment on; None: none does. Raises StaleEdit."""
    data = {"camera": camera, "since": moment(since)}
    target = named_id("on_camera", job_id, lens_id)
    return edit(writing, "on_camera", target, data, seen=seen, lens_id=lens_id, job_id=job_id)


def on_cameras(connection: Connection, job_id: bytes) -> dict[bytes, Thing]:
    """For each lens of a job that was put on a camera: which, and since when."""
    version = tables.version
    found = newest(connection, version.c.job_id == job_id, among("on_camera"))
    return {one.now.lens_id: one for one in found.values() if one.now.lens_id}


# --- camera builds -----------------------------------------------------------------------------------------------


class BuildMotor(Record):
    """A motor in a camera build. An extra motor has positions by name, in per cent of its travel."""

    motor: Motor
    positions: dict[Identifier, Annotated[float, Field(ge=0, le=100)]] = Field(default_factory=dict)


class CameraBuild(Record):
    """How one camera is put together: the body, its motors, what else is on it, and its tags for finding it again."""

    name: Identifier
    camera: Letter
    body: str | None = None
    motors: tuple[BuildMotor, ...] = ()
    parts: tuple[str, ...] = ()
    note: str | None = None


def build_id(job_id: bytes, camera: str, name: str) -> bytes:
    """The id of a build of a camera as a thing."""
    return named_id("build", job_id, camera, name)


def save_build(writing: Writing, job_id: bytes, build: CameraBuild, *, seen: Collection[bytes] = ()) -> bytes:
    """Keep a camera build, or a new version of it.

    Raises StaleEdit; BookRefusal for named positions of a motor that is no extra motor.
    """
    wrong = [one.motor.id for one in build.motors if one.positions and one.motor.axis != "extra"]
    if wrong:
        said = f"only an extra motor has named positions; {', '.join(wrong)} drives focus, iris or zoom"
        raise refusal(build.name, said, "an extra motor")
    target = build_id(job_id, build.camera, build.name)
    data = build.model_dump(mode="json", exclude_unset=True)
    return edit(writing, "build", target, data, seen=seen, job_id=job_id, called=f"build {build.name}")


def builds_of(connection: Connection, job_id: bytes) -> list[tuple[CameraBuild, Thing]]:
    """All builds of a job, by camera and name."""
    found = newest(connection, tables.version.c.job_id == job_id, among("build"))
    builds = [(CameraBuild.model_validate(one.data), one) for one in found.values()]
    return sorted(builds, key=lambda pair: (pair[0].camera, pair[0].name))


def copy_builds(writing: Writing, from_job: bytes, to_job: bytes) -> list[str]:
    """Copy the builds of one job to another; what is there already is left alone. The names of those copied."""
    there = {(build.camera, build.name) for build, _ in builds_of(writing.connection, to_job)}
    copied = []
    for build, _ in builds_of(writing.connection, from_job):
        if (build.camera, build.name) not in there:
            save_build(writing, to_job, build)
            copied.append(build.name)
    return copied


# --- sign-offs ---------------------------------------------------------------------------------------------------


def sign_off_id(job_id: bytes, check: str, lens_id: bytes | None, camera: str | None) -> bytes:
    """The id of the sign-off of one check as a thing."""
    return named_id("sign_off", job_id, check, lens_id or b"", camera or "")


def sign_off(
    writing: Writing,
    job_id: bytes,
    check: str,
    *,
    lens_id: bytes | None = None,
    camera: str | None = None,
    outcome: str = "good",
    note: str = "",
    seen: Collection[bytes] = (),
) -> bytes:
    """Sign a check of a lens, a camera or the whole job off, by whoever writes, now.

    Raises StaleEdit when somebody else was quicker.
    """
    data = {"check": check, "camera": camera, "outcome": outcome, "note": note, "by": writing.by.who, "at": moment()}
    target = sign_off_id(job_id, check, lens_id, camera)
    return edit(writing, "sign_off", target, data, seen=seen, lens_id=lens_id, job_id=job_id, called=f"check {check}")


def sign_offs_of(connection: Connection, job_id: bytes) -> list[Thing]:
    """The sign-offs of a job, by check."""
    found = newest(connection, tables.version.c.job_id == job_id, among("sign_off"))
    return sorted(found.values(), key=lambda one: (str(one.data["check"]), one.now.thing_id))
