"""Slips planted in simulated readings: what a tired person writes down, and what the row should have said.

Each slip moves the row by at least ``LEAST_DEG`` of ring (for a skipped mark: its first row); what moves less cannot be
told from a worse reading. A slip in a position is in one of the two readings or, one time in three, in both.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tapehook.job import Reading
from tapehook.job.records import Approach
from tapehook.lens.slips import SlipKind
from tests.simulator.lenses import TrueLens
from tests.simulator.paper import FOOT_M

LEAST_DEG = 2.0
LISTED: tuple[SlipKind, ...] = (
    "feet_for_metres",
    "digits_swapped_distance",
    "digits_swapped_position",
    "inches_dropped",
    "decimal_feet",
    "neighbour_position",
    "skipped_mark",
    "wrong_turn",
)


@dataclass(frozen=True)
class Planted:
    """What was planted: the mark, which reading of it (None: all), and what it should have said (one of the two)."""

    kind: SlipKind
    mark_no: int
    approach: Approach | None
    distance_m: float | None = None
    position: float | None = None


def plant(
    rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], kind: SlipKind
) -> tuple[tuple[Reading, ...], Planted] | None:
    """The readings with one slip of that kind; None where these readings offer no place for it."""
    marks = sorted({reading.mark_no or 0 for reading in readings})
    for mark in rng.permutation(marks).tolist():
        planted = _PLANTERS[kind](rng, lens, readings, mark)
        if planted is not None:
            return planted
    return None


def _moved_deg(lens: TrueLens, a_m: float, b_m: float) -> float:
    """How far apart two distances lie on the ring; a distance nearer than the lens can reach is far enough."""
    if min(a_m, b_m) <= lens.datum_m * 1.2:
        return math.inf
    q = np.minimum(lens.vergence([a_m, b_m]), 1.25 * lens.near_dpt)
    return float(abs(np.subtract(*lens.turn_deg(q))))


def _distance_slip(
    lens: TrueLens, readings: Sequence[Reading], mark: int, kind: SlipKind, text: str, value: float
) -> tuple[tuple[Reading, ...], Planted] | None:
    """Every reading of the mark with another distance written."""
    right = next(reading.value for reading in readings if reading.mark_no == mark)
    others = {reading.value for reading in readings if reading.mark_no != mark}
    if not _moved_deg(lens, right, value) >= LEAST_DEG or value in others or not 0.05 < value < 1000:
        return None
    changed = tuple(
        r.model_copy(update={"written": text, "value": value}) if r.mark_no == mark else r for r in readings
    )
    return changed, Planted(kind, mark, None, distance_m=right)


def _feet_and_inches(distance_m: float) -> tuple[int, int]:
    inches = round(distance_m / FOOT_M * 12)
    return inches // 12, inches % 12


def _row(readings: Sequence[Reading], mark: int) -> Reading:
    return next(reading for reading in readings if reading.mark_no == mark)


def _feet_for_metres(
    _rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    row = _row(readings, mark)
    if not math.isfinite(row.value) or row.written is None:
        return None
    if "'" in row.written:
        number = row.value / FOOT_M
        return _distance_slip(lens, readings, mark, "feet_for_metres", f"{number:g} m", number)
    return _distance_slip(lens, readings, mark, "feet_for_metres", f"{row.value:g}'", row.value * FOOT_M)


def _swapped_distance(
    rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    row = _row(readings, mark)
    if not math.isfinite(row.value):
        return None
    feet = "'" in (row.written or "")
    number = f"{row.value / FOOT_M:g}" if feet else f"{row.value:g}"
    if feet and not float(number).is_integer():
        return None
    for i, j in _digit_pairs(rng, number):
        swapped = number[:i] + number[j] + number[i + 1 : j] + number[i] + number[j + 1 :]
        text = f"{swapped}'" if feet else f"{swapped} m"
        value = float(swapped) * (FOOT_M if feet else 1.0)
        found = _distance_slip(lens, readings, mark, "digits_swapped_distance", text, value)
        if found:
            return found
    return None


def _digit_pairs(rng: np.random.Generator, text: str) -> list[tuple[int, int]]:
    """Places of neighbouring digits that differ, in random order."""
    digits = [i for i, sign in enumerate(text) if sign.isdigit()]
    found = [(i, j) for i, j in pairwise(digits) if text[i] != text[j]]
    return [found[k] for k in rng.permutation(len(found))]


def _inches_dropped(
    _rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    row = _row(readings, mark)
    if "'" not in (row.written or ""):
        return None
    feet, inches = _feet_and_inches(row.value)
    if not feet or not inches:
        return None
    return _distance_slip(lens, readings, mark, "inches_dropped", f"{feet}'", feet * FOOT_M)


def _decimal_feet(
    _rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    row = _row(readings, mark)
    if "'" not in (row.written or ""):
        return None
    feet, inches = _feet_and_inches(row.value)
    if not feet or not inches:
        return None
    return _distance_slip(lens, readings, mark, "decimal_feet", f"{feet}.{inches}'", float(f"{feet}.{inches}") * FOOT_M)


def _position_slip(
    lens: TrueLens, readings: Sequence[Reading], kind: SlipKind, instead: dict[int, float]
) -> tuple[tuple[Reading, ...], Planted] | None:
    """Some readings, by their index, with another position."""
    if not instead:
        return None
    moved = [abs(value - readings[i].position) / lens.units_per_deg for i, value in instead.items()]
    if not min(moved) >= LEAST_DEG:
        return None
    changed = tuple(
        reading.model_copy(update={"position": instead[i]}) if i in instead else reading
        for i, reading in enumerate(readings)
    )
    first = readings[next(iter(instead))]
    right = float(np.mean([readings[i].position for i in instead]))
    of_mark = sum(reading.mark_no == first.mark_no for reading in readings)
    approach = first.approach if len(instead) < of_mark else None
    return changed, Planted(kind, first.mark_no or 0, approach, position=right)


def _some_of(rng: np.random.Generator, readings: Sequence[Reading], mark: int) -> list[int]:
    """Indices of one of the mark's readings, or one time in three of all."""
    mine = [i for i, reading in enumerate(readings) if reading.mark_no == mark]
    return mine if rng.random() < 1 / 3 else [int(rng.choice(mine))]


def _swapped_position(
    rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    decimals = 0 if lens.unit == "count" else 1
    chosen = _some_of(rng, readings, mark)
    texts = [f"{readings[i].position:.{decimals}f}" for i in chosen]
    for i, j in _digit_pairs(rng, texts[0]):
        if len({len(text) for text in texts}) > 1 or any(text[i] == text[j] for text in texts):
            continue
        swapped = [float(text[:i] + text[j] + text[i + 1 : j] + text[i] + text[j + 1 :]) for text in texts]
        found = _position_slip(lens, readings, "digits_swapped_position", dict(zip(chosen, swapped, strict=True)))
        if found:
            return found
    return None


def _wrong_turn(
    rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    chosen = _some_of(rng, readings, mark)
    by = float(rng.choice([-1, 1])) * lens.units_per_turn
    if rng.random() < 0.5:
        return _position_slip(lens, readings, "wrong_turn", {i: -readings[i].position for i in chosen})
    return _position_slip(lens, readings, "wrong_turn", {i: round(readings[i].position + by, 6) for i in chosen})


def _neighbour(
    rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    other = mark + int(rng.choice([-1, 1]))
    there = {(reading.mark_no, reading.approach): reading.position for reading in readings}
    chosen = _some_of(rng, readings, mark)
    if any((other, readings[i].approach) not in there for i in chosen):
        return None
    instead = {i: there[other, readings[i].approach] for i in chosen}
    return _position_slip(lens, readings, "neighbour_position", instead)


def _skipped(
    _rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], mark: int
) -> tuple[tuple[Reading, ...], Planted] | None:
    """From this mark on, nearest first, every row holds the position of the next; the last row goes."""
    last = max(reading.mark_no or 0 for reading in readings)
    if mark < 2 or mark > last - 3:  # a scale of which so little is left says nothing
        return None
    there = {(reading.mark_no, reading.approach): reading for reading in readings}
    following = there[mark + 1, _row(readings, mark).approach]
    moved = abs(following.position - _row(readings, mark).position) / lens.units_per_deg
    if moved < LEAST_DEG:
        return None
    changed = tuple(
        reading
        if (reading.mark_no or 0) < mark
        else reading.model_copy(update={"position": there[(reading.mark_no or 0) + 1, reading.approach].position})
        for reading in readings
        if reading.mark_no != last
    )
    return changed, Planted("skipped_mark", mark, None, distance_m=following.value)


_PLANTERS = {
    "feet_for_metres": _feet_for_metres,
    "digits_swapped_distance": _swapped_distance,
    "digits_swapped_position": _swapped_position,
    "inches_dropped": _inches_dropped,
    "decimal_feet": _decimal_feet,
    "neighbour_position": _neighbour,
    "skipped_mark": _skipped,
    "wrong_turn": _wrong_turn,
}


def plant_worse(
    rng: np.random.Generator, lens: TrueLens, readings: Sequence[Reading], by_deg: float
) -> tuple[tuple[Reading, ...], Planted]:
    """Every reading of one mark off by ``by_deg``, either way: a slip that no list names."""
    mark = int(rng.choice(sorted({reading.mark_no or 0 for reading in readings})))
    by = float(rng.choice([-1, 1])) * by_deg * lens.units_per_deg
    changed = tuple(
        r.model_copy(update={"position": round(r.position + by, 6)}) if r.mark_no == mark else r for r in readings
    )
    right = float(np.mean([reading.position for reading in readings if reading.mark_no == mark]))
    return changed, Planted("worse_row", mark, None, position=right)
