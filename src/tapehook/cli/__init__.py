"""The commands: thin, each reads what was typed, calls one function below, and prints.

May live here: options, messages, tables for a terminal, exit codes. May not: arithmetic, rules on what is good
enough, or file formats. Every command has ``--json`` with a documented shape; bad input ends with exit code 2, all
problems on standard error, and nothing written.
"""

import importlib
from typing import Any

import click

from tapehook import __version__
from tapehook.cli.console import speak_any_encoding
from tapehook.cli.refusals import note_json, refuse_politely

_COMMANDS = {
    "audit": "Check thousands of lenses at once, worst first.",
    "demo": "Prepare the demo job that comes with tapehook.",
    "depth": "Depth of field for one lens, stop and distance.",
    "flange": "Flange, scale or tape: what best focus on charts says.",
    "map": "Lens maps of a job folder, and how sure they are.",
    "next": "What to measure next on a lens, best first.",
    "prep": "Prepare a job folder and write its handover.",
    "strip": "Strips of marks at 1:1, to cut out and lay round a ring.",
    "twins": "Copies of one model: how they differ, and which may borrow a map.",
}


class _Commands(click.Group):
    """Loads a command's module only when it is called, so that ``--help`` is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"tapehook.cli.{cmd_name}_command")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's signature
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,  # noqa: ANN401 - click's signature
    ) -> click.Context:
        """Read what was typed before the command's name."""
        speak_any_encoding()
        with refuse_politely():
            return super().make_context(info_name, args, parent, **extra)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Note whether JSON is asked for: also a command line that cannot be read is answered in it."""
        note_json(ctx, args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; what a file or a disk did wrong is said in words, never as a traceback."""
        with refuse_politely(ctx):
            return super().invoke(ctx)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="tapehook")
def main() -> None:
    """Plan, measure and prove the focus system of a camera package, lens by lens.

    Start with `tapehook demo`, then copy its job folder and put your own readings in.
    """
