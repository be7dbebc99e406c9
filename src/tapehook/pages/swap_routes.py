"""A lens is swapped: the page that lists what it spoils and takes two marks, and the same as JSON. Nothing is kept."""

import re
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from tapehook.job import Approach, Lens, Reading
from tapehook.job.problems import shown
from tapehook.job.shot_lenses import shots_naming
from tapehook.notation import NotationError, parse_distance, parse_position
from tapehook.pages.asked import SwapAsked
from tapehook.pages.at_hand import At, Key
from tapehook.pages.desk import JobNow, NotThere
from tapehook.pages.routes import page
from tapehook.pages.shots import texts_of
from tapehook.pages.typed import bare_unit
from tapehook.prep.swap import Swap, WantedMark, newcomer, swap_as_json, swap_lens, wanted_marks

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[SwapAsked, Query()]
_MORE_EXPECTED = "marks such as 3' = 222.9"
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


def _marks(lens: Lens, units: str, wanted: tuple[WantedMark, ...], asked: SwapAsked, wrong: list[str]) -> list[Reading]:
    """The marks as far as they were typed; what cannot be read goes into ``wrong``."""
    typed: list[tuple[str, float | str, str, Approach]] = []
    for mark, there, back in zip(wanted, (asked.far, asked.near), (asked.far_back, asked.near_back), strict=False):
        typed.append((mark.text, mark.distance_m, there, "near_to_far"))
        typed.append((mark.text, mark.distance_m, back, "far_to_near"))
    for text in filter(str.strip, re.split(r"[,;\n]", asked.more)):
        distance, equals, position = text.partition("=")
        if not equals:
            wrong.append(f"further marks: {shown(text)!r} is none; expected {_MORE_EXPECTED}")
        typed.append((shown(distance.strip()), distance, position, "near_to_far"))
    found = []
    for name, at, position_text, way in typed:
        if not position_text.strip():
            continue
        try:
            value = at if isinstance(at, float) else parse_distance(at, bare_unit=bare_unit(lens, units))
            position = parse_position(position_text, lens.unit)
            found.append(Reading(lens_id=lens.id, value=value, position=position, approach=way))
        except NotationError as trouble:
            wrong.append(f"{name}: {trouble}")
        except ValueError:
            wrong.append(f"{name}: a distance a lens can have, and a position a read-out can show")
    return found


def _swap(desk: At, now: JobNow, key: str, asked: SwapAsked, wrong: list[str]) -> Swap:
    goes = _goes(now, key)
    wanted, _ = wanted_marks(desk.prep(now).lens(goes))
    comes = _comes(now, goes, asked)
    shots = {name: text.encode("utf-8", "replace") for name, text in texts_of(now).items()}
    signed = [
        f"sign-off of {goes} ({one.data['check']})" for one in now.signed if one.now.lens_id == now.lens_ids[goes]
    ]
    marks = _marks(comes, now.job.units, wanted, asked, wrong)
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
