"""A borrowed map: the curve of another copy of the model, moved to a lens that has only a few proof marks.

The lender's curve is taken over with an offset, a scale, a shim and a small cam difference, each with its prior
(``tapehook.lens.copies``), on top of what is not known of the lender's curve itself. The proof marks then say what they
can: an ordinary Gaussian process regression (C. Rasmussen and C. Williams, Gaussian Processes for Machine Learning,
2006, equations 2.22 to 2.24), averaged over the reading noise and over how alike the copies are. One mark would tell
the offset alone, and a wrong mark would go unseen: it is refused.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.lens.copies import OFFSET_SD_DEG, USUAL_SPREAD, CopyBasis, CopySpread, copy_basis
from tapehook.lens.map import Z95, LensMap
from tapehook.lens.marks import Marks
from tapehook.lens.noise import USUAL_NOISE_DEG, pair_evidence, reading_sd
from tapehook.lens.scale import FocusScale
from tapehook.lens.spline import LOG_SIGMA_PRIOR_SD, noise_steps

Floats = npt.NDArray[np.float64]

FEWEST_PROOF_MARKS = 2
RANGE_POINTS = 41
FARTHEST_PLACE = 1.5
"""A proof mark may lie beyond the near end of the lender's scale (place 1.05) by about half the range."""
CONTRADICTION_SD = 4.0
"""Proof marks farther from what any copy would show than this many standard deviations are no proof."""
TURNED_FROM_DEG = 3.0
"""Marks so far apart on the ring show which way the read-out runs."""

_ALIKE_STEPS = np.array([-1.5, -0.75, 0.0, 0.75, 1.5])
_ALIKE_LOG_SD = 0.4
"""How alike two given copies are: ln of a factor on the whole spread."""
_DRAWS = np.random.default_rng(20261).standard_normal((600, RANGE_POINTS))
"""The same draws for every lens, so that equal jobs give equal figures."""


class BorrowRefusal(ValueError):
    """A map cannot be borrowed on these marks; ``code`` says why."""

    def __init__(self, code: Literal["one_mark", "contradiction"], message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True)
class BorrowedMap:
    """The map of a lens by the curve of its ``lender``, in the unit of the borrower's read-out.

    It is not a map of readings of this lens, and must be shown as borrowed. ``marks`` are the proof marks,
    ``degrees_per_unit`` the borrower's; ``turned`` when its read-out runs opposite to the lender's. The rest are the
    factors of the regression over H grid points: ``weight`` (H,), ``alike`` (H,) factors on the spread, ``inverse``
    (H, n, n), and ``residual`` (n,), marks minus the lender's curve moved by ``offset_deg``, degrees.
    """

    lender: LensMap
    marks: Marks
    degrees_per_unit: float
    spread: CopySpread
    focal_m: float | None
    turned: bool
    offset_deg: float
    centre_sd_deg: float
    weight: Floats
    alike: Floats
    inverse: Floats
    residual: Floats

    @property
    def far_value(self) -> float:
        """The far end, metres: the lender's."""
        return self.lender.far_value

    @property
    def near_value(self) -> float:
        """The near end, metres: the lender's."""
        return self.lender.near_value

    def position(self, value: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Position and standard deviation of the curve at distances (G,), in the unit of the read-out: two (G,)."""
        mean, covariance = self._posterior(np.atleast_1d(np.asarray(value, dtype=np.float64)))
        return mean / self.degrees_per_unit, np.sqrt(np.maximum(np.diag(covariance), 0.0)) / self.degrees_per_unit

    def position_band(self, value: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Position and half-width of its 95 % band at distances (G,): two (G,), wider where the centre is not known."""
        mean, sd = self.position(value)
        return mean, Z95 * np.hypot(sd, self.centre_sd_deg / self.degrees_per_unit)

    def range_m(self, count: int = RANGE_POINTS) -> Floats:
        """Distances from infinity to close focus, even in vergence: (count,)."""
        scale = self.lender.scale
        ends = scale.place([self.far_value, self.near_value])
        values = scale.value(np.linspace(ends[0], ends[1], count))
        values[0], values[-1] = self.far_value, self.near_value
        return values

    def grid(self, count: int = 201) -> tuple[Floats, Floats, Floats]:
        """Distances from infinity to close focus, positions, and half-widths of the 95 % band: three (count,)."""
        values = self.range_m(count)
        return values, *self.position_band(values)

    @cached_property
    def _over_range(self) -> tuple[Floats, Floats]:
        return self._posterior(self.range_m())

    @property
    def monotone(self) -> bool:
        """True when the position moves one way only over the range."""
        steps = np.diff(self._over_range[0])
        return bool(np.all(steps > 0) or np.all(steps < 0))

    def used_p95(self, room: npt.ArrayLike) -> float:
        """Share of the depth that 95 in 100 such lenses stay within at 95 in 100 distances of the range.

        ``room`` (``RANGE_POINTS``,) is the position that half the depth of field takes at each of ``range_m()``. Found
        on draws of the curve from its covariance: of each the 95th percentile over the range, of those the 95th. Places
        where there is no room count as infinite.
        """
        return self._used(room, self._over_range[1])

    def used_with(self, room: npt.ArrayLike, further_m: npt.ArrayLike) -> float:
        """The same share once marks at ``further_m`` (K,) metres have been read too, whatever they show.

        What a mark shows does not change how sure it makes the curve (C. Rasmussen and C. Williams, 2006, equation
        2.26): V - C (C(K, K) + r I)^-1 C', with r of one reading; one read both ways does better by a little.
        """
        further, places = np.atleast_1d(np.asarray(further_m, dtype=np.float64)), self.range_m()
        whole = self._posterior(np.concatenate([places, further]))[1]
        count = places.size
        reach, own = whole[:count, count:], whole[count:, count:]
        gain = np.linalg.solve(own + USUAL_NOISE_DEG**2 * np.eye(further.size), reach.T)
        return self._used(room, whole[:count, :count] - reach @ gain)

    def _used(self, room: npt.ArrayLike, covariance: Floats) -> float:
        width = np.abs(np.asarray(room, dtype=np.float64)) * self.degrees_per_unit
        covariance = covariance + self.centre_sd_deg**2
        values, vectors = np.linalg.eigh(covariance)
        draws = (_DRAWS * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
        with np.errstate(divide="ignore"):
            used = np.abs(draws) / width
        of_each = np.percentile(used, 95, axis=1, method="higher")
        return float(np.percentile(of_each, 95, method="higher"))

    def _posterior(self, values: Floats) -> tuple[Floats, Floats]:
        """Mean (G,) and covariance (G, G) of the curve in degrees."""
        here, there = copy_basis(self.lender, values), copy_basis(self.lender, self.marks.values)
        alike, open_ = self._between(here, there)
        alike_own, open_own = self._between(here, here)
        reach = self.alike[:, None, None] ** 2 * alike + open_
        gain = reach @ self.inverse
        each = gain @ self.residual
        mean = self.weight @ each
        covariance = float(self.weight @ self.alike**2) * alike_own + open_own
        covariance -= np.einsum("h,hgn,hkn->gk", self.weight, gain, reach, optimize=True)
        moved = (each - mean) * np.sqrt(self.weight)[:, None]
        sign = -1.0 if self.turned else 1.0
        curve = sign * self.lender.curve(values) * self.lender.degrees_per_unit
        return curve + self.offset_deg + mean, covariance + moved.T @ moved

    def _between(self, a: CopyBasis, b: CopyBasis) -> tuple[Floats, Floats]:
        return _priors(self.lender, a, b, self.spread, self.focal_m)


def _priors(
    lender: LensMap, a: CopyBasis, b: CopyBasis, spread: CopySpread, focal_m: float | None
) -> tuple[Floats, Floats]:
    """Prior covariance between G and P places, degrees squared, (G, P): of the copies, and of offset and lender."""
    return a.covariance(b, spread, focal_m), lender.fit.covariance(a.places, b.places)[0] + OFFSET_SD_DEG**2


def borrow_map(
    lender: LensMap,
    marks: Marks,
    *,
    degrees_per_unit: float,
    focal_m: float | None,
    spread: CopySpread = USUAL_SPREAD,
    taping_sd_m: npt.ArrayLike | None = None,
    half_play_rms_deg: float = 0.0,
) -> BorrowedMap:
    """Move the map of ``lender`` to another copy by its proof ``marks``, positions in the borrower's unit.

    ``spread`` says how copies differ, ``focal_m`` how far a shim moves the focus. ``taping_sd_m`` (n,) and
    ``half_play_rms_deg`` are as for ``fit_map``. Raises BorrowRefusal for fewer than two marks, and for marks that no
    copy of the lender could show; TypeError for another ring than focus.
    """
    count = marks.values.size
    if count < FEWEST_PROOF_MARKS:
        raise BorrowRefusal("one_mark", f"a map is never borrowed on {'one mark' if count else 'no mark'}")
    basis = copy_basis(lender, marks.values)
    if not np.all(basis.places <= FARTHEST_PLACE):  # NaN too: no lens focuses so near
        raise BorrowRefusal("contradiction", "a proof mark lies far nearer than the scale of the lender goes")
    y = marks.positions * degrees_per_unit
    curve = lender.curve(marks.values) * lender.degrees_per_unit
    turned = bool(np.ptp(curve) > TURNED_FROM_DEG and np.cov(curve, y)[0, 1] < 0)
    apart = y + curve if turned else y - curve
    offset_deg = float(apart.mean())
    residual = apart - offset_deg
    priors = _priors(lender, basis, basis, spread, focal_m)
    tape = tape_variance(basis, lender, marks, taping_sd_m)
    _refuse_contradiction(residual, *priors, marks.relative_variance, tape)
    known = pair_evidence(marks.pair_differences[None] * degrees_per_unit)[0]
    weight, factors, inverse = _average(residual, *priors, marks.relative_variance, tape, known)
    centre_sd_deg = half_play_rms_deg if marks.one_way else 0.0
    return BorrowedMap(
        lender,
        marks,
        degrees_per_unit,
        spread,
        focal_m,
        turned,
        offset_deg,
        centre_sd_deg,
        weight,
        factors,
        inverse,
        residual,
    )


def tape_variance(basis: CopyBasis, lender: LensMap, marks: Marks, sd_m: npt.ArrayLike | None) -> Floats:
    """Variance that the tape adds to each mark (n,), degrees squared: (dy/dq q^2 sd)^2 where it was taped.

    ``basis`` is that of the ``lender`` at the marks, ``sd_m`` (n,) how sure a taped distance is.
    """
    if sd_m is None or not isinstance(lender.scale, FocusScale):
        return np.zeros(marks.values.size)
    sd = np.where(marks.taped, np.asarray(sd_m, dtype=np.float64), 0.0)
    variance: Floats = (basis.shift * lender.scale.vergence(marks.values) ** 2 * sd) ** 2
    return variance


def _refuse_contradiction(residual: Floats, alike: Floats, left: Floats, relative: Floats, tape: Floats) -> None:
    """Refuse marks that no copy, even poorly read, would show: more likely one of them is wrong.

    The squares of n marks about an open offset have n - 1 degrees of freedom; their cube root is nearly normal (E.
    Wilson and M. Hilferty, The distribution of chi-square, 1931).
    """
    noise = _mark_variance(USUAL_NOISE_DEG * np.exp(LOG_SIGMA_PRIOR_SD), relative) + tape
    total = _firm(alike + left + np.diag(noise))
    free = residual.size - 1
    ratio = float(residual @ np.linalg.solve(total, residual)) / free
    spread = 2.0 / (9.0 * free)
    if (np.cbrt(ratio) - (1.0 - spread)) / np.sqrt(spread) > CONTRADICTION_SD:
        raise BorrowRefusal("contradiction", "the proof marks do not fit the curve of the lender")


def _mark_variance(sigma: npt.ArrayLike, relative: Floats) -> Floats:
    """Variance of marks (..., n), degrees squared: readings average, what a mark itself is off does not.

    ``sigma`` is the noise of a fit, of which half the square is that of a mark read both ways once.
    """
    total, reading = np.asarray(sigma, dtype=np.float64) ** 2, reading_sd(sigma) ** 2
    variance: Floats = reading * relative + 0.5 * (total - reading)
    return variance


def _firm(total: Floats) -> Floats:
    """A covariance (..., n, n) that can be inverted also where rounding has eaten what is small in it."""
    largest = np.max(np.diagonal(total, axis1=-2, axis2=-1), axis=-1)
    firm: Floats = total + 1e-10 * largest[..., None, None] * np.eye(total.shape[-1])
    return firm


def _average(
    residual: Floats, alike: Floats, left: Floats, relative: Floats, tape: Floats, known: Floats
) -> tuple[Floats, Floats, Floats]:
    """The grid of (how alike, sigma): weights (H,), factors on the spread (H,), inverse covariances (H, n, n).

    ``known`` (S,) is what else is known of sigma, as ln of its likelihood at each step.
    """
    steps = noise_steps(USUAL_NOISE_DEG)[0]
    sigma, factors = np.tile(steps, _ALIKE_STEPS.size), np.repeat(np.exp(_ALIKE_LOG_SD * _ALIKE_STEPS), steps.size)
    noise = _mark_variance(sigma[:, None], relative) + tape
    total = _firm(factors[:, None, None] ** 2 * alike + left + noise[:, :, None] * np.eye(residual.size))
    inverse = np.linalg.inv(total)
    log_weight = np.tile(known - 0.5 * (np.log(steps / USUAL_NOISE_DEG) / LOG_SIGMA_PRIOR_SD) ** 2, _ALIKE_STEPS.size)
    log_weight -= 0.5 * np.repeat(_ALIKE_STEPS**2, steps.size)
    log_weight -= 0.5 * (np.linalg.slogdet(total)[1] + np.einsum("i,hij,j->h", residual, inverse, residual))
    weight: Floats = np.exp(log_weight - log_weight.max())
    return weight / weight.sum(), factors, np.asarray(inverse, dtype=np.float64)
