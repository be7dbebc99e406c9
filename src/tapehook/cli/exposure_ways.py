"""What ``tapehook exposure`` was asked, the filters on hand that make an ND, and the ways out in words."""

import math
from dataclasses import dataclass
from pathlib import Path

from tapehook.cli.refusals import plain
from tapehook.notation import (
    LUX_PER_FOOT_CANDLE,
    Shutter,
    Stop,
    format_angle,
    format_density,
    format_stop_in_thirds,
    format_thirds,
)
from tapehook.optics.exposure import shutter_angle_deg, shutter_time_s
from tapehook.shot.ways_out import AsItStands, WayOut, ways_out

_FEW_STOPS = 0.05


@dataclass(frozen=True, slots=True)
class Asked:
    """What was typed, read: None where nothing was given. ``density`` is that of all filters."""

    stop: Stop | None
    ei: float | None
    fps: float | None
    shutter: Shutter | None
    light_lux: float | None
    density: float
    filtered: bool
    meter_lx_s: float
    imperial: bool

    @property
    def time_s(self) -> float | None:
        """How long the shutter is open, where that is known."""
        if self.shutter is None or (self.shutter.time_s is None and self.fps is None):
            return None
        return self.shutter.time_s or float(shutter_time_s(self.shutter.angle_deg or math.nan, self.fps or math.nan))


def on_hand(folder: Path, density: float) -> str:
    """The filters of a job that come nearest to a density, in words that follow it; JobProblems if unreadable."""
    from tapehook.job import read_job
    from tapehook.optics.filters import stacks_for

    tray = [one for one in read_job(folder).filters if one.kind == "nd" and one.density is not None and one.count]
    if not tray:
        return "; no ND is listed in the job"
    best = stacks_for(density, [one.density or 0.0 for one in tray], [one.count for one in tray])[0]
    names = " + ".join(plain(tray[at].id) for at in best.filters) or "no filter"
    notes = {plain(f"{tray[at].id}: {tray[at].colour}") for at in best.filters if tray[at].colour}
    notes |= {plain(f"{tray[at].id}: {tray[at].stacking}") for at in best.filters if tray[at].stacking}
    off = ""
    if abs(best.stops_off) >= _FEW_STOPS:
        off = f", {format_thirds(abs(best.stops_off))} too {'dense' if best.stops_off > 0 else 'thin'}"
    return f"; on hand {names}{off}" + "".join(f" ({note})" for note in sorted(notes))


def ways_in_words(asked: Asked, off: float) -> list[str]:
    """The ways out of an exposure that is off by so many stops, a sentence each; none when it is right."""
    if abs(off) < _FEW_STOPS or asked.stop is None or not asked.time_s:
        return []
    fps = asked.fps or 0.5 / asked.time_s  # a time without a speed: nothing is said of speeds below
    now = AsItStands(
        t_stop=asked.stop.exact,
        ei=asked.ei or 1.0,
        frame_rate_fps=fps,
        angle_deg=float(shutter_angle_deg(asked.time_s, fps)),
        density=asked.density,
        light_lux=asked.light_lux or 1.0,
        over_stops=off,
    )
    in_time = asked.shutter is None or asked.shutter.time_s is not None
    return [_words(way, asked) for way in ways_out(now) if not (in_time and way.way in {"speed", "shutter"})]


def _words(way: WayOut, asked: Asked) -> str:
    """One way out, with what it costs and what it leaves."""
    left = f"; still {format_thirds(way.left)} off" if way.left >= _FEW_STOPS else ""
    wanted = asked.stop.exact if asked.stop else math.nan
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
            said = f"{format_stop_in_thirds(way.value)}, with {100.0 * way.depth_ratio:.0f} % of the depth"
        case "lens":
            stop = format_stop_in_thirds(wanted * way.value**2)
            said = f"{stop} and a lens {way.value:.2f} times as long, with the same depth"
        case "distance":
            stop = format_stop_in_thirds(wanted / way.value**2)
            said = f"{stop} from {way.value:.2f} times as far, as much from near to far"
    return said + left
