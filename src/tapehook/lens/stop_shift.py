"""Best focus moves when a lens is stopped down: how far, from charts found sharp at two or more of its stops.

Spherical aberration puts the rays of the rim elsewhere than those near the axis; with the rim shut off, best focus goes
to where the inner rays meet (W. J. Smith, Modern Optical Engineering, chapter 3). Seen from the ring it is as if the
sensor moved, by nearly the same at every distance from some 3 m on; nearer by more, and by several times as much in a
lens that focuses by its front element, as its aberrations change with the distance. Where charts at several distances
differ by more than chance, that goes into the standard deviation. Third-order theory gives a shift that goes with
1/N^2; real lenses have higher orders, so that between the stops tested only this is taken: it lies somewhere between
what they showed.
"""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

SAME_STOP = 0.06
"""F-numbers within this part of each other are one stop: a sixth of a stop."""
BY_CHANCE = 3.0
"""Charts deviate by chance up to so many standard deviations of their mean square; by more, settings differ."""


@dataclass(frozen=True, slots=True)
class StopShift:
    """Shift of best focus at S stops against the widest tested, in the order of their f-numbers.

    ``shift_m`` (S,) metres, positive: as if the sensor came to lie too far back; the first is nought. ``sd_m`` (S,) its
    standard deviation, for any one of the settings tested where these differ; ``tests`` how many charts it rests on.
    """

    f_number: tuple[float, ...]
    shift_m: tuple[float, ...]
    sd_m: tuple[float, ...]
    tests: int

    def tested(self, f_number: float) -> bool:
        """Whether charts were found at that stop."""
        return any(abs(f_number / one - 1.0) <= SAME_STOP for one in self.f_number)

    def at(self, f_number: float) -> tuple[float, float]:
        """Shift at a stop with its standard deviation, metres.

        Between two tested stops straight in 1/N^2, with the part of their difference that an even chance from one to
        the other leaves open, 1/sqrt(12). Wider than the widest tested nought is given: nobody looked. Beyond the
        smallest the last step is carried on towards 1/N^2 = 0, with as much doubt, and what the step itself is not sure
        of grows with it.
        """
        for known, shift, sd in zip(self.f_number, self.shift_m, self.sd_m, strict=True):
            if abs(f_number / known - 1.0) <= SAME_STOP:
                return shift, sd
        if f_number < self.f_number[0]:
            return 0.0, 0.0
        x = 1.0 / np.square(self.f_number)
        k = min(int(np.searchsorted(-x, -1.0 / f_number**2)), x.size - 1)
        step = self.shift_m[k] - self.shift_m[k - 1]
        part = float((1.0 / f_number**2 - x[k - 1]) / (x[k] - x[k - 1]))
        beyond = max(part - 1.0, 0.0)
        open_m = abs(step) * beyond if beyond else abs(step)
        known_m = hypot(part * self.sd_m[k], beyond * self.sd_m[k - 1]) if beyond else max(self.sd_m[k - 1 : k + 1])
        return self.shift_m[k - 1] + part * step, sqrt(known_m**2 + open_m**2 / 12.0)


def stop_shift(
    setting: npt.ArrayLike,
    f_number: npt.ArrayLike,
    dq_dpt: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    sd_dpt: npt.ArrayLike,
) -> StopShift | None:
    """The shift from n chart tests, arrays (n,); None where no setting was tested at the widest stop and another.

    ``setting`` numbers what is the same but for the stop: a chart, a body, a way of turning. ``dq_dpt`` is ring minus
    chart in dioptres at the front focal point, positive nearer; a setting's own error (map, tape, flange, play) is the
    same at each of its stops and drops out. Weighted least squares; a sensor too far back by delta is -delta/f^2. Where
    charts deviate by more than chance, ``sd_m`` is that of one setting, no longer that of their mean.
    """
    group, n, y, f, e = (np.asarray(a) for a in (setting, f_number, dq_dpt, focal_m, sd_dpt))
    stops, which = _stops(np.asarray(n, dtype=np.float64))
    used = _joined(group, which)
    if not used.any():
        return None
    kept = np.unique(which[used])
    groups = np.unique(group[used])
    columns = [np.where(which[used] == s, -1.0 / f[used] ** 2, 0.0) for s in kept[1:]]
    columns += [np.where(group[used] == g, 1.0, 0.0) for g in groups]
    weighted = np.stack(columns, axis=1) / e[used][:, None]
    found, *_ = np.linalg.lstsq(weighted, y[used] / e[used], rcond=None)
    covariance = np.linalg.pinv(weighted.T @ weighted)
    free = int(used.sum()) - weighted.shape[1]
    left = float(np.square(weighted @ found - y[used] / e[used]).sum()) / free if free > 0 else 0.0
    count = kept.size - 1
    variance = np.diag(covariance)[:count] * max(left, 1.0)
    if free > 0 and left > 1.0 + BY_CHANCE * sqrt(2.0 / free):
        each = np.array([np.mean((e * f**2)[used & (which == s)] ** 2) for s in kept])
        variance = variance + (left - 1.0) * (each[1:] + each[0])
    sd = np.sqrt(variance)
    return StopShift(
        tuple(float(stops[s]) for s in kept),
        (0.0, *found[:count].tolist()),
        (0.0, *sd.tolist()),
        int(used.sum()),
    )


def _stops(f_number: Floats) -> tuple[list[float], Ints]:
    """The stops tested, widest first, and which each test was made at."""
    stops: list[float] = []
    for one in sorted(f_number.tolist()):
        if not stops or one > stops[-1] * (1.0 + SAME_STOP):
            stops.append(one)
    which = [int(np.argmin([abs(np.log(one / stop)) for stop in stops])) for one in f_number.tolist()]
    return stops, np.array(which, dtype=np.intp)


def _joined(group: npt.NDArray[np.generic], which: Ints) -> npt.NDArray[np.bool_]:
    """The tests that settings join to the widest stop, if only through others; all False where it stands alone."""
    stops = {0}
    groups: set[int] = set()
    while True:
        near = {g for g, s in zip(group.tolist(), which.tolist(), strict=True) if s in stops}
        reached = {s for g, s in zip(group.tolist(), which.tolist(), strict=True) if g in near}
        if near == groups and reached == stops:
            break
        groups, stops = near, stops | reached
    several = {g for g in groups if len(set(which[group == g].tolist())) > 1}
    used: npt.NDArray[np.bool_] = np.isin(group, list(several))
    return used
