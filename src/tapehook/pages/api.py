"""The pages' data as JSON, and everything that is written, under ``/api``; the shapes are those of ``--json``.

Every route has the guard before it: a session to look, one that may write and its token to write.
"""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from tapehook.book.jobs import builds_of
from tapehook.book.lenses import as_lens, lenses_of
from tapehook.book.maps import open_lens
from tapehook.book.search import find_lenses
from tapehook.finding import Finding
from tapehook.job import Lens
from tapehook.notation import parse_number
from tapehook.pages import asked
from tapehook.pages.actions import checked
from tapehook.pages.at_hand import Act, All, At, Json, Key, Who
from tapehook.pages.bench import bench_of
from tapehook.pages.desk import JobNow, NotThere
from tapehook.pages.guard import problem, set_cookie
from tapehook.pages.kit_routes import refuse_newer
from tapehook.pages.onset import onset_data
from tapehook.pages.overview import standings
from tapehook.pages.sessions import Session, TooManyTries
from tapehook.pages.typed import Reader, TypedReading, camera_of, chart_of, lens_of, motor_of, pasted, reading_of
from tapehook.prep import maps_as_json, prep_as_json
from tapehook.prep.as_json import twins_as_json
from tapehook.prep.twins import all_twins

router = APIRouter(prefix="/api")
WAIT_S = 2.5
"""How long a page is kept waiting for a change; a longer silence is a cut."""
MOST_TOPICS = 10


def _row(now: JobNow, key: str) -> str:
    row_id = now.row_of(key)
    if row_id is None:
        raise NotThere("There is no such lens in this job.")
    return row_id


# --- looking -----------------------------------------------------------------------------------------------------


@router.get("/session")
def get_session(sessions: All, session: Who) -> Json:
    """Who you are, what you may do, and the token that whatever you write must carry in X-Tapehook-Token."""
    return {"who": session.who, "right": session.right, "token": sessions.token_of(session)}


@router.get("/watch")
async def get_watch(
    desk: At,
    topics: Annotated[str, Query(max_length=400, pattern="^[0-9a-z,]*$")],
    since: Annotated[str, Query(max_length=40)] = "",
    wait: Annotated[float, Query(ge=0, le=20)] = WAIT_S,
) -> Json:
    """Whether a job (by its key) or "book" changed after ``since``; waits a little for it. Name ``stamp`` next time."""
    stamp = desk.stamp()
    changed = await desk.changed(topics.split(",")[:MOST_TOPICS], since, wait)
    return {"changed": changed, "stamp": desk.stamp() if changed else stamp}


@router.get("/jobs")
def get_jobs(desk: At) -> Json:
    """All jobs, the one written to last first."""
    heads = desk.heads()
    return {
        "jobs": [
            {"key": head.key, "name": head.name, "who": head.who, "written_at": head.written_at,
             "in_conflict": head.in_conflict}
            for head in heads
        ]
    }  # fmt: skip


@router.get("/jobs/{job}/prep")
def get_prep(desk: At, job: Key) -> Json:
    """What ``tapehook prep --json`` prints, without files."""
    return prep_as_json(desk.prep(desk.job(job)))


@router.get("/jobs/{job}/maps")
def get_maps(desk: At, job: Key) -> Json:
    """What ``tapehook map --json`` prints."""
    return maps_as_json(desk.prep(desk.job(job)))


@router.get("/jobs/{job}/twins")
def get_twins(desk: At, job: Key) -> Json:
    """What ``tapehook twins --json`` prints."""
    prep = desk.prep(desk.job(job))
    return twins_as_json(prep, all_twins(prep))


@router.get("/jobs/{job}/lenses")
def get_lenses(desk: At, job: Key) -> Json:
    """The lenses of a job, worst first: checks, camera, sign-off, depth used as a fraction."""
    now = desk.job(job)
    return {"lenses": [_standing_json(one) for one in standings(now, desk.prep(now))]}


def _standing_json(one: Any) -> Json:  # noqa: ANN401 - a Standing
    return {
        "key": one.key,
        "id": one.entry.lens.id,
        "title": one.entry.title,
        "serial": one.entry.lens.serial,
        "camera": one.camera,
        "checks": one.checks,
        "signed": one.signed or None,
        "measured_since": one.stale,
        "depth_used": one.share if one.bar is not None else None,
    }


@router.get("/jobs/{job}/bench/{lens}")
def get_bench(desk: At, job: Key, lens: Key) -> Json:
    """One lens at the bench: readings and chart tests with their keys, findings, and what to measure next."""
    now = desk.job(job)
    row_id = _row(now, lens)
    bench = bench_of(now, desk.prep(now).lens(row_id), row_id)
    return {
        "stamp": desk.stamp(),
        "id": row_id,
        "stop": bench.stop,
        "marks": [
            {
                "written": row.text,
                "near_to_far": [{"id": cell.key, "position": cell.position} for cell in row.near_to_far],
                "far_to_near": [{"id": cell.key, "position": cell.position} for cell in row.far_to_near],
                "used": row.used,
            }
            for row in bench.rows
        ],
        "charts": [
            {"id": one.key, "at": one.at, "position": one.position, "stop": one.stop, "said": list(one.said)}
            for one in bench.charts
        ],
        "findings": [finding.as_json() for finding in bench.findings],
        "next": [mark.distance_m if mark.distance_m < 1e6 else None for mark in bench.advice.marks],
    }


@router.get("/jobs/{job}/onset")
def get_onset(desk: At, job: Key) -> Response:
    """The figures that the On set page computes from."""
    now, prep = desk.recent(job)

    def make() -> bytes:
        with desk.book.reading() as connection:
            builds = [build for build, _ in builds_of(connection, now.id)]
        data = {**onset_data(now, prep, builds), "stamp": desk.stamp_of(now)}
        return json.dumps(data, allow_nan=False, separators=(",", ":")).encode()

    return Response(desk.made("onset", now, make), media_type="application/json")


@router.get("/lenses")
def get_library(desk: At, q: Annotated[str, Query(max_length=200)] = "") -> Json:
    """Lenses of the library that have every word of ``q``, typing slips forgiven; nothing typed finds nothing."""
    found = find_lenses(desk.book, q)
    lenses = [
        {"key": one.lens.id.hex(), "title": one.lens.title, "serial": one.lens.serial, "shelves": list(one.shelves),
         "needs_work": one.lens.needs_work}
        for one in found.lenses
    ]  # fmt: skip
    return {"lenses": lenses, "more": found.more}


@router.get("/lenses/{lens}")
def get_lens(desk: At, lens: Key) -> Json:
    """One lens of the library: its sessions, its newest map, its findings."""
    view = open_lens(desk.book, bytes.fromhex(lens))
    return {
        "key": view.lens.id.hex(),
        "title": view.lens.title,
        "shelves": list(view.shelves),
        "sessions": [
            {"name": one.name, "when": one.when, "measurements": len(one.measurements)} for one in view.sessions
        ],
        "map": view.map,
        "findings": [finding_json(finding) for finding in view.findings],
    }


def finding_json(finding: Finding) -> Json:
    """A finding as all commands print it."""
    return finding.as_json()


# --- writing -----------------------------------------------------------------------------------------------------


@router.post("/jobs")
def post_job(acts: Act, who: Who, sent: asked.NewJob) -> Json:
    """Make a job without lenses."""
    return {"key": acts.new_job(who.who, sent.name.strip(), sent.units, sent.shooting_stop or None)}


@router.post("/demo")
def post_demo(acts: Act, who: Who) -> Json:
    """Take the demo job into the book."""
    return {"key": acts.demo(who.who)}


@router.post("/jobs/{job}/facts")
def post_facts(desk: At, acts: Act, who: Who, job: Key, sent: asked.JobFacts) -> Json:
    """Change what a job is shown in and shot at."""
    now = desk.job(job)
    refuse_newer(now, sent)
    changed = checked(now.job.model_copy(update={"units": sent.units, "shooting_stop": sent.shooting_stop or None}))
    acts.change_job(who.who, now, _with_rows(now, changed.units, changed.shooting_stop))
    return {"stamp": desk.stamp()}


def _with_rows(now: JobNow, units: str, stop: str | None) -> Any:  # noqa: ANN401 - a Job
    return now.job.model_copy(update={"units": units, "shooting_stop": stop})


@router.post("/jobs/{job}/lenses")
def post_lens(desk: At, acts: Act, who: Who, job: Key, sent: asked.NewLens) -> Json:
    """Add a lens to the kit of a job."""
    now = desk.job(job)
    given = sent.model_dump()
    lens = lens_of(given.pop("id").strip(), **given)
    _known_cameras(now, lens)
    acts.add_lens(who.who, now, lens)
    return {"lens": desk.job(job).lens_key(lens.id), "stamp": desk.stamp()}


def _known_cameras(now: JobNow, lens: Lens) -> None:
    known = {camera.letter for camera in now.job.cameras}
    unknown = [letter for letter in (lens.camera or "").split() if letter not in known]
    if unknown:
        reader = Reader()
        reader.refuse("camera", " ".join(unknown), f"a camera of the job: {' '.join(sorted(known)) or 'there is none'}")
        reader.done()


@router.post("/jobs/{job}/from-shelf")
def post_from_shelf(desk: At, acts: Act, who: Who, job: Key, sent: asked.FromShelf) -> Json:
    """Add a lens of the library to the kit of a job."""
    now = desk.job(job)
    with desk.book.reading() as connection:
        found = lenses_of(connection, [bytes.fromhex(sent.lens)]).get(bytes.fromhex(sent.lens))
    if found is None:
        raise NotThere("There is no such lens in this book.")
    lens = as_lens(found, sent.id.strip(), sent.unit)
    acts.add_lens(who.who, now, lens)
    return {"lens": desk.job(job).lens_key(lens.id), "stamp": desk.stamp()}


@router.post("/jobs/{job}/cameras")
def post_camera(desk: At, acts: Act, who: Who, job: Key, sent: asked.NewCamera) -> Json:
    """Add a camera to a job, or change what is said of it."""
    now = desk.job(job)
    there = next((one for one in now.job.cameras if one.letter == sent.letter), None)
    acts.add_camera(who.who, now, camera_of(sent.model_dump(), there))
    return {"stamp": desk.stamp()}


@router.post("/jobs/{job}/motors")
def post_motor(desk: At, acts: Act, who: Who, job: Key, sent: asked.NewMotor) -> Json:
    """Add a motor to a job, or change what is said of it; named positions go into a build of its camera."""
    now, reader = desk.job(job), Reader()
    lag = reader.take("lag", sent.lag_ms, parse_number, "a number of milliseconds")
    places = _places(reader, sent.positions or "")
    reader.done()
    there = next((one for one in now.job.motors if one.id == sent.id.strip()), None)
    motor = motor_of(sent.model_dump() | {"id": sent.id.strip()}, lag, there)
    if places and (motor.axis != "extra" or not motor.camera):
        reader.refuse("positions", sent.positions or "", "an extra motor on a camera; others have a lens map")
    reader.done()
    acts.add_motor(who.who, now, motor, places)
    return {"stamp": desk.stamp()}


def _places(reader: Reader, text: str) -> dict[str, float]:
    places: dict[str, float] = {}
    for part in filter(str.strip, text.split(",")):
        name, _, number = part.partition("=")
        value = reader.need("positions", number.replace("%", ""), parse_number, "name = per cent of travel")
        if value is not None and name.strip() and 0 <= value <= 100:
            places[name.strip()[:80]] = value
        else:
            reader.refuse("positions", part, "name = per cent of travel, 0 to 100")
    return places


@router.post("/jobs/{job}/bench/{lens}/readings")
def post_reading(desk: At, acts: Act, who: Who, job: Key, lens: Key, sent: asked.NewReading) -> Json:
    """Add one reading of the focus ring."""
    now = desk.job_to_add_to(job, lens)
    row_id = _row(now, lens)
    typed = TypedReading(sent.distance, sent.position, sent.approach, sent.taped, sent.temperature, sent.unit)
    record = reading_of(typed, now.lens(row_id), now.job.units)
    return {"added": acts.add(who.who, now, row_id, [record], sent.sent), "stamp": desk.stamp()}


@router.post("/jobs/{job}/bench/{lens}/column")
def post_column(desk: At, acts: Act, who: Who, job: Key, lens: Key, sent: asked.NewColumn) -> Json:
    """Add a column pasted from a sheet: all of it or nothing."""
    now = desk.job_to_add_to(job, lens)
    row_id = _row(now, lens)
    records = pasted(sent.text, now.lens(row_id), now.job.units, approach=sent.approach, unit=sent.unit)
    return {"added": acts.add(who.who, now, row_id, records, sent.sent), "stamp": desk.stamp()}


@router.post("/jobs/{job}/bench/{lens}/charts")
def post_chart(desk: At, acts: Act, who: Who, job: Key, lens: Key, sent: asked.NewChart) -> Json:
    """Add a chart test."""
    now = desk.job(job)  # as it is this moment: a camera or glass it names may just have been added
    row_id = _row(now, lens)
    record = chart_of(now.lens(row_id), now.job, **sent.model_dump(exclude={"sent"}))
    return {"added": acts.add(who.who, now, row_id, [record], sent.sent), "stamp": desk.stamp()}


@router.post("/jobs/{job}/bench/{lens}/correct")
def post_correction(desk: At, acts: Act, who: Who, job: Key, lens: Key, sent: asked.Correction) -> Json:
    """Put a reading right, or withdraw it; the old one stays in the history."""
    now = desk.job(job)
    row_id = _row(now, lens)
    record = None
    if sent.distance is not None or sent.position is not None:
        old = next((one for listed in now.rows.values() for one in listed if one.id.hex() == sent.id), None)
        if old is None or old.kind != "reading" or old.row_id != row_id:
            raise NotThere("There is no such reading, or it was put right already: look again.")
        record = _put_right(old, sent, now, row_id)
    new = acts.correct(who.who, now, row_id, sent.id, record, sent.reason or "mistyped")
    return {"added": [new] if new else [], "stamp": desk.stamp()}


def _put_right(old: Any, sent: asked.Correction, now: JobNow, row_id: str) -> Any:  # noqa: ANN401 - records
    from tapehook.job import Reading
    from tapehook.notation import format_position, write_distance

    was = old.record()
    assert isinstance(was, Reading)  # noqa: S101 - the caller has looked at its kind
    lens = now.lens(row_id)
    distance = sent.distance or was.written or write_distance(was.value)
    position = sent.position or format_position(was.position, lens.unit, step=1e-9)
    typed = TypedReading(distance, position, was.approach, was.method == "taped")
    new = reading_of(typed, lens, now.job.units)
    kept: dict[str, object] = {"position": was.position} if sent.position is None else {}
    kept |= {"value": was.value, "written": was.written} if sent.distance is None else {}
    kept |= {name: getattr(was, name) for name in ("mark_no", "temperature_c", "extra") if getattr(was, name)}
    return new.model_copy(update=kept)


@router.post("/jobs/{job}/bench/{lens}/undo")
def post_undo(desk: At, acts: Act, who: Who, job: Key, lens: Key) -> Json:
    """Take back the last thing done to the readings of a lens, by a correction."""
    now = desk.job(job)
    return {"said": acts.undo(who.who, now, _row(now, lens)), "stamp": desk.stamp()}


@router.post("/jobs/{job}/sign")
def post_sign(desk: At, acts: Act, who: Who, job: Key, sent: asked.SignOff) -> Json:
    """Sign a check off, with name and time."""
    now = desk.job(job)
    row_id = _row(now, sent.lens) if sent.lens else None
    acts.sign((sent.who or "").strip() or who.who, now, sent.check, row_id, sent.camera, sent.note or "")
    return {"stamp": desk.stamp()}


@router.post("/jobs/{job}/swap")
def post_swap(desk: At, acts: Act, who: Who, job: Key, sent: asked.Swap) -> Json:
    """Put a lens on a camera."""
    now = desk.job(job)
    known = {camera.letter for camera in now.job.cameras} or {"A"}
    if sent.camera not in known:
        raise NotThere(f"There is no camera {sent.camera} in this job.")
    acts.swap(who.who, now, sent.camera, _row(now, sent.lens) if sent.lens else None)
    return {"stamp": desk.stamp()}


@router.post("/jobs/{job}/copy-builds")
def post_copy_builds(desk: At, acts: Act, who: Who, job: Key, sent: asked.CopyFrom) -> Json:
    """Copy the camera builds of another job."""
    return {"copied": acts.copy_builds(who.who, desk.job(job), desk.job(sent.job)), "stamp": desk.stamp()}


@router.post("/shelves")
def post_shelf(acts: Act, who: Who, sent: asked.NewShelf) -> Json:
    """Make a shelf."""
    return {"key": acts.new_shelf(who.who, sent.name, sent.parent)}


@router.post("/jobs/{job}/start")
def post_start(desk: At, acts: Act, who: Who, job: Key, sent: asked.Start) -> Json:
    """Let the next change of lens of a camera start at a shelf."""
    acts.start_at(who.who, desk.job(job), sent.camera, sent.shelf)
    return {"stamp": desk.stamp()}


@router.post("/lenses/{lens}/shelf")
def post_on_shelf(desk: At, acts: Act, who: Who, lens: Key, sent: asked.OnShelf) -> Json:
    """Put a lens on a shelf."""
    acts.shelve(who.who, lens, sent.shelf, pinned=sent.pinned)
    return {"stamp": desk.stamp()}


@router.post("/lenses/{lens}/work")
def post_work(desk: At, acts: Act, who: Who, lens: Key, sent: asked.Work) -> Json:
    """Mark a lens as in need of work, or as done."""
    acts.needs_work(who.who, lens, needs_work=sent.needs_work, why=sent.why or "")
    return {"stamp": desk.stamp()}


@router.post("/lenses/{lens}/serial")
def post_serial(acts: Act, who: Who, lens: Key, sent: asked.Serial) -> Json:
    """Give a lens whose serial was not read its serial."""
    return {"key": acts.serial_read(who.who, lens, sent.serial)}


# --- letting in --------------------------------------------------------------------------------------------------


@router.post("/pair")
def post_pair(request: Request, sessions: All, sent: asked.Pair) -> Response:
    """Let a device in that knows the code."""
    address = request.client.host if request.client else ""
    who = (sent.who or "").strip() or "a device on set"
    try:
        session = sessions.let_in("".join(sent.code.split()), who, address)
    except TooManyTries as trouble:
        said = f"Too many codes were tried. Wait {trouble.wait_s:.0f} s."
        return JSONResponse(problem(said), 429, headers={"retry-after": f"{trouble.wait_s + 1:.0f}"})
    if session is None:
        return JSONResponse(problem("This code does not hold. Ask for a new one at the laptop."), 403)
    cookie = set_cookie(sessions, session, secure=request.url.scheme == "https")
    return JSONResponse({"right": session.right}, headers={"set-cookie": cookie})


def _only_laptop(session: Session) -> Response | None:
    if session.may("laptop"):
        return None
    return JSONResponse(problem("Only the laptop itself lets devices in."), 403)


@router.post("/let-in")
def post_let_in(sessions: All, session: Who, sent: asked.LetIn) -> Response:
    """Show a code that lets one device in."""
    code = sessions.new_code(sent.right) if session.may("laptop") else None
    return _only_laptop(session) or JSONResponse({"code": code.digits if code else None, "right": sent.right})


@router.post("/let-in/stop")
def post_let_in_stop(sessions: All, session: Who) -> Response:
    """Withdraw the code that is shown."""
    if session.may("laptop"):
        sessions.withdraw_code()
    return _only_laptop(session) or JSONResponse({})


@router.delete("/devices/{device}")
def delete_device(
    sessions: All, session: Who, device: Annotated[str, Path(max_length=64, pattern="^[0-9a-f]+$")]
) -> Response:
    """End the session of a device."""
    if session.may("laptop"):
        sessions.revoke(device)
    return _only_laptop(session) or JSONResponse({})
