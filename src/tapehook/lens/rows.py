"""The rows of one focus scale as they were written down, and what they say together.

A row keeps its readings apart by the way the ring was turned, as a slip may sit in one of them only.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.lens.noise import USUAL_NOISE_DEG
from tapehook.lens.scale import FocusScale
from tapehook.lens.taping import taping_sd_m

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Way = Literal[-1, 0, 1]

TOO_NEAR = 0.95
LOG_TOO_NEAR = -5.0
"""ln of how likely a mark is to stand nearer than 0.95 of the close focus written down: close focus may be wrong."""
OUT_OF_ORDER_DEG = 1.0
LOG_OUT_OF_ORDER = -8.0
"""ln of how likely two neighbouring marks are to be out of order by more than a degree and half the play."""


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of one focus scale as written down: n marks, positions in degrees of ring.

    ``values`` in metres, ``written`` as text, ``taped`` or engraved; ``down``, ``up`` and ``free`` (n,) are the mean
    positions read from near to far, from far to near, and with the way not written down, NaN where there is none;
    ``counts`` (3, n) how many readings each is the mean of. ``step`` and ``turn`` of the read-out are in its unit.
    """

    values: Floats
    written: tuple[str, ...]
    taped: Bools
    down: Floats
    up: Floats
    free: Floats
    counts: Floats
    degrees_per_unit: float
    step: float
    turn: float | None
    focal_m: float | None
    close_focus_m: float | None = None

    @property
    def step_deg(self) -> float:
        """Step of the read-out in degrees of ring."""
        return self.step * self.degrees_per_unit


@dataclass(frozen=True, slots=True)
class State:
    """The rows as corrected so far; ``there`` (n,) is False for a row given up.

    ``marks`` keeps what ``centres`` found, for states that differ in distances alone.
    """

    rows: Rows
    there: Bools
    marks: tuple[Floats, Floats, Floats] | None = None

    def with_values(self, values: Floats) -> "State":
        """The same readings at other distances (n,)."""
        return State(replace(self.rows, values=values), self.there, self.marks)

    def without(self, row: int) -> "State":
        """The state with a row given up."""
        there = self.there.copy()
        there[row] = False
        return State(self.rows, there)

    def with_readings(self, down: Floats, free: Floats, up: Floats) -> "State":
        """The same rows with other readings (n,) each."""
        return State(replace(self.rows, down=down, free=free, up=up), self.there)

    def settled(self) -> "State":
        """The same state, its centres worked out."""
        return self if self.marks is not None else settle([self])[0]

    def centres(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Values, centres, relative variances and pair differences of the rows still there."""
        return (self.rows.values[self.there], *(self.marks or self._centres()))

    def _centres(self) -> tuple[Floats, Floats, Floats]:
        _, centre, variance, difference = centres_of([self])
        return centre[0], variance[0], difference[0]


def centres_of(states: Sequence[State]) -> tuple[Floats, Floats, Floats, Floats]:
    """Values, centres, relative variances and pair differences of H states with n rows there each: four (H, n)."""
    values = np.stack([state.rows.values[state.there] for state in states])
    found = np.empty((3, *values.shape))
    fresh = [k for k, state in enumerate(states) if state.marks is None]
    for k, state in enumerate(states):
        if state.marks is not None:
            found[:, k] = state.marks
    if fresh:
        keep = [states[k].there for k in fresh]
        rows = [states[k].rows for k in fresh]
        down, up, free = (
            np.stack([getattr(own, way)[here] for own, here in zip(rows, keep, strict=True)])
            for way in ("down", "up", "free")
        )
        counts = np.stack([own.counts[:, here] for own, here in zip(rows, keep, strict=True)], axis=1)
        found[:, fresh] = _centres(down, up, free, counts)
    return values, *found


def settle(states: Sequence[State]) -> list[State]:
    """States with equally many rows there, their centres worked out."""
    _, *marks = centres_of(states)
    return [replace(state, marks=own) for state, own in zip(states, zip(*marks, strict=True), strict=True)]


def _centres(down: Floats, up: Floats, free: Floats, counts: Floats) -> tuple[Floats, Floats, Floats]:
    """Centres, relative variances and pair differences of readings (H, n), ``counts`` (3, H, n): three (H, n)."""
    n_down, n_free, n_up = counts
    difference = up - down
    half, cost = (part[:, None] for part in half_plays(difference))
    with np.errstate(invalid="ignore", divide="ignore"):
        both, one_down, one_free = np.isfinite(difference), np.isfinite(down), np.isfinite(free)
        one = np.where(one_down, down + half, up - half)
        centre = np.where(both, (down + up) / 2.0, np.where(one_free, free, one))
        single = 1.0 / np.where(one_down, n_down, n_up) + cost
        pair = 0.25 / n_down + 0.25 / n_up
        variance = np.where(both, pair, np.where(one_free, 1.0 / n_free, single))
    return centre, variance, difference


def half_play(differences: Floats) -> tuple[float, float]:
    """Half the usual difference of the pairs, by the median that one slip cannot move, and what it costs a reading."""
    half, cost = half_plays(differences[None])
    return float(half[0]), float(cost[0])


def half_plays(differences: Floats) -> tuple[Floats, Floats]:
    """The same of H states at once: differences (H, n), NaN where there is no pair, give two (H,)."""
    if not differences.shape[1]:
        return np.zeros(differences.shape[0]), np.zeros(differences.shape[0])
    there = np.sort(differences, axis=1)  # NaN comes last
    count = np.isfinite(there).sum(axis=1)
    each = np.arange(count.size)
    total = there[each, np.maximum(count - 1, 0) // 2] + there[each, np.minimum(count // 2, there.shape[1] - 1)]
    none = count == 0
    return np.where(none, 0.0, total / 4.0), np.where(none, 0.0, 0.5 / np.maximum(count, 1))


def log_impossible(close_focus_m: Floats, values: Floats, y: Floats, differences: Floats) -> Floats:
    """ln of what is left of H explanations that ask for something no ring does, from (H, n) each: (H,).

    A scale has no marks nearer than its close focus, ``close_focus_m`` (H,), 0 where none is written down; and a ring
    that turns on moves the focus on, so that positions out of order by more than reading and play account for do not
    happen.
    """
    log = LOG_TOO_NEAR * (values < TOO_NEAR * close_focus_m[:, None]).sum(axis=1)
    steps = np.diff(np.take_along_axis(y, np.argsort(values, axis=1), axis=1), axis=1)
    toward = np.where(2 * (steps > 0).sum(axis=1) >= steps.shape[1], 1.0, -1.0)
    play = np.abs(half_plays(differences)[0])
    found: Floats = log + LOG_OUT_OF_ORDER * (steps * toward[:, None] < -(OUT_OF_ORDER_DEG + play)[:, None]).sum(axis=1)
    return found


def taping_variance(state: State, values: Floats, y: Floats) -> Floats:
    """Relative variance that the tape adds to taped rows: (slope q^2 sd)^2 over the usual noise, with a rough slope."""
    taped = state.rows.taped[state.there]
    if not taped.any():
        return np.zeros(values.size)
    q = FocusScale.of(values, state.rows.focal_m).vergence(values)
    order = np.argsort(q)
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.abs(np.diff(y[order]) / np.diff(q[order]))
    slope = float(np.median(steps[np.isfinite(steps)])) if np.isfinite(steps).any() else 0.0
    extra: Floats = np.where(taped, (slope * q**2 * taping_sd_m(values) / USUAL_NOISE_DEG) ** 2, 0.0)
    return extra


def without_reading(state: State, row: int, way: Way) -> State:
    """The state with one reading of a row given up."""
    rows = state.rows
    down, up = rows.down.copy(), rows.up.copy()
    (down if way < 0 else up)[row] = np.nan
    return state.with_readings(down, rows.free, up)


def read_that_way(rows: Rows, way: Way) -> Floats:
    """Positions read that way, (n,), NaN where there is none."""
    return {-1: rows.down, 0: rows.free, 1: rows.up}[way]


def gather_rows(
    values: npt.ArrayLike,
    written: Sequence[str],
    positions: npt.ArrayLike,
    ways: npt.ArrayLike,
    taped: npt.ArrayLike,
    mark_no: Sequence[int | None],
    *,
    degrees_per_unit: float,
    step: float,
    turn: float | None,
    focal_m: float | None,
    close_focus_m: float | None = None,
) -> tuple[Rows, npt.NDArray[np.intp]]:
    """Rows from single readings (n,), and for each reading its row.

    Readings with the same distance and the same number of the mark are one row. ``ways`` holds -1 (near to far), +1
    (far to near) or 0; positions are in the unit of the read-out.
    """
    v, y = np.asarray(values, dtype=np.float64), np.asarray(positions, dtype=np.float64) * degrees_per_unit
    way, tape = np.asarray(ways, dtype=np.int64), np.asarray(taped, dtype=np.bool_)
    numbers = np.array([-1 if no is None else no for no in mark_no], dtype=np.int64)
    keys = np.stack([v, numbers.astype(np.float64)], axis=1)
    distinct, first, members = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    members = members.reshape(-1)
    means, counts = [], []
    for sign in (-1, 0, 1):
        chosen = way == sign
        n = np.bincount(members[chosen], minlength=len(distinct)).astype(np.float64)
        total = np.bincount(members[chosen], weights=y[chosen], minlength=len(distinct))
        with np.errstate(invalid="ignore", divide="ignore"):
            means.append(np.where(n > 0, total / n, np.nan))
        counts.append(n)
    down, free, up = means
    rows = Rows(
        distinct[:, 0],
        tuple(written[i] for i in first.tolist()),
        tape[first],
        down,
        up,
        free,
        np.stack(counts),
        degrees_per_unit,
        step,
        turn,
        focal_m,
        close_focus_m,
    )
    return rows, members


def span_deg(rows: Rows) -> float:
    """Degrees from the smallest to the largest position."""
    positions = np.concatenate([rows.down, rows.up, rows.free])
    return float(np.nanmax(positions) - np.nanmin(positions))
