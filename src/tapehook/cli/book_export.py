"""``tapehook book export``: a job of the book as a job folder."""

from pathlib import Path

import click

from tapehook.cli.book_options import book_option, json_option, opened
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Option, folder_path, plain

_EXAMPLE = """\b
Example:
  tapehook book export "Harbour, unit 1" my-job
  tapehook book export "Harbour, unit 1" my-job --over --json
"""


@click.command("export", cls=Command, epilog=_EXAMPLE)
@click.argument("name", cls=Argument)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--over", cls=Option, is_flag=True, help="Write into a folder that holds something already.")
@click.option(
    "--version", cls=Option, metavar="ID", help="Which version of a job in conflict, as the conflict names it."
)
@book_option
@json_option
def command(name: str, folder: Path, over: bool, version: str | None, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Write a job of the book as a job folder, without loss.

    Imported into an empty book and exported again, it gives the same bytes.
    """
    from tapehook.book.exporting import export_job

    with opened(where) as book:
        written = export_job(book, name, folder, version=version, over=over)
        if as_json:
            show_json({"book": book.name, "job": name, "files": [str(path) for path in written]})
            return
    for path in written:
        click.echo(plain(str(path)))
