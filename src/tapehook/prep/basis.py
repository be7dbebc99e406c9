"""What the depth of one lens rests on: its stops, its pupil, what counts as sharp; and every assumption in that."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.records import Camera, Criterion, Job, Lens
from tapehook.notation import (
    FULL_STOPS,
    FocalRange,
    NotationError,
    format_focal_length,
    format_stop,
    parse_stop,
)
from tapehook.optics import (
    ASSUMED_TRANSMISSION,
    Pupil,
    coc_diagonal_m,
    coc_photosites_m,
    coc_viewing_m,
    depth_uncertainty,
    f_number_from_t,
    focus_state,
    pupil_as_it_moves,
    sharp_blur_m,
    thin_pupil,
    width_uncertainty,
)
from tapehook.prep.charts import MeasuredPupil, measured_pupil
from tapehook.prep.results import PupilSource, StopView

Floats = npt.NDArray[np.float64]

MM = 1e-3
DEFAULT_COC_M = 0.025e-3
DEPTH_STOPS = 5


@dataclass(frozen=True, slots=True)
class Optics:
    """What depth is computed with.

    ``focal_m`` is the long end of a zoom, where depth is least, as engraved or as charts found it; ``blur_m`` the disc
    that defocus may still add to the blur floor.
    """

    focal_m: float
    pupil: Pupil
    pupil_source: PupilSource
    blur_m: float
    charts: MeasuredPupil | None = None
    """The charts ``focal_m`` and ``pupil`` come from, when they are the source."""
    growth_half: float = 0.0
    """How far the growth of the f-number may be off for each unit of m: of typed pupil data, where a part moves."""

    @property
    def pupil_known(self) -> bool:
        """False for the thin lens that stands in."""
        return self.pupil_source != "thin"


@dataclass(frozen=True, slots=True)
class Basis:
    """What the depth of one lens rests on; ``optics`` is None when not even the focal length is known."""

    optics: Optics | None
    transmission: float
    transmission_known: bool
    coc_m: float
    coc_text: str
    blur_floor_m: float
    widest: StopView | None
    shooting: StopView | None
    depth_stops: tuple[StopView, ...]
    system: Literal["metric", "imperial"]
    assumptions: tuple[str, ...]

    @property
    def t_over_n(self) -> float:
        """T/N as assumed; 1 when the transmission was measured."""
        return 1.0 if self.transmission_known else 1.0 / math.sqrt(self.transmission)


def width_spread(optics: Optics, distance_m: npt.ArrayLike) -> Floats:
    """Uncertainty of the width of the depth at distances (G,) from the image plane, as fractions: the pupil's part.

    With charts that fit, never more than is said of a thin lens, to which all lenses come far away.
    """
    plain = depth_uncertainty(distance_m, optics.focal_m, pupil_known=optics.pupil_source == "given")
    if optics.growth_half:
        plain = plain + optics.growth_half * focus_state(distance_m, optics.focal_m, optics.pupil).magnification
    if optics.charts is None:
        return plain
    spread = width_uncertainty(optics.charts.found, distance_m)
    return np.minimum(spread, plain) if optics.charts.found.agrees else spread


def basis_of(lens: Lens, job: Job) -> Basis:
    """Work out what the depth of ``lens`` rests on in ``job``, with one sentence for each assumption."""
    assumptions: list[str] = []
    focal_m = lens.focal_mm * MM if lens.focal_mm else None
    transmission, known = _transmission(lens, assumptions)
    coc_m, coc_text = _strictest_coc(lens, job)
    floor_m = (lens.blur_floor_mm or 0.0) * MM
    optics = _optics(lens, job, focal_m, float(sharp_blur_m(coc_m, floor_m)), assumptions) if focal_m else None
    widest = stop_view(lens.t_stop, transmission) if lens.t_stop else None
    shooting = _shooting(job, widest, transmission)
    if lens.kind == "zoom" and focal_m:
        assumptions.append(f"Depth is worked out at the long end, {focal_m / MM:g} mm, where it is least.")
    if lens.blur_floor_mm is None:
        assumptions.append("No blur floor was measured: the lens is taken to be sharp at best focus.")
    return Basis(
        optics,
        transmission,
        known,
        coc_m,
        coc_text,
        floor_m,
        widest,
        shooting,
        _depth_stops(widest, shooting, transmission),
        _system(lens, job),
        tuple(assumptions),
    )


def stop_view(t_number: float, transmission: float) -> StopView:
    """A T-number as printed, with the f-number that depth follows."""
    return StopView(format_stop(t_number), t_number, float(f_number_from_t(t_number, transmission)))


def job_shooting_t(job: Job) -> float | None:
    """T-number of the job's shooting stop; None when there is none or it cannot be read."""
    if not job.shooting_stop:
        return None
    try:
        return parse_stop(job.shooting_stop).number
    except NotationError:
        return None


def lens_title(lens: Lens) -> str:
    """How a lens is called on every page: "50 mm T1.5 · serial 3184"."""
    parts = []
    if lens.focal_mm:
        short = lens.focal_min_mm if lens.kind == "zoom" and lens.focal_min_mm else lens.focal_mm
        parts.append(format_focal_length(FocalRange(min(short, lens.focal_mm) * MM, lens.focal_mm * MM)))
    else:
        parts.append(lens.id)
    if lens.t_stop:
        parts.append(format_stop(lens.t_stop))
    serial = f"serial {lens.serial}" if lens.serial else "serial not read"
    return f"{' '.join(parts)} · {serial}"


def _transmission(lens: Lens, assumptions: list[str]) -> tuple[float, bool]:
    if lens.transmission is not None:
        return lens.transmission, True
    spread = 100 * (1 / math.sqrt(ASSUMED_TRANSMISSION) - 1)
    assumptions.append(
        f"Transmission not measured: {ASSUMED_TRANSMISSION * 100:.0f} % assumed, so the depth may be "
        f"{spread:.0f} % wider or narrower."
    )
    return ASSUMED_TRANSMISSION, False


def _optics(lens: Lens, job: Job, focal_m: float, blur_m: float, assumptions: list[str]) -> Optics:
    """Pupil data if complete, else what charts of known width say, else the thin lens."""
    if lens.pupil_to_sensor_mm is not None and lens.pupil_magnification is not None:
        assumptions.append(_TYPED[lens.focuses_by])
        typed = Pupil(lens.pupil_to_sensor_mm * MM, lens.pupil_magnification)
        pupil, half = (typed, 0.0)
        if lens.focuses_by in ("front", "inner"):
            pupil, half = pupil_as_it_moves(typed, focal_m, lens.focuses_by)
        return Optics(focal_m, pupil, "given", blur_m, growth_half=half)
    measured = measured_pupil(lens, job)
    if measured is not None and measured.plausible:
        assumptions.append(_from_charts(measured, lens))
        return Optics(measured.found.focal_m, measured.found.pupil, "charts", blur_m, measured)
    assumptions.append(
        "Pupil data missing: depth is that of a thin lens, with its +- printed beside it. "
        "One chart of known width at a taped distance would put the pupil in its place."
    )
    return Optics(focal_m, thin_pupil(focal_m), "thin", blur_m)


_WHOLE = "Pupil data are used as for a lens that focuses by moving as a whole."
_TYPED = {
    "whole": _WHOLE,
    "front": "Pupil data are used as for a lens whose front moves and whose iris stays: its f-number stays close up.",
    "inner": "Pupil data are used as for a lens whose inner groups move: half the growth of the f-number close up, "
    "with as much in the +-.",
    None: _WHOLE,
}
_MOVES = {
    "whole": "it moves as a whole",
    "front": "its front moves and the iris stays",
    "inner": "inner groups move, so half that growth of the f-number close up is taken",
    None: "it is taken to move as a whole, as nobody said; the +- allows for one that focuses by its front",
}


def _from_charts(measured: MeasuredPupil, lens: Lens) -> str:
    """The sentence on what depth from charts rests on."""
    found = measured.found
    count = "one chart" if found.charts == 1 else f"{found.charts} charts"
    return (
        f"The depth rests on {count} of known width; no chart in focus tells the pupil magnification, taken as usual "
        f"for the place of the front focal point ({1.0 / found.inverse_magnification:.2g}); {_MOVES[lens.focuses_by]}."
    )


def camera_coc(camera: Camera | None, criterion: Criterion) -> tuple[float, str] | None:
    """Largest blur disc for one camera in metres, and how it was chosen; None when the camera lacks the data."""
    width = camera.sensor_width_mm if camera else None
    height = camera.sensor_height_mm if camera else None
    if criterion.name == "diagonal":
        divisor = criterion.divisor or 1500.0
        if width and height:
            return float(coc_diagonal_m(width * MM, height * MM, divisor)), f"diagonal / {divisor:g}"
        return None
    if criterion.name == "photosites":
        count = criterion.photosites or 2.0
        if camera and camera.photosite_um:
            return float(coc_photosites_m(camera.photosite_um * 1e-6, count)), f"{count:g} photosites"
        return None
    if criterion.name == "viewing":
        heights, arc = criterion.picture_heights or 3.0, criterion.arcminutes or 1.0
        if height:
            text = f"{arc:g} arcmin seen from {heights:g} picture heights"
            return float(coc_viewing_m(height * MM, heights, arc)), text
        return None
    coc_m = criterion.coc_mm * MM if criterion.coc_mm else DEFAULT_COC_M
    return coc_m, "fixed" if criterion.coc_mm else "fixed, not chosen by the job"


def cameras_of(lens: Lens, cameras: Sequence[Camera]) -> tuple[Camera, ...]:
    """Cameras that may carry the lens: those it names, or all."""
    named = set((lens.camera or "").split())
    return tuple(camera for camera in cameras if camera.letter in named) if named else tuple(cameras)


def _strictest_coc(lens: Lens, job: Job) -> tuple[float, str]:
    """Smallest disc over the cameras that may carry the lens; the default when none has the data."""
    candidates = [camera_coc(camera, job.criterion) for camera in cameras_of(lens, job.cameras) or (None,)]
    found = [candidate for candidate in candidates if candidate]
    if not found:
        return (
            DEFAULT_COC_M,
            f"{job.criterion.name} asked for, but no camera gives the data: 0.025 mm assumed",
        )
    return min(found)


def _system(lens: Lens, job: Job) -> Literal["metric", "imperial"]:
    if lens.engraved_in is None:
        return job.units
    return "imperial" if lens.engraved_in == "feet" else "metric"


def _shooting(job: Job, widest: StopView | None, transmission: float) -> StopView | None:
    """The job's shooting stop for this lens: its widest where it cannot open so far."""
    wanted = job_shooting_t(job)
    if wanted is None:
        return None
    return stop_view(max(wanted, widest.t_number) if widest else wanted, transmission)


def _depth_stops(widest: StopView | None, shooting: StopView | None, transmission: float) -> tuple[StopView, ...]:
    """Five stops for the depth table: the widest and whole stops from there, the shooting stop among them."""
    given = [view for view in (widest, shooting) if view]
    start = min((view.t_number for view in given), default=2.0)
    numbers = {round(view.t_number, 6): view for view in given}
    for label, exact in FULL_STOPS:
        t = float(label)
        close = any(abs(math.log2(exact / view.t_number)) < 0.25 for view in given)
        if len(numbers) < DEPTH_STOPS and exact > start and not close:
            numbers[round(t, 6)] = stop_view(t, transmission)
    return tuple(view for _, view in sorted(numbers.items()))
