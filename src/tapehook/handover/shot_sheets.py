"""A page for each shot on paper: the floor plan, the sharp lane with the pull, marks, chances, and what to know."""

from collections.abc import Mapping
from typing import Any

from tapehook.handover.glyphs import all_printable, printable
from tapehook.handover.pdf_words import finding_words
from tapehook.job.shots import Shot, Waypoint
from tapehook.picture.floor_plan import FloorPlan, Way, floor_plan
from tapehook.picture.lane_chart import lane_chart
from tapehook.prep import Prep
from tapehook.prep.shot_chance import beats_of
from tapehook.prep.shot_chart import chart_of
from tapehook.prep.shot_findings import shot_findings
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shot_sheet import marks_of
from tapehook.prep.shots import ShotPlan, field_deg, plan_shot

LANE_WIDTH, LANE_HEIGHT = 340.0, 185.0
PLAN_WIDTH, PLAN_HEIGHT = 165.0, 185.0
"""Points: the room the template gives the pictures, so that their letters keep their size."""
_Said = dict[str, Any]


def shot_pages(prep: Prep, shots: Mapping[str, Shot], unread: list[str]) -> _Said | None:
    """What pack_shots.typ prints: a page a shot, and a line for each without a plan; None where there are no shots."""
    pages, none = [], list(unread)
    for name, shot in shots.items():
        try:
            plan = plan_shot(prep, shot)
        except NoPlan as trouble:
            none.append(f"{shot.title} ({name}): no plan; {trouble.field}, expected {trouble.expected}.")
            continue
        pages.append(_page(plan))
    return {"pages": pages, "none": [all_printable(line) for line in none]} if pages or none else None


def _page(plan: ShotPlan) -> _Said:
    marks = marks_of(plan)
    field = float(field_deg(plan)[0])
    lane = lane_chart(
        chart_of(plan, marks), system=plan.entry.system, width=LANE_WIDTH, height=LANE_HEIGHT, title=plan.shot.title
    )
    drawn = FloorPlan(_camera(plan.shot), _people(plan.shot), field if field == field else None)  # noqa: PLR0124 - NaN
    above = floor_plan(drawn, width=PLAN_WIDTH, height=PLAN_HEIGHT, title=plan.shot.title)
    words = {
        "title": plan.shot.title,
        "facts": _facts(plan),
        "marks": [
            [f"{one.time_s:.1f} s", one.who, one.feet, one.metres, one.position, one.strip, one.near, one.far]
            for one in marks
        ],
        "beats": [
            [one.name, f"{one.from_s:.1f} – {one.to_s:.1f} s", _percent(one.chance), _percent(one.mean), one.culprit]
            for one in beats_of(plan)
        ],
        "findings": [finding_words(one) for one in shot_findings(plan)],
        "assumptions": list(plan.assumptions),
    }
    pictures = {
        "lane": {"svg": lane, "alt": f"The sharp lane of {plan.shot.title} over time, with the pull"},
        "above": {"svg": above, "alt": f"{plan.shot.title} from above"},
    }
    return {**all_printable(words), **{key: _printed(value) for key, value in pictures.items()}}


def _printed(picture: dict[str, str]) -> dict[str, str]:
    return {key: printable(text) for key, text in picture.items()}


def _facts(plan: ShotPlan) -> list[tuple[str, str]]:
    wide = "none to T22" if plan.widest is None else plan.widest.text
    return [
        ("lens", plan.entry.title),
        ("stop", f"{plan.stop.text}, {'holds' if plan.feasible else 'does not hold'}"),
        ("stop needed", wide),
        ("peak speed", f"{plan.peak_speed:.0f}° a second"),
        ("soft frames", f"{int(plan.soft.sum())} of {plan.time_s.size}"),
    ]


def _camera(shot: Shot) -> Way:
    return _way("camera", shot.camera_path) if shot.camera_path else Way("camera", (0.0,), ((0.0, 0.0),))


def _people(shot: Shot) -> list[Way]:
    return [_way(person.name, person.path) for person in shot.people]


def _way(name: str, path: list[Waypoint]) -> Way:
    return Way(name, [one.at_s for one in path], [(one.place_m[0], one.place_m[1]) for one in path])


def _percent(chance: float) -> str:
    return f"{100.0 * chance:.0f} %"
