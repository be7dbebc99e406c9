"""Whether a JSON value has the shape that a schema in docs/schemas says, with no help from a library.

Only the words of JSON Schema that those files use are known; any other fails, so that none is taken for checked.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"

_SAID_ONLY = {"$schema", "title", "description", "unit"}
_CHECKED = {"type", "enum", "properties", "required", "additionalProperties", "items", "minItems", "maxItems"}
_CHECKED |= {"minimum", "maximum", "exclusiveMinimum"}
_TYPES: dict[str, type | tuple[type, ...]] = {
    "object": dict,
    "array": list,
    "string": str,
    "boolean": bool,
    "integer": int,
    "number": (int, float),
    "null": type(None),
}

Schema = dict[str, Any]


def schema(name: str) -> Schema:
    """One of the documented shapes: "depth", "map", "prep" or "problems"."""
    loaded: Schema = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    return loaded


def strictly(text: str) -> Any:  # noqa: ANN401 - any JSON value
    """The value of a JSON text; NaN and Infinity, which Python would read, are no JSON."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(text, parse_constant=refuse)


def misfits(value: object, shape: Schema, place: str = "$") -> Iterator[str]:
    """Each place where ``value`` is not as ``shape`` says."""
    kinds = shape["type"] if isinstance(shape["type"], list) else [shape["type"]]
    if not any(_is(value, kind) for kind in kinds):
        yield f"{place}: {value!r} is no {' or '.join(kinds)}"
        return
    if value not in shape.get("enum", [value]):
        yield f"{place}: {value!r} is none of {shape['enum']}"
    if unknown := shape.keys() - _SAID_ONLY - _CHECKED:
        yield f"{place}: the schema says {sorted(unknown)}, which is not checked here"
    match value:
        case dict():
            yield from _of_object(value, shape, place)
        case list():
            yield from _of_array(value, shape, place)
        case bool():
            pass
        case int() | float():
            yield from _of_number(value, shape, place)


def _of_object(value: dict[str, object], shape: Schema, place: str) -> Iterator[str]:
    named: Schema = shape.get("properties", {})
    yield from (f"{place}: {name} is missing" for name in shape.get("required", []) if name not in value)
    for name, item in value.items():
        inner = named.get(name) or shape.get("additionalProperties")
        if inner:
            yield from misfits(item, inner, f"{place}.{name}")
        else:
            yield f"{place}: {name} is not documented"


def _of_array(value: list[object], shape: Schema, place: str) -> Iterator[str]:
    if not shape.get("minItems", 0) <= len(value) <= shape.get("maxItems", len(value)):
        yield f"{place}: {len(value)} items"
    for at, item in enumerate(value):
        yield from misfits(item, shape["items"], f"{place}[{at}]")


def _of_number(value: float, shape: Schema, place: str) -> Iterator[str]:
    above = value > shape["exclusiveMinimum"] if "exclusiveMinimum" in shape else True
    if not above or not shape.get("minimum", value) <= value <= shape.get("maximum", value):
        yield f"{place}: {value} is out of range"


def _is(value: object, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    return isinstance(value, _TYPES[kind])
