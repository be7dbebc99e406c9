"""Help: every command explains itself with an example that works, and none of it takes long to load."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from tapehook import __version__
from tapehook.cli import main
from tests.cli.jobs import write_small_job
from tests.cli.running import environment, refused, run

COMMANDS = (
    "audit",
    "book",
    "close-up",
    "demo",
    "depth",
    "dew",
    "exposure",
    "flange",
    "flicker",
    "handover",
    "left",
    "map",
    "morning",
    "next",
    "prep",
    "pull",
    "radio",
    "serve",
    "split",
    "stop-pull",
    "strip",
    "strip-match",
    "swap",
    "twins",
)


def examples(command: str) -> list[list[str]]:
    """The arguments of each example in the help of a command."""
    text = run(command, "--help", width=200).stdout
    return [shlex.split(line)[1:] for line in text.partition("Example:")[2].splitlines() if line.strip()]


def test_all_commands_are_listed() -> None:
    """`tapehook --help` names each command with one sentence, and nothing else."""
    listed = run("--help").stdout.partition("Commands:")[2].split("\n")
    assert [line.split()[0] for line in listed if re.match(r"  \S", line)] == list(COMMANDS)
    assert list(main.list_commands(click.Context(main))) == list(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_examples_of_this_command(command: str) -> None:
    """Somebody who looks for help wants a line to copy."""
    found = examples(command)
    assert found
    assert {args[0] for args in found} == {command}
    assert run(command, "-h").stdout == run(command, "--help").stdout


@pytest.mark.parametrize(
    "command", ["close-up", "depth", "dew", "exposure", "flange", "flicker", "map", "next", "split", "twins"]
)
def test_examples_work(command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The examples do what they say, in a folder where the job is."""
    job = write_small_job(tmp_path / "my-job")
    (job / "lenses.csv").write_text((job / "lenses.csv").read_text().replace("N50", "L03"))
    (job / "readings.csv").write_text((job / "readings.csv").read_text().replace("N50", "L03"))
    monkeypatch.chdir(tmp_path)
    for args in examples(command):
        assert run(*args).exit_code == 0


def test_the_version_is_the_packages() -> None:
    """One version, in one place."""
    assert run("--version").stdout == f"tapehook, version {__version__}\n"


def test_without_a_command_the_help_is_shown() -> None:
    """And exit code 2, as nothing was done."""
    result = run()
    assert result.exit_code == 2
    assert "Usage: tapehook" in result.stderr + result.stdout


@pytest.mark.parametrize(
    "args, said",
    [(["paint"], "no such command 'paint'"), (["--paint"], "--paint: no such option"), (["dept"], "no such command")],
)
def test_what_is_no_command_is_refused(args: list[str], said: str) -> None:
    """A command or option of the whole that does not exist is named."""
    (sentence,) = refused(*args)
    assert sentence.startswith(said)


def test_help_loads_nothing_heavy() -> None:
    """Arrays, records, tables and the typesetter are loaded by the commands that need them, not by --help."""
    heavy = {"numpy", "scipy", "pydantic", "openpyxl", "typst", "pypdf", "rich", "sqlalchemy", "alembic"}
    show = "import atexit, sys; atexit.register(lambda: print('loaded:', *sys.modules)); "
    program = show + "from tapehook.cli import main; main(['--help'], prog_name='tapehook')"
    done = subprocess.run(
        [sys.executable, "-c", program], env=environment(), check=True, capture_output=True, text=True
    )
    loaded = set(done.stdout.partition("loaded:")[2].split())
    assert "tapehook.cli" in loaded
    assert not heavy & loaded


def test_options_say_what_they_take() -> None:
    """Each option and argument of each command has a help text or a name that says it."""
    for name in COMMANDS:
        command = main.get_command(click.Context(main), name)
        assert command is not None
        for option in command.params:
            text = getattr(option, "help", None) or option.human_readable_name
            assert re.match(r"[A-Za-z]", text), (name, option.name)
