"""The balanced stop pull: the iris closes while a variable filter opens, and the exposure stands still.

A stop T loses s = 2 log2 T stops of light, a filter of density D loses D/log10 2. The pull holds their sum: where the
course is at its deepest stop the filter rests, elsewhere it takes what the iris does not. The depth changes with the
iris alone. What cannot be exact is an error of exposure in stops: the play of iris and filter gears, the one motor
lagging behind the other, the iris map, and the filter's table; lasting errors add, scatter adds in squares. Play that
was measured is taken up: the motor is told half of it ahead in the way it turns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95, LensMap
from tapehook.optics.exposure import DENSITY_PER_STOP
from tapehook.shot.stop_course import scaled_course

Floats = npt.NDArray[np.float64]
SetFrom = Literal["both", "below", "above"]
LimitKind = Literal["density", "iris_range", "iris_speed", "extra_speed", "error"]

MOST_GEAR_ERROR_STOPS = 0.1
"""Exposure error by half the play of the filter's gears from which on its densities are not used. Our choice."""
_LEAST_PLAY_DEG = 0.05
_SIDES: dict[SetFrom | None, float] = {"both": 0.0, "below": 1.0, "above": -1.0, None: 0.0}
_DENSEST = 6.0
_ANGLES = 4001
_OFFSETS = 25
_HALVINGS = 16
_LONGEST_STRETCH = 64.0


class VariableFilter(Protocol):
    """What a variable filter says of itself, angles in degrees of its ring, arrays in and out."""

    @property
    def density_range(self) -> tuple[float, float]:
        """Least and most density."""
        ...

    def density(self, position_deg: npt.ArrayLike, /) -> Floats:
        """Density at ring angles."""
        ...

    def angle_deg(self, density: npt.ArrayLike, /) -> Floats:
        """Ring angle of densities; NaN where there is none."""
        ...

    def stops_per_degree(self, position_deg: npt.ArrayLike, /) -> Floats:
        """Stops that a degree of the ring makes, without sign."""
        ...


@dataclass(frozen=True)
class ExtraRing:
    """The variable filter on its motor.

    ``from_deg`` and ``to_deg`` are the ring angles at 0 % and 100 % of the motor's travel. ``backlash_deg`` is the
    whole play between motor and filter, ``density_plus_minus`` (95 %) how sure its densities are where the filter has
    no band of its own. ``speed_deg_s`` is the most the ring can do, None where nobody said. Play that is not assumed is
    taken up, and sure to ``backlash_plus_minus_deg`` (95 %). ``set_from`` is where the ring's angles came from when
    they were set against the motor: below (rising), above, or the middle of both; None where nobody said.
    """

    filter: VariableFilter
    from_deg: float
    to_deg: float
    backlash_deg: float
    density_plus_minus: float = 0.0
    backlash_assumed: bool = False
    densities_assumed: bool = False
    speed_deg_s: float | None = None
    set_from: SetFrom | None = None
    backlash_plus_minus_deg: float = 0.0

    def percent(self, angle_deg: npt.ArrayLike) -> Floats:
        """Position of the motor in percent of its travel."""
        p: Floats = 100.0 * (np.asarray(angle_deg, dtype=np.float64) - self.from_deg) / (self.to_deg - self.from_deg)
        return p

    def taken_up(self, angles_deg: Floats) -> Floats:
        """What the motor is told for ring angles (n,) in turn: half the play ahead in the way they go, where measured.

        No farther than the travel of the motor.
        """
        if self.backlash_assumed:
            return angles_deg
        shift = (_ways(angles_deg) - _SIDES[self.set_from]) * self.backlash_deg / 2.0
        low, high = np.sort([self.from_deg, self.to_deg])
        told: Floats = np.clip(angles_deg + shift, np.minimum(low, angles_deg), np.maximum(high, angles_deg))
        return told

    def left_of_play(self, angles_deg: Floats, told_deg: Floats) -> Floats:
        """How far the ring may be from its angles (n,) by its play, told angles ``told_deg``; degrees."""
        half = np.full(angles_deg.shape, self.backlash_deg / 2.0)
        if self.backlash_assumed:
            return half
        turned = _ways(angles_deg) - _SIDES[self.set_from]
        short = np.abs(angles_deg + turned * self.backlash_deg / 2.0 - told_deg)
        # Whichever side they were set from, angles taken for the middle of the play are off by half of it at most.
        unsaid = half if self.set_from is None else 0.0
        left: Floats = short + unsaid + np.abs(turned) * self.backlash_plus_minus_deg / 2.0
        return left

    @cached_property
    def densities(self) -> tuple[float, float]:
        """Least and most density of use: within the travel of the motor, and where half the play is small enough.

        Towards crossing a pair of polarisers answers ever more sharply; from where half the play of its gears makes
        ``MOST_GEAR_ERROR_STOPS`` on, it is left alone.
        """
        least, most = self.filter.density_range
        ends = np.sort(np.ravel(self.filter.angle_deg([least, min(most, _DENSEST)])))
        first, last_angle = np.clip(np.sort([self.from_deg, self.to_deg]), ends[0], ends[-1])
        angles = np.linspace(float(first), float(last_angle), _ANGLES)
        found = np.asarray(self.filter.density(angles), dtype=np.float64)
        order = np.argsort(found, kind="stable")
        half_play = max(self.backlash_deg, _LEAST_PLAY_DEG) / 2.0
        sharp = np.asarray(self.filter.stops_per_degree(angles[order])) * half_play > MOST_GEAR_ERROR_STOPS
        last = int(np.argmax(sharp)) - 1 if sharp.any() else order.size - 1
        densities = np.clip(found[order], least, most)
        return float(densities[0]), float(densities[max(last, 0)])


@dataclass(frozen=True, slots=True)
class IrisRing:
    """The iris on its motor: its map, its play where that is not measured, and the most its ring can do."""

    lens_map: LensMap
    assumed_play_deg: float
    speed_deg_s: float | None = None


@dataclass(frozen=True, slots=True)
class PullError:
    """One source of exposure error over the pull: ``stops`` (n,), a lasting error or a 95 % half-width of scatter."""

    name: Literal["iris backlash", "filter backlash", "lag between motors", "iris map", "filter table"]
    kind: Literal["bias", "scatter"]
    stops: Floats
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class PullLimit:
    """One limit of a pull: what it ``asks`` and what there is, in ``unit``; a ``hard`` one broken forbids the pull."""

    kind: LimitKind
    asks: float
    allows: float
    unit: str
    hard: bool

    @property
    def holds(self) -> bool:
        """True when what is asked is there, to a rounding error."""
        return self.asks <= self.allows * (1.0 + 1e-9) + 1e-12


@dataclass(frozen=True, slots=True)
class StopPull:
    """A balanced stop pull, arrays of n samples.

    ``iris_positions`` in the unit of the lens's read-out and ``extra_deg`` are what the motors are told, each half its
    play ahead in the way it turns where the play was measured. ``loss_stops`` is the light that the filter takes at
    rest, lost throughout. ``error_stops`` (n,) is the budget of ``errors``.
    """

    times_s: Floats
    t_stops: Floats
    iris_positions: Floats
    densities: Floats
    extra_deg: Floats
    extra_percent: Floats
    loss_stops: float
    errors: tuple[PullError, ...]
    error_stops: Floats
    limits: tuple[PullLimit, ...]

    @property
    def feasible(self) -> bool:
        """True when no hard limit is broken."""
        return all(limit.holds for limit in self.limits if limit.hard)

    @property
    def max_error_stops(self) -> float:
        """The most the exposure may be off at any moment."""
        return float(self.error_stops.max())


def balanced_pull(
    times_s: npt.ArrayLike,
    t_stops: npt.ArrayLike,
    iris: IrisRing,
    extra: ExtraRing,
    *,
    lag_s: float,
    tolerance_stops: float,
    lag_assumed: bool = False,
    extra_ahead_s: float = 0.0,
) -> StopPull:
    """The pull along a course of T-numbers (n,) at even moments (n,).

    ``lag_s`` is how far one motor may be behind the other. The extra motor is told ``extra_ahead_s`` earlier, as
    it is known to be slower by that (below 0: the iris motor). Of the densities the filter may rest at, the least
    is taken at which its motor keeps up. A pull that breaks a hard limit is worked out all the same, the densities
    held to what there is, and says so in its limits. Raises ValueError with fewer than two samples.
    """
    times, t = np.asarray(times_s, dtype=np.float64), np.asarray(t_stops, dtype=np.float64)
    if times.size < 2 or times.shape != t.shape:
        raise ValueError("a pull needs two or more samples")
    told = _told(times, t, iris, extra, extra_ahead_s)
    gears = _gear_errors(iris, extra, t, told)
    errors = (*gears, _lag_error(times, 2.0 * np.log2(t), lag_s, assumed=lag_assumed))
    error = _added(errors)
    limits = (*told.limits, PullLimit("error", float(error.max()), tolerance_stops, "stops", hard=False))
    loss, percent = told.rest / DENSITY_PER_STOP, extra.percent(told.extra_deg)
    return StopPull(times, t, told.positions, told.densities, told.extra_deg, percent, loss, errors, error, limits)


@dataclass(frozen=True, slots=True)
class _Told:
    """What both motors are told along a course, (n,), the density at rest, and the limits that forbid a pull.

    ``angles`` are those the filter's ring is to stand at, ``extra_deg`` what its motor is told for them.
    """

    positions: Floats
    way: Floats
    rest: float
    densities: Floats
    angles: Floats
    extra_deg: Floats
    limits: tuple[PullLimit, ...]

    @property
    def feasible(self) -> bool:
        return all(limit.holds for limit in self.limits)


def _told(times: Floats, t: Floats, iris: IrisRing, extra: ExtraRing, extra_ahead_s: float = 0.0) -> _Told:
    stops = 2.0 * np.log2(t)
    of_iris, of_extra = (np.interp(times + max(early, 0.0), times, stops) for early in (-extra_ahead_s, extra_ahead_s))
    positions, way = _iris(iris, np.exp2(of_iris / 2.0))
    least, most = extra.densities
    wanted = (stops.max() - of_extra) * DENSITY_PER_STOP
    rest = _resting_density(extra, wanted, times)
    densities = np.clip(rest + wanted, least, most)
    angles = np.asarray(extra.filter.angle_deg(densities), dtype=np.float64)
    extra_deg = extra.taken_up(angles)
    span = (most - least) / DENSITY_PER_STOP
    limits = (
        PullLimit("density", float(np.ptp(stops)), span, "stops", hard=True),
        *_range_limits(iris.lens_map, t),
        *_speed_limits(iris, extra, positions, extra_deg, times),
    )
    return _Told(positions, way, rest, densities, angles, extra_deg, limits)


def largest_part(times_s: npt.ArrayLike, t_stops: npt.ArrayLike, iris: IrisRing, extra: ExtraRing) -> float:
    """How large a part of the changes of a course works from its first stop, 0 to 1, by bisection."""
    times = np.asarray(times_s, dtype=np.float64)

    def works(part: float) -> bool:
        return _told(times, scaled_course(t_stops, part), iris, extra).feasible

    if works(1.0):
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if works(middle) else (low, middle)
    return low


def shortest_stretch(times_s: npt.ArrayLike, t_stops: npt.ArrayLike, iris: IrisRing, extra: ExtraRing) -> float | None:
    """By how much a course must be slowed down to work, 1 or more; None where no slowing down helps."""
    times, t = np.asarray(times_s, dtype=np.float64), np.asarray(t_stops, dtype=np.float64)

    def works(stretch: float) -> bool:
        slow = times[0] + (times - times[0]) * stretch
        return _told(slow, t, iris, extra).feasible

    if not works(_LONGEST_STRETCH):
        return None
    low, high = 1.0, _LONGEST_STRETCH
    if works(low):
        return low
    for _ in range(_HALVINGS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if works(middle) else (middle, high)
    return high


def _iris(iris: IrisRing, t: Floats) -> tuple[Floats, Floats]:
    """Positions the iris motor is told, (n,), and the way it turns at each moment, +1, -1, or 0 where it never does."""
    centre = iris.lens_map.curve(t)
    way = _ways(centre)
    play = iris.lens_map.play()
    return centre + way * (play.value / 2.0 if play else 0.0), way


def _ways(positions: Floats) -> Floats:
    """The way positions move at each moment; while they stand still the way before, at the start the first there is."""
    steps = np.sign(np.diff(positions))
    moving = np.flatnonzero(steps)
    if moving.size == 0:
        return np.zeros_like(positions)
    last = np.maximum.accumulate(np.where(steps != 0, np.arange(steps.size), moving[0]))
    ways: Floats = np.concatenate([[steps[moving[0]]], steps[last]])
    return ways


def _resting_density(extra: ExtraRing, wanted: Floats, times: Floats) -> float:
    """The least density to rest at with which the filter's ring keeps its speed; the least there is where none does.

    Near the resting end of a pair of polarisers the ring has far to go for a little light.
    """
    least, most = extra.densities
    spare = most - least - float(wanted.max())
    if extra.speed_deg_s is None or spare <= 0:
        return least
    for rest in least + np.linspace(0.0, 1.0, _OFFSETS) ** 2 * spare:
        if _speed(extra.filter.angle_deg(np.clip(rest + wanted, least, most)), times) <= extra.speed_deg_s:
            return float(rest)
    return least


def _speed(positions: npt.ArrayLike, times: Floats) -> float:
    """The most a ring moves in a second between two samples."""
    return float(np.max(np.abs(np.diff(np.asarray(positions, dtype=np.float64))) / np.diff(times)))


def _gear_errors(iris: IrisRing, extra: ExtraRing, t: Floats, told: _Told) -> list[PullError]:
    """What play, map and table do to the exposure: stops at each moment."""
    ring = iris.lens_map
    step = 1.0 + 1e-4
    high, low = np.minimum(t * step, ring.near_value), np.maximum(t / step, ring.far_value)
    per_stop = np.abs(ring.curve(high) - ring.curve(low)) / np.maximum(2.0 * np.log2(high / low), 1e-12)
    per_stop = np.maximum(per_stop, 1e-9)
    play, moves = ring.play(), bool(np.any(told.way))
    if play:
        half = np.full(t.shape, Z95 * play.sd / 2.0)
    else:
        half = np.full(t.shape, iris.assumed_play_deg / 2.0 / ring.degrees_per_unit if moves else 0.0)
    answer = np.asarray(extra.filter.stops_per_degree(told.angles), dtype=np.float64)
    left = extra.left_of_play(told.angles, told.extra_deg)
    return [
        PullError("iris backlash", "scatter" if play else "bias", half / per_stop, assumed=play is None),
        PullError("filter backlash", "bias", left * answer, extra.backlash_assumed),
        PullError("iris map", "scatter", ring.position_band(t)[1] / per_stop),
        PullError("filter table", "scatter", _table_error(extra, told.angles), extra.densities_assumed),
    ]


def _table_error(extra: ExtraRing, angles: Floats) -> Floats:
    """How sure the densities are at ring angles, in stops: by the table's own band, or as stated."""
    band = getattr(extra.filter, "density_band", None)
    density = band(angles) if band is not None else np.full(angles.shape, extra.density_plus_minus)
    stops: Floats = np.asarray(density, dtype=np.float64) / DENSITY_PER_STOP
    return stops


def _lag_error(times: Floats, stops: Floats, lag_s: float, *, assumed: bool) -> PullError:
    """What the one motor being behind the other leaves open: the change of the course within the lag, either way."""
    before, after = np.interp(times - lag_s, times, stops), np.interp(times + lag_s, times, stops)
    return PullError("lag between motors", "bias", np.maximum(np.abs(stops - before), np.abs(after - stops)), assumed)


def _added(errors: Sequence[PullError]) -> Floats:
    """Lasting errors added, scatter in squares."""
    lasting = np.sum([error.stops for error in errors if error.kind == "bias"], axis=0)
    scatter = np.sum([error.stops**2 for error in errors if error.kind == "scatter"], axis=0)
    total: Floats = lasting + np.sqrt(scatter)
    return total


def _range_limits(ring: LensMap, t: Floats) -> list[PullLimit]:
    """The stops of the course against those the iris was read at: how far beyond, 0 within."""
    beyond = max(2.0 * np.log2(t.max() / ring.near_value), 2.0 * np.log2(ring.far_value / t.min()), 0.0)
    return [PullLimit("iris_range", float(beyond), 0.0, "stops beyond", hard=True)]


def _speed_limits(
    iris: IrisRing, extra: ExtraRing, positions: Floats, angles: Floats, times: Floats
) -> list[PullLimit]:
    """Both rings against what their motors can do, where that was said."""
    found = []
    if iris.speed_deg_s is not None:
        asks = _speed(positions, times) * iris.lens_map.degrees_per_unit
        found.append(PullLimit("iris_speed", asks, iris.speed_deg_s, "deg/s", hard=True))
    if extra.speed_deg_s is not None:
        found.append(PullLimit("extra_speed", _speed(angles, times), extra.speed_deg_s, "deg/s", hard=True))
    return found
