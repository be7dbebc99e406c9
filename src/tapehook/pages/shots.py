"""The page of shots: what it is given of a shot, what a plan says on it, and the table over lenses and stops."""

import hashlib
from typing import Any

import numpy as np

from tapehook.book.jobs import JobDocument
from tapehook.finding import Finding
from tapehook.job.problems import Problem
from tapehook.job.shots import Shot, shots_in
from tapehook.notation import FULL_STOPS, format_distance, format_stop
from tapehook.pages.desk import JobNow
from tapehook.pages.words import percent
from tapehook.picture.lane_chart import lane_chart
from tapehook.prep import Prep
from tapehook.prep.shot_chance import beats_of
from tapehook.prep.shot_chart import chart_of
from tapehook.prep.shot_findings import shot_findings
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shot_sheet import LEAST_M, ShotMark, marks_of
from tapehook.prep.shot_table import lens_rows, stops_from
from tapehook.prep.shots import ShotPlan, field_deg, plan_shot
from tapehook.prep.wording import position_text

WIDE, NARROW = (660.0, 300.0), (330.0, 260.0)
"""Width and height of the lane's picture, points."""
MOST_MOMENTS = 240
"""Moments at which the page knows where the ring stands."""
SIGNS = {"holds": "✓", "soft": "×", "opens no wider": "–"}


def texts_of(now: JobNow) -> dict[str, str]:
    """The texts of a job's shots by name, in order."""
    files = JobDocument.of(now.thing.now).files
    names = sorted(name for name in files if name.startswith("shots/"))
    return {name.removeprefix("shots/").removesuffix(".toml"): files[name] for name in names}


def mark_of(text: str) -> str:
    """A few signs that tell one text of a shot from another; empty for none."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16] if text else ""


def as_sent(shot: Shot) -> dict[str, Any]:
    """A shot with the keys of its file, without those at their usual value but for the rate of frames."""
    said = shot.model_dump(exclude_none=True)
    return {key: value for key, value in said.items() if value != [] and value is not False} | {"hold": said["hold"]}


def page_data(now: JobNow, prep: Prep, name: str | None) -> dict[str, Any]:
    """All that the page starts from: the shots, the one that is open, and the lenses and stops to choose from."""
    texts = texts_of(now)
    read, problems = shots_in(texts)
    chosen = name if name in read else next(iter(read), None) if name is None else None
    opened = None
    if chosen is not None:
        opened = {"name": chosen, "mark": mark_of(texts[chosen]), "shot": as_sent(read[chosen])}
    return {
        "shots": [{"name": one, "title": shot.title} for one, shot in read.items()],
        "problems": problems,
        "open": opened,
        "lenses": [_lens(entry) for entry in prep.lenses if entry.focus_map is not None],
        "stops": [format_stop(float(label)) for label, _ in FULL_STOPS if 1.0 <= float(label) <= 22.5],
        "cameras": [camera.camera.letter for camera in prep.cameras],
        "shootingStop": prep.shooting_stop_text,
    }


def _lens(entry: Any) -> dict[str, Any]:  # noqa: ANN401 - a LensPrep
    widest = entry.widest
    return {
        "id": entry.lens.id,
        "title": entry.title,
        "focalMm": entry.lens.focal_mm,
        "widest": None if widest is None else widest.t_number,
        "kind": entry.lens.kind,
    }


def planned(prep: Prep, shot: Shot, *, exact: bool, narrow: bool) -> dict[str, Any]:
    """The answers of a plan; only ``problems`` where there is none."""
    try:
        plan = plan_shot(prep, shot, exact=exact)
    except NoPlan as trouble:
        problem = Problem("the shot", None, trouble.field, trouble.read, trouble.expected)
        return {"problems": [problem.sentence()]}
    width, height = NARROW if narrow else WIDE
    marks = marks_of(plan)
    picture = lane_chart(
        chart_of(plan, marks), system=plan.entry.system, width=width, height=height, title=plan.shot.title
    )
    found = shot_findings(plan)
    return {
        "problems": [],
        "feasible": plan.feasible,
        "stop": plan.stop.text,
        "lens": plan.entry.title,
        "answers": _answers(plan),
        "beats": _beats(plan),
        "findings": [_finding(one) for one in found],
        "assumptions": list(plan.assumptions),
        "marks": [_mark(mark) for mark in marks],
        "moments": _moments(plan),
        "lane": picture,
    }


def _answers(plan: ShotPlan) -> list[dict[str, str]]:
    """What a director of photography asks, each as term and figure."""
    tight, soft = plan.tightest, int(plan.soft.sum())
    wide = "none to T22" if plan.widest is None else plan.widest.text
    said = {
        "holds at": plan.stop.text if plan.feasible else f"not at {plan.stop.text}",
        "stop needed": wide,
        "peak speed": f"{plan.peak_speed:.0f}° a second",
        "tightest": "–" if tight is None else f"{percent(tight[1])} of the depth, {tight[2]} at {tight[0]:.1f} s",
        "soft frames": f"{soft} of {plan.time_s.size}" + ("" if plan.soft_proven or not soft else ", on this line"),
    }
    return [{"term": term, "text": text} for term, text in said.items()]


def _beats(plan: ShotPlan) -> list[dict[str, str]]:
    return [
        {
            "who": beat.name,
            "when": f"{beat.from_s:.1f} – {beat.to_s:.1f} s",
            "chance": percent(beat.chance),
            "mean": percent(beat.mean),
            "culprit": beat.culprit,
        }
        for beat in beats_of(plan)
    ]


def _finding(one: Finding) -> dict[str, Any]:
    return {"severity": one.severity, "message": one.message, "next": one.next_step, "code": one.code}


def _mark(mark: ShotMark) -> dict[str, Any]:
    return {
        "timeS": mark.time_s,
        "who": mark.who,
        "feet": mark.feet,
        "metres": mark.metres,
        "position": mark.position,
        "strip": mark.strip,
        "near": mark.near,
        "far": mark.far,
        "soft": mark.soft,
    }


def _moments(plan: ShotPlan) -> list[dict[str, Any]]:
    """Some moments of the shot: where the ring is, what is in focus, and how much the camera sees."""
    step = -(-plan.time_s.size // MOST_MOMENTS)
    field = field_deg(plan)
    return [
        {
            "timeS": float(plan.time_s[at]),
            "ring": position_text(float(plan.position[at]), plan.entry.lens),
            "focus": format_distance(max(float(plan.in_focus_m[at]), LEAST_M), plan.entry.system),
            "fieldDeg": float(field[at]) if np.isfinite(field[at]) else None,
        }
        for at in range(0, plan.time_s.size, step)
    ]


def table(prep: Prep, shot: Shot) -> dict[str, Any]:
    """Where the shot holds: lenses against stops, a sign and a word each."""
    stops = stops_from(prep)
    rows = []
    for row in lens_rows(prep, shot):
        words = [row.word(stop) for stop in stops]
        cells = [{"sign": SIGNS[word], "word": word} for word in words if word is not None]
        widest = "" if row.widest is None else row.widest.text
        rows.append({"lens": row.entry.title, "cells": cells, "refusal": row.refusal, "from": widest})
    return {"stops": [format_stop(stop) for stop in stops], "rows": rows}
