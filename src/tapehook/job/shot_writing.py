"""Writing the file of a shot as it was edited on a page: what nobody here knows, and every comment, stays."""

from typing import Any

import tomli_w

from tapehook.job.shot_files import document_of
from tapehook.job.shots import Person, Shot
from tapehook.job.toml_keeping import kept_text


def shot_text(shot: Shot, before: str = "") -> str:
    """The TOML of a shot, in place of the text ``before``.

    What did not change stands as it stood in that text, with its comments; so does each table and key that a shot has
    not, those of people as long as they go by their name. Comments on what was taken out stand at the end. Raises
    JobProblems when ``before`` is no TOML.
    """
    old = document_of(before.encode(), "the shot as it was") if before.strip() else {}
    written = {str(one.get("name")): one for one in old.get("people", ()) if isinstance(one, dict)}
    people = [_said(one, written.get(one.name, {})) for one in shot.people]
    said = {**_said(shot, old), "people": people}
    tables = {key: value for key, value in said.items() if key not in ("people", "hold")}
    whole = {**tables, "people": people, **({"hold": said["hold"]} if "hold" in said else {})}
    rest = _unknown(old, set(Shot.model_fields))
    plain = {key: value for key, value in rest.items() if not isinstance(value, dict)}
    tabled = {key: value for key, value in rest.items() if isinstance(value, dict)}
    wanted = {**plain, **whole, **tabled}
    return kept_text(before, wanted) if old else tomli_w.dumps(wanted)


def _said(part: Shot | Person, old: dict[str, Any]) -> dict[str, Any]:
    """What a part of a shot says: what is not taken for granted, what its file said before, and keys nobody knows."""
    given = part.model_dump(exclude_none=True)
    plain = part.model_dump(exclude_none=True, exclude_defaults=True)
    said = {key: value for key, value in given.items() if key in plain or key in old}
    return {**said, **(_unknown(old, set(type(part).model_fields)) if isinstance(part, Person) else {})}


def _unknown(table: dict[str, Any], known: set[str]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in known}
