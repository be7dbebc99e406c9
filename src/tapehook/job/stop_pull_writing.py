"""Writing the stop pull of a shot as it was edited on a page: the rest of the shot's file stays as it is."""

import re
import tomllib
from typing import Any

import tomli_w

from tapehook.job.shot_files import document_of
from tapehook.job.stop_pulls import TABLE, StopPullPlan
from tapehook.job.toml_keeping import kept_text

_HEADER = re.compile(r"\s*\[")
_OWN_HEADER = re.compile(r"\s*\[\[?\s*" + TABLE + r"\s*(\.[^\]]*)?\]\]?\s*(#.*)?")


def stop_pull_text(plan: StopPullPlan | None, before: str = "") -> str:
    """The TOML of a shot with this stop pull in place of the one in ``before``; without it where ``plan`` is None.

    All else of that text stays, comments too; keys of the old table that nobody here knows are kept. What the shot
    says of lens and frame rate is not said twice. Raises JobProblems when ``before`` is no TOML.
    """
    old = document_of(before.encode(), "the shot as it was") if before.strip() else {}
    wanted = {key: value for key, value in old.items() if key != TABLE}
    if plan is not None:
        wanted[TABLE] = _table(plan, old)
    if plan is not None and isinstance(old.get(TABLE), dict):
        return kept_text(before, wanted)
    text = _without_table(before).rstrip()
    added = _written(wanted[TABLE]) if plan is not None else ""
    joined = "\n\n".join(part for part in (text, added) if part)
    joined += "\n" if joined else ""
    # A header inside a text of several lines would mislead the cut.
    return joined if _means(joined) == wanted else kept_text(before, wanted)


def _table(plan: StopPullPlan, old: dict[str, Any]) -> dict[str, Any]:
    said = plan.model_dump(exclude_defaults=True, exclude_none=True)
    for key in ("lens", "frames_per_second"):
        if key in said and old.get(key) == said[key]:
            del said[key]
        elif key == "frames_per_second" and key in old and key not in said:
            said[key] = plan.frames_per_second
    before = old.get(TABLE)
    known = set(StopPullPlan.model_fields)
    unknown = {key: value for key, value in before.items() if key not in known} if isinstance(before, dict) else {}
    return {**unknown, **said}


def _written(table: dict[str, Any]) -> str:
    """The table with its course as one list, a mark on each line."""
    course = "\n".join(f"  {_inline(point)}," for point in table["course"])
    plain = {key: value for key, value in table.items() if key != "course"}
    tabled = {key: value for key, value in plain.items() if isinstance(value, dict)}
    rest = {key: value for key, value in plain.items() if not isinstance(value, dict)}
    head = f"[{TABLE}]\n{tomli_w.dumps(rest)}course = [\n{course}\n]"
    return head + ("\n\n" + tomli_w.dumps({TABLE: tabled}).strip() if tabled else "")


def _inline(point: dict[str, Any]) -> str:
    """A mark as an inline table."""
    pairs = tomli_w.dumps(point).strip().splitlines()
    return "{ " + ", ".join(pairs) + " }"


def _without_table(text: str) -> str:
    """The text without the lines of the table, its sub-tables among them."""
    kept: list[str] = []
    inside = False
    for line in text.splitlines():
        if _OWN_HEADER.fullmatch(line):
            inside = True
        elif inside and _HEADER.match(line) and re.fullmatch(r"\s*\[\[?[^\[\]{}=,]+\]\]?\s*(#.*)?", line):
            inside = False
        if not inside:
            kept.append(line)
    return "\n".join(kept)


def _means(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
