"""``prepare``: every lens mapped, every finding with its figure, in one pure function."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from tapehook.finding import Figure, Finding, sort_findings
from tapehook.job.records import Axis, Camera, ChartTest, Job, Lens, Reading
from tapehook.lens import FocusScale, LensMap
from tapehook.notation import format_distance, format_stop
from tapehook.optics import depth_of_field, nearest_possible_m
from tapehook.prep.anamorphic import anamorphic_findings, gap_of, with_gap
from tapehook.prep.basis import (
    DEFAULT_COC_M,
    Basis,
    basis_of,
    camera_coc,
    cameras_of,
    job_shooting_t,
    lens_title,
    width_spread,
)
from tapehook.prep.checks import lens_findings
from tapehook.prep.doubles import double_findings
from tapehook.prep.extender import extender_findings
from tapehook.prep.flange import lens_flange
from tapehook.prep.flange_findings import cameras_with_flanges, with_flanges
from tapehook.prep.flange_split import find_flanges
from tapehook.prep.focus import (
    FocusReadings,
    FocusRing,
    focus_budgets,
    focus_readings,
    map_focus,
    map_ring,
    mark_rows,
)
from tapehook.prep.heat import heat_findings
from tapehook.prep.job_morning import morning_findings
from tapehook.prep.late_picture import with_late_pictures
from tapehook.prep.light import light_findings
from tapehook.prep.next_mark import next_mark_findings
from tapehook.prep.port import port_assumptions, port_findings
from tapehook.prep.results import AxisPrep, BudgetView, CameraPrep, DepthRow, LensPrep, Prep, RoundRow, TwinsPrep
from tapehook.prep.rounds import round_distances, round_rows
from tapehook.prep.set_aside import set_aside_findings, without_set_aside
from tapehook.prep.shift_findings import shift_findings
from tapehook.prep.shifts import shifts_of
from tapehook.prep.shooting_map import moved_by
from tapehook.prep.twin_findings import with_twins
from tapehook.prep.twins import find_twins
from tapehook.prep.unread import unread_findings
from tapehook.prep.usual import UsualPlay, usual_play
from tapehook.prep.weather import weather_assumptions, weather_findings
from tapehook.prep.wording import Maker
from tapehook.prep.zoom_map import most_dpt, of_one_focal, zoom_findings, zoom_map_of, zoom_rows

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class Batch:
    """Some lenses of a job, with what must be known of the rest: work that can be done anywhere, in any order.

    ``job`` holds these lenses and their readings alone. ``brief``: leave out what only a page of its own needs.
    """

    job: Job
    usual: UsualPlay
    serials_read: bool
    brief: bool


Runner = Callable[[Callable[[Batch], list[LensPrep]], Sequence[Batch]], Iterable[list[LensPrep]]]
"""How batches are worked through: like ``map``, results in order; another may share them out over processors."""

BATCH_LENSES = 100

DEPTH_ROWS = 10
IN_FRONT_M = 1e-3
"""Nothing stands nearer to the image plane than this: the nearest distance a job can hold."""


def prepare(job: Job, progress: Progress | None = None, *, brief: bool = False, run: Runner = map) -> Prep:
    """Map every lens of ``job`` and say what must be acted on.

    ``progress(done, total, what)`` is called for each lens. ``brief`` leaves out tables that only a lens's own page
    shows (round distances, depth); ``run`` works through batches of lenses. The result depends on ``job`` alone. Raises
    nothing for a job that ``read_job`` accepts: what cannot be worked out becomes a finding.
    """
    across = list(set_aside_findings(job))
    job = without_set_aside(job)
    lenses: list[LensPrep] = []
    batches = _batches(job, brief=brief)
    for found_lenses in run(prepare_batch, batches):
        for entry in found_lenses:
            lenses.append(entry)
            if progress is not None:
                progress(len(lenses), len(job.lenses), entry.lens.id)
    across += light_findings(job)
    told = {one.lens_id for one in across}
    lenses = [_with_findings(entry, across) if entry.lens.id in told else entry for entry in lenses]
    twins = find_twins(lenses, job, batches[0].usual) if batches else TwinsPrep()
    lenses = with_twins(lenses, twins)
    flanges = find_flanges(lenses, job)
    lenses = with_flanges(lenses, flanges)
    cameras = cameras_with_flanges([_camera(camera, job) for camera in job.cameras], lenses, flanges)
    cameras = with_late_pictures(cameras, lenses, job)
    wanted = job_shooting_t(job)
    found = [finding for entry in lenses for finding in entry.findings]
    found += [finding for camera in cameras for finding in camera.findings]
    found += _job_findings(job)
    found += unread_findings(job)
    found += double_findings(job)
    found += [finding for finding in across if finding.lens_id is None]
    assumptions = sorted({sentence for entry in lenses for sentence in entry.assumptions})
    assumptions += weather_assumptions(job)
    made = Prep(
        job,
        format_stop(wanted) if wanted else None,
        tuple(lenses),
        cameras,
        tuple(sort_findings(found)),
        tuple(assumptions),
        twins,
        flanges,
    )
    return _with_all(made, [*weather_findings(made), *morning_findings(made)])


def _with_all(prep: Prep, across: Sequence[Finding]) -> Prep:
    """A prepared job with findings that only all of it could give rise to, on its lenses too."""
    if not across:
        return prep
    lenses = tuple(_with_findings(entry, across) for entry in prep.lenses)
    return replace(prep, lenses=lenses, findings=tuple(sort_findings([*prep.findings, *across])))


def _with_findings(entry: LensPrep, across: Sequence[Finding]) -> LensPrep:
    """The lens with its own of the findings that only the whole set could give rise to."""
    own = [finding for finding in across if finding.lens_id == entry.lens.id]
    return replace(entry, findings=tuple(sort_findings([*entry.findings, *own])))


def _by_axis(readings: Sequence[Reading]) -> dict[str, dict[Axis, list[Reading]]]:
    """Readings by lens and ring."""
    found: dict[str, dict[Axis, list[Reading]]] = defaultdict(lambda: defaultdict(list))
    for reading in readings:
        found[reading.lens_id][reading.axis].append(reading)
    return found


def _batches(job: Job, *, brief: bool) -> list[Batch]:
    """The lenses of a job in batches, in order; a job of a few is one."""
    readings = _by_axis(job.readings)
    usual = usual_play(job.lenses, readings)
    serials_read = any(lens.serial for lens in job.lenses)
    charts: dict[str, list[ChartTest]] = defaultdict(list)
    for test in job.charts:
        charts[test.lens_id].append(test)
    parts = []
    for start in range(0, len(job.lenses), BATCH_LENSES):
        lenses = job.lenses[start : start + BATCH_LENSES]
        own = tuple(r for lens in lenses for axis in readings[lens.id].values() for r in axis)
        tests = tuple(test for lens in lenses for test in charts[lens.id])
        part = job.model_copy(update={"lenses": lenses, "readings": own, "charts": tests, "morning": ()})
        parts.append(Batch(part, usual, serials_read, brief))
    return parts


def prepare_batch(batch: Batch) -> list[LensPrep]:
    """The lenses of one batch, in order."""
    readings = _by_axis(batch.job.readings)
    lenses = batch.job.lenses
    bases = [basis_of(lens, batch.job) for lens in lenses]
    focus = focus_readings(
        [
            (lens, of_one_focal(lens, readings[lens.id].get("focus", [])), basis.system)
            for lens, basis in zip(lenses, bases, strict=True)
        ]
    )
    return [
        _prepare_lens(lens, basis, own, readings[lens.id], batch)
        for lens, basis, own in zip(lenses, bases, focus, strict=True)
    ]


def _prepare_lens(
    lens: Lens, basis: Basis, focus: FocusReadings, readings: dict[Axis, list[Reading]], batch: Batch
) -> LensPrep:
    """One lens of a job: its maps, marks, budgets, depth table and findings."""
    job, usual = batch.job, batch.usual
    title = lens_title(lens)
    ring = map_focus(lens, focus, basis, usual)
    other_axes: tuple[Axis, ...] = ("iris", "zoom")
    others = tuple(map_ring(axis, lens, readings[axis]) for axis in other_axes if readings.get(axis))
    marks = mark_rows(ring, of_one_focal(lens, readings.get("focus", [])), basis)
    lens_map = ring.axis.lens_map
    flange = lens_flange(lens, job, basis, lens_map, usual)
    gap = gap_of(lens, job, basis, lens_map)
    shifts = with_gap(shifts_of(lens, job, readings.get("focus", []), basis, flange), lens, gap, basis.optics)
    zoom_map, optics = zoom_map_of(lens, readings.get("focus", []), ring, basis), basis.optics
    zooming = None
    if zoom_map is not None and lens_map is not None and optics is not None:
        zooming = partial(most_dpt, zoom_map, lens_map, optics)
    budgets, budget_assumptions = focus_budgets(ring, lens, basis, usual, flange, shifts, zooming)
    zoom = zoom_rows(zoom_map, lens_map, optics, basis.shooting or basis.widest)
    usable = lens_map if lens_map is not None and lens_map.monotone else None
    role = "shooting" if basis.shooting else "widest"
    on_paper = usable and moved_by(usable, optics, [one for one in shifts if one.role in (None, role)])
    findings = [*lens_findings(lens, title, batch.job, basis, ring, budgets, others, serials_read=batch.serials_read)]
    findings += heat_findings(Maker(lens, title), lens, job, basis, ring, readings.get("focus", []))
    findings += shift_findings(Maker(lens, title), lens, job, basis, ring, readings.get("focus", []), flange, shifts)
    findings += anamorphic_findings(Maker(lens, title), lens, job, basis, ring, gap)
    findings += zoom_findings(Maker(lens, title), lens, job, basis, zoom)
    findings += extender_findings(Maker(lens, title), lens, basis, budgets)
    findings += port_findings(Maker(lens, title), lens, basis, ring.near_m, budgets)
    findings += next_mark_findings(Maker(lens, title), lens, basis, ring)
    axes: dict[Axis, AxisPrep] = {"focus": ring.axis, **{axis.axis: axis for axis in others}}
    return LensPrep(
        lens=lens,
        title=title,
        system=basis.system,
        axes=axes,
        pupil=basis.optics.pupil if basis.optics else None,
        pupil_known=basis.optics.pupil_known if basis.optics else False,
        pupil_source=basis.optics.pupil_source if basis.optics else None,
        depth_focal_m=basis.optics.focal_m if basis.optics else None,
        transmission=basis.transmission,
        transmission_known=basis.transmission_known,
        coc_m=basis.coc_m,
        coc_text=basis.coc_text,
        blur_floor_m=basis.blur_floor_m,
        close_focus_m=ring.near_m,
        widest=basis.widest,
        shooting=basis.shooting,
        play=lens_map.play() if lens_map else None,
        play_used=_play_used(lens_map, budgets),
        one_way=lens_map.marks.one_way if lens_map else False,
        marks=marks,
        suspects=ring.suspects,
        rounds=() if batch.brief else _rounds(on_paper, ring),
        depth_stops=basis.depth_stops if basis.optics else (),
        depth_rows=() if batch.brief else _depth_rows(basis, ring),
        depth_uncertainty=_uncertainty(basis, ring),
        budgets=budgets,
        findings=tuple(sort_findings(findings)),
        assumptions=(*basis.assumptions, *ring.assumptions, *budget_assumptions, *port_assumptions(lens)),
        flange=flange,
        zoom=zoom,
        shifts=shifts,
    )


def _play_used(lens_map: LensMap | None, budgets: tuple[BudgetView, ...]) -> float | None:
    """Most of the depth that half the backlash takes over the range, at the widest stop known; None if not measured."""
    if lens_map is None or lens_map.play() is None or not budgets:
        return None
    budget = budgets[0].budget
    return float(budget.shares[[term.name for term in budget.terms].index("backlash")].max())


def _rounds(usable: LensMap | None, ring: FocusRing) -> tuple[RoundRow, ...]:
    return round_rows(usable, ring.near_m) if usable is not None and ring.near_m is not None else ()


def _near_end(basis: Basis, ring: FocusRing) -> float:
    """Near end of the depth table: close focus or nearest mark, else 20 focal lengths; never nearer than life size."""
    assert basis.optics is not None  # noqa: S101 - the callers have looked
    possible = float(nearest_possible_m(basis.optics.focal_m, basis.optics.pupil)) * 1.02
    return max(ring.near_m or 20.0 * basis.optics.focal_m, possible)


def _depth_rows(basis: Basis, ring: FocusRing) -> tuple[DepthRow, ...]:
    """Near and far for round distances at each stop of the table, in the system of the lens."""
    if basis.optics is None:
        return ()
    near_m = _near_end(basis, ring)
    optics, stops = basis.optics, [stop.f_number for stop in basis.depth_stops]
    scale = ring.axis.lens_map.scale if ring.axis.lens_map else FocusScale.of([near_m], optics.focal_m)
    distances = round_distances(basis.system, near_m, scale, most=DEPTH_ROWS)
    if len(distances) == 1:  # nothing round between the near end and infinity
        distances = (near_m, *distances)
    depth = depth_of_field(np.array(distances)[:, None], optics.focal_m, stops, optics.blur_m, optics.pupil)
    near = np.maximum(depth.near_m, IN_FRONT_M)  # a pupil far behind the image plane can put the limit behind it
    return tuple(
        DepthRow(format_distance(distance, basis.system), distance, basis.system, tuple(nears), tuple(fars))
        for distance, nears, fars in zip(distances, near.tolist(), depth.far_m.tolist(), strict=True)
    )


def _uncertainty(basis: Basis, ring: FocusRing) -> tuple[float, float] | None:
    """Least and most uncertainty of the width of the depth over the range of the lens."""
    if basis.optics is None:
        return None
    spread = width_spread(basis.optics, [_near_end(basis, ring), 1e6]) + basis.t_over_n - 1.0
    return float(spread.min()), float(spread.max())


def _camera(camera: Camera, job: Job) -> CameraPrep:
    """A camera, its lenses, and what it lacks."""
    ids = tuple(lens.id for lens in job.lenses if camera in cameras_of(lens, job.cameras))
    chosen = camera_coc(camera, job.criterion)
    findings: list[Finding] = []
    subject = f"camera {camera.letter}"
    if chosen is None:
        needed = {"photosites": "photosite_um"}.get(job.criterion.name, "sensor_width_mm and sensor_height_mm")
        findings.append(
            Finding(
                "camera.no_sensor_data",
                "watch",
                subject,
                f"The criterion {job.criterion.name} needs {needed} of this camera; 0.025 mm is assumed in its place.",
                f"Write {needed} under this camera in job.toml.",
                camera=camera.letter,
            )
        )
    if not ids:
        message, step = "No lens is listed for this camera.", "Name it in the column camera of lenses.csv."
        findings.append(Finding("camera.no_lenses", "watch", subject, message, step, camera=camera.letter))
    coc_m, coc_text = chosen or (DEFAULT_COC_M, "assumed")
    return CameraPrep(camera, ids, coc_m, coc_text, tuple(findings))


USUAL_COC_MM = (0.004, 0.07)
"""From a small sensor looked at closely to 65 mm film: common practice, no source."""


def _coc_findings(job: Job) -> Iterator[Finding]:
    """A fixed circle of confusion that no format uses: a point in the wrong place makes depth ten times too wide."""
    coc_mm = job.criterion.coc_mm
    least, most = USUAL_COC_MM
    if job.criterion.name == "fixed" and coc_mm is not None and not least <= coc_mm <= most:
        wrong = "wide" if coc_mm > most else "narrow"
        yield Finding(
            "job.coc_unusual",
            "watch",
            "job",
            f"Blur up to {coc_mm:g} mm is taken as sharp; {least:g} mm to {most:g} mm is usual (common practice, no "
            f"source): if a point is misplaced, every depth is far too {wrong}.",
            "Check coc_mm under criterion in job.toml; 0.025 mm is usual for 35 mm cine.",
            Figure(coc_mm, "mm"),
        )


def _job_findings(job: Job) -> Sequence[Finding]:
    found = list(_coc_findings(job))
    if not job.shooting_stop:
        found.append(
            Finding(
                "job.no_shooting_stop",
                "info",
                "job",
                "No shooting stop is set: every depth used is given at the lens's widest stop.",
                'Write the stop you will shoot at into job.toml, for example shooting_stop = "T2.8".',
            )
        )
    if job.lenses and not any(lens.serial for lens in job.lenses):
        found.append(
            Finding(
                "job.no_serials",
                "info",
                "job",
                "No serial was read: no map can be told from that of another copy of the same lens.",
                "Add a column serial to lenses.csv.",
            )
        )
    return found
