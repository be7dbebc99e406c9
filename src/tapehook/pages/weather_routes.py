"""Routes of the page Weather: the page, its parts, what it keeps, and the same figures as JSON."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response

from tapehook.pages.asked import KeptWeather, NewMorning, WeatherAsked, Withdrawn
from tapehook.pages.at_hand import Act, At, Json, Key, Who
from tapehook.pages.desk import JobNow, NotThere
from tapehook.pages.routes import page, parts
from tapehook.pages.typed import Misread, Wrong
from tapehook.pages.weather import (
    air_shown,
    check_of,
    first_asked,
    lenses_to_check,
    morning_shown,
    weather_for,
    weather_of,
)
from tapehook.prep.dew import dew_as_json
from tapehook.prep.job_morning import job_morning, job_morning_as_json

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Asked = Annotated[WeatherAsked, Query()]


def _row(now: JobNow, key: str) -> str:
    row_id = now.row_of(key)
    if row_id is None:
        raise NotThere("There is no such lens in this job.")
    return row_id


# --- the page ----------------------------------------------------------------------------------------------------


@router.get("/job/{job}/weather")
def get_weather(request: Request, desk: At, job: Key) -> Response:
    """Weather: lenses brought into other air, and the check on the morning after a cold night."""
    now = desk.job(job)
    prep, asked = desk.prep(now), first_asked(now)
    return page(
        request,
        "weather.html",
        here="weather",
        topics=now.key,
        parts_url=f"/part/morning/{job}",
        asked=asked,
        lenses=lenses_to_check(now, prep),
        today=datetime.now().astimezone().date().isoformat(),
        **air_shown(now, prep, asked),
        **morning_shown(now, prep),
    )


@router.get("/part/weather/{job}")
def part_weather(desk: At, job: Key, asked: Asked) -> JSONResponse:
    """The answer on the air anew, for other fields."""
    now = desk.job(job)
    return JSONResponse(parts("weather.html", ("air",), desk.stamp_of(now), **air_shown(now, desk.prep(now), asked)))


@router.get("/part/morning/{job}")
def part_morning(desk: At, job: Key, session: Who) -> JSONResponse:
    """The morning anew, as somebody checked a lens or measured one."""
    now, prep = desk.recent(job)
    shown = {"now": now, "session": session, **morning_shown(now, prep)}
    return JSONResponse(parts("weather.html", ("morning",), desk.stamp_of(now), **shown))


# --- the interface -----------------------------------------------------------------------------------------------


@api_router.get("/jobs/{job}/dew")
def get_dew_json(desk: At, job: Key, asked: Asked) -> Json:
    """What ``tapehook dew --json`` prints, for the fields; without any, for the weather of the job."""
    now = desk.job(job)
    weather = weather_of(asked) or now.job.weather
    if weather is None:
        raise Misread([Wrong("air", "", "air, humidity and the temperature the lenses come from")])
    return dew_as_json(weather_for(desk.prep(now), weather).check)


@api_router.post("/jobs/{job}/weather")
def post_weather(desk: At, acts: Act, who: Who, job: Key, sent: KeptWeather) -> Json:
    """Keep the weather of a job; all fields blank take it out. ``before`` gives back what was kept until now."""
    now = desk.job(job)
    before = first_asked(now).model_dump()
    acts.change_job(who.who, now, now.job.model_copy(update={"weather": weather_of(sent)}))
    return {"before": before, "stamp": desk.stamp()}


@api_router.get("/jobs/{job}/morning")
def get_morning_json(desk: At, job: Key) -> Json:
    """What ``tapehook morning --json`` prints of the job's last morning."""
    found = job_morning(desk.prep(desk.job(job)))
    if found is None:
        raise NotThere("There are no morning checks in this job.")
    return {**job_morning_as_json(found), "finding": found.findings[0].as_json()}


@api_router.post("/jobs/{job}/morning")
def post_morning(desk: At, acts: Act, who: Who, job: Key, sent: NewMorning) -> Json:
    """Add a check of one lens on a chart."""
    now = desk.job_to_add_to(job, sent.lens)
    row_id = _row(now, sent.lens)
    record = check_of(sent, now.lens(row_id), now.job.units)
    return {"added": acts.add(who.who, now, row_id, [record], sent.sent), "stamp": desk.stamp()}


@api_router.post("/jobs/{job}/morning/withdraw")
def post_withdraw(desk: At, acts: Act, who: Who, job: Key, sent: Withdrawn) -> Json:
    """Withdraw a check; it stays in the history."""
    now = desk.job(job)
    old = next((one for one in now.rows["morning"] if one.id.hex() == sent.id and one.row_id), None)
    if old is None or old.row_id is None:
        raise NotThere("There is no such check, or it was withdrawn already: look again.")
    acts.correct(who.who, now, old.row_id, sent.id, None, sent.reason or "withdrawn")
    return {"stamp": desk.stamp()}


@api_router.post("/jobs/{job}/morning/undo")
def post_undo(desk: At, acts: Act, who: Who, job: Key) -> Json:
    """Take back the last thing done to the morning checks of a job, by a correction."""
    return {"said": acts.undo_morning(who.who, desk.job(job)), "stamp": desk.stamp()}
