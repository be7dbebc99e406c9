"""Routes of the page Minutes left: the tests of the kit nobody made yet, by what each wins of the depth in a minute."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response

from tapehook.notation import parse_minutes
from tapehook.pages.asked import LeftAsked
from tapehook.pages.at_hand import At, Json, Key
from tapehook.pages.desk import JobNow
from tapehook.pages.routes import page, parts
from tapehook.pages.typed import Misread, Reader
from tapehook.prep import Prep
from tapehook.prep.minutes_left import OpenTest, left_as_json, not_tested, open_tests
from tapehook.prep.wording import percent

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[LeftAsked, Query()]
FIRST = 20
"""Tests shown at once; the rest of a large kit is behind a fold."""


@dataclass(frozen=True, slots=True)
class TestRow:
    """One test as the page shows it: where it is entered, and what it makes of the depth used."""

    test: OpenTest
    address: str
    before: str
    after: str


def _minutes(asked: LeftAsked) -> float | None:
    """The minutes there are, None for all there is to do. Raises Misread."""
    reader = Reader()
    seconds = reader.take("minutes I have", asked.minutes, parse_minutes, "minutes such as 30")
    reader.done()
    return None if seconds is None else seconds / 60.0


def _rows(now: JobNow, tests: Sequence[OpenTest]) -> list[TestRow]:
    return [_row(now, test) for test in tests]


def _row(now: JobNow, test: OpenTest) -> TestRow:
    """A chart test opens at its own fields, anything else at those of a reading."""
    address = f"/job/{now.key}/bench/{now.lens_key(test.lens_id)}"
    before = "no map: a guess" if test.kind == "map" else percent(test.used_before)
    return TestRow(test, address + ("?test=chart" if test.kind == "flange" else ""), before, percent(test.used_after))


def _shown(now: JobNow, prep: Prep, asked: LeftAsked) -> dict[str, Any]:
    wrong, minutes = list[str](), None
    try:
        minutes = _minutes(asked)
    except Misread as trouble:
        wrong = [one.sentence() for one in trouble.problems]
    tests = () if wrong else open_tests(prep, minutes)
    return {
        "now": now,
        "wrong": wrong,
        "rows": _rows(now, tests[:FIRST]),
        "more": _rows(now, tests[FIRST:]),
        "total": sum(test.minutes for test in tests),
        "all_tests": len(open_tests(prep)),
        "untested": [(what, [(row, now.lens_key(row)) for row in ids]) for what, ids in not_tested(prep)],
    }


@router.get("/job/{job}/left")
def get_left(request: Request, desk: At, job: Key, asked: Asked) -> Response:
    """Minutes left: what to test first, and what nobody tested, by name."""
    now = desk.job(job)
    query = urlencode({"minutes": asked.minutes}) if asked.minutes else ""
    return page(
        request,
        "left.html",
        here="prep",
        topics=now.key,
        asked=asked,
        parts_url=f"/part/left/{job}?{query}".removesuffix("?"),
        **_shown(now, desk.prep(now), asked),
    )


@router.get("/part/left/{job}")
def part_left(desk: At, job: Key, asked: Asked) -> JSONResponse:
    """The list anew: after other minutes, or after somebody measured."""
    now, prep = desk.recent(job)
    return JSONResponse(parts("left.html", ("tests", "untested"), desk.stamp_of(now), **_shown(now, prep, asked)))


@api_router.get("/jobs/{job}/left")
def get_left_json(desk: At, job: Key, asked: Asked) -> Json:
    """What ``tapehook left --json`` prints, for ``minutes`` where they are given."""
    prep = desk.prep(desk.job(job))
    return left_as_json(open_tests(prep, _minutes(asked)), prep)
