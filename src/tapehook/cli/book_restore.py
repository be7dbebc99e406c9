"""``tapehook book restore``: a backup in the place of the book."""

from pathlib import Path

import click

from tapehook.cli.book_backup import file_path
from tapehook.cli.book_options import book_option, json_option, show_records
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Option, plain

_EXAMPLE = """\b
Example:
  tapehook book restore friday.book
  tapehook book restore friday.book --drop --json
"""


@click.command("restore", cls=Command, epilog=_EXAMPLE)
@click.argument("file", cls=Argument, callback=file_path)
@click.option("--drop", cls=Option, is_flag=True, help="Give up the records that the backup has not.")
@book_option
@json_option
def command(file: Path, drop: bool, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Put the backup FILE in the place of the book, once it was checked.

    A damaged or foreign file replaces nothing, nor does a backup that lacks records the book has, unless --drop is
    said. The book before is kept in a file beside. Where the book is damaged or gone, the backup becomes the book.
    """
    from tapehook.book.backup import restore_at

    restored = restore_at(where, file, drop=drop)
    if as_json:
        kept = str(restored.kept) if restored.kept else None
        show_json({"book": restored.name, "records": dict(restored.records), "kept": kept})
        return
    show_records(restored.records, "In the book now")
    if restored.kept:
        click.echo(plain(f"The book before is kept: {restored.kept}"))
