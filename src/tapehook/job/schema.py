"""The published JSON Schema of ``job.toml``, and what it says is expected where.

The tables of the file are the records without what the tables beside it hold: typed strictly, since TOML
has types, and open to further keys.
"""

import json
from functools import cache
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, create_model

from tapehook.job.records import Camera, Criterion, Emitter, Filter, Job, Motor, Radio, Record, Weather

NOT_IN_FILE = frozenset({"lenses", "readings", "charts", "tstops", "morning", "column_order", "extra"})
"""Fields of records that are no keys of ``job.toml``."""

LISTS: dict[str, type[Record]] = {
    "cameras": Camera,
    "motors": Motor,
    "radios": Radio,
    "emitters": Emitter,
    "filters": Filter,
}
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
        weather=(_table(Weather) | None, Field(None, description=Job.model_fields["weather"].description)),
        **lists,
    )


@cache
def job_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of ``job.toml``, once it is read as TOML."""
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:tapehook:schema:job:1",
        "title": "job.toml",
        "description": "What a job folder says besides its tables. Further keys are kept.",
    }
    return head | {name: node for name, node in _tidy(job_table().model_json_schema()).items() if name not in head}


def schema_text() -> str:
    """The schema as ``job.schema.json`` has it."""
    return json.dumps(job_schema(), indent=2, ensure_ascii=False) + "\n"


def _tidy(node: Any) -> Any:  # noqa: ANN401 - JSON
    """A schema without what TOML has not: null. Titles made up from names go too."""
    if isinstance(node, list):
        return [_tidy(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {name: _tidy(item) for name, item in node.items() if not _is_idle(name, item)}
    match kept.pop("anyOf", None):
        case [option, {"type": "null"}]:
            return option | kept
        case None:
            return kept
        case options:
            return kept | {"anyOf": options}


def _is_idle(name: str, item: object) -> bool:
    return (name == "default" and item is None) or (name == "title" and isinstance(item, str))


def expected_at(place: tuple[int | str, ...]) -> str:
    """What the schema expects at a place such as ("cameras", 0, "letter"), in words."""
    node = job_schema()
    for part in place:
        node = _resolved(node["items"] if isinstance(part, int) else node["properties"][part])
    example = node.get("examples", [None])[0]
    match node:
        case {"enum": words}:
            return "one of " + ", ".join(f'"{word}"' for word in words)
        case {"type": "string"}:
            return f'text such as "{example}"'
        case {"type": "number"}:
            return f"a number such as {example}"
        case {"type": "boolean"}:
            return "true or false"
        case {"type": "array", "items": {"type": "string"}}:
            return "a list of texts such as " + json.dumps(example)
        case {"type": "integer"}:
            return f"a whole number such as {example}"
        case {"type": "array", "items": {"type": "number"}}:
            return f"a list of numbers such as {example}"
        case {"type": "array"}:
            return f"tables headed [[{place[-1]}]]"
    return f"a table headed [{place[-1]}]" if isinstance(place[-1], str) else f"a table headed [[{place[0]}]]"


def _resolved(node: dict[str, Any]) -> dict[str, Any]:
    """The node itself, a reference followed."""
    return {**job_schema()["$defs"][node["$ref"].rsplit("/", 1)[1]], **node} if "$ref" in node else node
