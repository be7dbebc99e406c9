"""How well marks hang together: the evidence of a curve, so that one explanation can be weighed against another.

The evidence of marks is the density of their positions under the model of ``spline``, with curve and trend integrated
out and (tau, sigma) averaged over the grid. With W = diag(1/sqrt(v)), whitened trend Hw = W H, and the contrasts z of
the whitened positions with variances d = tau^2 lam + sigma^2,

    ln p(y) = -1/2 sum ln d - 1/2 sum z^2/d - 1/2 ln|Hw' Hw| + sum ln w - m/2 ln 2 pi,

a flat prior on the trend. What pairs of readings say of the noise (``noise``) goes in at each sigma. The determinant
stays in: it differs when an explanation moves a mark to another distance.

Source: C. Rasmussen and C. Williams, Gaussian Processes for Machine Learning (2006), section 2.7; comparing
explanations by evidence: D. MacKay, Information Theory, Inference, and Learning Algorithms (2003), chapter 28.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.noise import pair_evidence
from tapehook.lens.spline import LOG_PRIOR, SIGMA_COUNT, Whitened, variance_grid, whiten

Floats = npt.NDArray[np.float64]

_LOG_2PI = float(np.log(2.0 * np.pi))
_LOG_PRIOR = LOG_PRIOR - np.log(np.exp(LOG_PRIOR).sum())


def log_sum_exp(terms: Floats, axis: int = -1) -> Floats:
    """ln of the sum of exp(terms) along an axis, safe from overflow."""
    top = terms.max(axis=axis, keepdims=True)
    total: Floats = np.log(np.exp(terms - top).sum(axis=axis)) + np.squeeze(top, axis=axis)
    return total


_LOG_SIGMA_PRIOR = log_sum_exp(_LOG_PRIOR.reshape(-1, SIGMA_COUNT), axis=0)


def log_evidence(
    u: Floats, y: Floats, v: Floats, differences: Floats, usual_noise_deg: float, step_deg: float
) -> Floats:
    """ln density of H explanations of the same lens, (H,), each with its own places, positions and variances (H, n).

    ``v`` is relative to one reading, positions in degrees, ``differences`` (H, n) those of pairs or NaN, ``step_deg``
    the step of the read-out. Explanations with fewer marks give densities of fewer values: comparing them needs the
    density of what was left out, too.
    """
    data = whiten(u, y, v)
    at_grid, _ = _at_grid(data, np.ptp(y, axis=1), differences, usual_noise_deg, step_deg)
    return log_sum_exp(at_grid) + _constant(data)


def _at_grid(data: Whitened, span: Floats, differences: Floats, usual: float, step_deg: float) -> tuple[Floats, Floats]:
    """ln evidence less its constant at each grid point, prior in, (H, G), and 1/d there, (H, G, m)."""
    tau2, sigma2 = variance_grid(span, np.broadcast_to(np.float64(usual), span.shape))
    inverse = 1.0 / (tau2[..., None] * data.lam[:, None, :] + sigma2[..., None])
    fit = 0.5 * np.log(inverse).sum(axis=2) - 0.5 * (inverse @ (data.z**2)[..., None])[..., 0]
    pairs = np.tile(pair_evidence(differences, step_deg), (1, fit.shape[1] // SIGMA_COUNT))
    return fit + pairs + _LOG_PRIOR, inverse


def _constant(data: Whitened) -> Floats:
    """The part of ln p(y) that does not depend on (tau, sigma), (H,)."""
    corner = np.abs(np.diagonal(data.r, axis1=-2, axis2=-1))  # |Hw' Hw| is the square of their product
    total: Floats = np.log(data.weight).sum(axis=1) - np.log(corner).sum(axis=1) - 0.5 * data.lam.shape[1] * _LOG_2PI
    return total


@dataclass(frozen=True, slots=True)
class MarkEvidence:
    """The evidence of the marks of H lenses as read, and what each mark weighs in it.

    ``at_grid`` (H, G): ln evidence at each grid point, prior in; ``precision`` and ``pull`` (H, G, n): for the inverse
    covariance C^-1 with the trend taken out, its diagonal and C^-1 y.
    """

    at_grid: Floats
    precision: Floats
    pull: Floats

    @property
    def total(self) -> Floats:
        """ln p(y), (H,)."""
        return log_sum_exp(self.at_grid)

    def worse(self, extra_variance: npt.ArrayLike) -> Floats:
        """ln p(y) if one mark at a time had so much more variance: (H, K, n) for K variances in degrees squared.

        Exact, by the rank-one update of C (matrix determinant lemma and Sherman-Morrison formula).
        """
        terms = []
        for extra in np.atleast_1d(np.asarray(extra_variance, dtype=np.float64)).tolist():
            grown = 1.0 + extra * self.precision
            gain = -0.5 * np.log(grown) + 0.5 * extra * self.pull**2 / grown
            terms.append(log_sum_exp(self.at_grid[..., None] + gain, axis=1))
        return np.stack(terms, axis=1)


def mark_evidence(
    u: Floats, y: Floats, v: Floats, differences: Floats, usual_noise_deg: float, step_deg: float
) -> MarkEvidence:
    """Evidence of H lenses with n marks each, arguments as for ``log_evidence``."""
    data = whiten(u, y, v)
    at_grid, inverse = _at_grid(data, np.ptp(y, axis=1), differences, usual_noise_deg, step_deg)
    lever = data.contrasts * data.weight[..., None]
    precision = inverse @ np.swapaxes(lever**2, -1, -2)
    pull = (inverse * data.z[:, None, :]) @ np.swapaxes(lever, -1, -2)
    return MarkEvidence(at_grid + _constant(data)[:, None], precision, pull)


def log_pair_evidence(differences_deg: Floats, step_deg: float) -> Floats:
    """ln density of the pairs' differences alone (H, n), NaN where there is no pair, averaged over the noise: (H,)."""
    return log_sum_exp(pair_evidence(differences_deg, step_deg) + _LOG_SIGMA_PRIOR)
