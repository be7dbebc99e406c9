"""What to measure next on a lens, in distances somebody would tape."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.finding import Finding
from tapehook.job.records import Job, Lens
from tapehook.lens import FocusScale, LensMap
from tapehook.lens.next_mark import ENOUGH, NextMark, first_marks, next_marks, worst_used
from tapehook.lens.spline import TREND
from tapehook.notation import System, format_distance
from tapehook.prep.basis import Basis
from tapehook.prep.focus import FocusRing
from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import optics_of, range_m, room, safe_from
from tapehook.prep.wording import Maker, depth_used, percent

Floats = npt.NDArray[np.float64]

FOOT = 0.3048
LITTLE = 0.9
"""When the worst place keeps more than this part of its figure, further marks help little."""

_METRIC = (
    *(round(0.05 * k, 2) for k in range(5, 20)),
    *(round(0.1 * k, 1) for k in range(10, 20)),
    *(2.0, 2.2, 2.5, 2.8, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0),
)
_FEET = (
    *(0.25 * k for k in range(3, 16)),
    *(0.5 * k for k in range(8, 14)),
    *(7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 14.0, 16.0, 18.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 100.0),
)


@dataclass(frozen=True, slots=True)
class Advice:
    """What to measure next on one lens.

    ``marks`` best first; empty when the map is ``enough`` (no distance uses a quarter of the depth at ``stop``), or
    when nothing can be said: then ``refusal`` says why. ``worst_used`` is the most that the map uses now, a fraction.
    """

    marks: tuple[NextMark, ...]
    system: System
    stop: StopView | None
    worst_used: float | None
    enough: bool
    refusal: str | None


def tape_distances(system: System, near_m: float) -> Floats:
    """Where to read, metres: close focus, the round distances that somebody would tape beyond it, and infinity."""
    round_m = _METRIC if system == "metric" else [feet * FOOT for feet in _FEET]
    return np.array([near_m, *(d for d in round_m if d > near_m + 5e-3), math.inf])


def next_advice(entry: LensPrep, job: Job, *, most: int = 5) -> Advice:
    """What to measure next on a prepared lens of ``job``: up to ``most`` marks, fewer once it is enough."""
    lens_map = entry.focus_map
    if lens_map is None:
        return _first(entry, [r.value for r in job.readings if r.lens_id == entry.lens.id and r.axis == "focus"])
    if not lens_map.monotone:
        why = "its readings turn back on themselves: correct or leave out what is wrong first"
        return Advice((), entry.system, None, None, enough=False, refusal=why)
    stop, distances = entry.widest or entry.shooting, range_m(lens_map)
    width = room(lens_map, optics_of(entry), stop, distances)
    if width is None:
        why = "depth used cannot be worked out: its focal length or T-stop is not known, or there is no depth"
        return Advice((), entry.system, stop, None, enough=False, refusal=why)
    worst = worst_used(lens_map, distances, width)
    candidates = tape_distances(entry.system, lens_map.near_value)
    near_m = _engraved(entry.lens, lens_map)
    marks = next_marks(lens_map, candidates, distances, width, most=most, engraved_m=near_m)
    return Advice(marks, entry.system, stop, worst, enough=worst < ENOUGH, refusal=None)


def _first(entry: LensPrep, read: list[float]) -> Advice:
    """What to read for a first map besides what was ``read``; refused when nobody knows where the scale begins."""
    stop = entry.widest or entry.shooting
    near_m = entry.lens.close_focus_m or min((d for d in read if math.isfinite(d)), default=None)
    why = None
    if len(set(read)) > TREND:
        why = f"it has no map although it was read: {entry.axes['focus'].refusal}; "
        why += "read close focus, infinity, and three or more marks between, both ways"
    elif near_m is None:
        why = "no near mark was read and its close focus is not known: write close_focus_m into lenses.csv"
    if near_m is None or why is not None:
        return Advice((), entry.system, stop, None, enough=False, refusal=why)
    scale = FocusScale.of([near_m], entry.depth_focal_m)
    marks = first_marks(scale, near_m, tape_distances(entry.system, near_m), read)
    return Advice(marks, entry.system, stop, None, enough=False, refusal=None)


def _engraved(lens: Lens, lens_map: LensMap) -> float | None:
    """Close focus, where the lens has a scale: engraved as a rule. A lens whose marks were all taped may have none."""
    finite = np.isfinite(lens_map.marks.values)
    return lens.close_focus_m if bool((~lens_map.marks.taped & finite).any()) else None


def next_mark_findings(make: Maker, lens: Lens, basis: Basis, ring: FocusRing) -> Iterator[Finding]:
    """The one mark that would do most for a map that somewhere uses over a quarter of the depth, at the widest stop."""
    lens_map, stop = ring.axis.lens_map, basis.widest or basis.shooting
    if lens_map is None or not lens_map.monotone or stop is None:
        return
    distances = range_m(lens_map)
    width = room(lens_map, basis.optics, stop, distances)
    if width is None:
        return
    candidates = tape_distances(basis.system, lens_map.near_value)
    near_m = _engraved(lens, lens_map)
    for mark in next_marks(lens_map, candidates, distances, width, most=1, engraved_m=near_m):
        before, after = mark.used_before, mark.used_after
        if before is None or after is None:
            continue
        yield make(
            "map.next_mark",
            "info",
            f"{mark_words(mark, basis.system)} next: {_gain(percent(before), percent(after), stop)}.",
            "Read it both ways; tapehook next lists the next ones." if after < LITTLE * before else little(after, stop),
            depth_used(before, stop.text),
        )


def _gain(before: str, after: str, stop: StopView) -> str:
    """What one more mark does to the worst share; where both read alike, that it does not do it alone."""
    if before == after:
        return f"at worst the map alone uses {before} of the depth at {stop.text}, and one mark hardly changes that"
    return f"the most that the map alone uses of the depth goes from {before} to {after} at {stop.text}"


def little(after: float, stop: StopView) -> str:
    """What to say where more marks help little: what limits, and from which stop on it does not matter."""
    from_stop = safe_from(after, stop)
    then = "" if from_stop is None else f"; from {from_stop.text} on every distance is under a quarter of the depth"
    return f"More marks help little here: what limits is how well ring and tape can be read{then}."


def mark_words(mark: NextMark, system: System) -> str:
    """What to do for a mark: "Tape 1.2 m", "Read infinity", "Read 2' again"."""
    where = "infinity" if math.isinf(mark.distance_m) else format_distance(mark.distance_m, system)
    return {"tape": f"Tape {where}", "read": f"Read {where}", "read_again": f"Read {where} again"}[mark.how]


def enough_from(advice: Advice) -> StopView | None:
    """The first usual stop at which, after all marks of the advice, every distance uses under a quarter of the depth.

    Depth grows with the f-number, so a share falls with it. None when no usual stop is small enough.
    """
    after = advice.marks[-1].used_after if advice.marks else advice.worst_used
    return None if after is None or advice.stop is None else safe_from(after, advice.stop)
