"""The pages themselves: each gathers what it shows and hands it to its template. Nothing here works anything out."""

import json
import re
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from pydantic import Field

from tapehook.book.history import lens_history
from tapehook.book.jobs import builds_of
from tapehook.book.lenses import lenses_of
from tapehook.book.search import find_lenses
from tapehook.book.shelves import camera_shelf, on_shelf, shelves
from tapehook.book.signing import signed_off
from tapehook.finding import SIGN
from tapehook.job import Lens
from tapehook.pages import explain, letting_in
from tapehook.pages.at_hand import All, At, Key, Who
from tapehook.pages.bench import bench_of
from tapehook.pages.desk import Desk, JobNow, NotThere
from tapehook.pages.onset import onset_data
from tapehook.pages.overview import COLUMNS, SIGNS, WORDS, place_of, standings, to_act_on, twins_told
from tapehook.pages.sessions import Session, Sessions
from tapehook.pages.words import count_of, local_time, percent
from tapehook.prep import Prep
from tapehook.prep.basis import lens_title

router = APIRouter(include_in_schema=False)
PAGES = (
    ("prep", "Prep"),
    ("bench", "Bench"),
    ("onset", "On set"),
    ("shots", "Shots"),
    ("light", "Light"),
    ("weather", "Weather"),
    ("radio", "Radio"),
    ("strips", "Strips"),
    ("lenses", "Lenses"),
    ("kit", "Kit"),
    ("handover", "Handover"),
)
JOB_COOKIE = "tapehook-job"


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("tapehook.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {
        "sign": SIGN,
        "check_sign": SIGNS,
        "check_word": WORDS,
        "percent": percent,
        "count_of": count_of,
        "local_time": local_time,
        "topic_of": explain.topic_of,
        "pages": PAGES,
    }
    made.filters["visible"] = visible
    made.filters["svg"] = Markup
    macros = made.get_template("macros.html").module
    made.globals |= {name: getattr(macros, name) for name in ("severity", "help", "finding")}
    return made


def visible(text: object) -> str:
    """Text with what does not show, or turns the direction of reading, taken out; escaping comes after."""
    return "".join(sign if sign.isprintable() else " " for sign in str(text))


ENVIRONMENT = _environment()


def page(request: Request, template: str, status: int = 200, **shown: Any) -> HTMLResponse:  # noqa: ANN401
    """A page from its template, with what every page shows."""
    session: Session = request.scope["session"]
    sessions: Sessions = request.scope["sessions"]
    desk: Desk = request.app.state.desk
    common: dict[str, Any] = {
        "here": "",
        "now": None,
        "stamp": desk.stamp(),
        "topics": "book",
        "parts_url": "",
        "read_only": desk.book.read_only,
    }
    common |= {"session": session, "token": sessions.token_of(session), "let_in": request.app.state.let_in}
    text = ENVIRONMENT.get_template(template).render(**common | shown)
    answer = HTMLResponse(text, status)
    now = shown.get("now")
    if now is not None and request.cookies.get(JOB_COOKIE) != now.key:
        answer.set_cookie(JOB_COOKIE, now.key, httponly=True, samesite="strict")
    return answer


def parts(template: str, names: tuple[str, ...], stamp: str, **shown: Any) -> dict[str, Any]:  # noqa: ANN401
    """Named blocks of a template, for a page that shows them anew; ``stamp`` is from before they were read."""
    loaded = ENVIRONMENT.get_template(template)
    context = loaded.new_context({"part": True, **shown})
    return {"stamp": stamp, "parts": {name: "".join(loaded.blocks[f"part_{name}"](context)) for name in names}}


def trouble_page(request: Request, status: int, sentences: list[str]) -> Response:
    """What went wrong, as a page."""
    return page(request, "trouble.html", status, sentences=sentences)


def _current(request: Request, desk: Desk) -> str | None:
    """The job looked at last on this device, else the one written to last; None in an empty book."""
    heads = desk.heads()
    kept = request.cookies.get(JOB_COOKIE, "")
    if any(head.key == kept for head in heads):
        return kept
    return heads[0].key if heads else None


def _now(request: Request, desk: Desk) -> JobNow | None:
    current = _current(request, desk)
    return desk.job(current) if current else None


# --- the way in --------------------------------------------------------------------------------------------------


@router.get("/")
def get_root(request: Request, desk: At) -> Response:
    """The landing page: what is left to do on the job at hand; in an empty book, how to begin."""
    current = _current(request, desk)
    if current is None:
        return page(request, "welcome.html")
    return RedirectResponse(f"/job/{current}/prep", 303)


@router.get("/jobs")
def get_jobs(request: Request, desk: At) -> Response:
    """All jobs of the book, and a form for a new one."""
    return page(request, "jobs.html", now=_now(request, desk), heads=desk.heads())


@router.get("/pair")
def get_pair(request: Request) -> Response:
    """Where a device is let in by its code. It says nothing of the book."""
    return HTMLResponse(ENVIRONMENT.get_template("pair.html").render(paired=request.scope["session"] is not None))


@router.get("/let-in")
def get_let_in(request: Request, desk: At, sessions: All, session: Who) -> Response:
    """On the laptop: the code for the next device, and the devices that are in."""
    if not session.may("laptop"):
        raise NotThere("Only the laptop itself lets devices in.")
    shown = letting_in.shown(request, sessions)
    return page(request, "let_in.html", here="let-in", now=_now(request, desk), **shown)


# --- a job -------------------------------------------------------------------------------------------------------


@router.get("/job/{job}/prep")
def get_prep(request: Request, desk: At, job: Key) -> Response:
    """Prep: what is left to do."""
    now = desk.job(job)
    return page(request, "prep.html", **_prep_shown(now, desk.prep(now)), parts_url=f"/part/prep/{job}")


def _dumped(data: object) -> bytes:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")


def _prep_shown(now: JobNow, prep: Prep) -> dict[str, Any]:
    listed = standings(now, prep)
    return {
        "here": "prep",
        "now": now,
        "topics": now.key,
        "prep": prep,
        "standings": listed,
        "columns": COLUMNS,
        "findings": to_act_on(prep),
        "place_of": place_of,
        "signed": sum(bool(one.signed) and not one.stale for one in listed),
        "conflict": now.thing.in_conflict,
    }


@router.get("/part/prep/{job}")
def part_prep(desk: At, job: Key, session: Who) -> Response:
    """The list of Prep, anew."""
    now, prep = desk.recent(job)

    def make() -> bytes:
        shown = _prep_shown(now, prep)
        return _dumped(parts("prep.html", ("list", "findings", "head"), desk.stamp_of(now), session=session, **shown))

    return Response(desk.made(f"prep {session.right}", now, make), media_type="application/json")


@router.get("/job/{job}/bench")
def get_bench_first(desk: At, job: Key) -> Response:
    """The bench at the lens that needs somebody most."""
    now = desk.job(job)
    listed = standings(now, desk.prep(now))
    if not listed:
        return RedirectResponse(f"/job/{job}/kit", 303)
    return RedirectResponse(f"/job/{job}/bench/{listed[0].key}", 303)


@router.get("/job/{job}/bench/{lens}")
def get_bench(
    request: Request, desk: At, job: Key, lens: Key, test: Annotated[str, Query(max_length=20)] = ""
) -> Response:
    """The bench: one lens, measured and proved; at the fields of the ``test`` that was come for, "chart" or a mark."""
    now = desk.job(job)
    shown, _ = _bench_shown(desk, now, lens)
    photos = request.app.state.photos.listed(now.job.title or now.name, shown["bench"].lens)
    return page(request, "bench.html", **shown, photos=photos, test=test, parts_url=f"/part/bench/{job}/{lens}")


def _bench_shown(
    desk: Desk, now: JobNow, key: str, pictures: tuple[str, ...] = ("wide", "narrow")
) -> tuple[dict[str, Any], bool]:
    """What the bench shows of a lens, and whether all that the other lenses say of it is in that."""
    row_id = now.row_of(key)
    if row_id is None:
        raise NotThere("There is no such lens in this job.")
    ids = [lens.id for lens in now.job.lenses]
    at = ids.index(row_id)
    signed = next(
        (one for one in now.signed if one.now.lens_id == now.lens_ids[row_id] and one.data["check"] == "lens"), None
    )
    entry, whole = desk.one_lens(now, row_id)
    shown = {
        "here": "bench",
        "now": now,
        "topics": now.key,
        "key": key,
        "bench": bench_of(now, entry, row_id, pictures),
        "camera": now.camera_of(row_id) or "",
        "before": now.lens_key(ids[at - 1]) if at else None,
        "after": now.lens_key(ids[at + 1]) if at + 1 < len(ids) else None,
        "lenses": [(now.lens_key(lens.id), _label(lens)) for lens in now.job.lenses],
        "signed": signed,
        "imperial": now.lens(row_id).engraved_in == "feet"
        or (now.lens(row_id).engraved_in is None and now.job.units == "imperial"),
    }
    return shown, whole


def _label(lens: Lens) -> str:
    """The lens in a list to choose from: its label in the job, then what it is."""
    return f"{lens.id} · {lens_title(lens)}" if not lens_title(lens).startswith(lens.id) else lens_title(lens)


def short_title(lens: Lens) -> str:
    """The lens in few words; label and serial have columns of their own."""
    return lens_title(lens).partition(" · serial")[0]


@router.get("/part/bench/{job}/{lens}")
def part_bench(
    desk: At,
    job: Key,
    lens: Key,
    session: Who,
    narrow: bool = False,  # noqa: FBT001, FBT002 - a query
) -> JSONResponse:
    """What the readings mean, anew; with the picture for a ``narrow`` page alone, or the wide one alone."""
    now = desk.job(job)
    shown, whole = _bench_shown(desk, now, lens, pictures=("narrow",) if narrow else ("wide",))
    # Where the others have not been heard yet, the stamp is an older one, and the page asks again.
    stamp = desk.stamp_of(now) if whole else f"{desk.nonce}-{now.number - 1}"
    names = ("table", "findings", "picture", "through", "sign")
    return JSONResponse(parts("bench.html", names, stamp, session=session, **shown))


@router.get("/job/{job}/onset")
def get_onset(request: Request, desk: At, job: Key) -> Response:
    """On set: one camera at arm's length."""
    now = desk.job(job)
    with desk.book.reading() as connection:
        builds = [build for build, _ in builds_of(connection, now.id)]
    data = onset_data(now, desk.prep(now), builds)
    return page(request, "onset.html", here="onset", now=now, topics=now.key, data=as_script(data))


def as_script(data: object) -> Markup:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))  # noqa: S704 - made harmless here


@router.get("/job/{job}/handover")
def get_handover(
    request: Request,
    desk: At,
    job: Key,
    ch: Annotated[list[Annotated[str, Field(max_length=20)]] | None, Query(max_length=60)] = None,
) -> Response:
    """Handover: make, preview, download; with the channels ``ch`` of the page Radio where it leads here."""
    now = desk.job(job)
    prep = desk.prep(now)
    open_fixes = [one for one in prep.findings if one.severity == "fix"]
    return page(
        request,
        "handover.html",
        here="handover",
        now=now,
        topics=now.key,
        fixes=len(open_fixes),
        channels=ch or [],
        radios=any(radio.camera for radio in now.job.radios),
        lenses=len(prep.lenses),
    )


# --- the library -------------------------------------------------------------------------------------------------


@router.get("/lenses")
def get_lenses(
    request: Request,
    desk: At,
    q: Annotated[str, Query(max_length=200)] = "",
    shelf: Annotated[str, Query(max_length=32, pattern="^([0-9a-f]{32})?$")] = "",
) -> Response:
    """Lenses: shelves, search, and every lens of the book."""
    now = _now(request, desk)
    with desk.book.reading() as connection:
        shelved = shelves(connection)
        stands = on_shelf(connection, bytes.fromhex(shelf)) if shelf else []
        items = [one for one in stands if one.item == "lens"]
        found = lenses_of(connection, [one.item_id for one in items])
        of_job = lenses_of(connection, list(now.lens_ids.values())) if now and not q and not shelf else {}
        letters = [one.letter for one in now.job.cameras] if now and shelf else []
        starts = {letter: camera_shelf(connection, now.id, letter) for letter in letters} if now else {}
    on = [(found[one.item_id], one.pinned) for one in items if one.item_id in found]
    hits = find_lenses(desk.book, q) if q.strip() else None
    chosen = shelved.get(bytes.fromhex(shelf)) if shelf else None
    ordered = sorted(shelved.values(), key=lambda one: one.path.casefold())
    return page(
        request, "lenses.html", here="lenses", now=now, topics="book", q=q, hits=hits, shelves=ordered, shelf=chosen,
        on=on, of_job=list({one.id: one for one in of_job.values()}.values()), letters=letters,
        starting=[letter for letter, one in starts.items() if one is not None and one.data["shelf"] == shelf],
    )  # fmt: skip


@router.get("/lens/{lens}")
def get_lens(request: Request, desk: At, lens: Key) -> Response:
    """One lens of the library: its history."""
    now = _now(request, desk)
    history = lens_history(desk.book, bytes.fromhex(lens))
    with desk.book.reading() as connection:
        shelved = sorted(shelves(connection).values(), key=lambda one: one.path.casefold())
        from tapehook.book.shelves import where_shelved

        stands = where_shelved(connection, "lens", history.lens.id)
    in_job = None
    if now is not None:
        in_job = next((row for row, one in now.lens_ids.items() if one in history.lens.ids), None)
    twins = twins_told(desk.recent(now.key)[1], in_job) if now and in_job else []
    return page(
        request, "lens.html", here="lenses", now=now, topics="book", history=history, lens=history.lens,
        picture=history.picture(620.0, 260.0), shelves=shelved, stands=stands, in_job=in_job,
        twins=[(lens_id, now.lens_ids[lens_id].hex(), found) for lens_id, found in twins] if now else [],
    )  # fmt: skip


# --- help --------------------------------------------------------------------------------------------------------


@router.get("/help")
def get_help(request: Request, desk: At) -> Response:
    """Help: what each page is for, what each kind of finding means, the keys, the tour."""
    now = _now(request, desk)
    return page(request, "help.html", here="help", now=now, topics="book", topics_of_help=explain.TOPICS)


@router.get("/part/help/{topic}")
def part_help(topic: Annotated[str, Path(max_length=40, pattern="^[a-z_]+$")]) -> JSONResponse:
    """One explanation."""
    found = explain.TOPICS.get(topic)
    if found is None:
        raise NotThere("There is no explanation of that name.")
    return JSONResponse({"title": found.title, "sentences": list(found.sentences)})


# --- downloads ---------------------------------------------------------------------------------------------------

_KINDS = {
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
}
_META_POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]*)"')


@router.get("/job/{job}/file/{name}")
def get_file(
    desk: At,
    job: Key,
    name: Annotated[str, Path(max_length=60, pattern=r"^[a-z][a-z0-9_.-]*$")],
    view: bool = False,  # noqa: FBT001, FBT002 - a query
    paper: Annotated[str | None, Query(pattern="^(a4|us-letter)$")] = None,
) -> Response:
    """One file of the handover, to look at or to keep."""
    from tapehook.handover.files import render_handover_file

    now = desk.job(job)
    data = render_handover_file(desk.prep(now), name, paper, signed_off(desk.book, now.name))
    if data is None:
        raise NotThere("The handover has no file of that name.")
    headers = {"content-disposition": f'{"inline" if view else "attachment"}; filename="{name}"'}
    if name.endswith(".html"):
        own = _META_POLICY.search(data.decode())
        # The page brings its own policy; sandboxed besides, it can neither read nor write anything of ours.
        rules = own.group(1).replace("&#39;", "'") if own else "default-src 'none'"
        headers["content-security-policy"] = f"{rules}; sandbox allow-scripts; frame-ancestors 'none'"
    return Response(data, media_type=_KINDS[name.rpartition(".")[2]], headers=headers)


@router.get("/job/{job}/files")
def get_files(desk: At, job: Key) -> JSONResponse:
    """The names and sizes of the files of the handover, made anew: what the page waits for."""
    from tapehook.handover.files import render_handover

    made = render_handover(desk.prep(desk.job(job)))
    return JSONResponse({"files": [{"name": name, "bytes": len(data)} for name, data in made.items()]})


@router.get("/favicon.ico")
def get_icon() -> Response:
    """No picture in the tab."""
    return Response(status_code=204)
