"""What is said of chart tests: flange, scale or tape, whose fault, and whether a zoom holds focus."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tapehook.finding import Figure, Finding, Severity, sort_findings
from tapehook.lens.flange import MATTERS, SURE
from tapehook.lens.map import Z95
from tapehook.notation import FocalRange, format_distance, format_focal_length
from tapehook.prep.flange_split import limit_m
from tapehook.prep.results import BodyFlange, CameraPrep, FlangePrep, FlangesPrep, LensFlange, LensPrep, StopView
from tapehook.prep.room import optics_of
from tapehook.prep.wording import Maker, depth_used, percent

UM = 1e6
APART = 0.8
"""A chart test this likely to be wrong altogether is told."""
TECHNICIAN = "A shim is a lens technician's work; until it is set, find focus by the picture and not by the scale."
BODY_TECHNICIAN = (
    "Have the body's flange depth measured with a gauge by its technician, and shim no lens for it; until then find "
    "focus by the picture on this body."
)


def with_flanges(entries: Sequence[LensPrep], flanges: FlangesPrep) -> list[LensPrep]:
    """The lenses with what their chart tests have to say."""
    found = {one.lens_id: one for one in flanges.lenses}
    return [
        replace(entry, findings=tuple(sort_findings([*entry.findings, *_lens(entry, found[entry.lens.id], flanges)])))
        if entry.lens.id in found
        else entry
        for entry in entries
    ]


def cameras_with_flanges(
    cameras: Sequence[CameraPrep], entries: Sequence[LensPrep], flanges: FlangesPrep
) -> tuple[CameraPrep, ...]:
    """The cameras with what the chart tests say of their bodies."""
    known = {one.letter: one for one in flanges.bodies}
    by_id = {entry.lens.id: entry for entry in entries}
    return tuple(
        replace(camera, findings=(*camera.findings, *_body(known[camera.camera.letter], by_id)))
        if camera.camera.letter in known
        else camera
        for camera in cameras
    )


def side(shift_m: float) -> str:
    """Where the sensor lies, in words: never a bare plus or minus."""
    return "too far back" if shift_m > 0 else "too near"


def _severity(share: float) -> Severity:
    return "fix" if share >= 1.0 else "watch" if share >= MATTERS else "info"


def _judged(entry: LensPrep, found: FlangePrep) -> StopView:
    """The stop that shares are given at: the shooting stop, else the widest."""
    return entry.shooting or found.stop


def flange_used(flange_m: float, entry: LensPrep, stop: StopView) -> float:
    """A flange as a share of the depth of a tested lens at a stop: |delta| / (N c), the same at every distance."""
    optics = optics_of(entry)
    assert optics is not None  # noqa: S101 - it was tested
    return abs(flange_m) / (stop.f_number * optics.blur_m)


def _used(flange_m: float, entry: LensPrep, found: FlangePrep) -> float:
    return flange_used(flange_m, entry, _judged(entry, found))


def _lens(entry: LensPrep, one: LensFlange, flanges: FlangesPrep) -> Iterator[Finding]:
    make, found = Maker(entry.lens, entry.title), entry.flange
    if not isinstance(found, FlangePrep):
        yield make(
            "flange.unusable",
            "info",
            f"Its chart tests say nothing of the flange: {_WHY[str(found)]}.",
            str(one.next_test),
        )
        return
    yield from _apart(make, entry, found)
    yield _cause(make, entry, found, one, flanges)
    if found.charts.zooms > 1:
        yield _parfocal(make, entry, found)


_WHY = {
    "no_position": "no ring position was written down",
    "no_map": "the lens has no map to hold them against",
    "no_optics": "its focal length is not known",
    "no_stop": "no T-stop is known",
    "no_depth": "the blur floor leaves no depth",
    "beyond": "their numbers are not those of a lens",
    "too_near": "they stand nearer than any lens of this focal length can focus",
}


def _apart(make: Maker, entry: LensPrep, found: FlangePrep) -> Iterator[Finding]:
    for test, wrong in zip(found.tests, found.fit.slips.tolist(), strict=True):
        if wrong >= APART:
            where = test.written or format_distance(test.chart_distance_m, entry.system)
            row = f" (row {test.row} of the charts)" if test.row else ""
            yield make(
                "flange.test_apart",
                "watch",
                f"The chart test at {where}{row} is far from what the others say ({percent(wrong)} likely to be "
                "wrong), and hardly counts.",
                "Look at what was written down for it, or repeat it.",
            )


def _cause(make: Maker, entry: LensPrep, found: FlangePrep, one: LensFlange, flanges: FlangesPrep) -> Finding:
    if one.swap:
        return _swap(make, entry, found, one)
    if one.cause == "flange":
        return _flange(make, entry, found, one)
    if one.cause == "scale" and found.verdict.by_zoom:
        return _zoom_apart(make, found)
    if one.cause == "scale":
        return _scale(make, entry, found)
    if one.cause == "tape_offset":
        return _tape(make, found)
    if one.cause == "cannot_tell":
        return _cannot_tell(make, entry, found, one)
    return _fine(make, entry, found, one, flanges)


def _count(found: FlangePrep) -> str:
    return "one chart test" if len(found.tests) == 1 else f"{len(found.tests)} chart tests"


def _bodies(found: FlangePrep) -> str:
    names = [body for body in found.bodies if body]
    return f"camera {names[0]}" if len(names) == 1 else f"cameras {', '.join(names[:-1])} and {names[-1]}"


def shift_text(shift_m: float, sd_m: float) -> str:
    """Where the sensor lies with its +- (95 %): "10 +- 4 µm too far back"."""
    half = Z95 * sd_m * UM
    if abs(shift_m) * UM < 0.5:
        return f"within {half:.0f} µm of its place"
    return f"{abs(shift_m) * UM:.0f} +- {half:.0f} µm {side(shift_m)}"


def _of(share: float, spread: float) -> str:
    return f"{percent(share)} +- {percent(spread)} of the depth"


def _flange(make: Maker, entry: LensPrep, found: FlangePrep, one: LensFlange) -> Finding:
    flange_m, sd_m = one.flange_m or 0.0, one.sd_m or 0.0
    stop, share, spread = _judged(entry, found).text, _used(flange_m, entry, found), _used(Z95 * sd_m, entry, found)
    step = TECHNICIAN
    if one.together:
        step = (
            "Nobody wrote down the body: repeat on a body known to be good, with its letter in the column camera, "
            f"before anyone touches the lens. {TECHNICIAN}"
        )
    whose = "the lens and its body together put the sensor" if one.together else "the lens itself puts the sensor"
    return make(
        "flange.lens",
        _severity(share),
        f"By {_count(found)} {whose} {shift_text(flange_m, sd_m)}: {_of(share, spread)} at {stop}, at every distance.",
        step,
        depth_used(share, stop, spread),
    )


def _swap(make: Maker, entry: LensPrep, found: FlangePrep, one: LensFlange) -> Finding:
    flange_m, sd_m = found.fit.flange_m()
    stop, share, spread = _judged(entry, found).text, _used(flange_m, entry, found), _used(Z95 * sd_m, entry, found)
    return make(
        "flange.whose_fault",
        _severity(share),
        f"On {_bodies(found)} the sensor lies {shift_text(flange_m, sd_m)} for it ({_of(share, spread)} "
        f"at {stop}), and the tests cannot tell whether lens or body is off.",
        f"{one.next_test} Shim nothing before that is known.",
        depth_used(share, stop, spread),
    )


def _scale(make: Maker, entry: LensPrep, found: FlangePrep) -> Finding:
    at = found.fit.bodies
    kappa, sd = float(found.fit.mean()[at]), float(np.sqrt(found.fit.covariance()[at, at]))
    stop = _judged(entry, found)
    room = found.charts.room_dpt * stop.f_number / found.stop.f_number
    most = float((found.charts.q_dpt / room).max())
    share, spread = abs(kappa) * most, Z95 * sd * most
    way = "nearer" if kappa > 0 else "farther"
    return make(
        "flange.scale",
        _severity(share),
        f"By {_count(found)} its scale is off by {100 * abs(kappa):.1f} +- {100 * Z95 * sd:.1f} % of the vergence, the "
        f"ring standing {way} than the chart: up to {_of(share, spread)} at {stop.text}, "
        "most close up. The flange is not the cause, and a shim would not mend it.",
        "Make marks of your own from charts, and have a lens technician look at the scale.",
        depth_used(share, stop.text, spread),
    )


def _tape(make: Maker, found: FlangePrep) -> Finding:
    at = found.fit.bodies + 1
    tape_m, sd = float(found.fit.mean()[at]), float(np.sqrt(found.fit.covariance()[at, at]))
    way = "too short" if tape_m > 0 else "too long"
    return make(
        "flange.tape",
        "watch",
        f"By {_count(found)} every chart distance was written {1e3 * abs(tape_m):.0f} +- {1e3 * Z95 * sd:.0f} mm "
        f"{way}: the tape did not start at the image plane's mark. The lens is not the cause.",
        "Tape again from the mark of the image plane, and find best focus on one near chart to prove it.",
        Figure(1e3 * tape_m, "mm", 1e3 * Z95 * sd),
    )


def _zoom_apart(make: Maker, found: FlangePrep) -> Finding:
    return make(
        "flange.zoom",
        "info",
        f"By {_count(found)} no single flange fits all its focal lengths; see what is said of holding focus.",
        "A shim cannot mend that; it is a lens technician's work.",
        Figure(100 * found.verdict.off["zoom"], "% likely"),
    )


def _cannot_tell(make: Maker, entry: LensPrep, found: FlangePrep, one: LensFlange) -> Finding:
    flange_m, sd_m = found.fit.flange_m()
    stop, share, spread = _judged(entry, found).text, _used(flange_m, entry, found), _used(Z95 * sd_m, entry, found)
    off = 1.0 - found.verdict.fine
    if off >= SURE:
        said = f"By {_count(found)} something is off, but whether flange, scale or tape cannot be told"
    else:
        said = f"That something is off is {percent(off)} likely, which {_count(found)} cannot settle"
    return make(
        "flange.cannot_tell",
        "watch" if off >= SURE else "info",
        f"{said}. As far as they go, the sensor lies {shift_text(flange_m, sd_m)} ({_of(share, spread)} at {stop}).",
        f"{one.next_test} Touch nothing on these tests alone.",
        depth_used(share, stop, spread),
    )


def _fine(make: Maker, entry: LensPrep, found: FlangePrep, one: LensFlange, flanges: FlangesPrep) -> Finding:
    flange_m, sd_m = one.flange_m or 0.0, one.sd_m or 0.0
    stop, share, spread = _judged(entry, found).text, _used(flange_m, entry, found), _used(Z95 * sd_m, entry, found)
    blamed = [body.letter for body in flanges.bodies if body.letter in found.bodies and body.off >= SURE]
    message = (
        f"Its scale agrees with {_count(found)}: the sensor lies {shift_text(flange_m, sd_m)}, {_of(share, spread)} "
        f"at {stop}."
    )
    if found.verdict.cause == "flange" and blamed:
        message = (
            f"What {_count(found)} show on it comes from camera {' and '.join(blamed)}, not from the lens, for which "
            f"the sensor lies {shift_text(flange_m, sd_m)} ({_of(share, spread)} at {stop})."
        )
    step = "Nothing to do." if not blamed else "Do not shim this lens for the body."
    return make("flange.fine", "info", message, step, depth_used(share, stop, spread))


def _body(one: BodyFlange, by_id: dict[str, LensPrep]) -> Iterator[Finding]:
    """A body that is likely off, or what is known of it."""
    entries = [by_id[lens_id] for lens_id in one.lens_ids]
    worst = min(entries, key=lambda entry: limit_m(_tested(entry), entry))
    found = _tested(worst)
    stop = _judged(worst, found).text
    share, spread = _used(one.flange_m, worst, found), _used(Z95 * one.sd_m, worst, found)
    lenses = "one lens" if len(entries) == 1 else f"{len(entries)} lenses"
    figure = depth_used(share, stop, spread)
    subject = f"camera {one.letter}"
    message = (
        f"By chart tests of {lenses} the body itself puts the sensor {shift_text(one.flange_m, one.sd_m)}: "
        f"{_of(share, spread)} of {worst.lens.id} at {stop}."
    )
    if one.off >= SURE:
        yield Finding("flange.body", _severity(share), subject, message, BODY_TECHNICIAN, figure, camera=one.letter)
    elif one.off <= 1.0 - SURE and spread <= MATTERS:
        yield Finding("flange.body_fine", "info", subject, message, "Nothing to do.", figure, camera=one.letter)
    else:
        yield Finding(
            "flange.body_cannot_tell",
            "info",
            subject,
            f"Chart tests of {lenses} cannot tell whether the body is off: the sensor lies "
            f"{shift_text(one.flange_m, one.sd_m)} ({_of(share, spread)} of {worst.lens.id} at {stop}).",
            "Find best focus with two or three more lenses on it, far and near.",
            figure,
            camera=one.letter,
        )


def _tested(entry: LensPrep) -> FlangePrep:
    assert isinstance(entry.flange, FlangePrep)  # noqa: S101 - only tested lenses are listed
    return entry.flange


@dataclass(frozen=True, slots=True)
class Parfocal:
    """How well a zoom holds focus: the most depth used at another focal length when it is set sharp at the longest.

    A fraction with its half-width (95 %) at the focal length in metres; ``back_focus`` tells whether a sensor that lies
    wrong explains it.
    """

    used: float
    plus_minus: float
    focal_m: float
    stop: StopView
    back_focus: Literal["yes", "no", "cannot_tell", "fine"]


def parfocal(entry: LensPrep) -> Parfocal | None:
    """How a zoom tested at several focal lengths holds focus; None for other lenses."""
    found = entry.flange
    if not isinstance(found, FlangePrep) or found.charts.zooms == 1:
        return None
    stop = _judged(entry, found)
    drawn, bodies = found.fit.draws(), found.fit.bodies
    focal = np.array(found.focals_m)
    rooms = np.array([found.charts.room_dpt[found.charts.zoom == g].min() for g in range(found.charts.zooms)])
    rooms = rooms * stop.f_number / found.stop.f_number
    by_flange = -drawn[:, :bodies].mean(axis=1)[:, None] * (1.0 / focal[1:] ** 2 - 1.0 / focal[0] ** 2) / rooms[1:]
    by_groups = drawn[:, bodies + 2 :] / rooms[1:]
    shares = by_flange + by_groups
    worst = int(np.argmax(np.abs(shares.mean(axis=0))))
    used, sd = abs(float(shares[:, worst].mean())), float(shares[:, worst].std())
    off = np.abs(shares).max(axis=1) >= MATTERS
    explained = np.abs(by_flange[:, worst]) >= np.abs(by_groups[:, worst])
    part = float(explained[off].mean()) if off.any() else 0.0
    told: Literal["yes", "no", "cannot_tell", "fine"] = "cannot_tell"
    if float(off.mean()) <= 1.0 - SURE:
        told = "fine"
    elif float(off.mean()) >= 0.5 and max(part, 1.0 - part) >= SURE:
        told = "yes" if part >= SURE else "no"
    return Parfocal(used, Z95 * sd, found.focals_m[1 + worst], stop, told)


def _parfocal(make: Maker, entry: LensPrep, found: FlangePrep) -> Finding:
    told = parfocal(entry)
    assert told is not None  # noqa: S101 - the caller has looked
    longest, at = (format_focal_length(FocalRange(f, f)) for f in (found.focals_m[0], told.focal_m))
    message = (
        f"Set sharp at {longest}, it uses {percent(told.used)} +- {percent(told.plus_minus)} of the depth at {at} and "
        f"{told.stop.text}"
    )
    say = {
        "fine": ("it holds focus.", "Nothing to do."),
        "yes": (
            "the back focus explains it: the sensor lies wrong for it, and the wide end shows it most.",
            "Have the back focus set by a lens technician; a body that is off shows the same on every zoom.",
        ),
        "no": (
            "the back focus does not explain it.",
            "Its groups are off: a lens technician's work. Focus after each zoom.",
        ),
        "cannot_tell": (
            "the tests cannot tell whether that is the back focus.",
            "Find best focus on one far chart at three focal lengths, both ways, wide open.",
        ),
    }
    words, step = say[told.back_focus]
    severity: Severity = "info" if told.back_focus == "fine" else _severity(told.used)
    code = {"fine": "fine", "yes": "back_focus", "no": "groups", "cannot_tell": "cannot_tell"}[told.back_focus]
    figure = depth_used(told.used, told.stop.text, told.plus_minus)
    return make(f"parfocal.{code}", severity, f"{message}: {words}", step, figure)
