"""What is added to a lens: a close-up lens in front or an extension tube behind to focus nearer, an extender.

A close-up lens of power P shows the lens the subject elsewhere: 1/X' = 1/X - P, both from the close-up lens (Wikipedia,
Close-up lens). The lens itself, its depth in vergence and its map stay as they are for what it then sees. A tube of
length t moves the lens forward by t at every setting: the extension f m grows by t, so the magnification by t/f (D.
Jacobson, Photographic Lenses Tutorial, item 4, for a lens that focuses by moving as a whole). An extender leaves the
lens as it is and puts the sensor farther behind it by its length (see ``extender``).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics.pupil import Pupil, focus_state

Floats = npt.NDArray[np.float64]

_NONE = 1e-12


@dataclass(frozen=True, slots=True)
class Fittings:
    """A lens with what is added to it. Distances in metres from the image plane, shapes broadcast with ``focal_m``.

    ``close_up_dpt`` is the power of the close-up lens (stacked ones add up), ``front_m`` where it stands, ``tube_m``
    the length of the tube, ``behind_m`` that of an extender; 0 where there is none. Subjects are told from the sensor;
    all else is from the image plane of the bare lens, which lies ``behind_m`` nearer to them.
    """

    focal_m: Floats
    pupil: Pupil
    close_up_dpt: float = 0.0
    front_m: float = 0.0
    tube_m: float = 0.0
    behind_m: float = 0.0

    def seen_m(self, subject_m: npt.ArrayLike) -> Floats:
        """Where the lens sees a subject: below 0 for one farther than the close-up lens reaches, which is virtual."""
        subject = np.asarray(subject_m, dtype=np.float64)
        if self.behind_m:
            subject = np.maximum(subject - self.behind_m, 0.0)
        if self.close_up_dpt == 0.0:
            return subject
        return self._bent(subject, -self.close_up_dpt)

    def subject_m(self, seen_m: npt.ArrayLike) -> Floats:
        """Where a subject stands that the lens sees there: the inverse of ``seen_m``."""
        seen = np.asarray(seen_m, dtype=np.float64)
        if self.close_up_dpt == 0.0:
            return seen + self.behind_m if self.behind_m else seen
        return self._bent(seen, self.close_up_dpt) + self.behind_m

    def _bent(self, from_plane_m: Floats, power_dpt: float) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):
            vergence = 1.0 / (from_plane_m - self.front_m) + power_dpt
            bent: Floats = np.where(np.abs(vergence) < _NONE, np.inf, 1.0 / vergence + self.front_m)
        return bent

    def scale_m(self, set_m: npt.ArrayLike) -> Floats:
        """What the scale says of a lens that is sharp at ``set_m``, as the lens sees it: inf at and past its infinity.

        NaN where the lens cannot be sharp at all.
        """
        given = np.asarray(set_m, dtype=np.float64)
        if self.tube_m == 0.0:
            return given
        m = focus_state(given, self.focal_m, self.pupil).magnification - self._gain
        return self._at(m)

    def set_m(self, scale_m: npt.ArrayLike) -> Floats:
        """Where the lens sees what is sharp when its scale says ``scale_m``: the inverse of ``scale_m``."""
        given = np.asarray(scale_m, dtype=np.float64)
        if self.tube_m == 0.0:
            return given
        return self._at(focus_state(given, self.focal_m, self.pupil).magnification + self._gain)

    @property
    def _gain(self) -> Floats:
        gain: Floats = self.tube_m / self.focal_m
        return gain

    def _at(self, magnification: Floats) -> Floats:
        """Distance from the image plane at a magnification, D = f/m + f/P + e + f m; inf at 0 and below."""
        f, p = self.focal_m, np.asarray(self.pupil.magnification, dtype=np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = f / magnification + f / p + np.asarray(self.pupil.to_sensor_m) + f * magnification
        found: Floats = np.where(magnification <= _NONE, np.inf, distance)
        return np.where(np.isnan(magnification), np.nan, found)
