"""Charts of known width: what each says of the magnification of its lens, and the pupil that follows from all."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tapehook.job.records import Camera, ChartTest, Job, Lens
from tapehook.lens.taping import taping_sd_m
from tapehook.optics import ChartPupil, magnification_sd, pupil_from_charts

MM = 1e-3
SAME_FOCAL = 0.02
"""A chart counts for a focal length within this share of it."""

Unusable = Literal["no_width", "no_fill", "no_sensor", "other_focal"]
"""Why a chart gives no magnification."""


@dataclass(frozen=True, slots=True)
class WidthChart:
    """One chart in focus: its distance from the image plane, m, the standard deviation of ln m, and the part filled."""

    distance_m: float
    magnification: float
    log_sd: float
    fill: float
    written: str | None


@dataclass(frozen=True, slots=True)
class MeasuredPupil:
    """What the charts of a lens say; ``plausible`` False when no lens could look like that."""

    found: ChartPupil
    charts: tuple[WidthChart, ...]
    plausible: bool


def unusable_charts(lens: Lens, job: Job) -> Iterator[tuple[ChartTest, Unusable]]:
    """The charts of ``lens`` that were meant to give the magnification and do not, with the reason."""
    for test in job.charts:
        if test.lens_id == lens.id and (test.chart_width_m or test.frame_fill) and lens.focal_mm:
            reason = _reason(test, lens, job)
            if reason:
                yield test, reason


def width_charts(lens: Lens, job: Job) -> tuple[WidthChart, ...]:
    """The charts of ``lens`` that give the magnification at the focal length of its depth, nearest first."""
    found = []
    for test in job.charts:
        if test.lens_id != lens.id or not test.chart_width_m or not test.frame_fill or _reason(test, lens, job):
            continue
        m = test.frame_fill * (sensor_width_m(test, lens, job) or 0.0) / test.chart_width_m
        sd = float(magnification_sd(test.frame_fill))
        found.append(WidthChart(test.chart_distance_m, m, sd, test.frame_fill, test.written))
    return tuple(sorted(found, key=lambda chart: chart.distance_m))


def measured_pupil(lens: Lens, job: Job) -> MeasuredPupil | None:
    """The pupil of ``lens`` from its charts of known width; None without any that can be used."""
    charts = width_charts(lens, job)
    if not charts or not lens.focal_mm:
        return None
    distance = np.array([chart.distance_m for chart in charts])
    found = pupil_from_charts(
        lens.focal_mm * MM,
        distance,
        [chart.magnification for chart in charts],
        taping_sd_m(distance),
        [chart.log_sd for chart in charts],
        lens.focuses_by,
    )
    smaller = all(chart.magnification < 1.0 for chart in charts)
    return MeasuredPupil(found, charts, found.plausible and smaller)


def sensor_width_m(test: ChartTest, lens: Lens, job: Job) -> float | None:
    """Width of the recorded area on the test's camera, metres; else of those that carry the lens, if all agree."""
    letters = (test.camera or lens.camera or "").split()
    cameras: list[Camera] = [camera for camera in job.cameras if not letters or camera.letter in letters]
    widths = {camera.sensor_width_mm for camera in cameras}
    width = widths.pop() if len(widths) == 1 else None
    return width * MM if width else None


def _reason(test: ChartTest, lens: Lens, job: Job) -> Unusable | None:
    """Why the chart gives no magnification at the lens's focal length; None when it does."""
    if not test.chart_width_m:
        return "no_width"
    if not test.frame_fill:
        return "no_fill"
    assert lens.focal_mm is not None  # noqa: S101 - the callers have looked
    if test.focal_mm is None:
        if lens.kind == "zoom":
            return "other_focal"
    elif abs(test.focal_mm / lens.focal_mm - 1.0) > SAME_FOCAL:
        return "other_focal"
    return None if sensor_width_m(test, lens, job) else "no_sensor"
