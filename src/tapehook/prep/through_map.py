"""The ring of a lens that looks through a port or stands on an extender: where it must be for round distances."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from tapehook.notation import format_distance
from tapehook.optics import depth_of_field, sharp_blur_m
from tapehook.optics.through import Through
from tapehook.prep.as_json import finite
from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import optics_of
from tapehook.prep.rounds import round_distances
from tapehook.prep.shooting_map import map_at, moved_word


@dataclass(frozen=True, slots=True)
class ThroughRow:
    """One distance from the sensor, metres: what the scale says, where the ring stands, and what is sharp at ``stop``.

    ``position`` is where the lens is sharp at that stop, as its strip has it; ``moved_for`` says what the marks of the
    ring are moved for, empty where they are not. ``plus_minus`` is the half-width of the 95 % band; ``near_m`` and
    ``far_m`` (may be inf) are None without a stop or a focal length. The stop is that of the ring.
    """

    text: str
    distance_m: float
    scale_m: float
    position: float
    plus_minus: float
    near_m: float | None
    far_m: float | None
    stop: str | None
    moved_for: str = ""


def through_rows(entry: LensPrep, through: Through, stop: StopView | None = None) -> tuple[ThroughRow, ...]:
    """Round distances that the lens reaches, nearest first; empty without a map, or where it reaches none.

    ``stop`` is the one on its ring; that the lens is shot at, else its widest, where none is given.

    Empty too where the port would stand behind the entrance pupil of the lens.
    """
    lens_map = entry.focus_map
    if lens_map is None or not lens_map.monotone:
        return ()
    whole = entry.lens.focuses_by in (None, "whole")  # else the pupil stands for growth, not for its place
    if whole and entry.pupil is not None and entry.pupil_known and through.behind_pupil(entry.pupil):
        return ()
    near_m = float(through.subject_m(lens_map.near_value))
    if not np.isfinite(near_m):
        return ()
    asked = np.array(round_distances(entry.system, near_m, lens_map.scale))
    scale = through.scale_m(asked)
    reached = scale >= lens_map.near_value
    distances, scale = asked[reached], scale[reached]
    if distances.size == 0:
        return ()
    stop = stop or entry.shooting or entry.widest
    moved = map_at(entry, stop, through.factor) or lens_map
    position, half = moved.position_band(scale)
    near, far, stop_text = _sharp(entry, through, scale, stop)
    word = moved_word(entry, stop) if moved is not lens_map else ""
    return tuple(
        ThroughRow(
            format_distance(float(d), entry.system), float(d), float(s), float(p), float(h), n, f, stop_text, word
        )
        for d, s, p, h, n, f in zip(distances, scale, position, half, near, far, strict=True)
    )


def _sharp(
    entry: LensPrep, through: Through, scale_m: np.ndarray[Any, np.dtype[np.float64]], stop: StopView | None
) -> tuple[list[float | None], list[float | None], str | None]:
    """Near and far limit where the subject is, (G,) each, and the stop on the ring that they hold for."""
    optics = optics_of(entry)
    if optics is None or stop is None:
        nothing: list[float | None] = [None] * scale_m.size
        return nothing, nothing, None
    blur_m = sharp_blur_m(through.blur_m(entry.coc_m), entry.blur_floor_m)
    depth = depth_of_field(scale_m, optics.focal_m, stop.f_number, blur_m, optics.pupil)
    near, far = through.subject_m(depth.near_m), through.subject_m(depth.far_m)
    return (
        [None if np.isnan(x) else float(x) for x in near],
        [None if np.isnan(x) else float(x) for x in far],
        stop.text,
    )


def through_as_json(rows: tuple[ThroughRow, ...]) -> list[dict[str, Any]]:
    """The rows as plain JSON values; infinity is null."""
    return [
        {
            "distance_m": finite(row.distance_m),
            "scale_m": finite(row.scale_m),
            "position": row.position,
            "band95": row.plus_minus,
            "near_m": finite(row.near_m),
            "far_m": finite(row.far_m),
            "stop": row.stop,
            "moved_for": row.moved_for or None,
        }
        for row in rows
    ]
