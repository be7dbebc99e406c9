"""Light through a lens at its engraved stops: how far off, how sure, and whether it ramps.

Levels are in stops against a reference, positive: brighter. A T-number calibrated right passes the same light on every
lens; an engraving may be off by 12 % of the area of the opening, a sixth of a stop (Proposed American Standard
PH22.90, Aperture Calibration of Motion Picture Lenses, J. SMPTE 59 (1952), section 9.1).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

TOLERANCE_STOPS = 1.0 / 6.0
"""What an engraved stop may be off: PH22.90, section 9.1, 12 % of area, log2(1.12) = 0.16."""
USUAL_SD_STOPS = 0.05
"""One standard deviation of one measured level where nothing was measured twice. Common practice, no source."""
ENOUGH_REPEATS = 4
"""So many repeats beyond the first of each setting say how well levels repeat."""


@dataclass(frozen=True, slots=True)
class LevelLine:
    """A straight line through levels over some x: ``level``, stops, at the mean of x, and ``slope``, stops per x.

    ``level_sd`` and ``slope_sd`` are one standard deviation; ``slope`` is 0 with ``slope_sd`` inf when x does not vary.
    ``span`` is the range of x.
    """

    level: float
    level_sd: float
    slope: float
    slope_sd: float
    span: float

    @property
    def ramp(self) -> float:
        """Change of level from the lowest to the highest x, stops."""
        return self.slope * self.span

    @property
    def ramp_sd(self) -> float:
        """Standard deviation of ``ramp``; inf when x does not vary."""
        return self.slope_sd * self.span if self.span else np.inf


def repeat_sd(groups: Sequence[npt.ArrayLike]) -> tuple[float, bool]:
    """Standard deviation of one level from settings measured more than once, and whether it was measured at all.

    ``groups`` are the levels (n,) of one setting each; their scatter about their own means is pooled (JCGM 100:2008,
    4.2.4). Too few repeats give ``USUAL_SD_STOPS``.
    """
    levels = [np.asarray(group, dtype=np.float64) for group in groups]
    free = sum(group.size - 1 for group in levels)
    if free < ENOUGH_REPEATS:
        return USUAL_SD_STOPS, False
    return float(np.sqrt(sum(((group - group.mean()) ** 2).sum() for group in levels) / free)), True


def level_line(x: npt.ArrayLike, level: npt.ArrayLike, sd: npt.ArrayLike) -> LevelLine:
    """Weighted least squares of levels (n,) in stops over x (n,), each with a standard deviation above zero.

    Raises ValueError without levels.
    """
    at, y, s = np.broadcast_arrays(*(np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (x, level, sd)))
    if y.size == 0:
        raise ValueError("a line needs at least one level")
    weight = 1.0 / s**2
    middle = float((weight * at).sum() / weight.sum())
    mean = float((weight * y).sum() / weight.sum())
    spread = float((weight * (at - middle) ** 2).sum())
    mean_sd = float(1.0 / np.sqrt(weight.sum()))
    span = float(np.ptp(at))
    if span < 1e-9:
        return LevelLine(mean, mean_sd, 0.0, np.inf, 0.0)
    slope = float((weight * (at - middle) * (y - mean)).sum() / spread)
    return LevelLine(mean, mean_sd, slope, float(1.0 / np.sqrt(spread)), span)


def against_the_rest(slopes: npt.ArrayLike, sds: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Each slope (n,) less the weighted mean of the others, and its standard deviation; as they are with one lens.

    A slope all share is the meter's or the reference's, and no lens's fault.
    """
    slope, sd = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (slopes, sds))
    if slope.size < 2:
        return slope, sd
    weight = 1.0 / sd**2
    rest = weight.sum() - weight
    others = ((weight * slope).sum() - weight * slope) / rest
    return slope - others, np.sqrt(sd**2 + 1.0 / rest)
