"""The routes of shots: the page, its pull card, and what both ask for and keep."""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.shot_files import as_floats
from tapehook.job.shot_writing import shot_text
from tapehook.job.shots import Shot, shot_from, shot_of, shots_in
from tapehook.pages import asked
from tapehook.pages.at_hand import Act, At, Key, Who
from tapehook.pages.desk import Desk, JobNow, NotThere
from tapehook.pages.routes import as_script, page
from tapehook.pages.shots import as_sent, mark_of, page_data, planned, table, texts_of

api_router = APIRouter(prefix="/api")
router = APIRouter(include_in_schema=False)

Name = Annotated[str, Query(max_length=80)]
Sent = Annotated[str, Query(max_length=24_000, description="A shot as JSON, with the keys of its file")]
Json = dict[str, Any]


def _shot(text: str) -> Shot:
    """A shot sent as JSON. Raises JobProblems."""
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        document = None
    if not isinstance(document, dict):
        raise JobProblems([Problem("the shot", None, None, text[:80], "a shot as JSON")])
    return shot_of(as_floats(document), "the shot")


@api_router.get("/jobs/{job}/shots")
def get_shots(desk: At, job: Key) -> Json:
    """The shots of a job with the keys of their files, and what is wrong with those that cannot be read."""
    texts = texts_of(desk.job(job))
    read, problems = shots_in(texts)
    shots = [{"name": name, "mark": mark_of(texts[name]), "shot": as_sent(shot)} for name, shot in read.items()]
    return {"shots": shots, "problems": problems}


@api_router.get("/jobs/{job}/shot-plan")
def get_shot_plan(desk: At, job: Key, shot: Sent, exact: bool = False, narrow: bool = False) -> Json:  # noqa: FBT001, FBT002 - queries
    """The answers to a shot that is sent and not kept; ``exact`` looks for the fewest soft frames, which takes long."""
    try:
        asked_for = _shot(shot)
    except JobProblems as trouble:
        return {"problems": [problem.sentence() for problem in trouble.problems]}
    return planned(desk.prep(desk.job(job)), asked_for, exact=exact, narrow=narrow)


@api_router.get("/jobs/{job}/shot-table")
def get_shot_table(desk: At, job: Key, shot: Sent) -> Json:
    """Where a shot holds: the lenses of the job against stops, a sign and a word each."""
    return table(desk.prep(desk.job(job)), _shot(shot))


@api_router.post("/jobs/{job}/shots")
def post_shot(desk: At, acts: Act, who: Who, job: Key, sent: asked.KeptShot) -> Json:
    """Keep a shot under its name, in place of the text that ``mark`` tells; without a shot, take it out."""
    now = desk.job(job)
    texts = texts_of(now)
    there = texts.get(sent.name, "")
    if mark_of(there) != (sent.mark or ""):
        expected = "a name of its own, or the page loaded again: somebody has kept another shot under it"
        raise JobProblems([Problem("the shot", None, "name", sent.name, expected)])
    if sent.shot is None:
        texts.pop(sent.name, None)
    else:
        texts[sent.name] = shot_text(shot_of(as_floats(sent.shot), f"shots/{sent.name}.toml"), there)
    acts.keep_shots(who.who, now, texts)
    return {"mark": mark_of(texts.get(sent.name, "")), "stamp": desk.stamp()}


@router.get("/job/{job}/shots")
def get_shots_page(request: Request, desk: At, job: Key, shot: Name = "") -> Response:
    """Shots: a floor plan, the sharp lane, and the answers."""
    now = desk.job(job)
    data = page_data(now, desk.prep(now), shot or None)
    return page(request, "shots.html", here="shots", now=now, topics=now.key, data=as_script(data))


@router.get("/job/{job}/card")
def get_card(request: Request, desk: At, job: Key, shot: Name = "") -> Response:
    """The pull card: large, dim, follows a stopwatch, and goes on without the network once it is loaded."""
    now = desk.job(job)
    data = card_data(desk, now, shot)
    return page(request, "card.html", here="shots", now=now, data=as_script(data), card=data)


def card_data(desk: Desk, now: JobNow, name: str) -> Json:
    """What a pull card needs of a shot. Raises NotThere."""
    text = texts_of(now).get(name)
    if text is None:
        raise NotThere("There is no such shot in this job.")
    shot = shot_from(text.encode("utf-8", "surrogatepass"), f"shots/{name}.toml")
    answer = planned(desk.prep(now), shot, exact=False, narrow=True)
    kept = {key: answer.get(key) for key in ("problems", "stop", "lens", "marks", "moments")}
    return {"title": shot.title, "name": name, **kept}
