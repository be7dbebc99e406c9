"""Routes of the page Radio: the page, its part that follows the fields, the PDF, and the same figures as JSON."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response

from tapehook.handover.radio_sheets import render_radio_sheets
from tapehook.pages.asked import RadioAsked
from tapehook.pages.at_hand import At, Key
from tapehook.pages.desk import JobNow, NotThere
from tapehook.pages.radio import RadioSheet, sheet_of, shown
from tapehook.pages.routes import page, parts
from tapehook.prep.radio_as_json import radio_as_json

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[RadioAsked, Query()]


def _query(asked: RadioAsked) -> str:
    """The fields as they stand in an address; lists whole, as their order says whose they are."""
    given = asked.model_dump(exclude_defaults=True)
    return urlencode([(name, one) for name, value in given.items() for one in _each(value)])


def _each(value: Any) -> list[str]:  # noqa: ANN401 - a field
    return [str(one) for one in value] if isinstance(value, list | tuple) else [str(value)]


def _all(now: JobNow, sheet: RadioSheet, asked: RadioAsked) -> dict[str, Any]:
    query = _query(asked)
    return {
        **shown(sheet, asked),
        "now": now,
        "pdf": f"/job/{now.key}/radio.pdf?{query}" if sheet.prep else "",
        "json": f"/api/jobs/{now.key}/radio?{query}" if sheet.prep else "",
    }


@router.get("/job/{job}/radio")
def get_radio(request: Request, desk: At, job: Key, asked: Asked) -> Response:
    """Radio: the plan, who sends where, the lot; drag, replan, and try what if."""
    now = desk.job(job)
    sheet = sheet_of(now.job, asked)
    return page(request, "radio.html", here="radio", topics=now.key, places=sheet.places, **_all(now, sheet, asked))


@router.get("/part/radio/{job}")
def part_radio(desk: At, job: Key, asked: Asked) -> JSONResponse:
    """The plan anew, for other fields."""
    now = desk.job(job)
    sheet = sheet_of(now.job, asked)
    return JSONResponse(parts("radio.html", ("radio",), desk.stamp_of(now), **_all(now, sheet, asked)))


@router.get("/job/{job}/radio.pdf")
def get_radio_pdf(desk: At, job: Key, asked: Asked) -> Response:
    """The plan and a walk-test sheet for each camera."""
    sheet = sheet_of(desk.job(job).job, asked)
    if sheet.prep is None:
        raise NotThere(" ".join(sheet.wrong) or "There is no radio plan.")
    headers = {"content-disposition": 'inline; filename="radio.pdf"'}
    return Response(render_radio_sheets(sheet.prep), media_type="application/pdf", headers=headers)


@api_router.get("/jobs/{job}/radio")
def get_radio_json(desk: At, job: Key, asked: Asked) -> dict[str, Any]:
    """The plan as ``tapehook radio --json`` prints it; only ``problems`` where there is none."""
    sheet = sheet_of(desk.job(job).job, asked)
    return {"problems": list(sheet.wrong)} if sheet.prep is None else radio_as_json(sheet.prep)
