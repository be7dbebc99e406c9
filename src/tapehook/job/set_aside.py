"""Figures kept before the limits of today that are beyond them: set aside, so that the rest is used and none is lost.

A book is never changed, and limits are: what was kept by an earlier version may be a figure that no record may hold
now. Such a figure stands among what is kept and not read of its record, as text under its field's name with
``SUFFIX``; so it goes through tables and ``job.toml`` and back, and ``as_kept`` says the record as it was kept.
"""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import ValidationError

from tapehook.job.problems import Problem, limit
from tapehook.job.records import KEPT_EARLIER, Job, LightTest, Record, TableRecord
from tapehook.job.schema import LISTS, job_table
from tapehook.job.tomlfile import read_job_toml

Kept = TypeVar("Kept", bound=Record)
SUFFIX = " (out of range)"
_BEYOND = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal"})
TABLES = ("lenses", "readings", "charts", "tstops", "morning")


@dataclass(frozen=True, slots=True)
class SetAside:
    """One figure that is held and not used: of which table of the job, the how-manieth there, its field, its limits.

    ``table`` is a field of the job, such as "charts" or "cameras"; ``number`` counts from 0 in it.
    """

    table: str
    number: int
    record: Record
    field: str
    held: str
    expected: str

    @property
    def lens_id(self) -> str | None:
        """The lens it is of, where it is of one."""
        return self.record.id if self.table == "lenses" else getattr(self.record, "lens_id", None)  # type: ignore[attr-defined]

    @property
    def file(self) -> str:
        """The file of a job folder that holds it."""
        return f"{self.table}.csv" if self.table in TABLES else "job.toml"


def kept_record(kind: type[Kept], given: Mapping[str, Any]) -> Kept:
    """A record of what was kept of it; figures beyond their limits are set aside. Raises ValidationError for all else.

    One that no record can be without, the T-stop of a light test, stays where it is.
    """
    try:
        return kind.model_validate(given, context={KEPT_EARLIER: True})
    except ValidationError as trouble:
        beyond = _free(kind, given, trouble)
        if not beyond:
            raise
    made = kind.model_validate({k: v for k, v in given.items() if k not in beyond}, context={KEPT_EARLIER: True})
    aside = {name + SUFFIX: json.dumps(given[name]) for name in sorted(beyond)}
    made = made.model_copy(update={"extra": {**made.extra, **aside}})  # type: ignore[attr-defined]
    if "extra" not in given:
        made.model_fields_set.discard("extra")  # what was given stays what is said of it
    return made


def _free(kind: type[Record], given: Mapping[str, Any], trouble: ValidationError) -> set[str]:
    """Fields of a record that hold too much or too little, and that it can do without."""
    errors = trouble.errors(include_url=False)
    names = {str(error["loc"][0]) for error in errors if error["loc"] and error["type"] in _BEYOND}
    return {name for name in names if name in given and not kind.model_fields[name].is_required()}


def as_kept(record: TableRecord, said: Mapping[str, Any]) -> dict[str, Any]:
    """What ``record`` says, ``said`` being its fields, with the figures set aside back in their places.

    What is still said of one that was put right since is left out: it is in the history of what was kept.
    """
    back = {one.field: json.loads(one.held) for one in _of(record) if said.get(one.field) is None}
    over = {
        name for name in said.get("extra", {}) if is_aside(name) and said.get(name.removesuffix(SUFFIX)) is not None
    }
    if not back and not over:
        return dict(said)
    rest = {name: value for name, value in said.items() if name != "extra"}
    if "extra" in said:
        gone = over | {name + SUFFIX for name in back}
        rest["extra"] = {name: text for name, text in said["extra"].items() if name not in gone}
    return {**rest, **back}


def put_right(record: Kept, field: str, value: object) -> Kept:
    """The record with a figure in place of the one set aside; None: without either. Raises ValidationError."""
    said = record.model_dump(exclude_unset=True)
    extra = {name: text for name, text in record.extra.items() if name != field + SUFFIX}  # type: ignore[attr-defined]
    rest = {name: one for name, one in said.items() if name not in {field, "extra"}}
    return type(record).model_validate({**rest, "extra": extra, **({} if value is None else {field: value})})


def beyond(kind: type[Record], field: str, value: object) -> str | None:
    """What is expected of a field, in words, where ``value`` is beyond its limits; else None."""
    try:
        kind.model_validate({field: value})
    except ValidationError as trouble:
        for error in trouble.errors(include_url=False):
            if error["loc"][:1] == (field,) and error["type"] in _BEYOND:
                return limit(error).removeprefix(", ")
    return None


def is_aside(heading: str) -> bool:
    """True for the heading of a column, or the key, of figures set aside."""
    return heading.endswith(SUFFIX)


def _of(record: Record, table: str = "", number: int = 0) -> Iterator[SetAside]:
    extra: Mapping[str, object] = getattr(record, "extra", {})
    for name in extra:
        field = name.removesuffix(SUFFIX)
        if is_aside(name) and field in type(record).model_fields and getattr(record, field) is None:
            text = str(extra[name])
            expected = beyond(type(record), field, _figure(text))
            if expected is not None:
                yield SetAside(table, number, record, field, text, expected)
    if isinstance(record, LightTest) and (expected := beyond(LightTest, "t_stop", record.t_stop)):
        yield SetAside(table, number, record, "t_stop", repr(record.t_stop), expected)


def _figure(text: str) -> object:
    """The figure that a text was made from; None where it was made from none."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, int | float) else None


def set_aside(job: Job) -> Iterator[SetAside]:
    """All figures of a job that are held and not used, in the order of its tables."""
    for table in (*TABLES, *LISTS):
        for number, record in enumerate(getattr(job, table)):
            yield from _of(record, table, number)
    yield from _of(job.criterion, "criterion")
    if job.weather is not None:
        yield from _of(job.weather, "weather")


def kept_toml(text: str) -> str:
    """The text of a ``job.toml`` kept earlier, figures beyond their limits under their own names with ``SUFFIX``."""
    from tapehook.job.toml_keeping import kept_text

    try:
        document = tomllib.loads(text)
        job_table().model_validate(document)
    except ValidationError as trouble:
        moved = [error["loc"] for error in trouble.errors(include_url=False) if error["type"] in _BEYOND]
    except ValueError:
        return text  # told where it is read
    else:
        return text
    for *path, key in moved:
        place: Any = document
        for part in path:
            place = place[part]
        if isinstance(place, dict) and isinstance(key, str):
            place[key + SUFFIX] = repr(place.pop(key))
    return kept_text(text, document)


def kept_job(toml: str | None, problems: list[Problem]) -> Job | None:
    """The job of a ``job.toml`` kept earlier, as ``read_job_toml`` reads one; without one a job that says nothing."""
    return Job() if toml is None else read_job_toml(kept_toml(toml).encode(), problems)
