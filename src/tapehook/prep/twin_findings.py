"""What is said about twins: a map that may be borrowed and from which stop on, and how much copies differ."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from tapehook.finding import Finding, Severity, sort_findings
from tapehook.job.records import Lens
from tapehook.lens.copies import CopySpread
from tapehook.notation import System, format_distance
from tapehook.prep.results import BorrowedPrep, CopyPrep, LensPrep, TwinsPrep
from tapehook.prep.twins import proof_words
from tapehook.prep.wording import Maker, depth_used, percent, width_text

WORTH = 0.9
"""Other proof marks are asked for where they may be expected to leave less than this part of the share."""
SPREAD_MARKS = 0.5
"""Proof marks that span less of the range than this, as a part of it, stand close together."""


def with_twins(entries: Sequence[LensPrep], twins: TwinsPrep) -> list[LensPrep]:
    """The lenses with what their twins have to say: a borrowed map, and findings."""
    borrowed = {found.lens_id: found for found in twins.borrowed if not found.own_map}
    copies = {found.lens_id: found for found in twins.copies}
    return [
        _with(entry, borrowed.get(entry.lens.id), copies.get(entry.lens.id))
        if entry.lens.id in borrowed or entry.lens.id in copies
        else entry
        for entry in entries
    ]


def _with(entry: LensPrep, borrowed: BorrowedPrep | None, copy: CopyPrep | None) -> LensPrep:
    make = Maker(entry.lens, entry.title)
    found = [*entry.findings]
    assumptions = entry.assumptions
    if borrowed is not None:
        found += _borrowed(make, entry, borrowed)
        if borrowed.borrowed_map is not None:
            assumptions = (*assumptions, spread_sentence(borrowed.spread))
    if copy is not None:
        found += _copy(make, entry, copy)
    return replace(entry, borrowed=borrowed, findings=tuple(sort_findings(found)), assumptions=assumptions)


def spread_sentence(spread: CopySpread) -> str:
    """How copies of one model are taken to differ, as an assumption or as learnt."""
    source = f"learnt from {spread.copies} copies of this job" if spread.copies else "common practice, no source"
    return (
        f"Copies of one model are taken to differ by {100 * spread.scale:.2g} % of scale, {100 * spread.cam:.2g} % of "
        f"the turn in the cam and {1e6 * spread.shim_m:.0f} um of shim (one standard deviation; {source})."
    )


def _borrowed(make: Maker, entry: LensPrep, found: BorrowedPrep) -> Iterator[Finding]:
    if found.refused is not None:
        yield _refused(make, found, entry.system)
        return
    own = "No map of its own" if entry.focus_map is None else f"A map of only {found.proof_marks} marks of its own"
    lent = f"the map of {found.lender_id}, moved to its {found.proof_marks} proof marks"
    if found.used_p95 is None or found.stop is None:
        yield make(
            "twin.borrowed",
            "watch",
            f"{own}: {lent}, may stand in, but how much of the depth it uses cannot be worked out.",
            "Write focal_mm and t_stop into lenses.csv.",
        )
        return
    stop = found.stop.text
    where = f"from {found.safe_from.text} on under a quarter" if found.safe_from else "at no usual stop under a quarter"
    yield make(
        "twin.borrowed",
        "watch",
        f"{own}: {lent}, stays within {percent(found.used_p95)} of the depth at {stop} at 95 of 100 distances, in 95 "
        f"of 100 such lenses; {where}.",
        _step(found, entry.system),
        depth_used(found.used_p95, stop),
    )


def _step(found: BorrowedPrep, system: System) -> str:
    """Where to use the borrowed map, or what would make it better."""
    better = _better(found, system)
    if better:
        return better
    if found.safe_from is None:
        return "Read marks of its own: six or more, both ways, close focus and infinity among them."
    return (
        f"Shoot it on the borrowed map at {found.safe_from.text} or smaller; for wider stops read six marks of its own."
    )


def _better(found: BorrowedPrep, system: System) -> str | None:
    """The proof marks that would do more than those there are; None where none would do a tenth better."""
    wanted = found.wanted
    if found.borrowed_map is None or found.used_p95 is None or wanted is None:
        return None
    scale, marks = found.borrowed_map.lender.scale, found.borrowed_map.marks.values
    reach = np.ptp(scale.place([found.borrowed_map.far_value, found.borrowed_map.near_value]))
    close = (
        "Its proof marks stand close together, which is as good as one: "
        if (np.ptp(scale.place(marks)) < SPREAD_MARKS * reach)
        else ""
    )
    if not close and (wanted.used is None or wanted.used > WORTH * found.used_p95):
        return None
    what = f"{close}read {proof_words(wanted, system)}, twice each, both ways{_then(found)}."
    return what[0].upper() + what[1:]


def _then(found: BorrowedPrep) -> str:
    """What the proof marks wanted may be expected to bring."""
    if found.wanted is None or found.wanted.used is None or found.stop is None:
        return ""
    return f": then about {percent(found.wanted.used)} of the depth at {found.stop.text}"


def _refused(make: Maker, found: BorrowedPrep, system: System) -> Finding:
    lender = found.lender_id
    if found.refused == "contradiction":
        return make(
            "twin.contradiction",
            "fix",
            f"The map of {lender} cannot be borrowed: {found.refusal}.",
            f"Read the proof marks again; if they stand, this lens is no copy of {lender}: read a map of its own.",
        )
    if found.refused == "unit":
        return make(
            "twin.unit",
            "watch",
            f"The map of {lender} cannot be borrowed: {found.refusal}.",
            "Write units_per_turn into lenses.csv, or read six marks of its own.",
        )
    severity: Severity = "watch" if found.refused == "one_mark" else "info"
    marks = proof_words(found.wanted, system) if found.wanted else "infinity and a near mark"
    what = "one mark tells neither the scale nor a mistake" if found.refused == "one_mark" else "no mark was read"
    return make(
        f"twin.{found.refused}",
        severity,
        f"{lender} is another copy with a map, but it cannot be borrowed: {what}.",
        f"Read {marks}, twice each, both ways{_then(found)}; better still six marks of its own.",
    )


def _copy(make: Maker, entry: LensPrep, copy: CopyPrep) -> Iterator[Finding]:
    """How a copy differs from the other, once the index is set."""
    if copy.unlike:
        yield make(
            "twin.unlike",
            "watch",
            f"Listed as a copy of {copy.lender_id}, but their maps differ by more than copies do: "
            f"{percent(copy.after_offset[0])} of the depth at {copy.stop.text} with the index set.",
            "Check twin_of and model in lenses.csv, and the readings of both.",
            depth_used(copy.after_offset[0], copy.stop.text, copy.after_offset[1]),
        )
        return
    share, spread, distance = copy.after_offset
    if share <= spread:
        return  # their maps cannot tell it from nought; `tapehook twins` shows it all the same
    severity: Severity = "watch" if share - spread >= 1.0 else "info"
    yield make(
        "twin.differs",
        severity,
        f"With the index set ({offset_text(copy, entry.lens)}) it differs from its copy {copy.lender_id} by "
        f"{percent(share)} +- {percent(spread)} of the depth at {copy.stop.text}, most at "
        f"{format_distance(distance, entry.system)}.",
        "Use each copy with the map of its own.",
        depth_used(share, copy.stop.text, spread),
    )


def offset_text(copy: CopyPrep, lens: Lens) -> str:
    """The index of one copy against the other, without sign, with its half-width and unit."""
    return f"{width_text(abs(copy.offset), lens)} +- {width_text(copy.offset_plus_minus, lens)}"
