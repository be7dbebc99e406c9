"""One lens at several times: how its map, its backlash and its flange changed from session to session."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from tapehook.finding import Finding, Severity, sort_findings
from tapehook.lens.flange import MATTERS
from tapehook.lens.map import Z95
from tapehook.notation import format_distance
from tapehook.prep.flange_findings import TECHNICIAN, flange_used
from tapehook.prep.results import CopyPrep, FlangePrep, LensPrep, StopView
from tapehook.prep.room import optics_of, room
from tapehook.prep.twins import compare_copies
from tapehook.prep.wording import Maker, depth_used, percent, width_text

Floats = npt.NDArray[np.float64]
UM = 1e6


@dataclass(frozen=True, slots=True)
class SessionPrep:
    """One session of a lens, prepared: what it is called, the bodies the lens was on, and what was found."""

    title: str
    entry: LensPrep
    bodies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """What changed from one session of a lens to a later one; None for what cannot be told.

    ``copy`` compares the maps, the later against the earlier. ``play`` is the backlash after less that before, in
    degrees of ring, with its half-width (95 %). ``flange_m`` likewise, positive: the sensor stands farther back than
    before, lens and body together. ``one_body``: both were on the same body and no other, so that two bodies' flanges
    are out of it.
    """

    before: SessionPrep
    after: SessionPrep
    copy: CopyPrep | None
    play: tuple[float, float] | None
    flange_m: tuple[float, float] | None
    one_body: bool


@dataclass(frozen=True, slots=True)
class DriftCurve:
    """How far the map of an earlier session lies from the newest, the index set: shares of the depth at G distances.

    ``share`` is positive where the earlier session read a larger position; ``half_width`` is 95 %.
    """

    title: str
    distance_m: Floats
    share: Floats
    half_width: Floats
    stop: StopView


def changes_of(sessions: Sequence[SessionPrep]) -> tuple[Change, ...]:
    """From each session to the next, oldest first; of three or more, from the first to the last besides."""
    pairs = [*pairwise(sessions)]
    if len(sessions) > 2:
        pairs.append((sessions[0], sessions[-1]))
    return tuple(_change(before, after) for before, after in pairs)


def _change(before: SessionPrep, after: SessionPrep) -> Change:
    one_body = len(after.bodies) == 1 and before.bodies == after.bodies
    copy = compare_copies(after.entry, before.entry)
    return Change(before, after, copy, _play_change(before, after), _flange_change(before, after), one_body)


def _play_change(before: SessionPrep, after: SessionPrep) -> tuple[float, float] | None:
    found = [_play_deg(one.entry) for one in (before, after)]
    if found[0] is None or found[1] is None:
        return None
    return found[1][0] - found[0][0], Z95 * math.hypot(found[0][1], found[1][1])


def _play_deg(entry: LensPrep) -> tuple[float, float] | None:
    """Backlash in degrees of ring with its standard deviation."""
    if entry.play is None or entry.focus_map is None:
        return None
    per_unit = abs(entry.focus_map.degrees_per_unit)
    return entry.play.value * per_unit, entry.play.sd * per_unit


def _flange_change(before: SessionPrep, after: SessionPrep) -> tuple[float, float] | None:
    one, other = before.entry.flange, after.entry.flange
    if not isinstance(one, FlangePrep) or not isinstance(other, FlangePrep):
        return None
    (was_m, was_sd_m), (is_m, is_sd_m) = one.fit.flange_m(), other.fit.flange_m()
    return is_m - was_m, Z95 * math.hypot(was_sd_m, is_sd_m)


def drift_curves(sessions: Sequence[SessionPrep]) -> list[DriftCurve]:
    """Each mapped session but the newest against that; none where the depth of the lens is not known."""
    mapped = [one for one in sessions if one.entry.focus_map is not None]
    found = []
    for one in mapped[:-1]:
        copy = compare_copies(one.entry, mapped[-1].entry)
        own = one.entry.focus_map
        if copy is None or own is None:
            continue
        distance = copy.difference.distance_m
        width = room(own, optics_of(one.entry), copy.stop, distance)
        if width is not None:
            width = width * own.degrees_per_unit
            _, _, left = copy.difference.after_offset(width)
            spread = Z95 * np.sqrt(np.maximum(np.diag(left.covariance), 0.0)) / np.abs(width)
            found.append(DriftCurve(one.title, distance, left.degrees / np.abs(width), spread, copy.stop))
    return found


def history_findings(changes: Sequence[Change]) -> list[Finding]:
    """What changed by more than can be chance, worst first. The index is left out: it is set anew with each motor."""
    return sort_findings([finding for change in changes for finding in _findings(change)])


def _findings(change: Change) -> Iterator[Finding]:
    entry = change.after.entry
    make = Maker(entry.lens, entry.title)
    when = f"Between {change.before.title} and {change.after.title}"
    if change.copy is not None:
        yield from _map_finding(make, change.copy, entry, when)
    if change.play is not None and abs(change.play[0]) > change.play[1]:
        yield _play_finding(make, change, change.play, when)
    if change.flange_m is not None and abs(change.flange_m[0]) > change.flange_m[1]:
        yield _flange_finding(make, change, change.flange_m, when)


def _map_finding(make: Maker, copy: CopyPrep, entry: LensPrep, when: str) -> Iterator[Finding]:
    share, spread, distance = copy.after_offset
    figure = depth_used(share, copy.stop.text, spread)
    if copy.unlike:
        yield make(
            "history.unlike",
            "fix",
            f"{when} its map changed by more than one lens can: {percent(share)} of the depth at {copy.stop.text} with "
            "the index set.",
            "Look at the serial number, and at the readings of both: they may be of two lenses, or of a rebuilt one.",
            figure,
        )
    elif share > spread:
        severity: Severity = "watch" if share - spread >= MATTERS else "info"
        yield make(
            "history.map",
            severity,
            f"{when} its map changed by {percent(share)} +- {percent(spread)} of the depth at {copy.stop.text} with "
            f"the index set, most at {format_distance(distance, entry.system)}.",
            "Use the newest map. A lens that goes on changing is for a lens technician to look at.",
            figure,
        )


def _play_finding(make: Maker, change: Change, play: tuple[float, float], when: str) -> Finding:
    entry = change.after.entry
    per_unit = abs(entry.focus_map.degrees_per_unit) if entry.focus_map else 1.0
    size, spread = (width_text(abs(value) / per_unit, entry.lens) for value in play)
    grew, share = play[0] > 0, entry.play_used
    severity: Severity = "watch" if grew and share is not None and share >= MATTERS else "info"
    stop = entry.widest or entry.shooting
    told = share is not None and stop is not None and math.isfinite(share)
    now = f"; half of it uses {percent(share)} of the depth at {stop.text}" if told and share and stop else ""
    return make(
        "history.backlash",
        severity,
        f"{when} its backlash {'grew' if grew else 'shrank'} by {size} +- {spread}{now}.",
        "Seat motor and gear anew and read three marks both ways: if it stays, the lens's helicoid plays.",
        depth_used(share, stop.text) if told and share is not None and stop is not None else None,
    )


def _flange_finding(make: Maker, change: Change, flange_m: tuple[float, float], when: str) -> Finding:
    entry = change.after.entry
    stop = entry.shooting or entry.widest
    share = flange_used(flange_m[0], entry, stop) if stop and optics_of(entry) else None
    spread = flange_used(flange_m[1], entry, stop) if stop and optics_of(entry) else 0.0
    moved = "farther back" if flange_m[0] > 0 else "nearer"
    severity: Severity = "info"
    if share is not None and change.one_body:
        severity = "fix" if share - spread >= 1.0 else "watch" if share - spread >= MATTERS else "info"
    doubt = "" if change.one_body else "; but the two were not tested on one and the same body"
    return make(
        "history.flange",
        severity,
        f"{when} the sensor came to stand {abs(flange_m[0]) * UM:.0f} +- {flange_m[1] * UM:.0f} um {moved} behind the "
        f"lens{doubt}.",
        f"Find best focus with another lens on that body: if it moved too, it is the body, else the lens. {TECHNICIAN}"
        if change.one_body
        else "Repeat the chart tests on one body: each body has a flange of its own.",
        depth_used(share, stop.text, spread) if share is not None and stop is not None else None,
    )
