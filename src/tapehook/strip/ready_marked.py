"""Ready-marked strips: the turn at which a strip that is marked already sits best on a lens."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_LEAST_MARKS = 3
_HUBER = 1.345
"""Where a residual stops counting in squares, in units of its scale: 95 % efficient on normal scatter.
Huber, Robust Statistics; the constant as in Holland and Welsch, Robust regression using iteratively reweighted
least-squares."""
_ROUNDS = 50


@dataclass(frozen=True, slots=True)
class StripTurn:
    """A strip laid on a ring: turned by ``turn_deg``, its marks off by ``error_deg`` (n,) from where the map puts them.

    ``depth_used`` (n,) is the size of each error as a share of the half-width of the depth there. ``loss`` is the mean
    of Huber's loss over the marks, in shares: the smaller, the better the strip fits.
    """

    turn_deg: float
    error_deg: Floats
    depth_used: Floats
    loss: float

    def trusted(self, most: float = 1.0) -> tuple[int, int] | None:
        """First and last mark of the longest run in which every mark uses at most ``most``; None when no mark does."""
        inside = np.concatenate([[False], self.depth_used <= most, [False]])
        starts = np.flatnonzero(~inside[:-1] & inside[1:])
        ends = np.flatnonzero(inside[:-1] & ~inside[1:]) - 1
        if not len(starts):
            return None
        longest = int(np.argmax(ends - starts))
        return int(starts[longest]), int(ends[longest])


def turn_strip(strip_deg: npt.ArrayLike, ring_deg: npt.ArrayLike, half_width_deg: npt.ArrayLike) -> StripTurn:
    """The turn that fits best: ring = strip + turn, by robust least squares on errors in shares of the depth.

    ``strip_deg`` (n,) are the marks on the strip and ``ring_deg`` (n,) where the map puts the same distances, both
    rising the same way; ``half_width_deg`` (n,) is the depth to one side there, in degrees of ring. Marks stand in
    order of distance. Starts at the weighted median, so that a few marks far off do not carry the rest along.
    Raises ValueError for fewer than three marks, unequal lengths, figures that are not finite or no depth.
    """
    strip, ring, width = (np.asarray(x, dtype=np.float64) for x in (strip_deg, ring_deg, half_width_deg))
    _check(strip, ring, width)
    needed = ring - strip
    turn = _weighted_median(needed, width.min() / width)
    for _ in range(_ROUNDS):
        share = np.abs(needed - turn) / width
        scale = _scale(share)
        bend = _HUBER * scale
        weight = bend / np.maximum(share, bend) * (width.min() / width) ** 2
        last, turn = turn, float(np.sum(weight * needed) / np.sum(weight))
        if abs(turn - last) <= 1e-9:
            break
    error = strip + turn - ring
    used = np.abs(error) / width
    loss = np.where(used <= 1.0, 0.5 * used**2, used - 0.5)
    return StripTurn(turn, error, used, float(np.mean(loss)))


def _check(strip: Floats, ring: Floats, width: Floats) -> None:
    if not strip.shape == ring.shape == width.shape or strip.ndim != 1:
        message = (
            f"a strip needs as many places on the ring and depths as marks: {strip.shape, ring.shape, width.shape}"
        )
        raise ValueError(message)
    if len(strip) < _LEAST_MARKS:
        message = f"{len(strip)} marks of the strip are on the map; a turn needs {_LEAST_MARKS} to be judged"
        raise ValueError(message)
    if not np.all(np.isfinite([strip, ring, width])) or np.any(width <= 0):
        message = "places must be finite and depths above 0"
        raise ValueError(message)


def _scale(share: Floats) -> float:
    """Standard deviation of the shares by their median, which a few marks far off cannot widen."""
    return max(1.4826 * float(np.median(share)), 1e-9)


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    heap = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(heap, heap[-1] / 2.0)])
