"""Running the command as a person would: in this process, or as a program of its own."""

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

from click.testing import CliRunner, Result

from tapehook.cli import main
from tests.cli.shapes import strictly

ROOT = Path(__file__).parents[2]
PROGRAM = [sys.executable, "-c", "from tapehook.cli import main; main(prog_name='tapehook')"]
"""The command as a process, found without PATH."""


def run(*args: str | Path, width: int | None = None) -> Result:
    """``tapehook`` with these arguments, in this process. A bug, that is any exception, goes up."""
    env = {"COLUMNS": str(width)} if width else None
    result = CliRunner(env=env).invoke(main, [str(arg) for arg in args], prog_name="tapehook")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def run_json(*args: str | Path) -> Any:  # noqa: ANN401 - any JSON value
    """What the command prints with --json."""
    result = run(*args, "--json")
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return strictly(result.stdout)


def refused(*args: str | Path) -> list[str]:
    """The problems the command names, one sentence each: exit code 2, nothing on standard output."""
    result = run(*args)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    head, *lines = result.stderr.splitlines()
    sentences = [line.removeprefix("  ") for line in lines if line.startswith("  ")]
    noun = "problem" if len(sentences) == 1 else "problems"
    assert head == f"{len(sentences)} {noun}, nothing was written:"
    assert all(sentence.isprintable() for sentence in sentences)
    return sentences


def environment(**more: str) -> dict[str, str]:
    """The environment of a process of its own: this one's, with the source on the path."""
    return {**os.environ, "PYTHONPATH": str(ROOT / "src"), **more}


def start(
    *args: str | Path, env: Mapping[str, str] | None = None, stdout: int | IO[bytes] = subprocess.PIPE
) -> "subprocess.Popen[bytes]":
    """``tapehook`` as a process of its own, its output in pipes unless said otherwise."""
    command = [*PROGRAM, *map(str, args)]
    return subprocess.Popen(command, stdout=stdout, stderr=subprocess.PIPE, env=env or environment())
