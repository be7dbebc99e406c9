"""The curve behind every map: a quintic smoothing spline, fitted as a Gaussian process, many lenses at once.

Model, for lens b and mark i: y_i = h(u_i) beta + g(u_i) + noise, with the flat trend h(u) = (1, u, u^2) and g a
triply integrated Wiener process of intensity tau^2: cov(g(s), g(t)) = tau^2 k(s, t),
k = m^3 (10 M^2 - 5 M m + m^2)/120, m and M the smaller and larger argument. The noise has variance
sigma^2 v_i, v_i known. Source: G. Wahba, Spline Models for Observational Data (1990), chapter 1 (order m = 3);
restricted likelihood as in C. Rasmussen and C. Williams, Gaussian Processes for Machine Learning (2006),
section 2.7 (trend with a vague prior).

Instead of one best (tau, sigma) the result averages over a small grid of both, weighted by restricted likelihood
and prior, so that the band tells the truth when marks are few. The trend is projected off (QR), one
eigendecomposition of what is left makes every grid point cheap.

Shapes: B lenses, n marks, G places to predict at, m = n - 3 contrasts.
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

TREND = 3
"""Terms of the flat trend: with so many marks the quadratic is fixed and nothing is left to judge the noise by."""

LOG_TAU_PRIOR = (1.0, 0.7)
"""Mean and sd of ln(tau / span of the positions): how much cams bend, found on simulated lenses (docs/lens-maps.md)."""
LOG_SIGMA_PRIOR_SD = 0.5
"""sd of ln sigma about ln of the usual reading noise."""

_BLOCK = 256
"""Lenses worked on at a time, so that what a step leaves is still in the processor's cache for the next."""

_TAU_STEPS = np.linspace(-3.0, 3.0, 9)
_SIGMA_STEPS = np.linspace(-2.0, 2.0, 9)
"""Steps of the grid in standard deviations of the two priors."""
SIGMA_COUNT = _SIGMA_STEPS.size


def _gram(a: Floats, b: Floats) -> Floats:
    """Kernel k between places (..., n) and (..., p): (..., n, p)."""
    s, t = a[..., :, None], b[..., None, :]
    small, large = np.minimum(s, t), np.maximum(s, t)
    gram: Floats = small * small * small * (large * (10.0 * large - 5.0 * small) + small * small) / 120.0
    return gram


def _trend(u: Floats) -> Floats:
    """Trend rows (..., n, 3)."""
    return np.stack([np.ones_like(u), u, u * u], axis=-1)


@dataclass(frozen=True, slots=True)
class SplineFit:
    """Fitted curves of B lenses with n marks each, ready to predict anywhere.

    ``u`` (B, n) places of the marks, ``y`` (B, n) their positions, ``weight`` (B, n) = 1/sqrt(v). ``noise`` (B,) is the
    posterior mean of sigma. The rest are the factors of the fit (module docstring): ``to_trend`` (B, 3, n) takes
    whitened data to coefficients of the trend, ``gram`` (B, n, n) the whitened kernel, ``contrasts`` (B, n, m). The
    curve itself is h(u) ``trend`` + k(u, marks) ``bend``, with ``trend`` (B, 3) and ``bend`` (B, n). Averages over the
    grid, with d = tau^2 lam + sigma^2: ``pull_cov`` (B, m, m) covariance of z tau^2/d, z the data in contrasts, and
    ``spare``, ``precision``, ``precision_z`` (B, m) means of tau^4/d, 1/d, z/d; ``tau2``, ``sigma2`` (B,).
    """

    u: Floats
    y: Floats
    weight: Floats
    to_trend: Floats
    gram: Floats
    contrasts: Floats
    trend: Floats
    bend: Floats
    noise: Floats
    pull_cov: Floats
    spare: Floats
    precision: Floats
    precision_z: Floats
    tau2: Floats
    sigma2: Floats

    def curve(self, places: npt.ArrayLike) -> Floats:
        """The mean of ``predict`` alone, (B, G), at a fraction of the work."""
        g = self._each(places)
        mean: Floats = (_trend(g) @ self.trend[..., None] + _gram(g, self.u) @ self.bend[..., None])[..., 0]
        return mean

    def predict(self, places: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the curve (not of a new reading) at ``places`` (B, G) or (G,): two (B, G)."""
        g = self._each(places)
        mean, sd = np.empty(g.shape), np.empty(g.shape)
        for block in _blocks(g.shape[0]):
            mean[block], sd[block] = self._lenses(block)._predict_block(g[block])  # noqa: SLF001 - the same class
        return mean, sd

    def covariance(self, places: npt.ArrayLike, others: npt.ArrayLike) -> Floats:
        """Posterior covariance of the curve between ``places`` (B, G) or (G,) and ``others`` (B, P) or (P,): (B, G, P).

        Averaged over the grid like the variance of ``predict``, which is its diagonal for equal places.
        """
        g, h = self._each(places), self._each(others)
        rows, left, lever = self._reach(g)
        rows_h, left_h, lever_h = (np.swapaxes(part, -1, -2) for part in self._reach(h))
        kernel_h = left_h + self.gram @ rows_h
        own = _gram(g, h) - rows @ kernel_h - left @ rows_h
        cov: Floats = self.tau2[:, None, None] * own + self.sigma2[:, None, None] * (rows @ rows_h)
        cov += lever @ (self.pull_cov @ lever_h - self.spare[..., None] * lever_h)
        return cov

    def _reach(self, g: Floats) -> tuple[Floats, Floats, Floats]:
        """How whitened marks reach places (B, G): (B, G, n) in the trend, (B, G, n) besides, (B, G, m) by contrasts."""
        rows = _trend(g) @ self.to_trend
        left = _gram(g, self.u) * self.weight[:, None, :] - rows @ self.gram
        return rows, left, left @ self.contrasts

    def _each(self, places: npt.ArrayLike) -> Floats:
        """Places of each lens, (B, G), from (B, G) or from (G,) for all."""
        return np.broadcast_to(np.asarray(places, dtype=np.float64), (self.u.shape[0], np.shape(places)[-1]))

    def _lenses(self, chosen: slice) -> "SplineFit":
        """The fits of some of the lenses."""
        return SplineFit(*(getattr(self, field.name)[chosen] for field in fields(self)))

    def _predict_block(self, g: Floats) -> tuple[Floats, Floats]:
        """``predict`` for so many lenses as stay in the processor's cache."""
        trend, kernel = _trend(g), _gram(g, self.u)
        mean = (trend @ self.trend[..., None] + kernel @ self.bend[..., None])[..., 0]
        kernel *= self.weight[:, None, :]
        rows = trend @ self.to_trend  # what the whitened data of each mark count in the trend
        left = kernel - rows @ self.gram
        lever = left @ self.contrasts
        own = g**5 / 20.0 - np.einsum("bgn,bgn->bg", rows, kernel + left)
        variance = self.tau2[:, None] * own + self.sigma2[:, None] * np.einsum("bgn,bgn->bg", rows, rows)
        variance -= np.einsum("bgm,bm->bg", lever * lever, self.spare)
        variance += np.einsum("bgm,bgm->bg", lever @ self.pull_cov, lever)
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """For each mark, its own position minus what the other marks predict, and the sd of that: two (B, n).

        The sd includes the noise of the mark itself. With C the covariance with the trend taken out
        (C^-1 = A diag(1/d) A'), residual = [C^-1 y]_i / [C^-1]_ii and variance = 1/[C^-1]_ii, at the grid's average of
        1/d. Source: Rasmussen and Williams (2006), equations 5.10 to 5.12.
        """
        inverse_diag = np.einsum("bnm,bm->bn", self.contrasts**2, self.precision)
        inverse_y = np.einsum("bnm,bm->bn", self.contrasts, self.precision_z)
        with np.errstate(divide="ignore", invalid="ignore"):
            residual = inverse_y / inverse_diag / self.weight
            sd = 1.0 / np.sqrt(inverse_diag) / self.weight
        return residual, sd


def fit_splines(
    u: npt.ArrayLike,
    y: npt.ArrayLike,
    noise_variance: npt.ArrayLike,
    usual_noise: npt.ArrayLike,
    noise_log_weight: npt.ArrayLike | None = None,
) -> SplineFit:
    """Fit B lenses with n marks each.

    ``u`` (B, n): places, positive and at most a few; ``y`` (B, n): positions; ``noise_variance`` (B, n): variance of
    each mark relative to one reading (0.5 for the mean of two); ``usual_noise`` (B,) or scalar: the reading noise sigma
    most likely beforehand, in the unit of ``y``. ``noise_log_weight`` (B, S): what else is known of sigma, as ln of its
    likelihood at each ``noise_steps``. Raises ValueError when n < 4 or shapes differ.
    """
    u, y = np.atleast_2d(np.asarray(u, dtype=np.float64)), np.atleast_2d(np.asarray(y, dtype=np.float64))
    v = np.broadcast_to(np.asarray(noise_variance, dtype=np.float64), u.shape)
    if u.shape != y.shape or u.shape[1] <= TREND:
        raise ValueError(f"need at least {TREND + 1} marks and equal shapes, got u {u.shape} and y {y.shape}")
    usual = np.broadcast_to(np.asarray(usual_noise, dtype=np.float64), u.shape[:1])
    known = np.zeros((u.shape[0], _SIGMA_STEPS.size)) if noise_log_weight is None else np.asarray(noise_log_weight)
    fits = [_fit_block(u[b], y[b], v[b], usual[b], known[b]) for b in _blocks(u.shape[0])]
    if len(fits) == 1:
        return fits[0]
    return SplineFit(*(np.concatenate([getattr(fit, field.name) for fit in fits]) for field in fields(SplineFit)))


def noise_steps(usual_noise: npt.ArrayLike) -> Floats:
    """The values of sigma (B, S) that a fit averages over, in the unit of ``usual_noise`` (B,) or scalar."""
    usual = np.atleast_1d(np.asarray(usual_noise, dtype=np.float64))
    steps: Floats = np.exp(_SIGMA_STEPS * LOG_SIGMA_PRIOR_SD)[None, :] * usual[:, None]
    return steps


def _blocks(count: int) -> list[slice]:
    """Slices of up to ``_BLOCK`` lenses; an empty one for none."""
    return [slice(i, i + _BLOCK) for i in range(0, max(count, 1), _BLOCK)]


@dataclass(frozen=True, slots=True)
class Whitened:
    """Data with equal noise and the trend taken out: the eigenvalues ``lam`` (B, m), and ``z`` (B, m) in contrasts."""

    weight: Floats
    gram: Floats
    whitened: Floats
    q1: Floats
    r: Floats
    contrasts: Floats
    lam: Floats
    z: Floats


def whiten(u: Floats, y: Floats, v: Floats) -> Whitened:
    """Whiten, project the trend off (QR), and diagonalise what is left."""
    weight = 1.0 / np.sqrt(v)
    gram = _gram(u, u) * weight[:, :, None] * weight[:, None, :]
    q, r = np.linalg.qr(_trend(u) * weight[:, :, None], mode="complete")
    q1, q2 = q[..., :TREND], q[..., TREND:]
    lam, vectors = np.linalg.eigh(np.swapaxes(q2, -1, -2) @ gram @ q2)
    contrasts = q2 @ vectors
    lam = np.maximum(lam, 0.0)
    whitened = (weight * y)[..., None]
    z = (np.swapaxes(contrasts, -1, -2) @ whitened)[..., 0]
    return Whitened(weight, gram, whitened, q1, r[:, :TREND], contrasts, lam, z)


def _fit_block(u: Floats, y: Floats, v: Floats, usual: Floats, known: Floats) -> SplineFit:
    """``fit_splines`` for so many lenses as stay in the processor's cache."""
    data = whiten(u, y, v)
    pull, *averages = _average(data.lam, data.z, np.ptp(y, axis=1), usual, known)
    to_trend = np.asarray(np.linalg.solve(data.r, np.swapaxes(data.q1, -1, -2)), dtype=np.float64)
    bend = data.contrasts @ pull[..., None]
    trend = to_trend @ (data.whitened - data.gram @ bend)
    return SplineFit(
        u,
        y,
        data.weight,
        to_trend,
        data.gram,
        data.contrasts,
        trend[..., 0],
        data.weight * bend[..., 0],
        *averages,
    )


def variance_grid(span: Floats, usual: Floats) -> tuple[Floats, Floats]:
    """tau^2 and sigma^2 of every grid point, (B, 81) each: a grid of ln(tau/span) and ln(sigma/usual)."""
    mean, sd = LOG_TAU_PRIOR
    tau = np.exp(mean + sd * _TAU_STEPS)[None, :] * np.maximum(span, 1e-12)[:, None]
    return np.repeat(tau**2, _SIGMA_STEPS.size, axis=1), np.tile(noise_steps(usual) ** 2, (1, _TAU_STEPS.size))


def _average(lam: Floats, z: Floats, span: Floats, usual: Floats, known: Floats) -> tuple[Floats, ...]:
    """Average over the grid of (tau, sigma): mean of z tau^2/d, (B, m), then the fields of ``SplineFit`` from noise on.

    All lenses share one grid of ln(tau/span) and ln(sigma/usual), so the grid is walked once for the whole batch.
    """
    tau2, sigma2 = variance_grid(span, usual)
    # In place where it can be: these are the largest arrays of a fit, and new ones cost more than the arithmetic.
    inverse = tau2[..., None] * lam[:, None, :]
    inverse += sigma2[..., None]
    np.reciprocal(inverse, out=inverse)
    # The product of m variances stays far from under- and overflow for any m in use, and one log beats m.
    log_weight = 0.5 * np.log(inverse).sum(axis=2)
    log_weight -= 0.5 * (inverse @ (z * z)[..., None])[..., 0]
    log_weight += LOG_PRIOR
    log_weight += np.tile(known, (1, _TAU_STEPS.size))
    log_weight -= log_weight.max(axis=1, keepdims=True)
    w = np.exp(log_weight)
    w /= w.sum(axis=1, keepdims=True)
    smooth = inverse * tau2[..., None]
    pull = (w[:, None, :] @ smooth)[:, 0] * z
    spare = ((w * tau2)[:, None, :] @ smooth)[:, 0]
    precision = (w[:, None, :] @ inverse)[:, 0]
    moved = smooth  # from here on z tau^2/d minus its mean, weighted
    moved *= z[:, None, :]
    moved -= pull[:, None, :]
    moved *= np.sqrt(w)[..., None]
    return (
        pull,
        np.einsum("bg,bg->b", w, np.sqrt(sigma2)),
        np.swapaxes(moved, -1, -2) @ moved,
        spare,
        precision,
        precision * z,
        np.einsum("bg,bg->b", w, tau2),
        np.einsum("bg,bg->b", w, sigma2),
    )


LOG_PRIOR = (-0.5 * _TAU_STEPS[:, None] ** 2 - 0.5 * _SIGMA_STEPS[None, :] ** 2).ravel()
