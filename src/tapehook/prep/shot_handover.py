"""Hand-overs of focus in a shot: from the end of one hold, at a cue, to the beginning of the next."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tapehook.prep.shots import ShotPlan


@dataclass(frozen=True, slots=True)
class HandOver:
    """Focus goes from ``giver`` at the cue ``from_s`` to ``taker``, who is held from ``to_s``.

    ``soft_share`` is the part of the ``frames`` between, neither end counted, in which neither of both is sharp.
    """

    giver: str
    taker: str
    from_s: float
    to_s: float
    frames: int
    soft_share: float


def handovers_of(plan: ShotPlan) -> tuple[HandOver, ...]:
    """Each change from one hold to another whose most important person is another, in order of time.

    Holds that overlap or touch hand nothing over: then both are asked for at one moment.
    """
    holds = sorted(plan.shot.hold, key=lambda hold: (hold.from_s, hold.to_s))
    known = {one.name: one for one in plan.people}
    found = []
    for before, after in pairwise(holds):
        if before.who[0] == after.who[0] or after.from_s <= before.to_s:
            continue
        between = (plan.time_s > before.to_s + 1e-9) & (plan.time_s < after.from_s - 1e-9)
        frames = int(between.sum())
        soft = np.all([~(known[name].used <= 1.0 + 1e-6) for name in (before.who[0], after.who[0])], axis=0)
        share = float((soft & between).sum()) / frames if frames else 0.0
        found.append(HandOver(before.who[0], after.who[0], before.to_s, after.from_s, frames, share))
    return tuple(found)
