"""The check on the morning after a cold night: three lenses, a chart each, tell for the kit."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Approach, Job, Reading
from tapehook.lens import LensMap
from tapehook.lens.flange import JUDGEMENT_USED
from tapehook.lens.heat import sensor_shift_m
from tapehook.lens.morning import FEWEST, KitShift, kit_shift
from tapehook.lens.taping import taping_sd_m
from tapehook.prep.flange import front_vergence
from tapehook.prep.flange_findings import side
from tapehook.prep.focus import USUAL_STEP_DEG, pupil_vergence, vergence_slope, width_dpt
from tapehook.prep.heat import ROOM_C, measured_drift
from tapehook.prep.results import LensPrep, Prep, StopView
from tapehook.prep.room import optics_of
from tapehook.prep.suspects import WAYS
from tapehook.prep.usual import USUAL_PLAY_RMS_DEG
from tapehook.prep.wording import at_most, depth_used

UM = 1e6
WATCH_FROM, FIX_FROM = 0.25, 1.0
"""As for every share. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Check:
    """Best focus found on one chart this morning: the lens, metres from the image plane (inf), position of the ring.

    ``temperature_c`` is that of the lens then; None where it was not read.
    """

    lens_id: str
    distance_m: float
    position: float
    approach: Approach | None = None
    temperature_c: float | None = None


class NoCheck(ValueError):
    """A check that says nothing: which, and what was expected instead."""

    def __init__(self, lens_id: str, expected: str) -> None:
        super().__init__(expected)
        self.lens_id, self.expected = lens_id, expected


@dataclass(frozen=True, slots=True)
class Checked:
    """One check judged: the shift of the sensor that would do the same, metres, positive: too far back.

    ``sd_m`` is how sure it is; ``heat_m`` what its measured drift accounts for, None without one; ``room_m`` the shift
    that takes all the depth at ``stop``.
    """

    check: Check
    title: str
    shift_m: float
    sd_m: float
    heat_m: float | None
    room_m: float
    stop: StopView
    tape_m: float

    @property
    def used(self) -> float:
        """Its share of the depth at ``stop``."""
        return abs(self.shift_m) / self.room_m


@dataclass(frozen=True, slots=True)
class Morning:
    """All checks, what they say of the kit, and of the lens not checked that it takes most of."""

    checked: tuple[Checked, ...]
    kit: KitShift
    worst_id: str | None
    worst_used: float | None
    stop: StopView
    finding: Finding


def morning_check(prep: Prep, checks: Sequence[Check], temperature_c: float | None = None) -> Morning:
    """Judge the kit of a prepared job by ``checks``; ``temperature_c`` of lenses whose check names none, where known.

    Raises NoCheck for a check on a lens without a map or a stop, or beyond its marks, and for fewer than three lenses.
    """
    known = {entry.lens.id for entry in prep.lenses}
    for check in checks:
        if check.lens_id not in known:
            raise NoCheck(check.lens_id, "the id of a lens of the job")
    if len({check.lens_id for check in checks}) < FEWEST:
        raise NoCheck(
            ", ".join(check.lens_id for check in checks), f"{FEWEST} lenses or more: fewer say nothing of others"
        )
    return kit_judged(prep, [judged(prep, check, temperature_c) for check in checks])


def judged(prep: Prep, check: Check, temperature_c: float | None = None) -> Checked:
    """One check by itself. Raises NoCheck where it says nothing, KeyError for a lens the job has not."""
    now_c = temperature_c if check.temperature_c is None else check.temperature_c
    return _checked(prep.lens(check.lens_id), check, prep.job, now_c)


def kit_judged(prep: Prep, checked: Sequence[Checked]) -> Morning:
    """What checks of three lenses or more say of the kit. Raises ValueError for fewer."""
    checks = [one.check for one in checked]
    by_lens = [
        [one for one in checked if one.check.lens_id == name] for name in dict.fromkeys(c.lens_id for c in checks)
    ]
    means = [float(np.mean([one.shift_m for one in same])) for same in by_lens]
    sds = [float(np.sqrt(np.mean([one.sd_m**2 for one in same]))) for same in by_lens]
    kit = kit_shift(means, sds, _shared_m(checked))
    worst = max(_others(prep.lenses, checks, kit), key=lambda one: one[1], default=None)
    stop = worst[2] if worst else max(checked, key=lambda one: one.used).stop
    finding = _finding(kit, checked, worst)
    return Morning(tuple(checked), kit, worst and worst[0], worst and worst[1], stop, finding)


def _shared_m(checked: Sequence[Checked]) -> float:
    """What the mean of all lenses is off by for checks that share a chart, whose tape moves them all one way.

    Beyond what as many tapes would: those are in what each check is sure to.
    """
    lenses = len({one.check.lens_id for one in checked})
    times = Counter(one.check.lens_id for one in checked)
    charts: dict[float, list[float]] = defaultdict(list)
    for one in checked:
        charts[one.check.distance_m].append(one.tape_m / times[one.check.lens_id])
    more = sum(sum(parts) ** 2 - sum(part**2 for part in parts) for parts in charts.values())
    return math.sqrt(max(more, 0.0)) / lenses


def _checked(entry: LensPrep, check: Check, job: Job, temperature_c: float | None) -> Checked:
    lens_map, optics, stop = entry.focus_map, optics_of(entry), entry.shooting or entry.widest
    if lens_map is None or not lens_map.monotone:
        raise NoCheck(check.lens_id, "a lens with a focus map: read its marks first")
    if optics is None or stop is None or not optics.blur_m > 0:
        raise NoCheck(check.lens_id, "a lens with a focal length and a T-stop")
    if not check.distance_m >= lens_map.near_value:
        raise NoCheck(check.lens_id, f"a chart no nearer than its map begins, {lens_map.near_value:.3g} m")
    slope = float(vergence_slope(lens_map, optics, check.distance_m)[0])
    at, sd = (float(part[0]) for part in lens_map.position(check.distance_m))
    ahead, half_play = _play(lens_map, check.approach)
    moved_dpt = (check.position - ahead - at) * lens_map.toward_near / slope
    step = entry.lens.reading_step or USUAL_STEP_DEG / lens_map.degrees_per_unit
    width = float(width_dpt(optics, entry.widest or stop, check.distance_m)[0])
    q = float(np.atleast_1d(pupil_vergence(optics, check.distance_m))[0])
    sure = [sd / slope, step / math.sqrt(12.0) / slope, half_play / slope, JUDGEMENT_USED * width]
    tape_dpt = float(taping_sd_m(check.distance_m)) * q**2
    front = float(front_vergence(check.distance_m, optics.focal_m, optics.pupil))
    per_dpt = optics.focal_m**2 * ((front / q) ** 2 if front > 0 else 1.0)
    shift_m, sd_m = -moved_dpt * per_dpt, math.hypot(*sure, tape_dpt) * per_dpt
    if not math.isfinite(shift_m + sd_m):
        raise NoCheck(check.lens_id, "a chart and a position that its map can judge")
    heat_m = _by_heat(entry, job, temperature_c)
    room_m, tape_m = stop.f_number * optics.blur_m, tape_dpt * per_dpt
    return Checked(check, entry.title, shift_m, sd_m, heat_m, room_m, stop, tape_m)


def _play(lens_map: LensMap, approach: Approach | None) -> tuple[float, float]:
    """How far a position reads ahead of where the map stands, and what the play leaves unsure of that, in its unit.

    A map read both ways stands in the middle of the play. One read one way stands where that way ends, and a check made
    the same way stands there too; one made the other way is off by all of the play.
    """
    play, way = lens_map.play(), WAYS[approach]
    if play is not None and way:
        return lens_map.toward_near * way / 2.0 * play.value, play.sd / 2.0
    if way and way == lens_map.marks.way:
        return 0.0, 0.0
    whole = abs(play.value) if play else USUAL_PLAY_RMS_DEG / lens_map.degrees_per_unit
    return 0.0, whole if way and lens_map.marks.one_way else whole / 2.0


def _by_heat(entry: LensPrep, job: Job, temperature_c: float | None) -> float | None:
    """What the drift measured on the lens makes of the temperature now, metres; None where neither is known."""
    lens_map, optics = entry.focus_map, optics_of(entry)
    if temperature_c is None or lens_map is None or optics is None:
        return None
    readings: list[Reading] = [one for one in job.readings if one.lens_id == entry.lens.id and one.axis == "focus"]
    drift = measured_drift(lens_map, optics, readings)
    if drift is None:
        return None
    known = [one.temperature_c for one in readings if one.temperature_c is not None]
    kelvin = temperature_c - (float(np.mean(known)) if known else ROOM_C)
    return float(sensor_shift_m(drift.dpt_per_k * kelvin, optics.focal_m))


def _others(
    lenses: Sequence[LensPrep], checks: Sequence[Check], kit: KitShift
) -> Iterator[tuple[str, float, StopView]]:
    """What the kit's shift, at its worst, takes of each lens that was not checked, at the stop it is shot at.

    Where any of them has a map, those without are left out: no distance can be called on them anyway.
    """
    done = {check.lens_id for check in checks}
    mapped = [entry for entry in lenses if entry.focus_map is not None and entry.lens.id not in done]
    for entry in mapped or lenses:
        stop, optics = entry.shooting or entry.widest, optics_of(entry)
        if entry.lens.id not in done and stop is not None and optics is not None and optics.blur_m > 0:
            yield entry.lens.id, (abs(kit.shift_m) + kit.plus_minus_m) / (stop.f_number * optics.blur_m), stop


def _finding(kit: KitShift, checked: Sequence[Checked], worst: tuple[str, float, StopView] | None) -> Finding:
    if worst is not None:
        used, stop, whose = worst[1], worst[2], f"{worst[0]}, which was not checked"
    else:
        most = max(checked, key=lambda one: one.used)
        used, stop, whose = most.used, most.stop, most.check.lens_id
    severity: Severity = "fix" if used >= FIX_FROM else "watch" if used >= WATCH_FROM else "info"
    shift = f"{UM * abs(kit.shift_m):.0f} +- {UM * kit.mean_plus_minus_m:.0f} µm"
    takes = f"{at_most(used)} of the depth at {stop.text} on {whose}"
    figure = depth_used(used, stop.text)
    if kit.moved:
        message = (
            f"{kit.checks} lenses agree that focus has moved in the night, as if the sensors lay {shift} "
            f"{side(kit.shift_m)}: {takes}."
        )
        step = "Let the kit take on the temperature of the set and check again; nobody should shim for one morning."
        return Finding("morning.moved", severity, "kit", message, step, figure)
    if severity == "info":
        message = f"{kit.checks} lenses say that the kit came through the night: {shift}, {takes}."
        return Finding("morning.fine", "info", "kit", message, "Nothing to do; check again when it warms up.", figure)
    message = f"{kit.checks} lenses cannot tell for the kit: {shift} on the whole, but they differ; {takes}."
    step = (
        "Check more lenses, short and fast ones first, as they are the surest in micrometres, each twice from the same "
        "side; and any lens shot wide open by itself."
    )
    return Finding("morning.apart", "watch", "kit", message, step, figure)  # what cannot be told accuses nothing


def morning_as_json(found: Morning) -> dict[str, Any]:
    """The check as plain JSON values, the shape of ``tapehook morning --json``; ``date`` is that of a job's table."""
    return {
        "date": None,
        "checks": [check_as_json(one) for one in found.checked],
        "kit": kit_as_json(found),
        "finding": found.finding.as_json(),
    }


def kit_as_json(found: Morning) -> dict[str, Any]:
    """What it says of the kit as plain JSON values."""
    return {
        "shift_um": UM * found.kit.shift_m,
        "plus_minus_um": UM * found.kit.mean_plus_minus_m,
        "one_lens_plus_minus_um": UM * found.kit.plus_minus_m,
        "lenses": found.kit.checks,
        "worst_lens": found.worst_id,
        "worst_depth_used_percent": None if found.worst_used is None else 100.0 * found.worst_used,
        "stop": found.stop.text,
    }


def check_as_json(one: Checked) -> dict[str, Any]:
    """One check as plain JSON values; a chart at infinity is null."""
    far = math.isinf(one.check.distance_m)
    return {
        "lens": one.check.lens_id,
        "distance_m": None if far else one.check.distance_m,
        "position": one.check.position,
        "shift_um": UM * one.shift_m,
        "sd_um": UM * one.sd_m,
        "heat_um": None if one.heat_m is None else UM * one.heat_m,
        "depth_used_percent": 100.0 * one.used,
        "stop": one.stop.text,
    }
