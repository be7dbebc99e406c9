"""The ends of the ring: are infinity and close focus made, with what to spare, and does the motor spare the stops."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Lens, PositionUnit
from tapehook.lens import LensMap
from tapehook.lens.ends import End, inside_stop, past_mark, right_way_round
from tapehook.lens.heat import barrel_growth_m
from tapehook.lens.map import Z95
from tapehook.notation import format_distance
from tapehook.prep.basis import Basis
from tapehook.prep.focus import USUAL_STEP_DEG, FocusRing, vergence_slope
from tapehook.prep.heat import MOUNT_M
from tapehook.prep.wording import Maker, width_text

HEAT_K = 20.0
"""Warming that a lens must still make infinity with: a warm set after a cool prep room. Common practice, no source."""
LONG_M = 0.085
"""From this focal length on a lens short of that margin is to be watched; below, it is told."""
MOTOR_SHORT_DEG = 5.0
"""A motor that stops farther inside a hard stop was calibrated to something else. Common practice, no source."""
CAUTION = (
    "Keep fingers, hair and cables clear: a motor that calibrates drives the ring from stop to stop without looking."
)
_UNIT_NAME: dict[PositionUnit, str] = {"deg": "deg", "count": "count", "percent": "%", "mm": "mm"}


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far the ring goes past one mark, with the half-width of its 95 % interval, in the lens's unit.

    ``by_motor``: it is the motor that stops it there, before any hard stop that is known.
    """

    end: End
    past: float
    plus_minus: float
    by_motor: bool


def ends_findings(make: Maker, lens: Lens, basis: Basis, ring: FocusRing) -> Iterator[Finding]:
    """All that the ends of a ring give rise to; nothing where nobody wrote down where they are."""
    lens_map = ring.axis.lens_map
    pairs = ((lens.hard_stop_near, lens.hard_stop_far), (lens.motor_end_near, lens.motor_end_far))
    if lens_map is None or not lens_map.monotone:
        return
    for what, (near, far) in zip(("hard stops", "motor's ends"), pairs, strict=True):
        if near is not None and far is not None and not right_way_round(near, far, lens_map.toward_near):
            yield make(
                "ends.wrong_way_round",
                "fix",
                f"The {what} are written down the wrong way round: near {near:g}, far {far:g}, while the readings rise "
                f"toward {'near' if lens_map.toward_near > 0 else 'far'}.",
                "Change them over in lenses.csv, or read them again.",
            )
            return
    yield from _motor(make, lens, lens_map)
    if (reach := _reach(lens, lens_map, "far", math.inf)) is not None:
        yield _infinity(make, lens, basis, lens_map, reach)
    if lens.close_focus_m and (reach := _reach(lens, lens_map, "near", lens.close_focus_m)) is not None:
        yield from _close_focus(make, lens, basis, lens_map, reach)


def _stop_at(lens: Lens, end: End) -> float | None:
    return lens.hard_stop_near if end == "near" else lens.hard_stop_far


def _motor_at(lens: Lens, end: End) -> float | None:
    return lens.motor_end_near if end == "near" else lens.motor_end_far


def _step_sd(lens: Lens, lens_map: LensMap) -> float:
    """Standard deviation of one end as read: the step of the read-out over sqrt(12)."""
    step = lens.reading_step or USUAL_STEP_DEG / lens_map.degrees_per_unit
    return math.hypot(step / math.sqrt(12.0), lens_map.reading_noise)


def _reach(lens: Lens, lens_map: LensMap, end: End, mark_m: float) -> _Reach | None:
    """How far the ring goes past the mark at ``mark_m``, by whichever stops it first; None where no end is known."""
    mark, band = (float(np.atleast_1d(one)[0]) for one in lens_map.position_band(mark_m))
    ends = [(_stop_at(lens, end), False), (_motor_at(lens, end), True)]
    pasts = [(past_mark(at, mark, lens_map.toward_near, end), motor) for at, motor in ends if at is not None]
    if not pasts:
        return None
    past, by_motor = min(pasts)
    return _Reach(end, past, math.hypot(band, Z95 * _step_sd(lens, lens_map)), by_motor)


def _who(reach: _Reach) -> str:
    return "The motor's end" if reach.by_motor else "The ring's hard stop"


def _again(reach: _Reach) -> str:
    if reach.by_motor:
        return f"Calibrate the motor again on this lens. {CAUTION}"
    return "Have the stop set by a lens technician."


def _infinity(make: Maker, lens: Lens, basis: Basis, lens_map: LensMap, reach: _Reach) -> Finding:
    """Past infinity or short of it, against what heat alone asks for."""
    about = f"{width_text(abs(reach.past), lens)} +- {width_text(reach.plus_minus, lens)}"
    figure = Figure(reach.past, _UNIT_NAME[lens.unit], reach.plus_minus)
    if reach.past < 0:
        sure = reach.past < -reach.plus_minus
        message = f"{_who(reach)} lies {about} short of infinity: far subjects {'stay' if sure else 'may stay'} soft."
        step = _again(reach) if sure else "Read infinity and the end again, both ways, or check it on a far subject."
        return make("ends.infinity", "fix" if sure else "watch", message, step, figure)
    message = f"{_who(reach)} lies {about} past infinity."
    severity: Severity = "info"
    step = "Nothing; long lenses want the room for heat and filters."
    if basis.optics is not None:
        focal_m = basis.optics.focal_m
        needed_m = float(barrel_growth_m(max(focal_m, MOUNT_M), HEAT_K))
        slope = float(vergence_slope(lens_map, basis.optics, math.inf)[0])
        needed = needed_m / focal_m**2 * slope
        if reach.past - reach.plus_minus < needed:
            severity = "watch" if focal_m >= LONG_M else "info"
            message = (
                f"{_who(reach)} lies only {about} past infinity; {HEAT_K:.0f} K of heat in an aluminium barrel "
                f"(an assumption) would ask for {width_text(needed, lens)}."
            )
            step = "Check that it still makes infinity warm, with the filters that will be used."
    return make("ends.infinity", severity, message, step, figure)


def _close_focus(make: Maker, lens: Lens, basis: Basis, lens_map: LensMap, reach: _Reach) -> Iterator[Finding]:
    """Close focus reached or not, with the nearest distance there is."""
    assert lens.close_focus_m is not None  # noqa: S101 - the caller has looked
    near = format_distance(lens.close_focus_m, basis.system)
    about = f"{width_text(abs(reach.past), lens)} +- {width_text(reach.plus_minus, lens)}"
    figure = Figure(reach.past, _UNIT_NAME[lens.unit], reach.plus_minus)
    if reach.past >= 0:
        message = f"{_who(reach)} lies {about} past close focus, {near}."
        yield make("ends.close_focus", "info", message, "Nothing; the engraved close focus is reached.", figure)
        return
    end = _motor_at(lens, "near") if reach.by_motor else _stop_at(lens, "near")
    nearest = float(np.atleast_1d(lens_map.value(end if end is not None else math.nan))[0])
    stands = f": nothing nearer than {format_distance(nearest, basis.system)}" if math.isfinite(nearest) else ""
    sure = reach.past < -reach.plus_minus
    yield make(
        "ends.close_focus",
        "watch",
        f"{_who(reach)} lies {about} short of close focus, {near}{stands if sure else ', if at all'}.",
        _again(reach) if sure else "Read close focus and the end again, both ways.",
        figure,
    )


def _motor(make: Maker, lens: Lens, lens_map: LensMap) -> Iterator[Finding]:
    """The motor's ends against the hard stops."""
    half = Z95 * math.sqrt(2.0) * _step_sd(lens, lens_map)
    ends: tuple[End, ...] = ("near", "far")
    for end in ends:
        motor, stop = _motor_at(lens, end), _stop_at(lens, end)
        if motor is None or stop is None:
            continue
        inside = inside_stop(motor, stop, lens_map.toward_near, end)
        about = f"{width_text(abs(inside), lens)} +- {width_text(half, lens)}"
        figure = Figure(inside, _UNIT_NAME[lens.unit], half)
        if inside < -half:
            yield make(
                "ends.motor_past_stop",
                "fix",
                f"At the {end} end the motor was calibrated {about} past the hard stop: it drives the ring against it, "
                "which strains gears and lens, and every position shifts when it slips.",
                f"Do not run it so: set its ends inside the stops, or calibrate it again. {CAUTION}",
                figure,
            )
        elif inside * lens_map.degrees_per_unit > MOTOR_SHORT_DEG:
            yield make(
                "ends.motor_short",
                "watch",
                f"At the {end} end the motor stops {about} before the hard stop: part of the ring is out of its reach.",
                f"Calibrate it again from stop to stop. {CAUTION}",
                figure,
            )
