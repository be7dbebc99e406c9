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
        return self if self.marks is not None else replace(self, marks=self._centres())

    def centres(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Values, centres, relative variances and pair differences of the rows still there."""
        return (self.rows.values[self.there], *(self.marks or self._centres()))

    def _centres(self) -> tuple[Floats, Floats, Floats]:
        rows, keep = self.rows, self.there
        down, up, free = rows.down[keep], rows.up[keep], rows.free[keep]
        n_down, n_free, n_up = rows.counts[:, keep]
        difference = up - down
        half, cost = half_play(difference)
        with np.errstate(invalid="ignore", divide="ignore"):
            both = np.isfinite(difference)
            one = np.where(np.isfinite(down), down + half, up - half)
            centre = np.where(both, (down + up) / 2.0, np.where(np.isfinite(free), free, one))
            single = 1.0 / np.where(np.isfinite(down), n_down, n_up) + cost
            pair = 0.25 / n_down + 0.25 / n_up
            variance = np.where(both, pair, np.where(np.isfinite(free), 1.0 / n_free, single))
        return centre, variance, difference


def half_play(differences: Floats) -> tuple[float, float]:
    """Half the usual difference of the pairs, by the median that one slip cannot move, and what it costs a reading."""
    there = np.sort(differences)  # NaN comes last
    count = int(np.isfinite(there).sum())
    if not count:
        return 0.0, 0.0
    return float(there[(count - 1) // 2] + there[count // 2]) / 4.0, 0.5 / count


def log_impossible(rows: Rows, values: Floats, y: Floats, differences: Floats) -> float:
    """ln of what is left of an explanation that asks for something no ring does.

    A scale has no marks nearer than its close focus; and a ring that turns on moves the focus on, so that positions
    out of order by more than reading and play account for do not happen.
    """
    log = 0.0
    if rows.close_focus_m:
        log += LOG_TOO_NEAR * int((values < TOO_NEAR * rows.close_focus_m).sum())
    steps = np.diff(y[np.argsort(values)])
    toward = 1.0 if 2 * int((steps > 0).sum()) >= steps.size else -1.0
    play = abs(half_play(differences)[0])
    log += LOG_OUT_OF_ORDER * int((steps * toward < -(OUT_OF_ORDER_DEG + play)).sum())
    return log


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
