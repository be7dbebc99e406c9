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
from functools import cached_property
from math import erf

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
MOST_LIKELY = 40
"""Only so many parts, the likeliest to be off alone, are tried together with others."""
MOST_TOGETHER = 200
"""Lenses split all at once; of more, the rest is held against the bodies that these have told."""
MUCH_BETTER = 1.05
NEXT_TEST_SD_M = 4e-6
"""How sure the sum of a further test will be."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What one lens showed: its number, the numbers of the bodies (k,), the sums (k,) in metres, their covariance."""

    lens: int
    bodies: Ints
    flange_m: Floats
    covariance_m2: Floats


@dataclass(frozen=True)
class Split:
    """The parts of L lenses, then of B bodies, metres, positive: sensor too far back.

    A mixture of H normals: ``weights`` (H,), ``means`` (H, L + B), ``covariances`` (H, L + B, L + B).
    """

    lenses: int
    weights: Floats
    means: Floats
    covariances: Floats

    @cached_property
    def mean(self) -> Floats:
        """Mean of each part, (L + B,)."""
        mean: Floats = self.weights @ self.means
        return mean

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of the parts, (L + B, L + B)."""
        off = self.means - self.mean
        within = np.tensordot(self.weights, self.covariances, axes=1)
        total: Floats = within + (self.weights[:, None] * off).T @ off
        return total

    @cached_property
    def sd(self) -> Floats:
        """Standard deviation of each part, (L + B,)."""
        sd: Floats = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        return sd

    def beyond(self, part: int, limit_m: float) -> float:
        """Probability of a part to be larger than ``limit_m``, either way."""
        return _beyond(self.means[:, part], self.covariances[:, part, part], limit_m, self.weights)

    def sum_beyond(self, lens: int, body: int, limit_m: float) -> float:
        """Probability that a lens and a body together are off by more than ``limit_m``."""
        at = self.lenses + body
        mean = self.means[:, lens] + self.means[:, at]
        variance = self.covariances[:, [lens, at]][:, :, [lens, at]].sum(axis=(1, 2))
        return _beyond(mean, variance, limit_m, self.weights)


def _beyond(mean: Floats, variance: Floats, limit: float, weights: Floats) -> float:
    """Probability under a mixture of normals (H,) to lie beyond +-limit."""
    root = np.sqrt(2.0 * np.maximum(variance, 1e-30))
    inside = [erf((limit - m) / r) + erf((limit + m) / r) for m, r in zip(mean.tolist(), root.tolist(), strict=True)]
    return 1.0 - 0.5 * float(weights @ np.array(inside))


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the B bodies beforehand, from other lenses: means (B,) and covariance (B, B), metres."""

    mean_m: Floats
    covariance_m2: Floats


def split_parts(sums: Sequence[Sums], lenses: int, bodies: int, known: Known | None = None) -> Split:
    """Split what the lenses showed into parts of lenses and bodies. Raises ValueError without any sum.

    With ``known`` bodies only the lenses are in question.
    """
    if not sums:
        raise ValueError("no lens was tested on a known body")
    design, shown, noise = _stack(sums, lenses, bodies)
    centre, sound_prior = np.zeros(lenses + bodies), np.eye(lenses + bodies) * SOUND_SD_M**2
    if known is not None:
        centre[lenses:] = known.mean_m
        sound_prior[lenses:, lenses:] = known.covariance_m2
    shown = shown - design @ centre
    sound = noise + design @ sound_prior @ design.T
    solved = np.linalg.solve(sound, np.column_stack([shown, design]))
    pull, reach = design.T @ solved[:, 0], design.T @ solved[:, 1:]
    found = _search(pull, reach, lenses if known is not None else lenses + bodies)
    weights = np.exp(np.array(list(found.values())) - max(found.values()))
    weights /= weights.sum()
    kept = np.flatnonzero(weights > 1e-4)
    chosen = [list(found)[k] for k in kept.tolist()]
    parts = [_posterior(design, shown, noise, sound_prior, off) for off in chosen]
    weights = weights[kept] / weights[kept].sum()
    return Split(lenses, weights, np.stack([centre + mean for mean, _ in parts]), np.stack([cov for _, cov in parts]))


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


def _search(pull: Floats, reach: Floats, parts: int) -> dict[frozenset[int], float]:
    """Hypotheses worth a thought, what is off in each, with log prior odds and evidence against all being sound.

    Only the first ``parts`` may be off.

    From the likeliest with k off to those with one more; parts are the columns of a linear model, so that each
    costs a small determinant.
    """
    odds = np.log(OFF_ODDS / (1.0 - OFF_ODDS))
    found: dict[frozenset[int], float] = {frozenset(): 0.0}
    beam = [frozenset[int]()]
    alone = [_evidence(pull, reach, [part]) for part in range(parts)]
    likely = sorted(range(parts), key=lambda part: (-alone[part], part))[:MOST_LIKELY]
    for _ in range(min(MOST_OFF, parts)):
        grown = {off | {part} for off in beam for part in likely if part not in off}
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


def _posterior(
    design: Floats, shown: Floats, noise: Floats, sound_prior: Floats, off: frozenset[int]
) -> tuple[Floats, Floats]:
    """Mean and covariance of the parts when those ``off`` are unsound and all others sound."""
    prior = sound_prior.copy()
    prior[list(off), list(off)] += OFF_SD_M**2
    spread = prior @ design.T
    gain = np.linalg.solve(noise + design @ spread, spread.T).T
    return gain @ shown, prior - gain @ spread.T


def next_test(split: Split, lens: int, body: int, tested: frozenset[tuple[int, int]]) -> tuple[int, int] | None:
    """The test, a lens on a body, that would tell best whose fault the sum of ``lens`` and ``body`` is.

    Either this lens on another body, or another lens on this one, where that was not tested yet; None where there is
    neither. The gain of a test is how much it narrows the difference of the two parts.
    """
    bodies = split.means.shape[1] - split.lenses
    covariance = split.covariance
    difference = covariance[lens] - covariance[split.lenses + body]
    others = [(lens, b) for b in range(bodies) if b != body] + [(k, body) for k in range(split.lenses) if k != lens]
    open_tests = [pair for pair in others if pair not in tested]
    if not open_tests:
        return None

    def gain(pair: tuple[int, int]) -> float:
        at = [pair[0], split.lenses + pair[1]]
        return float(difference[at].sum() ** 2 / (covariance[np.ix_(at, at)].sum() + NEXT_TEST_SD_M**2))

    best = open_tests[0]
    for pair in open_tests[1:]:
        if gain(pair) > MUCH_BETTER * gain(best):  # as good either way: the lens in question is moved
            best = pair
    return best
