"""How the rows of a scale may have come about: each slip that is known of, in each row it may sit in.

An explanation holds the rows as they would be without the slip, ln of how usual it is, and the density of what was
left out. Which explanation is the likeliest, the evidence decides (``suspects``).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.noise import USUAL_NOISE_DEG
from tapehook.lens.rows import State, Way, half_play, read_that_way, span_deg, without_reading
from tapehook.lens.slips import Candidate, SlipKind, distance_candidates, position_candidates

Floats = npt.NDArray[np.float64]

WORSE_SD_DEG = (0.6, 2.0, 6.0, 60.0)
_TURNED: tuple[Way, Way] = (-1, 1)
STRAY_SHARE = 0.1
WORSE_SHARE = (0.1, 0.4, 0.4, 0.1)
"""How much worse than its like a row may merely be: standard deviations in degrees of ring, and how often each."""
PRIOR: dict[SlipKind, float] = {
    "feet_for_metres": 0.04,
    "digits_swapped_distance": 0.04,
    "digits_swapped_position": 0.06,
    "inches_dropped": 0.04,
    "decimal_feet": 0.3,
    "neighbour_position": 0.04,
    "skipped_mark": 0.04,
    "wrong_turn": 0.04,
    "worse_row": 0.15,
}
"""How often a list of readings holds one such slip. Common practice, no source."""
_LOG_SQRT_2PI = 0.5 * float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class Suspect:
    """One row that cannot be right.

    ``row`` is its index; ``way`` the reading of it that is wrong, 0 for all of them; ``rows`` all rows that are wrong
    with it: of a skipped mark every row that follows.

    ``confidence`` is the part of all explanations that name this row and this slip. What it should have said:
    ``distance_m``, or ``position`` in the unit of the read-out (of that reading, or of the centre of both).
    """

    row: int
    way: Way
    kind: SlipKind
    confidence: float
    distance_m: float | None = None
    position: float | None = None
    rows: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """A suspect that names no further rows is alone."""
        if not self.rows:
            object.__setattr__(self, "rows", (self.row,))


@dataclass(frozen=True, slots=True)
class Explanation:
    """One way the rows may have come about: what is wrong, the rows without it, and ln of its prior.

    ``density`` is ln of the density of what was left out of the rows.
    """

    suspect: Suspect
    state: State
    log_prior: float
    density: float = 0.0


def log_misread(x: npt.ArrayLike, sd: float) -> Floats:
    """ln density of a reading off by ``x`` degrees from another, where it is worse by ``sd`` than its like."""
    spread = float(np.hypot(sd, 2.0**0.5 * USUAL_NOISE_DEG))
    off = np.asarray(x, dtype=np.float64)
    result: Floats = -0.5 * (off / spread) ** 2 - np.log(spread) - _LOG_SQRT_2PI
    return result


def log_prior_of(kind: SlipKind, state: State, weight: float = 1.0, *, single: bool = False) -> float:
    """ln of the prior of one form of a slip in one row; a slip in one of two readings shares with the other."""
    part = PRIOR[kind] * weight / int(state.there.sum())
    return float(np.log(part * (0.25 if single else 0.5)))


def of_row(state: State, row: int) -> list[Explanation]:
    """Everything that may have gone wrong in one row alone, but for "worse in all its readings"."""
    found = other_distances(state, row) + _other_positions(state, row) + _neighbours(state, row)
    rows = state.rows
    if np.isfinite(rows.down[row]) and np.isfinite(rows.up[row]):
        half, _ = half_play(rows.up[state.there] - rows.down[state.there])
        off = rows.up[row] - rows.down[row] - 2.0 * half
        for way in _TURNED:
            for sd, share in zip(WORSE_SD_DEG, WORSE_SHARE, strict=True):
                prior = log_prior_of("worse_row", state, share, single=True)
                density = float(log_misread(off, sd))
                suspect = Suspect(row, way, "worse_row", 0.0)
                found.append(Explanation(suspect, without_reading(state, row, way), prior, density))
    return found


def other_distances(state: State, row: int) -> list[Explanation]:
    """The row with another distance."""
    rows = state.rows
    found = []
    for candidate in distance_candidates(rows.written[row], float(rows.values[row])):
        values = rows.values.copy()
        values[row] = candidate.value
        # Both readings of a row share its distance: there is no slip in one of them only.
        prior = log_prior_of(candidate.kind, state, candidate.weight) + float(np.log(2.0))
        suspect = Suspect(row, 0, candidate.kind, 0.0, distance_m=candidate.value)
        found.append(Explanation(suspect, state.with_values(values), prior))
    return found


def _candidates(state: State, row: int, way: Way) -> dict[str, Candidate]:
    """What the reading of a row that way may have been."""
    rows = state.rows
    at = float(read_that_way(rows, way)[row])
    return position_candidates(at / rows.degrees_per_unit, rows.step, rows.turn) if np.isfinite(at) else {}


def _other_positions(state: State, row: int) -> list[Explanation]:
    """The row with another position: one of its readings, or all by the same slip."""
    ways: tuple[Way, ...] = (-1, 0, 1)
    by_way = {way: _candidates(state, row, way) for way in ways}
    by_way = {way: candidates for way, candidates in by_way.items() if candidates}
    found = []
    if len(by_way) > 1:
        found = [
            _with_positions(state, row, {way: candidate}, way)
            for way, candidates in by_way.items()
            for candidate in candidates.values()
        ]
    places = set.intersection(*(set(candidates) for candidates in by_way.values())) if by_way else set()
    alike = [{way: candidates[place] for way, candidates in by_way.items()} for place in sorted(places)]
    return found + [_with_positions(state, row, instead, 0) for instead in alike]


def _with_positions(state: State, row: int, instead: dict[Way, Candidate], way: Way) -> Explanation:
    """The row with some readings replaced."""
    rows = state.rows
    changed = {-1: rows.down.copy(), 0: rows.free.copy(), 1: rows.up.copy()}
    for read, candidate in instead.items():
        changed[read][row] = candidate.value * rows.degrees_per_unit
    first = next(iter(instead.values()))
    position = float(np.mean([candidate.value for candidate in instead.values()]))
    prior = log_prior_of(first.kind, state, first.weight, single=way != 0)
    return Explanation(
        Suspect(row, way, first.kind, 0.0, position=position),
        state.with_readings(changed[-1], changed[0], changed[1]),
        prior,
    )


def _neighbours(state: State, row: int) -> list[Explanation]:
    """The row with a neighbour's position copied into it: all its readings, or one."""
    rows = state.rows
    order = [int(i) for i in np.argsort(rows.values) if state.there[i]]
    at = order.index(row)
    found = []
    for other in (order[k] for k in (at - 1, at + 1) if 0 <= k < len(order)):
        gaps = {way: float(read_that_way(rows, way)[row] - read_that_way(rows, way)[other]) for way in (-1, 0, 1)}
        gaps = {way: gap for way, gap in gaps.items() if np.isfinite(gap)}
        if not gaps:
            continue
        # What both readings have in common counts once; their difference stays as likely as any pair's.
        density = float(log_misread(np.float64(np.mean(list(gaps.values()))), 0.0))
        suspect = Suspect(row, 0, "neighbour_position", 0.0)
        prior = log_prior_of("neighbour_position", state, 0.5, single=False)
        pair = float(rows.up[row] - rows.down[row])
        found.append(Explanation(suspect, state.without(row), prior, density + _pair_density(state, pair)))
        if np.isfinite(pair):
            for way in (turned for turned in _TURNED if turned in gaps):
                density = float(log_misread(gaps[way], 0.0))
                one = Suspect(row, way, "neighbour_position", 0.0)
                prior = log_prior_of("neighbour_position", state, 0.5, single=True)
                found.append(Explanation(one, without_reading(state, row, way), prior, density))
    return found


def _pair_density(state: State, difference: float) -> float:
    """ln density of one more pair difference beside the others; 0 without one."""
    if not np.isfinite(difference):
        return 0.0
    half, _ = half_play(state.rows.up[state.there] - state.rows.down[state.there])
    return float(log_misread(difference - 2.0 * half, 0.0))


def stray(state: State, row: int) -> Explanation:
    """The row has nothing to do with this scale: its position may be anything on it.

    Unlike a row that is merely worse this one has no place either. It matters for the nearest row, as all places are
    measured against it.
    """
    prior = log_prior_of("worse_row", state, STRAY_SHARE)
    return Explanation(
        Suspect(row, 0, "worse_row", 0.0),
        state.without(row),
        prior,
        -float(np.log(max(span_deg(state.rows), 1.0))),
    )


def skipped(state: State) -> list[Explanation]:
    """From one row on every position belongs to the next mark, because one was skipped when they were read.

    The list was read from the near end, or from the far end. Its last row then holds the position of a mark that the
    list lacks: infinity, if the list was read towards it and it is not there, else nothing that can be used.
    """
    rows = state.rows
    order = np.array([i for i in np.argsort(rows.values) if state.there[i]])
    found = []
    for listed in (order, order[::-1]):
        beyond = np.inf if listed is order and np.isfinite(rows.values[listed[-1]]) else np.nan
        shifted = np.append(rows.values[listed[1:]], beyond)
        # Where a row drops out its position may be anything on the scale.
        dropped = np.isnan(beyond)
        base = state.without(int(listed[-1])).settled() if dropped else state
        density = -float(np.log(max(span_deg(rows), 1.0))) if dropped else 0.0
        for start in range(1, listed.size - 2):
            values = rows.values.copy()
            values[listed[start:]] = shifted[start:]
            if dropped:
                values[listed[-1]] = rows.values[listed[-1]]
            first = int(listed[start])
            wrong = tuple(int(row) for row in listed[start:])
            suspect = Suspect(first, 0, "skipped_mark", 0.0, distance_m=float(shifted[start]), rows=wrong)
            prior = log_prior_of("skipped_mark", state)
            found.append(Explanation(suspect, base.with_values(values), prior, density))
    return found
