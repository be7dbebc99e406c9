"""What counts as sharp: named choices of the largest blur disc, never one truth.

All return a diameter on the sensor in metres.
"""

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

INCH_M = 0.0254

CINE_COC_M = INCH_M / 1000
"""1/1000 in: cine default. Kodak, Essential Reference Guide for Filmmakers, p. 70."""
CRITICAL_COC_M = INCH_M / 2000
"""1/2000 in: critical. Same page."""
FORGIVING_COC_M = INCH_M / 500
"""1/500 in: forgiving. Same page."""
CINE_35_COC_M = 0.025e-3
"""0.025 mm for 35 mm cine. Wikipedia, Circle of confusion."""


def coc_diagonal_m(width_m: npt.ArrayLike, height_m: npt.ArrayLike, divisor: float = 1500.0) -> Floats:
    """Diagonal of the image area over ``divisor``: 1500 or 1730 in use (conventions, from memory)."""
    coc: Floats = np.hypot(np.asarray(width_m, dtype=np.float64), np.asarray(height_m, dtype=np.float64)) / divisor
    return coc


def coc_photosites_m(photosite_m: npt.ArrayLike, photosites: float = 2.0) -> Floats:
    """``photosites`` times the pitch: below two the sensor itself cannot tell (sampling; the factor is a choice)."""
    coc: Floats = np.asarray(photosite_m, dtype=np.float64) * photosites
    return coc


def coc_viewing_m(image_height_m: npt.ArrayLike, picture_heights: float = 3.0, arcminutes: float = 1.0) -> Floats:
    """Disc that subtends ``arcminutes`` for a viewer ``picture_heights`` screen heights away.

    One minute of arc is the usual acuity; the final-image basis is that of S. Ray, Applied Photographic Optics
    (2002), p. 52, as cited in Wikipedia, Circle of confusion. ``image_height_m`` is the recorded height.
    """
    angle = math.radians(arcminutes / 60.0)
    coc: Floats = np.asarray(image_height_m, dtype=np.float64) * picture_heights * math.tan(angle)
    return coc
