"""A page for each stop pull on paper: its course with all four motors, the moments to follow, what to know."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tapehook.handover.glyphs import all_printable, printable
from tapehook.handover.pdf_words import finding_words
from tapehook.job.problems import JobProblems
from tapehook.job.shots import Shot
from tapehook.job.stop_pulls import StopPullPlan
from tapehook.notation import format_thirds
from tapehook.picture.pull_chart import LANE_PITCH, pull_chart
from tapehook.prep import Prep
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shots import ShotPlan, plan_shot
from tapehook.prep.stop_pull import StopPullPrep, prepare_stop_pull
from tapehook.prep.stop_pull_chart import pull_chart_of
from tapehook.prep.stop_pull_findings import stop_pull_findings
from tapehook.prep.stop_pull_moments import picked_moments
from tapehook.prep.stop_pull_motors import with_shot

WIDTH, HEIGHT = 510.0, 285.0
"""Points: the room the template gives the picture, so that its letters keep their size."""
_Said = dict[str, Any]


def stop_pull_pages(prep: Prep, pulls: Mapping[str, StopPullPlan], shots: Mapping[str, Shot]) -> _Said | None:
    """What pack_stops.typ prints: a page a stop pull, a line for each that cannot be worked out; None without any."""
    pages, none = [], list[str]()
    for name, plan in pulls.items():
        shot = shots.get(name)
        try:
            pull = with_shot(prepare_stop_pull(prep.job, plan, name), shot)
        except JobProblems as trouble:
            none += [problem.sentence() for problem in trouble.problems]
            continue
        pages.append(_page(pull, plan, _around(prep, shot)))
    return {"pages": pages, "none": [all_printable(line) for line in none]} if pages or none else None


def _around(prep: Prep, shot: Shot | None) -> ShotPlan | None:
    try:
        return None if shot is None else plan_shot(prep, shot, exact=False)
    except NoPlan:
        return None


def _page(pull: StopPullPrep, plan: StopPullPlan, around: ShotPlan | None) -> _Said:
    title = f"Stop pull {pull.name}"
    words = {
        "title": title,
        "facts": [
            ("lens", pull.lens.id),
            ("filter", pull.filter.id),
            ("length", f"{pull.pull.times_s[-1] - pull.pull.times_s[0]:g} s"),
            ("verdict", "works" if pull.feasible else "cannot be done as planned"),
            ("exposure", f"+- {pull.pull.max_error_stops:.2f} stop"),
            ("at rest", f"{format_thirds(pull.pull.loss_stops)} lost"),
        ],
        "moments": _moments(pull) if pull.feasible else [],
        "errors": [
            [error.name, f"{error.stops.max():.3f} stop", "assumed" if error.assumed else "known"]
            for error in pull.pull.errors
        ],
        "findings": [finding_words(one) for one in stop_pull_findings(pull) if one.severity != "info"],
        "cautions": list(pull.cautions),
        "assumptions": list(pull.assumptions),
    }
    shown, alt = pull_chart_of(pull, plan, around), printable(f"{title} over time, with its motors")
    # A page that has much to say goes without the lanes of motors that drive nothing here.
    driven = [motor for motor in shown.motors if motor.values is not None]
    less = LANE_PITCH * (len(shown.motors) - len(driven))
    charts = [
        {"svg": printable(pull_chart(one, width=WIDTH, height=high, title=title)), "alt": alt}
        for one, high in ((shown, HEIGHT), (replace(shown, motors=driven), HEIGHT - less))
    ]
    return {**all_printable(words), "chart": charts[0], "low": charts[1]}


def _moments(pull: StopPullPrep) -> list[list[str]]:
    return [
        [one.time, one.stop, one.iris, one.extra_percent, one.filter_deg, one.density] for one in picked_moments(pull)
    ]
