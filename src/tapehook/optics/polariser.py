"""Polarisers: one over another as a variable filter, forwards and backwards, with how sharply it answers.

Two sheets at an angle a let T = K0 cos^2 a + K90 sin^2 a of unpolarised light through: K0 aligned, K90 crossed (W. J.
Smith, Modern Optical Engineering, equation 10.17). Malus's law is K0 = 1, K90 = 0, for light that one ideal polariser
has polarised already. The density is -log10 T. Angles are degrees from the aligned position; 0 to 90 is the range of
the inverse, as the law repeats.

At both ends dT/da is nought: aligned, the ring hardly dims at all and an angle cannot be told from the light; crossed,
the density climbs steeply and then stops dead at -log10 K90, so that the smallest error of the angle shows.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics.exposure import DENSITY_PER_STOP

Floats = npt.NDArray[np.float64]

IDEAL_SINGLE = 0.5
"""Share of unpolarised light that one ideal polariser passes: a stop. Real sheets pass 0.25 to 0.40 (Smith, p. 231)."""


@dataclass(frozen=True, slots=True)
class PolariserPair:
    """One polariser turning over a fixed one, by its two constants.

    ``k0`` and ``k90`` are the shares of light passed aligned and crossed, 0 <= k90 < k0 <= 1. Raises ValueError
    otherwise.
    """

    k0: float
    k90: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.k90 < self.k0 <= 1.0:
            raise ValueError(f"a pair of polarisers needs 0 <= K90 < K0 <= 1, got K0 {self.k0} and K90 {self.k90}")

    def transmission(self, angle_deg: npt.ArrayLike) -> Floats:
        """Share of the light passed at angles of any shape."""
        a = np.radians(np.asarray(angle_deg, dtype=np.float64))
        t: Floats = self.k0 * np.cos(a) ** 2 + self.k90 * np.sin(a) ** 2
        return t

    def density(self, angle_deg: npt.ArrayLike) -> Floats:
        """Density at angles of any shape; inf crossed, where K90 is 0 and the angle exact."""
        with np.errstate(divide="ignore"):
            d: Floats = -np.log10(self.transmission(angle_deg))
        return d

    def angle_deg(self, density: npt.ArrayLike) -> Floats:
        """Angle, 0 to 90, of a density: tan^2 a = (K0 - T)/(T - K90). NaN outside ``density_range``.

        A density within rounding of an end is that end.
        """
        d = np.asarray(density, dtype=np.float64)
        least, most = self.density_range
        slack = 1e-12
        held = np.where((d >= least - slack) & (d <= most + slack), np.clip(d, least, most), np.nan)
        t = 10.0**-held
        above, below = np.maximum(self.k0 - t, 0.0), np.maximum(t - self.k90, 0.0)
        a: Floats = np.degrees(np.arctan2(np.sqrt(above), np.sqrt(below)))
        return a

    @property
    def density_range(self) -> tuple[float, float]:
        """Resting loss (aligned) and most density (crossed, inf where K90 is 0)."""
        most = float("inf") if self.k90 == 0.0 else float(-np.log10(self.k90))
        return float(-np.log10(self.k0)), most

    def stops_per_degree(self, angle_deg: npt.ArrayLike) -> Floats:
        """How sharply the light answers, stops for a degree of the ring: 0 at both ends, steep just before crossing.

        d(log2 1/T)/da = (K0 - K90) sin 2a/(T ln 2) per radian.
        """
        a = np.radians(np.asarray(angle_deg, dtype=np.float64))
        with np.errstate(divide="ignore", invalid="ignore"):
            steep = (self.k0 - self.k90) * np.sin(2.0 * a) / (self.transmission(angle_deg) * np.log(2.0))
        s: Floats = steep * np.pi / 180.0
        return s

    def most_stops_per_degree(self) -> tuple[float, float]:
        """Steepest answer, stops for a degree, and its angle: tan a = sqrt(K0/K90); inf at 90 where K90 is 0."""
        if self.k90 == 0.0:
            return float("inf"), 90.0
        angle = float(np.degrees(np.arctan2(np.sqrt(self.k0), np.sqrt(self.k90))))
        return float(self.stops_per_degree(angle)), angle

    def angle_spread_deg(self, density: npt.ArrayLike, density_error: float) -> Floats:
        """How far the angle may be off when the density is off by ``density_error`` to either side, degrees.

        The larger of the two sides; towards an end that cannot be passed the way to the end. Near aligned it grows as
        the square root: 0.01 of density is some degrees. This is the sensitivity to be told at the ends.
        """
        d = np.asarray(density, dtype=np.float64)
        least, most = self.density_range
        here = self.angle_deg(d)
        sides = [np.abs(self.angle_deg(np.clip(d + sign * density_error, least, most)) - here) for sign in (-1.0, 1.0)]
        spread: Floats = np.maximum(*sides)
        return spread


MALUS = PolariserPair(1.0, 0.0)
"""An ideal polariser in light that is polarised already: T = cos^2 a."""


def stops_below_aligned(pair: PolariserPair, angle_deg: npt.ArrayLike) -> Floats:
    """Stops lost against the aligned position."""
    s: Floats = (pair.density(angle_deg) - pair.density_range[0]) / DENSITY_PER_STOP
    return s
