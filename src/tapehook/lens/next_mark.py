"""Which mark to read next: the one that would do most for the worst parts of a map.

One step of look-ahead. A reading of noise variance r at the place c would leave of the variance V of the curve at g

    V_after(g) = V(g) - C(g, c)^2 / (C(c, c) + r),

with C the posterior covariance of the curve (C. Rasmussen and C. Williams, Gaussian Processes for Machine Learning,
2006, equation 2.26, for one more observation). Chosen is the place with the least sum over the range of
(V_after/room^2)^2, where room is the position that half the depth of field takes: the fourth power of the depth used,
so that the widest parts count most and yet a mark is not put where it cannot help. Putting it simply where the map is
widest gets stuck: near close focus the tape may be the error, and one more tape there changes little. A mark that is
there may be read again: that halves the noise of its readings, but not what the mark itself is off.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95, LensMap
from tapehook.lens.noise import MARK_NOISE_DEG
from tapehook.lens.scale import FocusScale
from tapehook.lens.taping import taping_sd_m

Floats = npt.NDArray[np.float64]

ENOUGH = 0.25
"""A map that nowhere uses more of the depth than this is good enough. Common practice, no source: a quarter."""
SAME_PLACE_M = 5e-3
"""Distances no farther apart than this are the same mark."""
TAPE_EFFORT = 1.1
"""A tape has to promise a sum smaller by this factor than a mark that can be read off the ring."""
FIRST_MARKS = 6
"""Marks that a first map is read from."""


@dataclass(frozen=True, slots=True)
class NextMark:
    """A distance to read next, metres, and the most that the map uses of the depth before and after it, as fractions.

    ``how``: tape the distance, read the engraved mark, or read again what is a mark already. Both figures are 95 %
    figures over the range; None where there is no map yet.
    """

    distance_m: float
    how: Literal["tape", "read", "read_again"]
    used_before: float | None
    used_after: float | None


def next_marks(
    lens_map: LensMap,
    candidates_m: npt.ArrayLike,
    range_m: npt.ArrayLike,
    room: npt.ArrayLike,
    *,
    most: int,
    engraved_m: float | None = None,
    enough: float = ENOUGH,
) -> tuple[NextMark, ...]:
    """The marks to read next, best first, each in the light of those before it; empty when the map is good enough.

    ``candidates_m`` (C,) are distances that somebody would tape, but for infinity and ``engraved_m``, a mark known to
    be on the ring (close focus); besides them the marks there are may be read again. ``room`` (G,) is what half the
    depth of field is of position at the distances ``range_m`` (G,), in the unit of the read-out. A new reading is taken
    to be made as the others were, both ways or one way. At most ``most`` marks, fewer when the worst depth used falls
    under ``enough``. Raises TypeError for the map of another ring than focus.
    """
    distances = np.atleast_1d(np.asarray(range_m, dtype=np.float64))
    count, width = distances.size, np.abs(np.asarray(room, dtype=np.float64)) * lens_map.degrees_per_unit
    candidates, read = _candidates(lens_map, candidates_m)
    taped = np.isfinite(candidates) & (candidates != engraved_m)
    taped[: lens_map.marks.taped.size] = lens_map.marks.taped
    places = lens_map.scale.place(np.concatenate([distances, candidates]))
    covariance = lens_map.fit.covariance(places, places)[0]
    reading, lasting = _variances(lens_map, candidates, taped)
    worst = _worst(covariance, width)
    found: list[NextMark] = []
    while len(found) < most and candidates.size and worst >= enough:
        noise = _new_noise(reading, lasting, read)
        best = _best(covariance, noise, width, np.where(taped, TAPE_EFFORT, 1.0))
        reach = covariance[:, count + best]
        covariance -= np.outer(reach, reach) / (reach[count + best] + noise[best])
        before, worst = worst, _worst(covariance, width)
        how = _how(again=bool(read[best] > 0), taped=bool(taped[best]))
        found.append(NextMark(float(candidates[best]), how, before, worst))
        read[best] += 1
    return tuple(found)


def _how(*, again: bool, taped: bool) -> Literal["tape", "read", "read_again"]:
    return "read_again" if again else "tape" if taped else "read"


def worst_used(lens_map: LensMap, range_m: npt.ArrayLike, room: npt.ArrayLike) -> float:
    """The most that a map uses of the depth over ``range_m`` (G,), 95 %, as a fraction; arguments as in next_marks."""
    sd = lens_map.position(range_m)[1]
    return float((Z95 * sd / np.abs(np.asarray(room, dtype=np.float64))).max())


def _candidates(lens_map: LensMap, candidates_m: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Where to read: the marks there are and the candidates besides, metres, and how often each was read: two (C,)."""
    marks, new = lens_map.marks.values, np.atleast_1d(np.asarray(candidates_m, dtype=np.float64))
    with np.errstate(invalid="ignore"):
        taken = ((np.abs(new[:, None] - marks) < SAME_PLACE_M) | (new[:, None] == marks)).any(axis=1)
    once = 1.0 if lens_map.marks.one_way else 0.5
    read = np.maximum(np.round(once / lens_map.marks.relative_variance), 1.0)
    return np.concatenate([marks, new[~taken]]), np.concatenate([read, np.zeros(int((~taken).sum()))])


def _variances(lens_map: LensMap, distances_m: Floats, taped: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Variance of a mark at each distance, degrees squared: of one reading, and what stays however often: two (C,).

    What stays is how far the mark is from its place, and the error of the tape where it is ``taped`` (C,).
    """
    scale = lens_map.scale
    if not isinstance(scale, FocusScale):
        raise TypeError("only a focus ring is read against distances")
    ways = 1.0 if lens_map.marks.one_way else 0.5
    slope = lens_map.slope_per_place(distances_m) * lens_map.degrees_per_unit / scale.near_vergence_dpt
    tape = (slope * scale.vergence(distances_m) ** 2 * taping_sd_m(distances_m)) ** 2
    total = float(lens_map.fit.sigma2[0]) * ways
    mark = min(MARK_NOISE_DEG**2, 0.5 * total)
    return np.full(distances_m.size, total - mark), mark + np.where(taped, tape, 0.0)


def _new_noise(reading: Floats, lasting: Floats, read: Floats) -> Floats:
    """Variance that one more reading counts with at each place (C,), where it was read ``read`` times (C,).

    k readings have the variance r/k + s, with s what stays; what takes that of k to that of k + 1 is one more with
    1/(1/(r/(k+1) + s) - 1/(r/k + s)).
    """
    with np.errstate(divide="ignore"):  # never read: no bound; nothing to be gained: none either
        now = reading / read + lasting
        noise: Floats = 1.0 / np.maximum(1.0 / (reading / (read + 1.0) + lasting) - 1.0 / now, 0.0)
    return noise


def _worst(covariance: Floats, width: Floats) -> float:
    variance = np.maximum(np.diag(covariance)[: width.size], 0.0)
    return float((Z95 * np.sqrt(variance) / width).max())


def _best(covariance: Floats, noise: Floats, width: Floats, effort: Floats) -> int:
    """The candidate with the least sum of (V_after/room^2)^2, times ``effort`` (C,)."""
    count = width.size
    variance = np.diag(covariance)
    gain = covariance[:count, count:] ** 2 / (variance[count:] + noise)
    after = (variance[:count, None] - gain) / width[:, None] ** 2
    return int(np.argmin((after**2).sum(axis=0) * effort))


def first_marks(
    scale: FocusScale, near_m: float, candidates_m: npt.ArrayLike, read_m: Sequence[float]
) -> tuple[NextMark, ...]:
    """What to read for a first map: close focus, infinity, then between, even in vergence; what was read is left out.

    ``near_m`` is close focus and ``candidates_m`` (C,) the distances to choose from, infinity among them; ``read_m``
    the distances of the marks there are.
    """
    candidates = np.unique(np.asarray(candidates_m, dtype=np.float64))
    places = scale.place(candidates)
    far, near = scale.place([np.inf, near_m]).tolist()
    targets = np.linspace(far, near, FIRST_MARKS)
    wanted = [FIRST_MARKS - 1, 0, *range(FIRST_MARKS // 2, FIRST_MARKS - 1), *range(1, FIRST_MARKS // 2)]
    for place in scale.place(np.unique(list(read_m))):  # each mark that is there stands for the nearest of those wanted
        if wanted:
            wanted.remove(min(wanted, key=lambda k: abs(targets[k] - place)))
    chosen = dict.fromkeys(float(candidates[np.argmin(np.abs(places - targets[k]))]) for k in wanted)
    return tuple(
        NextMark(distance, _how(again=False, taped=near_m < distance < np.inf), None, None)
        for distance in chosen
        if distance not in read_m
    )
