"""Groups of commands that load a command's module only when it is called, so that ``--help`` is quick."""

import importlib
from collections.abc import Mapping
from typing import Any

import click

from tapehook.cli.console import speak_any_encoding
from tapehook.cli.refusals import note_json, refuse_politely


class LazyGroup(click.Group):
    """Commands by name with their help in a sentence; ``module`` says where each is, with {} for its name."""

    def __init__(self, *args: Any, helps: Mapping[str, str], module: str, **kwargs: Any) -> None:  # noqa: ANN401 - click's signature
        super().__init__(*args, **kwargs)
        self._helps = helps
        self._module = module

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """The names, in their order."""
        return list(self._helps)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        """The command of that name, its module loaded now."""
        if cmd_name not in self._helps:
            return None
        command: click.Command = importlib.import_module(self._module.format(cmd_name.replace("-", "_"))).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's signature
        """The names with their help, no module loaded."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self._helps.items()))

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
