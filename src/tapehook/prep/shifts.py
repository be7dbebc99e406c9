"""What puts best focus elsewhere than the marks: glass behind the lens and stopping down, each as a move of the sensor.

A sensor that lies delta too far back moves focus by delta/f^2 at the front focal point, whatever the distance; so does
what only looks like that. The marks of strips and handover are moved by each that is known well enough: of it the focus
budget keeps the doubt, as scatter. The others join it as a bias.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from tapehook.job.rear_filters import NOTHING, filters_behind
from tapehook.job.records import Filter, Job, Lens, Reading
from tapehook.lens.map import Z95
from tapehook.optics import sharp_blur_m
from tapehook.optics.glass import USUAL_INDEX, glass_shift_m
from tapehook.prep.basis import MM, Basis, cameras_of
from tapehook.prep.results import FlangePrep, FlangeUnusable, LensPrep, SensorShift, StopView

UM = 1e6
GLASS, STOPPING_DOWN = "glass behind the lens", "stopping down"
"""What glass and the move to a stop are called among the terms of a budget and of a shot."""
NOTICEABLE_M = 0.5e-6
"""A shift below half a micrometre is none."""
THICKNESS_SD_M, INDEX_SD = 0.01 * MM, 0.03
"""How well a thickness is measured with a calliper, and an index known that is assumed. Common practice, no source."""
FAR_FOCALS = 40.0
"""Charts all nearer than so many focal lengths show more of a move than there is far away: ray-traced designs do, by up
to 1.7 times there and four times at close focus."""
DOUBT = "doubt of moves"
"""What is not sure of moves that marks are not moved for is called among the terms of a budget and of a shot."""
CARRIED_MOST = 0.25
"""What a shift carried over from other stops may be off by, as a share of the depth, for marks to be moved by it."""


@dataclass(frozen=True, slots=True)
class Behind:
    """What stands behind a lens: how it is said, how far it puts the image back in metres, what is not known of it.

    ``shift_m`` is None where a filter has no thickness, ``sd_m`` how sure it is; ``assumed`` when an index was.
    """

    text: str
    shift_m: float | None
    without_thickness: tuple[str, ...] = ()
    assumed: bool = False
    sd_m: float = 0.0


def behind(text: str | None, filters: Sequence[Filter]) -> Behind:
    """What a text such as "gel + clear" stands for; nothing for None and for "none"."""
    found, _ = filters_behind(text, filters)
    if not found:
        return Behind("no glass", 0.0)
    unknown = tuple(one.id for one in found if one.thickness_mm is None)
    shift_m = None
    if not unknown:
        parts = [glass_shift_m((one.thickness_mm or 0.0) * MM, one.refractive_index or USUAL_INDEX) for one in found]
        shift_m = float(sum(parts))
    said = " + ".join(_said(one) for one in found)
    return Behind(said, shift_m, unknown, any(one.refractive_index is None for one in found), _doubt_m(found))


def _doubt_m(found: Sequence[Filter]) -> float:
    """Standard deviation of the shift: of each thickness, and of each index that nobody wrote down."""
    parts = []
    for one in found:
        n = one.refractive_index or USUAL_INDEX
        index_sd = 0.0 if one.refractive_index else INDEX_SD
        parts += [THICKNESS_SD_M * (n - 1.0) / n, (one.thickness_mm or 0.0) * MM * index_sd / n**2]
    return math.hypot(*parts)


def _said(one: Filter) -> str:
    if one.thickness_mm is None:
        return one.id
    index = f"n {one.refractive_index:g}" if one.refractive_index else f"n {USUAL_INDEX:g} assumed"
    return f"{one.id} ({one.thickness_mm:g} mm, {index})"


def state_of(text: str | None) -> str:
    """A state as it is compared: lower case, "none" where nothing is said."""
    return (text or NOTHING).strip().casefold()


def made_with(readings: Sequence[Reading]) -> str:
    """The state most of the focus readings were made in."""
    counted = Counter(state_of(one.rear_filter) for one in readings if one.axis == "focus")
    return counted.most_common(1)[0][0] if counted else NOTHING


def shot_with(lens: Lens, job: Job) -> tuple[str, ...]:
    """The states it may be shot in: what the lens itself names, else what its cameras name; empty where nobody does."""
    if lens.rear_filter:
        return (lens.rear_filter,)
    return tuple(dict.fromkeys(one.rear_filter for one in cameras_of(lens, job.cameras) if one.rear_filter))


def glass_shift_of(state: str, readings: Sequence[Reading], filters: Sequence[Filter]) -> float | None:
    """What a state does to marks made as ``readings`` were, metres, positive: sensor too far back; None: unknown."""
    here, there = behind(state, filters).shift_m, behind(made_with(readings), filters).shift_m
    return None if here is None or there is None else there - here


def shifts_of(
    lens: Lens, job: Job, readings: Sequence[Reading], basis: Basis, flange: FlangePrep | FlangeUnusable | None
) -> tuple[SensorShift, ...]:
    """All that moves the focus of ``lens`` on the shoot against its marks, the flange apart."""
    found = list(_glass(lens, job, readings))
    if isinstance(flange, FlangePrep) and flange.stop_shift is not None:
        blur_m = basis.optics.blur_m if basis.optics else 0.0
        stops: list[tuple[Literal["widest", "shooting"], StopView | None]] = [
            ("widest", basis.widest),
            ("shooting", basis.shooting),
        ]
        for role, stop in stops:
            if stop is not None:
                found += _stopped_down(lens, flange, stop, basis.widest, blur_m, role)
    return tuple(found)


def _glass(lens: Lens, job: Job, readings: Sequence[Reading]) -> Iterator[SensorShift]:
    """What the glass of the shoot does to marks made with other glass, or with none: the most of its states."""
    states = shot_with(lens, job)
    shifts = {state: glass_shift_of(state, readings, job.filters) for state in states}
    known = {state: shift for state, shift in shifts.items() if shift is not None}
    if not known or abs(known[worst := max(known, key=lambda one: abs(known[one]))]) < NOTICEABLE_M:
        return
    made = behind(made_with(readings), job.filters)
    sd_m = math.hypot(behind(worst, job.filters).sd_m, made.sd_m)
    kept = _no_one_move(lens)
    if any(shift is None for shift in shifts.values()):
        kept = "how thick some of it is, nobody wrote down"
    elif max(known.values()) - min(known.values()) >= NOTICEABLE_M:
        kept = "it is shot with different glass on its cameras"
    elif not lens.rear_filter and not all(one.rear_filter for one in cameras_of(lens, job.cameras)):
        kept = "not every camera of it names its glass"
    elif len({state_of(one.rear_filter) for one in readings}) > 1:
        kept = "its marks were made with different glass"
    elif any(one.method == "taped" and not one.rear_filter for one in readings):
        kept = "no taped mark names the glass it was made with"
    said = " + ".join(one.id for one in filters_behind(worst, job.filters)[0]) or "no glass"
    yield SensorShift(GLASS, known[worst], None, sd_m, kept, said)


def _no_one_move(lens: Lens) -> str | None:
    """Why one move of its ring cannot make up for a move of the sensor; None where it can."""
    if lens.kind == "zoom":
        return "on a zoom no one move serves all focal lengths"
    return "the two directions of an anamorphic lens want different moves" if (lens.squeeze or 1.0) > 1.0 else None


def _stopped_down(
    lens: Lens,
    flange: FlangePrep,
    stop: StopView,
    widest: StopView | None,
    blur_m: float,
    role: Literal["widest", "shooting"] | None,
) -> Iterator[SensorShift]:
    """The move of best focus to ``stop``, where charts at several stops show one."""
    shift = flange.stop_shift
    shift_m, sd_m = shift.at(stop.f_number) if shift is not None else (0.0, 0.0)
    if shift is None or max(abs(shift_m), sd_m) < NOTICEABLE_M:
        return
    far_m = max(test.chart_distance_m for test in flange.tests)
    half_m, kept = Z95 * sd_m, _no_one_move(lens)
    if half_m > abs(shift_m):
        kept = "its +- is larger than itself"
    elif widest is not None and not shift.tested(widest.f_number):
        kept = f"no chart was found wide open, at {widest.text}"
    elif far_m < FAR_FOCALS * (lens.focal_mm or 0.0) * MM:
        kept = "its charts were all found close up, where it is more than far away"
    elif not shift.tested(stop.f_number) and not half_m <= CARRIED_MOST * stop.f_number * blur_m:
        kept = f"it is carried over from other stops: find a chart at {stop.text}"
    yield SensorShift(STOPPING_DOWN, shift_m, role, sd_m, kept)


def shifts_at(entry: LensPrep, stop: StopView) -> tuple[SensorShift, ...]:
    """What moves the focus of a prepared lens at any stop: its glass, and the move to that stop."""
    found = [one for one in entry.shifts if one.role is None]
    if isinstance(entry.flange, FlangePrep):
        blur_m = float(sharp_blur_m(entry.coc_m, entry.blur_floor_m))
        found += _stopped_down(entry.lens, entry.flange, stop, entry.widest, blur_m, None)
    return tuple(found)
