"""Anamorphic lenses: the gap between the best focuses of their two directions, and the depth that serves both."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import ChartTest, Job, Lens
from tapehook.lens import LensMap
from tapehook.lens.flange import JUDGEMENT_USED
from tapehook.lens.map import Z95
from tapehook.notation import FULL_STOPS, format_distance, format_small_length
from tapehook.optics import Pupil
from tapehook.optics.anamorphic import Anamorphic, across_pupil, gap_used, widest_f_number
from tapehook.prep.basis import MM, Basis, Optics, stop_view
from tapehook.prep.flange import front_vergence
from tapehook.prep.focus import FocusRing, pupil_vergence, vergence_slope
from tapehook.prep.results import SensorShift, StopView
from tapehook.prep.shifts import state_of
from tapehook.prep.wording import Maker, depth_used, percent, width_text

TWO_DIRECTIONS = "two directions"
"""What the gap is called among the terms of a budget and of a shot."""
WATCH_FROM = 0.25
COMPARED_M = 3.0
"""Where the depth that serves both is told in metres, for a lens that focuses so near. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Gap:
    """How far apart the two directions are sharp: ``dpt`` with its sd at the front focal point, across minus along.

    Positive: across, told by upright lines, the ring has to stand nearer. ``pairs`` of charts found on both lines.
    """

    dpt: float
    sd_dpt: float
    pairs: int


def gap_of(lens: Lens, job: Job, basis: Basis, lens_map: LensMap | None) -> Gap | None:
    """The gap from charts found on both kinds of lines with nothing else changed; None without any pair."""
    optics = basis.optics
    if not lens.squeeze or lens_map is None or not lens_map.monotone or optics is None:
        return None
    pairs = list(_pairs(lens, job))
    if not pairs:
        return None
    distance = np.array([test.chart_distance_m for test, _ in pairs])
    with np.errstate(all="ignore"):
        slope = vergence_slope(lens_map, optics, distance)
        ratio = pupil_vergence(optics, distance) / front_vergence(distance, optics.focal_m, optics.pupil)
        moved = np.array([off for _, off in pairs]) * lens_map.toward_near / slope / ratio**2
        stops = np.array([test.t_stop or lens.t_stop or 2.0 for test, _ in pairs]) * math.sqrt(basis.transmission)
    width = stops * basis.coc_m / optics.focal_m**2
    noise = lens_map.reading_noise / slope
    sd = np.sqrt((JUDGEMENT_USED * width) ** 2 * (1.0 + lens.squeeze**2) + 2.0 * noise**2)
    fine = np.isfinite(moved) & np.isfinite(sd) & (sd > 0)
    if not fine.any():
        return None
    weight = 1.0 / sd[fine] ** 2
    mean = float(np.average(moved[fine], weights=weight))
    count = int(fine.sum())
    misfit = float((weight * (moved[fine] - mean) ** 2).sum()) / (count - 1) if count > 1 else 0.0
    return Gap(mean, math.sqrt(max(misfit, 1.0) / float(weight.sum())), count)


def _pairs(lens: Lens, job: Job) -> Iterator[tuple[ChartTest, float]]:
    """A chart and how much farther along the read-out its upright lines were sharp than its level ones."""
    found: dict[tuple[object, ...], dict[str, list[ChartTest]]] = defaultdict(lambda: defaultdict(list))
    for test in job.charts:
        if test.lens_id == lens.id and test.lines and test.position is not None:
            glass = state_of(test.rear_filter)
            place = (test.chart_distance_m, test.approach, test.camera, test.t_stop, test.focal_mm, glass)
            found[place][test.lines].append(test)
    for lines in found.values():
        if len(lines) == 2:
            upright, level = (float(np.mean([t.position for t in lines[kind]])) for kind in ("upright", "level"))
            yield lines["level"][0], upright - level


def gap_shift(lens: Lens, gap: Gap | None, optics: Optics | None) -> tuple[SensorShift, ...]:
    """The gap as a move of the sensor: what puts the ring between the two, and is then left of it along.

    Upright lines that want the ring nearer want it a part of the gap nearer than level lines do, as if the sensor came
    to lie too near.
    """
    if gap is None or optics is None or not lens.squeeze:
        return ()
    per_dpt = optics.focal_m**2 / (1.0 + lens.squeeze)
    kept = "strips and pulls stay where level lines are sharp"
    return (SensorShift(TWO_DIRECTIONS, -gap.dpt * per_dpt, sd_m=gap.sd_dpt * per_dpt, kept=kept),)


def anamorphic_of(lens: Lens, optics: Optics) -> Anamorphic:
    """The lens in both directions; the pupil across where it is written down, else at the place of that along."""
    squeeze = lens.squeeze or 1.0
    to_sensor_m = None if lens.pupil_across_to_sensor_mm is None else lens.pupil_across_to_sensor_mm * MM
    along = Pupil(optics.pupil.to_sensor_m, optics.pupil.magnification)
    return Anamorphic(optics.focal_m, squeeze, along, across_pupil(along, squeeze, to_sensor_m))


def anamorphic_findings(
    make: Maker, lens: Lens, job: Job, basis: Basis, ring: FocusRing, gap: Gap | None
) -> Iterator[Finding]:
    """What is said of the two directions of an anamorphic lens; nothing of any other."""
    optics, stop = basis.optics, basis.shooting or basis.widest
    if not lens.squeeze or lens.squeeze <= 1.0 or optics is None or stop is None or not optics.blur_m > 0:
        return
    if gap is None:
        tested = any(test.lens_id == lens.id and test.lines for test in job.charts)
        yield make(
            "anamorphic.untested",
            "info",
            f"It squeezes {lens.squeeze:g} times: shares are of the depth along the picture's height, across there is "
            f"{lens.squeeze:g} times as much; how far apart the two are sharp is not known"
            + (", as no chart has both kinds of lines." if tested else "."),
            "Find best focus on upright lines and on level lines of one chart, wide open, at three distances.",
        )
        return
    yield _gap(make, lens, basis, optics, ring.axis.lens_map, gap, stop)


def _gap(
    make: Maker, lens: Lens, basis: Basis, optics: Optics, lens_map: LensMap | None, gap: Gap, stop: StopView
) -> Finding:
    squeeze = lens.squeeze or 1.0
    share, spread = (
        float(gap_used(part, optics.focal_m, squeeze, stop.f_number, optics.blur_m))
        for part in (gap.dpt, Z95 * gap.sd_dpt)
    )
    widest = _from_stop(float(widest_f_number(gap.dpt, optics.focal_m, squeeze, optics.blur_m)), basis)
    said = f"{percent(share)} +- {percent(spread)} of the depth at {stop.text} that serves both"
    pairs = f"{gap.pairs} chart{'s' if gap.pairs > 1 else ''} on both lines"
    figure = depth_used(share, stop.text, spread)
    if share < spread and spread >= WATCH_FROM:
        message = f"Whether upright and level lines are sharp together cannot be told: apart they use {said} ({pairs})."
        step = "Find best focus on both kinds of lines again, wide open, at three distances, two times each."
        return make("anamorphic.gap_unsure", "watch", message, step, figure)
    if share < WATCH_FROM:
        message = f"Upright and level lines are sharp together: apart they use {said} ({pairs})."
        return make("anamorphic.gap_fine", "info", message, "Nothing; focus on either.", figure)
    way = "nearer" if gap.dpt > 0 else "farther"
    severity: Severity = "fix" if share >= 1.0 else "watch"
    turn = abs(gap.dpt) / (1.0 + squeeze) * (float(vergence_slope(lens_map, optics, math.inf)[0]) if lens_map else 0.0)
    return make(
        "anamorphic.gap",
        severity,
        f"Its upright lines are sharp {way} than its level ones, by {abs(gap.dpt):.3f} dpt: {said} ({pairs}); both "
        f"resolve from {widest} on{_room(lens, basis, optics, gap, stop)}.",
        f"Set focus between them: at infinity {width_text(turn, lens)} of ring {way} than level lines want; or stop "
        "down; joining them is a lens technician's work.",
        figure,
    )


def _room(lens: Lens, basis: Basis, optics: Optics, gap: Gap, stop: StopView) -> str:
    """The depth that serves both, where the lens is set to a distance people stand at; nothing where none is left."""
    # Upright lines that want the ring nearer are, at any one place of it, sharp farther away.
    near, far = (
        float(end) for end in anamorphic_of(lens, optics).both(COMPARED_M, stop.f_number, optics.blur_m, -gap.dpt)
    )
    at = format_distance(COMPARED_M, basis.system)
    if not near < COMPARED_M < far:
        return f"; at {stop.text} nothing is sharp in both at {at}"
    nearer, farther = (format_small_length(part, basis.system) for part in (COMPARED_M - near, far - COMPARED_M))
    return f"; at {at} and {stop.text} both are sharp {nearer} nearer and {farther} farther"


def _from_stop(f_number: float, basis: Basis) -> str:
    """The first usual stop at which both resolve, as printed; the lens's widest where that does."""
    t_number = f_number / math.sqrt(basis.transmission)
    if basis.widest is not None and t_number <= basis.widest.t_number:
        return basis.widest.text
    labels = [label for label, exact in FULL_STOPS if exact >= t_number * 0.995]
    return stop_view(float(labels[0]), basis.transmission).text if labels else "no stop"


def with_gap(
    shifts: Sequence[SensorShift], lens: Lens, gap: Gap | None, optics: Optics | None
) -> tuple[SensorShift, ...]:
    """The shifts of a lens with what the gap between its directions leaves."""
    return (*shifts, *gap_shift(lens, gap, optics))
