"""Whose fault: sums of a lens and a body, as charts show them, split into a part of each.

A chart test of lens l on body b shows the sum s = delta_l + beta_b, never one of them alone: every lens a little more
and every body as much less would look the same. What splits them is that a sound mount is off by little, and that few
are not sound. So hypotheses are compared by their evidence: all are sound; this one is off; these two are. Each part
is normal with SOUND_SD_M, an unsound one with OFF_SD_M besides; the estimates are averaged over the hypotheses with
their probabilities (C. Bishop, Pattern Recognition and Machine Learning, 2006, section 3.4). Where the tests were laid
out so that they cannot tell, for example one lens on one body, two hypotheses stay as likely, and their parts are wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, sqrt

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

SOUND_SD_M = 6e-6
"""Standard deviation of the flange of a sound lens, and of a sound body. Common practice, no source: mounts are set to
about a hundredth of a millimetre."""
OFF_SD_M = 25e-6
OFF_ODDS = 0.1
"""Part of lenses, and of bodies, taken to be off by more than that."""
MOST_OFF = 6
"""Hypotheses name so many lenses and bodies at most; more are found in a second look, when these are mended."""
BEAM = 24
NEXT_TEST_SD_M = 4e-6
"""How sure the sum of a further test will be."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What one lens showed: its number, the numbers of the bodies (k,), the sums (k,) in metres, their covariance."""

    lens: int
    bodies: Ints
    flange_m: Floats
    covariance_m2: Floats


@dataclass(frozen=True, slots=True)
class Split:
    """The parts of L lenses, then of B bodies, metres, positive: sensor too far back.

    A mixture of H normals: ``weights`` (H,), ``means`` (H, L + B), ``covariances`` (H, L + B, L + B).
    """

    lenses: int
    weights: Floats
    means: Floats
    covariances: Floats

    def mean(self) -> Floats:
        """Mean of each part, (L + B,)."""
        mean: Floats = self.weights @ self.means
        return mean

    def covariance(self) -> Floats:
        """Covariance of the parts, (L + B, L + B)."""
        off = self.means - self.mean()
        between = np.einsum("h,hi,hj->ij", self.weights, off, off)
        total: Floats = np.einsum("h,hij->ij", self.weights, self.covariances) + between
        return total

    def sd(self) -> Floats:
        """Standard deviation of each part, (L + B,)."""
        sd: Floats = np.sqrt(np.maximum(np.diag(self.covariance()), 0.0))
        return sd

    def beyond(self, limit_m: Sequence[float] | Floats) -> Floats:
        """Probability of each part (L + B,) to be larger than its limit, either way."""
        variances = np.diagonal(self.covariances, axis1=1, axis2=2)
        return _beyond(self.means, np.sqrt(np.maximum(variances, 1e-30)), np.asarray(limit_m), self.weights)

    def sum_beyond(self, lens: int, body: int, limit_m: float) -> float:
        """Probability that a lens and a body together are off by more than ``limit_m``."""
        at = self.lenses + body
        mean = self.means[:, lens] + self.means[:, at]
        parts = self.covariances[:, [lens, at]][:, :, [lens, at]].sum(axis=(1, 2))
        sd = np.sqrt(np.maximum(parts, 1e-30))
        return float(_beyond(mean[:, None], sd[:, None], np.array([limit_m]), self.weights)[0])


def _beyond(mean: Floats, sd: Floats, limit: Floats, weights: Floats) -> Floats:
    """Probability under a mixture (H, P) to lie beyond +-limit (P,)."""
    below = np.vectorize(lambda x: 0.5 * (1.0 + erf(x / sqrt(2.0))))
    inside = below((limit - mean) / sd) - below((-limit - mean) / sd)
    found: Floats = weights @ (1.0 - inside)
    return found


def split_parts(sums: Sequence[Sums], lenses: int, bodies: int) -> Split:
    """Split what the lenses showed into parts of lenses and bodies. Raises ValueError without any sum."""
    if not sums:
        raise ValueError("no lens was tested on a known body")
    design, shown, noise = _stack(sums, lenses, bodies)
    sound = noise + SOUND_SD_M**2 * design @ design.T
    solved = np.linalg.solve(sound, np.column_stack([shown, design]))
    pull, reach = design.T @ solved[:, 0], design.T @ solved[:, 1:]
    found = _search(pull, reach)
    weights = np.exp(np.array(list(found.values())) - max(found.values()))
    weights /= weights.sum()
    kept = np.flatnonzero(weights > 1e-4)
    chosen = [list(found)[k] for k in kept.tolist()]
    parts = [_posterior(design, shown, noise, off) for off in chosen]
    weights = weights[kept] / weights[kept].sum()
    return Split(lenses, weights, np.stack([mean for mean, _ in parts]), np.stack([cov for _, cov in parts]))


def _stack(sums: Sequence[Sums], lenses: int, bodies: int) -> tuple[Floats, Floats, Floats]:
    """Design (n, L + B), sums (n,) and covariance (n, n) of all lenses together."""
    count = sum(one.bodies.size for one in sums)
    design, noise = np.zeros((count, lenses + bodies)), np.zeros((count, count))
    start = 0
    for one in sums:
        rows = np.arange(start, start + one.bodies.size)
        design[rows, one.lens] = 1.0
        design[rows, lenses + one.bodies] = 1.0
        noise[np.ix_(rows, rows)] = one.covariance_m2
        start += one.bodies.size
    return design, np.concatenate([one.flange_m for one in sums]), noise


def _search(pull: Floats, reach: Floats) -> dict[frozenset[int], float]:
    """Hypotheses worth a thought, what is off in each, with log prior odds and evidence against all being sound.

    From the likeliest with k off to those with one more; parts are the columns of a linear model, so that each
    costs a small determinant.
    """
    odds = np.log(OFF_ODDS / (1.0 - OFF_ODDS))
    found: dict[frozenset[int], float] = {frozenset(): 0.0}
    beam = [frozenset[int]()]
    for _ in range(min(MOST_OFF, pull.size)):
        grown = {off | {part} for off in beam for part in range(pull.size) if part not in off}
        scores = {off: odds * len(off) + _evidence(pull, reach, sorted(off)) for off in grown}
        found |= scores
        best = max(found.values())
        beam = sorted(scores, key=lambda off: (-scores[off], sorted(off)))[:BEAM]
        beam = [off for off in beam if scores[off] > best - 12.0]
        if not beam:
            break
    return found


def _evidence(pull: Floats, reach: Floats, off: list[int]) -> float:
    """Log of how much likelier the sums are when the parts ``off`` are unsound than when all are sound.

    With K the covariance when all are sound, v the variance of an unsound part and H the columns, by the matrix
    determinant and inversion lemmas: log N(y; 0, K + v H H') - log N(y; 0, K)
    = -1/2 log|1 + v H'K^-1 H| + v/2 (H'K^-1 y)' (1 + v H'K^-1 H)^-1 (H'K^-1 y).
    """
    inner = np.eye(len(off)) + OFF_SD_M**2 * reach[np.ix_(off, off)]
    part = pull[off]
    return float(-0.5 * np.linalg.slogdet(inner)[1] + 0.5 * OFF_SD_M**2 * part @ np.linalg.solve(inner, part))


def _posterior(design: Floats, shown: Floats, noise: Floats, off: frozenset[int]) -> tuple[Floats, Floats]:
    """Mean and covariance of the parts when those ``off`` are unsound and all others sound."""
    prior = np.full(design.shape[1], SOUND_SD_M**2)
    prior[list(off)] += OFF_SD_M**2
    spread = prior[:, None] * design.T
    gain = np.linalg.solve(noise + design @ spread, spread.T).T
    return gain @ shown, np.diag(prior) - gain @ spread.T


def next_test(split: Split, lens: int, body: int, tested: frozenset[tuple[int, int]]) -> tuple[int, int] | None:
    """The test, a lens on a body, that would tell best whose fault the sum of ``lens`` and ``body`` is.

    Either this lens on another body, or another lens on this one, where that was not tested yet; None where there is
    neither. The gain of a test is how much it narrows the difference of the two parts.
    """
    bodies = split.means.shape[1] - split.lenses
    covariance = split.covariance()
    difference = covariance[lens] - covariance[split.lenses + body]
    others = [(lens, b) for b in range(bodies) if b != body] + [(k, body) for k in range(split.lenses) if k != lens]
    open_tests = [pair for pair in others if pair not in tested]
    if not open_tests:
        return None

    def gain(pair: tuple[int, int]) -> float:
        at = [pair[0], split.lenses + pair[1]]
        return float(difference[at].sum() ** 2 / (covariance[np.ix_(at, at)].sum() + NEXT_TEST_SD_M**2))

    return max(open_tests, key=gain)
