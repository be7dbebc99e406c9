"""The map of a lens as the shoot needs it: moved by what puts best focus elsewhere than the marks."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tapehook.lens import LensMap
from tapehook.lens.map import Z95
from tapehook.lens.moved import moved_map
from tapehook.prep.anamorphic import TWO_DIRECTIONS
from tapehook.prep.basis import Optics
from tapehook.prep.flange import front_vergence
from tapehook.prep.focus import pupil_vergence, vergence_slope
from tapehook.prep.results import LensPrep, SensorShift, StopView
from tapehook.prep.room import optics_of
from tapehook.prep.shifts import GLASS, STOPPING_DOWN, shifts_at
from tapehook.prep.wording import width_text

Floats = npt.NDArray[np.float64]

POINTS = 25
_PLACES = 401
"""Places at which a move is worked out; straight between them it is good to a millionth of itself."""


@dataclass(frozen=True, slots=True)
class ShootingMap:
    """Distances (G,) from infinity to close focus, metres, and where the ring has to stand at ``stop`` (G,).

    ``because`` names what moves it, such as stopping down, ``kept`` what strips and handover are not moved for, and
    why; positions and the half-width of their 95 % band in the unit of the read-out.
    """

    stop: str
    because: tuple[str, ...]
    distance_m: Floats
    position: Floats
    plus_minus: Floats
    kept: tuple[tuple[str, str], ...] = ()


def shooting_map(entry: LensPrep) -> ShootingMap | None:
    """The map moved by all shifts at the shooting stop that are known well enough; None without any shift, or map.

    That of an anamorphic lens goes between its two directions, which strips and handover leave to the shot.
    """
    lens_map, optics, stop = entry.focus_map, optics_of(entry), entry.shooting or entry.widest
    if lens_map is None or not lens_map.monotone or optics is None or stop is None:
        return None
    shifts = shifts_at(entry, stop)
    if not shifts:
        return None
    moving = [replace(one, kept=None) if one.name == TWO_DIRECTIONS else one for one in shifts]
    distance, position, half = moved_by(lens_map, optics, moving).grid(POINTS)
    because = tuple(one.name for one in moving if one.kept is None)
    kept = tuple((one.name, one.kept) for one in shifts if one.kept is not None)
    return ShootingMap(stop.text, because, distance, position, half, kept)


def per_metre(lens_map: LensMap, optics: Optics, distance_m: Floats) -> Floats:
    """How far the ring has to go for each metre that the sensor is as if too far back, at distances (G,): (G,).

    A sensor too far back by delta wants the ring farther by delta/f^2 at the front focal point.
    """
    front = front_vergence(distance_m, optics.focal_m, optics.pupil)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(front > 0, pupil_vergence(optics, distance_m) / np.where(front > 0, front, 1.0), 1.0)
    slope = vergence_slope(lens_map, optics, distance_m)
    turn: Floats = -lens_map.toward_near / optics.focal_m**2 * ratio**2 * slope
    return turn


def moved_by(lens_map: LensMap, optics: Optics | None, shifts: Sequence[SensorShift]) -> LensMap:
    """``lens_map`` moved by those of ``shifts`` that are known well enough; as it is where there is none.

    As it is, too, where the moved one would turn back on itself or a lens has no focus within its scale.
    """
    known = [one for one in shifts if one.kept is None]
    if not known or optics is None or not lens_map.monotone:
        return lens_map
    ends = lens_map.scale.place([lens_map.far_value, lens_map.near_value])
    places = np.linspace(ends[0], ends[1], _PLACES)
    turn = per_metre(lens_map, optics, lens_map.scale.value(places))
    if not np.all(np.isfinite(turn)):
        return lens_map
    shift_m, sd_m = sum(one.shift_m for one in known), float(np.hypot.reduce([one.sd_m for one in known]))
    moved = moved_map(lens_map, places, turn * shift_m, np.abs(turn) * sd_m)
    return moved if moved.monotone else lens_map


def map_at(entry: LensPrep, stop: StopView | None = None, factor: float = 1.0) -> LensMap | None:
    """The focus map of a lens as it holds when its ring is set to ``stop``: its shooting stop, or widest, for None.

    ``factor`` is that of an extender behind it, which sees glass behind itself 1/x squared as thick. The map as read
    where nothing is known to move it; None without one.
    """
    lens_map, stop = entry.focus_map, stop or entry.shooting or entry.widest
    if lens_map is None or stop is None:
        return lens_map
    return moved_by(lens_map, optics_of(entry), shifts_behind(entry, stop, factor))


def shifts_behind(entry: LensPrep, stop: StopView, factor: float) -> list[SensorShift]:
    """What moves focus when the ring is at ``stop``, as the lens itself sees it; ``factor`` that of an extender."""
    found = shifts_at(entry, stop)
    squared = factor**2
    return [
        replace(one, shift_m=one.shift_m / squared, sd_m=one.sd_m / squared) if one.name == GLASS else one
        for one in found
    ]


def known_move(entry: LensPrep, stop: StopView) -> tuple[float, float]:
    """What positions for ``stop`` are moved by, as if the sensor came to lie too far back, metres, with its sd.

    Both 0 where they stay as read.
    """
    lens_map, shifts = entry.focus_map, [one for one in shifts_at(entry, stop) if one.kept is None]
    if lens_map is None or not shifts or moved_by(lens_map, optics_of(entry), shifts) is lens_map:
        return 0.0, 0.0
    return sum(one.shift_m for one in shifts), float(np.hypot.reduce([one.sd_m for one in shifts]))


def moved_word(entry: LensPrep, stop: StopView | None = None) -> str:
    """What marks are moved for, in a word or two: "for T2 + gel"; empty where they are not."""
    stop = stop or entry.shooting or entry.widest
    known = [] if stop is None else [one for one in shifts_at(entry, stop) if one.kept is None]
    if stop is None or not known:
        return ""
    behind = next((one.said for one in known if one.name == GLASS), "")
    return f"for {stop.text}" + (f" + {behind}" if behind else "")


def move_words(entry: LensPrep, stop: StopView | None = None, factor: float = 1.0) -> tuple[str, ...]:
    """What is to be known where ring positions for ``stop`` are given: that they are moved, or why they are not.

    Nothing for a lens that nothing moves. ``factor`` as for ``map_at``.
    """
    stop = stop or entry.shooting or entry.widest
    lens_map, optics = entry.focus_map, optics_of(entry)
    if stop is None or lens_map is None or optics is None or not lens_map.monotone:
        return ()
    shifts = [one for one in shifts_behind(entry, stop, factor) if one.name in (GLASS, STOPPING_DOWN)]
    moved = moved_by(lens_map, optics, shifts)
    known = [one for one in shifts if one.kept is None and moved is not lens_map]
    said = [_moved_words(entry, stop, known, moved, lens_map)] if known else []
    said += [f"Ring positions are not moved for {one.name}: {one.kept}." for one in shifts if one.kept is not None]
    return tuple(said)


def _moved_words(
    entry: LensPrep, stop: StopView, known: Sequence[SensorShift], moved: LensMap, lens_map: LensMap
) -> str:
    """One line: for what, how far and which way at infinity, and that the engraved ring knows nothing of it."""
    behind = next((one.said for one in known if one.name == GLASS), None)
    stopped = any(one.name == STOPPING_DOWN for one in known)
    what = f"For {stop.text}" if stopped else ""
    what += f"{' with' if what else 'With'} {behind} behind the lens" if behind else ""
    far_m = lens_map.far_value
    turn = float((moved.curve(far_m) - lens_map.curve(far_m))[0])
    sd = float(np.sqrt(max(moved.position(far_m)[1][0] ** 2 - lens_map.position(far_m)[1][0] ** 2, 0.0)))
    way = "nearer at infinity" if turn * lens_map.toward_near > 0 else "farther at infinity, past its own mark"
    move, half = (width_text(value, entry.lens) for value in (abs(turn), Z95 * sd))
    reads = "wide open" if stopped else "as before"
    return (
        f"{what}: ring positions moved {move.removesuffix(' counts')} +- {half} {way}. The engraved ring still reads "
        f"{reads}."
    )
