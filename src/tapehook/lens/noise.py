"""How well a ring is read: the usual noise, and what marks read both ways say of it.

Two readings of a mark share what the mark itself is off, so their difference tells the reading noise alone; the
scatter of marks about a curve tells both together.
"""

import numpy as np
import numpy.typing as npt

from tapehook.lens.spline import noise_steps

Floats = npt.NDArray[np.float64]

USUAL_NOISE_DEG = 0.18
"""Reading noise most likely beforehand, degrees. Common practice, no source; the data move it by a factor e or so."""
MARK_NOISE_DEG = 0.06
"""How far a mark itself sits from its place, and gears from true, degrees of ring (one sd). Reading a mark
twice does not help. Common practice, no source: engraving is good to 0.02 to 0.10, and this is the middle of it. With
more than that the band of lenses read with little noise covers too often (docs/checks/slips.md)."""
USUAL_PLAY_SD_DEG = 0.6
"""Standard deviation of the backlash beforehand, either sign. Common practice, no source: gears show 0 to 0.8."""

_LOG_2PI = float(np.log(2.0 * np.pi))


def reading_sd(noise_deg: npt.ArrayLike) -> Floats:
    """Standard deviation of one reading without what its mark is off, from the noise sigma of a fit.

    The centre of a pair has variance sigma^2/2, of which the mark's own is ``MARK_NOISE_DEG``^2. Some reading noise is
    always left: no reading is without it.
    """
    sigma = np.asarray(noise_deg, dtype=np.float64)
    left: Floats = np.sqrt(np.maximum(sigma**2 - 2.0 * MARK_NOISE_DEG**2, (0.3 * sigma) ** 2))
    return left


def pair_evidence(differences_deg: npt.ArrayLike, step_deg: float = 0.0) -> Floats:
    """ln density of the differences of pairs (B, n), NaN where there is none, at each of ``noise_steps``: (B, S).

    A difference is the backlash, N(0, ``USUAL_PLAY_SD_DEG``^2) and the same for all, plus the noise of two readings,
    2 (sigma_r^2 + step^2/12), with sigma_r of ``reading_sd`` and the read-out's step ``step_deg``: a multivariate
    normal whose covariance is a multiple of the identity plus a constant.
    """
    given = np.asarray(differences_deg, dtype=np.float64)
    there = np.isfinite(given)
    d = np.where(there, given, 0.0)
    k, s1, s2 = (part.sum(axis=1)[:, None] for part in (there.astype(np.float64), d, d**2))
    variance = 2.0 * (reading_sd(noise_steps(USUAL_NOISE_DEG)) ** 2 + step_deg**2 / 12.0)
    play = USUAL_PLAY_SD_DEG**2
    with_play = variance + k * play
    log_determinant = (k - 1.0) * np.log(variance) + np.log(with_play)
    squares = (s2 - s1**2 * play / with_play) / variance
    density: Floats = -0.5 * (np.where(k > 0, log_determinant, 0.0) + squares + k * _LOG_2PI)
    return density
