"""What ``tapehook flicker`` answers: safe shutters and speeds, a shutter judged, a ramp walked through."""

import math
from collections.abc import Mapping
from typing import Any

from tapehook.cli.exposure_answer import OptionReader
from tapehook.notation import (
    Shutter,
    format_angle,
    format_shutter_time,
    parse_share,
    parse_shutter,
)
from tapehook.optics.exposure import shutter_angle_deg, shutter_time_s
from tapehook.optics.flicker import (
    USUAL_TOLERANCE_STOPS,
    any_shutter_from_s,
    in_step,
    mains_pulses_hz,
    ripple_stops,
    safe_shutters,
    synchronous_rates_fps,
    whole_pulse_rates_fps,
)
from tapehook.prep.exposure import FRAME_RATE, number_between
from tapehook.prep.speed_ramp import ramp_as_json

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
    return ramp_as_json(shutter, fps, to_fps, pulses, tolerance_stops=tolerance, modulation=depth)


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
