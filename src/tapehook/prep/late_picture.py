"""How much a late monitor takes from whoever pulls off it, before any shot is planned.

Somebody who walks toward the camera at *v* is, on a picture that is *t* late, shown *v t* too far away. With the
magnification *m* of the framing (height of the sensor over height of the field) the image lies *v t m*^2 from the
sensor (longitudinal magnification: W. J. Smith, Modern Optical Engineering, chapter 2), and the depth is *N c* to each
side there. So at one framing the share is v t m^2/(N c), whatever the lens.
"""

from collections.abc import Sequence
from dataclasses import replace

from tapehook.finding import Finding, Severity, sort_findings
from tapehook.job.records import Job
from tapehook.optics import sharp_blur_m
from tapehook.prep.results import CameraPrep, LensPrep, StopView
from tapehook.prep.wording import depth_used, percent

WALK_M_S = 1.4
"""A comfortable walk: R. Bohannon, Comfortable and maximum walking speed of adults aged 20 to 79 years, Age and Ageing
26 (1997), has 1.3 to 1.5 m/s (from memory)."""
FRAMED_M = 1.0
"""Height of the field that shows somebody from the waist up. Common practice, no source."""
WATCH_FROM = 0.25
"""From a quarter of the depth on it is to be known: as for any one error."""


def with_late_pictures(cameras: Sequence[CameraPrep], lenses: Sequence[LensPrep], job: Job) -> tuple[CameraPrep, ...]:
    """The cameras, each with what its late monitor takes; as they were where no delay is written down."""
    late = {camera.letter: camera.monitor_delay_ms for camera in job.cameras if camera.monitor_delay_ms}
    by_id = {entry.lens.id: entry for entry in lenses}
    return tuple(
        _with(camera, late[camera.camera.letter] / 1e3, [by_id[one] for one in camera.lens_ids])
        if camera.camera.letter in late
        else camera
        for camera in cameras
    )


def late_share(delay_s: float, sensor_height_m: float, f_number: float, blur_m: float) -> float:
    """Share of the depth: ``WALK_M_S`` toward a camera that frames ``FRAMED_M``, the picture ``delay_s`` late."""
    return WALK_M_S * delay_s * (sensor_height_m / FRAMED_M) ** 2 / (f_number * blur_m)


def _with(camera: CameraPrep, delay_s: float, lenses: Sequence[LensPrep]) -> CameraPrep:
    """The camera with its finding, where sensor and stop are known."""
    height_mm = camera.camera.sensor_height_mm
    worst: tuple[float, StopView] | None = None
    for entry in lenses:
        stop, blur_m = entry.shooting or entry.widest, float(sharp_blur_m(camera.coc_m, entry.blur_floor_m))
        if stop is None or height_mm is None or not blur_m > 0:
            continue
        share = late_share(delay_s, height_mm / 1e3, stop.f_number, blur_m)
        if worst is None or share > worst[0]:
            worst = share, stop
    if worst is None:
        return camera
    return replace(camera, findings=tuple(sort_findings([*camera.findings, _finding(camera, delay_s, *worst)])))


def _finding(camera: CameraPrep, delay_s: float, share: float, stop: StopView) -> Finding:
    severity: Severity = "watch" if share >= WATCH_FROM else "info"
    return Finding(
        "picture.late",
        severity,
        f"camera {camera.camera.letter}",
        f"Its monitor is {1e3 * delay_s:.0f} ms late: somebody walking toward it, framed from the waist up, is "
        f"{100 * WALK_M_S * delay_s:.0f} cm nearer than it shows, {percent(share)} of the depth at {stop.text} "
        f"(assumed: {WALK_M_S:g} m/s, {FRAMED_M:g} m high in the picture).",
        "Pull by eye and marks, or lead by as much; tapehook pull counts it for each shot."
        if severity == "watch"
        else "Nothing to do; a wider framing or a smaller stop makes it less, a tighter one more.",
        depth_used(share, stop.text),
        camera=camera.camera.letter,
    )
