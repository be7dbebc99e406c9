"""A lens is swapped in mid-job: what that spoils, and the two marks that settle it.

What was made for one serial number holds for it alone: strips, maps lent from it, pulls planned on it, its charts, what
somebody signed. Two marks of the lens that comes, a far and a near one, let it borrow the map of the one that goes
(``tapehook.lens.twins``); how far that is to be trusted is a share of the depth, as always.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import cycle
from typing import Any, Literal

import numpy as np

from tapehook.finding import Finding
from tapehook.job.records import Approach, Job, Lens, Reading
from tapehook.lens import LensMap
from tapehook.lens.map import Z95
from tapehook.notation import parse_position
from tapehook.prep.as_json import finite
from tapehook.prep.prepare import prepare
from tapehook.prep.results import BorrowedPrep, LensPrep, Prep, StopView
from tapehook.prep.room import optics_of, room, safe_from
from tapehook.prep.twins import all_twins, mark_text, proof_wanted
from tapehook.prep.wording import Maker, depth_used, percent, position_text, width_text

Kind = Literal["strip", "borrowed_map", "pull", "charts", "ring_map", "sign_off"]
SettledBy = Literal["two_marks", "charts", "ring", "signature"]
WAYS: tuple[Approach, Approach] = ("near_to_far", "far_to_near")
SAFE = 0.25
"""A borrowed map that uses less of the depth than this can be worked with as if it were the lens's own, up to all of it
with care. Common practice, no source: a quarter."""
MOST_NEXT = 2
"""More marks than these are a new map."""


@dataclass(frozen=True, slots=True)
class Spoilt:
    """One thing that held for the lens that goes: what, which, why it no longer does, and what settles it."""

    kind: Kind
    name: str
    why: str
    settled_by: SettledBy
    cleared: bool = False


@dataclass(frozen=True, slots=True)
class WantedMark:
    """A mark to read on the lens that comes: distance in metres and as called, and where the lens that goes has it."""

    distance_m: float
    text: str
    position_before: float


@dataclass(frozen=True, slots=True)
class NextMarks:
    """What to read next on the lens that comes: distances as called, and the share of the depth they leave at a stop.

    ``used_after`` holds whatever they show, at ``stop``; ``safe_from`` is the first usual stop at which it is under a
    quarter then, None for none.
    """

    texts: tuple[str, ...]
    used_after: float
    stop: StopView
    safe_from: StopView | None


@dataclass(frozen=True, slots=True)
class Swap:
    """What a swap spoils. ``marks`` are the two that settle it, empty where the lens that goes has no map to lend.

    ``apart`` is how far the two should stand apart on the ring and its half-width (95 %), in its unit. ``borrowed`` is
    what the lens that comes may borrow by the marks read so far, None without any; ``used`` the share of the depth at
    ``stop`` by the map alone, ``own`` with all else that the lens that goes uses but its flange; ``settled`` when that
    is less than all of it, or when the lens has a map of its own. ``next_marks`` where ``used`` is a quarter of the
    depth or more.
    """

    goes: LensPrep
    comes: LensPrep
    spoilt: tuple[Spoilt, ...]
    marks: tuple[WantedMark, ...]
    apart: tuple[float, float] | None
    borrowed: BorrowedPrep | None
    used: float | None
    stop: StopView | None
    settled: bool
    findings: tuple[Finding, ...]
    next_marks: NextMarks | None = None
    own: float | None = None


def swap_lens(
    job: Job,
    goes_id: str,
    comes: Lens,
    marks: Sequence[Reading] = (),
    *,
    pulls: Sequence[str] = (),
    signed: Sequence[str] = (),
) -> Swap:
    """What it spoils to shoot on with ``comes`` in place of the lens ``goes_id`` of ``job``.

    ``comes`` may be a lens of the job or a new one; ``marks`` are readings of it made now. ``pulls`` names the shots
    planned on the lens that goes, ``signed`` the checks signed for it. Raises KeyError when the job has no such lens.
    """
    prep = _prepared(job, goes_id, comes, marks)
    goes, come = prep.lens(goes_id), prep.lens(comes.id)
    borrowed = next((one for one in all_twins(prep).borrowed if one.lens_id == comes.id), None)
    stop = come.shooting or come.widest or goes.shooting or goes.widest
    used = _used(borrowed, stop)
    own_map = come.focus_map is not None and (borrowed is None or borrowed.own_map)
    own = None if used is None or stop is None else _own(used, goes, stop)
    settled = own_map or (own is not None and own < 1.0)
    spoilt = tuple(
        replace(one, cleared=settled and one.settled_by == "two_marks")
        for one in _spoilt(prep, goes, comes.id, pulls=pulls, signed=signed)
    )
    wanted, apart = wanted_marks(goes)
    further = None if own_map or used is None or used < SAFE else _next_marks(goes, come, borrowed, stop)
    swap = Swap(goes, come, spoilt, wanted, apart, borrowed, used, stop, settled, (), further, own)
    return replace(swap, findings=tuple(_findings(swap, own_map=own_map)))


def _prepared(job: Job, goes_id: str, comes: Lens, marks: Sequence[Reading]) -> Prep:
    """The job with the lens that comes in it, as a twin of the one that goes."""
    known = {lens.id for lens in job.lenses}
    if goes_id not in known:
        raise KeyError(goes_id)
    comes = comes if comes.twin_of else comes.model_copy(update={"twin_of": goes_id})
    lenses = [comes if lens.id == comes.id else lens for lens in job.lenses]
    lenses += [] if comes.id in known else [comes]
    readings = (*job.readings, *(mark.model_copy(update={"lens_id": comes.id}) for mark in marks))
    return prepare(job.model_copy(update={"lenses": tuple(lenses), "readings": readings}), brief=True)


def newcomer(goes: Lens, lens_id: str) -> Lens:
    """A lens nobody has listed yet, taken to be another copy of the one that goes; its serial is its id."""
    own = {"id": lens_id, "serial": lens_id, "twin_of": goes.id, "note": None, "row": None}
    measured = ("blur_floor_mm", "hard_stop_near", "hard_stop_far", "motor_end_near", "motor_end_far")
    seen = ("quirks", "condition_on_receipt", "photos_on_receipt", "condition_on_return", "photos_on_return")
    return goes.model_copy(update=own | dict.fromkeys((*measured, *seen)))


def _used(borrowed: BorrowedPrep | None, stop: StopView | None) -> float | None:
    """What the borrowed map uses of the depth at a stop: the room grows with the f-number, so the share falls."""
    if borrowed is None or borrowed.used_p95 is None or borrowed.stop is None or stop is None:
        return None
    return borrowed.used_p95 * borrowed.stop.f_number / stop.f_number


def _next_marks(
    goes: LensPrep, comes: LensPrep, borrowed: BorrowedPrep | None, stop: StopView | None
) -> NextMarks | None:
    """The marks of the lens that goes which, read on the one that comes, leave least: few as will do.

    At most ``MOST_NEXT``, chosen one after the other; None where nothing is gained by any.
    """
    lens_map, found = goes.focus_map, borrowed and borrowed.borrowed_map
    if lens_map is None or not found or borrowed is None or borrowed.stop is None or stop is None:
        return None
    width = room(lens_map, optics_of(comes), borrowed.stop, found.range_m())
    if width is None:
        return None
    width = width * lens_map.degrees_per_unit / found.degrees_per_unit * (stop.f_number / borrowed.stop.f_number)
    before = used = found.used_p95(width)
    chosen: list[float] = []
    open_ = [float(value) for value in lens_map.marks.values if not np.isclose(found.marks.values, value).any()]
    while open_ and len(chosen) < MOST_NEXT and used >= SAFE:
        used, best = min((found.used_with(width, [*chosen, value]), value) for value in open_)
        chosen.append(best)
        open_.remove(best)
    if used >= before:
        return None
    texts = tuple(mark_text(one, goes.system) for one in sorted(chosen))
    return NextMarks(texts, used, stop, safe_from(used, stop))


def _spoilt(prep: Prep, goes: LensPrep, comes_id: str, *, pulls: Sequence[str], signed: Sequence[str]) -> list[Spoilt]:
    lens_id, found = goes.lens.id, []
    if goes.focus_map is not None:
        found.append(
            Spoilt("strip", f"focus strip of {lens_id}", "it is printed from another serial's map", "two_marks")
        )
    found += [
        Spoilt("pull", shot, f"its ring positions are those of {lens_id}; plan it anew", "two_marks") for shot in pulls
    ]
    found += [
        Spoilt("borrowed_map", one.lens_id, f"its map is lent by {lens_id}, which leaves the kit", "two_marks")
        for one in prep.twins.borrowed
        if one.lender_id == lens_id and one.lens_id != comes_id and not one.own_map and one.refused is None
    ]
    found += [
        Spoilt("ring_map", f"{axis} ring of {lens_id}", "its marks are another serial's", "ring")
        for axis, ring in goes.axes.items()
        if axis != "focus" and ring.lens_map is not None
    ]
    if goes.flange is not None:
        found.append(
            Spoilt("charts", f"chart tests of {lens_id}", "the flange of the lens that comes is its own", "charts")
        )
    found += [
        Spoilt("sign_off", check, "it was signed for the lens that goes; only a person can sign again", "signature")
        for check in signed
    ]
    return found


def mark_readings(lens: Lens, distance_m: float, text: str) -> tuple[Reading, ...]:
    """The readings of one mark of ``lens`` as typed: "299.1", or both ways as "299.1 / 299.6", from near to far first.

    More follow in turn: "299.1 / 299.6 / 299.0 / 299.5" is the mark read twice both ways. Raises NotationError for what
    is no position, ValueError for a distance that no lens has.
    """
    parts = text.split("/")
    ways = cycle(WAYS) if len(parts) > 1 else [None]
    return tuple(
        Reading(lens_id=lens.id, value=distance_m, position=parse_position(part, lens.unit), approach=way)
        for part, way in zip(parts, ways, strict=False)
    )


def wanted_marks(goes: LensPrep) -> tuple[tuple[WantedMark, ...], tuple[float, float] | None]:
    """The two marks that a copy of the lens that goes should be read at, and how far they should stand apart.

    Empty where the lens that goes has no map to lend.
    """
    lens_map, proof = goes.focus_map, proof_wanted(goes, goes)
    if lens_map is None or proof is None:
        return (), None
    wanted = tuple(WantedMark(at, mark_text(at, goes.system), _at(lens_map, at)) for at in (proof.far_m, proof.near_m))
    travel = wanted[1].position_before - wanted[0].position_before
    from_copies = 0.004 * abs(travel)  # the usual spread of the scale between copies: tapehook.lens.copies
    return wanted, (abs(travel), Z95 * math.hypot(from_copies, math.sqrt(2.0) * lens_map.noise))


def _at(lens_map: LensMap, distance_m: float) -> float:
    return float(lens_map.position(distance_m)[0][0])


def _own(used: float, goes: LensPrep, stop: StopView) -> float:
    """What a lens on a borrowed map uses by itself: the map, with play, read-out and the like of the one that goes.

    Each of these at the distance where it is most; its flange says nothing of another lens.
    """
    view = goes.budget("shooting") or goes.budget("widest")
    if view is None:
        return used
    lasting, scatter = 0.0, used**2
    for term, shares in zip(view.budget.terms, view.budget.shares, strict=True):
        if term.source == "lens" and term.name not in ("map", "flange"):
            most = float(shares.max()) * view.stop.f_number / stop.f_number
            lasting, scatter = (lasting + most, scatter) if term.kind == "bias" else (lasting, scatter + most**2)
    return lasting + math.sqrt(scatter)


def _findings(swap: Swap, *, own_map: bool) -> list[Finding]:
    make, lens = Maker(swap.comes.lens, swap.comes.title), swap.goes.lens
    left = [one for one in swap.spoilt if not one.cleared]
    names = "; ".join(one.name for one in left)
    found = []
    if left:
        found.append(
            make(
                "swap.spoils",
                "info" if swap.settled else "watch",
                f"With it in place of {lens.id}, {len(left)} of {len(swap.spoilt)} things no longer hold: {names}.",
                _next_step(swap),
            )
        )
    if own_map:
        message = f"It has a map of its own, so that no mark is needed in place of {lens.id}."
        found.append(make("swap.own_map", "info", message, "Print its strip and plan the pulls anew, on its own map."))
    elif swap.used is not None and swap.stop is not None:
        found.append(_judged(make, swap, swap.used, swap.stop))
    elif swap.borrowed is not None and swap.borrowed.refusal is not None and swap.borrowed.proof_marks > 1:
        message = f"The marks read on it settle nothing: {swap.borrowed.refusal}."
        found.append(make("swap.refused", "fix", message, "Read both again; if they stay so, map it like a new lens."))
    return found


def _judged(make: Maker, swap: Swap, used: float, stop: StopView) -> Finding:
    lens = swap.goes.lens
    marks = swap.borrowed.proof_marks if swap.borrowed else 0
    share = f"{percent(used)} of the depth at {stop.text} (95 in 100 lenses and distances)"
    if swap.own is not None and swap.own >= SAFE:
        share += f", with play and read-out as on {lens.id} {percent(swap.own)}"
    figure = depth_used(used, stop.text)
    if swap.settled and used < SAFE:
        message = f"{marks} marks settle it: on the map of {lens.id} it uses {share}."
        step = "Print its strip and plan the pulls anew, on the borrowed map; chart it when there is time."
        return make("swap.settled", "info", message, step, figure)
    safe = swap.borrowed.safe_from if swap.borrowed else None
    from_there = f"under a quarter from {safe.text} on" if safe else "at no usual stop under a quarter"
    if swap.settled:
        message = f"{marks} marks settle it with care: on the map of {lens.id} it uses {share}, {from_there}."
        step = f"Print its strip and plan the pulls anew, on the borrowed map. {_read_next(swap)}"
        return make("swap.settled", "watch", message, step, figure)
    message = f"{marks} marks are not enough for {stop.text}: on the map of {lens.id} it uses {share}, {from_there}."
    shoot = f"Shoot from {safe.text} on. " if safe else ""
    return make("swap.not_settled", "fix", message, f"{shoot}{_read_next(swap)}", figure)


def _read_next(swap: Swap) -> str:
    """What to read next, and what that leaves of the depth."""
    further = swap.next_marks
    if further is None:
        return "Map it like a new lens when there is time."
    names = " and ".join(further.texts)
    left = f"{percent(further.used_after)} at {further.stop.text}"
    then = "" if further.used_after < SAFE else ", map it like a new lens to have less"
    if further.used_after >= SAFE and further.safe_from is not None:
        then = f", under a quarter from {further.safe_from.text} on"
    return f"Read {names} next, both ways: that leaves {left}{then}."


def _next_step(swap: Swap) -> str:
    if swap.settled or swap.apart is None:
        by = {"charts": "chart it", "ring": "read its other rings", "signature": "have it signed again"}
        todo = sorted({by[one.settled_by] for one in swap.spoilt if not one.cleared and one.settled_by in by})
        return (
            f"{', '.join(todo).capitalize()}." if todo and swap.settled else "Map it like a new lens: nothing is lent."
        )
    far, near = swap.marks
    lens, (apart, half) = swap.goes.lens, swap.apart
    return (
        f"Read two marks on it, {far.text} and {near.text}, twice each, both ways: on {lens.id} they stand at "
        f"{position_text(far.position_before, lens)} and {position_text(near.position_before, lens)}; a copy should "
        f"show them {position_text(apart, lens)} +- {width_text(half, lens)} apart."
    )


def swap_as_json(swap: Swap) -> dict[str, Any]:
    """The shape of ``tapehook swap --json``: shares as fractions, positions in the lens's unit."""
    return {
        "goes": swap.goes.lens.id,
        "comes": swap.comes.lens.id,
        "settled": swap.settled,
        "stop": swap.stop and swap.stop.text,
        "depth_used": finite(swap.used),
        "marks": [
            {"distance_m": finite(one.distance_m), "distance_text": one.text, "position_before": one.position_before}
            for one in swap.marks
        ],
        "next_marks": swap.next_marks
        and {
            "distance_texts": list(swap.next_marks.texts),
            "stop": swap.next_marks.stop.text,
            "depth_used_after": finite(swap.next_marks.used_after),
        },
        "apart": None if swap.apart is None else {"value": swap.apart[0], "plus_minus": swap.apart[1]},
        "spoilt": [
            {
                "kind": one.kind,
                "name": one.name,
                "why": one.why,
                "settled_by": one.settled_by,
                "cleared": one.cleared,
            }
            for one in swap.spoilt
        ],
        "findings": [finding.as_json() for finding in swap.findings],
    }
