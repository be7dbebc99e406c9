"""What is said of a planned shot, and the plan as plain JSON values."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from tapehook.finding import Figure, Finding, sort_findings
from tapehook.notation import format_distance
from tapehook.prep.monitor_delay import monitor_delay_s
from tapehook.prep.shot_bearing import behind_findings
from tapehook.prep.shot_chance import beats_of
from tapehook.prep.shot_handover import handovers_of
from tapehook.prep.shot_late import late_findings
from tapehook.prep.shots import Held, ShotPlan, field_deg
from tapehook.prep.wording import depth_used, percent

EDGE = 0.9
"""A pull that uses more of the depth than this somewhere leaves nothing for error. Common practice, no source."""
LEAST_M = 1e-3
"""Nearer than this nothing is written: a person drawn on the image plane."""
TOO_FAST_M_S = 9.0
"""Nobody runs faster on a set; a waypoint is more likely mistyped. Common practice, no source."""


def shot_findings(plan: ShotPlan) -> list[Finding]:
    """All that a plan gives rise to, worst first."""
    found = [*_soft(plan), *_given_up(plan), *_out_of_reach(plan), *_pace(plan)] or [_holds(plan)]
    return sort_findings([*found, *_handed_over(plan), *behind_findings(plan), *late_findings(plan), *_chances(plan)])


def _subject(plan: ShotPlan) -> str:
    return f"shot {plan.shot.title}, lens {plan.entry.lens.id}"


def _span(plan: ShotPlan, frames: np.ndarray[Any, np.dtype[np.bool_]]) -> str:
    at = np.flatnonzero(frames)
    first, last = plan.time_s[at[0]], plan.time_s[at[-1]]
    return f"at {first:.1f} s" if at.size == 1 else f"between {first:.1f} and {last:.1f} s"


def _ways_out(plan: ShotPlan) -> str:
    if plan.widest is None:
        return "No stop to T22 holds it: move the marks apart, slow the walk, or hold fewer people."
    return f"{plan.widest.text} is the widest stop at which it works; or slow the walk, or hold fewer people."


def _soft(plan: ShotPlan) -> Iterator[Finding]:
    """The frames at which somebody is soft whom the ring could reach."""
    for one in plan.people:
        soft = one.soft & ~one.dropped & ~one.unreachable
        if soft.any():
            most = "" if plan.soft_proven else " at least on this line"
            yield Finding(
                "shot.soft",
                "fix",
                _subject(plan),
                f"{one.name} is soft in {int(soft.sum())} of {int(one.wanted.sum())} frames{most}, "
                f"{_span(plan, soft)}, at {plan.stop.text}. {plan.why or 'The lag makes it so.'}",
                _ways_out(plan),
                Figure(float(soft.sum()), "frames", None, plan.stop.text),
                lens_id=plan.entry.lens.id,
            )


def _given_up(plan: ShotPlan) -> Iterator[Finding]:
    for one in plan.people:
        if one.dropped.any():
            yield Finding(
                "shot.gives_up",
                "fix",
                _subject(plan),
                f"The depth at {plan.stop.text} does not hold {one.name} with those named first, "
                f"{_span(plan, one.dropped)}: given up for {int(one.dropped.sum())} frames.",
                _ways_out(plan),
                Figure(float(one.dropped.sum()), "frames", None, plan.stop.text),
                lens_id=plan.entry.lens.id,
            )


def _out_of_reach(plan: ShotPlan) -> Iterator[Finding]:
    """The frames at which somebody is nearer than the lens focuses, or farther than it does as it is fitted."""
    for one in plan.people:
        far = one.unreachable & (one.distance_m > plan.ring.reach_m[0])
        if (one.unreachable & ~far).any():
            yield _too_near(plan, one, one.unreachable & ~far)
        if far.any():
            farthest = format_distance(float(one.distance_m[far].max()), plan.entry.system)
            reach = format_distance(plan.ring.reach_m[1], plan.entry.system)
            yield Finding(
                "shot.too_far",
                "fix",
                _subject(plan),
                f"{one.name} is as far as {farthest}, {_span(plan, far)}; as the lens is fitted and mapped, it reaches "
                f"{reach}.",
                "Take off the close-up lens or the tube, read the far marks, or come nearer.",
                Figure(float(far.sum()), "frames", None, plan.stop.text),
                lens_id=plan.entry.lens.id,
            )


def _too_near(plan: ShotPlan, one: Held, near: np.ndarray[Any, np.dtype[np.bool_]]) -> Finding:
    nearest = format_distance(max(float(one.distance_m[near].min()), LEAST_M), plan.entry.system)
    close = plan.entry.close_focus_m
    fitted = plan.shot.close_up_dpt is not None or plan.shot.tube_mm is not None or plan.extender is not None
    reached = plan.ring.reach_m[0] if fitted else close
    reach = "" if reached is None else f"; the lens reaches {format_distance(reached, plan.entry.system)}"
    return Finding(
        "shot.too_near",
        "fix",
        _subject(plan),
        f"{one.name} comes as near as {nearest}, {_span(plan, near)}{reach}.",
        "Keep farther off, or take a lens that focuses nearer.",
        Figure(float(near.sum()), "frames", None, plan.stop.text),
        lens_id=plan.entry.lens.id,
    )


def _handed_over(plan: ShotPlan) -> Iterator[Finding]:
    """How long each hand-over of focus takes, and how much of it shows nobody sharp."""
    for one in handovers_of(plan):
        yield Finding(
            "shot.hand_over",
            "info",
            _subject(plan),
            f"Focus goes from {one.giver} to {one.taker} at {one.from_s:.1f} s within {one.to_s - one.from_s:.1f} s: "
            f"neither is sharp in {percent(one.soft_share)} of its {one.frames} frames at {plan.stop.text}.",
            "Give the cue a beat early; a longer hand-over turns slower and shows more of it soft.",
            Figure(100.0 * one.soft_share, "% of the frames", None, plan.stop.text),
            lens_id=plan.entry.lens.id,
        )


def _pace(plan: ShotPlan) -> Iterator[Finding]:
    step_s = float(plan.time_s[1] - plan.time_s[0])
    for one in plan.people:
        pace = np.abs(np.diff(one.distance_m)) / step_s
        if float(pace.max()) > TOO_FAST_M_S:
            yield Finding(
                "shot.pace",
                "watch",
                _subject(plan),
                f"The distance to {one.name} changes by up to {float(pace.max()):.0f} m a second, "
                f"{_span(plan, np.append(pace > TOO_FAST_M_S, False))}: faster than anybody runs.",
                "Look at the places and times of the waypoints.",
                Figure(float(pace.max()), "m/s"),
                lens_id=plan.entry.lens.id,
            )


def _chances(plan: ShotPlan) -> Iterator[Finding]:
    """The beat that is least likely to be sharp, with what costs most of it."""
    worst = min(beats_of(plan), key=lambda beat: beat.chance, default=None)
    if worst is None:
        return
    yield Finding(
        "shot.chance",
        "watch" if worst.chance < LIKELY else "info",
        _subject(plan),
        f"The least chance to be sharp is {percent(worst.chance)}, for {worst.name} at {worst.worst_s:.1f} s and "
        f"{plan.stop.text} ({percent(worst.mean)} on average from {worst.from_s:.1f} to {worst.to_s:.1f} s); most is "
        f"lost to {_CULPRITS.get(worst.culprit, worst.culprit)}.",
        _REMEDIES[worst.culprit],
        Figure(100.0 * worst.chance, "% chance", None, plan.stop.text),
        lens_id=plan.entry.lens.id,
    )


LIKELY = 0.9
_CULPRITS = {
    "late picture": "the picture that reaches the monitor late",
    "body": "missed mark, lean and sway, as assumed in the file of the shot",
    "the line itself": "the line itself",
}
_REMEDIES = {
    "body": "Give them a mark they can feel, or close the stop.",
    "the line itself": "Plan within less of the depth, or give the ring more time.",
    "lag": "Rehearse with the motor: who pulls learns to lead, or slow the walk.",
    "late picture": "Lead by as much, or pull by eye and marks there.",
    "map": "Read more marks of this lens round that distance.",
    "read-out": "Read positions in a finer step.",
    "tape": "Tape again to the eyes at that moment.",
    "backlash": "Arrive from the same side as the marks were made.",
    "flange": "Settle the flange first.",
    "scale": "Settle the scale first: see what its chart tests say.",
    "glass behind the lens": "Make the marks with the glass in place that the job is shot with.",
    "stopping down": "Find focus by the picture at that stop, or make the marks there.",
    "doubt of moves": "Find best focus on the charts again, three times each.",
    "two directions": "Set focus between the two directions, or close the stop.",
}


def _holds(plan: ShotPlan) -> Finding:
    """It works: where it is tightest, how fast the pull is, and how wide one could open."""
    tight = plan.tightest
    at = "" if tight is None else f", tightest at {tight[0]:.1f} s on {tight[2]}: {percent(tight[1])} of the depth"
    wide = "" if plan.widest is None else f" It works from {plan.widest.text} on."
    edge = tight is not None and tight[1] > EDGE
    return Finding(
        "shot.holds",
        "watch" if edge else "info",
        _subject(plan),
        f"The shot holds at {plan.stop.text}{at}. The ring turns up to {plan.peak_speed:.0f}° a second.{wide}",
        "Nothing is left there for anything nobody planned: try within = 0.5 in the file of the shot."
        if edge
        else "Rehearse it; the plan takes people to be where they were drawn.",
        None if tight is None else depth_used(tight[1], plan.stop.text),
        lens_id=plan.entry.lens.id,
    )


def plan_as_json(plan: ShotPlan) -> dict[str, Any]:
    """A plan, the shape of ``tapehook pull --json``: positions in the unit of the lens, shares as fractions."""
    tight = plan.tightest
    return {
        "feasible": plan.feasible,
        "objective": plan.objective,
        "peak_speed": plan.peak_speed,
        "least_peak_speed": plan.least_peak_speed,
        "tightest": None if tight is None else {"time_s": tight[0], "depth_used": _finite(tight[1]), "who": tight[2]},
        "stop": plan.stop.text,
        "extender": _extender(plan),
        "widest_stop": None if plan.widest is None else plan.widest.t_number,
        "lag_ms": 1e3 * plan.lag_s,
        "monitor_delay_ms": 1e3 * monitor_delay_s([view.camera for view in plan.cameras], plan.shot),
        "soft_frames": int(plan.soft.sum()),
        "soft_frames_proven": plan.soft_proven,
        "unit": plan.entry.lens.unit,
        "samples": list(_samples(plan)),
        "people": [_person(one) for one in plan.people],
        "beats": [
            {
                "who": beat.name,
                "from_s": beat.from_s,
                "to_s": beat.to_s,
                "chance": beat.chance,
                "worst_s": beat.worst_s,
                "mean_chance": beat.mean,
                "culprit": beat.culprit,
            }
            for beat in beats_of(plan)
        ],
        "hand_overs": [
            {
                "from_who": one.giver,
                "to_who": one.taker,
                "from_s": one.from_s,
                "to_s": one.to_s,
                "frames": one.frames,
                "soft_share": one.soft_share,
            }
            for one in handovers_of(plan)
        ],
        "findings": [finding.as_json() for finding in shot_findings(plan)],
        "assumptions": list(plan.assumptions),
    }


def _extender(plan: ShotPlan) -> dict[str, Any] | None:
    if plan.extender is None:
        return None
    focal_mm = plan.entry.lens.focal_mm
    return {
        "factor": plan.extender.factor,
        "length_mm": 1e3 * plan.extender.length_m,
        "focal_mm": None if focal_mm is None else plan.factor * focal_mm,
        "set_to": plan.stop.t_number,
        "works_at": plan.factor * plan.stop.t_number,
    }


def _samples(plan: ShotPlan) -> Iterator[dict[str, float | None]]:
    field = field_deg(plan).tolist()
    columns = (plan.time_s, plan.position, plan.in_focus_m, plan.low, plan.high)
    for at, row in enumerate(zip(*(column.tolist() for column in columns), strict=True)):
        time, position, focus, low, high = row
        yield {
            "time_s": time,
            "position": position,
            "distance_m": _finite(focus),
            "low": low,
            "high": high,
            "field_deg": _finite(field[at]),
        }


def _person(one: Held) -> dict[str, Any]:
    return {
        "name": one.name,
        "distance_m": one.distance_m.tolist(),
        "soft_frames": int(one.soft.sum()),
        "given_up_frames": int(one.dropped.sum()),
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
