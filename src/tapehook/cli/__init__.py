"""The commands: thin, each reads what was typed, calls one function below, and prints.

May live here: options, messages, tables for a terminal, exit codes. May not: arithmetic, rules on what is good
enough, or file formats. Every command has ``--json`` with a documented shape; bad input ends with exit code 2, all
problems on standard error, and nothing written.
"""

import importlib

import click

from tapehook import __version__

_COMMANDS = {
    "demo": "Prepare the demo job that comes with tapehook.",
    "depth": "Depth of field for one lens, stop and distance.",
    "map": "Lens maps of a job folder, with their bands.",
    "prep": "Prepare a job folder and write its handover.",
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

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; what a file or a disk did wrong is said in words, never as a traceback."""
        from tapehook.cli.console import refuse_politely

        with refuse_politely(ctx):
            return super().invoke(ctx)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="tapehook")
def main() -> None:
    """Plan, measure and prove the focus system of a camera package, lens by lens.

    Start with `tapehook demo`, then copy its job folder and put your own readings in.
    """
