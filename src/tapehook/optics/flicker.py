"""Flicker: light that pulses, against the shutter and the frame rate.

Lamps on alternating current pulse at twice its frequency. A frame open for a whole number n of pulses, t = n/p, gathers
the same light whenever it begins: angle = 360 n r/p at r frames a second (Wikipedia, Shutter speed; the rule in
lighting tables). At rates p/k every frame meets the pulses at the same place, so any shutter holds, as long as camera
and mains keep their frequency.

Between safe settings: light 1 + m cos(2 pi p t) gives frames that differ by a part of m |sin(pi p t)|/(pi p t) to
either side of the mean, from most to least log2((1 + x)/(1 - x)) stops. m = 1, light that falls to nothing between
pulses, is the most such a lamp can do; filaments do less. Lamps dimmed by switching on and off are worse than this
where the pulses are short: a frame gains or loses a whole one.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics.exposure import shutter_time_s

Floats = npt.NDArray[np.float64]

USUAL_TOLERANCE_STOPS = 0.05
"""From most to least light of a run of frames, what passes as steady. Common practice, no source."""
_RAMP_STEPS = 4001


def mains_pulses_hz(mains_hz: float) -> float:
    """Pulses of light a second on mains of that frequency: two each cycle."""
    return 2.0 * mains_hz


def ripple_stops(time_s: npt.ArrayLike, pulse_rate_hz: float, modulation: float = 1.0) -> Floats:
    """Stops from brightest to darkest frame at shutter times of any shape; inf where a frame may get no light."""
    cycles = np.asarray(time_s, dtype=np.float64) * pulse_rate_hz
    part = modulation * np.abs(np.sinc(cycles))
    with np.errstate(divide="ignore"):
        stops: Floats = np.log2((1.0 + part) / (1.0 - part))
    return stops


@dataclass(frozen=True, slots=True)
class SafeShutter:
    """A shutter open for ``pulses`` whole pulses, and how far about it the ripple stays within the tolerance."""

    pulses: int
    angle_deg: float
    time_s: float
    from_deg: float
    to_deg: float


def safe_shutters(
    frame_rate_fps: float,
    pulse_rate_hz: float,
    tolerance_stops: float = USUAL_TOLERANCE_STOPS,
    modulation: float = 1.0,
    at_most: int = 1000,
) -> list[SafeShutter]:
    """Shutters that gather whole pulses at a frame rate, widest first; none where a frame is shorter than a pulse."""
    most = int(np.floor(pulse_rate_hz / frame_rate_fps * (1.0 + 1e-12)))
    allowed = _allowed_part(tolerance_stops) / modulation
    found = []
    for n in range(most, max(most - at_most, 0), -1):
        time = n / pulse_rate_hz
        low, high = (_edge(n, allowed, side) / pulse_rate_hz for side in (-1, 1))
        degrees = 360.0 * frame_rate_fps
        found.append(SafeShutter(n, time * degrees, time, low * degrees, min(high * degrees, 360.0)))
    return found


def any_shutter_from_s(
    pulse_rate_hz: float, tolerance_stops: float = USUAL_TOLERANCE_STOPS, modulation: float = 1.0
) -> float:
    """Time from which on every shutter is within the tolerance, whole pulses or not: m/(pi p t) <= what passes."""
    return modulation / (float(np.pi) * pulse_rate_hz * _allowed_part(tolerance_stops))


def in_step(frame_rate_fps: float, pulse_rate_hz: float) -> bool:
    """True when a frame takes a whole number of pulses: all frames are alike while camera and mains keep step."""
    pulses = pulse_rate_hz / frame_rate_fps
    return pulses > 0.5 and abs(pulses - round(pulses)) < 1e-6


def _allowed_part(tolerance_stops: float) -> float:
    """The part x of the mean with log2((1 + x)/(1 - x)) = tolerance: x = tanh(stops ln 2/2)."""
    return float(np.tanh(tolerance_stops * np.log(2.0) / 2.0))


def _edge(pulses: int, allowed: float, side: int) -> float:
    """Cycles at which |sinc| first reaches what is allowed, from a whole number outward to ``side``, by bisection.

    Stays within half a cycle: where the lobe never reaches it, the half cycle itself counts.
    """
    inside, outside = 0.0, 0.5
    for _ in range(60):
        middle = (inside + outside) / 2.0
        if abs(float(np.sinc(pulses + side * middle))) <= allowed:
            inside = middle
        else:
            outside = middle
    return pulses + side * inside


def synchronous_rates_fps(pulse_rate_hz: float, least_fps: float, most_fps: float) -> list[float]:
    """Frame rates p/k within limits, fastest first: safe with any shutter while camera and mains keep in step."""
    first, last = int(np.ceil(pulse_rate_hz / most_fps)), int(np.floor(pulse_rate_hz / least_fps))
    return [pulse_rate_hz / k for k in range(max(first, 1), last + 1)]


def whole_pulse_rates_fps(angle_deg: float, pulse_rate_hz: float, least_fps: float, most_fps: float) -> list[float]:
    """Frame rates at which a shutter angle gathers whole pulses, fastest first: r = p angle/(360 n)."""
    per_pulse = pulse_rate_hz * angle_deg / 360.0
    first, last = int(np.ceil(per_pulse / most_fps - 1e-9)), int(np.floor(per_pulse / least_fps + 1e-9))
    return [per_pulse / n for n in range(max(first, 1), last + 1)]


@dataclass(frozen=True, slots=True)
class UnsafeStretch:
    """Frame rates of a ramp, from slow to fast, where the ripple is over the tolerance, and the most it gets to."""

    from_fps: float
    to_fps: float
    worst_stops: float


def unsafe_in_ramp(
    from_fps: float,
    to_fps: float,
    pulse_rate_hz: float,
    *,
    angle_deg: float | None = None,
    time_s: float | None = None,
    tolerance_stops: float = USUAL_TOLERANCE_STOPS,
    modulation: float = 1.0,
) -> list[UnsafeStretch]:
    """Where a ramp between two frame rates crosses unsafe ground, with either the angle or the time kept.

    Rates p/k are no refuge, as a ramp only passes them. A stretch narrower than a 4,000th of the ramp may be missed.
    Raises ValueError unless just one of angle and time is given.
    """
    if (angle_deg is None) == (time_s is None):
        raise ValueError("a ramp keeps either the angle or the time")
    rates = np.linspace(min(from_fps, to_fps), max(from_fps, to_fps), _RAMP_STEPS)
    times = shutter_time_s(angle_deg, rates) if angle_deg is not None else np.full(rates.shape, time_s)
    ripple = ripple_stops(times, pulse_rate_hz, modulation)
    over = np.concatenate([[False], ripple > tolerance_stops, [False]])
    starts, ends = np.flatnonzero(~over[:-1] & over[1:]), np.flatnonzero(over[:-1] & ~over[1:])
    return [
        UnsafeStretch(float(rates[a]), float(rates[b - 1]), float(ripple[a:b].max()))
        for a, b in zip(starts, ends, strict=True)
    ]
