"""The coordinate a ring is mapped in: vergence for focus, stops for iris, octaves of focal length for zoom.

A scale turns what the ring sets (metres, T-number, focal length) into a place u on which the curve is
smooth, about 0.05 at the far or open end and 1.05 at the other, and back.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_START = 0.05
"""Place of the far end: the spline is pinned at 0, a little beyond everything that is read."""


class Scale(Protocol):
    """What every scale does; values and places are arrays of equal shape."""

    def place(self, value: npt.ArrayLike) -> Floats:
        """Place u of a value on the ring."""
        ...

    def value(self, place: npt.ArrayLike) -> Floats:
        """Value at a place: the inverse of ``place``."""
        ...


@dataclass(frozen=True, slots=True)
class FocusScale:
    """Focus: u = q/q_near + 0.05 with q = 1/(D - d0), D metres from the image plane (inf allowed).

    ``datum_m`` d0 stands for the front focal point, near which a focus cam is straightest in vergence.
    """

    datum_m: float
    near_vergence_dpt: float

    @staticmethod
    def of(distances_m: npt.ArrayLike, focal_m: float | None) -> "FocusScale":
        """Scale for marks at ``distances_m``: d0 = min(2 f + 50 mm, 0.6 of the nearest).

        Chosen by trial on simulated lenses whose truth is known (docs/lens-maps.md). Without a focal length 50 mm
        stands in: d0 only shapes the curve between marks.
        """
        nearest = float(np.min(np.asarray(distances_m, dtype=np.float64)))
        datum = min(2.0 * (focal_m or 0.05) + 0.05, 0.6 * nearest)
        return FocusScale(datum, 1.0 / (nearest - datum))

    def vergence(self, distance_m: npt.ArrayLike) -> Floats:
        """q = 1/(D - d0) in dioptres; 0 at infinity, NaN at or behind d0."""
        d = np.asarray(distance_m, dtype=np.float64) - self.datum_m
        q: Floats = 1.0 / np.where(d > 0, d, np.nan)
        return q

    def place(self, value: npt.ArrayLike) -> Floats:
        """Place u of a distance in metres."""
        return self.vergence(value) / self.near_vergence_dpt + _START

    def value(self, place: npt.ArrayLike) -> Floats:
        """Distance in metres at a place; inf at and beyond infinity, NaN for NaN."""
        q = (np.asarray(place, dtype=np.float64) - _START) * self.near_vergence_dpt
        d: Floats = np.where(q <= 0, np.inf, self.datum_m + 1.0 / np.maximum(q, 1e-300))
        return d


def focus_places(distances_m: Floats, focal_m: Floats) -> tuple[Floats, Floats]:
    """Places of H lists of marks (H, n), each by its own ``FocusScale.of`` for focal lengths (H,), and q_near (H,).

    A focal length of 0 is one that is not known.
    """
    nearest = distances_m.min(axis=1)
    datum = np.minimum(2.0 * np.where(focal_m > 0, focal_m, 0.05) + 0.05, 0.6 * nearest)
    near_dpt = 1.0 / (nearest - datum)
    d = distances_m - datum[:, None]
    u: Floats = 1.0 / np.where(d > 0, d, np.nan) / near_dpt[:, None] + _START
    return u, near_dpt


@dataclass(frozen=True, slots=True)
class _LogScale:
    """Equal ratios of the value take equal places, from ``start`` (0.05) to ``stop`` (1.05)."""

    start: float
    stop: float

    def place(self, value: npt.ArrayLike) -> Floats:
        """Place u of a value."""
        u: Floats = np.log(np.asarray(value, dtype=np.float64) / self.start) / np.log(self.stop / self.start)
        return u + _START

    def value(self, place: npt.ArrayLike) -> Floats:
        """Value at a place."""
        part = np.asarray(place, dtype=np.float64) - _START
        v: Floats = self.start * np.exp(part * np.log(self.stop / self.start))
        return v


class StopScale(_LogScale):
    """Iris: T-numbers, so that equal stops take equal places."""

    @staticmethod
    def of(t_numbers: npt.ArrayLike) -> "StopScale":
        """Scale from the widest to the smallest T-number read."""
        t = np.asarray(t_numbers, dtype=np.float64)
        return StopScale(float(t.min()), float(t.max()))


class FocalScale(_LogScale):
    """Zoom: focal lengths, so that equal ratios take equal places."""

    @staticmethod
    def of(focal_lengths: npt.ArrayLike) -> "FocalScale":
        """Scale from the shortest to the longest focal length read, in any unit: only ratios count."""
        f = np.asarray(focal_lengths, dtype=np.float64)
        return FocalScale(float(f.min()), float(f.max()))
