"""The page of commands of the book against the program: options, JSON fields, and each example as it runs."""

import re
import shlex
import shutil
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tapehook.cli import main
from tapehook.cli.book_command import COMMANDS, command
from tests.cli.shapes import schema
from tests.test_docs import ROOT, agree, examples, rows_of

PAGE = ROOT / "docs" / "book-commands.md"


def section(name: str) -> str:
    """The part of the page on one command."""
    parts = re.split(r"^## `tapehook book (.+)`$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))[name]


def test_each_command_has_its_section() -> None:
    """In the order of the help, and in the table at the top."""
    text = PAGE.read_text(encoding="utf-8")
    assert re.findall(r"^## `tapehook book (\w+)`$", text, flags=re.MULTILINE) == list(COMMANDS)
    assert re.findall(r"\(#tapehook-book-(\w+)\)", text) == list(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_is_documented(name: str) -> None:
    """The table of a command has a row for each option and argument, in the order of its help, and no other."""
    found = command.get_command(click.Context(command), name)
    assert found is not None
    rows = re.findall(r"^\| `(--[\w-]+|[A-Z]+)[^`]*` \|", section(name), flags=re.MULTILINE)
    options = [
        param.human_readable_name.upper() if isinstance(param, click.Argument) else max(param.opts, key=len)
        for param in found.params
    ]
    assert rows == options
    assert all(
        isinstance(param, click.Argument) or param.help for param in found.params if isinstance(param, click.Option)
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_each_field_of_the_json_is_documented(name: str) -> None:
    """As the schema says it, which the page leads to."""
    wanted = ["| field | type | unit | what it is |", "|---|---|---|---|", *rows_of(schema(f"book-{name}"))]
    assert "\n".join(wanted) in section(name)
    assert f"schemas/book-{name}.schema.json" in section(name)


def test_examples_run_as_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each line typed, one after the other, prints what the page says; every command has one."""
    shutil.copytree(ROOT / "src" / "tapehook" / "demo_job", tmp_path / "my-job")
    monkeypatch.chdir(tmp_path)
    found = examples(PAGE)
    assert {shlex.split(typed)[2] for typed, _ in found} == set(COMMANDS)
    for typed, shown in found:
        environment = {"COLUMNS": "100", "TAPEHOOK_BOOK": "house.book"}
        result = CliRunner(env=environment).invoke(main, shlex.split(typed)[1:], prog_name="tapehook")
        printed = [line.rstrip() for line in result.output.splitlines()]
        assert agree(shown, printed), f"{typed}\n{result.output}"
