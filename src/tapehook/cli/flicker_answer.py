"""What ``tapehook flicker`` answers: safe shutters and speeds, a shutter judged, a ramp walked through."""

import math
from collections.abc import Mapping
from typing import Any

from tapehook.cli.exposure_answer import OptionReader
from tapehook.notation import (
    Shutter,
    format_angle,
    format_shutter_time,
    format_thirds,
    parse_share,
    parse_shutter,
)
from tapehook.optics.exposure import shutter_angle_deg, shutter_time_s, speed_change_stops
from tapehook.optics.flicker import (
    USUAL_TOLERANCE_STOPS,
    any_shutter_from_s,
    in_step,
    mains_pulses_hz,
    ripple_stops,
    safe_shutters,
    synchronous_rates_fps,
    unsafe_in_ramp,
    whole_pulse_rates_fps,
)
from tapehook.prep.exposure import FRAME_RATE, number_between

_MOST_LISTED = 12
_SLOWEST_LISTED, _FASTEST_LISTED = 8.0, 120.0


def flicker_answer(typed: Mapping[str, str | None]) -> dict[str, Any]:
    """The JSON object of ``tapehook flicker``. Raises Refusal with everything that cannot be read."""
    read = OptionReader(typed)
    fps, pulses = read("fps", FRAME_RATE), _pulse_rate(read, typed)
    shutter, to_fps = read("shutter", parse_shutter), read("to_fps", FRAME_RATE)
    tolerance = read("tolerance", number_between(0.001, 1.0, "stops from 0.001 to 1, such as 0.05"))
    depth = read("depth", parse_share)
    if typed.get("fps") is None:
        read.refuse("fps", "a frame rate such as 24", "not given, expected a frame rate such as 24")
    if typed.get("to_fps") and typed.get("shutter") is None:
        read.refuse("shutter", "the shutter of the ramp", "not given, expected the shutter of the ramp")
    if shutter and shutter.time_s and max(fps or 0.0, to_fps or 0.0) * shutter.time_s > 1.0 + 1e-9:
        said = f"does not fit a frame at {max(fps or 0.0, to_fps or 0.0):g} fps"
        read.refuse("shutter", "a time that fits a frame", said)
    read.finish()
    assert fps is not None  # noqa: S101 - finish() has refused what is missing
    assert pulses is not None  # noqa: S101
    allowed = USUAL_TOLERANCE_STOPS if tolerance is None else tolerance
    modulation = 1.0 if depth is None else depth
    return {
        "fps": fps,
        "pulse_rate_hz": pulses,
        "tolerance_stops": allowed,
        "safe": _safe(fps, pulses, allowed, modulation),
        "any_shutter_from_deg": _any_from_deg(fps, pulses, allowed, modulation),
        "in_step": in_step(fps, pulses),
        "safe_frame_rates_fps": _rates(synchronous_rates_fps(pulses, _SLOWEST_LISTED, _FASTEST_LISTED)),
        "asked": _asked(shutter, fps, pulses, allowed, modulation),
        "ramp": _ramp(shutter, fps, to_fps, pulses, allowed, modulation),
        "assumptions": _assumptions(typed),
    }


def _pulse_rate(read: OptionReader, typed: Mapping[str, str | None]) -> float | None:
    """Pulses a second, from the mains or as typed; just one of the two."""
    mains = read("mains", number_between(10.0, 1000.0, "a frequency from 10 to 1000 Hz, such as 50"))
    pulses = read("pulses", number_between(1.0, 1e6, "pulses a second from 1 to 1000000, such as 100"))
    if (typed.get("mains") is None) == (typed.get("pulses") is None):
        said = "not given, expected 50 or 60, or --pulses" if typed.get("mains") is None else "not both with --pulses"
        read.refuse("mains", "one of --mains and --pulses", said)
    return mains_pulses_hz(mains) if mains is not None else pulses


def _safe(fps: float, pulses: float, tolerance: float, modulation: float) -> list[dict[str, Any]]:
    """The widest safe shutters."""
    found = safe_shutters(fps, pulses, tolerance, modulation, _MOST_LISTED)
    return [
        {
            "pulses": one.pulses,
            "angle_deg": one.angle_deg,
            "time_s": one.time_s,
            "time_text": format_shutter_time(one.time_s),
            "from_deg": one.from_deg,
            "to_deg": one.to_deg,
        }
        for one in found
    ]


def _any_from_deg(fps: float, pulses: float, tolerance: float, modulation: float) -> float | None:
    """Angle from which on any shutter passes; None where that is more than a frame."""
    angle = float(shutter_angle_deg(any_shutter_from_s(pulses, tolerance, modulation), fps))
    return angle if angle <= 360.0 else None


def _rates(rates: list[float]) -> list[float]:
    return rates[:_MOST_LISTED]


def _asked(shutter: Shutter | None, fps: float, pulses: float, tolerance: float, depth: float) -> dict[str, Any] | None:
    """The shutter typed, judged at the frame rate."""
    if shutter is None:
        return None
    time = shutter.time_s or float(shutter_time_s(shutter.angle_deg or math.nan, fps))
    angle = shutter.angle_deg or float(shutter_angle_deg(time, fps))
    ripple = float(ripple_stops(time, pulses, depth))
    return {
        "angle_deg": angle,
        "time_s": time,
        "text": f"{format_angle(angle)}, {format_shutter_time(time)}",
        "ripple_stops": ripple if math.isfinite(ripple) else None,
        "safe": ripple <= tolerance,
        "safe_frame_rates_fps": _rates(whole_pulse_rates_fps(angle, pulses, _SLOWEST_LISTED, _FASTEST_LISTED)),
    }


def _ramp(
    shutter: Shutter | None, fps: float, to_fps: float | None, pulses: float, tolerance: float, depth: float
) -> dict[str, Any] | None:
    """The ramp from the frame rate to ``to_fps``, the shutter kept as it was typed."""
    if to_fps is None or shutter is None:
        return None
    found = unsafe_in_ramp(
        fps,
        to_fps,
        pulses,
        angle_deg=shutter.angle_deg,
        time_s=shutter.time_s,
        tolerance_stops=tolerance,
        modulation=depth,
    )
    keep: Any = "angle" if shutter.angle_deg else "time"
    lost = float(speed_change_stops(fps, to_fps, keep=keep))
    return {
        "to_fps": to_fps,
        "stops_lost": lost,
        "unsafe": [
            {
                "from_fps": one.from_fps,
                "to_fps": one.to_fps,
                "worst_stops": one.worst_stops if math.isfinite(one.worst_stops) else None,
            }
            for one in found
        ],
        "text": _way_out(found != [], max(fps, to_fps), pulses, lost),
    }


def _way_out(unsafe: bool, fastest_fps: float, pulses: float, lost: float) -> str:  # noqa: FBT001 - a verdict passed on
    change = f"the exposure changes by {format_thirds(-lost)}" if abs(lost) > 1e-9 else "the exposure does not change"
    if not unsafe:
        return f"crosses no unsafe ground; {change}"
    longest = math.floor(pulses / fastest_fps * (1.0 + 1e-12))
    if longest < 1:
        return f"crosses unsafe ground, and no shutter is safe at {fastest_fps:g} fps; {change}"
    time = format_shutter_time(longest / pulses)
    return f"crosses unsafe ground; {change}. A shutter kept at {time} is safe throughout"


def _assumptions(typed: Mapping[str, str | None]) -> list[str]:
    """One sentence for each thing that was assumed."""
    said = []
    if typed.get("depth") is None:
        said.append("Light that falls to nothing between pulses, as a wave: most lamps on mains do less.")
    if typed.get("tolerance") is None:
        said.append(f"{USUAL_TOLERANCE_STOPS:g} stop from brightest to darkest frame passes; no source.")
    said.append(
        "Frame rates in step hold only while camera and mains keep their frequency; a drift shows as slow pumping."
    )
    said.append("Dimmed LEDs may pulse at any rate, in short flashes: ask for the rate, and test on the day.")
    return said
