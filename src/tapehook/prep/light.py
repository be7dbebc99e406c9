"""Light across the set: engraved stops against what they pass, lens against lens, and ramping."""

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapehook.finding import Figure, Finding
from tapehook.job.records import Job, Lens, LightTest
from tapehook.lens.light import TOLERANCE_STOPS, LevelLine, against_the_rest, level_line, repeat_sd
from tapehook.lens.map import Z95
from tapehook.notation import format_stop
from tapehook.prep.basis import lens_title
from tapehook.prep.wording import Maker

SURE_Z = 3.0
"""A ramp is told from chance at three standard deviations: among the lenses of a set two would turn up by chance."""
_SAME_STOP = 0.02
"""T-numbers closer than this share are one engraved stop."""
_ASSUMED = " No setting was measured often enough to tell how well levels repeat: 0.05 stop assumed."


@dataclass(frozen=True, slots=True)
class Level:
    """The mean level of one setting of one lens, stops against the reference, with its standard deviation."""

    t_stop: float
    focal_mm: float | None
    stops: float
    sd: float


@dataclass(frozen=True, slots=True)
class SetLight:
    """All levels by lens; ``sd`` of one level, and whether repeats said so."""

    levels: dict[str, list[Level]]
    sd: float
    sd_measured: bool


def light_findings(job: Job) -> list[Finding]:
    """What the light tests of a job give rise to, lens by lens and for the set; nothing without any."""
    light = set_light(job)
    if not light.levels:
        return []
    found: list[Finding] = []
    for lens in job.lenses:
        if lens.id in light.levels:
            make = Maker(lens, lens_title(lens))
            found += [*_off(make, light, light.levels[lens.id]), *_along_the_zoom(make, light.levels[lens.id])]
    found += _over_stops(job, light)
    found += _set(job, light)
    return found


def set_light(job: Job) -> SetLight:
    """The light tests of a job, settings measured more than once brought together."""
    groups: dict[tuple[str, float, float | None], list[float]] = defaultdict(list)
    for test in job.tstops:
        groups[test.lens_id, _stop_of(test, groups), test.focal_mm].append(test.level_stops)
    sd, measured = repeat_sd(list(groups.values()))
    levels: dict[str, list[Level]] = defaultdict(list)
    for (lens_id, t_stop, focal_mm), found in groups.items():
        # Levels that repeat to the last digit are rounded, not perfect: never surer than a hundredth.
        one = max(sd, 0.01) / math.sqrt(len(found))
        levels[lens_id].append(Level(t_stop, focal_mm, float(np.mean(found)), one))
    return SetLight(dict(levels), sd, measured)


def _stop_of(test: LightTest, groups: dict[tuple[str, float, float | None], list[float]]) -> float:
    """The T-number of the test, as it was first written for that lens."""
    known = (t for lens_id, t, _ in groups if lens_id == test.lens_id)
    return next((t for t in known if abs(t / test.t_stop - 1.0) < _SAME_STOP), test.t_stop)


def _stops_open(level: Level) -> float:
    """Stops down from T1 of an engraved stop."""
    return 2.0 * math.log2(level.t_stop)


def _line(levels: list[Level]) -> LevelLine:
    """A line over stops."""
    return level_line([_stops_open(one) for one in levels], [one.stops for one in levels], [one.sd for one in levels])


def _at_one_focal(levels: list[Level]) -> list[Level]:
    """The levels a lens is judged by over its stops: of a zoom, those at one focal length, the one most measured."""
    by_focal: dict[float | None, list[Level]] = defaultdict(list)
    for one in levels:
        by_focal[one.focal_mm].append(one)
    return max(by_focal.values(), key=len)


def _say(stops: float, half: float | None = None) -> str:
    spread = "" if half is None else f" +- {half:.2f}"
    return f"{abs(stops):.2f}{spread} stop {'brighter' if stops > 0 else 'darker'}"


def _why(worst: Level, levels: list[Level]) -> str:
    """What the other stops of the lens say about the cause."""
    off = {one.t_stop: abs(one.stops) > TOLERANCE_STOPS and one.stops * worst.stops > 0 for one in levels}
    if len(off) == 1:
        return "measure its other stops too: they tell a wrong engraving from a wrong iris scale."
    if all(off.values()):
        return "it is so at every stop measured: write the true stops on a label of your own, or have it re-marked."
    return "other stops are right: have a technician look at the iris scale."


def _off(make: Maker, light: SetLight, levels: list[Level]) -> Iterator[Finding]:
    """The setting of a lens that is farthest beyond a sixth of a stop, if one is."""
    worst = max(levels, key=lambda one: abs(one.stops))
    if abs(worst.stops) <= TOLERANCE_STOPS:
        return
    half = Z95 * worst.sd
    sure = abs(worst.stops) - half > TOLERANCE_STOPS
    true_t = worst.t_stop * 2.0 ** (-worst.stops / 2.0)
    where = f"{format_stop(worst.t_stop)}{f' and {worst.focal_mm:g} mm' if worst.focal_mm else ''}"
    doubt = "" if sure else ", which may still be within the sixth of a stop an engraving is allowed"
    change = f"Give it {abs(worst.stops):.1f} stop {'less' if worst.stops > 0 else 'more'} light at {where}"
    step = f"{change}; {_why(worst, levels)}"
    if not sure:
        step = "Measure it again, twice or more, to be sure." + ("" if light.sd_measured else _ASSUMED)
    yield make(
        "light.off",
        "watch" if sure else "info",
        f"At {where} it passes {_say(worst.stops, half)} than the set's reference{doubt}: "
        f"the true stop is T{true_t:.2f}.",
        step,
        Figure(worst.stops, "stops", half),
    )


def _along_the_zoom(make: Maker, levels: list[Level]) -> Iterator[Finding]:
    """Light lost along the range of a zoom at one stop: the stop with the largest change."""
    by_stop: dict[float, list[Level]] = defaultdict(list)
    for one in levels:
        if one.focal_mm:
            by_stop[one.t_stop].append(one)
    found = []
    for t_stop, some in by_stop.items():
        wide, long = min(some, key=lambda one: one.focal_mm or 0.0), max(some, key=lambda one: one.focal_mm or 0.0)
        change, sd = long.stops - wide.stops, math.hypot(long.sd, wide.sd)
        if wide.focal_mm != long.focal_mm and abs(change) > max(TOLERANCE_STOPS, SURE_Z * sd):
            found.append((abs(change), change, Z95 * sd, t_stop, wide, long))
    if not found:
        return
    _, change, half, t_stop, wide, long = max(found, key=lambda row: row[0])
    yield make(
        "light.ramps_zoom",
        "watch",
        f"It ramps: at {format_stop(t_stop)} the long end, {long.focal_mm:g} mm, is {_say(change, half)} than "
        f"{wide.focal_mm:g} mm.",
        "Stop down until it holds through the range, or do not zoom in the shot at this stop.",
        Figure(change, "stops", half),
    )


def _over_stops(job: Job, light: SetLight) -> Iterator[Finding]:
    """Lenses whose light changes over the stops otherwise than that of the rest."""
    lenses: list[tuple[Lens, LevelLine]] = []
    for lens in job.lenses:
        line = _line(_at_one_focal(light.levels[lens.id])) if lens.id in light.levels else None
        if line is not None and line.span > 0:
            lenses.append((lens, line))
    if len(lenses) < 2:
        return
    slopes, sds = against_the_rest([line.slope for _, line in lenses], [line.slope_sd for _, line in lenses])
    for (lens, line), slope, sd in zip(lenses, slopes.tolist(), sds.tolist(), strict=True):
        ramp, half = slope * line.span, Z95 * sd * line.span
        if abs(ramp) <= max(TOLERANCE_STOPS, SURE_Z * sd * line.span):
            continue
        yield Maker(lens, lens_title(lens))(
            "light.ramps_stops",
            "watch",
            f"Over the {line.span:.0f} stops measured its light drifts {_say(ramp, half)} stopping down, "
            "against the rest of the set.",
            "Expect a jump where this lens cuts against another at a small stop; have the iris scale looked at.",
            Figure(ramp, "stops", half),
        )


def _set(job: Job, light: SetLight) -> Iterator[Finding]:
    """How far apart the lenses of the set are, each over all it was measured at, and where the whole set lies."""
    means = {lens.id: _mean(light.levels[lens.id]) for lens in job.lenses if lens.id in light.levels}
    assumed = "" if light.sd_measured else _ASSUMED
    if len(means) < 2:
        return
    brightest, darkest = (pick(means, key=lambda name: means[name][0]) for pick in (max, min))
    spread = means[brightest][0] - means[darkest][0]
    half = Z95 * math.hypot(means[brightest][1], means[darkest][1])
    wide = spread - half > 2.0 * TOLERANCE_STOPS
    yield Finding(
        "light.spread",
        "watch" if wide else "info",
        "job",
        f"The {len(means)} lenses measured differ by {spread:.2f} +- {half:.2f} stop in light: lens {brightest} is the "
        f"brightest, {darkest} the darkest.",
        ("Trim the stop by the figures beside each lens when these two cut together." if wide else "Nothing; keep it.")
        + assumed,
        Figure(spread, "stops", half),
    )
    middle = float(np.median([mean for mean, _ in means.values()]))
    if abs(middle) > TOLERANCE_STOPS and len(means) >= 3:
        yield Finding(
            "light.reference",
            "watch",
            "job",
            f"The whole set reads {_say(middle)} than its reference: more likely the reference is off than every lens.",
            "Measure the reference again before any lens is blamed.",
            Figure(middle, "stops"),
        )


def _mean(levels: list[Level]) -> tuple[float, float]:
    line = _line(levels)
    return line.level, line.level_sd
