"""An exposure asked for: the one thing left out solved, what it meets with told, and the ways out with their price."""

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Filter, Job, Lens
from tapehook.notation import (
    LUX_PER_FOOT_CANDLE,
    NotationError,
    Shutter,
    Stop,
    format_angle,
    format_density,
    format_shutter_time,
    format_stop,
    format_stop_in_thirds,
    format_thirds,
    parse_number,
    parse_stop,
)
from tapehook.optics.exposure import (
    CINE_METER_LX_S,
    Quantity,
    shutter_angle_deg,
    shutter_time_s,
    solve_exposure,
    stops_of_density,
    stops_over,
)
from tapehook.optics.filters import Stack, stacks_for
from tapehook.prep.basis import basis_of
from tapehook.shot.stop_course import f_number_for_depth
from tapehook.shot.ways_out import AsItStands, WayOut, ways_out

Solved = Literal["stop", "ei", "fps", "shutter", "light", "nd", "exposure"]

FEW_STOPS = 0.05
"""What is less than this is not said: a third of a stop is six times as much."""
SLOWEST_FPS, FASTEST_FPS = 0.01, 100_000.0
DENSEST = 9.0
_QUANTITY: dict[Solved, Quantity] = {
    "stop": "t_stop",
    "ei": "ei",
    "fps": "time_s",
    "shutter": "time_s",
    "light": "light_lux",
}


class NoExposure(Exception):
    """What was asked cannot be: the ``field`` it is about (None: several), what was ``expected``, and a sentence."""

    def __init__(self, field: str | None, expected: str, said: str) -> None:
        super().__init__(said)
        self.field, self.expected, self.said = field, expected, said


@dataclass(frozen=True, slots=True)
class Asked:
    """What was typed, read: None where nothing was given. ``density`` is that of all filters.

    ``rests_on`` says what the stop rests on, where a depth asked for it.
    """

    stop: Stop | None = None
    ei: float | None = None
    fps: float | None = None
    shutter: Shutter | None = None
    light_lux: float | None = None
    density: float = 0.0
    filtered: bool = False
    meter_lx_s: float | None = None
    imperial: bool = True
    rests_on: tuple[str, ...] = ()

    @property
    def meter(self) -> float:
        """The constant of the meter in lux seconds."""
        return self.meter_lx_s or CINE_METER_LX_S

    @property
    def time_s(self) -> float | None:
        """How long the shutter is open, where that is known."""
        if self.shutter is None or (self.shutter.time_s is None and self.fps is None):
            return None
        return self.shutter.time_s or float(shutter_time_s(self.shutter.angle_deg or math.nan, self.fps or math.nan))

    @property
    def in_time(self) -> bool:
        """True when the shutter is a time, which no frame rate changes."""
        return self.shutter is not None and self.shutter.time_s is not None


@dataclass(frozen=True, slots=True)
class OnHand:
    """What there is: the lens, which opens so far and no farther, and the filters of the tray."""

    lens: Lens | None = None
    tray: tuple[Filter, ...] | None = None

    @property
    def widest_t(self) -> float | None:
        """The widest stop of the lens, exact; None where nobody said."""
        return None if self.lens is None or self.lens.t_stop is None else exact_t(self.lens.t_stop)


@dataclass(frozen=True, slots=True)
class Exposure:
    """What was ``solved``, its ``value`` and ``text``; ``stops_off`` over (+) or under as everything was given.

    ``findings`` say what does not go together, ``ways`` what can be changed from the T-number ``at_t``.
    """

    solved: Solved
    value: float | None
    text: str
    stops_off: float | None
    findings: tuple[Finding, ...]
    ways: tuple[WayOut, ...]
    at_t: float | None
    asked: Asked
    assumptions: tuple[str, ...]

    @property
    def ways_said(self) -> list[str]:
        """The ways out, a sentence each."""
        return [way_text(way, self.asked, self.at_t or math.nan) for way in self.ways]


def number_between(least: float, most: float, expected: str) -> Callable[[str], float]:
    """A reader of numbers within limits, which raises NotationError."""

    def parse(text: str) -> float:
        value = parse_number(text)
        if not least <= value <= most:
            raise NotationError(text, expected, (), "is out of range")
        return value

    return parse


FRAME_RATE = number_between(SLOWEST_FPS, FASTEST_FPS, "a frame rate from 0.01 to 100000 frames a second, such as 24")
EI = number_between(0.1, 1e7, "an exposure index from 0.1 to 10000000, such as 800")
METER = number_between(100.0, 1000.0, "lux seconds from 100 to 1000, such as 250")


def t_stop(text: str) -> Stop:
    """A typed stop that exposure can follow. Raises NotationError for an f-number."""
    stop = parse_stop(text)
    if stop.scale == "f":
        raise NotationError(text, "a T-stop such as T4, as exposure follows T")
    return stop


def exact_t(t_number: float) -> float:
    """The exact stop behind a label: 2.8 is 2.828; what is no label stands for itself."""
    try:
        return parse_stop(f"T{t_number:g}").exact
    except NotationError:
        return t_number


def stop_for_depth(job: Job, lens: Lens, depth_m: float, distance_m: float) -> tuple[Stop, tuple[str, ...]]:
    """The stop at which a lens has so many metres from near to far, and what that rests on. Raises NoExposure."""
    basis = basis_of(lens, job)
    if basis.optics is None:
        raise NoExposure("depth", "a lens with its focal length", f"cannot be told of {lens.id}: no focal length")
    optics = basis.optics
    n = f_number_for_depth(depth_m, distance_m, optics.focal_m, optics.blur_m, optics.pupil)
    t = n / math.sqrt(basis.transmission)
    if not 0.5 <= t <= 128:
        read = f"T{t:.3g}" if math.isfinite(t) else "no stop"
        raise NoExposure("depth", "a depth that a stop from T0.5 to T128 gives", f"asks for {read} on {lens.id}")
    stop = Stop(t, t, "T", f"T{t:.3g}")
    said = f"{depth_m:g} m from near to far at {distance_m:g} m asks {lens.id} for {format_stop_in_thirds(t)}."
    return stop, (said, *basis.assumptions)


def tray_of(filters: Sequence[Filter], camera: str | None) -> tuple[Filter, ...]:
    """The filters in the tray of a camera, the shared ones among them; all where no camera is named."""
    return tuple(one for one in filters if camera is None or one.camera in {None, camera})


def what_to_solve(asked: Asked, given: Collection[str]) -> Solved:
    """The one of stop, ei, fps, shutter and light that was not ``given``; with all of them the ND, or what is off.

    Raises NoExposure with more than one left out, and for a shutter time that does not fit a frame.
    """
    if asked.in_time and asked.fps and asked.fps * (asked.time_s or 0.0) > 1.0 + 1e-9:
        longest = format_shutter_time(1.0 / asked.fps)
        said = f"does not fit a frame at {asked.fps:g} fps, at most {longest}"
        raise NoExposure("shutter", f"at most {longest}", said)
    names: tuple[Solved, ...] = ("stop", "ei", "fps", "shutter", "light")
    left_out = [name for name in names if name not in given and not (name == "fps" and asked.in_time)]
    if len(left_out) > 1:
        raise NoExposure(None, "all but one of them", ", ".join(left_out))
    return left_out[0] if left_out else "exposure" if asked.filtered else "nd"


def exposure_of(asked: Asked, solved: Solved, on_hand: OnHand | None = None) -> Exposure:
    """The one quantity from the others, and what does not go together. Raises NoExposure for what no camera can do."""
    there = on_hand or OnHand()
    stops, value, text = _solve(asked, solved)
    stack = None
    if there.tray is not None and solved == "nd" and value is not None:
        stack = _nearest(there.tray, value)
        text += _stack_said(there.tray, stack)
    met = _meets(asked, solved, value, stack, there)
    return Exposure(solved, value, text, stops, *met, asked, tuple(_assumptions(asked, solved)))


def exposure_as_json(exposure: Exposure) -> dict[str, Any]:
    """An exposure as plain JSON values: the shape of ``tapehook exposure --json``."""
    return {
        "solved": exposure.solved,
        "value": exposure.value,
        "text": exposure.text,
        "stops_from_given": exposure.stops_off,
        "findings": [finding.as_json() for finding in exposure.findings],
        "ways_out": [
            {
                "way": way.way,
                "value": way.value,
                "brings_stops": way.stops,
                "left_stops": way.left,
                "depth_ratio": way.depth_ratio,
                "text": said,
            }
            for way, said in zip(exposure.ways, exposure.ways_said, strict=True)
        ],
        "assumptions": list(exposure.assumptions),
    }


# --- solving -----------------------------------------------------------------------------------------------------


def _solve(asked: Asked, solved: Solved) -> tuple[float | None, float | None, str]:
    """Stops off as everything was given (None where something was left out), the value found, and its text."""
    given = {
        "t_stop": asked.stop.exact if asked.stop else 1.0,
        "ei": asked.ei or 1.0,
        "time_s": asked.time_s or 1.0,
        "density": asked.density,
        "light_lux": asked.light_lux or 1.0,
    }
    if solved in {"nd", "exposure"}:
        off = float(stops_over(**given, meter_lx_s=asked.meter))
        return (off, *(_needed_nd(off) if solved == "nd" else (off, _off_text(off))))
    found = solve_exposure(_QUANTITY[solved], **given, meter_lx_s=asked.meter)
    match solved:
        case "stop":
            return None, *_stop(found)
        case "ei":
            return None, found, f"EI {found:.4g}"
        case "light":
            return None, *_light(asked, found)
        case "fps":
            return None, *_frame_rate(asked, found)
    return None, *_shutter(asked, found)


def _needed_nd(off: float) -> tuple[float | None, str]:
    """The density that takes what is over, None where light is missing instead."""
    if off < -FEW_STOPS:
        return None, f"no ND: the light is {format_thirds(-off)} short"
    density = max(off, 0.0) * float(1.0 / stops_of_density(1.0))
    return density, f"ND {format_density(density)}, {format_thirds(max(off, 0.0))}"


def _off_text(off: float) -> str:
    if abs(off) < FEW_STOPS:
        return "right"
    return f"{format_thirds(abs(off))} {'over' if off > 0 else 'under'}"


def _stop(found: float) -> tuple[float, str]:
    if not 0.5 <= found <= 128:
        said = f"would have to be T{found:.3g}, which no lens has; change the light, the ND or the EI"
        raise NoExposure("stop", "a stop between T0.5 and T128", said)
    return found, format_stop_in_thirds(found)


def _light(asked: Asked, lux: float) -> tuple[float, str]:
    """Lux, and both units in words."""
    foot_candles, other = f"{lux / LUX_PER_FOOT_CANDLE:.3g} fc", f"{lux:.3g} lx"
    return lux, f"{foot_candles}, {other}" if asked.imperial else f"{other}, {foot_candles}"


def _frame_rate(asked: Asked, time_s: float) -> tuple[float, str]:
    angle = asked.shutter.angle_deg if asked.shutter else None
    fps = (angle or math.nan) / (360.0 * time_s)
    if not SLOWEST_FPS <= fps <= FASTEST_FPS:
        said = f"would have to be {fps:.3g} frames a second; change the stop, the light or the EI"
        raise NoExposure("fps", "a frame rate a camera has", said)
    return fps, f"{fps:.4g} fps, {format_shutter_time(time_s)}"


def _shutter(asked: Asked, time_s: float) -> tuple[float, str]:
    """The angle at the frame rate given."""
    fps = asked.fps or math.nan
    angle = float(shutter_angle_deg(time_s, fps))
    if angle > 360.0 * (1.0 + 1e-9):
        short = format_thirds(math.log2(angle / 360.0))
        said = f"would have to be open longer than a frame at {fps:g} fps; {short} short with it fully open"
        raise NoExposure("shutter", "an exposure that fits in a frame", said)
    return angle, f"{format_angle(angle)}, {format_shutter_time(time_s)}"


# --- the tray ----------------------------------------------------------------------------------------------------


def _nearest(tray: Sequence[Filter], density: float) -> Stack | None:
    """The filters on hand that come nearest to a density; None where no ND is on hand. Indices into the tray."""
    picked = [at for at, one in enumerate(tray) if one.kind == "nd" and one.density is not None and one.count]
    if not picked:
        return None
    best = stacks_for(density, [tray[at].density or 0.0 for at in picked], [tray[at].count for at in picked])[0]
    return replace(best, filters=tuple(picked[at] for at in best.filters))


def _stack_said(tray: Sequence[Filter], best: Stack | None) -> str:
    """The stack in words that follow the density, colour and stacking as they were entered."""
    if best is None:
        return "; no ND is listed in the job"
    names = " + ".join(tray[at].id for at in best.filters) or "no filter"
    notes = {f"{tray[at].id}: {tray[at].colour}" for at in best.filters if tray[at].colour}
    notes |= {f"{tray[at].id}: {tray[at].stacking}" for at in best.filters if tray[at].stacking}
    off = ""
    if abs(best.stops_off) >= FEW_STOPS:
        off = f", {format_thirds(abs(best.stops_off))} too {'dense' if best.stops_off > 0 else 'thin'}"
    return f"; on hand {names}{off}" + "".join(f" ({note})" for note in sorted(notes))


# --- what does not go together -----------------------------------------------------------------------------------


Met = tuple[tuple[Finding, ...], tuple[WayOut, ...], float | None]


def _meets(asked: Asked, solved: Solved, value: float | None, stack: Stack | None, there: OnHand) -> Met:
    """What does not go together, the ways out of it, and the T-number these start from.

    The lens is opened no farther than it goes, and where an ND was asked for, the tray's nearest is in.
    """
    wanted = value if solved == "stop" else asked.stop.exact if asked.stop else None
    if wanted is None:
        return (), (), None
    t = max(wanted, there.widest_t or 0.0)
    found = [_too_wide(wanted, there)] if t > wanted * (1.0 + 1e-6) else []
    if solved in {"ei", "fps", "shutter", "light"} or asked.time_s is None:
        return tuple(found), (), t
    off, density = _still_off(asked, solved, value, stack, t)
    ways = _ways(replace(asked, density=density), t, off, there.widest_t)
    if abs(off) >= FEW_STOPS and not found:
        found = [_off_finding(off, t, stack)]
    step = "; or ".join(way_text(way, asked, t) for way in ways[:3])
    return tuple(replace(one, next_step=f"{step}.") if step else one for one in found), tuple(ways), t


def _still_off(asked: Asked, solved: Solved, value: float | None, stack: Stack | None, t: float) -> tuple[float, float]:
    """Stops over at a T-number with what is in front of the lens, and the density of that."""
    needed = (value or 0.0) if solved == "nd" and stack is None else 0.0
    density = asked.density + needed + (stack.density if stack else 0.0)
    rest = asked.ei or 1.0, asked.time_s or 1.0, density, asked.light_lux or 1.0
    return float(stops_over(t, *rest, asked.meter)), density


def _too_wide(wanted: float, there: OnHand) -> Finding:
    """The stop is wider than the lens opens."""
    assert there.lens is not None and there.widest_t is not None  # noqa: S101, PT018 - asked only where it is known
    missing = 2.0 * math.log2(there.widest_t / wanted)
    opens = format_stop(there.widest_t)
    said = f"{format_stop_in_thirds(wanted)} is {format_thirds(missing)} wider than {there.lens.id} opens, {opens}."
    figure = Figure(missing, "stops", None, opens)
    step = f"Plan for {opens}, or take a lens that opens farther."
    return Finding("exposure.lens", "fix", f"lens {there.lens.id}", said, step, figure, there.lens.id)


def _off_finding(off: float, t: float, stack: Stack | None) -> Finding:
    """The exposure is off at this stop, as it stands or with what the tray has."""
    stop = format_stop(t)
    said = f"At {stop} the exposure is {_off_text(off)}"
    code, subject = "exposure.light", "exposure"
    if stack is not None:
        code, subject, said = "exposure.filters", "filters", f"{said} with the filters on hand"
    severity: Severity = "fix" if abs(off) >= 1.0 else "watch"
    return Finding(code, severity, subject, f"{said}.", "", Figure(off, "stops", None, stop))


def _ways(asked: Asked, t: float, off: float, widest_t: float | None) -> list[WayOut]:
    """The ways out of an exposure that is off by so many stops at a stop; none when it is right."""
    time_s = asked.time_s
    if abs(off) < FEW_STOPS or time_s is None:
        return []
    fps = asked.fps or 0.5 / time_s  # a time without a speed: nothing is said of speeds below
    now = AsItStands(
        t_stop=t,
        ei=asked.ei or 1.0,
        frame_rate_fps=fps,
        angle_deg=float(shutter_angle_deg(time_s, fps)),
        density=asked.density,
        light_lux=asked.light_lux or 1.0,
        over_stops=off,
        widest_t=widest_t or 0.5,
    )
    return [way for way in ways_out(now) if not (asked.in_time and way.way in {"speed", "shutter"})]


def way_text(way: WayOut, asked: Asked, at_t: float) -> str:
    """One way out from a T-number: what to change, what it costs in depth, what of the exposure it leaves open."""
    left = f"; still {format_thirds(way.left)} off" if way.left >= FEW_STOPS else ""
    kept = ", the depth as it is"
    match way.way:
        case "light":
            said = f"{way.value / LUX_PER_FOOT_CANDLE:.3g} fc" if asked.imperial else f"{way.value:.3g} lx"
        case "ei":
            said = f"EI {way.value:.4g}"
        case "speed":
            said = f"{way.value:.4g} fps, movement looks different"
        case "shutter":
            said = f"{format_angle(way.value)}, movement looks different"
        case "nd":
            said = f"ND {format_density(way.value)} in all" if way.value > 0 else "no filter"
        case "stop":
            said, kept = f"{format_stop_in_thirds(way.value)}, with {100.0 * way.depth_ratio:.0f} % of the depth", ""
        case "lens":
            stop = format_stop_in_thirds(at_t * way.value**2)
            said, kept = f"{stop} and a lens {way.value:.2f} times as long, with the same depth", ""
        case "distance":
            stop = format_stop_in_thirds(at_t / way.value**2)
            said, kept = f"{stop} from {way.value:.2f} times as far, as much from near to far", ""
    return said + kept + left


def _assumptions(asked: Asked, solved: Solved) -> list[str]:
    """One sentence for each thing that was assumed, or that the figures rest on."""
    said = []
    constant = f"{asked.meter:.4g} lux seconds"
    said.append(
        f"An incident meter with the constant {constant}."
        if asked.meter_lx_s is not None
        else f"No meter constant given: {constant} is taken, the trade's 25 foot-candle seconds; many meters have 250."
    )
    said += asked.rests_on
    if asked.stop and asked.stop.scale is None:
        said.append(f"{asked.stop.label} is taken as a T-stop.")
    if asked.stop and abs(asked.stop.exact / asked.stop.number - 1.0) > 5e-3:
        said.append(f"{asked.stop.label} is taken as the exact stop, T{asked.stop.exact:.4g}.")
    if asked.in_time and asked.fps:
        said.append("The shutter is a time: the frame rate does not change the exposure.")
    if not asked.filtered and not asked.density and solved != "nd":
        said.append("No filter.")
    elif asked.density:
        took = format_thirds(float(stops_of_density(asked.density)))
        said.append(f"The filters given take {took} together, by their labels; measure those that matter.")
    return said
