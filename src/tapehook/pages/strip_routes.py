"""Routes of the Strips page and of the full handover that holds them.

The page, its part that follows the fields, the PDF, the same figures as JSON; the pack as a PDF and its tables.
"""

import math
from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response

from tapehook.book.signing import signed_off
from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.pack_tables import pack_tables
from tapehook.handover.typesetting import Paper
from tapehook.handover.workbook import workbook
from tapehook.job.photo_files import missing_photos
from tapehook.pages.asked import RadioAsked, StripsAsked
from tapehook.pages.at_hand import At, Key
from tapehook.pages.desk import Desk, JobNow
from tapehook.pages.letting_in import address_of, own_addresses
from tapehook.pages.photo_routes import photos_of
from tapehook.pages.radio import planned_channels
from tapehook.pages.routes import page, parts
from tapehook.pages.strips import StripSheet, pictures_of, read_fields, sheet_as_json, sheet_pdf, strips_of
from tapehook.pages.typed import Misread
from tapehook.prep import Prep

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[StripsAsked, Query()]
MOST_DRAWN = 24
"""Strips drawn on the page, which phones have to show too; the PDF holds all."""
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


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
        "strips": [(one, pictures_of(one, paper)) for one in sheet.strips[:MOST_DRAWN]],
        "more": [one.printed.title for one in sheet.strips[MOST_DRAWN:] if one.sized],
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


def _pack_wish(request: Request, now: JobNow, desk: Desk, asked: StripsAsked) -> PackWish:
    """The pack asked for. The QR code leads to the pocket page by an address that a phone on set can reach."""
    fields = read_fields(asked)
    around, url = fields.circumference_mm, None
    addresses = own_addresses() if request.app.state.let_in else []
    if addresses:
        port = request.app.state.port or request.url.port or 80
        base = address_of(request.url.scheme, addresses[0], port).removesuffix("/pair")
        url = f"{base}/job/{now.key}/file/pocket.html?view=true"
    return PackWish(
        _paper(asked, now),
        None if around is None else around / math.pi,
        asked.far_end == "left",
        asked.units or None,
        url,
        signed_off(desk.book, now.name),
        channels=_channels(now, asked),
    )


def _channels(now: JobNow, asked: StripsAsked) -> dict[str, tuple[str, int]]:
    """The radio plan that is handed over with the rest; empty for none."""
    if not asked.radio:
        return {}
    return planned_channels(now.job, RadioAsked(mode="judge" if asked.radio == "set" else "plan", ch=asked.ch))


@router.get("/job/{job}/pack.pdf")
def get_pack(request: Request, desk: At, job: Key, asked: Asked) -> Response:
    """The full handover: for everyone who takes over, strips and all."""
    now = desk.job(job)
    wish, prep = _pack_wish(request, now, desk, asked), desk.prep(now)
    photos, folder = photos_of(request).for_pack(now.job.title or now.name, prep.job)
    missing = () if folder is None else tuple(missing_photos(prep.job, folder))
    wish = replace(wish, photos=photos, missing_photos=missing)
    data = render_pack(prep, wish, pack_strips(prep, wish))
    headers = {"content-disposition": 'inline; filename="handover.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


@router.get("/job/{job}/tables.xlsx")
def get_tables(request: Request, desk: At, job: Key, asked: Asked) -> Response:
    """Every table of the full handover, in one workbook."""
    now = desk.job(job)
    wish, prep = _pack_wish(request, now, desk, asked), desk.prep(now)
    data = workbook(pack_tables(prep, pack_strips(prep, wish).made))
    headers = {"content-disposition": 'attachment; filename="tables.xlsx"'}
    return Response(data, media_type=_XLSX, headers=headers)


@api_router.get("/jobs/{job}/strips")
def get_strips_json(desk: At, job: Key, asked: Asked) -> dict[str, Any]:
    """Strips as ``tapehook strip --json`` prints them, without a file, and why others cannot be made."""
    now = desk.job(job)
    return sheet_as_json(strips_of(now, desk.prep(now), asked))
