"""Which two marks to read on a lens that is to borrow the map of a copy.

Two marks tell the scale by how far apart they stand; what a shim or the cam adds is least where they are. Read at the
very ends they leave the middle of the range to itself: a little inside, the ends lose less than the middle gains. So
the pair is chosen by what it would leave: among the marks of the lender, which a copy has engraved as well, the two
with the least sum over the range of (V/room^2)^2, where V is the variance of the borrowed curve after both (C.
Rasmussen and C. Williams, Gaussian Processes for Machine Learning, 2006, equation 2.24) and room the turn that half the
depth of field takes. The fourth power counts the widest parts most, as for the next mark
(``tapehook.lens.next_mark``).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.copies import OFFSET_SD_DEG, USUAL_SPREAD, CopyBasis, CopySpread, copy_basis
from tapehook.lens.map import LensMap
from tapehook.lens.marks import Marks
from tapehook.lens.noise import MARK_NOISE_DEG, USUAL_NOISE_DEG, reading_sd
from tapehook.lens.taping import taping_sd_m
from tapehook.lens.twins import BorrowedMap, borrow_map, tape_variance

Floats = npt.NDArray[np.float64]

TIMES = 2
"""How often each proof mark is to be read, each time both ways: the second time halves what reading adds."""
APART = 0.3
"""Two marks nearer to each other than this part of the range are as good as one."""


@dataclass(frozen=True, slots=True)
class ProofMarks:
    """The two marks to read, metres, and ``expected``: the map that is borrowed if they show what the lender does."""

    far_m: float
    near_m: float
    expected: BorrowedMap


def choose_proof_marks(
    lender: LensMap,
    distances_m: npt.ArrayLike,
    room_deg: npt.ArrayLike,
    *,
    focal_m: float | None,
    spread: CopySpread = USUAL_SPREAD,
    times: int = TIMES,
) -> ProofMarks | None:
    """The two marks of ``lender`` that a copy should be read at, ``times`` both ways each.

    ``room_deg`` (G,) is the turn that half the depth of field takes at ``distances_m`` (G,), ``spread`` how copies
    differ, ``focal_m`` how far a shim moves the focus. A mark that was taped on the lender has to be taped again. None
    where no two marks stand apart. Raises TypeError for the map of another ring than focus.
    """
    here, there = copy_basis(lender, distances_m), copy_basis(lender, lender.marks.values)
    low, high = np.triu_indices(there.places.size, 1)
    apart = np.abs(there.places[low] - there.places[high]) >= APART
    if not apart.any():
        return None
    low, high = low[apart], high[apart]
    own = _prior(lender, there, there, spread, focal_m) + np.diag(_noise(lender, there, times))
    told = _told(_prior(lender, here, there, spread, focal_m), own, low, high)
    share = (np.diag(_prior(lender, here, here, spread, focal_m)) - told) / np.asarray(room_deg, dtype=np.float64) ** 2
    best = int(np.argmin((share**2).sum(axis=1)))
    return _expected(lender, int(low[best]), int(high[best]), times, spread, focal_m)


def _prior(lender: LensMap, a: CopyBasis, b: CopyBasis, spread: CopySpread, focal_m: float | None) -> Floats:
    """Covariance between G and P places before a mark is read, degrees squared: copies, lender and index, (G, P)."""
    lent = lender.fit.covariance(a.places, b.places)[0]
    covariance: Floats = a.covariance(b, spread, focal_m) + lent + OFFSET_SD_DEG**2
    return covariance


def _noise(lender: LensMap, basis: CopyBasis, times: int) -> Floats:
    """Variance of each mark read ``times`` both ways (n,), degrees squared: readings, the mark itself, its tape."""
    read = float(reading_sd(USUAL_NOISE_DEG)) ** 2 / (2.0 * times) + MARK_NOISE_DEG**2
    return read + tape_variance(basis, lender, lender.marks, taping_sd_m(lender.marks.values))


def _told(reach: Floats, own: Floats, low: npt.NDArray[np.intp], high: npt.NDArray[np.intp]) -> Floats:
    """What each of B pairs tells of the variance at G places: r' S^-1 r with S (2, 2), (B, G)."""
    a, b, c = own[low, low][:, None], own[high, high][:, None], own[low, high][:, None]
    u, v = reach[:, low].T, reach[:, high].T
    told: Floats = (b * u**2 - 2.0 * c * u * v + a * v**2) / (a * b - c**2)
    return told


def _expected(
    lender: LensMap, first: int, second: int, times: int, spread: CopySpread, focal_m: float | None
) -> ProofMarks:
    """The map borrowed on two marks of the lender (indices), read in its unit where its own curve has them."""
    which = np.array(sorted((first, second)))
    values = lender.marks.values[which]
    marks = Marks(
        values,
        lender.curve(values),
        np.full(2, 0.5 / times),
        lender.marks.taped[which],
        one_way=False,
        way=0,
        members=np.arange(2),
        pair_differences=np.full(2, np.nan),
    )
    expected = borrow_map(
        lender,
        marks,
        degrees_per_unit=lender.degrees_per_unit,
        focal_m=focal_m,
        spread=spread,
        taping_sd_m=taping_sd_m(values),
    )
    return ProofMarks(float(values.max()), float(values.min()), expected)
