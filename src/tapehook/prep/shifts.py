"""What puts best focus elsewhere than the marks: glass behind the lens and stopping down, each as a move of the sensor.

A sensor that lies delta too far back moves focus by delta/f^2 at the front focal point, whatever the distance; so does
what only looks like that. Each such shift joins the focus budget as a bias.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from tapehook.job.rear_filters import NOTHING, filters_behind
from tapehook.job.records import Filter, Job, Lens, Reading
from tapehook.lens.stop_shift import StopShift
from tapehook.optics.glass import USUAL_INDEX, glass_shift_m
from tapehook.prep.basis import MM, Basis, cameras_of
from tapehook.prep.results import FlangePrep, FlangeUnusable, LensPrep, SensorShift, StopView

UM = 1e6
STOPPING_DOWN = "stopping down"
"""What the move to a stop is called among the terms of a budget and of a shot."""
NOTICEABLE_M = 0.5e-6
"""A shift below half a micrometre is none."""


@dataclass(frozen=True, slots=True)
class Behind:
    """What stands behind a lens: how it is said, how far it puts the image back in metres, what is not known of it.

    ``shift_m`` is None where a filter has no thickness; ``assumed`` when an index was.
    """

    text: str
    shift_m: float | None
    without_thickness: tuple[str, ...] = ()
    assumed: bool = False


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
    return Behind(said, shift_m, unknown, any(one.refractive_index is None for one in found))


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
    found = []
    shifts = [glass_shift_of(state, readings, job.filters) for state in shot_with(lens, job)]
    known = [shift for shift in shifts if shift is not None]
    if known and abs(worst := max(known, key=abs)) >= NOTICEABLE_M:
        found.append(SensorShift("glass behind the lens", worst))
    if isinstance(flange, FlangePrep) and flange.stop_shift is not None:
        found += list(_stopped_down(flange.stop_shift, basis))
    return tuple(found)


def _stopped_down(shift: StopShift, basis: Basis) -> Iterator[SensorShift]:
    """The shift at the widest and at the shooting stop, where charts at several stops show one."""
    stops: list[tuple[Literal["widest", "shooting"], StopView | None]] = [
        ("widest", basis.widest),
        ("shooting", basis.shooting),
    ]
    for role, stop in stops:
        shift_m = shift.at(stop.f_number)[0] if stop is not None else 0.0
        if abs(shift_m) >= NOTICEABLE_M:
            yield SensorShift(STOPPING_DOWN, shift_m, role)


def shifts_at(entry: LensPrep, stop: StopView) -> tuple[SensorShift, ...]:
    """What moves the focus of a prepared lens at any stop: its glass, and the move to that stop."""
    found = [one for one in entry.shifts if one.role is None]
    if isinstance(entry.flange, FlangePrep) and entry.flange.stop_shift is not None:
        shift_m = entry.flange.stop_shift.at(stop.f_number)[0]
        found += [SensorShift(STOPPING_DOWN, shift_m)] if abs(shift_m) >= NOTICEABLE_M else []
    return tuple(found)
