"""A ramp of the frame rate under lamps that pulse: where it flickers, what the exposure does, what is safe."""

import math
from typing import Any

from tapehook.notation import Shutter, format_shutter_time, format_thirds
from tapehook.optics.exposure import speed_change_stops
from tapehook.optics.flicker import unsafe_in_ramp


def ramp_as_json(
    shutter: Shutter, fps: float, to_fps: float, pulses_hz: float, *, tolerance_stops: float, modulation: float
) -> dict[str, Any]:
    """The ramp from ``fps`` to ``to_fps``, the shutter kept as it was given, an angle or a time: plain JSON values.

    ``pulses_hz`` of the lamps a second, ``modulation`` of their light (0 to 1], ``tolerance_stops`` from brightest to
    darkest frame. ``unsafe`` lists the stretches that flicker by more, ``text`` says it.
    """
    found = unsafe_in_ramp(
        fps,
        to_fps,
        pulses_hz,
        angle_deg=shutter.angle_deg,
        time_s=shutter.time_s,
        tolerance_stops=tolerance_stops,
        modulation=modulation,
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
        "text": _way_out(max(fps, to_fps), pulses_hz, lost, unsafe=found != []),
    }


def _way_out(fastest_fps: float, pulses_hz: float, lost: float, *, unsafe: bool) -> str:
    change = f"the exposure changes by {format_thirds(-lost)}" if abs(lost) > 1e-9 else "the exposure does not change"
    if not unsafe:
        return f"crosses no unsafe ground; {change}"
    longest = math.floor(pulses_hz / fastest_fps * (1.0 + 1e-12))
    if longest < 1:
        return f"crosses unsafe ground, and no shutter is safe at {fastest_fps:g} fps; {change}"
    time = format_shutter_time(longest / pulses_hz)
    return f"crosses unsafe ground; {change}. A shutter kept at {time} is safe throughout"
