"""The chance that a subject is sharp, from what is off for certain and what scatters, all in shares of the depth.

With x = (q_focus - q_subject)/w, sharp is |x| <= 1. x is a known part (lag, flange), plus or minus half the play with
equal odds, plus what scatters independently (map, read-out, tape, body): normal with the root of the summed squares
(JCGM 100:2008, section 5.1). So

    P = 1/2 sum over +-p of [ F((1 - b -+ p)/s) - F((-1 - b -+ p)/s) ],   F the normal distribution function.

Where something besides must be sharp that does not stand as the subject does, such as the other direction of an
anamorphic lens, less than -1 to 1 is left: other ends take the place of these two.
"""

from collections.abc import Mapping
from math import erf, hypot, sqrt

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_ERF = np.vectorize(erf, otypes=[np.float64])


def chance_sharp(
    known: npt.ArrayLike,
    half_play: npt.ArrayLike,
    scatter_sd: npt.ArrayLike,
    low: npt.ArrayLike = -1.0,
    high: npt.ArrayLike = 1.0,
) -> Floats:
    """Probability (K,) to be sharp; all in half-widths of the depth. Without scatter it is 0, a half, or 1.

    ``low`` and ``high`` are the ends of what is sharp; where ``low`` is not below ``high`` nothing is.
    """
    b, p, s, least, most = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in (known, half_play, scatter_sd, low, high))
    )
    spread = np.maximum(s, 1e-12) * sqrt(2.0)
    found = np.zeros(b.shape)
    for side in (1.0, -1.0):
        centre = b + side * p
        found += 0.25 * (_ERF((most - centre) / spread) - _ERF((least - centre) / spread))
    return np.maximum(found, 0.0)


def largest(
    known: Mapping[str, float],
    half_play: float,
    scatter_sd: Mapping[str, float],
    ends: Mapping[str, tuple[float, float]] | None = None,
) -> str:
    """The term that costs most: the one without which the chance would be the greatest.

    ``ends`` names what takes off the ends of what is sharp, with the ends it leaves.
    """
    limits = ends or {}
    terms = [*known, *scatter_sd, *limits, "backlash"]

    def without(name: str) -> float:
        b = sum(value for term, value in known.items() if term != name)
        p = 0.0 if name == "backlash" else half_play
        s = hypot(*(value for term, value in scatter_sd.items() if term != name))
        left = [pair for term, pair in limits.items() if term != name]
        low, high = max((pair[0] for pair in left), default=-1.0), min((pair[1] for pair in left), default=1.0)
        return float(chance_sharp(b, p, s, low, high)[0])

    return max(sorted(terms), key=without)
