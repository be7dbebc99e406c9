"""The map of one ring of one lens: position as a function of what is set, with a band, and its inverse."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.lens.marks import Marks, Play
from tapehook.lens.noise import USUAL_NOISE_DEG, pair_evidence, reading_sd
from tapehook.lens.scale import FocusScale, Scale
from tapehook.lens.spline import TREND, SplineFit, fit_splines

Floats = npt.NDArray[np.float64]

Z95 = 1.959963984540054
"""Half-width of a 95 % band in standard deviations of a normal distribution."""
_DENSE = 1001


class MapRefusal(ValueError):
    """These readings cannot make a map, or the map cannot be used that way; ``code`` says why."""

    def __init__(self, code: Literal["too_few_marks", "no_spread", "not_monotone"], message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True)
class LensMap:
    """Position against value for one ring, derived from marks and never typed.

    ``degrees_per_unit`` turns positions into degrees of ring. ``marks`` are what it rests on, ``fit`` the curve in
    degrees over places of ``scale``. Positions are at the centre of the play unless ``marks.one_way``.
    """

    scale: Scale
    marks: Marks
    fit: SplineFit
    degrees_per_unit: float
    far_value: float
    near_value: float
    centre_sd_deg: float = 0.0
    """How far the centre of the play may be from where the readings stand, where that is not known: read one way."""

    def position(self, value: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Position and standard deviation of the curve, in the unit of the read-out, at values (G,): two (G,).

        Outside the marks the curve goes on and the deviation grows with it.
        """
        places = np.atleast_1d(self.scale.place(value))
        mean, sd = self.fit.predict(places)
        return mean[0] / self.degrees_per_unit, sd[0] / self.degrees_per_unit

    def curve(self, value: npt.ArrayLike) -> Floats:
        """Position alone, in the unit of the read-out, at values (G,): (G,), at a fraction of the work."""
        return self._curve(np.atleast_1d(self.scale.place(value)))

    def _curve(self, places: Floats) -> Floats:
        """Position at places (G,): (G,)."""
        positions: Floats = self.fit.curve(places)[0] / self.degrees_per_unit
        return positions

    def position_band(self, value: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Position and half-width of its 95 % band at values (G,): two (G,), wider where the centre is not known."""
        mean, sd = self.position(value)
        return mean, Z95 * np.hypot(sd, self.centre_sd_deg / self.degrees_per_unit)

    def slope_per_place(self, value: npt.ArrayLike) -> Floats:
        """Change of position per unit of place u, at values (G,), by central differences of the smooth curve."""
        u = np.atleast_1d(self.scale.place(value))
        step = 1e-4
        slope: Floats = (self._curve(u + step) - self._curve(u - step)) / (2.0 * step)
        return slope

    @cached_property
    def _dense(self) -> tuple[Floats, Floats]:
        """Places from the far to the near end, and positions there."""
        ends = self.scale.place([self.far_value, self.near_value])
        places = np.linspace(ends[0], ends[1], _DENSE)
        return places, self._curve(places)

    @property
    def toward_near(self) -> Literal[-1, 1]:
        """+1 when positions rise toward near (for other rings: toward larger values), else -1."""
        positions = self._dense[1]
        return 1 if positions[-1] >= positions[0] else -1

    @property
    def monotone(self) -> bool:
        """True when the position moves one way only from the far end to the near end."""
        steps = np.diff(self._dense[1]) * self.toward_near
        return bool(np.all(steps > 0))

    def value(self, position: npt.ArrayLike) -> Floats:
        """What the ring sets at positions (G,): the inverse of ``position``. NaN beyond either end of the map.

        Raises MapRefusal when the map is not monotone: one position would then mean two distances.
        """
        if not self.monotone:
            raise MapRefusal("not_monotone", "the map turns back on itself, so a position has no single distance")
        places, positions = self._dense
        sign = self.toward_near
        ends = np.sort(positions[[0, -1]])
        target = np.atleast_1d(np.asarray(position, dtype=np.float64))
        # A position worked out for an end may miss it by a rounding error: that is the end, and not beyond it.
        held = np.clip(target, ends[0], ends[1])
        target = np.where(np.abs(target - held) <= 1e-9 * (ends[1] - ends[0]), held, np.nan)
        u = np.interp(target * sign, positions * sign, places)
        for _ in range(2):  # two secant steps from a thousandth of the range reach rounding error
            here, ahead = self._curve(u), self._curve(u + 1e-5)
            u = u - (here - target) * 1e-5 / (ahead - here)
        inside = np.clip(u, places[0], places[-1])
        found: Floats = self.scale.value(inside)
        return found

    def grid(self, count: int = 201) -> tuple[Floats, Floats, Floats]:
        """Values even in place from the far to the near end, positions, and half-widths of the 95 % band: (count,)."""
        ends = self.scale.place([self.far_value, self.near_value])
        places = np.linspace(ends[0], ends[1], count)
        mean, sd = self.fit.predict(places)
        values = self.scale.value(places)
        values[0], values[-1] = self.far_value, self.near_value
        half_width: Floats = Z95 * np.hypot(sd[0], self.centre_sd_deg) / self.degrees_per_unit
        return values, mean[0] / self.degrees_per_unit, half_width

    def residuals(self) -> Floats:
        """Position of each mark minus the curve, (n,)."""
        return self.marks.positions - self.curve(self.marks.values)

    def held_out(self) -> tuple[Floats, Floats]:
        """Position of each mark minus what the other marks predict, and the sd of that: two (n,)."""
        residual, sd = self.fit.leave_one_out()
        return residual[0] / self.degrees_per_unit, sd[0] / self.degrees_per_unit

    @property
    def noise(self) -> float:
        """Standard deviation of one reading with what its mark is off, in the unit of the read-out."""
        return float(self.fit.noise[0]) / self.degrees_per_unit

    @property
    def reading_noise(self) -> float:
        """Standard deviation of one reading against another of the same mark, in the unit of the read-out."""
        return float(reading_sd(self.fit.noise)[0]) / self.degrees_per_unit

    def play(self) -> Play | None:
        """Backlash, in the unit of the read-out; None when no mark was read both ways."""
        return self.marks.play(self.toward_near, self.reading_noise)


def fit_map(
    marks: Marks,
    scale: Scale,
    *,
    degrees_per_unit: float,
    far_value: float,
    near_value: float,
    taping_sd_m: npt.ArrayLike | None = None,
    half_play_rms_deg: float = 0.0,
) -> LensMap:
    """Fit a map to marks.

    ``far_value`` and ``near_value`` are the ends the map has to reach (infinity and close focus). ``taping_sd_m`` (n,)
    is the standard deviation of each taped distance; it counts as (slope q^2 sd)^2 of position.
    ``half_play_rms_deg`` is how far from the centre of the play readings usually stand, for marks read one way only:
    the band is wider by it. Raises MapRefusal with fewer than four marks, or when all positions are equal.
    """
    if marks.values.size <= TREND:
        found = marks.values.size
        raise MapRefusal("too_few_marks", f"a map needs marks at {TREND + 1} different values, found {found}")
    positions = marks.positions * degrees_per_unit
    if not np.ptp(positions) > 0:
        raise MapRefusal("no_spread", "all positions are the same")
    u = scale.place(marks.values)
    known = pair_evidence(marks.pair_differences[None] * degrees_per_unit)
    fit = fit_splines(u, positions, marks.relative_variance, USUAL_NOISE_DEG, known)
    centre_sd_deg = half_play_rms_deg if marks.one_way else 0.0
    lens_map = LensMap(scale, marks, fit, degrees_per_unit, far_value, near_value, centre_sd_deg)
    if taping_sd_m is None or not isinstance(scale, FocusScale) or not marks.taped.any():
        return lens_map
    sd = np.where(marks.taped, np.asarray(taping_sd_m, dtype=np.float64), 0.0)
    # Twice: the slope, and the reading noise that the tape is weighed against, come from the fit before; the noise
    # of a fit that knew nothing of the tape would count the tape in, so the usual noise starts.
    noise = USUAL_NOISE_DEG
    for _ in range(2):
        extra = _taping_variance(lens_map, scale, sd) / noise**2
        fit = fit_splines(u, positions, marks.relative_variance + extra, USUAL_NOISE_DEG, known)
        lens_map = replace(lens_map, fit=fit)
        noise = float(fit.noise[0])
    return lens_map


def _taping_variance(lens_map: LensMap, scale: FocusScale, sd_m: Floats) -> Floats:
    """Variance of position, degrees squared, that an error of the tape brings: (dy/dq q^2 sd)^2."""
    q = scale.vergence(lens_map.marks.values)
    slope = lens_map.slope_per_place(lens_map.marks.values) * lens_map.degrees_per_unit / scale.near_vergence_dpt
    variance: Floats = (slope * q * q * sd_m) ** 2
    return variance
