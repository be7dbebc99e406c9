"""Strips of a prepared lens: its map laid round a ring, with the depth of field at a stop and what is in doubt."""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.records import Axis, Lens
from tapehook.lens import LensMap
from tapehook.lens.seen import seen_map
from tapehook.notation import FocalRange, format_distance, format_focal_length
from tapehook.optics import depth_of_field
from tapehook.optics.port import Port
from tapehook.optics.through import Through
from tapehook.prep.basis import MM, Optics, stop_view
from tapehook.prep.extender import extender_of, optics_on, ring_stop
from tapehook.prep.port import port_of
from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import room
from tapehook.prep.shooting_map import map_at, move_words, moved_word
from tapehook.prep.wording import position_text
from tapehook.strip import Ring, RowKind, Strip, StripRefusal, lay_out
from tapehook.strip.layout import DOUBT_SHARE, Limits, Widths, Wings

Floats = npt.NDArray[np.float64]
Units = Literal["ft", "m", "both"]

USUAL_TAPE_MM = 12.0
"""Width of the strip where none is asked for: one of half-inch tape keeps clear of both its edges."""


@dataclass(frozen=True, slots=True)
class StripWish:
    """What strip is wanted: round which ring, on which tape, in which units, with the depth at which T-number.

    ``units`` None takes the system of the lens; ``depth_at``, as on the iris ring, None draws no depth. ``as_read``
    leaves the marks where they were read, whatever the shoot does to focus; ``extender_on`` is for the lens on its
    extender, ``in_water`` for use behind its port, ``port`` behind another.
    """

    ring: Ring
    axis: Axis = "focus"
    units: Units | None = None
    tape_mm: float = USUAL_TAPE_MM
    depth_at: float | None = None
    as_read: bool = False
    extender_on: bool = False
    in_water: bool = False
    port: Port | None = None


@dataclass(frozen=True, slots=True)
class OnExtender:
    """A lens on its extender: focal length in metres, the stop on its ring and the one it works at."""

    factor: float
    length_m: float
    focal_m: float | None
    set_to: StopView | None
    works_at: StopView | None

    @property
    def text(self) -> str:
        """Focal length and stop as they work: "100 mm T4"."""
        focal = "" if self.focal_m is None else format_focal_length(FocalRange(self.focal_m, self.focal_m))
        return f"{focal} {self.works_at.text if self.works_at else ''}".strip()


@dataclass(frozen=True, slots=True)
class LensStrip:
    """The strip of one lens. ``stop`` is the one its ticks were judged at, None where the depth is not known.

    ``assumptions`` are sentences on what the strip itself rests on, ``moved`` those on how its marks are moved for the
    shoot, or why not; ``moved_for`` says it in a word on the strip, ``lay_at`` where the ring itself stands while the
    strip is laid, where that is not the far end of the strip. With an extender stops are those of the ring.
    """

    lens_id: str
    axis: Axis
    strip: Strip
    stop: StopView | None
    depth_stop: StopView | None
    assumptions: tuple[str, ...]
    moved: tuple[str, ...] = ()
    moved_for: str = ""
    lay_at: str = ""
    on_extender: OnExtender | None = None
    port: Port | None = None


def lens_strip(entry: LensPrep, wish: StripWish, text_width: Widths) -> LensStrip:
    """Lay out the strip of one lens.

    Raises StripRefusal where there is no map, it turns back on itself, how far the ring turns is not known, or the
    scale is longer than the ring is round; where the depth is asked for and not known; and where there is no extender,
    or nothing in the water can be in focus.
    """
    axis = entry.axes.get(wish.axis)
    if axis is None or axis.lens_map is None:
        reason = (axis.refusal if axis else None) or "no readings"
        raise StripRefusal("no_map", f"there is no {wish.axis} map: {reason}")
    through = _through(entry, wish)
    optics = optics_on(entry, through.extender) if wish.axis == "focus" else None
    depth_stop = _depth_stop(entry, wish, optics)
    stop = (depth_stop or ring_stop(entry, through.factor)) if optics else None
    bare, moved, moved_for = _bare(entry, wish, axis.lens_map, stop, through.factor)
    shown = seen_map(bare, through)
    if shown is None:
        raise StripRefusal("no_scale", "nothing behind that port can be in focus: the lens does not reach so near")
    ring, lay_at = _ring(entry, wish.ring, axis.lens_map, shown)
    strip = lay_out(
        shown,
        ring,
        _kinds(entry, wish),
        degrees_per_unit=measured_degrees_per_unit(entry.lens),
        tape_mm=wish.tape_mm,
        text_width=text_width,
        limits=_limits(bare, optics, stop, through),
        wings=_wings(optics, depth_stop, through) if optics and depth_stop else None,
    )
    made = LensStrip(entry.lens.id, wish.axis, strip, stop, depth_stop, _assumptions(entry, wish), moved, moved_for)
    return replace(made, lay_at=lay_at, on_extender=_on_extender(entry, wish, stop), port=through.port)


def _through(entry: LensPrep, wish: StripWish) -> Through:
    """What stands before and behind the lens. Raises StripRefusal where it has no extender, or no port."""
    extender = extender_of(entry.lens) if wish.extender_on else None
    port = wish.port or (port_of(entry.lens) if wish.in_water else None)
    if wish.axis != "focus" and (wish.extender_on or wish.in_water or port is not None):
        raise StripRefusal("no_scale", f"its {wish.axis} ring keeps its marks on an extender and behind a port")
    if wish.extender_on and extender is None:
        raise StripRefusal("no_scale", "lenses.csv names no extender for it")
    if wish.in_water and port is None:
        raise StripRefusal("no_scale", "lenses.csv names no port for it")
    return Through(extender, port)


def _bare(
    entry: LensPrep, wish: StripWish, lens_map: LensMap, stop: StopView | None, factor: float
) -> tuple[LensMap, tuple[str, ...], str]:
    """The map over what the lens's own scale says, what is to be said of how it is moved, and the word on the strip."""
    if wish.axis != "focus":
        return lens_map, (), ""
    said = move_words(entry, stop, factor)
    if wish.as_read or not said:
        return lens_map, ("Marks as read: not moved for what the shoot does to focus.",) if said else (), ""
    moved = map_at(entry, stop, factor) or lens_map
    return moved, said, "" if moved is lens_map else moved_word(entry, stop)


def _ring(entry: LensPrep, ring: Ring, lens_map: LensMap, shown: LensMap) -> tuple[Ring, str]:
    """The ring for marks that do not stand where they were read, and where the ring itself stands to lay the strip.

    A turn that is given is that of the ring's own scale. The strip is laid by a mark of the ring itself that lies on
    it: infinity, or else the farthest that was read.
    """
    own = lens_map.curve([lens_map.far_value, lens_map.near_value])
    there = shown.curve([shown.far_value, shown.near_value])
    if np.allclose(own, there, rtol=0.0, atol=1e-9 * float(np.ptp(own))):
        return ring, ""
    turn = ring.rotation_deg
    turn = turn if turn is None else turn * float(np.ptp(there) / np.ptp(own))
    if ring.zero is not None:
        return replace(ring, rotation_deg=turn), ""
    for value in (lens_map.far_value, *np.sort(lens_map.marks.values)[::-1].tolist()):
        at = float(lens_map.curve(value)[0])
        if there.min() <= at <= there.max():
            text = format_distance(value, entry.system)
            said = f"its own {text} ({position_text(at, entry.lens)})"
            return replace(ring, rotation_deg=turn, zero=at), said
    return replace(ring, rotation_deg=turn), f"{position_text(float(there[0]), entry.lens)} of the read-out"


def _on_extender(entry: LensPrep, wish: StripWish, stop: StopView | None) -> OnExtender | None:
    extender = extender_of(entry.lens) if wish.extender_on else None
    if extender is None:
        return None
    focal_m = None if entry.lens.focal_mm is None else float(extender.focal_m(entry.lens.focal_mm * MM))
    works = None if stop is None else stop_view(float(extender.stop(stop.t_number)), entry.transmission)
    return OnExtender(extender.factor, extender.length_m, focal_m, stop, works)


def measured_degrees_per_unit(lens: Lens) -> float | None:
    """Degrees of ring for one unit of the read-out, as given; None where a strip would rest on a guess."""
    if lens.units_per_turn:
        return 360.0 / lens.units_per_turn
    return 1.0 if lens.unit == "deg" else None


def _depth_stop(entry: LensPrep, wish: StripWish, optics: Optics | None) -> StopView | None:
    if wish.depth_at is None:
        return None
    if optics is None:
        what = "depth of field is for the focus ring" if wish.axis != "focus" else "the lens has no focal length"
        raise StripRefusal("no_scale", f"no depth can be drawn: {what}")
    return stop_view(wish.depth_at, entry.transmission)


def _kinds(entry: LensPrep, wish: StripWish) -> tuple[RowKind, ...]:
    """The rows of the strip, top to bottom."""
    if wish.axis != "focus":
        return ("T",) if wish.axis == "iris" else ("mm",)
    own: Units = "ft" if entry.system == "imperial" else "m"
    units = wish.units or own
    return ("ft", "m") if units == "both" else (units,)


def _limits(lens_map: LensMap, optics: Optics | None, stop: StopView | None, through: Through) -> Limits | None:
    """A tick is in doubt when the band takes half the room on one side of the focus at the stop."""
    if optics is None or stop is None:
        return None

    def limits(values: Floats) -> Floats:
        width = room(lens_map, optics, stop, through.scale_m(values))
        return DOUBT_SHARE * width if width is not None else np.zeros(values.shape)

    return limits


def _wings(optics: Optics, stop: StopView, through: Through) -> Wings:
    def wings(values: Floats) -> tuple[Floats, Floats]:
        scale = through.scale_m(values)
        depth = depth_of_field(scale, optics.focal_m, stop.f_number, optics.blur_m, optics.pupil)
        return through.subject_m(depth.near_m), through.subject_m(depth.far_m)

    return wings


def _assumptions(entry: LensPrep, wish: StripWish) -> tuple[str, ...]:
    found = []
    if wish.axis == "focus" and entry.one_way:
        found.append("Read one way only: the strip may lie off by half the backlash, which is in its +-.")
    if wish.ring.rotation_deg is not None:
        found.append(f"The turn from one end of the scale to the other is given: {wish.ring.rotation_deg:g}°.")
    if wish.extender_on and not entry.lens.extender_length_mm:
        found.append("Length of the extender not given: 0 taken; take its length, mount to mount, off each distance.")
    if wish.in_water or wish.port is not None:
        found.append("Distances are in the water, from the sensor; they hold near the middle of the picture.")
    return tuple(found)


def arc_for(diameter_mm: float, degrees: float) -> float:
    """Millimetres of arc for a turn on a ring of that diameter."""
    return math.pi * diameter_mm * degrees / 360.0
