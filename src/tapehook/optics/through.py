"""A lens that looks through a port, stands on an extender, or both: what its scale must say, and what that shows.

A port moves the subject (``port``), an extender the sensor (``extender``): the scale of the lens reads what is left.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics.extender import Extender
from tapehook.optics.port import Port
from tapehook.optics.pupil import Pupil

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Through:
    """What stands before and behind a lens; None for what does not. Distances in metres from the sensor."""

    extender: Extender | None = None
    port: Port | None = None

    def scale_m(self, subject_m: npt.ArrayLike) -> Floats:
        """What the scale must say for a subject there. Any shape; NaN for what is not in front of the port."""
        seen = np.asarray(subject_m, dtype=np.float64) if self.port is None else self.port.seen_m(subject_m)
        return seen if self.extender is None else self.extender.before_m(seen)

    def subject_m(self, scale_m: npt.ArrayLike) -> Floats:
        """Where a subject stands when the scale says that: the inverse of ``scale_m``; inf where none can."""
        seen = np.asarray(scale_m, dtype=np.float64)
        if self.extender is not None:
            seen = self.extender.from_sensor_m(seen)
        return seen if self.port is None else self.port.subject_m(seen)

    def blur_m(self, blur_m: npt.ArrayLike) -> Floats:
        """The disc behind the bare lens that becomes ``blur_m`` on the sensor."""
        blur = np.asarray(blur_m, dtype=np.float64)
        return blur if self.extender is None else self.extender.blur_before_m(blur)

    @property
    def factor(self) -> float:
        """How many times larger than the bare lens's the image is."""
        return 1.0 if self.extender is None else self.extender.factor

    @property
    def length_m(self) -> float:
        """How much farther from the sensor than without an extender the lens stands."""
        return 0.0 if self.extender is None else self.extender.length_m

    def behind_pupil(self, pupil: Pupil) -> bool:
        """True for a port that would stand in or behind the entrance pupil of the lens, where none can."""
        return self.port is not None and self.port.front_m <= float(np.max(pupil.to_sensor_m)) + self.length_m

    @property
    def farthest_m(self) -> float:
        """What the scale must say for infinity; inf without a dome."""
        return float(self.scale_m(np.inf))

    def stray(self, subject_m: npt.ArrayLike) -> Floats:
        """How far along the axis the lens sees a subject move for each metre that it does, (..,)."""
        if self.port is None:
            return np.ones_like(np.asarray(subject_m, dtype=np.float64))
        along: Floats = self.port.size(subject_m) ** 2 / self.port.water_index
        return along
