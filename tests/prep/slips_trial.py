"""How often slips are seen and rightly named on lenses whose truth is known, and whom nobody should have accused.

Two classes of readings. Read **with care**: an engraved scale of 14 to 20 marks, read both ways. **As it comes**: 8 to
18 marks, a quarter of the lists read one way only, three in ten taped. Half the lists are in feet. The ranges of the
lenses themselves are those of ``tests.simulator.lenses``.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job import Lens, Reading
from tapehook.job.records import Approach, Method
from tapehook.lens import FocusScale, LensMap, fit_map
from tapehook.lens.map import Z95
from tapehook.lens.slips import SlipKind
from tapehook.lens.taping import taping_sd_m
from tapehook.prep.focus import FARTHEST_PLACE, gather
from tapehook.prep.suspects import SuspectRow, listed, split_suspects
from tapehook.prep.usual import USUAL_PLAY_RMS_DEG
from tests.simulator.lenses import TrueLens, draw_lens
from tests.simulator.paper import AHEAD, BOTH, engraved_distances, lens_record, read_marks
from tests.simulator.slips import LISTED, Planted, plant, plant_worse

Floats = npt.NDArray[np.float64]
Class = Literal["with care", "as it comes"]
Excuse = Literal["under the depth", "within the +-"]

IN_FEET: frozenset[SlipKind] = frozenset({"inches_dropped", "decimal_feet"})
NEAR_ENOUGH_DEG = 1.0
"""A position that no slip names exactly (a neighbour's was copied over it) is right to half the least slip planted."""
ONE_WAYS: tuple[tuple[Approach | None], ...] = (("near_to_far",), ("far_to_near",), (None,))


@dataclass(frozen=True)
class Listed:
    """One lens with what stands on paper of it."""

    lens: TrueLens
    record: Lens
    readings: tuple[Reading, ...]

    def suspects(self, readings: Sequence[Reading] | None = None) -> tuple[SuspectRow, ...]:
        """The rows that are suspected, of these readings or of others."""
        rows = listed(
            self.record,
            self.readings if readings is None else readings,
            "metric",
            degrees_per_unit=1.0 / self.lens.units_per_deg,
            step=self.lens.step,
        )
        return split_suspects([rows])[0][0]

    def map(self, readings: Sequence[Reading] | None = None) -> LensMap:
        """The map of the readings as they stand, or of others."""
        marks = gather(self.readings if readings is None else readings)
        return fit_map(
            marks,
            FocusScale.of(marks.values, self.lens.focal_m),
            degrees_per_unit=1.0 / self.lens.units_per_deg,
            far_value=np.inf,
            near_value=float(marks.values.min()),
            taping_sd_m=taping_sd_m(marks.values),
            half_play_rms_deg=USUAL_PLAY_RMS_DEG / 2.0,
        )


def draw(rng: np.random.Generator, read: Class, *, feet: bool) -> Listed:
    """A lens and its list."""
    fewest, most = (14, 20) if read == "with care" else (8, 18)
    while True:
        lens = draw_lens(rng)
        distances = engraved_distances(rng, lens, int(rng.integers(fewest, most + 1)), feet=feet)
        if len(distances) >= fewest:
            break
    ways: Sequence[Approach | None] = BOTH
    method: Method = "engraved"
    if read == "as it comes":
        ways = ONE_WAYS[rng.integers(3)] if rng.random() < 0.25 else BOTH
        method = "taped" if rng.random() < 0.3 else "engraved"
    readings = read_marks(rng, lens, "X", distances, ways=ways, method=method, feet=feet)
    return Listed(lens, lens_record(lens, "X", engraved_in="feet" if feet else "metric"), readings)


@dataclass(frozen=True)
class Case:
    """A lens with one slip, and what was said of it."""

    seed: int
    listed: Listed
    readings: tuple[Reading, ...]
    planted: Planted
    suspects: tuple[SuspectRow, ...]

    @property
    def found(self) -> bool:
        """The planted row is among those suspected; of a skipped mark the first row that is wrong."""
        return any(row.mark_no == self.planted.mark_no for row in self.suspects)

    @property
    def others(self) -> int:
        """Rows suspected that were right."""
        return sum(row.mark_no != self.planted.mark_no for row in self.suspects)

    @property
    def named(self) -> bool:
        """The right slip in the right row with the right value."""
        return any(self._right(row) for row in self.suspects)

    def _right(self, row: SuspectRow) -> bool:
        planted = self.planted
        if row.mark_no != planted.mark_no or row.kind != planted.kind:
            return False
        if planted.distance_m is not None:
            return row.distance_m is not None and bool(np.isclose(row.distance_m, planted.distance_m, rtol=1e-3))
        assert planted.position is not None
        within = self.listed.lens.step / 2
        if planted.kind == "neighbour_position":
            within = NEAR_ENOUGH_DEG * self.listed.lens.units_per_deg
        return row.position is not None and abs(row.position - planted.position) <= within + 1e-9

    @property
    def excuse(self) -> Excuse | None:
        """Why nobody could have seen the slip, if so: it uses less than the depth, or the other marks do not tell."""
        planted, lens = self.planted, self.listed.lens
        if planted.kind == "skipped_mark":
            return None
        mine = [r for r in self.readings if r.mark_no == planted.mark_no]
        wrong = [r for r in mine if planted.approach in (None, r.approach)]
        others = self.listed.map([r for r in self.readings if r.mark_no != planted.mark_no])
        written = wrong[0].value
        if others.scale.place(written) > FARTHEST_PLACE or written <= lens.datum_m * 1.2:
            return None
        if self._moved_dpt() < lens.half_width_dpt(lens.t_stop):
            return "under the depth"
        expected, sd = (float(part[0]) for part in others.position(written))
        ahead = [lens.toward_near * AHEAD[r.approach] * lens.play_deg / 2.0 * lens.units_per_deg for r in wrong]
        off = float(np.mean([r.position - a for r, a in zip(wrong, ahead, strict=True)])) - expected
        within = Z95 * float(np.hypot(sd, others.noise / len(wrong) ** 0.5))
        return "within the +-" if abs(off) <= within else None

    def _moved_dpt(self) -> float:
        """How far the slip moves the focus of somebody who sets this row."""
        planted, lens = self.planted, self.listed.lens
        row = next(r for r in self.readings if r.mark_no == planted.mark_no and planted.approach in (None, r.approach))
        if planted.distance_m is not None:
            return float(abs(np.subtract(*lens.vergence([planted.distance_m, row.value]))))
        assert planted.position is not None
        mine = [r for r in self.readings if r.mark_no == planted.mark_no and planted.approach in (None, r.approach)]
        off = float(np.mean([r.position for r in mine])) - planted.position
        return float(abs(off / lens.units_per_deg / lens.slope_deg_per_dpt(row.value)))


def with_slip(seed: int, read: Class, kind: SlipKind) -> Case:
    """A fresh lens with one slip of that kind; another is drawn where a list has no place for it."""
    rng = np.random.default_rng([seed, 1])
    while True:
        feet = kind in IN_FEET or bool(rng.random() < 0.5)
        listed = draw(rng, read, feet=feet)
        planted = plant(rng, listed.lens, listed.readings, kind)
        if planted is not None:
            return Case(seed, listed, *planted, listed.suspects(planted[0]))


def with_worse(seed: int, read: Class, by_deg: float) -> Case:
    """A fresh lens with all readings of one mark off by so much: a slip on no list."""
    rng = np.random.default_rng([seed, 2])
    listed = draw(rng, read, feet=bool(rng.random() < 0.5))
    readings, planted = plant_worse(rng, listed.lens, listed.readings, by_deg)
    return Case(seed, listed, readings, planted, listed.suspects(readings))


def clean(seed: int, read: Class) -> Listed:
    """A fresh lens with no slip."""
    rng = np.random.default_rng([seed, 0])
    return draw(rng, read, feet=bool(rng.random() < 0.5))


@dataclass
class Trial:
    """What came of many lenses of one class."""

    cases: list[Case] = field(default_factory=list)
    worse: list[Case] = field(default_factory=list)
    false_alarms: list[int] = field(default_factory=list)
    clean: int = 0

    @property
    def found(self) -> float:
        """Part of the listed slips found in the right row."""
        return float(np.mean([case.found for case in self.cases]))

    @property
    def named(self) -> float:
        """Part of the listed slips rightly named, with the right value."""
        return float(np.mean([case.named for case in self.cases]))

    @property
    def worse_found(self) -> float:
        """Part of the slips on no list found in the right row."""
        return float(np.mean([case.found for case in self.worse]))

    def by_kind(self) -> dict[SlipKind, tuple[int, int, int]]:
        """How many slips of each kind there were, were found, were rightly named."""
        count = Counter(case.planted.kind for case in self.cases)
        found = Counter(case.planted.kind for case in self.cases if case.found)
        named = Counter(case.planted.kind for case in self.cases if case.named)
        return {kind: (count[kind], found[kind], named[kind]) for kind in LISTED}


def try_out(count: int, read: Class, *, by_deg: float = 2.0) -> Trial:
    """So many clean lenses, so many with a listed slip (all kinds alike often), and so many with a slip on no list."""
    trial = Trial(clean=count)
    for seed in range(count):
        trial.cases.append(with_slip(seed, read, LISTED[seed % len(LISTED)]))
        trial.worse.append(with_worse(seed, read, by_deg))
        if clean(seed, read).suspects():
            trial.false_alarms.append(seed)
    return trial


def missed(cases: Sequence[Case]) -> Counter[Excuse | None]:
    """The slips that were not found, by why nobody could have seen them; None: somebody could."""
    return Counter(case.excuse for case in cases if not case.found)


def coverage(count: int, read: Class) -> tuple[float, float, float]:
    """How often the 95 % band of clean lenses holds the truth between the outermost marks, by third of the noise.

    Lists read one way are passed over: where the centre of the play lies nobody knows, and their band allows for it.
    """
    inside: tuple[list[float], list[float], list[float]] = ([], [], [])
    for seed in range(count):
        listed = clean(seed, read)
        if len({reading.approach for reading in listed.readings}) == 1:
            continue
        third = min(int((listed.lens.noise_deg - 0.05) / 0.25 * 3.0), 2)
        distances, positions, half = listed.map().grid(121)
        inside[third].append(float(np.mean(np.abs(positions - listed.lens.position(distances)) <= half)))
    low, middle, high = (float(np.mean(part)) for part in inside)
    return low, middle, high
