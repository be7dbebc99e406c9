"""The documentation against the program: every command, option and JSON field, and each example as it runs.

An example is a block that begins with ```console: lines with a dollar sign are typed, the others are printed, in
order. Spaces at the end of lines do not count; a line of "…" stands for any lines; numbers may differ in their last
place, for another processor may round the last digit otherwise. Examples run in a folder that holds ``my-job``, a
copy of the demo job.
"""

import re
import shlex
import shutil
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from tapehook.cli import main
from tests.cli.shapes import Schema, schema

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "commands.md"
README = ROOT / "README.md"
COMMANDS = (
    "demo",
    "prep",
    "book",
    "handover",
    "serve",
    "audit",
    "map",
    "next",
    "left",
    "flange",
    "twins",
    "swap",
    "morning",
    "strip",
    "strip-match",
    "split",
    "exposure",
    "flicker",
    "close-up",
    "dew",
    "pull",
    "stop-pull",
    "radio",
    "depth",
)
PAPER = ("handover", "strip", "strip-match")
SHAPES = (
    "problems",
    "depth",
    "map",
    "prep",
    "serve",
    "audit",
    "next",
    "left",
    "flange",
    "twins",
    "swap",
    "morning",
    "split",
    "exposure",
    "flicker",
    "close-up",
    "dew",
    "stop-pull",
    "pull",
    "radio",
    *PAPER,
)
"""The shapes of JSON that the page documents."""
NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w]|\.\d)")


def command_of(name: str) -> click.Command:
    """One command of the program."""
    command = main.get_command(click.Context(main), name)
    assert command is not None
    return command


def section(title: str) -> str:
    """The part of the page on commands under one heading of the second level."""
    parts = re.split(r"^## (.+)$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))[title]


# --- options -----------------------------------------------------------------------------------------------------


def test_each_command_has_its_section() -> None:
    """And no command is described that is not there."""
    assert sorted(COMMANDS) == sorted(main.list_commands(click.Context(main)))
    headings = re.findall(r"^## `tapehook ([\w-]+)`$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert tuple(headings) == COMMANDS


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_is_documented(name: str) -> None:
    """The table of a command has a row for each option and argument, in the order of its help, and no other."""
    rows = re.findall(r"^\| `(--[\w-]+|[A-Z]+)[^`]*` \|", section(f"`tapehook {name}`"), flags=re.MULTILINE)
    options = [
        param.human_readable_name if isinstance(param, click.Argument) else max(param.opts, key=len)
        for param in command_of(name).params
    ]
    assert rows == options


# --- JSON --------------------------------------------------------------------------------------------------------


def rows_of(shape: Schema, path: str = "") -> Iterator[str]:
    """One row of a table for each field of a shape, as the page has them."""
    if shape["type"] == "array" and not path:
        yield from rows_of(shape["items"], "[]")
        return
    fields: dict[str, Any] = shape.get("properties", {})
    if isinstance(shape.get("additionalProperties"), dict):
        fields = {"ID": shape["additionalProperties"]}
    for name, inner in fields.items():
        place = f"{path}.{name}".lstrip(".") + ("[]" if "items" in inner else "")
        if "enum" in inner:
            kind = ", ".join(f'"{word}"' for word in inner["enum"])
        else:
            kind = " or ".join([inner["type"]] if isinstance(inner["type"], str) else inner["type"])
        yield f"| `{place}` | {kind} | {inner.get('unit', '')} | {inner['description']} |"
        yield from rows_of(inner.get("items", inner), place)


@pytest.mark.parametrize("name", SHAPES)
def test_each_field_of_the_json_is_documented(name: str) -> None:
    """The table of a shape says of each field its type, its unit and what it is, as the schema does."""
    title = "JSON, exit codes and refusals" if name == "problems" else f"`tapehook {name}`"
    wanted = ["| field | type | unit | what it is |", "|---|---|---|---|", *rows_of(schema(name))]
    assert "\n".join(wanted) in section(title)


@pytest.mark.parametrize("name", SHAPES)
def test_each_schema_is_named(name: str) -> None:
    """The page leads to the schemas, for programs."""
    assert f"schemas/{name}.schema.json" in PAGE.read_text(encoding="utf-8")


# --- examples ----------------------------------------------------------------------------------------------------


def examples(page: Path) -> list[tuple[str, list[str]]]:
    """What is typed and what is printed, for each typed line of a page."""
    found: list[tuple[str, list[str]]] = []
    for block in re.findall(r"^```console\n(.*?)^```$", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


def agree(shown: list[str], printed: list[str]) -> bool:
    """True when what a page shows is what was printed."""
    parts = [(left_out, list(lines)) for left_out, lines in groupby(shown, key=lambda line: line == "…")]
    at, anywhere = 0, False
    for number, (left_out, wanted) in enumerate(parts, start=1):
        if left_out:
            anywhere = True
            continue
        last = len(printed) - len(wanted)
        first = last if anywhere and number == len(parts) else at
        places = range(max(at, first), (last if anywhere else at) + 1)
        found = next((place for place in places if _lines_agree(wanted, printed[place:])), None)
        if found is None:
            return False
        at, anywhere = found + len(wanted), False
    return anywhere or at == len(printed)


def _lines_agree(shown: list[str], printed: list[str]) -> bool:
    """True when the printed lines begin with those shown."""
    return len(shown) <= len(printed) and all(map(_line_agrees, shown, printed))


def _line_agrees(shown: str, printed: str) -> bool:
    if shown == printed:
        return True
    numbers = NUMBER.findall(shown), NUMBER.findall(printed)
    if NUMBER.sub("#", shown) != NUMBER.sub("#", printed) or len(numbers[0]) != len(numbers[1]):
        return False
    return all(abs(float(a) - float(b)) <= max(_last_place(a), 1e-6 * float(a)) for a, b in zip(*numbers, strict=True))


def _last_place(number: str) -> float:
    mantissa, _, exponent = number.partition("e")
    return 1.001 * 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))


@pytest.fixture
def beside_my_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the demo job in it, to work in."""
    shutil.copytree(ROOT / "src" / "tapehook" / "demo_job", tmp_path / "my-job")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.usefixtures("beside_my_job")
def test_examples_of_the_commands_run_as_shown() -> None:
    """Each line typed prints what the page says it prints, on both outputs, at 100 columns."""
    found = examples(PAGE)
    assert {shlex.split(typed)[1] for typed, _ in found} == set(COMMANDS)
    for typed, shown in found:
        args = shlex.split(typed)
        assert args[0] == "tapehook"
        result = CliRunner(env={"COLUMNS": "100"}).invoke(main, args[1:], prog_name="tapehook")
        printed = [line.rstrip() for line in result.output.splitlines()]
        assert agree(shown, printed), f"{typed}\n{result.output}"


def test_an_example_that_is_wrong_would_be_found() -> None:
    """The comparison above can fail: another word, another number, a line too few or too many."""
    assert agree(["a 1.23 m", "…", "z"], ["a 1.24 m", "b", "c", "z"])
    assert agree(["a", "…", "z"], ["a", "z", "b", "z"])
    assert agree(["…", '"x": 0.30217532737'], ["b", '"x": 0.30217532738'])
    assert not agree(["a 1.23 m"], ["a 1.25 m"])
    assert not agree(["a 1.23 m"], ["b 1.23 m"])
    assert not agree(["a", "…"], ["b", "a"])
    assert not agree(["a"], ["a", "b"])
    assert not agree(["a", "b"], ["a"])
    assert not agree(["a", "…", "b"], ["a", "c"])
    assert not agree([], ["a"])


# --- the README --------------------------------------------------------------------------------------------------


def readme_lines() -> list[list[str]]:
    """The words of each line in the shell blocks of the README, comments left out."""
    blocks = re.findall(r"^```(?:sh|console)\n(.*?)^```$", README.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    lines = [line.removeprefix("$ ") for block in blocks for line in block.splitlines()]
    return [words for line in lines if (words := shlex.split(line, comments=True))]


def test_the_readme_types_what_is_there() -> None:
    """Each `make` in the README is a target of the Makefile, and each `tapehook` a command with options it has."""
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), flags=re.MULTILINE))
    lines = readme_lines()
    assert ["make", "demo"] in lines
    for words in lines:
        program = words[0].rpartition("/")[2]
        if program == "make":
            assert set(words[1:]) <= targets, words
        elif program == "tapehook":
            known = {option for param in command_of(words[1]).params for option in param.opts}
            assert {word.partition("=")[0] for word in words[2:] if word.startswith("--")} <= known, words


def test_the_readme_commands_run(beside_my_job: Path) -> None:
    """Each `tapehook` line of the README works, with a job folder for FOLDER and a new one for DIR.

    But for the pages, which are served until somebody stops them.
    """
    places = {"FOLDER": str(beside_my_job / "my-job"), "DIR": str(beside_my_job / "out")}
    typed = [words[1:] for words in readme_lines() if words[0].rpartition("/")[2] == "tapehook"]
    typed = [words for words in typed if words[0] != "serve"]
    assert typed
    for words in typed:
        result = CliRunner().invoke(main, [places.get(word, word) for word in words], prog_name="tapehook")
        assert result.exit_code == 0, result.output
