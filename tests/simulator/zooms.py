"""Zooms whose truth is known: the ring of a simulated lens, with focus that strays over the focal lengths.

Our own ranges, all invented: 24-70, 45-120, 15-40 and 70-200 mm, T2.8 to T4; focus strays by a smooth shift of 3 to 60
micrometres (one sd over lenses, log-even) along the zoom, a part of it only close up; readings both ways of taped
charts, noise 0.05 to 0.25 degrees.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulator.lenses import TrueLens, draw_lens

Floats = npt.NDArray[np.float64]

RANGES_MM = ((24.0, 70.0), (45.0, 120.0), (15.0, 40.0), (70.0, 200.0))


@dataclass(frozen=True)
class TrueZoom:
    """The ring of ``lens`` at the long end, and image shifts d0 and d1 over z as sums of three cosines, metres."""

    lens: TrueLens
    wide_m: float
    long_m: float
    d0: tuple[float, ...]
    d1: tuple[float, ...]

    def shift_m(self, distance_m: npt.ArrayLike, focal_m: npt.ArrayLike) -> Floats:
        """How far the sensor would have to move, metres; nought at the long end and infinity."""
        z = np.log(np.asarray(focal_m) / self.wide_m) / np.log(self.long_m / self.wide_m)
        part = self.lens.vergence(distance_m) / self.lens.near_dpt
        waves = [np.cos(np.pi * k * z / 1.5) - np.cos(np.pi * k / 1.5) for k in (1, 2, 3)]
        total: Floats = sum(a * w for a, w in zip(self.d0, waves, strict=True)) + part * sum(
            a * w for a, w in zip(self.d1, waves, strict=True)
        )
        return total

    def position_deg(self, distance_m: npt.ArrayLike, focal_m: npt.ArrayLike) -> Floats:
        """Where the ring stands when the picture is sharp, degrees, at the centre of the play."""
        q = self.lens.vergence(distance_m) + self.shift_m(distance_m, focal_m) / np.asarray(focal_m) ** 2
        at: Floats = self.lens.turn_deg(q)
        return at

    def slope_deg_per_dpt(self, distance_m: npt.ArrayLike) -> Floats:
        """Change of the angle per dioptre."""
        return self.lens.slope_deg_per_dpt(distance_m)


def draw_zoom(rng: np.random.Generator) -> TrueZoom:
    """A zoom drawn at random."""
    wide, long = RANGES_MM[int(rng.integers(len(RANGES_MM)))]
    lens = draw_lens(rng, low_mm=long * 0.9, high_mm=long * 1.1)
    stray = float(np.exp(rng.uniform(np.log(3e-6), np.log(60e-6))))
    fall = np.array([1.0, 0.5, 0.25])
    d0, d1 = stray * fall * rng.normal(0, 1, 3), 0.4 * stray * fall * rng.normal(0, 1, 3)
    return TrueZoom(lens, wide / 1e3, long / 1e3, tuple(d0.tolist()), tuple(d1.tolist()))
