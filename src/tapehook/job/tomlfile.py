"""``job.toml``: what it may hold, and reading and writing it.

Keys nobody knows are kept at every level; so are comments, where the text that was there is at hand.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from tapehook.job.problems import Problem, limit
from tapehook.job.records import Criterion, Emitter, Filter, Job, Motor, Radio, Record, Weather
from tapehook.job.schema import LISTS, NOT_IN_FILE, expected_at, job_table
from tapehook.job.sheets import Sheet, decoded
from tapehook.job.toml_keeping import kept_text
from tapehook.notation import parse_stop

FILE = "job.toml"

_DEEPEST = 32
_LARGEST_INTEGER = 2**63 - 1
_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


def read_job_toml(data: bytes, problems: list[Problem]) -> Job | None:
    """The job without its tables; None, with the problems noted, when there are any."""
    found: list[Problem] = []
    document = _document(data, found)
    found += _too_much(document)
    if not found:
        found += [*_misfits(document), *_wrong_stop(document)]
    job = None if found else _job(document)
    if job:
        found += [*_twice(job), *_unknown_cameras(job), *_half_said_filters(job), *_odd_radios(job), *_odd_weather(job)]
    problems += found
    return None if found else job


def _document(data: bytes, problems: list[Problem]) -> dict[str, Any]:
    """The file as TOML; empty, with a problem that names the line, when it is none."""
    sheet = Sheet(FILE)
    text = decoded(sheet, data)
    problems += sheet.problems
    if text is None:
        return {}
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as trouble:
        problems.append(_syntax(text, str(trouble)))
    except (ValueError, RecursionError):  # a number of thousands of digits, tables in tables without end
        problems.append(Problem(FILE, None, None, None, "TOML with numbers and nesting of ordinary size"))
    return {}


def _syntax(text: str, trouble: str) -> Problem:
    """Where the text stops being TOML: the row is the line."""
    place = _PLACE.search(trouble)
    lines = text.splitlines() or [""]
    row = int(place.group(1)) if place and place.group(1) else len(lines)
    reason = _PLACE.sub("", trouble)
    return Problem(
        FILE,
        row,
        None,
        lines[min(row, len(lines)) - 1].strip(),
        f'a key and what it holds, such as title = "Harbour, unit 1" (TOML: {reason[:80]})',
    )


def _too_much(value: object, path: str = "", depth: int = 0) -> Iterator[Problem]:
    """Values no other program would read back: integers beyond 64 bits, tables nested without end."""
    if depth > _DEEPEST:
        yield Problem(FILE, None, path[:200], None, f"tables and lists at most {_DEEPEST} deep")
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _too_much(item, f"{path}.{key}" if path else key, depth + 1)
    elif isinstance(value, list):
        for at, item in enumerate(value, start=1):
            yield from _too_much(item, f"{path}[{at}]", depth + 1)
    elif isinstance(value, int) and not -_LARGEST_INTEGER <= value <= _LARGEST_INTEGER:
        yield Problem(FILE, None, path, None, "a whole number of at most 64 bits")


def _misfits(document: dict[str, Any]) -> Iterator[Problem]:
    """Values of the wrong type, missing keys, and values beyond their limits."""
    try:
        job_table().model_validate(document)
    except ValidationError as trouble:
        for error in trouble.errors(include_url=False):
            read = None if error["type"] == "missing" else _shown(error["input"])
            yield Problem(FILE, None, _path(error["loc"]), read, expected_at(error["loc"]) + limit(error))


def _path(place: tuple[int | str, ...]) -> str:
    """A key as people point at it, lists counted from 1: cameras[1].letter."""
    parts = [f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in place]
    return "".join(parts).removeprefix(".")


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return str(value).lower() if isinstance(value, bool) else str(value)


def _wrong_stop(document: dict[str, Any]) -> Iterator[Problem]:
    stop = document.get("shooting_stop")
    if not isinstance(stop, str):
        return
    try:
        wrong = parse_stop(stop).scale == "f"
    except ValueError:
        wrong = True
    if wrong:
        yield Problem(FILE, None, "shooting_stop", stop, 'a T-stop such as "T2.8"')


def _job(document: dict[str, Any]) -> Job:
    values = _parted(Job, document)
    values["criterion"] = Criterion(**_parted(Criterion, document.get("criterion", {})))
    if "weather" in document:
        values["weather"] = Weather(**_parted(Weather, document["weather"]))
    for name, record in LISTS.items():
        values[name] = tuple(record(**_parted(record, table)) for table in document.get(name, ()))
    if values.get("units") == "feet":
        values["units"] = "imperial"
    return Job(**values)


def _parted(record: type[Record], table: Mapping[str, object]) -> dict[str, Any]:
    """The values of a table by field, the keys the record does not know under ``extra``."""
    fields = record.model_fields.keys() - NOT_IN_FILE
    known = {name: value for name, value in table.items() if name in fields}
    return known | {"extra": {name: value for name, value in table.items() if name not in fields}}


def _twice(job: Job) -> Iterator[Problem]:
    """Letters and labels that name two things."""
    named = {
        "cameras": ("letter", [camera.letter for camera in job.cameras]),
        "motors": ("id", [motor.id for motor in job.motors]),
        "radios": ("id", [radio.id for radio in job.radios]),
        "emitters": ("id", [one.id for one in job.emitters]),
        "filters": ("id", [one.id for one in job.filters]),
    }
    for table, (key, names) in named.items():
        for at, name in enumerate(names):
            if name in names[:at]:
                path = _path((table, at, key))
                expected = f"a name of its own; {_path((table, names.index(name)))} has this one"
                yield Problem(FILE, None, path, name, expected)


def _unknown_cameras(job: Job) -> Iterator[Problem]:
    """Motors, radios and filters of cameras that are not listed, where cameras are listed at all."""
    letters = [camera.letter for camera in job.cameras]
    carried: list[tuple[str, Sequence[Motor | Radio | Filter]]] = [
        ("motors", job.motors),
        ("radios", job.radios),
        ("filters", job.filters),
    ]
    for table, things in carried:
        for at, thing in enumerate(things):
            if letters and thing.camera and thing.camera not in letters:
                expected = f"a camera of the job: {', '.join(letters)}"
                yield Problem(FILE, None, _path((table, at, "camera")), thing.camera, expected)


BANDS = ("780", "868", "915", "2450")
"""Bands of IEEE 802.15.4, in MHz, as people name them."""


def _odd_radios(job: Job) -> Iterator[Problem]:
    """Bands nobody knows, radios and senders with half a place, and senders without a frequency."""
    for at, one in enumerate(job.radios):
        for number, band in enumerate(one.bands or ()):
            if band not in BANDS:
                path = _path(("radios", at, "bands", number))
                yield Problem(FILE, None, path, band, f"one of {', '.join(BANDS)}")
    named: list[tuple[str, Sequence[Radio | Emitter]]] = [("radios", job.radios), ("emitters", job.emitters)]
    for table, things in named:
        for at, thing in enumerate(things):
            if (thing.x_m is None) != (thing.y_m is None):
                yield Problem(FILE, None, _path((table, at, "x_m")), None, "both x_m and y_m, or neither")
    for at, other in enumerate(job.emitters):
        if other.wifi_channel is None and (other.centre_mhz is None or other.width_mhz is None):
            expected = "wifi_channel, or centre_mhz and width_mhz"
            yield Problem(FILE, None, _path(("emitters", at, "centre_mhz")), None, expected)


FEWEST_POINTS = 4
"""So many points of a variable filter can be fitted."""


def _half_said_filters(job: Job) -> Iterator[Problem]:
    """Filters whose kind asks for figures that are missing or do not go together."""
    for at, one in enumerate(job.filters):
        match one.kind:
            case "pair" if one.k0 is None or one.k90 is None or not one.k90 < one.k0:
                yield _of_filter(at, "k0", one.k0, "both k0 and k90, k90 the smaller")
            case "close_up" | "split_dioptre" if one.power_dpt is None:
                yield _of_filter(at, "power_dpt", None, "its power in dioptres")
            case "variable":
                yield from _odd_table(at, one)


def _odd_table(at: int, one: Filter) -> Iterator[Problem]:
    """A measured table of a variable filter that is too short, lopsided, or names a position twice."""
    positions, densities = one.positions_deg or [], one.densities or []
    if len(positions) != len(densities) or len(positions) < FEWEST_POINTS:
        expected = f"positions_deg and densities of one length, {FEWEST_POINTS} or more"
        yield _of_filter(at, "positions_deg", f"{len(positions)} and {len(densities)}", expected)
    elif len(set(positions)) < len(positions):
        yield _of_filter(at, "positions_deg", None, "each position once")


def _of_filter(at: int, key: str, read: object, expected: str) -> Problem:
    return Problem(FILE, None, _path(("filters", at, key)), None if read is None else str(read), expected)


def _odd_weather(job: Job) -> Iterator[Problem]:
    """A second reading of a barrel that is half said, none, or beside a time constant."""
    said = job.weather
    if said is None or (said.later_c is None and said.later_min is None):
        return
    if said.later_c is None or said.later_min is None:
        key = "later_min" if said.later_min is None else "later_c"
        yield Problem(FILE, None, f"weather.{key}", None, "both later_c and later_min, or neither")
    elif not min(said.air_c, said.lenses_from_c) < said.later_c < max(said.air_c, said.lenses_from_c):
        expected = "a temperature between lenses_from_c and air_c"
        yield Problem(FILE, None, "weather.later_c", str(said.later_c), expected)
    if said.time_constant_min is not None:
        expected = "either a time constant or what a barrel showed later"
        yield Problem(FILE, None, "weather.time_constant_min", str(said.time_constant_min), expected)


def write_job_toml(job: Job) -> str:
    """The text of ``job.toml``; empty when the job says nothing but what is assumed anyway.

    Raises ValueError or TypeError when a key holds what TOML cannot.
    """
    import tomli_w

    document = _said(job)
    criterion = _said(job.criterion)
    tables: dict[str, object] = {"criterion": criterion} if criterion else {}
    if job.weather is not None:
        tables["weather"] = _said(job.weather)
    for name in LISTS:
        if things := getattr(job, name):
            tables[name] = [_said(thing) for thing in things]
    return tomli_w.dumps(document | tables)


def job_toml_text(job: Job, before: str) -> str:
    """The text of ``job.toml`` in place of the text ``before``: what did not change stands as it stood, with comments.

    Written anew where ``before`` is no TOML. Raises ValueError or TypeError when a key holds what TOML cannot.
    """
    text = write_job_toml(job)
    try:
        tomllib.loads(before)
    except (ValueError, RecursionError):
        return text
    return kept_text(before, tomllib.loads(text)) if before.strip() else text


def _said(record: Record) -> dict[str, Any]:
    """What a record says, tables apart: fields that were given, and the keys nobody knows."""
    apart = NOT_IN_FILE | LISTS.keys() | {"criterion", "weather"}
    document = {}
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        given = name in record.model_fields_set or value != field.get_default()
        if name not in apart and value is not None and given:
            document[name] = value
    return document | getattr(record, "extra", {})
