"""Flange, scale or tape: what best focus on charts says of a lens, when its scale stands elsewhere than the chart.

With q the vergence of a distance at the front focal point (q = m/f, 0 at infinity), a chart in focus should find the
ring at q. A sensor that lies delta too far behind the lens, a scale that is off by the part kappa, and a tape that
starts t behind the image plane's mark (true distance = written + t) move what the ring says by

    dq = q_ring - q_chart = -delta/f^2 + kappa q - t q^2

(Newton's lens equation x x' = f^2: G. Smith and D. Atchison, The Eye and Visual Optical Instruments, 1997, chapter 3;
an image plane that moves by delta moves q by delta/f^2 at every distance). Weighted least squares, with what may be
there besides the flange switched on and off: each choice is weighed by its evidence, the probability of the charts
under it, and the estimates are averaged with these weights (C. Bishop, Pattern Recognition and Machine Learning, 2006,
section 3.4). So a cause is named only when the charts can tell it from the others.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

JUDGEMENT_USED = 0.15
"""Standard deviation of one best focus found on a chart, as a part of the half-width of the depth. Common practice,
no source; how the charts agree with each other corrects it."""
JUDGEMENT_LOG_SD = 0.35
FLANGE_SD_M = 0.3e-3
"""So wide that it says nothing: no mount is a millimetre off."""
SCALE_SD = 0.01
TAPE_SD_M = 12e-3
ZOOM_SD_USED = 1.0
"""How far a zoom whose groups do not hold focus is off at another focal length, in half-widths of the depth."""
ERROR_ODDS = 0.35
"""Part of lenses taken to have an error of the scale, and of tests with a tape that starts at the wrong place."""
SLIP_ODDS = 0.02
SLIP_SD_USED = 8.0
"""Part of chart tests that were mistyped or misjudged altogether, and how far off they are, in half-widths."""
FEWEST_FOR_SLIP = 4
MOST_DOUBTFUL = 6
"""With fewer charts nobody can say which one is wrong."""
MATTERS = 0.25
"""What uses less of the depth than this is no reason to touch a lens. Common practice, no source: a quarter."""
SURE = 0.9
DRAWS = 4096

_STEPS = np.linspace(-2.0, 2.0, 5)

Cause = Literal["flange", "scale", "tape_offset", "fine", "cannot_tell"]
Culprit = Literal["flange", "scale", "tape_offset", "zoom"]


@dataclass(frozen=True, slots=True)
class ChartDeviations:
    """What n chart tests of one lens found; arrays (n,) but for the covariance.

    ``dq_dpt`` = ring minus chart, dioptres at the front focal point, ``q_dpt`` of the chart, ``focal_m`` used,
    ``width_dpt`` the half-width of the depth at the stop of the test and ``room_dpt`` at the stop it is judged for.
    ``covariance_dpt2`` (n, n) of all but the judgement: map, tape, read-out, play. ``body`` numbers the bodies from 0
    (all 0 where nobody wrote the body down), ``zoom`` the focal lengths from 0, the longest.
    """

    dq_dpt: Floats
    q_dpt: Floats
    focal_m: Floats
    width_dpt: Floats
    room_dpt: Floats
    covariance_dpt2: Floats
    body: Ints
    zoom: Ints

    @property
    def bodies(self) -> int:
        """Number of bodies."""
        return int(self.body.max()) + 1

    @property
    def zooms(self) -> int:
        """Number of focal lengths."""
        return int(self.zoom.max()) + 1


@dataclass(frozen=True, slots=True)
class FlangeFit:
    """What the charts of a lens say of p parameters, as a mixture of M normal distributions.

    Parameters: the flange on each of B bodies (metres, positive: sensor too far back), the scale kappa, the tape t
    (metres), and each focal length of a zoom but the longest (dioptres). ``weights`` (M,), ``means`` (M, p),
    ``covariances`` (M, p, p); ``slips`` (n,) the probability of each chart test to be wrong altogether,
    ``judgement_used`` the sd of one best focus as the charts agree.
    """

    weights: Floats
    means: Floats
    covariances: Floats
    bodies: int
    slips: Floats
    judgement_used: float

    def mean(self) -> Floats:
        """Mean of the parameters, (p,)."""
        mean: Floats = self.weights @ self.means
        return mean

    def covariance(self) -> Floats:
        """Covariance of the parameters, (p, p): within and between the choices."""
        off = self.means - self.mean()
        total: Floats = np.einsum("m,mij->ij", self.weights, self.covariances + off[:, :, None] * off[:, None, :])
        return total

    def flange_m(self) -> tuple[float, float]:
        """Flange and its standard deviation, metres: the mean over the bodies it was tested on."""
        part = np.zeros(self.means.shape[1])
        part[: self.bodies] = 1.0 / self.bodies
        return float(part @ self.mean()), float(np.sqrt(part @ self.covariance() @ part))

    def draws(self) -> Floats:
        """Parameters drawn from the mixture, always the same, (DRAWS, p)."""
        rng = np.random.default_rng(20)
        edges = np.cumsum(self.weights)
        chosen = np.searchsorted(edges / edges[-1], (np.arange(DRAWS) + 0.5) / DRAWS)
        # Singular where an error is switched off: a root by eigenvalues takes that.
        values, vectors = np.linalg.eigh(self.covariances)
        roots = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
        normal = rng.standard_normal((DRAWS, self.means.shape[1]))
        drawn: Floats = self.means[chosen] + np.einsum("dij,dj->di", roots[chosen], normal)
        return drawn


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the charts of a lens say.

    ``cause`` of what is off, ``fine`` the probability that nothing uses a quarter of the depth, ``off`` that each
    culprit does, always the same way: flange, scale, tape, zoom.
    """

    cause: Cause
    fine: float
    off: dict[Culprit, float]

    @property
    def by_zoom(self) -> bool:
        """True when what is off is the hold of focus over the zoom range, whatever the body."""
        return self.cause == "scale" and self.off["zoom"] >= max(SURE, self.off["scale"])


def design_matrix(charts: ChartDeviations) -> Floats:
    """How each parameter moves each dq: (n, B + 2 + Z - 1)."""
    flange = np.where(np.arange(charts.bodies) == charts.body[:, None], -1.0 / charts.focal_m[:, None] ** 2, 0.0)
    zoom = np.where(np.arange(1, charts.zooms) == charts.zoom[:, None], 1.0, 0.0)
    q = charts.q_dpt[:, None]
    return np.hstack([flange, q, -(q**2), zoom])


def prior_variances(charts: ChartDeviations, *, scale: bool, tape: bool, zoom: bool) -> Floats:
    """Variance of each parameter before any chart, (p,); 0 for what is switched off."""
    groups = [charts.width_dpt[charts.zoom == g].mean() * ZOOM_SD_USED * zoom for g in range(1, charts.zooms)]
    flange = np.full(charts.bodies, FLANGE_SD_M)
    sd: Floats = np.concatenate([flange, [SCALE_SD * scale, TAPE_SD_M * tape], np.array(groups)])
    return sd**2


def fit_flange(charts: ChartDeviations) -> FlangeFit:
    """The flange of a lens, with what else may be off, from one chart test or more.

    Raises ValueError without any test.
    """
    n = charts.dq_dpt.size
    if n == 0:
        raise ValueError("no chart test")
    design = design_matrix(charts)
    doubtful = _doubtful(charts, design)
    priors, noises, slips, steps, logs = [], [], [], [], []
    for prior, log_prior in _choices(charts):
        for step in _STEPS.tolist():
            judged = JUDGEMENT_USED * np.exp(JUDGEMENT_LOG_SD * step)
            for slip in (-1, *doubtful):
                noise = (judged * charts.width_dpt) ** 2
                if slip >= 0:
                    noise[slip] += (SLIP_SD_USED * charts.width_dpt[slip]) ** 2
                priors.append(prior)
                noises.append(noise)
                slips.append(slip)
                steps.append(judged)
                logs.append(log_prior - 0.5 * step**2 + (np.log(SLIP_ODDS) if slip >= 0 else 0.0))
    own = charts.covariance_dpt2 + np.array(noises)[:, :, None] * np.eye(n)
    evidence, means, covariances = _solve(charts.dq_dpt, design, np.array(priors), own)
    log_weight = np.array(logs) + evidence
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    wrong = np.array([weights[np.array(slips) == i].sum() for i in range(n)])
    return FlangeFit(weights, means, covariances, charts.bodies, wrong, float(weights @ np.array(steps)))


def _doubtful(charts: ChartDeviations, design: Floats) -> list[int]:
    """The tests that may be wrong altogether: those farthest from a fit in which scale and tape are free too."""
    n = charts.dq_dpt.size
    if n < FEWEST_FOR_SLIP:
        return []
    prior = prior_variances(charts, scale=True, tape=True, zoom=True)
    own = charts.covariance_dpt2 + np.diag((JUDGEMENT_USED * charts.width_dpt) ** 2)
    total = own + design @ (prior[:, None] * design.T)
    # Left out one at a time, a test misses the others by (K^-1 y)_i / (K^-1)_ii with the variance 1/(K^-1)_ii.
    inverse = np.linalg.inv(total)
    far = np.abs(inverse @ charts.dq_dpt) / np.sqrt(np.diag(inverse))
    found: list[int] = np.argsort(-far, kind="stable")[:MOST_DOUBTFUL].tolist()
    return found


def _choices(charts: ChartDeviations) -> Iterator[tuple[Floats, float]]:
    """What may be off besides the flange: prior variances (p,) and the log of how usual that is."""
    on, off = np.log(ERROR_ODDS), np.log(1.0 - ERROR_ODDS)
    zooms = (False, True) if charts.zooms > 1 else (False,)
    for scale, tape, zoom in product((False, True), (False, True), zooms):
        yield (
            prior_variances(charts, scale=scale, tape=tape, zoom=zoom),
            sum(on if x else off for x in (scale, tape, zoom)),
        )


def _solve(dq: Floats, design: Floats, priors: Floats, own: Floats) -> tuple[Floats, Floats, Floats]:
    """Log evidence (M,), means (M, p) and covariances (M, p, p) of M linear models with normal priors."""
    spread = priors[:, :, None] * design.T  # prior times transposed design, (M, p, n)
    total = own + design @ spread
    half = np.linalg.cholesky(total)
    white = np.linalg.solve(half, np.broadcast_to(dq[:, None], (priors.shape[0], dq.size, 1)))
    lever = np.linalg.solve(half, np.swapaxes(spread, 1, 2))  # (M, n, p)
    logdet = 2.0 * np.log(np.diagonal(half, axis1=1, axis2=2)).sum(axis=1)
    evidence = -0.5 * (logdet + (white[:, :, 0] ** 2).sum(axis=1))
    means = (np.swapaxes(lever, 1, 2) @ white)[:, :, 0]
    covariances = priors[:, :, None] * np.eye(priors.shape[1]) - np.swapaxes(lever, 1, 2) @ lever
    return evidence, means, covariances


def judge(charts: ChartDeviations, fit: FlangeFit) -> Verdict:
    """Name the cause of what the charts show, if they can tell.

    Each culprit is measured by the most of the depth that it uses at any of the charts, either way. "fine" when in nine
    of ten cases none uses a quarter; a culprit when in nine of ten cases it does, and always the same way: what nobody
    measured might be large, but nobody knows which way. The likeliest is named where there are several.
    """
    drawn, bodies, room = fit.draws(), fit.bodies, charts.room_dpt
    most = float(np.max(1.0 / (charts.focal_m**2 * room)))
    rooms = [room[charts.zoom == g].min() for g in range(1, charts.zooms)]
    used: dict[Culprit, Floats] = {
        "flange": drawn[:, :bodies] * most,
        "scale": drawn[:, [bodies]] * float(np.max(charts.q_dpt / room)),
        "tape_offset": drawn[:, [bodies + 1]] * float(np.max(charts.q_dpt**2 / room)),
        "zoom": drawn[:, bodies + 2 :] / np.array(rooms) if rooms else np.zeros((DRAWS, 1)),
    }
    off = {culprit: _one_way(effect) for culprit, effect in used.items()}
    fine = float((np.abs(np.hstack(list(used.values()))).max(axis=1) < MATTERS).mean())
    return Verdict(_cause(fine, off), fine, off)


def _one_way(effect: Floats) -> float:
    """How likely one of the columns (draws, k) uses a quarter, always the same way."""
    return float(max((effect >= MATTERS).mean(axis=0).max(), (effect <= -MATTERS).mean(axis=0).max()))


def _cause(fine: float, off: dict[Culprit, float]) -> Cause:
    if fine >= SURE:
        return "fine"
    named: dict[Culprit, Cause] = {"flange": "flange", "scale": "scale", "tape_offset": "tape_offset", "zoom": "scale"}
    name = max(off, key=lambda one: off[one])
    return named[name] if off[name] >= SURE else "cannot_tell"
