"""A stop that is wanted and a light that gives another: what can be changed, and what each change costs.

Short of light, each way out brings some stops: more light, a higher EI, a slower speed, a wider shutter, filters taken
out. Or the stop is opened, and the depth asked for is had by a wider lens or from farther away: the half-width of the
depth in vergence is N c/f^2, so a focal length smaller by sqrt(N'/N) holds it at N'; and near to far is some
2 N c u^2/f^2, so a distance larger by sqrt(N/N') does. With too much light the same things run the other way, and the
depth, where it is touched at all, only grows.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

Way = Literal["light", "ei", "speed", "shutter", "nd", "stop", "lens", "distance"]

_SLIGHT = 1e-9


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way out.

    ``value`` is what to go to: lux, EI, frames a second, degrees, density, T-number; for lens and distance the factor
    on focal length and distance at the stop the light gives. ``stops`` is what it brings of those missing (takes of
    those over), ``left`` what then is still off, 0 when it does all alone. ``depth_ratio`` is the half-width of the
    depth in vergence against that at the wanted stop.
    """

    way: Way
    value: float
    stops: float
    left: float
    depth_ratio: float


@dataclass(frozen=True, slots=True)
class AsItStands:
    """What is set, and the stop wanted: T-number, EI, frames a second, shutter angle in degrees, density, lux.

    ``over_stops`` is how far the exposure is over at the wanted stop, below 0 when under.
    """

    t_stop: float
    ei: float
    frame_rate_fps: float
    angle_deg: float
    density: float
    light_lux: float
    over_stops: float
    widest_t: float = 0.5
    smallest_t: float = 128.0


def ways_out(now: AsItStands) -> list[WayOut]:
    """Each way out of an exposure that is over or under, those that do it alone first; none when it is right.

    The shutter goes to 360 degrees at most, filters come out down to none, the stop stays within the lens.
    """
    off = now.over_stops
    if abs(off) < _SLIGHT:
        return []
    factor = 2.0**-off  # more than 1 when light is missing
    found = [
        _whole("light", now.light_lux * factor, off),
        _whole("ei", now.ei * factor, off),
        _whole("speed", now.frame_rate_fps / factor, off),
        _shutter(now, factor),
        _nd(now),
        *_by_stop(now),
    ]
    useful = [way for way in found if way.stops > _SLIGHT]
    return sorted(useful, key=lambda way: way.left > _SLIGHT)


def _whole(way: Way, value: float, off: float) -> WayOut:
    """A way that brings all that is off and leaves the depth alone."""
    return WayOut(way, value, abs(off), 0.0, 1.0)


def _shutter(now: AsItStands, factor: float) -> WayOut:
    angle = min(now.angle_deg * factor, 360.0)
    brought = abs(float(np.log2(angle / now.angle_deg)))
    return WayOut("shutter", angle, brought, max(abs(now.over_stops) - brought, 0.0), 1.0)


def _nd(now: AsItStands) -> WayOut:
    """Filters taken out, or put in."""
    wanted = now.density + now.over_stops * np.log10(2.0)
    density = max(float(wanted), 0.0)
    brought = abs(density - now.density) / float(np.log10(2.0))
    return WayOut("nd", density, brought, max(abs(now.over_stops) - brought, 0.0), 1.0)


def _by_stop(now: AsItStands) -> list[WayOut]:
    """The stop moved to what the light gives; with less depth, also the lens and the distance that keep the depth."""
    t = float(np.clip(now.t_stop * 2.0 ** (now.over_stops / 2.0), now.widest_t, now.smallest_t))
    brought = abs(2.0 * float(np.log2(t / now.t_stop)))
    left, ratio = max(abs(now.over_stops) - brought, 0.0), t / now.t_stop
    ways = [WayOut("stop", t, brought, left, ratio)]
    if now.over_stops < 0:
        ways.append(WayOut("lens", float(np.sqrt(ratio)), brought, left, 1.0))
        ways.append(WayOut("distance", float(1.0 / np.sqrt(ratio)), brought, left, ratio))
    return ways
