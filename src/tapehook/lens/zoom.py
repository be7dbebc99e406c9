"""The map of a zoom over distance and focal length, from marks found by the picture at several focal lengths.

A zoom whose groups do not hold focus is sharp at another place of the ring at each focal length. Said as the sensor
would have to move it is a shift delta that changes slowly with the focal length, and in dioptres delta/f^2: so the same
micrometres cost the same share of the depth at every focal length, |delta|/(N c), and turn the ring most at the wide
end. Model, with u the place on the scale and z = ln(f/f_wide)/ln(f_long/f_wide):

    y = curve(u) + s(u)/(q_near f^2) (d0(z) + u d1(z)) + noise

curve the quintic smoothing spline of ``lens.spline`` with its flat quadratic trend, s(u) its slope, d0 and d1 Gaussian
processes over z (squared exponential, half the range long; C. Rasmussen and C. Williams, Gaussian Processes for Machine
Learning, 2006, sections 2.2 and 4.2). The likelihood is averaged over a grid of how much the cam bends, how well marks
are read and how far focus strays. Degrees, metres and dioptres; at most some two hundred marks.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.noise import USUAL_NOISE_DEG
from tapehook.lens.scale import FocusScale
from tapehook.lens.spline import LOG_SIGMA_PRIOR_SD, LOG_TAU_PRIOR

Floats = npt.NDArray[np.float64]

FEWEST_FOCALS = 2
FEWEST_MARKS = 6
FEWEST_DISTANCES = 4
LENGTH = 0.5
"""How far along the zoom, as a part of its range in octaves, focus strays alike."""
WITH_DISTANCE = 0.5
"""The part of the stray that grows toward close focus, against the part that does not."""
STRAY_M = np.array([1e-6, 4e-6, 12e-6, 35e-6, 100e-6])
"""How far focus strays over the zoom, one sd, as the sensor would have to move: from parfocal to not at all."""
_TAU = np.linspace(-2.0, 2.0, 5)
_SIGMA = np.linspace(-2.0, 2.0, 7)
_VAGUE = 1.0
"""Prior sd of what a plain parabola leaves of the trend, in spans of the ring: so wide that it says nothing."""
_LIGHT = 1e-4
"""Points of the grid that weigh less than this are left out."""


@dataclass(frozen=True)
class ZoomMap:
    """The ring of a zoom over distance and focal length; ask it between the focal lengths that were read.

    ``focal_m``, ``distance_m`` and ``position_deg`` (n,) are the marks. ``noise_deg`` is the sd of one reading as the
    marks agree, ``stray_m`` how far focus strays over the zoom, one sd. The rest are the factors of the regression.
    """

    scale: FocusScale
    distance_m: Floats
    focal_m: Floats
    position_deg: Floats
    noise_deg: float
    stray_m: float
    slope_at: Floats
    slope_deg: Floats
    weight: Floats
    tau2: Floats
    stray2: Floats
    root: Floats
    vague2: float
    parabola: Floats

    @property
    def focals_m(self) -> tuple[float, ...]:
        """The focal lengths that were read, widest first."""
        return tuple(sorted(set(self.focal_m.tolist())))

    def position(self, distance_m: npt.ArrayLike, focal_m: float) -> tuple[Floats, Floats]:
        """Position and its standard deviation at distances (G,) and one focal length, degrees: two (G,).

        Beyond the focal lengths that were read the stray is unknown, and the standard deviation grows with it.
        """
        d = np.atleast_1d(np.asarray(distance_m, dtype=np.float64))
        f = np.full(d.size, focal_m)
        u, n_u = self.scale.place(d), self.scale.place(self.distance_m)
        curve, stray = self._parts(u, f, n_u, self.focal_m)
        own_curve, own_stray = self._parts(u, f, u, f)
        trend = self.vague2 * _trend(u) @ _trend(n_u).T
        own_trend = self.vague2 * np.square(_trend(u)).sum(axis=1)
        mean, second = np.zeros(d.size), np.zeros(d.size)
        apart = self.position_deg - _trend(n_u) @ self.parabola
        for w, tau2, stray2, root in zip(self.weight, self.tau2, self.stray2, self.root, strict=True):
            gain = root @ (trend + tau2 * curve + stray2 * stray).T
            each = gain.T @ (root @ apart)
            left = own_trend + tau2 * np.diag(own_curve) + stray2 * np.diag(own_stray) - np.square(gain).sum(axis=0)
            mean += w * each
            second += w * (np.maximum(left, 0.0) + each**2)
        return mean + _trend(u) @ self.parabola, np.sqrt(np.maximum(second - mean**2, 0.0))

    def _parts(self, u: Floats, f: Floats, v: Floats, g: Floats) -> tuple[Floats, Floats]:
        ends = (float(self.focal_m.min()), float(self.focal_m.max()))
        lever = [self._lever(places, focals) for places, focals in ((u, f), (v, g))]
        return _bend(u, v), np.outer(*lever) * _alike(u, f, v, g, ends)

    def _lever(self, u: Floats, f: Floats) -> Floats:
        return _lever(np.interp(u, self.slope_at, self.slope_deg), f, self.scale)


def fit_zoom(
    distance_m: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    position_deg: npt.ArrayLike,
    relative_variance: npt.ArrayLike,
    scale: FocusScale,
    tape_dpt: npt.ArrayLike = 0.0,
    judged_dpt: npt.ArrayLike = 0.0,
) -> ZoomMap:
    """The map of a zoom from n marks, arrays (n,), each both ways averaged or put right for the play.

    ``relative_variance`` of each against one reading; ``tape_dpt`` the sd of its taped distance in dioptres: marks of
    one distance share their tape; ``judged_dpt`` the sd of one best focus found on the picture. Raises ValueError for
    fewer than 6 marks, 4 distances or 2 focal lengths.
    """
    d, f, y, v = (np.asarray(a, dtype=np.float64) for a in (distance_m, focal_m, position_deg, relative_variance))
    if y.size < FEWEST_MARKS or np.unique(d).size < FEWEST_DISTANCES or np.unique(f).size < FEWEST_FOCALS:
        raise ValueError(f"a zoom needs {FEWEST_MARKS} marks, {FEWEST_DISTANCES} distances and two focal lengths")
    u, span = scale.place(d), float(np.ptp(y)) or 1.0
    tape = np.broadcast_to(np.asarray(tape_dpt, dtype=np.float64), y.shape)
    at = np.linspace(0.0, 1.1, 111)
    slope = _first_slope(u, y, span, at)
    lever = _lever(np.interp(u, at, slope), f, scale)
    ends = (float(f.min()), float(f.max()))
    bend, stray = _bend(u, u), np.outer(lever, lever) * _alike(u, f, u, f, ends)
    vague2 = (_VAGUE * span) ** 2
    parabola, *_ = np.linalg.lstsq(_trend(u), y, rcond=None)
    apart = y - _trend(u) @ parabola
    trend = vague2 * _trend(u) @ _trend(u).T
    by_tape = np.interp(u, at, slope) / scale.near_vergence_dpt * tape
    taped = np.outer(by_tape, by_tape) * (d[:, None] == d)
    by_eye = np.interp(u, at, slope) / scale.near_vergence_dpt * np.asarray(judged_dpt, dtype=np.float64)
    taped += np.diag(np.broadcast_to(by_eye, y.shape) ** 2 * v)
    logs, taus, strays, sigmas, roots = [], [], [], [], []
    for t in _TAU:
        tau2 = (span * np.exp(LOG_TAU_PRIOR[0] + LOG_TAU_PRIOR[1] * t)) ** 2
        for stray_m in STRAY_M.tolist():
            fixed = trend + tau2 * bend + stray_m**2 * stray + taped
            for s in _SIGMA:
                sigma = USUAL_NOISE_DEG * np.exp(LOG_SIGMA_PRIOR_SD * s)
                half = np.linalg.cholesky(fixed + np.diag(sigma**2 * v))
                white = np.linalg.solve(half, apart)
                root = np.linalg.solve(half, np.eye(y.size))
                logs.append(-0.5 * (white @ white) - np.log(np.diag(half)).sum() - 0.5 * (t**2 + s**2))
                taus.append(tau2)
                strays.append(stray_m)
                sigmas.append(sigma)
                roots.append(root)
    log = np.array(logs)
    weight = np.exp(log - log.max())
    kept = weight >= _LIGHT * weight.sum()
    weight = weight[kept] / weight[kept].sum()
    return ZoomMap(
        scale,
        d,
        f,
        y,
        float(weight @ np.array(sigmas)[kept]),
        float(weight @ np.array(strays)[kept]),
        at,
        slope,
        weight,
        np.array(taus)[kept],
        np.square(np.array(strays)[kept]),
        np.array(roots)[kept],
        vague2,
        np.asarray(parabola, dtype=np.float64),
    )


def _trend(u: Floats) -> Floats:
    rows: Floats = np.stack([np.ones_like(u), u, u * u], axis=-1)
    return rows


def _bend(u: Floats, v: Floats) -> Floats:
    """The kernel of the quintic spline (``lens.spline``), places (n,) and (p,): (n, p)."""
    small, large = np.minimum(u[:, None], v), np.maximum(u[:, None], v)
    bend: Floats = small**3 * (10.0 * large**2 - 5.0 * large * small + small**2) / 120.0
    return bend


def _alike(u: Floats, f: Floats, v: Floats, g: Floats, ends: tuple[float, float]) -> Floats:
    """How alike focus strays at places and focal lengths (n,) and (p,): (n, p)."""
    octaves = np.log(ends[1] / ends[0])
    apart = np.log(f[:, None] / g) / octaves
    alike: Floats = np.exp(-0.5 * (apart / LENGTH) ** 2) * (1.0 + WITH_DISTANCE**2 * np.outer(u, v))
    return alike


def _lever(slope_deg: Floats, f: Floats, scale: FocusScale) -> Floats:
    """Degrees of ring that a metre of image shift is, at slopes in degrees per place: (n,)."""
    lever: Floats = slope_deg / scale.near_vergence_dpt / f**2
    return lever


def _first_slope(u: Floats, y: Floats, span: float, at: Floats) -> Floats:
    """Slope of the curve in degrees per place, all focal lengths taken for one: smooth, and never the wrong way."""
    tau2 = (span * np.exp(LOG_TAU_PRIOR[0])) ** 2
    vague2 = (30.0 * span) ** 2

    def between(a: Floats, b: Floats) -> Floats:
        both: Floats = vague2 * _trend(a) @ _trend(b).T + tau2 * _bend(a, b)
        return both

    noise = (2.0 * USUAL_NOISE_DEG) ** 2 + (0.01 * span) ** 2
    curve = between(np.append(at, at[-1] + 0.01), u) @ np.linalg.solve(between(u, u) + noise * np.eye(u.size), y)
    slope = np.diff(curve) / np.diff(np.append(at, at[-1] + 0.01))
    way = np.sign(slope.mean())
    firm: Floats = way * np.maximum(way * slope, 0.05 * abs(slope.mean()))
    return firm
