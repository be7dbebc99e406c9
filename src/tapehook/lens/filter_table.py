"""A variable filter from its measured table: density as a smooth curve over the turn of its ring, with a band.

Fitted like a lens map (``tapehook.lens.spline``), but the other way round: density over position, as near the resting
end of a pair of polarisers the density hardly changes over many degrees, and position over density would stand upright.
The curve must rise or fall throughout between the ends of the table; it is checked, not forced.

Where the law of two polarisers explains the table but for its noise, that law is the trend and the spline has what is
left: between its last two points a pair climbs to crossing and stops dead, which no smooth curve could guess.
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
_MOST_LEFT = 0.04
"""Root mean square that the law of two polarisers may leave of densities to be taken: the noise of a poor meter."""
_START = 0.05
_DENSE = 2001


@dataclass(frozen=True)
class FilterTable:
    """A fitted table. ``positions_deg`` (n,) rising, as measured; density is known between its ends only."""

    positions_deg: Floats
    densities: Floats
    fit: SplineFit
    law: Floats | None = None
    """The law of two polarisers under it: a, b, c of the light a + b cos 2x + c sin 2x; None where it is no pair."""

    def _curve(self, position_deg: npt.ArrayLike) -> Floats:
        """Density at ring angles (G,), also outside the table."""
        x = np.atleast_1d(np.asarray(position_deg, dtype=np.float64))
        curve: Floats = self.fit.curve(self._place(x))[0]
        return curve if self.law is None else curve + _law_density(self.law, x)

    def _place(self, position_deg: npt.ArrayLike) -> Floats:
        first, last = self.positions_deg[0], self.positions_deg[-1]
        place: Floats = (np.atleast_1d(np.asarray(position_deg, dtype=np.float64)) - first) / (last - first) + _START
        return place

    def density(self, position_deg: npt.ArrayLike) -> Floats:
        """Density at ring angles (G,): (G,); NaN outside the table."""
        place = self._place(position_deg)
        inside = (place >= _START - 1e-12) & (place <= 1.0 + _START + 1e-12)
        density: Floats = np.where(inside, self._curve(position_deg), np.nan)
        return density

    def density_band(self, position_deg: npt.ArrayLike) -> Floats:
        """Half-width of the 95 % band of the density at ring angles (G,): (G,)."""
        x = np.atleast_1d(np.asarray(position_deg, dtype=np.float64))
        sd = self.fit.predict(self._place(x))[1][0]
        if self.law is not None:  # the spline takes the law for known, which it is only as well as the table tells
            rows, place = _law_rows(self.positions_deg, self.densities), _law_rows(x, _law_density(self.law, x))
            reach = np.einsum("gi,ij,gj->g", place, np.linalg.pinv(rows.T @ rows), place)
            sd = np.hypot(sd, self.fit.noise[0] * np.sqrt(np.maximum(reach, 0.0)))
        band: Floats = Z95 * sd
        return band

    @cached_property
    def _dense(self) -> tuple[Floats, Floats]:
        positions = np.linspace(self.positions_deg[0], self.positions_deg[-1], _DENSE)
        return positions, self._curve(positions)

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
            here, ahead = self._curve(angle), self._curve(angle + 1e-4)
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
        change = self._curve(at + step) - self._curve(at - step)
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
    law = _pair_law(x, y)
    left = y if law is None else y - _law_density(law, x)
    table = FilterTable(x, y, fit_splines(u, left, 1.0, USUAL_READING_NOISE, widened[None]), law)
    if not table.monotone:
        raise MapRefusal("not_monotone", "the density turns back on itself: measure the points about the turn again")
    return table


def _law_density(law: Floats, position_deg: Floats) -> Floats:
    """Density of the light a + b cos 2x + c sin 2x, that is K0 cos^2 + K90 sin^2 of the angle from aligned."""
    twice = np.radians(2.0 * position_deg)
    light = law[0] + law[1] * np.cos(twice) + law[2] * np.sin(twice)
    density: Floats = -np.log10(np.maximum(light, 1e-9))
    return density


def _pair_law(position_deg: Floats, densities: Floats) -> Floats | None:
    """The law of two polarisers nearest to a table, by least squares of relative light; None where it is none.

    Linear in its three constants: each row is divided by its light, so that equal errors of density weigh alike.
    """
    rows = _law_rows(position_deg, densities)
    law = np.asarray(np.linalg.lstsq(rows, np.ones(rows.shape[0]), rcond=None)[0], dtype=np.float64)
    if not law[0] > np.hypot(law[1], law[2]):
        return None
    left = densities - _law_density(law, position_deg)
    explained = float(np.sqrt(np.mean(left**2) * left.size / (left.size - 3.0))) <= _MOST_LEFT
    return law if explained else None


def _law_rows(position_deg: Floats, densities: Floats) -> Floats:
    """1, cos 2x and sin 2x of each place (n, 3), each over the light there."""
    twice = np.radians(2.0 * position_deg)
    rows: Floats = np.stack([np.ones_like(twice), np.cos(twice), np.sin(twice)], axis=1) * 10.0 ** densities[:, None]
    return rows
