"""What following an advice does for lenses whose truth is known: reading mark by mark, three ways of choosing."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tapehook.job import Reading
from tapehook.job.records import Method
from tapehook.lens import FocusScale, LensMap, fit_map, gather_marks
from tapehook.lens.map import Z95
from tapehook.lens.next_mark import next_marks
from tapehook.lens.taping import taping_sd_m
from tests.simulator.lenses import TrueLens
from tests.simulator.paper import BOTH, METRIC_M, read_marks

Floats = npt.NDArray[np.float64]

WAYS = {"near_to_far": -1, "far_to_near": 1, None: 0}
TIMES = 8
"""So often may one mark be read again: what the mark or its tape is off stays the same."""


def map_of(lens: TrueLens, readings: list[Reading]) -> LensMap:
    """The map of a lens from its readings, from infinity to close focus."""
    marks = gather_marks(
        [reading.value for reading in readings],
        [reading.position for reading in readings],
        [WAYS[reading.approach] for reading in readings],
        [reading.method == "taped" for reading in readings],
    )
    return fit_map(
        marks,
        FocusScale.of(marks.values, lens.focal_m),
        degrees_per_unit=1.0 / lens.units_per_deg,
        far_value=np.inf,
        near_value=min(lens.near_m, float(marks.values.min())),
        taping_sd_m=taping_sd_m(marks.values),
    )


def over_range(lens: TrueLens, count: int = 41) -> Floats:
    """Distances from infinity to close focus, even in vergence."""
    return lens.distance_m(np.linspace(0.0, lens.near_dpt, count))


def room(lens: TrueLens, distance_m: Floats, t_number: float) -> Floats:
    """True position that half the depth takes, in the read-out's unit."""
    width: Floats = np.abs(lens.slope_deg_per_dpt(distance_m)) * lens.half_width_dpt(t_number) * lens.units_per_deg
    return width


@dataclass
class Bench:
    """A lens on the bench: whatever is asked for is read, both ways, and the map made anew."""

    rng: np.random.Generator
    lens: TrueLens
    read: dict[float, tuple[Reading, ...]] = field(default_factory=dict)
    used: dict[float, int] = field(default_factory=dict)

    def candidates(self) -> Floats:
        """Close focus, round metres beyond it, infinity."""
        beyond = [d for d in METRIC_M if d > self.lens.near_m + 5e-3]
        return np.array([self.lens.near_m, *beyond, np.inf])

    def measure(self, distance_m: float, *, engraved: bool) -> None:
        """Read a mark both ways, or once more where it was read before."""
        if distance_m not in self.read:
            method: Method = "engraved" if engraved else "taped"
            ways = BOTH * TIMES
            self.read[distance_m] = read_marks(self.rng, self.lens, "X", [distance_m], ways=ways, method=method)
        self.used[distance_m] = min(self.used.get(distance_m, 0) + 1, TIMES)

    def map(self) -> LensMap:
        """The map from what was read so far."""
        return map_of(self.lens, [r for d, rows in self.read.items() for r in rows[: 2 * self.used[d]]])

    def worst(self, t_number: float) -> float:
        """Most of the depth that the true error of the map takes over the range."""
        distances = over_range(self.lens, 121)
        error = np.abs(self.map().curve(distances) - self.lens.position(distances))
        return float((error / room(self.lens, distances, t_number)).max())


def by_advice(bench: Bench, t_number: float) -> float:
    """The distance that look-ahead advises."""
    lens_map, distances = bench.map(), over_range(bench.lens)
    width = room(bench.lens, distances, t_number)
    near_m = bench.lens.near_m
    (mark,) = next_marks(lens_map, bench.candidates(), distances, width, most=1, engraved_m=near_m, enough=0.0)
    return mark.distance_m


def by_widest(bench: Bench, t_number: float) -> float:
    """The distance nearest to where the map is widest in shares of the depth."""
    lens_map, distances = bench.map(), over_range(bench.lens)
    used = Z95 * lens_map.position(distances)[1] / room(bench.lens, distances, t_number)
    return _nearest(bench, lens_map, float(lens_map.scale.place(distances[np.argmax(used)])))


def by_gap(bench: Bench, t_number: float) -> float:  # noqa: ARG001 - one form for all ways
    """The distance in the middle of the largest gap between marks, in vergence: what evenly spread marks come to."""
    lens_map = bench.map()
    places = np.sort(lens_map.scale.place(np.unique([*bench.read, bench.lens.near_m, np.inf])))
    gap = int(np.argmax(np.diff(places)))
    return _nearest(bench, lens_map, float(places[gap : gap + 2].mean()))


def _nearest(bench: Bench, lens_map: LensMap, place: float) -> float:
    known = np.unique([*bench.candidates(), *bench.read])
    return float(known[np.argmin(np.abs(lens_map.scale.place(known) - place))])
