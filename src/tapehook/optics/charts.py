"""The pupil of a lens from charts of known width: what they tell, what they cannot, and how sure the depth is then.

A chart in focus gives m, and D = f/m + f m + K with K = f/P + e puts the front focal point of a unit-focusing lens
K from the image plane. Any number of charts in focus tells f and K and no more: moving 1/P and e against each other
by f changes none of them (docs/checks/pupil.md). So P has to be estimated. The estimate rests on first-order optics
of two thin groups and was held against thirty published designs (tests/truth/pupils.csv).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.optics.pupil import Pupil, focus_state

Floats = npt.NDArray[np.float64]

Z95 = 1.959963984540054
FOCAL_SD = 0.02
"""One standard deviation of the true focal length about the engraved one, a share. Common practice, no source."""
FILL_SD = 0.0025
"""Standard deviation of reading off the part of the image width that a chart fills. Common practice, no source."""
EDGE_DISTORTION = 0.02
"""Usual distortion at the side of the picture, one standard deviation, growing with the square of the height."""
SURE_FILL = 0.25
"""Part of the image width within which distortion does not matter."""

WIDE_M, LONG_M = 0.045, 0.085
"""Below the first a lens is taken as a reversed telephoto, above the second as a telephoto, between them both by part.

A mount some 50 mm deep leaves a shorter lens no choice. Common practice, no source.
"""
WIDE_SPACING, LONG_SPACING = 1.2, 0.4
"""Distance between the two groups in focal lengths, for the two kinds: a retrofocus lens is some 2.5 f long from front
to sensor, a telephoto 0.8 f; read off the published designs."""
LEAST_PUPIL_M = 0.045
"""Least entrance pupil to image plane of a lens under 100 mm: the pupil lies in the lens, the lens before the mount."""
LEAST_INVERSE = 0.1
INVERSE_SD = 0.17
"""Standard deviation of the estimate of 1/P for lenses up to 100 mm; it grows in proportion beyond."""
LEAST_PLACE, MOST_BEYOND_M, MOST_PLACE = 0.5, 0.25, 4.0
"""Nearest and farthest place of the front focal point that a lens can have, see ``ChartPupil.plausible``."""
NO_GROWTH, NO_GROWTH_SD = 1e-3, 0.1
"""Growth of the cone on the sensor's side, and its sd, of a lens that focuses by what stands before its iris."""

Focusing = Literal["whole", "front", "inner"]
"""What of a lens moves: all of it, what stands before the iris, or groups within."""


@dataclass(frozen=True, slots=True)
class ChartPupil:
    """What charts say of one lens.

    ``focal_m`` as fitted (the engraved one where a single chart leaves no choice), ``front_focal_m`` K from the front
    focal point to the image plane at infinity focus, ``inverse_magnification`` 1/P as estimated. ``growth`` g is how
    the f-number grows close up, N (1 + g m): 1/P for a lens that moves as a whole, 0 for one focused by its front.
    ``covariance`` (3, 3) is of focal_m, front_focal_m and growth. ``misfit`` is the mean square of the charts'
    deviations in standard deviations, about 1 or less as long as D = f (1/m + m) + K holds; where it is more, the
    covariance of f and K has been multiplied by it.
    """

    focal_m: float
    front_focal_m: float
    inverse_magnification: float
    growth: float
    covariance: Floats
    misfit: float
    charts: int

    @property
    def to_sensor_m(self) -> float:
        """Entrance pupil to image plane at infinity focus, e = K - f/P."""
        return self.front_focal_m - self.focal_m * self.inverse_magnification

    @property
    def pupil(self) -> Pupil:
        """Pupil data that give the right depth with ``focus_state``: K as measured and the growth in place of 1/P.

        The width in metres at a chart is 2 c N (1 + g m)/m^2, so that m and g are all it takes.
        """
        return Pupil(to_sensor_m=self.front_focal_m - self.focal_m * self.growth, magnification=1.0 / self.growth)

    @property
    def plausible(self) -> bool:
        """False when no lens could look like that: front focal point nearer than f/2, or beyond 2 f + 250 mm and 4 f.

        Of thirty published designs it lies at 1.1 f or more, and at 3.3 f or, of wide ones, 2 f + 140 mm at the most.
        Two standard deviations are left for the charts' own error.
        """
        slack = 2.0 * float(np.sqrt(self.covariance[1, 1]))
        most = max(2.0 * self.focal_m + MOST_BEYOND_M, MOST_PLACE * self.focal_m)
        return LEAST_PLACE * self.focal_m - slack <= self.front_focal_m <= most + slack

    @property
    def agrees(self) -> bool:
        """False when the charts deviate by more than chance allows (1 in 200) from a lens that moves as a whole."""
        return self.misfit <= 1.0 + 4.0 * float(np.sqrt(2.0 / self.charts))


def usual_inverse_magnification(focal_m: float, front_focal_m: float) -> tuple[float, float]:
    """1/P as a lens of that focal length and front focal point (metres to the image plane) usually has it, and its sd.

    Two thin groups d apart: K - 2 f = h f is the hiatus. A reversed telephoto with the iris at its rear group has
    P = 1 + k, a telephoto with it at the front group 1/P = 1 + k, where k (k + d/f) = h (1 + k) in both, as the
    reversal of a lens keeps h. Which of the two it is, h cannot tell; the focal length against the depth of the mount
    does (``WIDE_M``). Without a positive hiatus (double Gauss and its kin) P is 1, or larger where the entrance pupil
    would otherwise come to lie behind the mount (``LEAST_PUPIL_M``). Derived in docs/checks/pupil.md from the
    two-group equations of W. J. Smith, Modern Optical Engineering, chapter 2.
    """
    h = front_focal_m / focal_m - 2.0
    wide = 1.0 / (1.0 + _asymmetry(h, WIDE_SPACING))
    long = 1.0 + _asymmetry(h, LONG_SPACING)
    part = float(np.clip(np.log(focal_m / WIDE_M) / np.log(LONG_M / WIDE_M), 0.0, 1.0))
    inverse = wide ** (1.0 - part) * long**part
    if focal_m <= 0.1:
        inverse = min(inverse, (front_focal_m - LEAST_PUPIL_M) / focal_m)
    return max(inverse, LEAST_INVERSE), INVERSE_SD * max(1.0, focal_m / 0.1)


def _asymmetry(hiatus: float, spacing: float) -> float:
    """k of two groups, the positive root of k (k + d/f) = h (1 + k); 0 without a positive hiatus."""
    if hiatus <= 0:
        return 0.0
    b = hiatus - spacing
    return float((b + np.sqrt(b * b + 4.0 * hiatus)) / 2.0)


def pupil_as_it_moves(pupil: Pupil, focal_m: float, focusing: Focusing | None) -> tuple[Pupil, float]:
    """Pupil data that give the right depth with ``focus_state`` for what of a lens moves, from those at infinity.

    The front focal point stays where it is, so that m does; N grows by 1 + g m, with g = 1/P of a lens that moves as a
    whole, none where the iris and all behind it stay, and half of it where groups within move: see ``ChartPupil``.
    Returns the half-width of g besides (95 %): 0 for a whole lens, and where nobody said.
    """
    inverse = 1.0 / float(np.asarray(pupil.magnification))
    growth, half = {"front": (NO_GROWTH, Z95 * NO_GROWTH_SD), "inner": (inverse / 2.0, inverse / 2.0)}.get(
        focusing or "whole", (inverse, 0.0)
    )
    front_focal_m = float(np.asarray(pupil.to_sensor_m)) + focal_m * inverse
    return Pupil(front_focal_m - focal_m * growth, 1.0 / growth), half


def magnification_sd(fill: npt.ArrayLike) -> Floats:
    """Standard deviation of ln m of charts that fill ``fill`` (0 to 1] of the image width: reading and distortion."""
    part = np.asarray(fill, dtype=np.float64)
    sd: Floats = np.hypot(FILL_SD / part, EDGE_DISTORTION * part * part)
    return sd


def pupil_from_charts(
    focal_m: float,
    distance_m: npt.ArrayLike,
    magnification: npt.ArrayLike,
    distance_sd_m: npt.ArrayLike,
    log_magnification_sd: npt.ArrayLike,
    focusing: Focusing | None = None,
) -> ChartPupil:
    """Fit D = f (1/m + m) + K to n charts (n,) in focus, f held near ``focal_m`` by its usual spread.

    ``distance_m`` from the image plane and ``magnification`` m (image width over chart width), each with one standard
    deviation. ``focusing`` None: nobody said what moves; it is taken to be the whole lens, with a spread that reaches
    to a lens focused by its front. Weighted least squares, linear in (f, K). Raises ValueError without charts or for
    distances and magnifications that are not positive.
    """
    d, m, sd_d, sd_m = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (distance_m, magnification)),
        np.asarray(distance_sd_m, dtype=np.float64),
        np.asarray(log_magnification_sd, dtype=np.float64),
    )
    if d.size == 0 or not (np.all(d > 0) and np.all(m > 0)):
        raise ValueError(f"charts need positive distances and magnifications, got {d} and {m}")
    sd = np.hypot(sd_d, focal_m * np.abs(1.0 / m - m) * sd_m)
    rows = np.vstack(
        [np.column_stack([1.0 / m + m, np.ones_like(m)]) / sd[:, None], [[1.0 / (FOCAL_SD * focal_m), 0.0]]]
    )
    seen = np.append(d / sd, 1.0 / FOCAL_SD)
    covariance = np.linalg.inv(rows.T @ rows)
    f, k = covariance @ rows.T @ seen
    # n charts and what is engraved, less the two fitted.
    misfit = float(((seen - rows @ [f, k]) ** 2).sum() / max(d.size - 1, 1))
    found, fit = (float(f), float(k)), covariance * max(misfit, 1.0)
    growth, growth_sd = _growth(*found, focusing)
    # The estimate of 1/P hangs on f and K, so its error goes with theirs.
    slope = [(_growth(*up, focusing)[0] - growth) / 1e-6 for up in ((f + 1e-6, k), (f, k + 1e-6))]
    spread = np.vstack([np.eye(2), slope])
    return ChartPupil(
        *found,
        usual_inverse_magnification(*found)[0],
        growth,
        spread @ fit @ spread.T + np.diag([0.0, 0.0, growth_sd**2]),
        misfit,
        int(d.size),
    )


def _growth(focal_m: float, front_focal_m: float, focusing: Focusing | None) -> tuple[float, float]:
    """g of N (1 + g m) and its sd. Where the iris and all behind it stay, so does the cone, and g is 0."""
    inverse, sd = usual_inverse_magnification(focal_m, front_focal_m)
    if focusing == "front":
        return NO_GROWTH, NO_GROWTH_SD
    if focusing == "inner":
        return inverse / 2.0, float(np.hypot(sd, inverse / 2.0))
    return inverse, sd if focusing == "whole" else float(np.hypot(sd, inverse / 2.0))


def width_uncertainty(found: ChartPupil, distance_m: npt.ArrayLike) -> Floats:
    """How far the width of the depth may be off at ``distance_m`` from the image plane, 95 %, as a fraction of it.

    The width in metres is 2 c N v (v + g f) / f^2 to first order, v from the front focal point; its gradient in
    (f, K, g) by differences, and their covariance (JCGM 100:2008, 5.2). inf where the lens may not
    focus at all.
    """
    d = np.asarray(distance_m, dtype=np.float64)
    at = np.array([found.focal_m, found.front_focal_m, found.growth])
    gradient = []
    for i, step in enumerate((1e-6 * at[0], 1e-6 * at[0], 1e-4)):
        up, down = at.copy(), at.copy()
        up[i] += step
        down[i] -= step
        gradient.append((_log_width(up, d) - _log_width(down, d)) / (2.0 * step))
    g = np.stack(gradient)
    variance = np.einsum("i...,ij,j...->...", g, found.covariance, g)
    spread: Floats = np.where(np.isnan(variance), np.inf, Z95 * np.sqrt(np.maximum(variance, 0.0)))
    return spread


def _log_width(of: Floats, distance_m: Floats) -> Floats:
    """Logarithm of v (v + g f) / f^2 at a distance, for (f, K, g); from 1,000 km on both are the distance itself."""
    f, k, g = of
    # With P = 1 the place of the pupil is K - f, and m = f/v is the same for any P.
    v = f / focus_state(np.minimum(distance_m, 1e6), f, Pupil(k - f, 1.0)).magnification
    logs: Floats = np.log(v) + np.log(v + g * f) - 2.0 * np.log(f)
    return logs


def field_scale(distance_m: npt.ArrayLike, magnification: npt.ArrayLike, pupil_to_sensor_m: npt.ArrayLike) -> Floats:
    """m u in metres of charts as measured: what the picture's scale follows, however the lens focuses.

    The tangent of the half field is image height over m u, so the ratio of two charts' m u is the breathing between
    them. ``pupil_to_sensor_m`` as set; shapes broadcast.
    """
    mu: Floats = np.asarray(magnification) * (np.asarray(distance_m) - np.asarray(pupil_to_sensor_m))
    return mu
