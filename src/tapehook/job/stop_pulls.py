"""The table ``[stop_pull]`` of a shot's file, ``shots/NAME.toml``: the course of the stop, and what holds the exposure.

Only that table is read here, with the ``lens`` and ``frames_per_second`` of the shot where the table does not say its
own. Keys nobody knows are left alone.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tapehook.job.problems import JobProblems, Problem, limit
from tapehook.job.records import Distance, Finite, Identifier, Positive
from tapehook.job.shot_files import as_floats, document_of, shot_bytes
from tapehook.notation import parse_stop

LONGEST_S = 120.0
TABLE = "stop_pull"


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", strict=True)


class CoursePoint(_Part):
    """What is wanted at a moment: a T-stop as written, metres from near to far, or the blur of the background."""

    at_s: Annotated[float, Field(ge=0, le=LONGEST_S)]
    stop: str | None = None
    depth_m: Annotated[float, Field(ge=1e-3, le=1e4)] | None = None
    blur_mm: Annotated[float, Field(ge=1e-3, le=100)] | None = None


class StopPullPlan(_Part):
    """A balanced stop pull as its file has it; None where the job, or an assumption, says.

    ``extra_from_deg`` and ``extra_to_deg`` are the angles of the filter's ring at 0 % and 100 % of the extra motor,
    ``extra_set_from`` where the ring came from when they were set: below (angles rising), above, or the middle of both.
    """

    lens: Identifier
    filter: Identifier
    course: Annotated[list[CoursePoint], Field(min_length=2, max_length=50)]
    easing: Literal["even", "eased"] = "eased"
    frames_per_second: Annotated[float, Field(ge=1, le=120)] = 24.0
    lag_between_ms: Annotated[float, Field(ge=0, le=2000)] | None = None
    iris_speed_deg_s: Positive | None = None
    extra_speed_deg_s: Positive | None = None
    extra_backlash_deg: Annotated[float, Field(ge=0, le=45)] | None = None
    extra_set_from: Literal["both", "below", "above"] | None = None
    extra_from_deg: Finite | None = None
    extra_to_deg: Finite | None = None
    density_plus_minus: Annotated[float, Field(ge=0, le=1)] | None = None
    tolerance_stops: Annotated[float, Field(ge=0.001, le=2)] = 0.05
    distance_m: Distance | None = None
    background_m: Annotated[float, Field(ge=1e-3)] | None = None


_EXPECTED = {
    "lens": "the id of a lens of lenses.csv",
    "filter": "the id of a variable filter or pair of polarisers in job.toml",
    "course": 'two or more of { at_s = 0, stop = "T2" }',
    "easing": '"even" or "eased"',
    "frames_per_second": "a number from 1 to 120, such as 24",
    "lag_between_ms": "milliseconds, such as 40",
    "iris_speed_deg_s": "degrees of ring a second, such as 300",
    "extra_speed_deg_s": "degrees of ring a second, such as 200",
    "extra_backlash_deg": "degrees of ring, such as 0.3",
    "extra_set_from": '"below", "above" or "both"',
    "extra_from_deg": "degrees of ring, such as 0",
    "extra_to_deg": "degrees of ring, such as 90",
    "density_plus_minus": "a density, such as 0.02",
    "tolerance_stops": "stops, such as 0.05",
    "distance_m": "metres from the image plane, such as 2.5",
    "background_m": "metres from the image plane, or inf",
    "depth_m": "metres from near to far, such as 0.4",
    "blur_mm": "millimetres on the sensor, such as 0.3",
    "at_s": f"seconds from the start, at most {LONGEST_S:g}, such as 2.5",
    "stop": 'a T-stop such as "T2.8"',
}


def read_stop_pull(folder: Path, name: str) -> StopPullPlan:
    """The stop pull of shot ``name`` of a job folder. Raises JobProblems with everything that is wrong with it."""
    return stop_pull_from(*shot_bytes(folder, name))


def stop_pull_from(data: bytes, file: str) -> StopPullPlan:
    """The stop pull in the bytes of a shot's file. Raises JobProblems."""
    document = document_of(data, file)
    table = document.get(TABLE)
    if not isinstance(table, dict):
        raise JobProblems([Problem(file, None, TABLE, None, f"a table headed [{TABLE}]")])
    shared: dict[str, object] = {key: document[key] for key in ("lens", "frames_per_second") if key in document}
    return stop_pull_of(shared | table, file)


def stop_pulls_in(texts: Mapping[str, str]) -> tuple[dict[str, StopPullPlan], list[str]]:
    """The stop pulls in texts of shots by name, and a sentence for whatever is wrong with a table that is there."""
    found, wrong = {}, list[str]()
    for name, text in texts.items():
        try:
            if TABLE in document_of(text.encode("utf-8", "surrogatepass"), f"shots/{name}.toml"):
                found[name] = stop_pull_from(text.encode("utf-8", "surrogatepass"), f"shots/{name}.toml")
        except JobProblems as trouble:
            wrong += [problem.sentence() for problem in trouble.problems if f"{problem.field}".startswith(TABLE)]
    return found, wrong


def stop_pull_of(table: Mapping[str, object], file: str) -> StopPullPlan:
    """The stop pull in the keys of its table. Raises JobProblems."""
    try:
        plan = StopPullPlan.model_validate(as_floats(table))
    except (ValidationError, RecursionError) as trouble:
        raise JobProblems(_misfits(file, trouble)) from None
    problems = list(_at_odds(file, plan))
    if problems:
        raise JobProblems(problems)
    return plan


def _misfits(file: str, trouble: ValidationError | RecursionError) -> Iterator[Problem]:
    if isinstance(trouble, RecursionError):
        yield Problem(file, None, None, None, "tables at most a few deep")
        return
    for error in trouble.errors(include_url=False):
        place = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in error["loc"])
        key = next((part for part in reversed(error["loc"]) if isinstance(part, str)), "")
        read = None if error["type"] == "missing" or isinstance(error["input"], dict | list) else str(error["input"])
        yield Problem(file, None, f"{TABLE}{place}", read, _EXPECTED.get(key, "a value of another kind") + limit(error))


def _at_odds(file: str, plan: StopPullPlan) -> Iterator[Problem]:
    """Stops that cannot be read, moments that do not rise, and ends of travel that are one place."""
    for at, point in enumerate(plan.course, start=1):
        yield from _odd_point(file, plan, at, point)
        if at > 1 and point.at_s <= plan.course[at - 2].at_s:
            expected = "a moment after the one before"
            yield Problem(file, None, f"{TABLE}.course[{at}].at_s", f"{point.at_s:g}", expected)
    if plan.extra_from_deg is not None and plan.extra_from_deg == plan.extra_to_deg:
        expected = "another angle than extra_from_deg"
        yield Problem(file, None, f"{TABLE}.extra_to_deg", f"{plan.extra_to_deg:g}", expected)


def _odd_point(file: str, plan: StopPullPlan, at: int, point: CoursePoint) -> Iterator[Problem]:
    """A mark that asks for nothing or for two things, a stop that cannot be read, and depth or blur of nowhere."""
    place = f"{TABLE}.course[{at}]"
    if [point.stop, point.depth_m, point.blur_mm].count(None) != 2:
        yield Problem(file, None, place, None, "one of stop, depth_m and blur_mm")
        return
    if point.stop is not None:
        try:
            wrong = parse_stop(point.stop).scale == "f"
        except ValueError:
            wrong = True
        if wrong:
            yield Problem(file, None, f"{place}.stop", point.stop, _EXPECTED["stop"])
    elif plan.distance_m is None:
        yield Problem(file, None, f"{TABLE}.distance_m", None, _EXPECTED["distance_m"] + ", for a depth or a blur")
    elif point.blur_mm is not None and (plan.background_m is None or plan.background_m <= plan.distance_m):
        expected = _EXPECTED["background_m"] + ", behind the subject, for a blur"
        yield Problem(file, None, f"{TABLE}.background_m", None, expected)
