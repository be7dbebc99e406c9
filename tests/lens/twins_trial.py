"""What borrowing comes to for lenses whose truth is known: a lender, a twin with proof marks, and the true error."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from tapehook.job import Reading
from tapehook.lens import LensMap, Marks, gather_marks
from tapehook.lens.proof_marks import TIMES, choose_proof_marks
from tapehook.lens.taping import taping_sd_m
from tapehook.lens.twins import BorrowedMap, borrow_map
from tapehook.prep.room import range_m
from tests.lens.next_mark_trial import WAYS, map_of
from tests.lens.next_mark_trial import room as true_room
from tests.simulator.lenses import TrueLens, draw_lens, draw_twin
from tests.simulator.paper import BOTH, engraved_distances, read_marks

Floats = npt.NDArray[np.float64]
Twin = Callable[[np.random.Generator, TrueLens], TrueLens]

T_NUMBER = 1.5


@dataclass(frozen=True)
class ShimmedLens(TrueLens):
    """A lens that sits on another shim: everything on its scale is set by so many dioptres off."""

    shim_dpt: float = 0.0

    def turn_deg(self, vergence_dpt: npt.ArrayLike) -> Floats:
        """True angle of the ring: that of the lens without the shim, at the shifted vergence."""
        return TrueLens.turn_deg(self, np.asarray(vergence_dpt, dtype=np.float64) + self.shim_dpt)


def draw_shimmed_twin(rng: np.random.Generator, lens: TrueLens) -> TrueLens:
    """A twin as the simulator draws it, with the shim (sd 8 um) as it acts, and not as a mere offset."""
    twin = draw_twin(rng, lens)
    known = {field.name: getattr(twin, field.name) for field in fields(TrueLens)}
    known["index_deg"] = lens.index_deg + rng.normal(0.0, 3.0)
    return ShimmedLens(**known, shim_dpt=float(rng.normal(0.0, 8e-6)) / lens.focal_m**2)


def draw_far_focus(rng: np.random.Generator, low_mm: float, high_mm: float) -> TrueLens:
    """A lens whose close focus is 12 to 20 focal lengths and at least 0.3 m, as the reference lenses have it."""
    while True:
        lens = draw_lens(rng, low_mm=low_mm, high_mm=high_mm)
        near_m = max(0.3, lens.focal_m * rng.uniform(12.0, 20.0))
        datum_m = min(lens.datum_m, 0.45 * near_m)
        return draw_lens(rng, low_mm=lens.focal_mm - 0.1, high_mm=lens.focal_mm + 0.1, near_m=near_m, datum_m=datum_m)


def marks_of(readings: Sequence[Reading]) -> Marks:
    """Marks from readings."""
    return gather_marks(
        [reading.value for reading in readings],
        [reading.position for reading in readings],
        [WAYS[reading.approach] for reading in readings],
        [reading.method == "taped" for reading in readings],
    )


def lend(rng: np.random.Generator, lens: TrueLens, twin: TrueLens, *, ends: bool = False) -> BorrowedMap:
    """The map of ``lens``, read at 12 to 18 engraved marks, lent to ``twin`` by two marks.

    They are the two asked for, read as asked for; with ``ends`` the nearest and infinity, read once both ways.
    """
    lender = map_of(lens, list(read_marks(rng, lens, "A", engraved_distances(rng, lens, int(rng.integers(12, 19))))))
    proof_m = (engraved_distances(rng, twin, 12)[0], np.inf) if ends else _asked_for(lens, lender)
    marks = marks_of(read_marks(rng, twin, "B", proof_m, ways=BOTH * (1 if ends else TIMES)))
    return borrow_map(
        lender,
        marks,
        degrees_per_unit=1.0 / twin.units_per_deg,
        focal_m=twin.focal_m,
        taping_sd_m=taping_sd_m(marks.values),
    )


def _asked_for(lens: TrueLens, lender: LensMap) -> tuple[float, float]:
    """The two marks that are asked for of a copy, at T1.5."""
    distances = range_m(lender)
    width = true_room(lens, distances, T_NUMBER) * lender.degrees_per_unit
    found = choose_proof_marks(lender, distances, width, focal_m=lens.focal_m)
    if found is None:
        raise ValueError("a lender read over its whole range has two marks to ask for")
    return found.near_m, found.far_m


@dataclass
class Trial:
    """Shares of the depth at T1.5 for many twins: true errors (L, G), predicted p95 (L,), and whether the band held.

    ``inside`` (L, G): between the two proof marks, as maps of their own are scored between their marks.
    """

    errors: Floats
    inside: npt.NDArray[np.bool_]
    predicted: Floats
    covered: float

    @property
    def p95(self) -> float:
        """95th percentile of the true error over all lenses and the distances between the proof marks."""
        return float(np.percentile(self.errors[self.inside], 95))

    @property
    def p95_all(self) -> float:
        """The same over all distances from close focus to infinity."""
        return float(np.percentile(self.errors, 95))

    @property
    def holds(self) -> float:
        """Part of the lenses whose own 95th percentile over the range is within what was predicted for it."""
        return float(np.mean(np.percentile(self.errors, 95, axis=1) <= self.predicted))


def try_out(
    count: int,
    draw: Callable[[np.random.Generator], TrueLens],
    twin_of: Twin,
    *,
    ends: bool = False,
) -> Trial:
    """Borrow for ``count`` twins and look at the truth."""
    errors, inside, predicted, covered = [], [], [], []
    for seed in range(count):
        rng = np.random.default_rng(seed)
        lens = draw(rng)
        twin = twin_of(rng, lens)
        borrowed = lend(rng, lens, twin, ends=ends)
        distances = borrowed.range_m()
        width = true_room(twin, distances, T_NUMBER)
        position, half = borrowed.position_band(distances)
        error = np.abs(position - twin.position(distances))
        errors.append(error / width)
        proof = borrowed.marks.values
        inside.append((distances >= proof.min()) & (distances <= proof.max()))
        predicted.append(borrowed.used_p95(width))
        covered.append(np.mean(error <= half))
    return Trial(np.array(errors), np.array(inside), np.array(predicted), float(np.mean(covered)))
