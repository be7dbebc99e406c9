"""Chart tests of a lens against its map: what each says of flange, scale and tape."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tapehook.job.records import ChartTest, Filter, Job, Lens, Reading
from tapehook.lens import FocusScale, LensMap
from tapehook.lens.flange import JUDGEMENT_USED, ChartDeviations, fit_flange, judge
from tapehook.lens.stop_shift import StopShift, stop_shift
from tapehook.lens.taping import taping_sd_m
from tapehook.optics import Pupil, f_number_from_t, focus_state, thin_pupil
from tapehook.prep.basis import MM, Basis, Optics
from tapehook.prep.results import FlangePrep, FlangeUnusable, StopView
from tapehook.prep.shifts import glass_shift_of, state_of
from tapehook.prep.suspects import WAYS
from tapehook.prep.usual import UsualPlay

Floats = npt.NDArray[np.float64]

SAME_FOCAL = 0.02
"""Focal lengths within this part of each other are one setting of a zoom."""
MOST_APART = 1e6
"""Widths of depth that are more apart than this are those of no set of tests."""
BEYOND = 0.05
"""A ring may be followed so far past infinity, in places of its scale; beyond, the curve goes on straight."""


def lens_flange(
    lens: Lens, job: Job, basis: Basis, lens_map: LensMap | None, usual: UsualPlay
) -> FlangePrep | FlangeUnusable | None:
    """What the chart tests of ``lens`` say of its flange; None without any test, a word where none can be used."""
    tests = [test for test in job.charts if test.lens_id == lens.id]
    meant = [test for test in tests if not (test.position is None and _for_something_else(test))]
    if not meant:
        return None
    readings = [one for one in job.readings if one.lens_id == lens.id]
    # Upright lines of an anamorphic lens tell its other direction: see prep.anamorphic.
    along = [test for test in meant if test.position is not None and test.lines != "upright"]
    found = [test for test in along if _told(test, readings, job.filters)]
    stop = basis.widest or basis.shooting
    if not found:
        return "no_position"
    if lens_map is None or not lens_map.monotone or not isinstance(lens_map.scale, FocusScale):
        return "no_map"
    if basis.optics is None:
        return "no_optics"
    if stop is None:
        return "no_stop"
    if not basis.optics.blur_m > 0:
        return "no_depth"
    try:
        with np.errstate(all="ignore"):  # what is beyond every lens is told, see _ordinary
            return _flange(found, lens, basis, basis.optics, lens_map, stop, usual, readings, job.filters) or "too_near"
    except np.linalg.LinAlgError:
        return "beyond"


def _for_something_else(test: ChartTest) -> bool:
    """Whether a chart says the magnification, or where the middle of the picture lies."""
    return bool(test.chart_width_m or test.frame_fill) or test.centre_x_mm is not None


def _told(test: ChartTest, readings: Sequence[Reading], filters: Sequence[Filter]) -> bool:
    """Whether the glass behind the lens is known, as far as any is named."""
    return glass_shift_of(state_of(test.rear_filter), readings, filters) is not None


def _flange(
    tests: Sequence[ChartTest],
    lens: Lens,
    basis: Basis,
    optics: Optics,
    lens_map: LensMap,
    stop: StopView,
    usual: UsualPlay,
    readings: Sequence[Reading],
    filters: Sequence[Filter],
) -> FlangePrep | FlangeUnusable | None:
    """The fit of the tests that lie where focus exists; None when none does."""
    focals, zoom = _focal_lengths(tests, optics)
    q = _at_each(focals, zoom, optics, [test.chart_distance_m for test in tests])
    fine = np.isfinite(q)
    if not fine.any():
        return None
    used = [test for test, good in zip(tests, fine.tolist(), strict=True) if good]
    focals, zoom = _focal_lengths(used, optics)
    names = sorted({test.camera for test in used}, key=lambda name: (name is None, name or ""))
    charts = _deviations(used, lens, basis, optics, lens_map, stop, usual, focals, zoom, names)
    glass = np.array([glass_shift_of(state_of(test.rear_filter), readings, filters) or 0.0 for test in used])
    charts = replace(charts, dq_dpt=charts.dq_dpt + glass / charts.focal_m**2)
    if not _ordinary(charts):
        return "beyond"
    moved = _stop_shift(used, charts, basis)
    if moved is not None:
        charts = _at_the_widest(charts, moved, basis)
    fit = fit_flange(charts)
    if not np.isfinite(fit.mean()).all() or not np.isfinite(fit.covariance()).all():
        return "beyond"
    return FlangePrep(charts, fit, judge(charts, fit), stop, tuple(names), focals, tuple(used), moved)


def _stop_shift(tests: Sequence[ChartTest], charts: ChartDeviations, basis: Basis) -> StopShift | None:
    """How best focus moves over the stops tested, from charts found again at another stop and nothing else changed."""
    if len({test.t_stop for test in tests}) < 2:
        return None
    places: dict[tuple[object, ...], int] = {}
    setting = [
        places.setdefault((test.chart_distance_m, test.approach, int(body), int(zoom)), len(places))
        for test, body, zoom in zip(tests, charts.body, charts.zoom, strict=True)
    ]
    f_number = charts.width_dpt * charts.focal_m**2 / basis.coc_m
    sd = JUDGEMENT_USED * charts.width_dpt
    return stop_shift(setting, f_number, charts.dq_dpt, charts.focal_m, sd)


def _at_the_widest(charts: ChartDeviations, moved: StopShift, basis: Basis) -> ChartDeviations:
    """The charts as they would have been found at the widest stop tested, and less sure by what that is not sure of."""
    found = [moved.at(float(n)) for n in charts.width_dpt * charts.focal_m**2 / basis.coc_m]
    shift, sd = (np.array(column) / charts.focal_m**2 for column in zip(*found, strict=True))
    own = charts.covariance_dpt2 + np.outer(sd, sd)
    return replace(charts, dq_dpt=charts.dq_dpt + shift, covariance_dpt2=own)


def _ordinary(charts: ChartDeviations) -> bool:
    """Whether figures are such that arithmetic holds: finite, and not more apart than lenses are."""
    sizes = np.concatenate([np.diag(charts.covariance_dpt2), charts.width_dpt**2, charts.room_dpt**2])
    parts = [charts.dq_dpt, charts.q_dpt, charts.covariance_dpt2.ravel(), sizes, 1.0 / sizes[sizes > 0]]
    if not all(np.isfinite(part).all() for part in parts) or not np.all(charts.width_dpt > 0):
        return False
    span = np.concatenate([charts.width_dpt, charts.room_dpt, 1e-6 / charts.focal_m**2])
    off = float(np.abs(charts.dq_dpt).max()) / float(charts.width_dpt.min())
    return float(span.max() / span.min()) < MOST_APART and off < MOST_APART


def _focal_lengths(tests: Sequence[ChartTest], optics: Optics) -> tuple[tuple[float, ...], npt.NDArray[np.intp]]:
    """The focal lengths that were tested, the longest first, and which each test was made at."""
    longest = optics.focal_m
    groups: list[float] = []
    for focal_m in sorted({test.focal_mm * MM if test.focal_mm else longest for test in tests}, reverse=True):
        if not groups or focal_m < groups[-1] * (1.0 - SAME_FOCAL):
            groups.append(longest if abs(focal_m / longest - 1.0) < SAME_FOCAL else focal_m)
    chosen = [
        int(np.argmin([abs(math.log((test.focal_mm * MM if test.focal_mm else longest) / group)) for group in groups]))
        for test in tests
    ]
    return tuple(groups), np.array(chosen, dtype=np.intp)


def pupil_at(focal_m: float, optics: Optics) -> Pupil:
    """The pupil a lens is taken to have: the data are those of the long end of a zoom, elsewhere a thin lens stands in.

    That matters little here: ring and chart are turned into vergence by the same pupil, so that only their difference
    is off, by a few per cent.
    """
    return optics.pupil if focal_m == optics.focal_m else thin_pupil(focal_m)


def off_by_charts(found: FlangePrep, focal_m: npt.ArrayLike, q_dpt: Floats) -> tuple[str, Floats] | None:
    """What charts are sure the lens is off by: a name for it, and by how much it is focused nearer, dioptres (G,).

    ``q_dpt`` are vergences at the front focal point, where the shift holds too. A flange is delta/f^2 everywhere; where
    the scale is off it is delta/f^2 - kappa q, by the mean of both. None where they are sure of nothing, or blame the
    tape or the groups of a zoom.
    """
    verdict = found.verdict
    flange: Floats = np.asarray(found.fit.flange_m()[0] / np.square(focal_m) + 0.0 * q_dpt)
    if verdict.cause in ("flange", "fine"):
        return "flange", flange
    if verdict.cause == "scale" and not verdict.by_zoom:
        return "scale", flange - float(found.fit.mean()[found.fit.bodies]) * q_dpt
    return None


def front_vergence(distance_m: npt.ArrayLike, focal_m: float, pupil: Pupil) -> Floats:
    """Vergence at the front focal point, q = m/f dioptres, of distances from the image plane in focus; NaN for none."""
    q: Floats = focus_state(distance_m, focal_m, pupil).magnification / focal_m
    return q


def _at_each(
    focals: Sequence[float], zoom: npt.NDArray[np.intp], optics: Optics, distance_m: Sequence[float]
) -> Floats:
    q = np.empty(len(distance_m))
    for group, focal_m in enumerate(focals):
        here = zoom == group
        q[here] = front_vergence(np.asarray(distance_m)[here], focal_m, pupil_at(focal_m, optics))
    return q


def _deviations(
    tests: Sequence[ChartTest],
    lens: Lens,
    basis: Basis,
    optics: Optics,
    lens_map: LensMap,
    stop: StopView,
    usual: UsualPlay,
    focals: tuple[float, ...],
    zoom: npt.NDArray[np.intp],
    names: Sequence[str | None],
) -> ChartDeviations:
    """Ring minus chart of each test, and how sure everything but the judgement is."""
    distance = np.array([test.chart_distance_m for test in tests])
    ahead, play, play_sd = _ahead(tests, lens_map, usual)
    position = np.array([test.position or 0.0 for test in tests]) - ahead * play
    places = places_of(lens_map, position)
    focal = np.array(focals)[zoom]
    q_set, rate = _set_vergence(lens_map, places, focals, zoom, optics)
    q = _at_each(focals, zoom, optics, distance.tolist())
    slope = _slope_per_place(lens_map, places) / rate  # position per dioptre, signed
    step = lens.reading_step or 0.1 / lens_map.degrees_per_unit
    own = lens_map.fit.covariance(places, places)[0] / lens_map.degrees_per_unit**2 / np.outer(slope, slope)
    own += np.diag(step**2 / 12.0 / slope**2)
    own += np.outer(ahead, ahead) * play_sd**2 / np.outer(slope, slope)
    unknown = np.array([WAYS[test.approach] == 0 for test in tests])
    own += np.diag(np.where(unknown, (play / 2.0) ** 2 + play_sd**2 / 4.0, 0.0) / slope**2)
    own += _taping(distance, q)
    t_number = np.array([test.t_stop or lens.t_stop or stop.t_number for test in tests])
    f_number = np.asarray(f_number_from_t(t_number, basis.transmission))
    width = f_number * basis.coc_m / focal**2
    room = stop.f_number * optics.blur_m / focal**2
    body = np.array([names.index(test.camera) for test in tests], dtype=np.intp)
    return ChartDeviations(q_set - q, q, focal, width, room, own, body, zoom)


def _taping(distance_m: Floats, q: Floats) -> Floats:
    """Covariance of a taped distance, dioptres squared: tests of one distance are of one taping."""
    sd = q * q * taping_sd_m(distance_m)
    same = distance_m[:, None] == distance_m
    covariance: Floats = np.where(same, np.outer(sd, sd), 0.0)
    return covariance


def _ahead(tests: Sequence[ChartTest], lens_map: LensMap, usual: UsualPlay) -> tuple[Floats, float, float]:
    """How far each test reads ahead of where the map stands, in whole plays (n,); the play and its sd, in its unit.

    Positive is ahead toward rising positions. A map read one way stands half a play off the centre itself, and a test
    made the same way needs no correction.
    """
    way = np.array([WAYS[test.approach] for test in tests], dtype=np.float64) / 2.0
    found = lens_map.play()
    if found is not None:
        return lens_map.toward_near * way, found.value, found.sd
    mean, rms = (x / lens_map.degrees_per_unit for x in (usual.mean_deg, usual.rms_deg))
    stands = lens_map.marks.way / 2.0
    return lens_map.toward_near * (way - stands), mean, math.sqrt(max(rms**2 - mean**2, 0.0))


def places_of(lens_map: LensMap, position: npt.ArrayLike) -> Floats:
    """Places of the ring at positions (n,), also past its marks; straight on from ``BEYOND`` past infinity."""
    target = np.asarray(position, dtype=np.float64)
    ends = lens_map.scale.place([lens_map.far_value, lens_map.near_value])
    reach = np.linspace(ends[0] - BEYOND, ends[1] + 10 * BEYOND, 1201)
    at = _curve(lens_map, reach)
    sign = lens_map.toward_near
    rising = np.maximum.accumulate(at * sign)
    u = np.interp(target * sign, rising, reach)
    for _ in range(4):
        u = u - (_curve(lens_map, u) - target) / _slope_per_place(lens_map, u)
    return u


def _curve(lens_map: LensMap, places: Floats) -> Floats:
    held = np.maximum(places, 1e-4)
    return np.asarray(lens_map.fit.curve(held)[0] / lens_map.degrees_per_unit) + (places - held) * _slope(
        lens_map, held
    )


def _slope_per_place(lens_map: LensMap, places: Floats) -> Floats:
    return _slope(lens_map, np.maximum(places, 1e-4))


def _slope(lens_map: LensMap, places: Floats) -> Floats:
    step = 1e-4
    ahead, behind = lens_map.fit.curve(places + step)[0], lens_map.fit.curve(places - step)[0]
    slope: Floats = (ahead - behind) / (2.0 * step * lens_map.degrees_per_unit)
    return slope


def _set_vergence(
    lens_map: LensMap,
    places: Floats,
    focals: Sequence[float],
    zoom: npt.NDArray[np.intp],
    optics: Optics,
) -> tuple[Floats, Floats]:
    """Vergence at the front focal point of places (n,) of the ring, and its change per place: two (n,)."""
    q, rate = np.empty(places.size), np.empty(places.size)
    for group, focal_m in enumerate(focals):
        here = zoom == group
        pupil = pupil_at(focal_m, optics)
        q[here] = _front(lens_map, places[here], focal_m, pupil)
        step = 1e-4
        ahead, behind = (_front(lens_map, places[here] + k * step, focal_m, pupil) for k in (1, -1))
        rate[here] = (ahead - behind) / (2.0 * step)
    return q, rate


def _front(lens_map: LensMap, places: Floats, focal_m: float, pupil: Pupil) -> Floats:
    """Vergence q = m/f of places of the ring, also past infinity.

    At and past infinity by 1/q = 1/s + d0 - F, with s the vergence of the scale from d0, and F the front focal point of
    the lens at infinity: there it has not moved yet, and nothing jumps.
    """
    scale = lens_map.scale
    assert isinstance(scale, FocusScale)  # noqa: S101 - the callers have looked
    s = (places - float(scale.place(math.inf))) * scale.near_vergence_dpt
    front_m = float(np.asarray(pupil.to_sensor_m)) + focal_m / float(np.asarray(pupil.magnification))
    far = s / (1.0 + s * (scale.datum_m - front_m))
    nearby = s > 1e-4 * scale.near_vergence_dpt
    distance = np.where(nearby, scale.datum_m + 1.0 / np.where(nearby, s, 1.0), math.inf)
    return np.where(nearby, front_vergence(distance, focal_m, pupil), far)
