"""A close-up lens or a split dioptre on a lens of the job: its new focus range, and what its map then means.

The close-up lens adds its power P to the vergence at its place: set to X from it, the lens is sharp at 1/(1/X + P)
(Wikipedia, Close-up lens). So the map keeps its shape, shifted by P, and the depth its half-width in vergence.
"""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Filter
from tapehook.lens import LensMap
from tapehook.notation import format_distance
from tapehook.optics import Depth, depth_of_field
from tapehook.optics.filters import split_dioptre_setting
from tapehook.optics.fittings import Fittings
from tapehook.picture.axis import distance_ticks
from tapehook.prep.basis import Optics
from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import optics_of
from tapehook.prep.shooting_map import map_at, moved_word
from tapehook.prep.shot_lens import FRONT_BEFORE_PUPIL_M
from tapehook.prep.wording import Maker, depth_used, percent
from tapehook.shot.lane import depth_used as used_of

MOST_MARKS = 9
_FEW_DPT = 1e-6


class NoCloseUp(ValueError):
    """A close-up lens that cannot be reckoned with on this lens: the option it is about, and what was expected."""

    def __init__(self, field: str, read: str, expected: str) -> None:
        super().__init__(expected)
        self.field, self.read, self.expected = field, read, expected


@dataclass(frozen=True, slots=True)
class CloseUpMark:
    """A subject at ``subject_m``: what the scale must say, where the ring then stands, and the ends of the depth.

    Metres from the image plane; ``near_m`` and ``far_m`` are None where the depth is not known.
    """

    subject_m: float
    scale_m: float
    position: float
    near_m: float | None
    far_m: float | None


@dataclass(frozen=True, slots=True)
class Split:
    """A split dioptre for two subjects: the power that holds both with the ring at the far one, and what is on hand.

    ``covered_m`` is where the covered half is sharp with the one on hand, ``used`` what that leaves of the depth on its
    side at the near subject; None where there is none, or the depth is not known.
    """

    near_m: float
    far_m: float
    power_dpt: float
    on_hand: Filter | None
    covered_m: float | None
    used: float | None


@dataclass(frozen=True, slots=True)
class CloseUp:
    """A close-up lens on a lens: the range it then focuses over, ``magnified`` at close focus, marks and findings."""

    entry: LensPrep
    power_dpt: float
    front_m: float
    near_m: float
    far_m: float
    magnified: float
    marks: tuple[CloseUpMark, ...]
    stop: StopView | None
    split: Split | None
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked: the power in front, where it stands (None: assumed), and for a split the two subjects, metres."""

    power_dpt: float
    front_m: float | None = None
    split_m: tuple[float, float] | None = None
    split_filter: Filter | None = None


def close_up_of(entry: LensPrep, wanted: Wanted, stop: StopView | None, tray: tuple[Filter, ...]) -> CloseUp:
    """What a close-up lens does to a prepared lens. Raises NoCloseUp where it cannot be told."""
    lens_map, optics = entry.focus_map, optics_of(entry)
    if lens_map is None or not lens_map.monotone or optics is None:
        raise NoCloseUp("lens", entry.lens.id, "a lens with a focus map that runs one way and a known focal length")
    said = [f"Of {entry.lens.id}: {sentence}" for sentence in entry.assumptions if "upil" in sentence]
    front_m = _front(wanted, optics, said)
    close_m = entry.close_focus_m or lens_map.near_value
    if close_m <= front_m:
        raise NoCloseUp("front", f"{front_m:.3g} m", f"less than {close_m:.3g} m, the close focus of the lens")
    fittings = Fittings(np.asarray(optics.focal_m, dtype=np.float64), optics.pupil, wanted.power_dpt, front_m)
    near_m, far_m = (float(end) for end in fittings.subject_m([close_m, math.inf]))
    moved = map_at(entry, stop) or lens_map
    if moved is not lens_map:
        said.append(f"Ring positions are moved {moved_word(entry, stop)}, as on the strip; the engraved ring is not.")
    marks = tuple(_mark(subject, fittings, moved, optics, stop) for subject in _subjects(entry, near_m, far_m))
    split = None if wanted.split_m is None else _split(wanted, front_m, optics, stop, tray)
    magnified = 1.0 + wanted.power_dpt * (close_m - front_m)
    found = tuple(_findings(entry, wanted, (near_m, far_m), split, stop))
    return CloseUp(entry, wanted.power_dpt, front_m, near_m, far_m, magnified, marks, stop, split, found, tuple(said))


def _front(wanted: Wanted, optics: Optics, said: list[str]) -> float:
    """Where the glass stands, from the image plane; assumed before the entrance pupil where nobody said."""
    pupil_m = float(np.max(np.asarray(optics.pupil.to_sensor_m)))
    if wanted.front_m is not None:
        if wanted.front_m <= pupil_m:
            raise NoCloseUp("front", f"{1e3 * wanted.front_m:.0f} mm", f"more than {1e3 * pupil_m:.0f} mm, the pupil's")
        return wanted.front_m
    front_m = pupil_m + FRONT_BEFORE_PUPIL_M
    said.append(f"The close-up lens is taken to stand {1e3 * front_m:.0f} mm before the image plane: measure it.")
    return front_m


def _subjects(entry: LensPrep, near_m: float, far_m: float) -> list[float]:
    """Round distances over the new range, the farthest first; both ends among them."""
    ticks = sorted(distance_ticks(near_m, far_m, entry.system), key=lambda tick: tick.rank)
    inside = [tick.value for tick in ticks if near_m * 1.001 < tick.value < far_m * 0.999]
    return sorted({near_m, far_m, *inside[: MOST_MARKS - 2]}, reverse=True)


def _mark(
    subject_m: float, fittings: Fittings, lens_map: LensMap, optics: Optics, stop: StopView | None
) -> CloseUpMark:
    seen = float(fittings.seen_m(subject_m))
    scale_m = math.inf if seen <= 0 or seen > 1e7 else seen
    position = float(lens_map.curve([scale_m])[0])
    if stop is None or optics.blur_m <= 0:
        return CloseUpMark(subject_m, scale_m, position, None, None)
    depth = depth_of_field(scale_m, optics.focal_m, stop.f_number, optics.blur_m, optics.pupil)
    near, far = (float(fittings.subject_m(end)) for end in (depth.near_m, _far_seen_m(depth)))
    return CloseUpMark(subject_m, scale_m, position, near, far if far > 0 else math.inf)


def _far_seen_m(depth: Depth) -> float:
    """The far end of the depth as the lens sees it; past its infinity, where it is virtual, below 0."""
    q = float(depth.vergence_dpt) - float(depth.half_width_dpt)
    return math.inf if q == 0 else 1.0 / q + float(depth.state.pupil_to_sensor_m)


def _split(wanted: Wanted, front_m: float, optics: Optics, stop: StopView | None, tray: tuple[Filter, ...]) -> Split:
    near_m, far_m = wanted.split_m or (0.0, 0.0)
    try:
        power = split_dioptre_setting(near_m, far_m, front_m)
    except ValueError:
        expected = f"a near subject more than {front_m:.3g} m away and a far one behind it"
        raise NoCloseUp("near", f"{near_m:.4g} m", expected) from None
    kinds = [one for one in tray if one.kind == "split_dioptre" and one.power_dpt and one.count]
    best = wanted.split_filter or min(kinds, key=lambda one: abs((one.power_dpt or 0.0) - power), default=None)
    if best is None:
        return Split(near_m, far_m, power, None, None, None)
    half = Fittings(np.asarray(optics.focal_m, dtype=np.float64), optics.pupil, best.power_dpt or 0.0, front_m)
    covered_m = float(half.subject_m(far_m))
    used = None
    if stop is not None and optics.blur_m > 0:
        seen = half.seen_m(near_m)
        used = float(used_of(seen, far_m, optics.focal_m, stop.f_number, optics.blur_m, optics.pupil))
    return Split(near_m, far_m, power, best, covered_m, used)


def _findings(
    entry: LensPrep, wanted: Wanted, range_m: tuple[float, float], split: Split | None, stop: StopView | None
) -> list[Finding]:
    make = Maker(entry.lens, entry.title)
    near, far = (format_distance(end, entry.system) for end in range_m)
    found = []
    if wanted.power_dpt > 0:
        said = f"With {wanted.power_dpt:g} dpt in front it focuses from {near} to {far}, and nowhere else."
        step = "Lay a strip of its own for it, and prove two marks on a chart with the close-up lens on."
        figure = Figure(range_m[1], "m")
        found.append(make("close_up.range", "info", said, step, figure))
    if split is not None:
        found.append(_split_finding(make, entry, split, stop))
    return found


def _split_finding(make: Maker, entry: LensPrep, split: Split, stop: StopView | None) -> Finding:
    ends = " and ".join(format_distance(end, entry.system) for end in (split.near_m, split.far_m))
    need = f"A split dioptre of {split.power_dpt:.2f} dpt holds {ends}"
    if split.on_hand is None or split.covered_m is None:
        return make("close_up.split", "watch", f"{need}; none is on hand.", "Get one, or hold both by the stop.")
    name, power = split.on_hand.id, split.on_hand.power_dpt or 0.0
    covered = format_distance(split.covered_m, entry.system) if split.covered_m > 0 else "no distance"
    if split.used is None or stop is None:
        said = f"{need}; {name} has {power:g} dpt, and with the ring at the far one its half is sharp at {covered}."
        return make("close_up.split", "info", said, "Look at both halves at the working stop.")
    severity: Severity = "fix" if split.used > 1 else "watch" if split.used > 0.5 else "info"
    off = f"{percent(split.used)} of the depth off at {stop.text}"
    said = f"{need}; {name} has {power:g} dpt: its half is sharp at {covered}, {off}."
    step = "Set the ring to the far one, keep the seam off faces and edges, and look at both halves on the day."
    if severity == "fix":
        step = f"Move the near one to {covered}, take another power, or stop down."
    return make("close_up.split", severity, said, step, depth_used(split.used, stop.text))


def close_up_as_json(found: CloseUp) -> dict[str, Any]:
    """A close-up lens as plain JSON values: the shape of ``tapehook close-up --json``; null stands for infinity."""
    split = found.split
    return {
        "lens": found.entry.lens.id,
        "power_dpt": found.power_dpt,
        "front_m": found.front_m,
        "near_m": _finite(found.near_m),
        "far_m": _finite(found.far_m),
        "magnified": found.magnified,
        "stop": None if found.stop is None else found.stop.text,
        "marks": [
            {
                "subject_m": _finite(mark.subject_m),
                "scale_m": _finite(mark.scale_m),
                "ring_position": mark.position,
                "near_m": mark.near_m,
                "far_m": None if mark.far_m is None else _finite(mark.far_m),
            }
            for mark in found.marks
        ],
        "split": None
        if split is None
        else {
            "near_m": split.near_m,
            "far_m": _finite(split.far_m),
            "power_dpt": split.power_dpt,
            "on_hand": None if split.on_hand is None else split.on_hand.id,
            "covered_m": None if split.covered_m is None or split.covered_m <= 0 else _finite(split.covered_m),
            "depth_used": split.used,
        },
        "findings": [finding.as_json() for finding in found.findings],
        "assumptions": list(found.assumptions),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def powers_of(tray: tuple[Filter, ...], names: tuple[str, ...], kind: Literal["close_up", "split_dioptre"]) -> float:
    """The powers of filters named, added up. Raises NoCloseUp for a name that is no close-up lens of the tray."""
    total = 0.0
    for name in names:
        one = next((one for one in tray if one.id == name and one.kind == kind), None)
        if one is None:
            known = ", ".join(one.id for one in tray if one.kind == kind) or "none yet"
            raise NoCloseUp("filter", name, f"a close-up lens of job.toml; there are: {known}")
        total += one.power_dpt or 0.0
    return total
