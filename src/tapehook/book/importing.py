"""Taking a job folder, or a sheet of lenses, into the book: first what would be done, then all of it or nothing.

A lens is known by model and serial as written. One whose serial differs in case, spaces or dashes only is offered as
the same lens; a person answers. Measurements the book has are matched, new ones added. One the folder has no more is
withdrawn, or corrected by the one in its place; both only where the folder came from what the book holds now, or where
the person says so.
"""

import json
import tomllib
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from tapehook.book import tables
from tapehook.book.engine import insert_rows
from tapehook.book.exporting import MARKER, content_digest, rendered
from tapehook.book.jobs import (
    ORDER,
    UNTITLED,
    JobDocument,
    JobLens,
    add_job,
    document_id,
    job_id_of,
    job_of_version,
)
from tapehook.book.lenses import (
    add_lens,
    add_lenses,
    add_provisional,
    facts_of,
    group_of,
    groups_of,
    lens_id_of,
    tie,
)
from tapehook.book.matching import Answers, LensPlan, plan_lenses, questions
from tapehook.book.measuring import (
    Measured,
    Measurement,
    add_corrections,
    content_of,
    corrections_of_job,
    kind_of,
    of_job,
    row_of,
    standing,
)
from tapehook.book.store import Writing
from tapehook.book.trouble import BookProblem, BookRefusal
from tapehook.book.versions import Thing, add_first, edit, thing, things
from tapehook.job.problems import shown
from tapehook.job.records import Camera, Job, Lens
from tapehook.job.set_aside import as_kept, kept_job


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What an import will do. ``added`` and ``matched`` count measurements by table; ``problems`` are why it cannot."""

    name: str
    job_id: bytes | None
    lenses: tuple[LensPlan, ...]
    added: Mapping[str, int]
    matched: Mapping[str, int]
    gone: tuple[Measurement, ...]
    """Measurements of the book that the folder has no more."""
    there: Thing | None
    problems: tuple[BookProblem, ...]

    def lens(self, row_id: str) -> LensPlan:
        """The plan of one lens by what it is called in the folder."""
        return next(one for one in self.lenses if one.row.id == row_id)


@dataclass
class _Rows:
    """The measurements of a job in the book, as an import meets them one by one."""

    job_id: bytes
    by_content: dict[tuple[str, str, str | None, str], list[Measurement]] = field(default_factory=dict)
    """Those in force, by lens of the job, kind, unit and content; taken from the front as the folder's rows match."""
    ordinals: dict[tuple[str, str, str | None, str], int] = field(default_factory=dict)

    @classmethod
    def of(cls, connection: Connection, job_id: bytes) -> "_Rows":
        rows = cls(job_id)
        everything = of_job(connection, job_id)
        for one in everything:
            key = (one.row_id or "", one.kind, one.unit, one.data)
            rows.ordinals[key] = max(rows.ordinals.get(key, 0), one.ordinal + 1)
        counted = set()
        for one in standing(everything, corrections_of_job(connection, job_id)):
            if one.fingerprint not in counted:
                counted.add(one.fingerprint)
                rows.by_content.setdefault((one.row_id or "", one.kind, one.unit, one.data), []).append(one)
        for listed in rows.by_content.values():
            listed.sort(key=lambda one: one.ordinal)
        return rows

    def match(self, key: tuple[str, str, str | None, str], lens_ids: Collection[bytes]) -> Measurement | None:
        """The next measurement in force that says just this of this lens."""
        listed = self.by_content.get(key, [])
        at = next((i for i, one in enumerate(listed) if one.lens_id in lens_ids), None)
        return None if at is None else listed.pop(at)

    def next_ordinal(self, key: tuple[str, str, str | None, str]) -> int:
        self.ordinals[key] = self.ordinals.get(key, 0) + 1
        return self.ordinals[key] - 1

    def left(self) -> list[Measurement]:
        """Those that no row of the folder matched."""
        return [one for listed in self.by_content.values() for one in listed]


def measured_of(job: Job) -> Iterator[Measured]:
    """All measurements of a job in the order of its tables."""
    yield from job.readings
    yield from job.charts
    yield from job.tstops
    yield from job.morning


@dataclass(frozen=True, slots=True)
class Folder:
    """A job as it was read, with where it came from.

    ``toml`` is its ``job.toml`` as text, ``marker`` what an export left beside it, ``source`` the machine and path,
    ``files`` the texts of its shots by name, such as "shots/window.toml".
    """

    job: Job
    toml: str | None = None
    marker: str | None = None
    source: str = ""
    files: Mapping[str, str] = field(default_factory=dict)


def plan_import(connection: Connection, folder: Folder, answers: Answers, *, name: str | None = None) -> ImportPlan:
    """What importing a folder under ``name``, its title when None, would do to the book as it is now.

    Nothing is written; ``problems`` of the plan say what keeps it from being done.
    """
    job = folder.job
    name = name or job.title
    job_id = job_id_of(name)
    there = thing(connection, document_id(job_id))
    known = {lens.row_id: lens.lens_id for lens in JobDocument.of(there.now).lenses} if there else {}
    plans = plan_lenses(connection, job.lenses, known, answers)
    added, matched = dict.fromkeys(ORDER, 0), dict.fromkeys(ORDER, 0)
    rows = _Rows.of(connection, job_id)
    units, of_lens = _units(job), _lens_ids(connection, plans)
    for record in measured_of(job):
        key = _key(record, units)
        found = rows.match(key, of_lens.get(record.lens_id, ()))
        (added if found is None else matched)[kind_of(record)] += 1
    gone = tuple(rows.left())
    problems = [*_title_problems(name), *questions(plans), *_conflict(there, answers, name)]
    if there is not None and not problems and not (answers.over or answers.join):
        problems += _stale(connection, folder, there, gone, name)
    return ImportPlan(name, job_id, plans, added, matched, gone, there, tuple(problems))


def plan_sheet(connection: Connection, lenses: Sequence[Lens], answers: Answers) -> ImportPlan:
    """What importing a sheet of lenses, without a job, would do. Lenses without a serial are refused."""
    plans = plan_lenses(connection, lenses, {}, answers)
    problems = [
        BookProblem("sheet", f"lens {one.row.id} has no serial; only in a job can it be told from others", "a serial")
        for one in plans
        if not one.row.serial
    ]
    none = dict.fromkeys(ORDER, 0)
    return ImportPlan("", None, plans, none, none, (), None, (*problems, *questions(plans)))


def _units(job: Job) -> dict[str, str]:
    return {lens.id: lens.unit for lens in job.lenses}


def _key(record: Measured, units: Mapping[str, str]) -> tuple[str, str, str | None, str]:
    kind = kind_of(record)
    return record.lens_id, kind, None if kind == "light" else units.get(record.lens_id), content_of(record)


def _lens_ids(connection: Connection, plans: Sequence[LensPlan]) -> dict[str, frozenset[bytes]]:
    """All ids of the lens in the book, by what it is called in the folder; none for a new one."""
    ids: dict[str, list[bytes]] = {one.row.id: [one.lens_id] for one in plans if one.lens_id is not None}
    for one in plans:
        if one.verdict == "serial read":  # what it was called before is the same lens
            ids.setdefault(one.row.id, []).append(one.like[0].id)
    groups = groups_of(connection, {lens_id for some in ids.values() for lens_id in some})
    return {row_id: frozenset().union(*(groups[lens_id] for lens_id in some)) for row_id, some in ids.items()}


# --- the job -----------------------------------------------------------------------------------------------------


def _title_problems(name: str) -> Iterator[BookProblem]:
    if name.strip() in {"", UNTITLED}:
        yield BookProblem("job", "it has no title to be found again by. Give it one: --name NAME", "a name for the job")


def _conflict(there: Thing | None, answers: Answers, name: str) -> Iterator[BookProblem]:
    if there is not None and there.in_conflict and not answers.join:
        said = (
            "two versions of it say different things. Put what is right of both into one folder (book export "
            "--version), then import that with --join"
        )
        yield BookProblem(f"job {name}", said, "one version")


def _stale(
    connection: Connection, folder: Folder, there: Thing, gone: Sequence[Measurement], name: str
) -> Iterator[BookProblem]:
    """What keeps a folder from standing in place of what the book says of the job now.

    One that came from the book as it is now may say anything: it is the same work gone on with.
    """
    document = JobDocument.of(there.now)
    if folder.source and there.now.source == folder.source:
        # The same folder once more may undo what it said itself, but not what was measured at the bench since.
        listed = {one for rows in document.rows.values() for one in rows}
        at_bench = sum(one.fingerprint not in listed for one in gone)
        undone = f"{at_bench} measurements made or corrected since are not in it" if at_bench else ""
    else:
        undone = _undone(folder, document, gone)
    if undone and not (folder.marker and folder.marker == _marker_now(connection, there, document, name)):
        said = (
            f"this folder would undo what {there.now.who} wrote to the book at {there.now.written_at[:16]} (UTC): "
            f"{undone}. If it shall stand in place of that: --over"
        )
        yield BookProblem(f"job {name}", said, "a folder that came from the book as it is now")


def _marker_now(connection: Connection, there: Thing, document: JobDocument, name: str) -> str:
    """What an export would leave in a folder now."""
    job = job_of_version(connection, there, there.now, name)
    return content_digest(rendered(job, document))


def _undone(folder: Folder, document: JobDocument, gone: Sequence[Measurement]) -> str:
    """What of the job would no longer be so, in words; empty for nothing."""
    rows = {lens.id: _row_said(lens) for lens in folder.job.lenses}
    left = [lens.row_id for lens in document.lenses if lens.row_id not in rows]
    changed = [lens.row_id for lens in document.lenses if rows.get(lens.row_id, lens.row) != lens.row]
    said = []
    if gone:
        said.append(f"{len(gone)} measurements are not in it")
    if left:
        said.append(f"lenses are not in it ({shown(', '.join(left))})")
    if changed:
        said.append(f"lenses are described otherwise ({shown(', '.join(changed))})")
    shots = [name for name, text in document.files.items() if folder.files.get(name) != text]
    if shots:
        said.append(f"shots are not in it or say something else ({shown(', '.join(shots))})")
    if not _same_toml(folder.toml, document.toml):
        said.append("job.toml says something else")
    return ", ".join(said)


def _same_toml(one: str | None, other: str | None) -> bool:
    return tomllib.loads(one or "") == tomllib.loads(other or "")


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did: ids of the lenses by what they are called in the folder, and the version of the job."""

    plan: ImportPlan
    lens_ids: Mapping[str, bytes]
    version_id: bytes | None


def carry_out(writing: Writing, plan: ImportPlan, folder: Folder | None = None) -> Imported:
    """Do what a plan says, made in the same transaction; a sheet has no ``folder``.

    Raises BookRefusal, with nothing written, for the problems of the plan.
    """
    if plan.problems:
        raise BookRefusal(plan.problems)
    lens_ids = _write_lenses(writing, plan)
    version_id = None
    if plan.job_id is not None and folder is not None:
        job = folder.job
        add_job(writing, plan.name)
        rows = _write_measurements(writing, plan, job, lens_ids)
        document = JobDocument(folder.toml, job.column_order, _kit(job, lens_ids), rows, folder.files)
        version_id = edit(
            writing,
            "job",
            document_id(plan.job_id),
            document.as_data(),
            seen=plan.there.seen if plan.there else (),
            job_id=plan.job_id,
            rows=document.packed(),
            called=f"job {plan.name}",
        )
    writing.touched |= set(lens_ids.values())
    return Imported(plan, lens_ids, version_id)


def _kit(job: Job, lens_ids: Mapping[str, bytes]) -> tuple[JobLens, ...]:
    return tuple(JobLens(lens_ids[row.id], _row_said(row)) for row in job.lenses)


def _row_said(row: Lens) -> dict[str, Any]:
    """What the row of a lens says, as a document keeps it."""
    return as_kept(row, row.model_dump(exclude_unset=True, exclude={"row"}))


def _write_lenses(writing: Writing, plan: ImportPlan) -> dict[str, bytes]:
    """Add the lenses that are new, and their facts; tie those whose serial was read to what they were before."""
    ids: dict[str, bytes] = {}
    fresh = [(one.row.model, one.row.serial) for one in plan.lenses if one.lens_id is None and one.row.serial]
    add_lenses(writing, fresh)
    for one in plan.lenses:
        if one.lens_id is not None:
            ids[one.row.id] = one.lens_id
            if one.verdict == "matched" and one.like and one.row.serial:
                # Said to be the same: remembered for next time.
                written = add_lens(writing, one.row.model, one.row.serial)
                if written not in group_of(writing.connection, one.lens_id):
                    tie(writing, one.lens_id, written, "said to be the same lens at an import")
        elif one.row.serial:
            ids[one.row.id] = lens_id_of(one.row.model, one.row.serial)
        else:
            ids[one.row.id] = add_provisional(writing, one.row.model, f"{plan.name}: {one.row.id}")
        if one.verdict == "serial read" and one.like[0].id not in group_of(writing.connection, ids[one.row.id]):
            tie(writing, one.like[0].id, ids[one.row.id], "its serial was read")
    known = things(writing.connection, set(ids.values()))
    said: dict[bytes, Mapping[str, Any]] = {}
    for one in plan.lenses:
        if one.verdict != "matched" and ids[one.row.id] not in known:
            said.setdefault(ids[one.row.id], facts_of(one.row))
    if said:
        add_first(writing, "lens", said)
    return ids


def _write_measurements(
    writing: Writing, plan: ImportPlan, job: Job, lens_ids: Mapping[str, bytes]
) -> dict[str, tuple[bytes, ...]]:
    """Add what is new and correct what is gone; the fingerprints of all rows of the folder, table by table."""
    assert plan.job_id is not None  # noqa: S101 - the caller has looked
    units, rows = _units(job), _Rows.of(writing.connection, plan.job_id)
    groups = groups_of(writing.connection, set(lens_ids.values()))
    bodies = bodies_in(job.cameras, {lens.id: lens.camera for lens in job.lenses})
    order: dict[str, list[bytes]] = {kind: [] for kind in ORDER}
    new: list[dict[str, Any]] = []
    for record in measured_of(job):
        key = _key(record, units)
        lens_id = lens_ids[record.lens_id]
        found = rows.match(key, groups[lens_id])
        if found is not None:
            order[key[1]].append(found.fingerprint)
            continue
        made = row_of(
            record,
            lens_id,
            writing.entry_id,
            unit=key[2],
            job_id=plan.job_id,
            row_id=record.lens_id,
            ordinal=rows.next_ordinal(key),
            body=bodies.get(record.lens_id),
            content=key[3],
        )
        order[key[1]].append(made["fingerprint"])
        new.append(made)
    insert_rows(writing.connection, tables.measurement, new)
    add_corrections(writing, _pairs(rows.left(), new), "the folder imported says otherwise")
    return {kind: tuple(listed) for kind, listed in order.items()}


def bodies_in(cameras: Sequence[Camera], letters: Mapping[str, str | None]) -> dict[str, str]:
    """The body of each lens by the letter of its camera: the body's name, else the letter. Lenses on several: none."""
    names = {camera.letter: camera.name or camera.letter for camera in cameras}
    return {lens_id: names.get(letter, letter) for lens_id, letter in letters.items() if letter and " " not in letter}


def bodies_of(document: JobDocument) -> dict[str, str]:
    """The camera body each lens of a job of the book is on, where the job says so."""
    job = kept_job(document.toml, [])
    letters = {lens.row_id: lens.row.get("camera") for lens in document.lenses}
    return bodies_in(job.cameras if job else (), letters)


def _pairs(gone: Sequence[Measurement], new: Sequence[Mapping[str, Any]]) -> Iterator[tuple[Measurement, bytes | None]]:
    """Each measurement that is gone with the new one in its place: of the same lens row, alike but for one field."""
    waiting: dict[tuple[str | None, str], list[Mapping[str, Any]]] = defaultdict(list)
    for row in new:
        waiting[row["row_id"], row["kind"]].append(row)
    for old in gone:
        said = json.loads(old.data)
        beside = waiting[old.row_id, old.kind]
        at = next((i for i, row in enumerate(beside) if _one_apart(said, json.loads(row["data"]))), None)
        yield old, None if at is None else beside.pop(at)["id"]


def _one_apart(one: Mapping[str, object], other: Mapping[str, object]) -> bool:
    """True when two records differ in one field; a distance and how it was written are one."""
    differ = {name for name in one.keys() | other.keys() if one.get(name) != other.get(name)}
    return len(differ - {"written"}) <= 1


def marker_of(folder: Path) -> str | None:
    """What an export left in a folder: a hash of what the book said; None where there is no such thing."""
    try:
        lines = (folder / MARKER).read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return None
    return lines[-1] if lines else None
