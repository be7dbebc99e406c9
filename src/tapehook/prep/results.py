"""What ``prepare`` returns: frozen results that pages, paper and commands show as they are.

Shares of the depth are fractions (1.0 = all the room on that side of the focus is gone) and stand beside the stop
they hold for. Distances are metres from the image plane, positions in the lens's own unit.
"""

from dataclasses import dataclass, field
from typing import Literal

from tapehook.finding import Finding
from tapehook.job.records import Axis, Camera, ChartTest, Job, Lens
from tapehook.lens import LensMap, Play
from tapehook.lens.copies import CopyDifference, CopySpread
from tapehook.lens.flange import Cause, ChartDeviations, FlangeFit, Verdict
from tapehook.lens.stop_shift import StopShift
from tapehook.lens.twins import BorrowedMap
from tapehook.optics import Pupil
from tapehook.prep.suspects import SuspectRow
from tapehook.shot import FocusBudget

PupilSource = Literal["given", "charts", "thin"]
"""Where pupil data come from: typed, from charts of known width, or the thin lens that stands in for them."""


@dataclass(frozen=True, slots=True)
class StopView:
    """A stop in use: as printed ("T2.8"), its T-number and the f-number that depth follows."""

    text: str
    t_number: float
    f_number: float


@dataclass(frozen=True, slots=True)
class MarkRow:
    """One mark of the focus ring against the map.

    ``error`` = position read minus position of the map, ``error_used`` the same as a share of the depth at the widest
    and the shooting stop (None without a focal length); ``held_out`` and ``held_out_sd`` = position read minus what
    the other marks say. ``suspect`` when its readings cannot be right and none went into the map.
    """

    text: str
    value: float
    position: float
    map_position: float
    error: float
    used_widest: float | None
    used_shooting: float | None
    held_out: float
    held_out_sd: float
    taped: bool
    both_ways: bool
    suspect: bool


@dataclass(frozen=True, slots=True)
class RoundRow:
    """Ring position for a round distance: position with the half-width of its 95 % band."""

    text: str
    value: float
    system: Literal["metric", "imperial"]
    position: float
    plus_minus: float


@dataclass(frozen=True, slots=True)
class DepthRow:
    """Near and far for one distance at each stop of ``LensPrep.depth_stops``: metres, far may be inf."""

    text: str
    distance_m: float
    system: Literal["metric", "imperial"]
    near_m: tuple[float, ...]
    far_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class BudgetView:
    """A lens's focus budget at one stop over its range; ``role`` says which stop it is.

    ``near_m`` and ``far_m`` (may be inf) are the depth of field at the worst distance, from the image plane.
    """

    role: Literal["widest", "shooting"]
    stop: StopView
    budget: FocusBudget
    worst_text: str
    near_m: float
    far_m: float


@dataclass(frozen=True, slots=True)
class BorrowedPrep:
    """What a lens borrows from a copy of its model, or why it cannot; never a map of its own, and to be shown as such.

    ``own_map`` when it has a map from enough marks and needs none. ``used_p95`` is the share of the depth at ``stop``
    that 95 in 100 such lenses stay within at 95 in 100 distances, ``safe_from`` the first stop at which that is under a
    quarter, None where it is at none. Where nothing is lent ``refused`` is a word for programs and ``refusal`` says it.
    ``wanted`` are the two proof marks that would do most, where better ones are needed and can be named.
    """

    lens_id: str
    lender_id: str
    proof_marks: int
    own_map: bool
    stop: StopView | None
    spread: CopySpread
    borrowed_map: BorrowedMap | None = None
    used_p95: float | None = None
    safe_from: StopView | None = None
    refused: Literal["no_marks", "one_mark", "contradiction", "unit"] | None = None
    refusal: str | None = None
    wanted: "ProofWanted | None" = None


@dataclass(frozen=True, slots=True)
class ProofWanted:
    """Two marks to read on a lens that borrows, metres, and the share of the depth it may then be expected to use.

    ``used`` is as ``BorrowedPrep.used_p95``, at the same stop; None where it cannot be worked out.
    """

    far_m: float
    near_m: float
    used: float | None


@dataclass(frozen=True, slots=True)
class CopyPrep:
    """Two copies with maps of their own: how the map of ``lens_id`` differs from that of ``lender_id``.

    ``offset`` and its half-width (95 %) are the index, in the lens's unit. ``as_it_stands`` and ``after_offset`` are
    the most depth used at ``stop``: share, half-width (95 %) and distance in metres. ``unlike`` when they differ by
    more than copies of one model do.
    """

    lens_id: str
    lender_id: str
    difference: CopyDifference
    offset: float
    offset_plus_minus: float
    stop: StopView
    as_it_stands: tuple[float, float, float]
    after_offset: tuple[float, float, float]
    unlike: bool


@dataclass(frozen=True, slots=True)
class TwinsPrep:
    """The twins of a job: what is borrowed, how copies compare, and how copies are taken to differ."""

    borrowed: tuple[BorrowedPrep, ...] = ()
    copies: tuple[CopyPrep, ...] = ()
    spread: CopySpread = field(default_factory=CopySpread)


FlangeUnusable = Literal["no_position", "no_map", "no_optics", "no_stop", "no_depth", "too_near", "beyond"]
"""Why the chart tests of a lens say nothing of its flange."""


@dataclass(frozen=True, slots=True)
class FlangePrep:
    """What the chart tests of one lens say; ``stop`` is the one it was judged for, its widest.

    ``bodies`` names the bodies that ``charts.body`` numbers, (None,) where nobody wrote down a body; ``focals_m`` the
    focal lengths of ``charts.zoom``. ``tests`` are the rows used, in the order of ``charts``.
    """

    charts: ChartDeviations
    fit: FlangeFit
    verdict: Verdict
    stop: StopView
    bodies: tuple[str | None, ...]
    focals_m: tuple[float, ...]
    tests: tuple[ChartTest, ...]
    stop_shift: StopShift | None = None
    """How best focus moves on stopping down; None without charts at two stops. Taken off the tests before the fit."""


@dataclass(frozen=True, slots=True)
class ZoomRow:
    """What one strip costs at one focal length, metres: the most it uses of the depth, and where.

    ``used`` is a fraction with its half-width (95 %) at the stop the lens is judged at, ``distance_m`` may be inf.
    ``shift_dpt`` is the difference there in dioptres, positive: the ring has to go nearer.
    """

    focal_m: float
    used: float
    plus_minus: float
    distance_m: float
    shift_dpt: float


@dataclass(frozen=True, slots=True)
class SensorShift:
    """Something that moves focus as a move of the sensor would: ``shift_m``, positive: as if it lay too far back.

    ``role`` is the stop it holds at, None for every stop; ``sd_m`` how sure it is. ``kept`` says why the marks of
    strips and handover are not moved for it, None where they are; ``said`` names what stands behind the lens.
    """

    name: str
    shift_m: float
    role: Literal["widest", "shooting"] | None = None
    sd_m: float = 0.0
    kept: str | None = None
    said: str = ""


@dataclass(frozen=True, slots=True)
class LensFlange:
    """The flange of one lens, metres with its standard deviation, positive: the sensor too far back; None without any.

    ``together``: of the lens and the body together, as the body of its tests is not known. ``cause`` of what the
    charts show, ``next_test`` what to do to know more. ``swap``: another body or lens would tell whose fault it is.
    """

    lens_id: str
    flange_m: float | None
    sd_m: float | None
    cause: Cause
    next_test: str | None = None
    together: bool = False
    swap: bool = False


@dataclass(frozen=True, slots=True)
class BodyFlange:
    """The flange of one body, metres with its standard deviation, positive: the sensor too far back.

    ``lens_ids`` were tested on it; ``off`` the probability that it uses a quarter of the depth of one of them.
    """

    letter: str
    flange_m: float
    sd_m: float
    lens_ids: tuple[str, ...]
    off: float


@dataclass(frozen=True, slots=True)
class FlangesPrep:
    """The flange of all lenses with chart tests, and of the bodies they were tested on, in the order of the job."""

    lenses: tuple[LensFlange, ...] = ()
    bodies: tuple[BodyFlange, ...] = ()

    def lens(self, lens_id: str) -> LensFlange | None:
        """The lens with that id; None when it has no chart test."""
        return next((one for one in self.lenses if one.lens_id == lens_id), None)


@dataclass(frozen=True, slots=True)
class AxisPrep:
    """One mapped ring: the map, or the sentence that says why there is none."""

    axis: Axis
    lens_map: LensMap | None
    refusal: str | None
    readings: int


@dataclass(frozen=True, slots=True)
class LensPrep:
    """Everything found out about one lens.

    ``pupil`` is what the depth was computed with (thin lens unless ``pupil_known``); ``coc_m`` the largest blur that
    passes, ``blur_floor_m`` what is left at best focus; ``noise`` and positions in the lens's unit.
    ``close_focus_m`` is     the near end the map was drawn to. Fields are None where the data do not allow them.
    """

    lens: Lens
    title: str
    system: Literal["metric", "imperial"]
    axes: dict[Axis, AxisPrep]
    pupil: Pupil | None
    pupil_known: bool
    pupil_source: PupilSource | None
    depth_focal_m: float | None
    """Focal length the depth was computed with: engraved, or as several charts found it."""
    transmission: float
    transmission_known: bool
    coc_m: float
    coc_text: str
    blur_floor_m: float
    close_focus_m: float | None
    widest: StopView | None
    shooting: StopView | None
    play: Play | None
    play_used: float | None
    """Most of the depth that half the backlash takes over the range, at the widest stop."""
    one_way: bool
    marks: tuple[MarkRow, ...]
    suspects: tuple[SuspectRow, ...]
    rounds: tuple[RoundRow, ...]
    depth_stops: tuple[StopView, ...]
    depth_rows: tuple[DepthRow, ...]
    depth_uncertainty: tuple[float, float] | None
    """Smallest and largest uncertainty of the width over the range, as fractions; (0, 0) with pupil data."""
    budgets: tuple[BudgetView, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    flange: FlangePrep | FlangeUnusable | None = None
    """What its chart tests say, or why they say nothing; None without any."""
    zoom: tuple["ZoomRow", ...] = ()
    """What one strip costs at each focal length that was read, widest first; empty without marks at several."""
    shifts: tuple[SensorShift, ...] = ()
    """What puts best focus elsewhere than its marks on the shoot: glass behind the lens, stopping down."""
    borrowed: BorrowedPrep | None = None
    """What it borrows, where it has too few marks for a map of its own and there is another copy."""

    @property
    def focus_map(self) -> LensMap | None:
        """The map of the focus ring, None when there is none."""
        axis = self.axes.get("focus")
        return axis.lens_map if axis else None

    def budget(self, role: Literal["widest", "shooting"]) -> BudgetView | None:
        """The budget at that stop, None when it could not be worked out."""
        return next((view for view in self.budgets if view.role == role), None)

    @property
    def worst_severity(self) -> str | None:
        """The worst severity among the findings: "fix", "watch", "info" or None."""
        kinds = {finding.severity for finding in self.findings}
        return next((kind for kind in ("fix", "watch", "info") if kind in kinds), None)


@dataclass(frozen=True, slots=True)
class CameraPrep:
    """One camera and the lenses it carries (ids); ``camera`` is None for a job that names no cameras."""

    camera: Camera
    lens_ids: tuple[str, ...]
    coc_m: float
    coc_text: str
    findings: tuple[Finding, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Prep:
    """A whole job, prepared. ``findings`` are all findings, worst first; ``lenses`` in the order of the job."""

    job: Job
    shooting_stop_text: str | None
    lenses: tuple[LensPrep, ...]
    cameras: tuple[CameraPrep, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    twins: TwinsPrep = field(default_factory=TwinsPrep)
    flanges: FlangesPrep = field(default_factory=FlangesPrep)

    def lens(self, lens_id: str) -> LensPrep:
        """The lens with that id. Raises KeyError when the job has none."""
        for entry in self.lenses:
            if entry.lens.id == lens_id:
                return entry
        raise KeyError(lens_id)
