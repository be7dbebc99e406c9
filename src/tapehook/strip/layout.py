"""A strip laid out flat: ticks, labels and how sure each is, in millimetres of arc.

What a mark is worth is shown, never hidden: a tick is firm only inside the range that was read and where the 95 % band
of the map is small against the depth; elsewhere it is drawn open. Which labels are chosen follows three rules: both
ends always; rounder values first; among equals the one farthest from those chosen, so that no part stands empty.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.lens import LensMap
from tapehook.strip.choice import END_RANK, Candidate, Ends, RowKind, between, candidates
from tapehook.strip.placing import Room, overlaps, place_labels
from tapehook.strip.ring import Laid, Ring, StripRefusal, lay

Floats = npt.NDArray[np.float64]
Doubt = Literal["outside", "wide"]

MM_PER_POINT = 25.4 / 72.0
_DECIMALS = 9
"""Of a millimetre: the ends of a scale lie at 0 and at its length, and not a rounding error beyond."""
LEAST_TICKS_MM = 1.1
"""From tick to tick: closer lines run together in print."""
TICK_TO_LABELLED_MM = 0.9
GAP_MM = 1.0
SPARSE_RANK, SPARSE_MM = 4, 4.0
"""From this rank on a label needs so much white on both sides: it fills what would stand empty, and no more."""
PUSH_MM = 3.0
"""How far a label of the first ranks may be led aside."""
MARGIN_MM = 5.0
"""White beside the scale, for the labels of its ends."""
DOUBT_DEG = 1.0
"""Half-width of the band, degrees of ring, from which on a tick is not firm where the depth is not known."""
DOUBT_SHARE = 0.5
"""The same as a share of the room on one side of the focus, where the depth is known."""


@dataclass(frozen=True, slots=True)
class Tick:
    """One mark: ``value`` (metres, T-number, millimetres; inf allowed), its ring position, its place on the strip.

    ``label`` is empty for the smaller ticks; ``label_mm`` is the label's centre, beside the tick where a leader leads
    to it. ``plus_minus_mm`` is the half-width of the map's 95 % band; ``doubt`` says why the tick is not firm.
    ``wings_mm`` are near and far limit of the depth of field on the strip, left and right.
    """

    value: float
    position: float
    arc_mm: float
    label: str = ""
    label_mm: float = 0.0
    plus_minus_mm: float = 0.0
    doubt: Doubt | None = None
    wings_mm: tuple[float, float] | None = None

    @property
    def led(self) -> bool:
        """True when the label stands aside and a line leads to it."""
        return bool(self.label) and abs(self.label_mm - self.arc_mm) > 0.15


@dataclass(frozen=True, slots=True)
class Row:
    """Marks in one unit, in order along the strip; ``size_pt`` is the size of their letters."""

    kind: RowKind
    ticks: tuple[Tick, ...]
    size_pt: float
    overlaps: int = 0


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip, flat: one or two rows over ``length_mm``, as high as the tape.

    ``far_end`` says where infinity (or the widest stop, the wide end) lies. ``zero_mm`` is where the line lies that it
    is laid by. ``margin_mm`` is white at either end, ``round_mm`` what the ring leaves: the circumference.
    """

    rows: tuple[Row, ...]
    length_mm: float
    tape_mm: float
    round_mm: float
    turn_deg: float
    margin_mm: float
    far_end: Literal["left", "right"]
    zero_mm: float | None

    @property
    def ticks(self) -> tuple[Tick, ...]:
        """All ticks, row by row."""
        return tuple(tick for row in self.rows for tick in row.ticks)

    @property
    def overlaps(self) -> int:
        """How many pairs of labels stand over each other: none, unless not even the two ends fit."""
        return sum(row.overlaps for row in self.rows)


Widths = Callable[[str, float], float]
"""Width of a text at a size, both in one unit: the metrics of the font, which this package does not know."""
Limits = Callable[[Floats], Floats]
"""Half-widths of the band, in positions, from which on a tick at values (n,) is in doubt: (n,)."""
Wings = Callable[[Floats], tuple[Floats, Floats]]
"""Near and far limit of the depth of field for values (n,), metres."""


def label_size_pt(tape_mm: float, rows: int) -> float:
    """Size of the letters for a tape: as large as it bears, at most 9 points in one row and 8 in two."""
    return min(9.0, 0.72 * tape_mm) if rows == 1 else min(8.0, 0.58 * tape_mm)


def lay_out(
    lens_map: LensMap,
    ring: Ring,
    kinds: Sequence[RowKind],
    *,
    degrees_per_unit: float | None,
    tape_mm: float,
    text_width: Widths,
    limits: Limits | None = None,
    wings: Wings | None = None,
) -> Strip:
    """The strip of one ring of a lens, ``kinds`` from top to bottom.

    ``degrees_per_unit`` as measured, None where it is not known. Raises StripRefusal when the map turns back on itself
    or the strip cannot be laid (see ``lay``).
    """
    if not lens_map.monotone:
        raise StripRefusal("not_monotone", "the map turns back on itself, so a mark would stand for two distances")
    ends = Ends(lens_map.far_value, lens_map.near_value)
    far, near = lens_map.curve([ends.far, ends.near]).tolist()
    laid = lay(ring, far, near, degrees_per_unit)
    strip = _frame(ring, laid, tape_mm)
    printer = _Printer(lens_map, laid, strip.margin_mm, limits or _by_degrees(lens_map), wings, text_width)
    size = label_size_pt(tape_mm, len(kinds))
    return replace(strip, rows=tuple(printer.row(kind, ends, size) for kind in kinds))


def _frame(ring: Ring, laid: Laid, tape_mm: float) -> Strip:
    """The strip without its rows."""
    left_over = max(0.0, ring.circumference_mm - laid.length_mm)
    return Strip(
        rows=(),
        length_mm=round(laid.length_mm, _DECIMALS),
        tape_mm=tape_mm,
        round_mm=ring.circumference_mm,
        turn_deg=360.0 * laid.length_mm / ring.circumference_mm,
        margin_mm=min(MARGIN_MM, left_over / 2.0),
        far_end="left" if ring.left_handed else "right",
        zero_mm=float(laid.arc_mm(laid.far_position if ring.zero is None else ring.zero)),
    )


def _by_degrees(lens_map: LensMap) -> Limits:
    limit = DOUBT_DEG / lens_map.degrees_per_unit
    return lambda values: np.full(values.shape, limit)


@dataclass(frozen=True, slots=True)
class _Printer:
    """What all rows of one strip share."""

    lens_map: LensMap
    laid: Laid
    margin_mm: float
    limits: Limits
    wings: Wings | None
    text_width: Widths

    def row(self, kind: RowKind, ends: Ends, size_pt: float) -> Row:
        """The labels that fit, the smaller ticks between them, and how sure each is."""
        wanted = candidates(kind, ends)
        arcs = self._arcs([one.value for one in wanted])
        widths = [self.text_width(_shown(one.text), size_pt) * MM_PER_POINT for one in wanted]
        room = self._room(size_pt)
        chosen = choose_labels(wanted, arcs, widths, room)
        centres = place_labels(arcs[chosen].tolist(), [widths[i] for i in chosen], room).tolist()
        labelled = {wanted[i].value: (wanted[i].text, centre) for i, centre in zip(chosen, centres, strict=True)}
        smaller = self._smaller(kind, [wanted[i].value for i in chosen])
        ticks = self._ticks(labelled, smaller)
        return Row(kind, ticks, size_pt, overlaps(centres, [widths[i] for i in chosen]))

    def _room(self, size_pt: float) -> Room:
        left, right = -self.margin_mm, self.laid.length_mm + self.margin_mm
        return Room(left, right, GAP_MM, max(LEAST_TICKS_MM, 0.25 * size_pt), PUSH_MM)

    def _arcs(self, values: Sequence[float]) -> Floats:
        return self.laid.arc_mm(self.lens_map.curve(values))

    def _smaller(self, kind: RowKind, labelled: Sequence[float]) -> list[float]:
        """Values of the smaller ticks: in each gap the finest even steps that stay apart."""
        found: list[float] = []
        for one, other in pairwise(labelled):
            for values in between(kind, one, other):
                arcs = np.sort(self._arcs([one, *values, other]))
                if float(np.diff(arcs).min()) >= LEAST_TICKS_MM:
                    found += values
                    break
        return found

    def _ticks(self, labelled: dict[float, tuple[str, float]], smaller: list[float]) -> tuple[Tick, ...]:
        values = np.array([*labelled, *smaller])
        positions, band = self.lens_map.position_band(values)
        arcs = np.round(self.laid.arc_mm(positions), _DECIMALS) + 0.0
        doubts = self._doubts(values, band)
        spread = self._wing_arcs(values)
        ticks = [
            Tick(value, position, arc, *_label_at(labelled, value, arc), half * self.laid.mm_per_unit, doubt, wing)
            for value, position, arc, half, doubt, wing in zip(
                values.tolist(), positions.tolist(), arcs.tolist(), band.tolist(), doubts, spread, strict=True
            )
        ]
        return tuple(sorted(ticks, key=lambda tick: tick.arc_mm))

    def _doubts(self, values: Floats, band: Floats) -> list[Doubt | None]:
        read = self.lens_map.marks.values
        outside = (values < read.min() * (1 - 1e-6)) | (values > read.max() * (1 + 1e-6))
        wide = ~(band <= self.limits(values))  # a limit that is not known makes no tick firm
        return ["outside" if out else "wide" if broad else None for out, broad in zip(outside, wide, strict=True)]

    def _wing_arcs(self, values: Floats) -> list[tuple[float, float] | None]:
        """Near and far limit on the strip, left and right, cut off at the ends of the scale."""
        if self.wings is None:
            return [None] * values.size
        near, far = self.wings(values)
        known = np.isfinite(near)
        near = np.where(known, np.maximum(near, self.lens_map.near_value), self.lens_map.near_value)
        sides = np.sort([self._arcs(near.tolist()), self._arcs(np.where(known, far, np.inf).tolist())], axis=0)
        return [
            (left, right) if sure else None for left, right, sure in zip(*sides.tolist(), known.tolist(), strict=True)
        ]


def _label_at(labelled: dict[float, tuple[str, float]], value: float, arc: float) -> tuple[str, float]:
    return labelled.get(value, ("", arc))


def _shown(text: str) -> str:
    """The label with the room its brackets take when the mark was not read."""
    return f"({text})"


def choose_labels(wanted: Sequence[Candidate], arcs: Floats, widths: Sequence[float], room: Room) -> list[int]:
    """Which of the marks are labelled: their indices, in order along the strip.

    Both ends always. A round value of the first two ranks may be led aside, with its neighbours, by up to the room's
    push; later ranks only stand where nothing has to move.
    """
    chosen = [i for i, one in enumerate(wanted) if one.rank == END_RANK]
    chosen.sort(key=lambda i: float(arcs[i]))
    # How far each mark is from the nearest that is labelled.
    lonely = np.abs(arcs[:, None] - arcs[chosen]).min(axis=1)
    for rank in sorted({one.rank for one in wanted} - {END_RANK}):
        left = [i for i, one in enumerate(wanted) if one.rank == rank]
        while left:
            best = left.pop(int(np.argmax(lonely[left])))
            if lonely[best] < room.apart:
                break  # nor is there room for any other of its rank
            trial = sorted([*chosen, best], key=lambda i: float(arcs[i]))
            if _fits(trial, best, arcs, widths, room, may_push=rank <= 1, sparse=rank >= SPARSE_RANK):
                chosen = trial
                lonely = np.minimum(lonely, np.abs(arcs - arcs[best]))
    return chosen


def _fits(
    trial: Sequence[int], added: int, arcs: Floats, widths: Sequence[float], room: Room, *, may_push: bool, sparse: bool
) -> bool:
    """True when every label still stands near its tick, and no two ticks run together."""
    at = arcs[list(trial)]
    if float(np.diff(at).min(initial=math.inf)) < room.apart:
        return False
    wide = [widths[i] for i in trial]
    placed = place_labels(at.tolist(), wide, room)
    if placed[-1] + wide[-1] / 2.0 > room.right + 1e-9 or placed[0] - wide[0] / 2.0 < room.left - 1e-9:
        return False
    shift = np.abs(placed - at)
    if may_push:
        return bool(shift.max() <= room.push)
    k = list(trial).index(added)
    if sparse and min(_white(placed, wide, k)) < SPARSE_MM:
        return False
    without = place_labels(np.delete(at, k).tolist(), np.delete(wide, k).tolist(), room)
    return bool(shift[k] <= 0.1 and np.allclose(np.delete(placed, k), without, atol=0.1))


def _white(placed: Floats, wide: Sequence[float], k: int) -> tuple[float, float]:
    """Room on either side of label ``k`` to its neighbours."""
    left = placed[k] - wide[k] / 2.0 - (placed[k - 1] + wide[k - 1] / 2.0) if k else math.inf
    right = placed[k + 1] - wide[k + 1] / 2.0 - (placed[k] + wide[k] / 2.0) if k + 1 < len(wide) else math.inf
    return float(left), float(right)
