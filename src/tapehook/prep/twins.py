"""Twins of a job: copies of one model, how they differ, and what a lens without a map may borrow."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from tapehook.job.records import Axis, Job, Lens, Reading
from tapehook.lens import LensMap, Marks
from tapehook.lens.copies import USUAL_SPREAD, CopySpread, copy_difference, learn_spread
from tapehook.lens.map import Z95
from tapehook.lens.next_mark import ENOUGH
from tapehook.lens.proof_marks import choose_proof_marks
from tapehook.lens.taping import taping_sd_m
from tapehook.lens.twins import FEWEST_PROOF_MARKS, BorrowRefusal, borrow_map
from tapehook.notation import System, format_distance
from tapehook.prep.focus import gather
from tapehook.prep.results import BorrowedPrep, CopyPrep, LensPrep, Prep, ProofWanted, StopView, TwinsPrep
from tapehook.prep.room import optics_of, range_m, room, safe_from
from tapehook.prep.usual import UsualPlay, usual_play

FEW_MARKS = 6
"""A lens with fewer marks than these borrows, with these or more it lends."""
SAME_FOCAL = 0.02
"""Copies of one model have the same focal length within this share."""
LEARN_FROM = 200
"""So many differences are enough to learn from, however large the house."""
NO_COPY = 0.03
"""Maps that differ by more than this part of the travel, an offset apart, are of different models."""

Group = tuple[LensPrep, ...]


@dataclass(frozen=True, slots=True)
class _Pair:
    """A lens and the copy it is held against, both prepared."""

    lens: LensPrep
    lender: LensPrep
    lender_map: LensMap


def twin_groups(entries: Sequence[LensPrep]) -> list[Group]:
    """Copies of one model, two or more each, in the order of the job: named as twins, or of one model and focal length.

    A twin of another focal length is left out: it is no copy, whatever the list says.
    """
    by_id = {entry.lens.id: entry for entry in entries}
    leader = {entry.lens.id: entry.lens.id for entry in entries}

    def root(lens_id: str) -> str:
        while leader[lens_id] != lens_id:
            leader[lens_id] = lens_id = leader[leader[lens_id]]
        return lens_id

    models: dict[tuple[object, ...], str] = {}
    for entry in entries:
        lens = entry.lens
        twin = by_id.get(lens.twin_of or "")
        if twin is not None and _same_glass(lens, twin.lens):
            leader[root(lens.id)] = root(twin.lens.id)
        if lens.model and lens.focal_mm:
            key = (lens.model.casefold(), lens.focal_mm, lens.focal_min_mm)
            leader[root(lens.id)] = root(models.setdefault(key, lens.id))
    groups: dict[str, list[LensPrep]] = defaultdict(list)
    for entry in entries:
        groups[root(entry.lens.id)].append(entry)
    return [tuple(group) for group in groups.values() if len(group) > 1]


def _same_glass(a: Lens, b: Lens) -> bool:
    """True unless the focal lengths written down differ."""
    if not a.focal_mm or not b.focal_mm:
        return True
    return abs(a.focal_mm / b.focal_mm - 1.0) <= SAME_FOCAL


def _lends(entry: LensPrep) -> bool:
    """True for a lens whose map is made of enough marks and runs one way."""
    lens_map = entry.focus_map
    return lens_map is not None and lens_map.marks.values.size >= FEW_MARKS and lens_map.monotone


def _pairs(entries: Sequence[LensPrep]) -> Iterator[_Pair]:
    """Each copy with its lender: the twin it names if that can lend, else the one that its whole group is held against.

    That is the lender named most often, then the one with most marks.
    """
    for group in twin_groups(entries):
        lenders = {entry.lens.id: entry for entry in group if _lends(entry)}
        if not lenders:
            continue
        named = Counter(entry.lens.twin_of for entry in group)
        first = max(lenders.values(), key=lambda entry: (named[entry.lens.id], _mark_count(entry)))
        for entry in group:
            lender = first if entry is first else lenders.get(entry.lens.twin_of or "", first)
            if lender is not entry and lender.focus_map is not None:
                yield _Pair(entry, lender, lender.focus_map)


def _mark_count(entry: LensPrep) -> int:
    return entry.focus_map.marks.values.size if entry.focus_map else 0


def find_twins(entries: Sequence[LensPrep], job: Job, usual: UsualPlay, *, everyone: bool = False) -> TwinsPrep:
    """Hold the copies of a job against each other, and lend maps to those that have too few marks.

    ``everyone``: say also what copies with maps of their own could borrow, by the marks they have. Pure: the lenses
    are as ``prepare`` found them; ``usual`` is the backlash of readings made one way.
    """
    pairs = list(_pairs(entries))
    if not pairs:
        return TwinsPrep()
    copies = [found for pair in pairs if _lends(pair.lens) and (found := _compare(pair)) is not None]
    alike = [copy for copy in copies if not copy.unlike]
    ids = {lens_id for copy in alike for lens_id in (copy.lens_id, copy.lender_id)}
    focal = {entry.lens.id: entry.depth_focal_m for entry in entries}
    spread = learn_spread([(copy.difference, focal[copy.lens_id]) for copy in islice(alike, LEARN_FROM)], len(ids))
    borrowers = [pair for pair in pairs if everyone or not _lends(pair.lens)]
    wanted = {pair.lens.lens.id for pair in borrowers}
    readings: dict[str, list[Reading]] = defaultdict(list)
    for reading in job.readings:
        if reading.lens_id in wanted and reading.axis == "focus":
            readings[reading.lens_id].append(reading)
    borrowed = tuple(_borrow(pair, readings, spread, usual) for pair in borrowers)
    return TwinsPrep(borrowed, tuple(copies), spread)


def all_twins(prep: Prep) -> TwinsPrep:
    """The twins of a prepared job, with what copies that have maps of their own could borrow by their marks besides."""
    focus: dict[str, dict[Axis, list[Reading]]] = defaultdict(lambda: {"focus": []})
    for reading in prep.job.readings:
        if reading.axis == "focus":
            focus[reading.lens_id]["focus"].append(reading)
    return find_twins(prep.lenses, prep.job, usual_play(prep.job.lenses, focus), everyone=True)


def compare_copies(lens: LensPrep, lender: LensPrep) -> CopyPrep | None:
    """One mapped lens against another, or one lens at two times; None where that cannot be told."""
    return None if lender.focus_map is None else _compare(_Pair(lens, lender, lender.focus_map))


def _compare(pair: _Pair) -> CopyPrep | None:
    """One copy against the other, as they stand and with the index set; None where that cannot be told."""
    own, stop = pair.lens.focus_map, pair.lens.widest or pair.lens.shooting
    if own is None or stop is None:
        return None
    try:
        difference = copy_difference(pair.lender_map, own)
    except ValueError:  # no range in common
        return None
    width = room(own, optics_of(pair.lens), stop, difference.distance_m)
    if width is None:
        return None
    width = width * own.degrees_per_unit
    offset, offset_sd, left = difference.after_offset(width)
    return CopyPrep(
        lens_id=pair.lens.lens.id,
        lender_id=pair.lender.lens.id,
        difference=difference,
        offset=offset / own.degrees_per_unit,
        offset_plus_minus=Z95 * offset_sd / own.degrees_per_unit,
        stop=stop,
        as_it_stands=difference.worst(width),
        after_offset=left.worst(width),
        unlike=float(np.abs(left.degrees).max()) > NO_COPY * difference.basis.travel,
    )


def _borrow(
    pair: _Pair, readings: Mapping[str, Sequence[Reading]], spread: CopySpread, usual: UsualPlay
) -> BorrowedPrep:
    """What one lens may borrow, or why not."""
    entry = pair.lens
    marks = _proof_marks(entry, readings.get(entry.lens.id, ()))
    count = 0 if marks is None else marks.values.size
    stop, per_unit = entry.widest or entry.shooting, _degrees_per_unit(entry.lens, pair)
    known = BorrowedPrep(entry.lens.id, pair.lender.lens.id, count, _lends(entry), stop, spread)
    if marks is None or count < FEWEST_PROOF_MARKS:
        wanted = proof_wanted(entry, pair.lender, spread, stop)
        why = f"never on {'one mark' if count else 'no mark'}: {_what_to_read(wanted, entry)}"
        return replace(known, refused="one_mark" if count else "no_marks", refusal=why, wanted=wanted)
    if per_unit is None:
        why = "the read-out has another unit than the lender's: write units_per_turn into lenses.csv"
        return replace(known, refused="unit", refusal=why)
    try:
        found = borrow_map(
            pair.lender_map,
            marks,
            degrees_per_unit=per_unit,
            focal_m=entry.depth_focal_m or pair.lender.depth_focal_m,
            spread=spread,
            taping_sd_m=taping_sd_m(marks.values),
            half_play_rms_deg=usual.rms_deg / 2.0,
        )
    except BorrowRefusal as refusal:
        return replace(known, refused=refusal.code, refusal=str(refusal))
    width = room(pair.lender_map, optics_of(entry), stop, found.range_m())
    if width is None or stop is None:
        return replace(known, borrowed_map=found)
    used = found.used_p95(width * pair.lender_map.degrees_per_unit / per_unit)
    wanted = None if used < ENOUGH or _lends(entry) else proof_wanted(entry, pair.lender, spread, stop)
    return replace(known, borrowed_map=found, used_p95=used, safe_from=safe_from(used, stop), wanted=wanted)


def proof_wanted(
    entry: LensPrep, lender: LensPrep, spread: CopySpread = USUAL_SPREAD, stop: StopView | None = None
) -> ProofWanted | None:
    """The two marks to read on a lens that is to borrow from ``lender``, and what it may then be expected to use.

    ``stop`` is the one the share is for, otherwise the lender's widest. Without an optics of either, or without depth,
    the two ends of the lender's marks are named, and no share. None where the lender has no map that runs one way.
    """
    lens_map, focal_m = lender.focus_map, entry.depth_focal_m or lender.depth_focal_m
    if lens_map is None or not lens_map.monotone:
        return None
    distances = range_m(lens_map)
    width = room(lens_map, optics_of(entry) or optics_of(lender), stop or lender.widest or lender.shooting, distances)
    ends = ProofWanted(float(lens_map.marks.values.max()), float(lens_map.marks.values.min()), None)
    if width is None:
        return ends
    found = choose_proof_marks(lens_map, distances, width * lens_map.degrees_per_unit, focal_m=focal_m, spread=spread)
    return ends if found is None else ProofWanted(found.far_m, found.near_m, found.expected.used_p95(width))


def _what_to_read(wanted: ProofWanted | None, entry: LensPrep) -> str:
    """The proof marks to read, as an order; ``proof_words`` names the distances."""
    return f"read {proof_words(wanted, entry.system) if wanted else 'infinity and a near mark'}, twice each, both ways"


def proof_words(wanted: ProofWanted, system: System) -> str:
    """The two proof marks by name: "infinity and 2 m"."""
    return f"{mark_text(wanted.far_m, system)} and {mark_text(wanted.near_m, system)}"


def mark_text(distance_m: float, system: System) -> str:
    """A mark by name: "infinity", or the distance as it is called."""
    return "infinity" if math.isinf(distance_m) else format_distance(distance_m, system)


def _proof_marks(entry: LensPrep, readings: Sequence[Reading]) -> Marks | None:
    """The marks of a lens without what is suspect: those of its map, or gathered from its readings."""
    if entry.focus_map is not None:
        return entry.focus_map.marks
    suspects = {(row.value, row.approach) for row in entry.suspects}
    usable = [r for r in readings if not {(r.value, "all"), (r.value, r.approach)} & suspects]
    return gather(usable) if usable else None


def _degrees_per_unit(lens: Lens, pair: _Pair) -> float | None:
    """Degrees of ring for one unit of the read-out: the borrower's own, else the lender's if the unit is the same."""
    if lens.units_per_turn:
        return 360.0 / lens.units_per_turn
    if lens.unit == "deg":
        return 1.0
    return pair.lender_map.degrees_per_unit if lens.unit == pair.lender.lens.unit else None
