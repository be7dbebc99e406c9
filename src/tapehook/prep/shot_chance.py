"""The chance that each beat of a planned shot is sharp, and what costs most of it."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.job.shots import Person
from tapehook.lens.taping import taping_sd_m
from tapehook.optics import FocusState, focus_state, half_width_dpt
from tapehook.prep.basis import Optics
from tapehook.prep.focus import vergence_slope
from tapehook.prep.results import FlangePrep
from tapehook.prep.room import optics_of
from tapehook.prep.shifts import shifts_at
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
    """What is off at each frame (K,), in half-widths of the depth: known parts, half the play, sds that scatter."""

    known: dict[str, Floats]
    half_play: Floats
    scatter: dict[str, Floats]

    def chance(self) -> Floats:
        """Chance to be sharp at each frame, (K,)."""
        spread = np.sqrt(sum((sd**2 for sd in self.scatter.values()), np.zeros(self.half_play.shape)))
        # Where nothing can be in focus there is no figure, and no chance.
        known = sum(self.known.values(), np.zeros(self.half_play.shape))
        return np.nan_to_num(chance_sharp(known, self.half_play, spread), nan=0.0)


def beats_of(plan: ShotPlan) -> tuple[Beat, ...]:
    """A beat for each hold and each person in it; without holds one for each person. Given up ones are beats too."""
    found = []
    for person, held in zip(plan.shot.people, plan.people, strict=True):
        terms = terms_of(plan, person, held)
        chance = terms.chance()
        for start, end in _spans(plan, held):
            here = np.flatnonzero((plan.time_s >= start - 1e-9) & (plan.time_s <= end + 1e-9))
            worst = int(here[np.argmin(chance[here])])
            culprit = largest(
                {name: float(part[worst]) for name, part in terms.known.items()},
                float(terms.half_play[worst]),
                {name: float(part[worst]) for name, part in terms.scatter.items()},
            )
            worst_s = float(plan.time_s[worst])
            own = (float(chance[worst]), float(chance[here].mean()), culprit)
            found.append(Beat(held.name, start, end, worst_s, *own))
    return tuple(sorted(found, key=lambda beat: (beat.from_s, beat.name)))


def _ratio(state: FocusState, optics: Optics) -> Floats:
    """Vergence at the entrance pupil over that at the front focal point, 1 at infinity: (K,)."""
    front = state.magnification / optics.focal_m
    ratio: Floats = np.where(front > 0, (1.0 / state.pupil_distance_m) / np.where(front > 0, front, 1.0), 1.0)
    return ratio


def _spans(plan: ShotPlan, held: Held) -> list[tuple[float, float]]:
    if not plan.shot.hold:
        return [(0.0, float(plan.time_s[-1]))]
    last = float(plan.time_s[-1])
    return [(hold.from_s, min(hold.to_s, last)) for hold in plan.shot.hold if held.name in hold.who]


def terms_of(plan: ShotPlan, person: Person, held: Held) -> Terms:
    """Everything that is off for one person at each frame, for the ring arriving late by the lag."""
    entry, lens_map, optics = plan.entry, plan.entry.focus_map, optics_of(plan.entry)
    assert lens_map is not None and optics is not None  # noqa: S101, PT018 - there is a plan
    behind = int(np.ceil(plan.lag_s * plan.shot.frames_per_second - 1e-9))
    late = np.concatenate([np.full(behind, plan.setting_m[0]), plan.setting_m])[: plan.setting_m.size]
    state = focus_state(late, optics.focal_m, optics.pupil)
    width = half_width_dpt(plan.stop.f_number, optics.focal_m, optics.blur_m, state.pupil_factor)
    subject = 1.0 / (held.distance_m - state.pupil_to_sensor_m)
    pull = (1.0 / state.pupil_distance_m - subject) / width
    now = focus_state(plan.setting_m, optics.focal_m, optics.pupil)
    planned = (1.0 / now.pupil_distance_m - 1.0 / (held.distance_m - now.pupil_to_sensor_m)) / width
    known = {"the line itself": planned, "lag": pull - planned}
    if isinstance(entry.flange, FlangePrep) and entry.flange.verdict.cause in ("flange", "fine"):
        shift = entry.flange.fit.flange_m()[0] / optics.focal_m**2
        known["flange"] = shift * _ratio(state, optics) ** 2 / width
    for moved in shifts_at(entry, plan.stop):
        known[moved.name] = moved.shift_m / optics.focal_m**2 * _ratio(state, optics) ** 2 / width
    slope = vergence_slope(lens_map, optics, late)
    play = lens_map.play()
    half_play = (abs(play.value) if play else USUAL_PLAY_DEG / lens_map.degrees_per_unit) / 2.0 / slope / width
    step = entry.lens.reading_step or 0.1 / lens_map.degrees_per_unit
    per_metre = subject**2 / width
    body_m = math.hypot(person.missed_mark_cm, person.lean_cm, person.sway_cm) / 100.0
    scatter = {
        "map": lens_map.position(late)[1] / slope / width,
        "read-out": step / math.sqrt(12.0) / slope / width,
        "tape": taping_sd_m(held.distance_m) * per_metre,
        "body": body_m * per_metre,
    }
    return Terms(known, half_play, scatter)
