"""Which readings of a focus ring cannot be right, and what is left of them for the map."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.records import Lens, Reading
from tapehook.lens.explanations import Suspect
from tapehook.lens.rows import Rows, gather_rows
from tapehook.lens.slips import SlipKind
from tapehook.lens.suspects import find_suspects_of
from tapehook.notation import System, format_distance

WAYS: dict[str | None, Literal[-1, 0, 1]] = {"near_to_far": -1, "far_to_near": 1, None: 0}
_APPROACH: dict[int, Literal["near_to_far", "far_to_near", "all"]] = {-1: "near_to_far", 0: "all", 1: "far_to_near"}


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """One row of a list of readings that cannot be right; positions in the lens's unit, distances in metres.

    ``approach`` says which reading of the mark, "all" for all of them; ``read`` what it says. ``kind`` is the slip that
    would explain it, ``confidence`` the part of all explanations that name this row and this slip. What it should have
    said: ``distance_m``, or ``position``. ``following`` counts the rows after it that are wrong with it.
    """

    mark_no: int
    text: str
    value: float
    approach: Literal["near_to_far", "far_to_near", "all"]
    kind: SlipKind
    confidence: float
    read: float
    distance_m: float | None
    position: float | None
    following: int


Split = tuple[tuple[SuspectRow, ...], tuple[Reading, ...]]
"""Suspect rows, and the readings that are left."""


@dataclass(frozen=True, slots=True)
class Listed:
    """The readings of one focus ring as rows, each as somebody wrote it; ``members`` (readings,) is the row of each."""

    readings: Sequence[Reading]
    texts: Sequence[str]
    rows: Rows
    members: npt.NDArray[np.intp]


def listed(lens: Lens, readings: Sequence[Reading], system: System, *, degrees_per_unit: float, step: float) -> Listed:
    """The rows of some readings, at least one; ``step`` is the read-out's, in the lens's unit."""
    texts = [reading.written or format_distance(reading.value, system) for reading in readings]
    rows, members = gather_rows(
        [reading.value for reading in readings],
        texts,
        [reading.position for reading in readings],
        [WAYS[reading.approach] for reading in readings],
        [reading.method == "taped" for reading in readings],
        [reading.mark_no for reading in readings],
        degrees_per_unit=degrees_per_unit,
        step=step,
        turn=lens.units_per_turn or (360.0 if lens.unit == "deg" else None),
        focal_m=lens.focal_mm * 1e-3 if lens.focal_mm else None,
        close_focus_m=lens.close_focus_m,
    )
    return Listed(readings, texts, rows, members)


def split_suspects(lists: Sequence[Listed]) -> list[Split]:
    """The suspect rows of each list, in the order they were found, and the readings that may be used for a map."""
    found = find_suspects_of([each.rows for each in lists])
    return [_split(each, suspects) for each, suspects in zip(lists, found, strict=True)]


def _split(each: Listed, found: Sequence[Suspect]) -> Split:
    readings, members, texts = each.readings, each.members, each.texts
    ways = np.array([WAYS[reading.approach] for reading in readings])
    keep = np.ones(len(readings), dtype=np.bool_)
    views = []
    for suspect in found:
        mine = (members == suspect.row) & ((suspect.way == 0) | (ways == suspect.way))
        views.append(_view(suspect, [readings[i] for i in np.flatnonzero(mine).tolist()], texts[int(np.argmax(mine))]))
        keep &= ~(np.isin(members, suspect.rows) & ((suspect.way == 0) | (ways == suspect.way)))
    return tuple(views), tuple(reading for reading, stays in zip(readings, keep, strict=True) if stays)


def _view(suspect: Suspect, readings: Sequence[Reading], text: str) -> SuspectRow:
    first = readings[0]
    # Marks without a number are counted from the nearest, as rows are.
    number = first.mark_no or suspect.row + 1
    return SuspectRow(
        mark_no=number,
        text=text,
        value=first.value,
        approach=_APPROACH[suspect.way],
        kind=suspect.kind,
        confidence=suspect.confidence,
        read=float(np.mean([reading.position for reading in readings])),
        distance_m=suspect.distance_m,
        position=suspect.position,
        following=len(suspect.rows) - 1,
    )
