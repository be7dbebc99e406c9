"""What people type into the pages, read as records: a reading, a column from a sheet, a chart test, a lens.

The same notation and the same records as in a job folder. Whatever cannot be read is said all at once, in words, and
nothing is written.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from pydantic import ValidationError

from tapehook.job import Approach, Camera, ChartTest, Job, Lens, Motor, Reading
from tapehook.job.problems import limit, shown
from tapehook.job.rear_filters import NOTHING, filters_behind
from tapehook.job.records import Method, Record
from tapehook.notation import (
    LengthUnit,
    NotationError,
    parse_distance,
    parse_focal_length,
    parse_length,
    parse_number,
    parse_position,
    parse_share,
    parse_stop,
)

Parsed = TypeVar("Parsed")
Kept = TypeVar("Kept", bound=Record)
MOST_ROWS = 2_000
SAME_FOCAL = 0.05
"""How far beyond its engraved ends a zoom may be said to have been set: rings are not read closer."""
_T_STOP = "a T-stop such as T1.5, no f-number"
_ENGRAVED: dict[str, LengthUnit] = {"feet": "ft", "metric": "m"}
WAYS: dict[str, Approach] = {"near_to_far": "near_to_far", "far_to_near": "far_to_near"}
_LABELS = {
    "sensor_width_mm": "width",
    "sensor_height_mm": "height",
    "photosite_um": "photosite",
    "lag_ms": "lag",
    "t_stop": "stop",
    "focal_mm": "focal length",
    "close_focus_m": "close focus",
    "temperature_c": "temperature",
    "chart_distance_m": "distance",
    "chart_width_m": "chart width",
    "value": "distance",
}
_PARTING = re.compile(r"\t|;|\s{2,}|(?<=\S)\s*\|\s*")


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that cannot be read: the field, the text, and what was expected; ``row`` in a pasted column."""

    field: str
    read: str
    expected: str
    row: int | None = None

    def sentence(self) -> str:
        """The problem in one sentence."""
        place = f"line {self.row}, {self.field}" if self.row else self.field
        return f'{place}: read "{shown(self.read)}", expected {self.expected}'

    def as_json(self) -> dict[str, str | int | None]:
        """The problem with the keys all problems have."""
        return {
            "file": None,
            "row": self.row,
            "field": self.field,
            "read": shown(self.read),
            "expected": self.expected,
            "sentence": self.sentence(),
        }


class Misread(Exception):
    """Something typed could not be read; ``problems`` are all that is wrong."""

    def __init__(self, problems: Sequence[Wrong]) -> None:
        super().__init__("\n".join(problem.sentence() for problem in problems))
        self.problems = tuple(problems)


def label(field: str) -> str:
    """The words that stand at the field of a record on the pages."""
    return _LABELS.get(field, field.replace("_", " "))


class Reader:
    """Reads fields one by one and gathers what is wrong with them."""

    def __init__(self, row: int | None = None) -> None:
        self.problems: list[Wrong] = []
        self._row = row

    def take(self, field: str, text: str | None, read: Callable[[str], Parsed], expected: str) -> Parsed | None:
        """The value of a field; None when it is blank or cannot be read."""
        if text is None or not text.strip():
            return None
        try:
            return read(text)
        except NotationError as trouble:
            self.refuse(field, text, trouble.expected)
        except ValueError:
            self.refuse(field, text, expected)
        return None

    def need(self, field: str, text: str | None, read: Callable[[str], Parsed], expected: str) -> Parsed | None:
        """The same for a field that must be filled."""
        if text is None or not text.strip():
            self.refuse(field, "", expected)
            return None
        return self.take(field, text, read, expected)

    def refuse(self, field: str, text: str, expected: str) -> None:
        """Note a problem."""
        self.problems.append(Wrong(field, text, expected, self._row))

    def done(self) -> None:
        """Raise Misread when anything was wrong."""
        if self.problems:
            raise Misread(self.problems)

    def limits(self, trouble: ValidationError) -> None:
        """Note values that a record refuses as beyond its limits."""
        for error in trouble.errors(include_url=False):
            field = str(error["loc"][0]) if error["loc"] else "value"
            words = limit(error).removeprefix(", ") or str(error["msg"]).removeprefix("Value error, ")
            self.refuse(label(field), str(error.get("input", ""))[:60], words)


def bare_unit(lens: Lens, units: str) -> LengthUnit:
    """The unit of a bare number typed as a distance: that of the lens's scale, else of the job."""
    engraved = lens.engraved_in or ("feet" if units == "imperial" else "metric")
    return "ft" if engraved == "feet" else "m"


@dataclass(frozen=True, slots=True)
class TypedReading:
    """One reading as typed. ``unit`` is that of a bare distance, where it is not the lens's own."""

    distance: str
    position: str
    approach: str | None = None
    taped: bool = False
    temperature: str | None = None
    unit: LengthUnit | None = None


def reading_of(typed: TypedReading, lens: Lens, units: str, row: int | None = None) -> Reading:
    """The record of a reading of the focus ring. Raises Misread."""
    reader = Reader(row)
    unit = typed.unit or bare_unit(lens, units)
    value = reader.need("distance", typed.distance, lambda text: parse_distance(text, bare_unit=unit), "a distance")
    position = reader.need("position", typed.position, lambda text: parse_position(text, lens.unit), "a position")
    celsius = reader.take("temperature", typed.temperature, _celsius, "a temperature such as 19 °C")
    reader.done()
    method: Method = "taped" if typed.taped else "engraved"
    given: dict[str, object] = {"lens_id": lens.id, "written": _written(typed.distance, unit), "value": value}
    given |= {"position": position, "method": method}
    if typed.approach in WAYS:
        given["approach"] = WAYS[typed.approach]
    if celsius is not None:
        given["temperature_c"] = celsius
    try:
        return Reading.model_validate(given)
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def _written(text: str, unit: LengthUnit) -> str:
    """The distance as typed; a bare number with the unit it was taken for, so that it means the same anywhere."""
    text = text.strip()
    return f"{text} {unit}" if re.fullmatch(r"[\d.,½¼¾⅛⅜⅝⅞ /]+", text) else text


def _celsius(text: str) -> float:
    return parse_number(re.sub(r"\s*°?\s*[cC]?\s*$", "", text))


def pasted(text: str, lens: Lens, units: str, *, approach: str | None, unit: LengthUnit | None) -> list[Reading]:
    """A column pasted from a sheet: each line a distance, a position and, if there is one, that of the way back.

    Empty lines and a first line of headings are left out. Raises Misread with all that is wrong.
    """
    readings: list[Reading] = []
    problems: list[Wrong] = []
    lines = [(at, line) for at, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) > MOST_ROWS:
        raise Misread([Wrong("column", f"{len(lines)} lines", f"at most {MOST_ROWS} lines at a time")])
    for at, line in lines:
        cells = _cells(line)
        if at == lines[0][0] and not any(sign.isdigit() for sign in line) and "inf" not in line.casefold():
            continue
        if len(cells) not in {2, 3}:
            problems.append(Wrong("line", line, "a distance and one or two positions, parted by tabs", at))
            continue
        ways = [approach] if len(cells) == 2 else ["near_to_far", "far_to_near"]
        for position, way in zip(cells[1:], ways, strict=True):
            if not position:
                continue
            try:
                readings.append(reading_of(TypedReading(cells[0], position, way, unit=unit), lens, units, at))
            except Misread as trouble:
                problems += trouble.problems
    if not readings and not problems:
        problems.append(Wrong("column", text[:60], "lines of a distance and a position"))
    if problems:
        raise Misread(list(dict.fromkeys(problems)))
    return readings


def _cells(line: str) -> list[str]:
    """The cells of a line: parted by tabs or semicolons; else by wide gaps; else the last word is the position."""
    cells = [cell.strip() for cell in _PARTING.split(line.strip())]
    if len(cells) == 1:
        first, _, last = line.strip().rpartition(" ")
        cells = [first.strip().rstrip(","), last] if first else cells
    return cells


def chart_of(lens: Lens, job: Job, **typed: str | None) -> ChartTest:
    """The record of a chart test from its fields as typed; it names no camera and no glass that ``job`` has not.

    Raises Misread.
    """
    reader = Reader()
    unit = bare_unit(lens, job.units)
    distance = reader.need(
        "distance", typed.get("distance"), lambda text: parse_distance(text, bare_unit=unit), "a distance"
    )
    position = reader.need(
        "position", typed.get("position"), lambda text: parse_position(text, lens.unit), "a position"
    )
    stop = reader.take("stop", typed.get("stop"), _t_number, _T_STOP)
    width = reader.take(
        "chart width", typed.get("width"), lambda text: parse_length(text, bare_unit="mm"), "a width such as 60 cm"
    )
    fill = reader.take("frame filled", typed.get("fill"), parse_share, "a part of the image width such as 80 %")
    focal = reader.take("focal length", typed.get("focal"), lambda text: _set_to(text, lens), _one_focal(lens))
    camera = reader.take("camera", typed.get("camera"), lambda text: _camera_in(text, job), _cameras_of(job))
    glass = reader.take("glass behind it", typed.get("glass"), lambda text: _glass_in(text, job), _glasses_of(job))
    reader.done()
    given: dict[str, object] = {"lens_id": lens.id, "written": _written(typed["distance"] or "", unit)}
    given |= {"chart_distance_m": distance, "position": position}
    found = {
        "t_stop": stop,
        "chart_width_m": width,
        "frame_fill": fill,
        "focal_mm": focal,
        "camera": camera,
        "approach": typed.get("approach") if typed.get("approach") in WAYS else None,
        "rear_filter": glass,
        "lines": typed.get("lines"),
    }
    given |= {name: value for name, value in found.items() if value is not None}
    try:
        return ChartTest.model_validate(given)
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def _set_to(text: str, lens: Lens) -> float:
    """What a zoom was set to, millimetres: one focal length that it has."""
    focal = parse_focal_length(text)
    found = round(focal.long_m * 1e3, 6)
    short, long = lens.focal_min_mm or lens.focal_mm, lens.focal_mm
    if focal.is_zoom or (short and long and not (1 - SAME_FOCAL) * short <= found <= (1 + SAME_FOCAL) * long):
        raise ValueError(text)
    return found


def _one_focal(lens: Lens) -> str:
    if not lens.focal_mm:
        return "one focal length such as 50 mm"
    if not lens.focal_min_mm:
        return f"that of the lens, {lens.focal_mm:g} mm"
    return f"one focal length of the lens, {lens.focal_min_mm:g} to {lens.focal_mm:g} mm"


def _camera_in(text: str, job: Job) -> str:
    """The letter of a camera of the job; any where it lists none, as in its tables."""
    letter, letters = text.strip(), [camera.letter for camera in job.cameras]
    if not letters or letter in letters:
        return letter
    alike = [one for one in letters if one.casefold() == letter.casefold()]
    if len(alike) != 1:
        raise ValueError(text)
    return alike[0]


def _cameras_of(job: Job) -> str:
    return f"a camera of the job: {', '.join(sorted(camera.letter for camera in job.cameras))}"


def _glass_in(text: str, job: Job) -> str:
    """What stood behind the lens: filters of the job, or that nothing did."""
    if filters_behind(text, job.filters)[1]:
        raise ValueError(text)
    return text.strip()


def _glasses_of(job: Job) -> str:
    listed = ", ".join(one.id for one in job.filters[:8])
    return f'"{NOTHING}", or filters of the job' + (f": {listed}" if listed else ", which lists none")


def _t_number(text: str) -> float:
    """A T-number; an f-number says nothing of light, and is refused as in the tables."""
    stop = parse_stop(text)
    if stop.scale == "f":
        raise ValueError(text)
    return stop.number


def camera_of(typed: Mapping[str, str | None], there: Camera | None) -> Camera:
    """The record of a camera from its fields as typed; what is not typed stays as ``there`` has it. Raises Misread."""
    reader, given = Reader(), dict[str, object]()
    for name in ("sensor_width_mm", "sensor_height_mm", "photosite_um"):
        value = reader.take(label(name), typed.get(name), parse_number, "a number")
        given |= {name: value} if value is not None else {}
    reader.done()
    given |= {name: text for name in ("letter", "name", "colour") if (text := typed.get(name))}
    return record_of(Camera, {**_as_it_is(there), **given})


def motor_of(typed: Mapping[str, str | None], lag_ms: float | None, there: Motor | None) -> Motor:
    """The same of a motor, its lag read already."""
    given: dict[str, object] = {name: text for name in ("id", "axis", "camera") if (text := typed.get(name))}
    given |= {"lag_ms": lag_ms} if lag_ms is not None else {}
    return record_of(Motor, {**_as_it_is(there), **given})


def _as_it_is(there: Camera | Motor | None) -> dict[str, object]:
    return {} if there is None else there.model_dump(exclude_unset=True)


def record_of(kind: type[Kept], given: Mapping[str, object]) -> Kept:
    """A record of what was read. Raises Misread with the values beyond its limits."""
    try:
        return kind.model_validate(given)
    except ValidationError as trouble:
        reader = Reader()
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def lens_of(row_id: str, **typed: str | None) -> Lens:
    """The record of a lens from its fields as typed. Raises Misread."""
    reader = Reader()
    focal = reader.need("focal length", typed.get("focal"), parse_focal_length, "a focal length such as 50 mm")
    stop = reader.take("widest stop", typed.get("stop"), _t_number, _T_STOP)
    unit = _ENGRAVED.get(typed.get("engraved_in") or "")
    near = reader.take(
        "close focus", typed.get("close_focus"), lambda text: parse_distance(text, bare_unit=unit), "a distance"
    )
    step = reader.take("reading step", typed.get("step"), parse_number, "a number such as 0.1")
    reader.done()
    given: dict[str, object] = {"id": row_id}
    if focal is not None:
        zoom = focal.is_zoom
        given |= {"kind": "zoom" if zoom else "prime", "focal_mm": round(focal.long_m * 1e3, 6)}
        given |= {"focal_min_mm": round(focal.short_m * 1e3, 6)} if zoom else {}
    found = {
        "t_stop": stop,
        "close_focus_m": near,
        "reading_step": step,
        **{name: typed.get(name) for name in ("serial", "model", "camera", "unit", "engraved_in", "note")},
    }
    given |= {name: value for name, value in found.items() if value not in {None, ""}}
    try:
        return Lens.model_validate(given)
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None
