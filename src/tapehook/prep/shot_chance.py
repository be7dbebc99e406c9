"""The chance that each beat of a planned shot is sharp, and what costs most of it."""

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tapehook.job.shots import Person
from tapehook.lens.taping import taping_sd_m
from tapehook.optics import FocusState
from tapehook.prep.anamorphic import TWO_DIRECTIONS
from tapehook.prep.flange import off_by_charts
from tapehook.prep.monitor_delay import TERM, monitor_delay_s
from tapehook.prep.results import FlangePrep
from tapehook.prep.shifts import DOUBT
from tapehook.prep.shooting_map import shifts_behind
from tapehook.prep.shot_ring import Ring
from tapehook.prep.shots import Held, ShotPlan
from tapehook.prep.usual import USUAL_PLAY_DEG
from tapehook.shot.chance import chance_sharp, largest

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Beat:
    """Somebody held from one moment to another: the frame with the least chance to be sharp.

    ``chance`` there, ``mean`` over the frames of the beat, and the term that costs most at the worst frame.
    """

    name: str
    from_s: float
    to_s: float
    worst_s: float
    chance: float
    mean: float
    culprit: str


@dataclass(frozen=True, slots=True)
class Terms:
    """What is off at each frame (K,), in half-widths of the depth: known parts, half the play, sds that scatter.

    ``ends`` names what leaves other ends of what is sharp than -1 and 1, with both of them.
    """

    known: dict[str, Floats]
    half_play: Floats
    scatter: dict[str, Floats]
    ends: dict[str, tuple[Floats, Floats]] = field(default_factory=dict)

    def chance(self) -> Floats:
        """Chance to be sharp at each frame, (K,)."""
        spread = np.sqrt(sum((sd**2 for sd in self.scatter.values()), np.zeros(self.half_play.shape)))
        # Where nothing can be in focus there is no figure, and no chance.
        known = sum(self.known.values(), np.zeros(self.half_play.shape))
        low, high = -np.ones(self.half_play.shape), np.ones(self.half_play.shape)
        for least, most in self.ends.values():
            low, high = np.maximum(low, least), np.minimum(high, most)
        return np.nan_to_num(chance_sharp(known, self.half_play, spread, low, high), nan=0.0)


def beats_of(plan: ShotPlan) -> tuple[Beat, ...]:
    """A beat for each hold and each person in it; without holds one for each person. Given up ones are beats too."""
    found = []
    for person, held in zip(plan.shot.people, plan.people, strict=True):
        terms = terms_of(plan, person, held)
        chance = terms.chance()
        for start, end in _spans(plan, held):
            here = np.flatnonzero((plan.time_s >= start - 1e-9) & (plan.time_s <= end + 1e-9))
            if here.size == 0:  # a hold at the very end, of which no frame is left
                continue
            worst = int(here[np.argmin(chance[here])])
            culprit = largest(
                {name: float(part[worst]) for name, part in terms.known.items()},
                float(terms.half_play[worst]),
                {name: float(part[worst]) for name, part in terms.scatter.items()},
                {name: (float(low[worst]), float(high[worst])) for name, (low, high) in terms.ends.items()},
            )
            worst_s = float(plan.time_s[worst])
            own = (float(chance[worst]), float(chance[here].mean()), culprit)
            found.append(Beat(held.name, start, end, worst_s, *own))
    return tuple(sorted(found, key=lambda beat: (beat.from_s, beat.name)))


def _ratio(state: FocusState, ring: Ring) -> Floats:
    """Vergence at the entrance pupil over that at the front focal point, 1 at infinity: (K,)."""
    front = state.magnification / ring.focal_m
    ratio: Floats = np.where(front > 0, (1.0 / state.pupil_distance_m) / np.where(front > 0, front, 1.0), 1.0)
    return ratio


def _spans(plan: ShotPlan, held: Held) -> list[tuple[float, float]]:
    if not plan.shot.hold:
        return [(0.0, float(plan.time_s[-1]))]
    last = float(plan.time_s[-1])
    return [(hold.from_s, min(hold.to_s, last)) for hold in plan.shot.hold if held.name in hold.who]


def terms_of(plan: ShotPlan, person: Person, held: Held) -> Terms:
    """Everything that is off for one person at each frame, for the ring arriving late by the lag."""
    entry, ring, lens_map = plan.entry, plan.ring, plan.ring.lens_map
    line = plan.position * lens_map.degrees_per_unit
    late = ring.setting(ring.behind(line, plan.lag_s))
    state, now = ring.state(late), ring.state(plan.setting_m)
    width = ring.width_dpt(state, plan.stop.f_number)
    seen = ring.fittings.seen_m(held.distance_m)
    subject = 1.0 / (seen - state.pupil_to_sensor_m)
    pull = (1.0 / state.pupil_distance_m - subject) / width
    planned = (1.0 / now.pupil_distance_m - 1.0 / (seen - now.pupil_to_sensor_m)) / width
    known = {"the line itself": planned, **_late(plan, seen, line, pull, planned)}
    squared = ring.focal_m**2
    if isinstance(entry.flange, FlangePrep):
        charted = off_by_charts(entry.flange, ring.focal_m, state.magnification / ring.focal_m)
        if charted is not None:
            known[charted[0]] = charted[1] * _ratio(state, ring) ** 2 / width
    ends, left = {}, {}
    shifts = shifts_behind(entry, plan.stop, plan.factor)
    if doubt_m := math.hypot(*(moved.sd_m for moved in shifts if moved.kept is not None)):
        left[DOUBT] = doubt_m * _ratio(state, ring) ** 2 / squared / width
    for moved in shifts:
        per_metre_off = _ratio(state, ring) ** 2 / squared / width
        if moved.name == TWO_DIRECTIONS:
            ends[moved.name] = _both(moved.shift_m * per_metre_off, entry.lens.squeeze or 1.0)
        elif moved.kept is not None:
            known[moved.name] = moved.shift_m * per_metre_off
        else:  # the ring is moved for it: its doubt is left
            left[moved.name] = moved.sd_m * per_metre_off
    slope = ring.slope(late)
    play = lens_map.play()
    half_play = (abs(play.value) if play else USUAL_PLAY_DEG / lens_map.degrees_per_unit) / 2.0 / slope / width
    step = entry.lens.reading_step or 0.1 / lens_map.degrees_per_unit
    per_metre = subject**2 / width * _nearer(held.distance_m, ring)
    body_m = math.hypot(person.missed_mark_cm, person.lean_cm, person.sway_cm) / 100.0
    scatter = {
        "map": (entry.focus_map or lens_map).position(ring.fittings.scale_m(late))[1] / slope / width,
        "read-out": step / math.sqrt(12.0) / slope / width,
        "tape": taping_sd_m(held.distance_m) * per_metre,
        "body": body_m * per_metre,
        **left,
    }
    return Terms(known, half_play, scatter, ends)


def _both(share: Floats, squeeze: float) -> tuple[Floats, Floats]:
    """Where both directions of an anamorphic lens are sharp, on a ring that stands where level lines want it.

    ``share`` is what moves the ring between the two, g/(1 + S) the other way round: upright lines, which want it
    nearer by g, are sharp from g - S to g + S in half-widths along.
    """
    gap = -share * (1.0 + squeeze)
    return np.maximum(gap - squeeze, -1.0), np.minimum(gap + squeeze, 1.0)


def _late(plan: ShotPlan, seen: Floats, line: Floats, pull: Floats, planned: Floats) -> dict[str, Floats]:
    """What the ring is off for being late, (K,): the motor's part, and the rest that a late picture adds."""
    delay_s = monitor_delay_s([view.camera for view in plan.cameras], plan.shot)
    if delay_s == 0.0:
        return {"lag": pull - planned}
    state = plan.ring.state(plan.ring.setting(plan.ring.behind(line, plan.lag_s - delay_s)))
    subject = 1.0 / (seen - state.pupil_to_sensor_m)
    motor = (1.0 / state.pupil_distance_m - subject) / plan.ring.width_dpt(state, plan.stop.f_number)
    return {"lag": motor - planned, TERM: pull - motor}


def _nearer(distance_m: Floats, ring: Ring) -> Floats:
    """How many metres what the lens sees moves for a metre that somebody moves; 1 without a close-up lens."""
    if ring.fittings.close_up_dpt == 0.0:
        return np.ones(distance_m.shape)
    seen = ring.fittings.seen_m(distance_m) - ring.fittings.front_m
    moved: Floats = (seen / (distance_m - ring.fittings.behind_m - ring.fittings.front_m)) ** 2
    return moved
