"""The published JSON Schema of ``job.toml``, and what it says is expected where.

The tables of the file are the records without what the tables beside it hold: typed strictly, since TOML
has types, and open to further keys.
"""

from functools import cache
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, create_model

from tapehook.job.records import Camera, Criterion, Job, Motor, Radio, Record

NOT_IN_FILE = frozenset({"lenses", "readings", "charts", "column_order", "extra"})
"""Fields of records that are no keys of ``job.toml``."""

LISTS: dict[str, type[Record]] = {"cameras": Camera, "motors": Motor, "radios": Radio}
"""The lists of tables in ``job.toml``."""


def _table(record: type[Record], **instead: Any) -> type[BaseModel]:  # noqa: ANN401 - as create_model
    """The part of a record that stands in the file, some fields given anew."""
    names = [name for name in record.model_fields if name not in NOT_IN_FILE]
    fields: dict[str, Any] = {
        name: (record.model_fields[name].rebuild_annotation(), record.model_fields[name]) for name in names
    }
    return create_model(
        record.__name__,
        __config__=ConfigDict(extra="allow", strict=True),
        __doc__=record.__doc__,
        **(fields | instead),
    )


def _described(name: str, kind: Any) -> tuple[Any, Any]:  # noqa: ANN401 - as create_model
    return kind, Field(default_factory=kind, description=Job.model_fields[name].description)


@cache
def job_table() -> type[BaseModel]:
    """The model that checks a ``job.toml`` once it is read as TOML; made when first needed."""
    units = Literal["metric", "imperial", "feet"]
    lists = {name: _described(name, list[_table(record)]) for name, record in LISTS.items()}  # type: ignore[misc]
    return _table(
        Job,
        units=(
            units,
            Field("metric", description="What distances are shown in; feet is imperial", examples=["metric"]),
        ),
        criterion=_described("criterion", _table(Criterion)),
        **lists,
    )


@cache
def job_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of ``job.toml``, once it is read as TOML."""
    made = job_table().model_json_schema()
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:tapehook:schema:job:1",
        "title": "job.toml",
        "description": "What a job folder says besides its tables. Further keys are kept.",
    }
    return made | head


def expected_at(place: tuple[int | str, ...]) -> str:
    """What the schema expects at a place such as ("cameras", 0, "letter"), in words."""
    node = job_schema()
    for part in place:
        node = _resolved(node["items"] if isinstance(part, int) else node["properties"][part])
    if "enum" in node:
        return "one of " + ", ".join(f'"{word}"' for word in node["enum"])
    example = node.get("examples", [None])[0]
    match node.get("type"):
        case "string":
            return f'text such as "{example}"'
        case "number":
            return f"a number such as {example}"
        case "array":
            return f"tables headed [[{place[-1]}]]"
    return f"a table headed [{place[-1]}]" if place and isinstance(place[-1], str) else "a table"


def _resolved(node: dict[str, Any]) -> dict[str, Any]:
    """The node itself: references followed, the choice of leaving it out set aside."""
    if "$ref" in node:
        return {**job_schema()["$defs"][node["$ref"].rsplit("/", 1)[1]], **node}
    for option in node.get("anyOf", ()):
        if option.get("type") != "null":
            return {**node, **_resolved(option)}
    return node
