"""Routes of the page of light: the page, its parts that follow the fields, the card of a stop pull, and the JSON."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field

from tapehook.job.problems import JobProblems
from tapehook.job.stop_pull_writing import stop_pull_text
from tapehook.job.stop_pulls import stop_pull_from
from tapehook.pages import routes
from tapehook.pages.asked import Asked
from tapehook.pages.at_hand import Act, At, Json, Key, Who
from tapehook.pages.desk import Desk, JobNow, NotThere
from tapehook.pages.light import (
    ExposureAsked,
    StopPullAsked,
    exposure_asked,
    exposure_shown,
    filters_with_pull,
    first_asked,
    lenses_with_iris,
    plan_asked,
    pull_of,
    shot_in,
    shown_pull,
    steps_of,
    t_text,
    usual_exposure,
    worked,
)
from tapehook.pages.shots import mark_of, texts_of
from tapehook.pages.typed import Misread
from tapehook.prep.exposure import exposure_as_json
from tapehook.prep.stop_pull_as_json import stop_pull_as_json

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Exposed = Annotated[ExposureAsked, Query()]
Pulled = Annotated[StopPullAsked, Query()]
ShotName = Annotated[str, Query(max_length=80)]


class KeptStopPull(Asked):
    """A stop pull to be kept in the file of a shot, or taken out of it when there is none.

    ``mark`` tells the text of the shot that it was made from, empty for a shot that is new.
    """

    name: Annotated[str, Field(max_length=60, pattern=r"^[\w][\w .,-]{0,59}$")]
    mark: Annotated[str, Field(max_length=16, pattern="^[0-9a-f]*$")] = ""
    pull: StopPullAsked | None = None


# --- the page ----------------------------------------------------------------------------------------------------


@router.get("/job/{job}/light")
def get_light(request: Request, desk: At, job: Key, shot: ShotName = "") -> Response:
    """Light: exposure by its sliders, and stop pulls."""
    now = desk.job(job)
    texts = texts_of(now)
    asked = first_asked(now, texts, shot)
    start = usual_exposure(now)
    return routes.page(
        request,
        "light.html",
        here="light",
        now=now,
        topics=now.key,
        start=start,
        steps=steps_of(now.job.units),
        lenses=[lens.id for lens in now.job.lenses],
        iris_lenses=lenses_with_iris(now),
        filters=filters_with_pull(now),
        shots=_with_pulls(texts),
        asked=asked,
        mark=mark_of(texts.get(asked.shot, "")),
        **exposure_shown(now, ExposureAsked(**start)),
        **_pull_shown(desk, now, asked),
    )


def _with_pulls(texts: dict[str, str]) -> list[tuple[str, bool]]:
    """The shots of a job by name, and whether a stop pull is kept in each."""
    return [(name, _kept(text, name)) for name, text in texts.items()]


def _kept(text: str, name: str) -> bool:
    try:
        stop_pull_from(text.encode("utf-8", "surrogatepass"), name)
    except JobProblems:
        return False
    return True


def _pull_shown(desk: Desk, now: JobNow, asked: StopPullAsked) -> dict[str, Any]:
    """What the part of the stop pull shows: the pull, or what cannot be read or is not there."""
    try:
        plan = plan_asked(asked)
        shot = shot_in(texts_of(now), asked.shot)
        pull = worked(now, plan, asked.shot, shot)
    except Misread as trouble:
        return {"pull": None, "pull_wrong": [one.sentence() for one in trouble.problems], "t_text": t_text}
    except JobProblems as trouble:
        return {"pull": None, "pull_wrong": [one.sentence() for one in trouble.problems], "t_text": t_text}
    around = pull_of(now, desk.prep(now), asked.shot, shot)
    shown = shown_pull(pull, plan, around, narrow=asked.narrow, end=asked.end)
    return {"pull": shown, "pull_wrong": [], "t_text": t_text}


@router.get("/part/light/{job}")
def part_light(desk: At, job: Key, asked: Exposed) -> JSONResponse:
    """The exposure anew, for other fields."""
    now = desk.job(job)
    return JSONResponse(routes.parts("light.html", ("exposure",), desk.stamp_of(now), **exposure_shown(now, asked)))


@router.get("/part/stop-pull/{job}")
def part_stop_pull(desk: At, job: Key, asked: Pulled) -> JSONResponse:
    """The stop pull anew, for another course."""
    now = desk.job(job)
    shown = {"now": now, "asked": asked, **_pull_shown(desk, now, asked)}
    return JSONResponse(routes.parts("light.html", ("pull",), desk.stamp_of(now), **shown))


@router.get("/job/{job}/stop-pull-card")
def get_card(request: Request, desk: At, job: Key, shot: ShotName = "") -> Response:
    """The card of a stop pull: large, dim, follows a stopwatch, and goes on without the network once it is loaded."""
    now = desk.job(job)
    text = texts_of(now).get(shot)
    if text is None:
        raise NotThere("There is no such shot in this job.")
    plan = stop_pull_from(text.encode("utf-8", "surrogatepass"), f"shots/{shot}.toml")
    pull = worked(now, plan, shot, shot_in(texts_of(now), shot))
    return routes.page(
        request, "stop_card.html", here="light", now=now, pull=pull, data=routes.as_script(_card(pull)), t_text=t_text
    )


def _card(pull: Any) -> Json:  # noqa: ANN401 - a StopPullPrep
    answer = stop_pull_as_json(pull)
    keys = ("time_s", "t_stop", "iris_position", "extra_motor_percent", "extra_motor_deg")
    return {
        "unit": answer["iris_unit"],
        "samples": [[sample[key] for key in keys] for sample in answer["samples"]],
    }


# --- the interface -----------------------------------------------------------------------------------------------


@api_router.get("/jobs/{job}/exposure")
def get_exposure_json(desk: At, job: Key, asked: Exposed) -> Json:
    """What ``tapehook exposure --json`` prints, with the filters of the job, and its lens where one is named."""
    return exposure_as_json(exposure_asked(desk.job(job), asked))


@api_router.get("/jobs/{job}/stop-pull")
def get_stop_pull_json(desk: At, job: Key, asked: Pulled) -> Json:
    """What ``tapehook stop-pull --json`` prints, of a stop pull that is sent and not kept."""
    now = desk.job(job)
    return stop_pull_as_json(worked(now, plan_asked(asked), asked.shot, shot_in(texts_of(now), asked.shot)))


@api_router.post("/jobs/{job}/stop-pulls")
def post_stop_pull(desk: At, acts: Act, who: Who, job: Key, sent: KeptStopPull) -> Json:
    """Keep a stop pull in the file of its shot, in place of the text that ``mark`` tells; without one, take it out."""
    now = desk.job(job)
    texts = texts_of(now)
    there = texts.get(sent.name, "")
    if mark_of(there) != sent.mark:
        raise Misread([_other(sent.name)])
    text = stop_pull_text(None if sent.pull is None else plan_asked(sent.pull), there)
    if text.strip():
        texts[sent.name] = text
    else:
        texts.pop(sent.name, None)
    acts.keep_shots(who.who, now, texts)
    return {"mark": mark_of(texts.get(sent.name, "")), "stamp": desk.stamp()}


def _other(name: str) -> Any:  # noqa: ANN401 - a Wrong
    from tapehook.pages.typed import Wrong

    return Wrong(
        "name", name, "a name of its own, or the page loaded again: the shot of that name was changed meanwhile"
    )
