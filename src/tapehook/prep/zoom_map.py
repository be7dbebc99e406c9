"""Zooms read at several focal lengths: what one strip costs at each, and the drift of the picture's middle."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Job, Lens, Reading
from tapehook.lens import FocusScale, LensMap
from tapehook.lens.flange import JUDGEMENT_USED
from tapehook.lens.map import Z95
from tapehook.lens.taping import taping_sd_m
from tapehook.lens.zoom import ZoomMap, fit_zoom
from tapehook.notation import FocalRange, format_distance, format_focal_length
from tapehook.prep.basis import MM, Basis, Optics
from tapehook.prep.charts import sensor_width_m
from tapehook.prep.flange import SAME_FOCAL
from tapehook.prep.focus import FocusRing, vergence_slope
from tapehook.prep.results import StopView, ZoomRow
from tapehook.prep.suspects import WAYS
from tapehook.prep.wording import Maker, depth_used, percent

Floats = npt.NDArray[np.float64]

WATCH_FROM = 0.25
DRIFT_WATCHED = 0.01
"""A picture whose middle wanders by more than this part of its width shows in a zoom. Common practice, no source."""
PLACES = 25
ENOUGH_MARKS = 6
"""So many marks that name no focal length are a strip by themselves."""
MOST_MARKS = 200


def of_one_focal(lens: Lens, readings: Sequence[Reading]) -> list[Reading]:
    """The readings one strip is made from: those that name no focal length, as the scale does not.

    Where these are too few for a map, those at the long end besides.
    """
    named = [one.focal_mm for one in readings if one.focal_mm]
    if not named or lens.kind != "zoom":
        return list(readings)
    scale = [one for one in readings if not one.focal_mm]
    if len({one.value for one in scale}) >= ENOUGH_MARKS:
        return scale
    longest = max(named)
    return [one for one in readings if not one.focal_mm or one.focal_mm >= longest * (1.0 - SAME_FOCAL)]


def zoom_map_of(lens: Lens, readings: Sequence[Reading], ring: FocusRing, basis: Basis) -> ZoomMap | None:
    """The map over distance and focal length from marks found by the picture; None where there are too few of them."""
    lens_map, stop = ring.axis.lens_map, basis.widest or basis.shooting
    if lens.kind != "zoom" or lens_map is None or not lens_map.monotone or stop is None or basis.optics is None:
        return None
    used = [one for one in readings if one.focal_mm and one.method == "taped"]
    distance, focal, position, variance = _marks(used, lens_map)
    if distance.size == 0 or distance.size > MOST_MARKS:
        return None
    scale = lens_map.scale
    if not isinstance(scale, FocusScale) or np.any(scale.place(distance) > 2.0):
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        tape = np.where(np.isfinite(distance), taping_sd_m(distance) * scale.vergence(distance) ** 2, 0.0)
    judged = JUDGEMENT_USED * stop.f_number * basis.coc_m / focal**2
    try:
        return fit_zoom(distance, focal, position * lens_map.degrees_per_unit, variance, scale, tape, judged)
    except (ValueError, np.linalg.LinAlgError):
        return None


def _marks(readings: Sequence[Reading], lens_map: LensMap) -> tuple[Floats, Floats, Floats, Floats]:
    """Distance, focal length in metres, position and relative variance of each mark, the play put right: four (n,)."""
    grouped: dict[tuple[float, float], dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for one in readings:
        grouped[one.value, (one.focal_mm or 0.0) * MM][WAYS[one.approach]].append(one.position)
    play = lens_map.play()
    half = play.value / 2.0 if play else 0.0
    rows = []
    for (distance, focal), ways in grouped.items():
        means = {way: float(np.mean(found)) for way, found in ways.items()}
        if means.keys() >= {-1, 1}:
            rows.append((distance, focal, (means[-1] + means[1]) / 2.0, 0.5))
        else:
            (way, mean), *_ = means.items()
            rows.append((distance, focal, mean - way * lens_map.toward_near * half, 1.0))
    columns = np.array(rows, dtype=np.float64).reshape(-1, 4).T
    return columns[0], columns[1], columns[2], columns[3]


def most_dpt(zoom_map: ZoomMap, lens_map: LensMap, optics: Optics, distance_m: Floats) -> Floats:
    """The most that the strip is off at any focal length, as a shift at the long end that uses as much there: (G,).

    Beyond the distances that were read it is taken to be as at the last of them.
    """
    within = np.clip(distance_m, zoom_map.distance_m.min(), zoom_map.distance_m.max())
    slope = vergence_slope(lens_map, optics, within)
    strip = lens_map.curve(within)
    found = []
    for focal_m in zoom_map.focals_m:
        there = zoom_map.position(within, focal_m)[0] / lens_map.degrees_per_unit
        found.append(np.abs(there - strip) / slope * (focal_m / optics.focal_m) ** 2)
    most: Floats = np.max(found, axis=0)
    return most


def zoom_rows(
    zoom_map: ZoomMap | None, lens_map: LensMap | None, optics: Optics | None, stop: StopView | None
) -> tuple[ZoomRow, ...]:
    """What one strip costs at each focal length that was read, over the range that was read."""
    if zoom_map is None or lens_map is None or optics is None or stop is None or not optics.blur_m > 0:
        return ()
    ends = lens_map.scale.place([zoom_map.distance_m.max(), zoom_map.distance_m.min()])
    distance = lens_map.scale.value(np.linspace(ends[0], ends[1], PLACES))
    distance[0], distance[-1] = zoom_map.distance_m.max(), zoom_map.distance_m.min()
    slope = vergence_slope(lens_map, optics, distance)
    rows = []
    for focal_m in zoom_map.focals_m:
        mean, sd = (part / lens_map.degrees_per_unit for part in zoom_map.position(distance, focal_m))
        off = lens_map.toward_near * (mean - lens_map.curve(distance)) / slope
        width = stop.f_number * optics.blur_m / focal_m**2
        used, half = np.abs(off) / width, Z95 * sd / slope / width
        # Where it is surest to be off, not where it is worst read: close up the +- is that of the tape, which strip
        # and marks share.
        worst = int(np.nanargmax(used - half))
        rows.append(ZoomRow(focal_m, float(used[worst]), float(half[worst]), float(distance[worst]), float(off[worst])))
    return tuple(rows)


def zoom_findings(make: Maker, lens: Lens, job: Job, basis: Basis, rows: Sequence[ZoomRow]) -> Iterator[Finding]:
    """What one strip costs, and how far the middle of the picture wanders; nothing where neither was recorded."""
    stop = basis.shooting or basis.widest
    if rows and stop is not None:
        yield _one_strip(make, basis, rows, stop)
    yield from _drift(make, lens, job)


def _focal(focal_m: float) -> str:
    return format_focal_length(FocalRange(focal_m, focal_m))


def _one_strip(make: Maker, basis: Basis, rows: Sequence[ZoomRow], stop: StopView) -> Finding:
    worst = max(rows, key=lambda row: row.used)
    at = "infinity" if math.isinf(worst.distance_m) else format_distance(worst.distance_m, basis.system)
    others = [f"{_focal(row.focal_m)} {percent(row.used)} +- {percent(row.plus_minus)}" for row in rows if row != worst]
    each = f" ({', '.join(others)})" if others else ""
    said = (
        f"{percent(worst.used)} +- {percent(worst.plus_minus)} of the depth at {_focal(worst.focal_m)} and {stop.text}"
    )
    figure = depth_used(worst.used, stop.text, worst.plus_minus)
    unsure = max(rows, key=lambda row: row.plus_minus)
    if worst.used < worst.plus_minus and unsure.plus_minus >= WATCH_FROM:
        message = f"Whether one strip serves all its focal lengths cannot be told: it uses {said}{each}."
        step = f"Find best focus at {_focal(unsure.focal_m)} again, by the picture, at four distances, both ways."
        return make("zooming.one_strip_unsure", "watch", message, step, figure)
    if worst.used < WATCH_FROM:
        message = f"One strip serves all its focal lengths: it uses {said}{each}."
        return make("zooming.one_strip_fine", "info", message, "Nothing; keep one strip.", figure)
    severity: Severity = "fix" if worst.used >= 1.0 else "watch"
    good = ", ".join(_focal(row.focal_m) for row in rows if max(row.used, row.plus_minus) < WATCH_FROM)
    use = f"Use it at {good} only; elsewhere mark" if good else "Mark"
    way = "nearer" if worst.shift_dpt > 0 else "farther"
    return make(
        "zooming.one_strip",
        severity,
        f"One strip for all its focal lengths costs {said}, worst at {at}, where the ring has to go {way}{each}.",
        f"{use} a strip of its own for each focal length, or focus by the picture; moving its groups is a lens "
        "technician's work.",
        figure,
    )


def _drift(make: Maker, lens: Lens, job: Job) -> Iterator[Finding]:
    """How far the picture's middle wanders along the zoom, as recorded on charts."""
    tests = [
        (test, test.centre_x_mm or 0.0, test.centre_y_mm or 0.0)
        for test in job.charts
        if test.lens_id == lens.id and test.focal_mm and (test.centre_x_mm is not None or test.centre_y_mm is not None)
    ]
    if len({test.focal_mm for test, _, _ in tests}) < 2:
        return
    pairs = [(math.hypot(a[1] - b[1], a[2] - b[2]), a[0], b[0]) for a in tests for b in tests]
    most_mm, one, other = max(pairs, key=lambda pair: pair[0])
    width_m = sensor_width_m(one, lens, job)
    part = most_mm * MM / width_m if width_m else None
    of_width = "" if part is None else f", {100 * part:.1f} % of the picture's width"
    ends = sorted((one.focal_mm or 0.0, other.focal_mm or 0.0))
    yield make(
        "zooming.centre_drift",
        "watch" if part is not None and part >= DRIFT_WATCHED else "info",
        f"The middle of the picture wanders by {most_mm:.2f} mm on the sensor between {ends[0]:g} and {ends[1]:g} mm"
        f"{of_width} ({len(tests)} charts).",
        "Tell the operator before a zoom in shot: the frame drifts with it. Centring is a lens technician's work.",
        Figure(most_mm, "mm"),
    )
