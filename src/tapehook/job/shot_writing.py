"""Writing the file of a shot as it was edited on a page: what nobody here knows, and the words at its head, stay."""

from typing import Any

import tomli_w

from tapehook.job.shot_files import document_of
from tapehook.job.shots import Person, Shot


def shot_text(shot: Shot, before: str = "") -> str:
    """The TOML of a shot, in place of the text ``before``.

    Of that text the comment at its head is kept, each table and key that a shot has not, and those of people who still
    go by their name. Other comments go. Raises JobProblems when ``before`` is no TOML.
    """
    old = document_of(before.encode(), "the shot as it was") if before.strip() else {}
    said = shot.model_dump(exclude_defaults=True, exclude_none=True)
    people = {str(one.get("name")): one for one in old.get("people", ()) if isinstance(one, dict)}
    fields = set(Person.model_fields)
    said["people"] = [{**one, **_unknown(people.get(one["name"], {}), fields)} for one in said["people"]]
    tables = {key: value for key, value in said.items() if key not in ("people", "hold")}
    whole = {**tables, "people": said["people"], **({"hold": said["hold"]} if "hold" in said else {})}
    rest = _unknown(old, set(Shot.model_fields))
    plain = {key: value for key, value in rest.items() if not isinstance(value, dict)}
    tabled = {key: value for key, value in rest.items() if isinstance(value, dict)}
    return f"{_head(before)}{tomli_w.dumps({**plain, **whole, **tabled})}"


def _unknown(table: dict[str, Any], known: set[str]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in known}


def _head(text: str) -> str:
    """The comment before the first key, with a line after it."""
    lines = []
    for line in text.splitlines():
        if line.strip() and not line.lstrip().startswith("#"):
            break
        lines.append(line)
    head = "\n".join(lines).strip()
    return f"{head}\n\n" if head else ""
