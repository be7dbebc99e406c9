"""An extender between lens and camera: the ring's marks stay, the picture grows, the depth shrinks.

An extender of factor x stays where it is before the sensor while the lens focuses, and shows the image of the lens x
times as large: a sensor x times smaller would see the same through the bare lens. The entrance pupil and its distances
are the lens's own, so with the blur disc c' = m A u |1/u' - 1/u| of the lens before it (OpenLensIO Lens Model 1.0.0,
equation 19) a disc c on the sensor is one of c/x behind the lens: at every distance the depth in vergence is 1/x of the
bare lens's at the same setting of its iris, exactly. The lens stands farther from the sensor by the extender's length,
and so do all its marks. Along the axis x enters squared (longitudinal magnification: E. Hecht, Optics, 5.2): a gap
before the extender moves the image on the sensor x squared times as far.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Extender:
    """An extender: how many times it lengthens the focal length, and how far from mount to mount it is, metres.

    Raises ValueError for a factor below 1 or a length below nought.
    """

    factor: float
    length_m: float = 0.0

    def __post_init__(self) -> None:
        if not (self.factor >= 1.0 and self.length_m >= 0.0):
            raise ValueError("factor must not be below 1, length_m not below 0")

    @property
    def stops_lost(self) -> float:
        """Stops of light it takes by being there, 2 log2 x; its own glass takes a little more."""
        return 2.0 * math.log2(self.factor)

    def focal_m(self, lens_m: npt.ArrayLike) -> Floats:
        """The focal length with it, x f. Any shape."""
        found: Floats = self.factor * np.asarray(lens_m, dtype=np.float64)
        return found

    def stop(self, set_to: npt.ArrayLike) -> Floats:
        """The f-number or T-number it works at when the iris is set to another, x N. Any shape."""
        found: Floats = self.factor * np.asarray(set_to, dtype=np.float64)
        return found

    def blur_before_m(self, blur_m: npt.ArrayLike) -> Floats:
        """The disc behind the bare lens, metres, that becomes ``blur_m`` on the sensor. Any shape."""
        found: Floats = np.asarray(blur_m, dtype=np.float64) / self.factor
        return found

    def before_m(self, from_sensor_m: npt.ArrayLike) -> Floats:
        """What the scale of the lens must say for a distance from the sensor, metres; inf stays. Any shape."""
        found: Floats = np.asarray(from_sensor_m, dtype=np.float64) - self.length_m
        return found

    def from_sensor_m(self, scale_m: npt.ArrayLike) -> Floats:
        """How far from the sensor that is what the scale says, metres: the inverse of ``before_m``."""
        found: Floats = np.asarray(scale_m, dtype=np.float64) + self.length_m
        return found

    def flange_factors(self) -> tuple[float, float]:
        """How many times the share of the depth an error of flange takes: one before it (lens), one behind (body).

        Against the bare lens at the same setting of the iris: x before the extender, 1/x behind it.
        """
        return self.factor, 1.0 / self.factor
