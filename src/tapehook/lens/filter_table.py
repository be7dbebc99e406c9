"""A variable filter from its measured table: density as a smooth curve over the turn of its ring, with a band.

Fitted like a lens map (``tapehook.lens.spline``), but the other way round: density over position, as near the resting
end of a pair of polarisers the density hardly changes over many degrees, and position over density would stand upright.
The curve must rise or fall throughout between the ends of the table; it is checked, not forced.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95, MapRefusal
from tapehook.lens.spline import LOG_SIGMA_PRIOR_SD, TREND, SplineFit, fit_splines, noise_steps

Floats = npt.NDArray[np.float64]

USUAL_READING_NOISE = 0.015
"""sd of one measured density, a twentieth of a stop. Common practice, no source: meters show tenths of a stop."""
_NOISE_LESS_KNOWN = 2.0
"""How many times wider than for ring readings the prior of ln of that is: nobody has counted how filters are read."""
_START = 0.05
_DENSE = 2001


@dataclass(frozen=True)
class FilterTable:
    """A fitted table. ``positions_deg`` (n,) rising, as measured; density is known between its ends only."""

    positions_deg: Floats
    densities: Floats
    fit: SplineFit

    def _place(self, position_deg: npt.ArrayLike) -> Floats:
        first, last = self.positions_deg[0], self.positions_deg[-1]
        place: Floats = (np.atleast_1d(np.asarray(position_deg, dtype=np.float64)) - first) / (last - first) + _START
        return place

    def density(self, position_deg: npt.ArrayLike) -> Floats:
        """Density at ring angles (G,): (G,); NaN outside the table."""
        place = self._place(position_deg)
        inside = (place >= _START - 1e-12) & (place <= 1.0 + _START + 1e-12)
        density: Floats = np.where(inside, self.fit.curve(place)[0], np.nan)
        return density

    def density_band(self, position_deg: npt.ArrayLike) -> Floats:
        """Half-width of the 95 % band of the density at ring angles (G,): (G,)."""
        band: Floats = Z95 * self.fit.predict(self._place(position_deg))[1][0]
        return band

    @cached_property
    def _dense(self) -> tuple[Floats, Floats]:
        positions = np.linspace(self.positions_deg[0], self.positions_deg[-1], _DENSE)
        return positions, self.fit.curve(self._place(positions))[0]

    @property
    def rising(self) -> int:
        """+1 when the density rises with the ring angle, else -1."""
        densities = self._dense[1]
        return 1 if densities[-1] >= densities[0] else -1

    @property
    def monotone(self) -> bool:
        """True when the density rises or falls throughout, but for twice its band, which noise can do at a flat end."""
        positions, densities = self._dense
        highest = np.maximum.accumulate(densities * self.rising)
        return bool(np.all(highest - densities * self.rising <= 2.0 * self.density_band(positions)))

    @property
    def density_range(self) -> tuple[float, float]:
        """Least and most density of the table's curve."""
        densities = self._dense[1]
        return float(densities.min()), float(densities.max())

    def angle_deg(self, density: npt.ArrayLike) -> Floats:
        """Ring angle of densities (G,): (G,); NaN outside ``density_range``."""
        positions, densities = self._dense
        rising = np.maximum.accumulate(densities * self.rising)
        target = np.atleast_1d(np.asarray(density, dtype=np.float64)) * self.rising
        slack = 1e-9
        inside = (target >= rising[0] - slack) & (target <= rising[-1] + slack)
        angle = np.interp(target, rising, positions)
        for _ in range(2):  # secant steps from a 2,000th of the range; at a flat end the step is held to the table
            here, ahead = self.fit.curve(self._place(angle))[0], self.fit.curve(self._place(angle + 1e-4))[0]
            slope = (ahead - here) / 1e-4
            step = np.where(np.abs(slope) > 1e-6, (target * self.rising - here) / np.where(slope == 0, 1.0, slope), 0.0)
            reach = positions[1] - positions[0]
            angle = np.clip(angle + np.clip(step, -reach, reach), positions[0], positions[-1])
        found: Floats = np.where(inside, angle, np.nan)
        return found

    def stops_per_degree(self, position_deg: npt.ArrayLike) -> Floats:
        """How sharply the light answers, stops for a degree of the ring (without sign), at angles (G,): (G,)."""
        at = np.clip(np.asarray(position_deg, dtype=np.float64), self.positions_deg[0], self.positions_deg[-1])
        step = 1e-3
        change = self.fit.curve(self._place(at + step))[0] - self.fit.curve(self._place(at - step))[0]
        slope: Floats = np.abs(change) / (2.0 * step * np.log10(2.0))
        return slope


def fit_filter_table(positions_deg: npt.ArrayLike, densities: npt.ArrayLike) -> FilterTable:
    """Fit a measured table of n ring angles and densities, in any order.

    Raises MapRefusal with fewer than four points, with a position twice, without a change of density, and when the
    curve turns back by more than twice its band.
    """
    x, y = np.asarray(positions_deg, dtype=np.float64), np.asarray(densities, dtype=np.float64)
    if x.size <= TREND or x.size != np.unique(x).size:
        raise MapRefusal("too_few_marks", f"a table needs {TREND + 1} or more positions, each once, found {x.size}")
    if not np.ptp(y) > 0:
        raise MapRefusal("no_spread", "all densities are the same")
    order = np.argsort(x)
    x, y = x[order], y[order]
    u = (x - x[0]) / (x[-1] - x[0]) + _START
    z = np.log(noise_steps(USUAL_READING_NOISE)[0] / USUAL_READING_NOISE) / LOG_SIGMA_PRIOR_SD
    # The spline's own prior is -z^2/2 at its steps z; this leaves -(z/2)^2/2 of it.
    widened = 0.5 * z * z * (1.0 - _NOISE_LESS_KNOWN**-2)
    table = FilterTable(x, y, fit_splines(u, y, 1.0, USUAL_READING_NOISE, widened[None]))
    if not table.monotone:
        raise MapRefusal("not_monotone", "the density turns back on itself: measure the points about the turn again")
    return table
