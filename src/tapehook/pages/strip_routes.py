"""Routes of the Strips page: the page, its part that follows the fields, the PDF, and the same figures as JSON."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response

from tapehook.handover.typesetting import Paper
from tapehook.pages.asked import StripsAsked
from tapehook.pages.at_hand import At, Key
from tapehook.pages.desk import JobNow
from tapehook.pages.routes import page, parts
from tapehook.pages.strips import StripSheet, pictures_of, sheet_as_json, sheet_pdf, strips_of
from tapehook.pages.typed import Misread
from tapehook.prep import Prep

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[StripsAsked, Query()]


def _paper(asked: StripsAsked, now: JobNow) -> Paper:
    return "a4" if (asked.paper or now.job.paper) == "a4" else "us-letter"


def _query(asked: StripsAsked) -> str:
    """The fields as they stand in an address, nothing for those left empty."""
    given = asked.model_dump(exclude_defaults=True)
    return urlencode([(name, one) for name, value in given.items() for one in _each(value)])


def _each(value: Any) -> list[str]:  # noqa: ANN401 - a field
    return [str(one) for one in value] if isinstance(value, list | tuple) else [str(value)]


def _first_with_map(now: JobNow, prep: Prep) -> tuple[str, ...]:
    """The lens shown before any was chosen."""
    found = next((one.lens.id for one in prep.lenses if one.focus_map is not None and one.focus_map.monotone), None)
    return () if found is None else (now.lens_key(found),)


def _shown(now: JobNow, prep: Prep, asked: StripsAsked) -> dict[str, Any]:
    """What the part shows: strips, why others are not there, or what cannot be read of the fields."""
    sheet, wrong = StripSheet((), ()), list[str]()
    try:
        sheet = strips_of(now, prep, asked)
    except Misread as trouble:
        wrong = [one.sentence() for one in trouble.problems]
    paper = _paper(asked, now)
    return {
        "now": now,
        "asked": asked,
        "wrong": wrong,
        "chosen": bool(asked.lens),
        "strips": [(one, pictures_of(one, paper)) for one in sheet.strips],
        "refused": sheet.refused,
        "pdf": f"/job/{now.key}/strips.pdf?{_query(asked)}" if sheet.printed else "",
    }


@router.get("/job/{job}/strips")
def get_strips(request: Request, desk: At, job: Key, asked: Asked) -> Response:
    """Strips: choose lenses and rings, see the strips, print them."""
    now = desk.job(job)
    prep = desk.prep(now)
    if not request.url.query:
        asked = asked.model_copy(update={"lens": _first_with_map(now, prep)})
    lenses = [
        (now.lens_key(entry.lens.id), entry.lens.id, entry.title, entry.lens.ring_diameter_mm) for entry in prep.lenses
    ]
    shown = _shown(now, prep, asked)
    return page(request, "strips.html", here="strips", topics=now.key, lenses=lenses, **shown)


@router.get("/part/strips/{job}")
def part_strips(desk: At, job: Key, asked: Asked) -> JSONResponse:
    """The strips anew, for other fields."""
    now = desk.job(job)
    shown = _shown(now, desk.prep(now), asked)
    return JSONResponse(parts("strips.html", ("strips",), desk.stamp_of(now), **shown))


@router.get("/job/{job}/strips.pdf")
def get_strips_pdf(desk: At, job: Key, asked: Asked) -> Response:
    """The strips as a PDF at 1:1, to be printed unscaled."""
    now = desk.job(job)
    sheet = strips_of(now, desk.prep(now), asked)
    data = sheet_pdf(now.job.title or now.name, sheet.printed, _paper(asked, now))
    headers = {"content-disposition": 'inline; filename="strips.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


@api_router.get("/jobs/{job}/strips")
def get_strips_json(desk: At, job: Key, asked: Asked) -> dict[str, Any]:
    """Strips as ``tapehook strip --json`` prints them, without a file, and why others cannot be made."""
    now = desk.job(job)
    return sheet_as_json(strips_of(now, desk.prep(now), asked))
