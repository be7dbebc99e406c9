#!/usr/bin/env python3
"""Brings docs/commands.md and docs/book-commands.md up to date: tables of JSON fields, and what the examples print.

    python tools/command_page.py

Words are written by hand. A table stands after the line that leads to its schema; what an example prints is replaced by
what it prints now, run beside a copy of the demo job at 100 columns. Lines left out ("…") stay left out: the lines
shown before, between and after keep their number, and those between are found by likeness.
"""

import difflib
import itertools
import json
import os
import re
import shlex
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from tapehook.cli import main

ROOT = Path(__file__).parent.parent
PAGES = (ROOT / "docs" / "commands.md", ROOT / "docs" / "book-commands.md")
HEAD = ("| field | type | unit | what it is |", "|---|---|---|---|")


def rows_of(shape: dict[str, Any], path: str = "") -> Iterator[str]:
    """One row of a table for each field of a shape."""
    if shape["type"] == "array" and not path:
        yield from rows_of(shape["items"], "[]")
        return
    fields = shape.get("properties", {})
    if isinstance(shape.get("additionalProperties"), dict):
        fields = {"ID": shape["additionalProperties"]}
    for name, inner in fields.items():
        place = f"{path}.{name}".lstrip(".") + ("[]" if "items" in inner else "")
        types = [inner["type"]] if isinstance(inner["type"], str) else inner["type"]
        kind = ", ".join(f'"{word}"' for word in inner["enum"]) if "enum" in inner else " or ".join(types)
        yield f"| `{place}` | {kind} | {inner.get('unit', '')} | {inner['description']} |"
        yield from rows_of(inner.get("items", inner), place)


def with_tables(text: str) -> str:
    """The page with every table of fields made anew."""

    def table(found: re.Match[str]) -> str:
        shape = json.loads((ROOT / "docs" / found[2]).read_text(encoding="utf-8"))
        return found[1] + "\n".join((*HEAD, *rows_of(shape))) + "\n"

    leads = r"(\(\[schema\]\((schemas/[\w-]+\.schema\.json)\)\):?[^\n]*\n\n)\| field \|(?:[^\n]+\n)+"
    return re.sub(leads, table, text)


def with_examples(text: str) -> str:
    """The page with what its examples print now."""
    return re.sub(r"^```console\n(.*?)^```$", _block, text, flags=re.DOTALL | re.MULTILINE)


def _block(found: re.Match[str]) -> str:
    lines = [line for line in found[1].splitlines() if line.startswith("$ ")]
    shown = re.split(r"^\$ .*\n", found[1], flags=re.MULTILINE)[1:]
    parts = [f"{line}\n{_printed(line[2:], old.splitlines())}" for line, old in zip(lines, shown, strict=True)]
    return "```console\n" + "".join(parts) + "```"


def _printed(typed: str, shown: list[str]) -> str:
    """What a line typed prints now, as much of it as was shown."""
    environment = {"COLUMNS": "100", "TAPEHOOK_BOOK": "house.book"}
    result = CliRunner(env=environment).invoke(main, shlex.split(typed)[1:], prog_name="tapehook")
    now = [line.rstrip() for line in result.output.splitlines()]
    if "…" in shown:
        now = _as_much(shown, now)
    return "".join(line + "\n" for line in now)


def _as_much(shown: list[str], now: list[str]) -> list[str]:
    groups = [list(lines) for left_out, lines in itertools.groupby(shown, key=lambda line: line == "…") if not left_out]
    kept: list[str] = []
    first_left_out, last_left_out = shown[0] == "…", shown[-1] == "…"
    for k, group in enumerate(groups):
        if k == 0 and not first_left_out:
            at = 0
        elif k == len(groups) - 1 and not last_left_out:
            at = len(now) - len(group)
        else:
            likeness = [difflib.SequenceMatcher(None, group[0], line).ratio() for line in now]
            at = max(range(len(now)), key=likeness.__getitem__)
        kept += ["…"] * (k > 0 or first_left_out) + now[at : at + len(group)]
    return kept + ["…"] * last_left_out


def update(page: Path) -> None:
    """Rewrite one page, its examples run in a folder of their own."""
    with tempfile.TemporaryDirectory() as place:
        shutil.copytree(ROOT / "src" / "tapehook" / "demo_job", Path(place) / "my-job")
        os.chdir(place)
        text = with_examples(with_tables(page.read_text(encoding="utf-8")))
        os.chdir(ROOT)
    page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    for found in PAGES:
        update(found)
