"""What is usual on this job, for lenses that say nothing themselves: the backlash, from the lenses read both ways."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tapehook.job.records import Axis, Lens, Reading
from tapehook.prep.suspects import WAYS

ENOUGH_LENSES = 5
"""So many lenses read both ways say what is usual on a job."""
FEWEST_PAIRS = 3
USUAL_PLAY_DEG = 0.4
"""Backlash taken where the job says nothing. Common practice, no source: geared rings show 0 to 0.8 degrees."""
USUAL_PLAY_RMS_DEG = 0.8 / 3.0**0.5


@dataclass(frozen=True, slots=True)
class UsualPlay:
    """Backlash usual on a job, degrees of ring: its mean and root mean square, and where they come from."""

    mean_deg: float = USUAL_PLAY_DEG
    rms_deg: float = USUAL_PLAY_RMS_DEG
    source: str = "common practice"


def usual_play(lenses: Sequence[Lens], readings: Mapping[str, Mapping[Axis, Sequence[Reading]]]) -> UsualPlay:
    """The backlash of the lenses read both ways, when there are at least five; else what common practice says."""
    found = [play for lens in lenses if (play := _play_deg(lens, readings[lens.id].get("focus", ()))) is not None]
    if len(found) < ENOUGH_LENSES:
        return UsualPlay()
    plays = np.array(found)
    source = f"{len(found)} lenses of this job read both ways"
    return UsualPlay(float(plays.mean()), float(np.sqrt(np.mean(plays**2))), source)


def _play_deg(lens: Lens, readings: Sequence[Reading]) -> float | None:
    """How far apart the two ways read, by the median that one slip cannot move; None without three pairs.

    Taken without sign: which way positions rise is not known here, and the sign of a true play is.
    """
    if not (lens.units_per_turn or lens.unit == "deg"):
        return None
    by_way: dict[int, dict[float, float]] = {-1: {}, 0: {}, 1: {}}
    for reading in readings:
        by_way[WAYS[reading.approach]][reading.value] = reading.position
    pairs = [by_way[1][value] - by_way[-1][value] for value in by_way[1].keys() & by_way[-1].keys()]
    if len(pairs) < FEWEST_PAIRS:
        return None
    return abs(float(np.median(pairs))) * 360.0 / (lens.units_per_turn or 360.0)
