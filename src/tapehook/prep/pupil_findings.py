"""What charts of known width say of a lens: how sure its depth is, whether typed pupil data agree, its breathing."""

import math
from collections.abc import Iterator

import numpy as np

from tapehook.finding import Figure, Finding
from tapehook.job.records import Job, Lens
from tapehook.lens.map import Z95
from tapehook.lens.taping import taping_sd_m
from tapehook.notation import format_distance
from tapehook.optics import SURE_FILL, Pupil, depth_uncertainty, field_scale, focus_state
from tapehook.optics.charts import EDGE_DISTORTION
from tapehook.prep.basis import MM, Basis, width_spread
from tapehook.prep.charts import MeasuredPupil, Unusable, WidthChart, measured_pupil, unusable_charts
from tapehook.prep.wording import Maker

WORTH_DIFFERING = 0.02
"""A difference of the width of the depth smaller than this is not worth a word."""
APART = 1.1
"""Charts whose distances differ by less than this factor say nothing about breathing."""
UNIT = "% of width"


def pupil_findings(make: Maker, lens: Lens, job: Job, basis: Basis) -> Iterator[Finding]:
    """All that the charts of one lens give rise to."""
    if basis.optics is None:
        return
    yield from _unusable(make, lens, job, basis)
    measured = measured_pupil(lens, job)
    if measured is None:
        return
    if not measured.plausible:
        yield _implausible(make, measured, basis)
        return
    if not measured.found.agrees:
        yield _misfit(make, measured)
    if basis.optics.pupil_source == "charts":
        yield _measured(make, measured, basis)
    else:
        yield from _against_typed(make, measured, basis)
    yield from _near_edge(make, measured, basis)
    yield from _breathing(make, measured, basis)


def _where(chart: WidthChart, basis: Basis) -> str:
    return chart.written or format_distance(chart.distance_m, basis.system)


_WANTED: dict[Unusable, tuple[str, str]] = {
    "no_width": ("its width is not written down", "Measure the chart between its edge marks: column chart_width."),
    "no_fill": (
        "the part of the picture it fills is not written down",
        "Read it off the monitor, best a quarter of the image width: column frame_fill.",
    ),
    "no_sensor": (
        "the width of the recorded area is not known",
        "Write sensor_width_mm under the camera in job.toml, and the camera's letter beside the chart.",
    ),
    "other_focal": (
        "it does not say that it was shot at the long end, where depth is worked out",
        "Shoot it at the long end and write the focal length beside it: column focal_mm of charts.csv.",
    ),
}


def _unusable(make: Maker, lens: Lens, job: Job, basis: Basis) -> Iterator[Finding]:
    """One finding for each reason, however many charts have it."""
    said: dict[Unusable, list[str]] = {}
    for test, reason in unusable_charts(lens, job):
        said.setdefault(reason, []).append(test.written or format_distance(test.chart_distance_m, basis.system))
    for reason, places in said.items():
        why, step = _WANTED[reason]
        if reason == "other_focal" and lens.kind != "zoom":
            why, step = "its focal length is another than the lens's", "Correct focal_mm in charts.csv or lenses.csv."
        what = f"The chart at {places[0]} gives" if len(places) == 1 else f"{len(places)} charts give"
        yield make("pupil.chart_not_used", "info", f"{what} no magnification: {why}.", step)


def _implausible(make: Maker, measured: MeasuredPupil, basis: Basis) -> Finding:
    place_mm = measured.found.front_focal_m / MM
    chart = _where(measured.charts[0], basis)
    return make(
        "pupil.implausible",
        "watch",
        f"By the chart at {chart} the front focal point would lie {place_mm:.0f} mm before the sensor, which no lens "
        f"of {measured.found.focal_m / MM:.0f} mm has: the charts are left out.",
        "Check chart width, frame fill, sensor width and the taped distance; one of them is wrong.",
        Figure(place_mm, "mm", Z95 * math.sqrt(measured.found.covariance[1, 1]) / MM),
    )


def _misfit(make: Maker, measured: MeasuredPupil) -> Finding:
    deviation = math.sqrt(measured.found.misfit)
    return make(
        "pupil.charts_disagree",
        "watch",
        f"The {len(measured.charts)} charts do not fit one lens that moves as a whole: they are off by {deviation:.1f} "
        "times what tape and reading allow, and the depth is less sure for it.",
        "Measure the charts again. If they repeat, the lens focuses by inner groups: write inner into the column "
        "focuses_by, and trust its depth at the charts' own distances.",
        Figure(deviation, "sd"),
    )


def _measured(make: Maker, measured: MeasuredPupil, basis: Basis) -> Finding:
    """How sure the depth is with the charts, against without, at the nearest of them."""
    assert basis.optics is not None  # noqa: S101 - the caller has looked
    chart = measured.charts[0]
    now = float(width_spread(basis.optics, chart.distance_m))
    before = float(depth_uncertainty(chart.distance_m, basis.optics.focal_m, pupil_known=False))
    without = f"+- {100 * before:.0f} %" if math.isfinite(before) else "not known at all"
    count = "One chart of known width puts" if len(measured.charts) == 1 else f"{len(measured.charts)} charts put"
    spread = Z95 * math.sqrt(measured.found.covariance[1, 1]) / MM
    step = "Nothing; keep the charts with the lens."
    if len(measured.charts) == 1:
        step = "A second chart at another distance would make it surer, and tell the breathing."
    return make(
        "pupil.from_charts",
        "info",
        f"{count} the front focal point {measured.found.front_focal_m / MM:.0f} +- {spread:.0f} mm before the sensor: "
        f"at {_where(chart, basis)} the width of the depth is sure to +- {100 * now:.1f} % (without: {without}).",
        step,
        Figure(100 * now, UNIT),
    )


def _against_typed(make: Maker, measured: MeasuredPupil, basis: Basis) -> Iterator[Finding]:
    """The chart that differs most from the typed pupil data, where that is more than chance and matters."""
    assert basis.optics is not None  # noqa: S101 - the caller has looked
    rows = []
    for chart in measured.charts:
        state = focus_state(chart.distance_m, basis.optics.focal_m, basis.optics.pupil)
        said = float(state.magnification)
        v = basis.optics.focal_m / said
        sd = math.hypot(chart.log_sd, float(taping_sd_m(np.array(chart.distance_m))) / v)
        # Where lens data and chart differ in ln m by x, the width of the depth differs by 2 x: it goes with 1/m^2.
        rows.append((math.inf if math.isnan(said) else abs(math.log(chart.magnification / said)) / sd, chart, said, sd))
    score, chart, said, sd = max(rows, key=lambda row: row[0])
    off = (said / chart.magnification) ** 2 - 1.0
    if not math.isfinite(score) or score <= Z95 or abs(off) < WORTH_DIFFERING:
        return
    size, way = 100 * abs(off), "narrower" if off > 0 else "wider"
    yield make(
        "pupil.disagrees",
        "watch",
        f"The pupil data written down make the depth at {_where(chart, basis)} {size:.0f} % +- {200 * Z95 * sd:.0f} % "
        f"{way} than the chart there measured; the pupil data are used.",
        "Check chart width, frame fill and tape, and shoot it again; if it repeats, correct the pupil data.",
        Figure(size, UNIT, 200 * Z95 * sd),
    )


def _near_edge(make: Maker, measured: MeasuredPupil, basis: Basis) -> Iterator[Finding]:
    charts = [chart for chart in measured.charts if chart.fill > SURE_FILL * (1 + 1e-9)]
    if not charts:
        return
    worst = max(charts, key=lambda chart: chart.fill)
    sd = 100 * Z95 * EDGE_DISTORTION * worst.fill**2
    yield make(
        "pupil.chart_near_edge",
        "info",
        f"The chart at {_where(worst, basis)} fills {100 * worst.fill:.0f} % of the image width, where distortion "
        f"counts: the magnification is taken as less sure by +- {sd:.1f} %.",
        "A chart that fills about a quarter of the image width stays clear of it.",
        Figure(sd, "%"),
    )


def _breathing(make: Maker, measured: MeasuredPupil, basis: Basis) -> Iterator[Finding]:
    """Change of the field between the farthest and the nearest chart, from m as measured: however the lens focuses."""
    near, far = measured.charts[0], measured.charts[-1]
    if far.distance_m < APART * near.distance_m:
        return
    change, spread = breathing_between(near, far, _pupil_place(measured, basis))
    if not math.isfinite(change):
        return
    way = f"the picture gets {100 * abs(change):.1f} % +- {100 * spread:.1f} % {'tighter' if change > 0 else 'wider'}"
    if abs(change) < spread:
        way = f"no change of the picture can be told from these charts (they tell +- {100 * spread:.1f} %)"
    yield make(
        "pupil.breathing",
        "info",
        f"Breathing: from {_where(far, basis)} to {_where(near, basis)} {way}.",
        "Nothing for focus; know it for racks in frame and for split screens.",
        Figure(100 * change, "% of field", 100 * spread),
    )


def _pupil_place(measured: MeasuredPupil, basis: Basis) -> tuple[float, float]:
    """Entrance pupil to image plane and its standard deviation, metres: as typed, or as usual for such a lens."""
    optics, found = basis.optics, measured.found
    if optics is not None and optics.pupil_source == "given":
        pupil: Pupil = optics.pupil
        return float(np.asarray(pupil.to_sensor_m)), 2e-3
    return found.to_sensor_m, math.hypot(math.sqrt(found.covariance[1, 1]), 0.17 * found.focal_m)


def breathing_between(near: WidthChart, far: WidthChart, pupil: tuple[float, float]) -> tuple[float, float]:
    """By how much the picture is tighter at ``near`` than at ``far``, a fraction, and its 95 % half-width.

    From the ratio of m u; ``pupil`` is the entrance pupil's distance from the image plane and its standard deviation in
    metres, which reach the ratio by 1/u_near - 1/u_far. NaN where a chart would stand at the pupil.
    """
    place, place_sd = pupil
    u = np.array([near.distance_m - place, far.distance_m - place])
    if not (u > 0).all():
        return math.nan, math.nan
    scale = field_scale([near.distance_m, far.distance_m], [near.magnification, far.magnification], place)
    tape = taping_sd_m(np.array([near.distance_m, far.distance_m])) / u
    sd = math.sqrt(near.log_sd**2 + far.log_sd**2 + float(tape @ tape) + (place_sd * (1.0 / u[0] - 1.0 / u[1])) ** 2)
    ratio = float(scale[1] / scale[0])
    return 1.0 - ratio, Z95 * sd * ratio
