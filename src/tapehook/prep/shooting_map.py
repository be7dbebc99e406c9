"""The map of a lens as the shoot needs it: moved by what puts best focus elsewhere than the marks."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.prep.flange import front_vergence
from tapehook.prep.focus import pupil_vergence, vergence_slope
from tapehook.prep.results import LensPrep
from tapehook.prep.room import optics_of
from tapehook.prep.shifts import shifts_at

Floats = npt.NDArray[np.float64]

POINTS = 25


@dataclass(frozen=True, slots=True)
class ShootingMap:
    """Distances (G,) from infinity to close focus, metres, and where the ring has to stand at ``stop`` (G,).

    ``because`` names what moves it, such as stopping down; positions in the unit of the read-out.
    """

    stop: str
    because: tuple[str, ...]
    distance_m: Floats
    position: Floats


def shooting_map(entry: LensPrep) -> ShootingMap | None:
    """The map moved by all known shifts at the shooting stop; None where there are none, or no map.

    A sensor as if too far back by delta wants the ring farther by delta/f^2 at the front focal point. What is known of
    other stops only is carried over as ``lens.stop_shift`` says.
    """
    lens_map, optics, stop = entry.focus_map, optics_of(entry), entry.shooting or entry.widest
    if lens_map is None or not lens_map.monotone or optics is None or stop is None:
        return None
    shifts = shifts_at(entry, stop)
    if not shifts:
        return None
    distance, position, _ = lens_map.grid(POINTS)
    front = front_vergence(distance, optics.focal_m, optics.pupil)
    ratio = np.where(front > 0, pupil_vergence(optics, distance) / np.where(front > 0, front, 1.0), 1.0)
    dpt = -sum(shift.shift_m for shift in shifts) / optics.focal_m**2 * ratio**2
    moved = position + lens_map.toward_near * dpt * vergence_slope(lens_map, optics, distance)
    return ShootingMap(stop.text, tuple(shift.name for shift in shifts), distance, moved)
