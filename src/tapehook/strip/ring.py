"""The ring a strip goes round: how long a degree is on it, and which way the scale runs."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

WIDEST_MM, NARROWEST_MM = 1000.0, 5.0


Code = Literal["no_map", "turn_unknown", "not_monotone", "too_long", "no_scale"]


class StripRefusal(ValueError):
    """No strip can be laid out so; ``code`` says why."""

    def __init__(self, code: Code, message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True)
class Ring:
    """What a strip is laid round.

    ``circumference_mm`` of the ring or disc where the strip lies. ``rotation_deg``: how far it turns from the far to
    the near end of the scale; None takes the turn of the ring that was read. The far end (infinity) is on the right
    unless ``left_handed``. ``zero`` is the position, in the unit of the read-out, of the line the strip is laid by;
    None takes the far end.
    """

    circumference_mm: float
    rotation_deg: float | None = None
    left_handed: bool = False
    zero: float | None = None

    @staticmethod
    def of_diameter(diameter_mm: float, *, left_handed: bool = False) -> "Ring":
        """A ring by its diameter; the turn as it was read."""
        return Ring(math.pi * diameter_mm, left_handed=left_handed)

    @property
    def diameter_mm(self) -> float:
        """Its diameter, millimetres."""
        return self.circumference_mm / math.pi


@dataclass(frozen=True, slots=True)
class Laid:
    """Positions of a read-out on a flat strip: millimetres from the left end of the scale, 0 to ``length_mm``."""

    far_position: float
    near_position: float
    mm_per_unit: float
    left_handed: bool

    @property
    def length_mm(self) -> float:
        """Length of the scale, far end to near end."""
        return abs(self.near_position - self.far_position) * self.mm_per_unit

    def arc_mm(self, position: npt.ArrayLike) -> Floats:
        """Place on the strip of positions (n,); beyond the ends of the scale below 0 or above its length."""
        toward_near = 1.0 if self.near_position >= self.far_position else -1.0
        from_far = (np.asarray(position, dtype=np.float64) - self.far_position) * toward_near * self.mm_per_unit
        arc: Floats = from_far if self.left_handed else self.length_mm - from_far
        return arc


def lay(ring: Ring, far_position: float, near_position: float, degrees_per_unit: float | None) -> Laid:
    """How positions come to lie on the ring; ``degrees_per_unit`` None where the turn of the read-out is not known.

    Raises StripRefusal when neither that nor the ring's rotation is known, or the scale is longer than the ring.
    """
    span = abs(near_position - far_position)
    if not span > 0:
        raise StripRefusal("no_scale", "both ends of the scale are at one position")
    if ring.rotation_deg is not None:
        degrees_per_unit = ring.rotation_deg / span
    if degrees_per_unit is None:
        raise StripRefusal(
            "turn_unknown", "how far the ring turns is not known: give units_per_turn of the lens, or the rotation"
        )
    if span * degrees_per_unit > 360.0 * (1 + 1e-9):
        raise StripRefusal(
            "too_long", f"the scale turns {span * degrees_per_unit:.0f}°, and a strip goes once round a ring"
        )
    return Laid(far_position, near_position, ring.circumference_mm * degrees_per_unit / 360.0, ring.left_handed)
