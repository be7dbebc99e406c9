"""Kit: what a job is made of, kept fresh on every page that shows it; and figures out of range put right."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from pydantic import ValidationError

from tapehook.book.jobs import builds_of
from tapehook.book.trouble import StaleEdit
from tapehook.job import Job
from tapehook.job.records import Record
from tapehook.job.set_aside import SetAside, put_right, set_aside
from tapehook.notation import parse_focal_length, parse_number, parse_stop
from tapehook.pages.asked import JobFacts, OutOfRange
from tapehook.pages.at_hand import Act, At, Json, Key, Who
from tapehook.pages.desk import Desk, JobNow, NotThere
from tapehook.pages.routes import page, parts, short_title
from tapehook.pages.typed import Misread, Reader, label
from tapehook.prep.set_aside import MEASURED, place_of

router = APIRouter(include_in_schema=False)
api_router = APIRouter(prefix="/api")
PARTS = ("head", "cameras", "motors", "facts", "aside", "lenses")


@router.get("/job/{job}/kit")
def get_kit(request: Request, desk: At, job: Key) -> Response:
    """Kit: cameras, bodies, motors and lenses of a job."""
    now = desk.job(job)
    others = [head for head in desk.heads() if head.key != job]
    return page(request, "kit.html", **_shown(desk, now), others=others, parts_url=f"/part/kit/{job}")


@router.get("/part/kit/{job}")
def part_kit(desk: At, job: Key, session: Who) -> JSONResponse:
    """What Kit shows of a job, anew; forms stay as they are being filled."""
    now = desk.job(job)
    return JSONResponse(parts("kit.html", PARTS, desk.stamp_of(now), session=session, **_shown(desk, now)))


def _shown(desk: Desk, now: JobNow) -> dict[str, Any]:
    with desk.book.reading() as connection:
        builds = [build for build, _ in builds_of(connection, now.id)]
    prep = desk.prep(now)
    return {
        "here": "kit",
        "now": now,
        "topics": now.key,
        "builds": builds,
        "cameras": {one.camera.letter: one for one in prep.cameras},
        "carried": {lens.id: now.camera_of(lens.id) or "" for lens in now.job.lenses},
        "label": short_title,
        "asides": list(_asides(now)),
    }


# --- what was changed meanwhile ----------------------------------------------------------------------------------


def refuse_newer(now: JobNow, sent: JobFacts) -> None:
    """Refuse to write over what somebody else kept since the sender's page showed it. Raises StaleEdit."""
    if sent.was_units is None:
        return
    there = {"distances in": now.job.units, "shooting stop": now.job.shooting_stop or ""}
    was: dict[str, str] = {"distances in": sent.was_units, "shooting stop": sent.was_shooting_stop or ""}
    wanted = {"distances in": sent.units, "shooting stop": sent.shooting_stop or ""}
    for name, value in there.items():
        if was[name] != value and wanted[name] != value:
            last = now.thing.now
            said = (
                f"it was changed meanwhile to {value or 'nothing'}; the job was written to last by {last.who} at "
                f"{last.written_at[:16].replace('T', ' ')} (UTC). Look at it again, then change it. Nothing was written"
            )
            raise StaleEdit(name, said, now.thing.seen)


# --- figures out of range ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Aside:
    """A figure out of range as the page shows it: which one, and of what."""

    table: str
    key: str
    field: str
    place: str
    name: str
    held: str
    expected: str


def _asides(now: JobNow) -> Iterator[Aside]:
    for one in set_aside(now.job):
        yield Aside(one.table, _key(now, one), one.field, place_of(one), label(one.field), one.held, one.expected)


def _key(now: JobNow, one: SetAside) -> str:
    """What a figure's record is known by for good: the id of a measurement, the label of a thing."""
    if one.table in MEASURED:
        kind = {"readings": "reading", "charts": "chart", "tstops": "light", "morning": "morning"}[one.table]
        return now.rows[kind][one.number].id.hex()
    return str(getattr(one.record, "letter", None) or getattr(one.record, "id", None) or one.number)


@api_router.post("/jobs/{job}/out-of-range")
def post_out_of_range(desk: At, acts: Act, who: Who, job: Key, sent: OutOfRange) -> Json:
    """Put a figure that an earlier version kept, and that is out of range now, right; an empty one takes it away."""
    now = desk.job(job)
    chosen = (sent.table, sent.key, sent.field)
    found = next((one for one in set_aside(now.job) if (one.table, _key(now, one), one.field) == chosen), None)
    if found is None:
        raise NotThere("There is no such figure out of range: it was put right already, look again.")
    new = _put_right(found, sent.value or "")
    if found.table in MEASURED:
        acts.correct(who.who, now, found.lens_id or "", sent.key, new, "out of range")  # type: ignore[arg-type]
    else:
        acts.change_job(who.who, now, _with_record(now.job, found, new))
    return {"stamp": desk.stamp()}


def _put_right(found: SetAside, text: str) -> Record:
    """The record with the figure typed in place of the one that is out of range. Raises Misread."""
    reader, name = Reader(), label(found.field)
    value = reader.take(name, text, lambda typed: _figure(found.field, typed), f"a number, {found.expected}")
    if not text.strip() and type(found.record).model_fields[found.field].is_required():
        reader.refuse(name, "", f"a number, {found.expected}: a test is none without it")
    reader.done()
    try:
        return put_right(found.record, found.field, value)
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def _figure(field: str, text: str) -> float:
    """A figure as it is typed: a T-stop, a focal length, else a bare number in the unit that its name carries."""
    if field == "t_stop":
        stop = parse_stop(text)
        if stop.scale == "f":
            raise ValueError(text)
        return stop.number
    return parse_focal_length(text).long_m * 1e3 if field.startswith("focal_") else parse_number(text)


def _with_record(job: Job, found: SetAside, new: Record) -> Job:
    there = getattr(job, found.table)
    if isinstance(there, tuple):
        return job.model_copy(update={found.table: (*there[: found.number], new, *there[found.number + 1 :])})
    return job.model_copy(update={found.table: new})
