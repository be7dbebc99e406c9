"""How copies of one model differ: the assumption a borrowed map rests on, and how it is learnt from copies at hand.

Two copies are taken to differ by an index offset, which says nothing (it is set anew whenever a motor is put on), by
the scale (the ring turns a little more or less for the same range), by a shim (all of the scale is shifted in
vergence) and by a small smooth difference of the cam:

    p_b(q) = offset + (1 + scale) p_a(q) + shift p_a'(q) + cam(q).

Each is drawn from a normal distribution about nought, cam(q) as a Gaussian process with the squared exponential kernel
(C. Rasmussen and C. Williams, Gaussian Processes for Machine Learning, 2006, equation 4.9).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95, LensMap
from tapehook.lens.scale import FocusScale

Floats = npt.NDArray[np.float64]

OFFSET_SD_DEG = 20.0
"""The index offset is left open, about the mean of the marks: where a read-out has its nought is up to who put the
motor on."""
CAM_REACH = 0.15
"""Length over which a cam difference stays alike, as a part of the range in vergence. Common practice, no source."""
ENOUGH_COPIES = 5
"""So many copies with maps of their own say how copies differ."""
LEARN_PLACES = 9
_LEARN_STEPS = np.linspace(-2.0, 2.0, 17)
_LEARN_LOG_SD = 0.7
"""How far the spread of copies may be from the usual, ln, before copies are looked at."""


@dataclass(frozen=True, slots=True)
class CopySpread:
    """Standard deviations between two copies: ``scale`` and ``cam`` as parts of the travel, ``shim_m`` in metres.

    ``copies`` is how many copies it was learnt from, 0 when it is assumed. The figures assumed are common practice, no
    source: scale 0.4 %, cam 0.1 %, shim 8 um.
    """

    scale: float = 0.004
    cam: float = 0.001
    shim_m: float = 8e-6
    copies: int = 0


USUAL_SPREAD = CopySpread()


@dataclass(frozen=True, slots=True)
class CopyBasis:
    """What copies of one lens may differ by at G places.

    ``turn`` (G,) from the far end on and ``travel``, the whole of it, are degrees of ring, ``shift`` (G,) degrees for
    one dioptre of shift; ``places`` (G,) are the lender's.
    """

    places: Floats
    turn: Floats
    shift: Floats
    travel: float

    def covariance(self, other: "CopyBasis", spread: CopySpread, focal_m: float | None) -> Floats:
        """Covariance of the difference of two copies, less its offset, between G and P places: (G, P)."""
        shim_dpt = spread.shim_m / focal_m**2 if focal_m else 0.0
        cov: Floats = spread.scale**2 * np.outer(self.turn, other.turn)
        cov += shim_dpt**2 * np.outer(self.shift, other.shift)
        cov += (spread.cam * self.travel) ** 2 * _cam_kernel(self.places, other.places)
        return cov


_ENDS = np.array([0.05, 1.05])
"""Places of infinity and the nearest mark (``FocusScale``)."""


def _alike(a: Floats, b: Floats) -> Floats:
    kernel: Floats = np.exp(-0.5 * ((a[:, None] - b[None, :]) / CAM_REACH) ** 2)
    return kernel


_ENDS_INVERSE = np.linalg.inv(_alike(_ENDS, _ENDS))


def _cam_kernel(a: Floats, b: Floats) -> Floats:
    """Covariance of a cam difference of unit variance between places (G,) and (P,): (G, P).

    Offset and scale are what makes two copies agree at both ends, so what is left of the cam is nought there: the
    squared exponential, given that it is 0 at the ends (Rasmussen and Williams, equation 2.24).
    """
    kernel: Floats = _alike(a, b) - _alike(a, _ENDS) @ _ENDS_INVERSE @ _alike(_ENDS, b)
    return kernel


def copy_basis(lens_map: LensMap, values: npt.ArrayLike) -> CopyBasis:
    """The basis of a mapped lens at distances (G,), metres. Raises TypeError for another ring than focus."""
    scale = lens_map.scale
    if not isinstance(scale, FocusScale):
        raise TypeError("only a focus ring has twins")
    value = np.atleast_1d(np.asarray(values, dtype=np.float64))
    per_unit = lens_map.degrees_per_unit
    ends = lens_map.curve([lens_map.far_value, lens_map.near_value]) * per_unit
    turn = lens_map.curve(value) * per_unit - ends[0]
    # At infinity the middle difference of the slope reaches past infinity: the curve goes on there.
    shift = lens_map.slope_per_place(value) * per_unit / scale.near_vergence_dpt
    return CopyBasis(scale.place(value), turn, shift, float(abs(ends[1] - ends[0])))


@dataclass(frozen=True, slots=True)
class CopyDifference:
    """One copy's map minus another's at G distances, degrees of ring, with its covariance from both maps (G, G).

    ``basis`` is that of the first copy. ``turned`` when the read-outs of the two run opposite ways.
    """

    distance_m: Floats
    degrees: Floats
    covariance: Floats
    basis: CopyBasis
    turned: bool

    def after_offset(self, room_deg: npt.ArrayLike) -> tuple[float, float, "CopyDifference"]:
        """The offset that makes the squared shares of ``room_deg`` (G,) least, its sd, and the difference left."""
        weight = 1.0 / np.asarray(room_deg, dtype=np.float64) ** 2
        weight /= weight.sum()
        offset = float(weight @ self.degrees)
        left = np.eye(weight.size) - weight[None, :]
        covariance = left @ self.covariance @ left.T
        sd = float(np.sqrt(np.maximum(weight @ self.covariance @ weight, 0.0)))
        return offset, sd, CopyDifference(self.distance_m, self.degrees - offset, covariance, self.basis, self.turned)

    def worst(self, room_deg: npt.ArrayLike) -> tuple[float, float, float]:
        """Most depth used by the difference: share, its half-width (95 %), and the distance in metres.

        ``room_deg`` (G,) is the turn that half the depth of field takes at each distance.
        """
        room = np.asarray(room_deg, dtype=np.float64)
        share = np.abs(self.degrees) / room
        at = int(np.argmax(share))
        spread = Z95 * float(np.sqrt(max(self.covariance[at, at], 0.0)) / room[at])
        return float(share[at]), spread, float(self.distance_m[at])


def copy_difference(first: LensMap, second: LensMap, count: int = 41) -> CopyDifference:
    """The second copy's map minus the first's, between the outermost marks of both, even in vergence.

    Raises ValueError when the marks of the two have no range in common, TypeError for another ring than focus.
    """
    far = min(float(first.marks.values.max()), float(second.marks.values.max()))
    near = max(float(first.marks.values.min()), float(second.marks.values.min()))
    if far <= near:
        raise ValueError("the marks of the two copies have no range in common")
    ends = first.scale.place([far, near])
    distance = first.scale.value(np.linspace(ends[0], ends[1], count))
    distance[0], distance[-1] = far, near
    turned = first.toward_near != second.toward_near
    sign = -1.0 if turned else 1.0
    degrees = second.curve(distance) * second.degrees_per_unit - sign * first.curve(distance) * first.degrees_per_unit
    covariance = sum(
        lens_map.fit.covariance(places, places)[0]
        for lens_map, places in ((first, first.scale.place(distance)), (second, second.scale.place(distance)))
    )
    # Where the centre of the play is not known, that is the same at every distance.
    covariance = covariance + first.centre_sd_deg**2 + second.centre_sd_deg**2
    return CopyDifference(distance, degrees, np.asarray(covariance), copy_basis(first, distance), turned)


def learn_spread(differences: Sequence[tuple[CopyDifference, float | None]], copies: int) -> CopySpread:
    """How copies differ, from the differences of ``copies`` of them; each with the focal length in metres.

    Scale and cam are each averaged over a grid about the usual spread, weighed by likelihood; the shim stays as usual,
    as few copies can tell it from the scale. With fewer than ``ENOUGH_COPIES`` the usual spread comes back.
    """
    if copies < ENOUGH_COPIES or not differences:
        return USUAL_SPREAD
    factor = np.exp(_LEARN_LOG_SD * _LEARN_STEPS)
    log_weight = -0.5 * (_LEARN_STEPS[:, None] ** 2 + _LEARN_STEPS[None, :] ** 2)
    for difference, focal_m in differences:
        log_weight = log_weight + _log_likelihood(difference, focal_m, factor)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    scale = float(np.sqrt((weight.sum(axis=1) * factor**2).sum())) * USUAL_SPREAD.scale
    cam = float(np.sqrt((weight.sum(axis=0) * factor**2).sum())) * USUAL_SPREAD.cam
    return CopySpread(scale, cam, USUAL_SPREAD.shim_m, copies)


def _log_likelihood(difference: CopyDifference, focal_m: float | None, factor: Floats) -> Floats:
    """ln likelihood of one difference for each factor on scale and on cam: (S, S)."""
    chosen = np.linspace(0, difference.degrees.size - 1, LEARN_PLACES).round().astype(int)
    y, own = difference.degrees[chosen], difference.covariance[np.ix_(chosen, chosen)]
    y = y - y.mean()
    basis = difference.basis
    part = CopyBasis(basis.places[chosen], basis.turn[chosen], basis.shift[chosen], basis.travel)
    scale = part.covariance(part, CopySpread(cam=0.0, shim_m=0.0), None)
    cam = part.covariance(part, CopySpread(scale=0.0, shim_m=0.0), None)
    fixed = own + part.covariance(part, CopySpread(scale=0.0, cam=0.0), focal_m) + OFFSET_SD_DEG**2
    squared = factor[:, None, None, None] ** 2, factor[None, :, None, None] ** 2
    total = fixed + squared[0] * scale + squared[1] * cam
    total = total + 1e-9 * np.eye(y.size)
    inner = np.linalg.solve(total, np.broadcast_to(y[:, None], (*total.shape[:-1], 1)))[..., 0]
    found: Floats = -0.5 * (np.linalg.slogdet(total)[1] + (inner * y).sum(axis=-1))
    return found
