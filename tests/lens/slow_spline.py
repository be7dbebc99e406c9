"""The curve of a map computed a second, slow way: dense covariance matrices, one lens, one grid point at a time.

Nothing is shared with ``tapehook.lens.spline`` but the model: a quadratic trend with a flat prior, and a kernel found
here by integrating, not by its closed form. Universal kriging as in Rasmussen and Williams, Gaussian Processes for
Machine Learning (2006), equations 2.41 to 2.45, with Cholesky factors; the averages over the grid are plain sums.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

Floats = npt.NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)
"""Five Gauss nodes integrate polynomials up to degree nine exactly; the integrand below has degree four."""

TAU_PRIOR = (1.0, 0.7)
TAU_STEPS = 1.0 + 0.7 * np.linspace(-3.0, 3.0, 9)
SIGMA_STEPS = np.linspace(-2.0, 2.0, 9)
SIGMA_PRIOR_SD = 0.5
"""The grid and the priors as documented, written down again here."""


def kernel(s: float, t: float) -> float:
    """Covariance of a triply integrated Wiener process: the integral of (s-x)^2/2 (t-x)^2/2 from 0 to min(s, t)."""
    half = min(s, t) / 2.0
    x = half * (_NODES + 1.0)
    return float(half * np.sum(_WEIGHTS * (s - x) ** 2 / 2.0 * (t - x) ** 2 / 2.0))


def gram(a: Floats, b: Floats) -> Floats:
    """Kernel between all places of ``a`` (n,) and ``b`` (p,): (n, p)."""
    return np.array([[kernel(s, t) for t in b] for s in a])


@dataclass(frozen=True)
class Kernels:
    """The kernel of one lens between its marks, from places to marks, and of each place with itself."""

    of_marks: Floats
    to_marks: Floats
    own: Floats

    @staticmethod
    def of(u: Floats, places: Floats) -> "Kernels":
        """All of them, once for a whole grid."""
        return Kernels(gram(u, u), gram(places, u), np.array([kernel(x, x) for x in places]))


def trend(u: Floats) -> Floats:
    """Rows 1, u, u^2: (n, 3)."""
    return np.vander(u, 3, increasing=True)


@dataclass(frozen=True)
class Answer:
    """Mean and variance at places (G,), and log evidence, for one (tau, sigma)."""

    mean: Floats
    variance: Floats
    log_evidence: float


def answer(
    u: Floats, y: Floats, v: Floats, places: Floats, tau: float, sigma: float, kernels: Kernels | None = None
) -> Answer:
    """Universal kriging at one grid point."""
    k = kernels or Kernels.of(u, places)
    covariance = tau**2 * k.of_marks + np.diag(sigma**2 * v)
    factor = cho_factor(covariance, lower=True)
    h, h_at = trend(u), trend(places)
    inner = h.T @ cho_solve(factor, h)
    beta = np.linalg.solve(inner, h.T @ cho_solve(factor, y))
    residual = y - h @ beta
    cross = tau**2 * k.to_marks
    solved = cho_solve(factor, cross.T)
    mean = h_at @ beta + cross @ cho_solve(factor, residual)
    own = tau**2 * k.own - np.einsum("gn,ng->g", cross, solved)
    lever = h_at - solved.T @ h
    variance = own + np.einsum("gk,kg->g", lever, np.linalg.solve(inner, lever.T))
    log_det = 2.0 * np.log(np.diag(factor[0])).sum()
    evidence = -0.5 * (log_det + np.linalg.slogdet(inner)[1] + residual @ cho_solve(factor, residual))
    return Answer(mean, variance, float(evidence))


def predict(
    u: Floats,
    y: Floats,
    v: Floats,
    usual_noise: float,
    places: Floats,
    tau_steps: Floats = TAU_STEPS,
    sigma_steps: Floats = SIGMA_STEPS,
    known: Floats | None = None,
) -> tuple[Floats, Floats, float]:
    """Mean and sd at places (G,), and the mean reading noise, averaged over the grid by evidence and prior.

    ``known``: ln of what else speaks for each step of sigma.
    """
    answers, weights, sigmas = [], [], []
    kernels = Kernels.of(u, places)
    for tau_step in tau_steps:
        for k, sigma_step in enumerate(sigma_steps):
            tau, sigma = np.exp(tau_step) * np.ptp(y), np.exp(SIGMA_PRIOR_SD * sigma_step) * usual_noise
            found = answer(u, y, v, places, tau, sigma, kernels)
            prior = -0.5 * (((tau_step - TAU_PRIOR[0]) / TAU_PRIOR[1]) ** 2 + sigma_step**2)
            answers.append(found)
            weights.append(found.log_evidence + prior + (0.0 if known is None else known[k]))
            sigmas.append(sigma)
    w = np.exp(np.array(weights) - max(weights))
    w /= w.sum()
    means = np.array([found.mean for found in answers])
    mean = w @ means
    # The variance of a mixture: the mean of the variances and the variance of the means.
    variance = w @ np.array([found.variance for found in answers]) + w @ (means - mean) ** 2
    return mean, np.sqrt(variance), float(w @ np.array(sigmas))


def held_out(u: Floats, y: Floats, v: Floats, tau: float, sigma: float) -> tuple[Floats, Floats]:
    """Each mark minus what the other marks say at this (tau, sigma), and the sd of that, fitted anew each time."""
    residual, sd = np.empty(u.size), np.empty(u.size)
    for i in range(u.size):
        rest = np.arange(u.size) != i
        found = answer(u[rest], y[rest], v[rest], u[[i]], tau, sigma)
        residual[i] = y[i] - found.mean[0]
        sd[i] = np.sqrt(found.variance[0] + sigma**2 * v[i])
    return residual, sd
