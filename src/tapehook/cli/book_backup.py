"""``tapehook book backup``: a copy of the book as it is now."""

from pathlib import Path

import click

from tapehook.cli.book_options import book_option, json_option, opened
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Misread, plain

_EXAMPLE = """\b
Example:
  tapehook book backup friday.book
  tapehook book backup friday.book --book postgresql://server/house --json
"""


def file_path(ctx: click.Context, param: click.Parameter, value: str) -> Path:
    """Callback of an argument: a file by its path."""
    if not value or "\0" in value:
        raise Misread(value, "the path of a file", param, ctx)
    return Path(value)


@click.command("backup", cls=Command, epilog=_EXAMPLE)
@click.argument("file", cls=Argument, callback=file_path)
@book_option
@json_option
def command(file: Path, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Copy the book as it is now to a new FILE, while others may go on writing.

    The copy is itself a book, whatever the original lives on: it can be opened, searched and merged.
    """
    from tapehook.book.backup import backup

    with opened(where) as book:
        written = backup(book, file)
        if as_json:
            show_json({"book": book.name, "file": str(written), "bytes": written.stat().st_size})
        else:
            click.echo(plain(f"Backed up: {written}"))
