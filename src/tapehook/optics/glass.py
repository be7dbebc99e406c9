"""Glass in the light behind a lens: it puts the image farther back.

A plane plate of thickness t and index n in the converging beam moves the image away from the lens by t (n - 1)/n, about
a third of its thickness, whatever the distance (W. J. Smith, Modern Optical Engineering, the plane parallel plate). The
sensor stays where it is, so that it is as if it came to lie too near by as much.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

USUAL_INDEX = 1.52
"""Index taken for a filter nobody gave one: that of crown glass. Resin and gelatine lie near 1.5. Common practice, no
source; between 1.49 and 1.56 the shift changes by 5 per cent."""


def glass_shift_m(thickness_m: npt.ArrayLike, refractive_index: npt.ArrayLike) -> Floats:
    """How far a plane plate behind a lens puts its image back, metres, for rays near the axis. Shapes that broadcast.

    Raises ValueError for a thickness below nought or an index below 1. Rays through the rim of a fast lens are moved
    more: at N 1.4 and an index of 1.5 by 7 per cent.
    """
    t = np.asarray(thickness_m, dtype=np.float64)
    n = np.asarray(refractive_index, dtype=np.float64)
    if not (np.all(t >= 0) and np.all(n >= 1)):
        raise ValueError("thickness_m must not be below 0, refractive_index not below 1")
    shift: Floats = t * (n - 1.0) / n
    return shift
