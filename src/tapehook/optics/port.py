"""Flat and dome ports: where a lens behind glass sees what stands in the water.

Vergence carried through the port surface by surface, for rays near the axis: at a surface of radius R from index n to
n', V' = V + (n' - n)/R; through glass of thickness t, V' = V/(1 - V t/n) (E. Hecht, Optics, refraction at spherical
surfaces). A thin flat port shows everything at 1/n of its distance. A thin dome of radius R shows infinity at R/(n - 1)
in front of it, three radii in fresh water: the lens focuses on that, and must focus so near.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

FRESH_INDEX = 1.333
"""Fresh water at 20 degrees, 589 nm: IAPWS, Release on the Refractive Index of Ordinary Water Substance (1997)."""
SEA_INDEX = 1.339
"""Sea water at 20 degrees, 589 nm, 35 parts in a thousand of salt: X. Quan, E. Fry, Applied Optics 34 (1995)."""
WATERS = {"fresh": FRESH_INDEX, "sea": SEA_INDEX}
"""Index by the water's name."""
ACRYLIC_INDEX = 1.49
"""Acrylic, of which most domes are: Wikipedia, Poly(methyl methacrylate)."""
_NONE = 1e-12


@dataclass(frozen=True, slots=True)
class Port:
    """A port: distances in metres, ``front_m`` from the image plane to the middle of its outer face.

    ``radius_m`` of the outer face, inf for a flat one; ``glass_m`` how thick it is, of index ``glass_index``. Raises
    ValueError for an index of water below 1, or glass as thick as the radius.
    """

    front_m: float
    water_index: float = FRESH_INDEX
    radius_m: float = np.inf
    glass_m: float = 0.0
    glass_index: float = ACRYLIC_INDEX

    def __post_init__(self) -> None:
        if not (self.water_index >= 1.0 and self.glass_index >= 1.0 and 0.0 <= self.glass_m < self.radius_m):
            raise ValueError("indices must not be below 1, and glass_m from 0 to less than radius_m")

    def seen_m(self, subject_m: npt.ArrayLike) -> Floats:
        """Where the lens sees a subject in the water, metres from the image plane. Any shape; inf allowed.

        NaN for what is not in front of the port.
        """
        before = np.asarray(subject_m, dtype=np.float64) - self.front_m
        with np.errstate(divide="ignore", invalid="ignore"):
            inside = self._behind(-self.water_index / before)
            seen = np.where(np.abs(inside) < _NONE, np.inf, -1.0 / inside) + self.front_m - self.glass_m
        found: Floats = np.where(before > 0, seen, np.nan)
        return found

    def subject_m(self, seen_m: npt.ArrayLike) -> Floats:
        """Where in the water a subject stands that the lens sees there, the inverse of ``seen_m``.

        inf for what lies as far as infinity is seen, or farther, and the port itself for what lies behind its outer
        face: nothing in the water is seen there.
        """
        seen = np.asarray(seen_m, dtype=np.float64)
        before = seen - self.front_m + self.glass_m
        with np.errstate(divide="ignore", invalid="ignore"):
            outside = self._before(-1.0 / before)
            subject = -self.water_index / outside + self.front_m
        nowhere = (outside > -_NONE) | (before <= 0)
        edge = np.where(seen >= self.infinity_seen_m * (1.0 - _NONE), np.inf, self.front_m)
        found: Floats = np.where(nowhere, edge, subject)
        return found

    @property
    def infinity_seen_m(self) -> float:
        """Where infinity is seen, metres from the image plane; inf behind a flat port."""
        return float(self.seen_m(np.inf))

    @property
    def nearer(self) -> float:
        """How many times smaller the field behind a flat port is, and the longer the lens seems: the water's index.

        A dome that has the entrance pupil in its middle leaves the field as it is.
        """
        return self.water_index if np.isinf(self.radius_m) else 1.0

    def size(self, subject_m: npt.ArrayLike) -> Floats:
        """How many times larger than the subject its image before the port is, in height. Any shape; 0 at infinity.

        The product of V/V' over both faces; 1 behind a thin flat port. Along the axis it is that squared over the
        index of water.
        """
        outer, _ = self._powers()
        with np.errstate(divide="ignore", invalid="ignore"):
            outside = -self.water_index / (np.asarray(subject_m, dtype=np.float64) - self.front_m)
            first = outside + outer
            second = self._behind(outside)
            passed = second - self._powers()[1]
            found: Floats = np.where(first == 0, 1.0, outside / first) * np.where(second == 0, 1.0, passed / second)
        return found

    def _powers(self) -> tuple[float, float]:
        outer = (self.glass_index - self.water_index) / self.radius_m
        return outer, (1.0 - self.glass_index) / (self.radius_m - self.glass_m)

    def _behind(self, vergence: Floats) -> Floats:
        outer, inner = self._powers()
        inside = vergence + outer
        passed: Floats = inside / (1.0 - inside * self.glass_m / self.glass_index) + inner
        return passed

    def _before(self, vergence: Floats) -> Floats:
        outer, inner = self._powers()
        inside = vergence - inner
        passed: Floats = inside / (1.0 + inside * self.glass_m / self.glass_index) - outer
        return passed
