"""A lens is swapped: the page that lists what it spoils and takes two marks, and the same as JSON. Nothing is kept."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from tapehook.job import Lens, Reading
from tapehook.job.shot_lenses import shots_naming
from tapehook.notation import NotationError, parse_position
from tapehook.pages.asked import SwapAsked
from tapehook.pages.at_hand import At, Key
from tapehook.pages.desk import JobNow, NotThere
from tapehook.pages.routes import page
from tapehook.pages.shots import texts_of
from tapehook.prep.swap import Swap, WantedMark, newcomer, swap_as_json, swap_lens, wanted_marks

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[SwapAsked, Query()]
UNNAMED = "the lens that comes"


def _goes(now: JobNow, key: str) -> str:
    row_id = now.row_of(key)
    if row_id is None:
        raise NotThere("There is no such lens in this job.")
    return row_id


def _comes(now: JobNow, goes: str, asked: SwapAsked) -> Lens:
    """The lens that comes: one of the job by its label, else a copy of the one that goes, by its serial."""
    wanted = "".join(sign for sign in asked.comes if sign.isprintable()).strip()[:80]
    known = {lens.id: lens for lens in now.job.lenses if lens.id != goes}
    return known.get(wanted) or newcomer(now.lens(goes), wanted if wanted and wanted != goes else UNNAMED)


def _marks(lens: Lens, wanted: tuple[WantedMark, ...], asked: SwapAsked, wrong: list[str]) -> list[Reading]:
    """The two marks as far as they were typed; what cannot be read goes into ``wrong``."""
    found = []
    for mark, text in zip(wanted, (asked.far, asked.near), strict=False):
        if not text.strip():
            continue
        try:
            position = parse_position(text, lens.unit)
            found.append(Reading(lens_id=lens.id, value=mark.distance_m, position=position))
        except NotationError as trouble:
            wrong.append(f"{mark.text}: {trouble}")
        except ValueError:
            wrong.append(f"{mark.text}: a position a read-out can show")
    return found


def _swap(desk: At, now: JobNow, key: str, asked: SwapAsked, wrong: list[str]) -> Swap:
    goes = _goes(now, key)
    wanted, _ = wanted_marks(desk.prep(now).lens(goes))
    comes = _comes(now, goes, asked)
    shots = {name: text.encode("utf-8", "replace") for name, text in texts_of(now).items()}
    signed = [
        f"sign-off of {goes} ({one.data['check']})" for one in now.signed if one.now.lens_id == now.lens_ids[goes]
    ]
    marks = _marks(comes, wanted, asked, wrong)
    return swap_lens(now.job, goes, comes, marks, pulls=shots_naming(shots, goes), signed=signed)


@router.get("/job/{job}/swap/{lens}")
def get_swap(request: Request, desk: At, job: Key, lens: Key, asked: Asked) -> Response:
    """A lens is swapped in mid-job: what that spoils, and the two marks that settle it."""
    now, wrong = desk.job(job), list[str]()
    swap = _swap(desk, now, lens, asked, wrong)
    return page(
        request, "swap.html", here="bench", now=now, topics=now.key, key=lens, swap=swap, asked=asked, wrong=wrong
    )


@api_router.get("/jobs/{job}/swap/{lens}")
def get_swap_json(desk: At, job: Key, lens: Key, asked: Asked) -> dict[str, Any]:
    """The same, in the shape of ``tapehook swap --json``; a position that cannot be read counts as none."""
    return swap_as_json(_swap(desk, desk.job(job), lens, asked, []))
