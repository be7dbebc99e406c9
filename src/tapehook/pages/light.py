"""The page of light: exposure from its sliders, and the course of a stop pull over time with all four motors."""

import math
import threading
from collections import OrderedDict
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

from pydantic import Field

from tapehook.finding import Finding
from tapehook.job.problems import JobProblems
from tapehook.job.records import Lens
from tapehook.job.shots import Shot, shot_from
from tapehook.job.stop_pulls import StopPullPlan, stop_pull_from, stop_pull_of
from tapehook.notation import (
    LUX_PER_FOOT_CANDLE,
    NotationError,
    Shutter,
    format_stop,
    format_stop_in_thirds,
    parse_filter,
    parse_light,
    parse_number,
    parse_shutter,
)
from tapehook.optics.flicker import in_step, mains_pulses_hz, ripple_stops, safe_shutters
from tapehook.pages.asked import Asked, Short
from tapehook.pages.desk import JobNow
from tapehook.pages.typed import Misread, Reader
from tapehook.picture.pull_chart import StopFrame, pull_chart, stop_frame
from tapehook.prep import Prep
from tapehook.prep import exposure as exposed
from tapehook.prep.exposure import Exposure, NoExposure, OnHand, Solved, exposure_of, what_to_solve
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shots import ShotPlan, plan_shot
from tapehook.prep.speed_ramp import ramp_as_json
from tapehook.prep.stop_pull import StopPullPrep, prepare_stop_pull
from tapehook.prep.stop_pull_chart import pull_chart_of
from tapehook.prep.stop_pull_findings import stop_pull_findings
from tapehook.prep.stop_pull_motors import with_shot

WIDE, NARROW = (660.0, 470.0), (330.0, 430.0)
"""Width and height of the picture of a pull, points."""
Given = Literal["stop", "ei", "fps", "shutter", "light"]
GIVEN: tuple[Given, ...] = ("stop", "ei", "fps", "shutter", "light")
MOST_MARKS = 50
_TOLERANCE_STOPS = 0.05
_MOST_PULLS = 50
_EI = (
    "100", "125", "160", "200", "250", "320", "400", "500", "640", "800", "1000", "1250", "1600", "2000",
    "2500", "3200", "4000", "5000", "6400", "12800",
)  # fmt: skip
_FPS = (
    "6", "8", "12", "16", "18", "20", "22", "23.976", "24", "25", "29.97", "30", "33", "36",
    "40", "48", "50", "60", "72", "75", "96", "100", "120", "150", "200",
)  # fmt: skip
_ANGLES = (
    "11.25", "22.5", "45", "60", "72", "86.4", "90", "108", "120", "144", "150", "160", "172.8", "180",
    "200", "216", "240", "270", "288", "300", "330", "360",
)  # fmt: skip
_NEW: tuple[str, str] = ("0 stop T2", "6 stop T8")


class ExposureAsked(Asked):
    """An exposure, figures as they are written; ``solve`` names what is found from the rest."""

    solve: Literal["exposure", "nd", "stop", "ei", "fps", "shutter", "light"] = "exposure"
    stop: Short = ""
    ei: Short = ""
    fps: Short = ""
    shutter: Short = ""
    light: Short = ""
    nd: Short = ""
    lens: Short = ""
    to_fps: Short = ""
    """Frames a second at the end of a ramp of speed."""


class StopPullAsked(Asked):
    """A stop pull, figures as they are written; empty: assumed.

    A mark of the course is "0.5 stop T2": seconds, what is wanted (stop, depth in metres or blur in millimetres), and
    how much of it.
    """

    shot: Annotated[Short, Field(description="A shot whose motors are shown beside")] = ""
    lens: Short = ""
    filter: Short = ""
    course: tuple[Short, ...] = Field(default=(), max_length=MOST_MARKS)
    easing: Literal["eased", "even"] = "eased"
    fps: Short = ""
    lag_ms: Short = ""
    iris_speed: Short = ""
    extra_speed: Short = ""
    extra_backlash: Short = ""
    extra_set: Literal["", "both", "below", "above"] = ""
    extra_from: Short = ""
    extra_to: Short = ""
    density_plus_minus: Short = ""
    tolerance: Short = ""
    distance: Short = ""
    background: Short = ""
    end: Annotated[float | None, Field(gt=0, le=1000)] = None
    narrow: bool = False


KEYS = {
    "fps": "frames_per_second",
    "lag_ms": "lag_between_ms",
    "iris_speed": "iris_speed_deg_s",
    "extra_speed": "extra_speed_deg_s",
    "extra_backlash": "extra_backlash_deg",
    "extra_from": "extra_from_deg",
    "extra_to": "extra_to_deg",
    "density_plus_minus": "density_plus_minus",
    "tolerance": "tolerance_stops",
    "distance": "distance_m",
    "background": "background_m",
}
"""Fields of the page that are numbers, and the keys of the shot's file they stand for."""
_WANTED = {"stop": "stop", "depth": "depth_m", "blur": "blur_mm"}


# --- exposure ----------------------------------------------------------------------------------------------------


def usual_exposure(now: JobNow) -> dict[str, str]:
    """What the sliders start from: the shooting stop, with the light that it takes."""
    imperial = now.job.units == "imperial"
    start = {"stop": now.job.shooting_stop or "T2.8", "ei": "800", "fps": "24", "shutter": "180°", "nd": "0.0"}
    usual = "24 fc" if imperial else "260 lx"
    try:
        found = exposure_asked(now, ExposureAsked(solve="light", light=usual, **start))
    except Misread:
        return {**start, "stop": "T2.8", "light": usual}
    lux = found.value or 1.0
    return {**start, "light": f"{_three(lux / LUX_PER_FOOT_CANDLE)} fc" if imperial else f"{_three(lux)} lx"}


def exposure_asked(now: JobNow, asked: ExposureAsked) -> Exposure:
    """The exposure of the fields. Raises Misread with all that cannot be read or cannot be."""
    reader = Reader()
    light = asked.light.lower()
    read = exposed.Asked(
        reader.take("stop", asked.stop, exposed.t_stop, "a T-stop such as T4"),
        reader.take("EI", asked.ei, exposed.EI, "an exposure index such as 800"),
        reader.take("frame rate", asked.fps, exposed.FRAME_RATE, "a frame rate such as 24"),
        reader.take("shutter", asked.shutter, parse_shutter, "an angle or time such as 180°"),
        reader.take("light", asked.light, parse_light, "a light such as 24 fc"),
        reader.take("ND", asked.nd, lambda text: parse_filter(text, bare_density=True), "a density such as 0.6") or 0.0,
        filtered=asked.solve != "nd",
        imperial="l" not in light or "candle" in light,
    )
    if asked.solve == "nd":
        read = replace(read, density=0.0)
    lens = _lens_of(now, asked.lens, reader)
    reader.done()
    try:
        solved = _solved(asked, read)
        return exposure_of(_without(read, solved), solved, OnHand(lens, now.job.filters))
    except NoExposure as trouble:
        reader.refuse(*_cannot(trouble, asked))
        raise Misread(reader.problems) from None


def _cannot(trouble: NoExposure, asked: ExposureAsked) -> tuple[str, str, str]:
    """What no camera can do: field, what was read there, and what was expected."""
    if trouble.field is None:
        return "exposure", "", f"all but one of them; left out are {trouble.said}"
    return trouble.field, getattr(asked, trouble.field), f"{trouble.expected}: as it is, it {trouble.said}"


def _solved(asked: ExposureAsked, read: exposed.Asked) -> Solved:
    """What is to be found; refused where another thing was left out besides."""
    given = [name for name in GIVEN if getattr(asked, name).strip() and name != asked.solve]
    found = what_to_solve(_without(read, asked.solve), given)
    return asked.solve if found in {asked.solve, "nd", "exposure"} else found


def _without(read: exposed.Asked, solved: str) -> exposed.Asked:
    """As it was read, but for what is to be found: its slider still stands somewhere."""
    field = {"stop": "stop", "ei": "ei", "fps": "fps", "shutter": "shutter", "light": "light_lux"}.get(solved)
    left: dict[str, Any] = {field: None} if field else {}
    return replace(read, **left)


def _lens_of(now: JobNow, name: str, reader: Reader) -> Lens | None:
    found = next((one for one in now.job.lenses if one.id == name), None)
    if name and found is None:
        reader.refuse("lens", name, "the id of a lens of the job")
    return found


def flicker_said(exposure: Exposure) -> list[tuple[str, bool, str]]:
    """For 50 and 60 Hz mains: which, whether the shutter is steady, and the words; none without a shutter and speed."""
    asked, value = exposure.asked, exposure.value
    fps = value if exposure.solved == "fps" else asked.fps
    time_s = asked.time_s
    if exposure.solved == "shutter" and fps:
        time_s = (value or math.nan) / 360.0 / fps
    elif exposure.solved == "fps" and fps and asked.shutter and asked.shutter.angle_deg:
        time_s = asked.shutter.angle_deg / 360.0 / fps
    if not fps or not time_s:
        return []
    return [_flicker(mains, fps, time_s) for mains in (50.0, 60.0)]


def _flicker(mains_hz: float, fps: float, time_s: float) -> tuple[str, bool, str]:
    pulses = mains_pulses_hz(mains_hz)
    ripple = float(ripple_stops(time_s, pulses))
    name = f"{mains_hz:g} Hz"
    if in_step(fps, pulses):
        return name, True, "steady with any shutter while camera and mains keep in step"
    if ripple <= _TOLERANCE_STOPS:
        return name, True, f"steady, {ripple:.2f} stop at most"
    angle = 360.0 * fps * time_s
    near = min(safe_shutters(fps, pulses), key=lambda one: abs(one.angle_deg - angle), default=None)
    way = "no shutter is steady at this speed" if near is None else f"steady at {near.angle_deg:.4g}°"
    much = f"{ripple:.2f} stop" if math.isfinite(ripple) else "any amount"
    return name, False, f"flickers by up to {much}; {way}"


def _ramp_said(exposure: Exposure, to_fps: str) -> list[tuple[str, bool, str]]:
    """The same for a ramp of speed, the shutter kept as it is given; none without one. Raises Misread."""
    reader = Reader()
    end = reader.take("ramp to", to_fps, exposed.FRAME_RATE, "a frame rate such as 48")
    asked, value = exposure.asked, exposure.value
    fps, shutter = value if exposure.solved == "fps" else asked.fps, asked.shutter
    if exposure.solved == "shutter" and value:
        shutter = Shutter(value, None)
    if end is not None and shutter is not None and shutter.time_s and max(end, fps or 0.0) * shutter.time_s > 1 + 1e-9:
        reader.refuse("ramp to", to_fps, f"a shutter that fits a frame at {max(end, fps or 0.0):g} fps")
    reader.done()
    if end is None or not fps or shutter is None:
        return []
    found = []
    for mains in (50.0, 60.0):
        one = ramp_as_json(shutter, fps, end, mains_pulses_hz(mains), tolerance_stops=_TOLERANCE_STOPS, modulation=1.0)
        found.append((f"{mains:g} Hz", not one["unsafe"], f"from {fps:g} to {end:g} fps it {one['text']}."))
    return found


def exposure_shown(now: JobNow, asked: ExposureAsked) -> dict[str, Any]:
    """What the part of exposure shows: the answer, or what cannot be read."""
    try:
        found = exposure_asked(now, asked)
    except Misread as trouble:
        return {"wrong": [one.sentence() for one in trouble.problems], "exposure": None, "flicker": [], "ramp": []}
    shown = {"wrong": [], "exposure": found, "flicker": flicker_said(found), "ramp": []}
    try:
        return {**shown, "ramp": _ramp_said(found, asked.to_fps)}
    except Misread as trouble:
        return {**shown, "wrong": [one.sentence() for one in trouble.problems]}


def steps_of(units: str) -> dict[str, list[str]]:
    """What each slider stops at: thirds of a stop, and the speeds and angles in use."""
    stops = [format_stop_in_thirds(2.0 ** (third / 6.0)) for third in range(28)]
    per_third = [2.0 ** (third / 3.0) for third in range(-12, 40)]
    unit, one = ("fc", 1.0) if units == "imperial" else ("lx", 10.0)
    return {
        "stop": stops,
        "ei": list(_EI),
        "fps": list(_FPS),
        "shutter": [f"{angle}°" for angle in _ANGLES],
        "nd": [f"{tenth / 10:.1f}" for tenth in range(31)],
        "light": [f"{_three(one * value)} {unit}" for value in per_third],
    }


def _three(value: float) -> str:
    """Three figures without a power of ten."""
    return f"{float(f'{value:.3g}'):.10g}"


# --- the stop pull -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShownPull:
    """A stop pull on the page: worked out, its findings, its picture and the frame of its course in it."""

    prep: StopPullPrep
    findings: tuple[Finding, ...]
    svg: str
    frame: StopFrame
    width: float
    height: float
    marks: tuple[tuple[float, float], ...]


def plan_asked(asked: StopPullAsked) -> StopPullPlan:
    """The plan of the fields. Raises Misread or JobProblems with what cannot be."""
    reader = Reader()
    table: dict[str, Any] = {"lens": asked.lens, "filter": asked.filter, "easing": asked.easing}
    for field, key in KEYS.items():
        value = reader.take(field.replace("_", " "), getattr(asked, field), _number_or_inf, "a number")
        table |= {} if value is None else {key: value}
    table |= {"extra_set_from": asked.extra_set} if asked.extra_set else {}
    marks = [_mark(at, text, reader) for at, text in enumerate(asked.course, start=1)]
    reader.done()
    table["course"] = sorted((mark for mark in marks if mark), key=lambda mark: float(mark["at_s"]))
    return stop_pull_of(table, "the stop pull")


def _number_or_inf(text: str) -> float:
    return math.inf if text.strip().lower() in {"inf", "∞"} else parse_number(text)


def _mark(at: int, text: str, reader: Reader) -> dict[str, Any]:
    """A mark of the course from "0.5 stop T2"."""
    moment, _, rest = text.strip().partition(" ")
    wanted, _, much = rest.strip().partition(" ")
    expected = "seconds, what is wanted and how much, such as 0.5 stop T2"
    if wanted not in _WANTED or not much.strip():
        reader.refuse(f"mark {at}", text, expected)
        return {}
    seconds = reader.need(f"mark {at}", moment, parse_number, expected)
    value: Any = much.strip()
    if wanted != "stop":
        value = reader.need(f"mark {at}", much, parse_number, expected)
    return {} if seconds is None or value is None else {"at_s": seconds, _WANTED[wanted]: value}


def as_asked(plan: StopPullPlan, name: str) -> StopPullAsked:
    """The fields of a plan that is kept, as they are written."""
    said = plan.model_fields_set
    fields = {field: _number(getattr(plan, key)) for field, key in KEYS.items() if key in said}
    course = []
    for point in plan.course:
        wanted = next(one for one, key in _WANTED.items() if getattr(point, key) is not None)
        value = getattr(point, _WANTED[wanted])
        course.append(f"{point.at_s:g} {wanted} {value if wanted == 'stop' else _number(value)}")
    return StopPullAsked(
        shot=name,
        lens=plan.lens,
        filter=plan.filter,
        course=tuple(course),
        easing=plan.easing,
        extra_set=plan.extra_set_from or "",
        **fields,
    )


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def first_asked(now: JobNow, texts: dict[str, str], name: str) -> StopPullAsked:
    """What the page opens with: the stop pull of that shot, else the first there is, else a new one."""
    for one in [name] if name else list(texts):
        try:
            return as_asked(stop_pull_from(texts.get(one, "").encode(), f"shots/{one}.toml"), one)
        except JobProblems:
            continue
    with_iris = {reading.lens_id for reading in now.job.readings if reading.axis == "iris"}
    lens = next((one.id for one in now.job.lenses if one.id in with_iris), "")
    on_hand = next((one.id for one in now.job.filters if one.kind in {"pair", "variable"}), "")
    return StopPullAsked(shot=name, lens=lens, filter=on_hand, course=_NEW)


def shot_in(texts: dict[str, str], name: str) -> Shot | None:
    """The shot around a stop pull; None where it is none, or one that cannot be read."""
    try:
        return shot_from(texts[name].encode("utf-8", "surrogatepass"), name) if name in texts else None
    except JobProblems:
        return None


def worked(now: JobNow, plan: StopPullPlan, name: str, shot: Shot | None) -> StopPullPrep:
    """A stop pull worked out, with the conflicts of its shot. Raises JobProblems."""
    return with_shot(prepare_stop_pull(now.job, plan, name or "new"), shot)


_PULLS: OrderedDict[tuple[int, str], tuple[JobNow, ShotPlan | None]] = OrderedDict()
"""Pulls by the state of a job, which is kept beside so that no other is taken for it, and the name of the shot."""
_PULLS_LOCK = threading.Lock()


def pull_of(now: JobNow, prep: Prep, name: str, shot: Shot | None) -> ShotPlan | None:
    """The pull of the focus in the same shot, kept while the job stands as it does; None where there is none."""
    if shot is None:
        return None
    key = (id(now), name)
    with _PULLS_LOCK:
        if key in _PULLS:
            return _PULLS[key][1]
    try:
        found = plan_shot(prep, shot, exact=False)
    except NoPlan:
        found = None
    with _PULLS_LOCK:
        _PULLS[key] = (now, found)
        while len(_PULLS) > _MOST_PULLS:
            _PULLS.popitem(last=False)
    return found


def shown_pull(
    pull: StopPullPrep, plan: StopPullPlan, around: ShotPlan | None, *, narrow: bool, end: float | None = None
) -> ShownPull:
    """A stop pull with its picture."""
    chart = pull_chart_of(pull, plan, around, end)
    width, height = NARROW if narrow else WIDE
    title = f"Stop pull {pull.name}"
    svg = pull_chart(chart, width=width, height=height, title=title)
    frame = stop_frame(chart, width, height)
    return ShownPull(pull, tuple(stop_pull_findings(pull)), svg, frame, width, height, tuple(chart.marks))


def filters_with_pull(now: JobNow) -> list[str]:
    """Filters that a stop pull can be made with."""
    return [one.id for one in now.job.filters if one.kind in {"pair", "variable"}]


def lenses_with_iris(now: JobNow) -> list[str]:
    """Lenses whose iris was read."""
    read = {reading.lens_id for reading in now.job.readings if reading.axis == "iris"}
    return [lens.id for lens in now.job.lenses if lens.id in read]


def t_text(value: float) -> str:
    """A T-number in thirds for a label; as a number where it is off the scale."""
    try:
        return format_stop_in_thirds(value).partition(" (")[0]
    except (ValueError, NotationError):
        return format_stop(value)
