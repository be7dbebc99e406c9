"""Anamorphic lenses: two directions with a focal length and a pupil each, and the depth that serves both.

Along the picture's height the lens is what is engraved on it; across, where it takes in S times as much, its focal
length is f/S. The squeezing part sits before the iris as a rule and narrows the beam by S there, so that the f-number
is the same in both directions and the pupil magnification across is S times that along (an afocal attachment of angular
magnification 1/S: W. J. Smith, Modern Optical Engineering, chapter 9). Pupils lie at different places.

Convention: blur counts as it is seen once the picture is widened, so that c across is c/S on the sensor. Half-widths
in vergence are then w and, across, N (c/S)/(f/S)^2 = S w: the direction as engraved is the stricter one. Where the two
are sharp at vergences that are a gap g apart, a setting between them, nearer to the stricter, takes the same share of
both: g/(w + S w) of the depth. At 100 % no distance is sharp in both.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics.depth import Depth, depth_of_field, half_width_dpt
from tapehook.optics.pupil import Pupil

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Anamorphic:
    """An anamorphic lens: engraved focal length, squeeze, and the pupils along and across. Metres.

    Raises ValueError for a squeeze below 1.
    """

    focal_m: float
    squeeze: float
    along: Pupil
    across: Pupil

    def __post_init__(self) -> None:
        if not self.squeeze >= 1.0:
            raise ValueError("squeeze must not be below 1")

    @property
    def focal_across_m(self) -> float:
        """Focal length across the picture."""
        return self.focal_m / self.squeeze

    def depths(self, distance_m: npt.ArrayLike, f_number: npt.ArrayLike, blur_m: npt.ArrayLike) -> tuple[Depth, Depth]:
        """Depth of field along and across, each for a lens set to ``distance_m`` in that direction."""
        blur = np.asarray(blur_m, dtype=np.float64)
        along = depth_of_field(distance_m, self.focal_m, f_number, blur, self.along)
        across = depth_of_field(distance_m, self.focal_across_m, f_number, blur / self.squeeze, self.across)
        return along, across

    def both(
        self, distance_m: npt.ArrayLike, f_number: npt.ArrayLike, blur_m: npt.ArrayLike, gap_dpt: npt.ArrayLike = 0.0
    ) -> tuple[Floats, Floats]:
        """Near and far of what is sharp in both directions, metres from the image plane; NaN where nothing is.

        The lens stands between its two best focuses, so that both take the same share: ``gap_dpt`` is vergence across
        minus along, positive: across it is focused nearer.
        """
        along, across = self.depths(distance_m, f_number, blur_m)
        gap = np.asarray(gap_dpt, dtype=np.float64)
        part = along.half_width_dpt / (along.half_width_dpt + across.half_width_dpt)
        near_a, far_a = _ends(along, -gap * part)
        near_b, far_b = _ends(across, gap * (1.0 - part))
        near, far = np.maximum(near_a, near_b), np.minimum(far_a, far_b)
        sharp = near <= far
        return np.where(sharp, near, np.nan), np.where(sharp, far, np.nan)


def _ends(depth: Depth, moved_dpt: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Near and far of one direction whose focus is moved by so much vergence, metres from the image plane."""
    q = depth.vergence_dpt + np.asarray(moved_dpt, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        near: Floats = np.where(q + depth.half_width_dpt > 0, 1.0 / (q + depth.half_width_dpt), np.inf)
        far: Floats = np.where(q > depth.half_width_dpt, 1.0 / (q - depth.half_width_dpt), np.inf)
    return near + depth.state.pupil_to_sensor_m, far + depth.state.pupil_to_sensor_m


def across_pupil(along: Pupil, squeeze: float, to_sensor_m: npt.ArrayLike | None = None) -> Pupil:
    """The pupil across of a lens whose squeezing part sits before its iris; at the place along where none is given."""
    place = along.to_sensor_m if to_sensor_m is None else to_sensor_m
    return Pupil(place, np.asarray(along.magnification, dtype=np.float64) * squeeze)


def gap_used(
    gap_dpt: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    squeeze: npt.ArrayLike,
    f_number: npt.ArrayLike,
    blur_m: npt.ArrayLike,
) -> Floats:
    """Share of the depth that a gap between the two best focuses takes, |g|/(w + S w), far away. Any shapes."""
    w = half_width_dpt(f_number, focal_m, blur_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        used: Floats = np.abs(np.asarray(gap_dpt, dtype=np.float64)) / (w * (1.0 + np.asarray(squeeze)))
    return used


def widest_f_number(
    gap_dpt: npt.ArrayLike, focal_m: npt.ArrayLike, squeeze: npt.ArrayLike, blur_m: npt.ArrayLike
) -> Floats:
    """The f-number at which both directions just resolve at one distance: where ``gap_used`` is 1. Any shapes."""
    f, s = np.asarray(focal_m, dtype=np.float64), np.asarray(squeeze, dtype=np.float64)
    with np.errstate(divide="ignore"):
        widest: Floats = np.abs(np.asarray(gap_dpt)) * f * f / (np.asarray(blur_m) * (1.0 + s))
    return widest
