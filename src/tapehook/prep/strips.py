"""Strips of a prepared lens: its map laid round a ring, with the depth of field at a stop and what is in doubt."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.records import Axis, Lens
from tapehook.lens import LensMap
from tapehook.optics import depth_of_field
from tapehook.prep.basis import Optics, stop_view
from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import optics_of, room
from tapehook.strip import Ring, RowKind, Strip, StripRefusal, lay_out
from tapehook.strip.layout import DOUBT_SHARE, Limits, Widths, Wings

Floats = npt.NDArray[np.float64]
Units = Literal["ft", "m", "both"]

USUAL_TAPE_MM = 12.0
"""Width of the strip where none is asked for: one of half-inch tape keeps clear of both its edges."""


@dataclass(frozen=True, slots=True)
class StripWish:
    """What strip is wanted: round which ring, on which tape, in which units, with the depth at which T-number.

    ``units`` None takes the system of the lens; ``depth_at`` None draws no depth.
    """

    ring: Ring
    axis: Axis = "focus"
    units: Units | None = None
    tape_mm: float = USUAL_TAPE_MM
    depth_at: float | None = None


@dataclass(frozen=True, slots=True)
class LensStrip:
    """The strip of one lens. ``stop`` is the one its ticks were judged at, None where the depth is not known.

    ``assumptions`` are sentences on what the strip itself rests on.
    """

    lens_id: str
    axis: Axis
    strip: Strip
    stop: StopView | None
    depth_stop: StopView | None
    assumptions: tuple[str, ...]


def lens_strip(entry: LensPrep, wish: StripWish, text_width: Widths) -> LensStrip:
    """Lay out the strip of one lens.

    Raises StripRefusal where there is no map, it turns back on itself, how far the ring turns is not known, or the
    scale is longer than the ring is round; and where the depth is asked for and not known.
    """
    axis = entry.axes.get(wish.axis)
    if axis is None or axis.lens_map is None:
        reason = (axis.refusal if axis else None) or "no readings"
        raise StripRefusal("no_map", f"there is no {wish.axis} map: {reason}")
    optics = optics_of(entry) if wish.axis == "focus" else None
    depth_stop = _depth_stop(entry, wish, optics)
    stop = (depth_stop or entry.shooting or entry.widest) if optics else None
    strip = lay_out(
        axis.lens_map,
        wish.ring,
        _kinds(entry, wish),
        degrees_per_unit=measured_degrees_per_unit(entry.lens),
        tape_mm=wish.tape_mm,
        text_width=text_width,
        limits=_limits(axis.lens_map, optics, stop),
        wings=_wings(optics, depth_stop) if optics and depth_stop else None,
    )
    return LensStrip(entry.lens.id, wish.axis, strip, stop, depth_stop, _assumptions(entry, wish))


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


def _limits(lens_map: LensMap, optics: Optics | None, stop: StopView | None) -> Limits | None:
    """A tick is in doubt when the band takes half the room on one side of the focus at the stop."""
    if optics is None or stop is None:
        return None

    def limits(values: Floats) -> Floats:
        width = room(lens_map, optics, stop, values)
        return DOUBT_SHARE * width if width is not None else np.zeros(values.shape)

    return limits


def _wings(optics: Optics, stop: StopView) -> Wings:
    def wings(values: Floats) -> tuple[Floats, Floats]:
        depth = depth_of_field(values, optics.focal_m, stop.f_number, optics.blur_m, optics.pupil)
        return depth.near_m, depth.far_m

    return wings


def _assumptions(entry: LensPrep, wish: StripWish) -> tuple[str, ...]:
    found = []
    if wish.axis == "focus" and entry.one_way:
        found.append("Read one way only: the strip may lie off by half the backlash, which is in its +-.")
    if wish.ring.rotation_deg is not None:
        found.append(f"The turn from one end of the scale to the other is given: {wish.ring.rotation_deg:g}°.")
    return tuple(found)


def arc_for(diameter_mm: float, degrees: float) -> float:
    """Millimetres of arc for a turn on a ring of that diameter."""
    return math.pi * diameter_mm * degrees / 360.0
